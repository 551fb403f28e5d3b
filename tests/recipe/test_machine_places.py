"""An antenna or a fixed axle whose place nobody stated: what the boom sprayed is then a range, not a figure."""

import dataclasses

import numpy as np
import pytest
from jobs import boom, job, log, parallel_passes
from shapely import box

from coverage_audit.jobs.settings import UNKNOWN, AccuracySettings
from coverage_audit.papers.words.accuracy import accuracy_keys, certainty_facts
from coverage_audit.papers.words.answer import answer_figures
from coverage_audit.papers.words.passes import verdict_of
from coverage_audit.recipe import machine_places, offsets
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.decision import GO_BACK
from coverage_audit.recipe.machine_places import (
    AntennaPlace,
    Law,
    antenna_place,
    axle_places,
    likely_boom,
    possible_booms,
    widest,
)
from coverage_audit.recipe.offsets import beside, lags
from coverage_audit.recipe.tolerances import ANTENNA_AHEAD_M, HAND_LATE_S

BEHIND_M, AHEAD_M, RADIUS_M, SPEED_M_S = 0.9, 2.4, 6.0, 2.0


def sprayed_through_a_turn(**more):
    """Up 60 m, half round to the right at once, and back: the axle's own way, logged 0.9 m ahead of it at 10 Hz."""
    round_m = np.pi * RADIUS_M
    way = np.arange(0, 120 + round_m, SPEED_M_S / 10)
    turned = np.clip((way - 60) / RADIUS_M, 0, np.pi)
    up, back = np.minimum(way, 60), np.maximum(way - 60 - round_m, 0)
    ahead = np.column_stack([np.sin(turned), np.cos(turned)])
    axle = np.column_stack([RADIUS_M * (1 - np.cos(turned)), up + RADIUS_M * np.sin(turned) - back])
    times = np.arange(len(way)) / 10
    return job(
        log(times, axle + BEHIND_M * ahead),
        [(2.0, times[-1] - 2.0)],
        box(-5, 3, 17, 63),
        boom=boom(9.0, antenna_ahead_m=AHEAD_M, **more),
        accuracy=AccuracySettings(steering="hand", replicates=60, sigma_m=0.01, noise_m=0.0),
    )


def test_what_a_turn_sprays_is_a_range_that_holds_the_true_axles_figure():
    """The log alone is off by what the antenna's own direction swings the boom: more than an error of 1 cm explains."""
    known = audit_job(sprayed_through_a_turn(axle_behind_antenna_m=BEHIND_M)).area_m2
    told = audit_job(sprayed_through_a_turn())
    assert abs(told.area_m2.missed - known.missed) > 4.0
    missed = told.accuracy.missed_m2
    assert missed.low90 < known.missed < missed.high90
    assert abs(missed.estimate - known.missed) < abs(told.area_m2.missed - known.missed) / 2


@pytest.mark.parametrize(
    ("settings", "places"),
    [
        ({"antenna_ahead_m": 2.1}, (0.2, 0.6, 1.0, 1.4)),  # a boom 2.1 m behind the antenna, 0.5 m clear of the axle
        ({"antenna_ahead_m": 5.0}, (0.25, 0.75, 1.25, 1.75)),
        ({"antenna_ahead_m": -1.0}, (0.25, 0.75, 1.25, 1.75)),  # a boom ahead says nothing of the axle
        ({"antenna_ahead_m": 0.4}, ()),
        ({"antenna_ahead_m": 0.0}, ()),
        ({"antenna_ahead_m": None}, ()),
        ({"antenna_ahead_m": 2.1, "axle_behind_antenna_m": 0.0}, ()),
        ({"antenna_ahead_m": 2.1, "towed_m": 3.0}, ()),
    ],
)
def test_places_that_an_axle_may_have(settings, places):
    assert axle_places(dataclasses.replace(boom(9.0), **settings)) == pytest.approx(places, abs=1e-12)


def test_a_place_that_no_vehicle_could_have_driven_with_is_left_out(monkeypatch):
    """All four are asked, and those the turn rules out are no draws; without any the boom lies as logged."""
    monkeypatch.setattr(machine_places, "axle_places", lambda _: (-9.0, 12.0))
    told = audit_job(sprayed_through_a_turn())
    assert abs(told.accuracy.missed_m2.estimate - told.area_m2.missed) < 2.0


