"""Gaps measured between edges of swept ground, and what they tell of the receiver's error."""

import dataclasses

import numpy as np
import pytest
import shapely
from jobs import straight_lines

from coverage_audit.accuracy.gaps.habits import Habits, Likelihood, TrueGaps, error_covariance, fit_habits, other_habits
from coverage_audit.accuracy.gaps.posterior import Seen, conditioned_errors, simulate_errors
from coverage_audit.accuracy.gaps.probes import find_gaps
from coverage_audit.accuracy.model import ErrorModel, Gaps
from coverage_audit.accuracy.tolerances import HABIT_PRIOR_LOG_SD
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
    drawn, _ = conditioned_errors(np.array([0.0, 600.0]), seen, Habits(), 4000, np.random.default_rng(1005))
    error, true = error_covariance(gaps, ERROR)[0, 0], TrueGaps.of(gaps).covariance(Habits())[0, 0]
    difference = drawn[0, 0] - drawn[1, 0]  # the edge met less the edge measured from
    # standard error of the mean of 4000: below 0.3 / 63 = 0.005 m; three of these
    assert difference.mean() == pytest.approx(0.5 * error / (error + true), abs=0.015)
    assert difference.var() == pytest.approx(error * true / (error + true), rel=0.1)  # 4 / sqrt(2 n) is 4.5 %
    assert drawn[0, 1].mean() == pytest.approx(0.0, abs=0.02)  # along the edges nothing was seen


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
    """Definition, gap by gap: each moves with its own edge and with the one it meets."""
    gaps = many_gaps(12, np.random.default_rng(1009))
    habits = Habits(0.3, 50.0, 0.07, 0.2)
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
        yield gaps.other_travel_m[i], gaps.other_stretch[i], gaps.other_lean[i]


def test_wander_of_true_gaps_is_a_covariance():
    gaps = many_gaps(200, np.random.default_rng(1010))
    for length in (3.0, 30.0, 300.0):
        value = np.linalg.eigvalsh(TrueGaps.of(gaps).covariance(Habits(0.3, length, 0.0, 0.0)))
        assert value.min() > -1e-9 * value.max()  # rounding


def test_gaps_of_even_passes_show_the_driver_who_made_them():
    """Drawn from the model itself, his habits come back, though the receiver errs by as much."""
    rng = np.random.default_rng(1011)
    passes, step = 14, 5.0
    at = np.arange(0.0, 200.0, step)
    own = np.concatenate([1000.0 * k + at for k in range(1, passes)])
    single = one_gap(0.0)
    columns = {name: np.repeat(getattr(single, name), len(own), axis=0) for name in vars(single)}
    columns |= {"own_travel_m": own, "other_travel_m": own - 1000, "own_s": own / 2.5, "other_s": (own - 1000) / 2.5}
    stretch = (own // 1000).astype(int)
    gaps = Gaps(**(columns | {"own_stretch": stretch, "other_stretch": stretch - 1}))
    meant, error = Habits(0.25, 40.0, 0.02, 0.2), dataclasses.replace(ERROR, sigma_m=np.full(2, 0.35))
    found = []
    for _ in range(8):
        total = TrueGaps.of(gaps).covariance(meant) + error_covariance(gaps, error) + 1e-6 * np.eye(len(own))
        drawn = dataclasses.replace(gaps, gap_m=np.linalg.cholesky(total) @ rng.standard_normal(len(own)))
        likelihood = Likelihood.of(drawn, error, 1e-3)
        best = fit_habits(likelihood)
        assert_likeliest(likelihood, best)
        found.append([best.wander_m, best.length_m])
    # 13 passes of five lengths: some 60 figures tell a standard deviation to 10 %, a length to 30 %; eight such jobs
    assert np.exp(np.log(found).mean(axis=0)) == pytest.approx([0.25, 40.0], rel=0.25)


def assert_likeliest(likelihood, best):
    """A tenth more or less of any habit, or of wander and length together, fits no better."""
    top = np.log(list(vars(best).values()))
    ways = np.vstack([np.eye(4), [[1, 2, 0, 0]]])
    beside = [likelihood.cost(top + sign * 0.1 * way) for way in ways for sign in (1, -1)]
    assert min(beside) > likelihood.cost(top) - 0.02  # what the search stops at


def test_gaps_that_say_nothing_leave_the_habits_as_wide_as_they_were():
    """Error a thousand times the driver's wander: the posterior is the prior, e^1 either way."""
    blind = dataclasses.replace(ERROR, sigma_m=np.full(2, 300.0))
    tried = other_habits(Likelihood.of(one_gap(0.5), blind, 0.0), Habits(), 4000, np.random.default_rng(1007))
    for name, usual in vars(Habits()).items():
        logs = np.log([getattr(one, name) for one in tried]) - np.log(usual)
        assert logs.std() == pytest.approx(HABIT_PRIOR_LOG_SD, rel=0.05)  # 4 / sqrt(2 n) is 4.5 %
        assert logs.mean() == pytest.approx(0.0, abs=0.05)  # three standard errors of 4000


def test_many_gaps_narrow_the_habits():
    """Twenty passes, wandering by 0.3 m, seen without error: its size is known far better than before."""
    travel = np.arange(0.0, 4000.0, 20.0)
    rng = np.random.default_rng(1008)
    column = {name: np.repeat(getattr(one_gap(0.0), name), len(travel), axis=0) for name in vars(one_gap(0.0))}
    column |= {"gap_m": 0.3 * np.sqrt(2) * rng.standard_normal(len(travel)), "own_travel_m": 5000.0 + 200 * travel}
    column |= {"other_travel_m": 200 * travel}
    exact = dataclasses.replace(ERROR, sigma_m=np.full(2, 1e-4))
    gaps = Gaps(**column)
    likelihood = Likelihood.of(gaps, exact, 0.0)
    best = fit_habits(likelihood)
    assert best.wander_m == pytest.approx(0.3, rel=0.2)
    tried = other_habits(likelihood, best, 400, rng)
    # 200 gaps tell a standard deviation to 1 / sqrt(400) = 5 %
    assert np.log([one.wander_m for one in tried]).std() == pytest.approx(0.05, rel=0.5)


def test_unconditioned_errors_have_their_variance():
    drawn, boundary = simulate_errors(np.array([0.0, 600.0]), ERROR, 4000, np.random.default_rng(1006))
    assert drawn.std() == pytest.approx(0.3, rel=0.03)  # 4 / sqrt(2 * 16000)
    assert not boundary.any()
