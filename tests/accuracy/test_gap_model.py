"""Gaps measured between edges of swept ground, and what they tell of the receiver's error."""

import dataclasses

import numpy as np
import pytest
import shapely
from jobs import straight_lines

from coverage_audit.accuracy.gaps.choice import pick
from coverage_audit.accuracy.gaps.habits import Habits, TrueGaps, error_covariance, runs_of
from coverage_audit.accuracy.gaps.particles import Known, Particle, draw_particles
from coverage_audit.accuracy.gaps.posterior import Seen, conditioned_errors, simulate_errors
from coverage_audit.accuracy.gaps.probes import find_gaps
from coverage_audit.accuracy.model import ErrorModel, Gaps
from coverage_audit.accuracy.standing import Stand
from coverage_audit.accuracy.tolerances import BLUNDER_M, SHORT_MEMORY_S
from coverage_audit.drive.model import BoomPath


def two_passes(apart_m):
    lines = [straight_lines(5.0, 0, 0), straight_lines(5.0 + apart_m, 1, 1)]
    travel = np.concatenate([one.travel_m for one in lines])
    none = np.zeros(len(travel), bool)
    path = BoomPath(travel, *np.zeros((3, len(travel))), travel, none, none, none)
    return find_gaps(lines, path, shapely.box(0, -20, 100, 120), 10.0, 5.0)


@pytest.mark.parametrize("apart_m", [9.3, 10.0, 10.6])
def test_gap_between_two_passes_is_measured(apart_m):
    found = two_passes(apart_m)
    between = found.kind == 0
    assert between.sum() == 21  # every 5 m of 100 m
    assert found.gap_m[between] == pytest.approx(np.full(21, apart_m - 10.0), abs=1e-9)


def test_gap_to_the_field_edge_is_measured():
    found = two_passes(10.0)
    assert found.gap_m[found.kind == 1] == pytest.approx(0.0, abs=1e-9)


def one_gap(gap_m):
    """One gap between passes 600 s apart, across the x axis."""
    column = np.array([gap_m]), np.array([[1.0, 0.0]]), np.array([0])
    times = np.array([600.0]), np.array([0.0]), np.array([1600.0]), np.array([0.0])
    return Gaps(*column, *times, np.ones(1), np.ones(1), np.ones(1, int), np.zeros(1, int))


ERROR = ErrorModel(np.array([0.0, 600.0]), np.full(2, 0.3), 0.0, 600.0, 0.0, "", "")


def test_variance_of_a_gap_is_the_closed_form():
    # sigma^2 2 (1 - exp(-t / T)), Gelb 1974 (from memory)
    assert error_covariance(one_gap(0.0), ERROR)[0, 0] == pytest.approx(0.09 * 2 * (1 - np.exp(-1)), rel=1e-12)


def test_errors_given_one_gap_share_it_as_variances_do():
    """Mean of the errors' difference = -gap * V_e / (V_e + V_g): the textbook of one Gaussian observation."""
    gaps = one_gap(0.5)
    seen = Seen.of(gaps, ERROR, 0.0)
    one = Particle(ERROR, Habits(), 1.0, np.zeros(1, bool))
    drawn, _ = conditioned_errors(np.array([0.0, 600.0]), seen, one, 4000, np.random.default_rng(1005))
    error, true = error_covariance(gaps, ERROR)[0, 0], TrueGaps.of(gaps).covariance(Habits())[0, 0]
    difference = drawn[0, 0] - drawn[1, 0]  # the edge met less the edge measured from
    # standard error of the mean of 4000: below 0.3 / 63 = 0.005 m; three of these
    assert difference.mean() == pytest.approx(0.5 * error / (error + true), abs=0.015)
    assert difference.var() == pytest.approx(error * true / (error + true), rel=0.1)  # 4 / sqrt(2 n) is 4.5 %
    assert drawn[0, 1].mean() == pytest.approx(0.0, abs=0.02)  # along the edges nothing was seen


def test_a_pass_set_wrong_tells_less_of_the_error():
    """Its own offset of BLUNDER_M joins the true gap's variance: the same textbook formula."""
    gaps = one_gap(0.5)
    seen = Seen.of(gaps, ERROR, 0.0)
    one = Particle(ERROR, Habits(), 1.0, np.ones(1, bool))
    drawn, _ = conditioned_errors(np.array([0.0, 600.0]), seen, one, 4000, np.random.default_rng(1005))
    error, true = error_covariance(gaps, ERROR)[0, 0], TrueGaps.of(gaps).covariance(Habits())[0, 0] + BLUNDER_M**2
    assert (drawn[0, 0] - drawn[1, 0]).mean() == pytest.approx(0.5 * error / (error + true), abs=0.015)


