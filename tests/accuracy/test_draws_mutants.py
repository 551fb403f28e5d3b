"""What draws are made into: which way errors move the job, how far draws are spread, what two regimes say together."""

import numpy as np
import pytest
import shapely
from jobs import drive, job, log, worked_job

from coverage_audit.accuracy import counting, draws
from coverage_audit.accuracy.gaps import posterior
from coverage_audit.accuracy.gaps.habits import Habits
from coverage_audit.accuracy.gaps.particles import Particle
from coverage_audit.accuracy.gaps.posterior import Seen, conditioned_errors
from coverage_audit.accuracy.model import ErrorModel, Figure, Gaps, RegimeResult
from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.recipe.audit import audit_job


def settings(steering, replicates=20, **more):
    return AccuracySettings(0.2, 600.0, 0.0, steering=steering, replicates=replicates, **more)


# --- signs ----------------------------------------------------------------------------------------


def one_pass(steering="guided"):
    """A pass of 10 m from x = 0 to 10, 100 m long, in a field from x = -2 to 10: 200 m2 missed, all in the west."""
    times, points = drive(lambda t: np.array([5.0, 2.5 * t - 10.0]), 48, 10)
    return job(log(times, points), [(4.0, 44.0)], shapely.box(-2, 0, 10, 100), accuracy=settings(steering))


@pytest.mark.parametrize(
    ("fixes_m", "boundary_m", "missed_m2"),
    [
        (0.0, 0.0, 200.0),
        # the outline was logged 1 m too far east, so the field is -3 to 9: 3 m missed
        (0.0, 1.0, 300.0),
        (0.0, -1.0, 200.0),  # -1 to 11: 1 m on either side
        # the fixes were logged 1 m too far east, so the boom sprayed -1 to 9: 1 m missed on either side
        (1.0, 0.0, 200.0),
        (-1.0, 0.0, 300.0),
        (1.0, 1.0, 200.0),  # both alike: as if nothing were amiss
    ],
)
def test_errors_move_job_and_boundary_back_to_where_they_were(monkeypatch, fixes_m, boundary_m, missed_m2):
    def told(times, _error, count, _rng):
        east = np.array([1.0, 0.0])
        fixes = np.broadcast_to(fixes_m * east[None, :, None], (len(times), 2, count))
        return fixes, np.broadcast_to(boundary_m * east[:, None], (2, count))

    monkeypatch.setattr(counting, "simulate_errors", told)
    monkeypatch.setattr(draws, "by_eye_chance", lambda _: 0.0)
    monkeypatch.setattr(draws, "GUIDED_SHIFT", (0.0, 0.0))  # nobody at the wheel mends anything, nothing is doubted
    monkeypatch.setattr(draws, "GUIDED_DOUBT", 0.0)
    found = audit_job(one_pass()).accuracy.missed_m2
    assert found.observed == pytest.approx(200.0, abs=0.5)
    assert (found.low90, found.high90) == pytest.approx((missed_m2, missed_m2), abs=1.0)  # the audit's own scatter


@pytest.mark.parametrize(("steering", "asked"), [("hand", {True}), ("guided", {False}), ("unknown", {True, False})])
def test_what_is_forgotten_within_seconds_is_not_driven_by_a_machine_that_is_guided(monkeypatch, steering, asked):
    """A machine that steers with a lag of seconds leaves such errors in the log; by hand they are taken off it."""
    told = set()
    for room in (counting, posterior):
        real = room.simulate_errors

        def simulate(times, error, count, rng, real=real):
            told.add(error.short_m > 0)
            return real(times, error, count, rng)

        monkeypatch.setattr(room, "simulate_errors", simulate)
    audit_job(worked_job(hz=1.0, accuracy=settings(steering, replicates=8)))
    assert told == asked


def test_a_gap_to_the_fence_tells_the_boundary_s_error_by_its_share():
    """Gap = true gap + boundary's error - own error: of 0.5 m each gets its share of the variance, with its sign."""
    sigma, boundary, gap = 0.3, 0.4, 0.5
    error = ErrorModel(np.array([0.0, 600.0]), np.full(2, sigma), 0.0, 600.0, boundary, "", "")
    one, no = np.ones(1), np.full(1, np.nan)
    gaps = Gaps(
        np.array([gap]), np.array([[1.0, 0.0]]), one.astype(int), 600.0 * one, no, 1600.0 * one, no, one, 0.0 * one,
        one.astype(int), -one.astype(int),
    )  # fmt: skip
    seen, one_set = Seen.of(gaps, error, 0.0), Particle(error, Habits(0.15, 30.0, 0.04, 0.2), 1.0, np.zeros(1, bool))
    drawn, moved = conditioned_errors(np.array([600.0]), seen, one_set, 4000, np.random.default_rng(1005))
    # true gap: unknown mean 0.5 m, wander 0.15 m, offset of the pass 0.04 m
    whole = sigma**2 + boundary**2 + 0.5**2 + 0.15**2 + 0.04**2
    # standard error of the means of 4000: below 0.4 / 63 = 0.006 m; three of these
    assert moved[0].mean() == pytest.approx(gap * boundary**2 / whole, abs=0.02)
    assert drawn[0, 0].mean() == pytest.approx(-gap * sigma**2 / whole, abs=0.02)
    assert moved[1].mean() == pytest.approx(0.0, abs=0.02)  # along the fence nothing was seen