LINES = [8.7 * k for k in range(10)]
TIMES, POINTS, GIVEN = parallel_passes(LINES, 0.0, 80.0, hz=2.0, turn_s=14.0)
FIELD = box(-4.5, 0, 82.8, 80)
PRECISE = AccuracySettings(steering="hand", replicates=64, sigma_m=0.02, noise_m=0.0)


def unplaced(ahead_m, late_s=0.0, **more):
    """A boom switched at the edge, or *late_s* late, whose antenna stood *ahead_m* ahead, and nobody says so."""
    way = np.gradient(POINTS, axis=0)
    ahead = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    given = [(a + late_s, b + late_s) for a, b in GIVEN]
    settings = {"boom": boom(9.0, antenna_ahead_m=None), "accuracy": PRECISE, **more}
    return job(log(TIMES, POINTS + ahead_m * ahead), given, FIELD, **settings)


def placed(ahead_m, late_s=0.0):
    return audit_job(unplaced(ahead_m, late_s, boom=boom(9.0, antenna_ahead_m=ahead_m)))


@pytest.mark.parametrize("ahead_m", [0.0, 1.5, 3.5])
def test_ranges_hold_the_figures_of_the_true_place_where_nobody_said_it(ahead_m):
    known, told = placed(ahead_m).area_m2, audit_job(unplaced(ahead_m))
    if ahead_m:
        assert told.area_m2.missed - known.missed > 50.0  # ten passes of 9 m begin so far inside [m2]
        assert told.accuracy.missed_m2.estimate < (told.area_m2.missed + known.missed) / 2 + 20.0
    for kind in ("missed", "double"):
        figure = getattr(told.accuracy, f"{kind}_m2")
        # a driver without any slip has nothing missed at all: 0.2 m of a boom at ten ends beside it [m2]
        assert figure.low90 - 18.0 <= getattr(known, kind) <= figure.high90 + 18.0
    spread = told.accuracy.antenna_ahead_m
    assert spread.low90 < ahead_m < spread.high90
    (caution,) = (one for one in told.cautions if one.code == "antenna place unknown")
    right = told.accuracy.antenna_right_m
    assert dict(caution.values) == {
        "ahead_m": (spread.best, spread.low90, spread.high90),
        "right_m": (right.best, right.low90, right.high90),
    }


def test_what_only_the_antenna_made_is_not_surely_missed():
    told = audit_job(unplaced(3.0))
    begins = [one for one in told.missed_strips if one.max_width_m < 4.0]
    assert len(begins) >= 8
    assert max(one.probability for one in begins) < 0.9
    assert told.answer.decision.kind != GO_BACK
    unsure = audit_job(unplaced(3.0, accuracy=dataclasses.replace(PRECISE, replicates=0)))
    assert not unsure.answer.decision.sure


def test_a_pass_begun_far_too_late_is_missed_wherever_the_antenna_stood():
    late = unplaced(2.0)
    rows = [*late.intervals]
    rows[4] = dataclasses.replace(rows[4], on_s=rows[4].on_s + 10.0)  # 25 m of one pass
    told = audit_job(dataclasses.replace(late, intervals=tuple(rows)))
    most = max(told.missed_strips, key=lambda one: one.area_m2)
    assert most.probability > 0.95
    assert most.id in told.answer.decision.sure


def test_a_place_that_is_stated_is_not_drawn_nor_where_the_on_times_follow_the_drive():
    assert placed(0.0).accuracy.antenna_ahead_m is None
    exact = audit_job(unplaced(3.0, accuracy=dataclasses.replace(PRECISE, sigma_m=0.0)))
    assert exact.accuracy.antenna_ahead_m is None
    assumed = dataclasses.replace(unplaced(3.0), intervals=None)
    settings = dataclasses.replace(assumed.settings, boom=boom(9.0, antenna_ahead_m=None, intervals="assume"))
    told = audit_job(dataclasses.replace(assumed, settings=settings))
    assert told.accuracy.antenna_ahead_m is None
    assert told.accuracy.antenna_right_m is not None