def test_gaps_at_one_place_beside_an_error_of_hundreds_of_metres():
    """Found by fuzzing: equal gaps differ by rounding alone then; they tell together what one of them would."""
    far = ErrorModel(np.array([0.0, 600.0]), np.full(2, 400.0), 0.0, 600.0, 0.0, "", "")
    one, two = one_gap(0.5), pick(one_gap(0.5), np.zeros(3, int))
    by = Particle(far, Habits(), 1.0, np.zeros(1, bool))
    found = []
    for gaps in (one, two):
        drawn, _ = conditioned_errors(
            np.array([0.0, 600.0]), Seen.of(gaps, far, 0.0), by, 4000, np.random.default_rng(7)
        )
        found.append((drawn[0, 0] - drawn[1, 0]).mean())
    true = TrueGaps.of(one).covariance(Habits())[0, 0]
    # nearly the whole gap is error; standard error: the true gap's, over sqrt(4000); three of these
    assert found == pytest.approx([0.5, 0.5], abs=3 * np.sqrt(true / 4000))


def test_short_part_counts_as_an_error_of_its_own():
    """sigma^2 2 (1 - exp(-t / T)) once more, with its memory: forgotten after 600 s."""
    both = dataclasses.replace(ERROR, short_m=0.1)
    more = error_covariance(one_gap(0.0), both)[0, 0] - error_covariance(one_gap(0.0), ERROR)[0, 0]
    assert more == pytest.approx(2 * 0.01 * (1 - np.exp(-600 / SHORT_MEMORY_S)), rel=1e-9)


def many_gaps(count, rng):
    """Gaps of all kinds at random; the field edge neither moves with a pass nor lies on one."""
    kind = rng.integers(0, 3, count)
    edge = kind == 1
    travel = rng.uniform(0, 300, (2, count))
    lean = rng.uniform(-1, 1, (2, count))
    stretch = rng.integers(0, 3, (2, count))
    return Gaps(
        rng.standard_normal(count),
        np.tile([1.0, 0.0], (count, 1)),
        kind,
        travel[0],
        np.where(edge, np.nan, travel[1]),
        travel[0],
        np.where(edge, np.nan, travel[1]),
        lean[0],
        np.where(edge, 0.0, lean[1]),
        stretch[0],
        np.where(edge, -1, stretch[1]),
    )


def test_covariance_of_true_gaps_is_that_of_each_two_worked_out_alone():
    """Definition, gap by gap: each moves with its own edge and, less what is followed, with the one it meets."""
    gaps = many_gaps(12, np.random.default_rng(1009))
    habits = Habits(0.3, 50.0, 0.07, 0.2, follow=0.4)
    whole = TrueGaps.of(gaps).covariance(habits)
    for i in range(12):
        for j in range(12):
            total = 0.25 * (gaps.kind[i] == gaps.kind[j])
            for at_a, stretch_a, lean_a in ends_of(gaps, i):
                for at_b, stretch_b, lean_b in ends_of(gaps, j):
                    near = np.exp((5.0 - np.sqrt(25.0 + (at_a - at_b) ** 2)) / 50.0)
                    total += lean_a * lean_b * (0.09 * near + 0.0049 * (stretch_a == stretch_b))
            total += 0.04 * (i == j and gaps.kind[i] == 2)
            assert whole[i, j] == pytest.approx(total, abs=1e-12)


def ends_of(gaps, i):
    yield gaps.own_travel_m[i], gaps.own_stretch[i], -gaps.own_lean[i]
    if gaps.kind[i] != 1:
        yield gaps.other_travel_m[i], gaps.other_stretch[i], 0.6 * gaps.other_lean[i]


def test_wander_of_true_gaps_is_a_covariance():
    gaps = many_gaps(200, np.random.default_rng(1010))
    for length in (3.0, 30.0, 300.0):
        value = np.linalg.eigvalsh(TrueGaps.of(gaps).covariance(Habits(0.3, length, 0.0, 0.0)))
        assert value.min() > -1e-9 * value.max()  # rounding


