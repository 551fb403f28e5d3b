"""Gaps measured between edges of swept ground, and what they tell of the receiver's error."""

import dataclasses

import numpy as np
import pytest
import shapely
from jobs import straight_lines

from coverage_audit.gap_habits import Habits, Likelihood, TrueGaps, error_covariance, fit_habits, other_habits
from coverage_audit.gap_model import conditioned_errors, simulate_errors
from coverage_audit.gap_probes import find_gaps
from coverage_audit.model_accuracy import ErrorModel, Gaps
from coverage_audit.model_core import BoomPath
from coverage_audit.tolerances_accuracy import HABIT_PRIOR_LOG_SD


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
    drawn, _ = conditioned_errors(np.array([0.0, 600.0]), gaps, ERROR, Habits(), 0.0, 4000, np.random.default_rng(1005))
    error, true = error_covariance(gaps, ERROR)[0, 0], TrueGaps.of(gaps).covariance(Habits())[0, 0]
    difference = drawn[0, 0] - drawn[1, 0]  # the edge met less the edge measured from
    # standard error of the mean of 4000: below 0.3 / 63 = 0.005 m; three of these
    assert difference.mean() == pytest.approx(0.5 * error / (error + true), abs=0.015)
    assert difference.var() == pytest.approx(error * true / (error + true), rel=0.1)  # 4 / sqrt(2 n) is 4.5 %
    assert drawn[0, 1].mean() == pytest.approx(0.0, abs=0.02)  # along the edges nothing was seen


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