@pytest.mark.parametrize(("settings", "mean_m"), [({}, 2.0), ({"towed_m": 3.0}, 5.0), ({"antenna_ahead_m": 0.0}, None)])
def test_without_any_switching_custom_says_where_the_antenna_is(settings, mean_m):
    place = antenna_place(
        dataclasses.replace(boom(9.0, antenna_ahead_m=None), **settings), None, by_receiver=False, switched=True
    )
    assert place is None if mean_m is None else (place.ahead.mean_m, place.right.mean_m) == (mean_m, 0.0)


def test_two_normal_laws_are_combined_by_their_precisions():
    """Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., equation 2.12 (from memory): precisions add up."""
    told = audit_job(unplaced(3.5))
    place = antenna_place(told.job.settings.boom, told.passes, by_receiver=False, switched=True).ahead
    lag, speed, error = lags(told.passes)
    (usual, wide), (late, about), pace = ANTENNA_AHEAD_M, HAND_LATE_S, np.median(speed)
    seen, doubt = np.median(lag) - late * pace, np.hypot(about * pace, error)
    precision = 1 / wide**2 + 1 / doubt**2
    assert place.sd_m == pytest.approx(precision**-0.5, rel=1e-12)
    assert place.mean_m == pytest.approx((usual / wide**2 + seen / doubt**2) / precision, rel=1e-12)


def test_places_are_quantiles_of_one_law_and_axles_lie_between():
    place = AntennaPlace(Law(2.0, 1.0), Law(0.1, 0.2))
    booms = possible_booms(boom(9.0, antenna_ahead_m=None), place)
    rights = [one.antenna_right_m for one in booms]
    assert sorted(rights) == pytest.approx([0.1 + 0.2 * (one.antenna_ahead_m - 2.0) for one in booms], abs=1e-12)
    assert abs(np.corrcoef([one.antenna_ahead_m for one in booms], rights)[0, 1]) < 0.2
    aheads = [one.antenna_ahead_m for one in booms]
    assert aheads == sorted(aheads)
    assert np.mean(aheads) == pytest.approx(2.0, abs=1e-9)
    # quantiles of the standard normal law at 1/16 and 15/16 (Abramowitz & Stegun 1964, table 26.1)
    assert aheads[0] == pytest.approx(2.0 - 1.5341, abs=1e-4)
    assert all(0 < one.axle_behind_antenna_m < one.antenna_ahead_m for one in booms if one.antenna_ahead_m > 0.5)
    likely = likely_boom(boom(9.0, antenna_ahead_m=None), place)
    assert (likely.antenna_ahead_m, likely.antenna_right_m) == (2.0, 0.1)