def even_passes(passes, step):
    """Gaps every *step* along passes of 200 m at 2.5 m/s, there and back, 80 s each."""
    at = np.arange(step / 2, 200.0, step)
    own = np.concatenate([1000.0 * k + at for k in range(1, passes)])
    met = np.concatenate([1000.0 * (k - 1) + 200.0 - at for k in range(1, passes)])
    columns = {name: np.repeat(getattr(one_gap(0.0), name), len(own), axis=0) for name in vars(one_gap(0.0))}
    stretch = (own // 1000).astype(int)
    own_s, met_s = 80.0 * stretch + (own % 1000) / 2.5, 80.0 * (stretch - 1) + (met % 1000) / 2.5
    side = np.where(stretch % 2, 1.0, -1.0)
    columns |= {"own_travel_m": own, "other_travel_m": met, "own_s": own_s, "other_s": met_s}
    columns |= {"own_lean": side, "other_lean": -side}
    return Gaps(**(columns | {"own_stretch": stretch, "other_stretch": stretch - 1}))


def drawn_gaps(gaps, error, habits, rng):
    total = TrueGaps.of(gaps).covariance(habits) + error_covariance(gaps, error) + 1e-6 * np.eye(len(gaps))
    return dataclasses.replace(gaps, gap_m=np.linalg.cholesky(total) @ rng.standard_normal(len(gaps)))


OPEN = dataclasses.replace(ERROR, sigma_log_sd=0.7, time_log_sd=0.9)


def test_particles_hold_what_the_gaps_were_drawn_with():
    """Drawn from the model itself: scale and wander lie among the particles' nine tenths; five jobs, four at least."""
    rng = np.random.default_rng(1011)
    gaps = even_passes(12, 15.0)
    meant, error = Habits(0.25, 40.0, 0.05, 0.2, 0.5), dataclasses.replace(OPEN, sigma_m=np.full(2, 0.6))
    held = []
    for _ in range(5):
        found, _ = draw_particles(Known.of(drawn_gaps(gaps, error, meant, rng), OPEN, 1e-3, ()), 40, rng)
        for true, values in ((2.0, [one.scale for one in found]), (0.25, [one.habits.wander_m for one in found])):
            held.append(np.quantile(values, 0.05) <= true <= np.quantile(values, 0.95))
    assert sum(held) >= 8  # of ten at 90 %, tempered: fewer would be a fault


def test_gaps_narrow_the_scale():
    rng = np.random.default_rng(1013)
    gaps = drawn_gaps(even_passes(12, 15.0), dataclasses.replace(OPEN, sigma_m=np.full(2, 0.9)), Habits(0.05), rng)
    found, moved = draw_particles(Known.of(gaps, OPEN, 1e-3, ()), 40, rng)
    assert np.std(np.log([one.scale for one in found])) < 0.75 * 0.7
    assert moved > 0.3  # three times the usual size was drawn


def test_nothing_to_go_by_leaves_the_prior():
    found, moved = draw_particles(Known.of(None, OPEN, 0.0, ()), 4000, np.random.default_rng(1007))
    assert moved == 0.0
    logs = np.log([one.scale for one in found])
    assert (logs.mean(), logs.std()) == pytest.approx((0.0, 0.7), abs=0.035)  # three standard errors of 4000
    memory = np.log([one.error.time_constant_s for one in found]) - np.log(600)
    assert (np.median(memory), memory.std()) == pytest.approx((0.0, 0.9), abs=0.06)


def test_a_stop_shows_the_scale():
    """A receiver that wanders by 1.2 m on a stop of twelve minutes errs by more than one that stays within 5 cm."""
    times = np.arange(0.0, 720.0, 20.0)
    wander = np.column_stack([np.sin(times / 200), np.cos(times / 200)])
    medians = []
    for size in (1.2, 0.05):
        stand = Stand(times, size * wander)
        found, _ = draw_particles(Known.of(None, OPEN, 0.01, (stand,)), 40, np.random.default_rng(1014))
        medians.append(np.median([one.scale for one in found]))
    assert medians[0] > 2 * medians[1]


def test_one_pass_set_wrong_is_flagged_and_moves_the_scale_little():
    rng = np.random.default_rng(1015)
    plain = drawn_gaps(even_passes(12, 15.0), dataclasses.replace(OPEN, sigma_m=np.full(2, 0.1)), Habits(0.1), rng)
    wrong = dataclasses.replace(plain, gap_m=plain.gap_m + 0.9 * (plain.own_stretch == 6))
    run = int(np.argmax(runs_of(wrong)[np.flatnonzero(wrong.own_stretch == 6)[0]]))
    found, _ = draw_particles(Known.of(wrong, OPEN, 1e-3, ()), 40, np.random.default_rng(1016))
    before, _ = draw_particles(Known.of(plain, OPEN, 1e-3, ()), 40, np.random.default_rng(1016))
    assert np.mean([one.flagged[run] for one in found]) > 0.8
    assert np.mean([one.flagged[run] for one in before]) < 0.2
    ratio = np.median([one.scale for one in found]) / np.median([one.scale for one in before])
    assert ratio < 1.6


def test_gaps_that_contradict_the_error_move_its_scale_far():
    """Even passes under an error stated as fifty metres."""
    vast = dataclasses.replace(ERROR, sigma_m=np.full(2, 50.0), sigma_log_sd=0.4, time_log_sd=0.4)
    gaps = dataclasses.replace(even_passes(8, 15.0), gap_m=0.1 * np.random.default_rng(1).standard_normal(7 * 13))
    _, moved = draw_particles(Known.of(gaps, vast, 0.0, ()), 16, np.random.default_rng(1017))
    assert moved < -2.0


def test_unconditioned_errors_have_their_variance():
    drawn, boundary = simulate_errors(np.array([0.0, 600.0]), ERROR, 4000, np.random.default_rng(1006))
    assert drawn.std() == pytest.approx(0.3, rel=0.03)  # 4 / sqrt(2 * 16000)
    assert not boundary.any()