@pytest.mark.parametrize(("spread_m", "low", "high"), [(0.02, 0.2, 0.3), (0.5, 0.98, 0.995)])
def test_fence_kept_to_by_eye_shows_by_its_gaps(spread_m, low, high):
    count = 60
    column = np.random.default_rng(1018).standard_normal(count) * spread_m
    one, no = np.ones(count), np.full(count, np.nan)
    gaps = Gaps(
        column, np.tile([1.0, 0.0], (count, 1)), np.ones(count, int), one, no, one, no, one, 0 * one,
        np.ones(count, int), -np.ones(count, int),
    )  # fmt: skip
    assert low <= draws.by_eye_chance(gaps) <= high


# --- spread and regimes ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("steering", "middle", "below", "above"),
    [
        # the log shows 100 m2, the draws' mean is 1990 m2, their standard deviation 10 m2 * sqrt((199^2 - 1) / 12):
        # 0.15 of that way farther off; 0.35 of it is 1.1515 of them, joined with 1.1 and 0.7 by Pythagoras
        ("hand", 2273.5, 1.5925, 1.3476),
        # where fences are as even as a receiver steers, an eighth of it back; a fifth of it is 0.658 of them,
        # joined with 1.2 and 0.7 likewise
        ("guided", 1753.75, 1.3686, 0.9607),
    ],
)
def test_draws_are_moved_and_spread_about_their_mean(monkeypatch, steering, middle, below, above):
    """199 draws at 1000, 1010 ... 2980 m2: by order statistics the tenth and the 190th are the quantiles."""
    table = np.column_stack([1000.0 + 10.0 * np.arange(199), np.full(199, 50.0), np.ones(199)])
    monkeypatch.setattr(draws, "counted", lambda question, *_: (table, np.array(question.observed_m2[:2])))
    monkeypatch.setattr(draws, "MOST_METHOD", 1.0)
    # one factor for errors of every size: what a log tells of its own is no matter here
    monkeypatch.setattr(draws, "HAND_SHIFT", (-0.15,) * 3)
    monkeypatch.setattr(draws, "HAND_BELOW", ((1.1,) * 3,) * 2)
    monkeypatch.setattr(draws, "GUIDED_BELOW", ((1.2,) * 3,) * 2)
    found = audit_job(worked_job(accuracy=settings(steering, replicates=199))).accuracy.missed_m2
    assert found.observed == pytest.approx(100.0, abs=0.1)
    # nine tenths of 100 steps of 10 m2 to either side; the audit's own scatter is below 0.1 m2
    assert (found.low90, found.high90) == pytest.approx((middle - below * 900, middle + above * 900), abs=1.0)


def test_where_steering_is_not_known_the_lesser_chance_and_the_wider_skip_are_told(monkeypatch):
    """A strip is told as real only as far as both regimes bear it out."""

    def drawn(_question, _seen, regime, *_):
        chance, skip, low = {"classical": (0.4, 0.9, 10.0), "berkson": (0.7, 0.6, 30.0)}[regime]
        figure = Figure(100.0, low + 20.0, low, low + 60.0, told=True)
        return RegimeResult(figure, figure, figure, (chance,), skip)

    monkeypatch.setattr(draws, "_drawn", drawn)
    found = audit_job(worked_job(accuracy=settings("unknown")))
    assert [strip.probability for strip in found.missed_strips] == [0.4]
    assert found.accuracy.smallest_detectable_skip_m == 0.9
    assert (found.accuracy.missed_m2.low90, found.accuracy.missed_m2.high90) == (10.0, 90.0)
    assert found.accuracy.missed_m2.estimate is None


@pytest.mark.parametrize(
    ("steering", "skip_m", "told"),
    [("hand", 4.4, True), ("hand", 4.6, False), ("guided", 9.9, True), ("guided", 10.1, False)],
)
def test_a_skip_wider_than_gaps_are_measured_cannot_be_told(monkeypatch, steering, skip_m, told):
    """By hand the gaps tell, as far as 0.45 of the 10 m boom; guided a skip is told up to the boom's own width."""
    monkeypatch.setattr(draws, "smallest_skip", lambda *_, **__: skip_m)
    found = audit_job(worked_job(accuracy=settings(steering))).accuracy
    assert found.smallest_detectable_skip_m == (skip_m if told else None)
    assert found.missed_m2.told is told