def steered(right_m, seed=3):
    """The passes with a driver who sets each by eye, his antenna *right_m* to one side and nobody says so."""
    rng = np.random.default_rng(seed)
    way = np.gradient(POINTS, axis=0)
    right = np.column_stack([way[:, 1], -way[:, 0]]) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    set_m = np.repeat(rng.normal(0, 0.1, len(LINES) + 1), len(POINTS) // len(LINES) + 1)[: len(POINTS)]
    driven = POINTS + np.column_stack([set_m, np.zeros(len(set_m))])
    return job(
        log(TIMES, driven + right_m * right), GIVEN, FIELD, boom=boom(9.0, antenna_ahead_m=None), accuracy=PRECISE
    )


def placed_aside(right_m):
    one = steered(right_m)
    settings = dataclasses.replace(one.settings, boom=boom(9.0, antenna_ahead_m=0.0, antenna_right_m=right_m))
    return audit_job(dataclasses.replace(one, settings=settings))


@pytest.mark.parametrize("right_m", [0.0, 0.4, -0.4])
def test_ranges_hold_the_figures_of_an_antenna_to_one_side(right_m):
    known, told = placed_aside(right_m), audit_job(steered(right_m))
    if right_m:  # every other pass lies 0.8 m too near or too far in the log, along 80 m [m2]
        assert told.area_m2.missed - known.area_m2.missed > 100.0
        assert told.accuracy.missed_m2.estimate < known.area_m2.missed + 100.0
    for kind in ("missed", "double"):
        figure = getattr(told.accuracy, f"{kind}_m2")
        assert figure.low90 <= getattr(known.area_m2, kind) + 10.0
        assert getattr(known.area_m2, kind) <= figure.high90 + 10.0
    assert told.accuracy.antenna_right_m.low90 < right_m < told.accuracy.antenna_right_m.high90
    assert known.accuracy.antenna_right_m is None


@pytest.mark.parametrize(("by_receiver", "mean_m", "sd_m"), [(False, 0.41, 0.09), (True, 0.0, 0.2)])
def test_who_steers_by_the_receiver_shows_nothing_of_its_side(by_receiver, mean_m, sd_m):
    told = audit_job(steered(0.45))
    place = antenna_place(told.job.settings.boom, told.passes, by_receiver=by_receiver, switched=True)
    assert place.right.mean_m == pytest.approx(mean_m, abs=0.06)
    assert place.right.sd_m == pytest.approx(sd_m, abs=0.02)


def test_where_nobody_says_how_it_was_steered_each_way_has_its_own_place():
    one = steered(0.4)
    settings = dataclasses.replace(one.settings, accuracy=dataclasses.replace(PRECISE, steering=UNKNOWN))
    told = audit_job(dataclasses.replace(one, settings=settings)).accuracy
    hand, guided = (told.by_regime[name].missed_m2 for name in ("classical", "berkson"))
    assert told.antenna_right_m.best > 0.3  # by hand; and the least and the most of both ways
    assert told.antenna_right_m.low90 < -0.3
    assert hand.estimate < guided.estimate - 50.0  # by it, every other pass was too far off in truth [m2]
    assert told.missed_m2.low90 == min(hand.low90, guided.low90)
    assert told.missed_m2.high90 == max(hand.high90, guided.high90)


@pytest.mark.parametrize(("count", "error_m"), [(1, 0.3 * 1.2533 / 4 * 2**0.5), (9, 0.3 * 1.2533 / 3 / 4 * 2**0.5)])
def test_few_passes_that_look_alike_are_taken_to_spread_as_passes_do(monkeypatch, count, error_m):
    """Standard error of a median of a normal law, 1.2533 of that of a mean (textbook); a quarter of each difference."""
    told = audit_job(steered(0.0))
    rows = list(told.passes.spacings)
    monkeypatch.setattr(offsets, "_opposite", lambda *_: True)
    hands = iter([True, False] * count)
    monkeypatch.setattr(offsets, "_on_the_right", lambda *_: next(hands))
    alike = [dataclasses.replace(rows[0], distance_m=np.array([9.0])) for _ in range(2 * count)]
    found = dataclasses.replace(told.passes, spacings=tuple(alike))
    assert beside(found, 1, 0.3) == pytest.approx((0.0, error_m))


def test_a_side_that_is_stated_is_kept():
    settings = boom(9.0, antenna_ahead_m=None, antenna_right_m=0.3)
    assert antenna_place(settings, None, by_receiver=False, switched=True).right == Law(0.3, 0.0)
    assert Law(0.3, 0.0).at(0.05) == 0.3
    assert widest([Law(0.3, 0.0)]) is None


def test_the_papers_name_the_antennas_place_beside_the_receivers_error():
    told = audit_job(unplaced(3.0))
    _, perhaps, _ = answer_figures(told.answer, told)
    assert perhaps.meaning == "within GPS error or the antenna's unknown place"
    sentences = " ".join(verdict_of(told).sentences)
    assert "how much was missed: GPS error and the antenna's unknown place allow" in sentences
    keys = accuracy_keys(told)["accuracy"]
    assert keys["antenna_ahead_m"]["low90"] == told.accuracy.antenna_ahead_m.low90
    names = [name for name, *_ in certainty_facts(told)]
    assert {"Antenna ahead of the boom, drawn with", "Antenna right of its middle, drawn with"} <= {*names}
    assert accuracy_keys(placed(0.0))["accuracy"]["antenna_right_m"] is None
