"""What the measured gaps tell of the receiver's error: a linear Gaussian model of both.

A measured gap is the true gap plus the error at one moment less that at another. Drivers aim at
even gaps, receivers wander slowly; the two differ in how they vary along the job and from pass to
pass, so the measured gaps tell how much is whose (kriging with known covariances; Matheron's rule
for simulations given data: Journel & Huijbregts 1978, Mining Geostatistics, ch. 7, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from .error_model import gauss_markov, sigma_at
from .tolerances_accuracy import (
    CLUSTER_SKIPS,
    HABIT_CURVE_STEP,
    HABIT_PRIOR_LOG_SD,
    HABIT_STEPS,
    MEAN_GAP_M,
    MOST_TUNING_GAPS,
    OUTLIER_SPREADS,
    PAIR_LEAST,
    PAIR_SPREADS,
    USUAL_AHEAD_M,
    USUAL_OFFSET_M,
    USUAL_WANDER_LENGTH_M,
    USUAL_WANDER_M,
)

if TYPE_CHECKING:
    from .model_accuracy import ErrorModel, FloatArray, Gaps


@dataclass(frozen=True)
class Habits:
    """How evenly the driver works: standard deviations of the true place of the boom.

    ``wander_m`` sideways along the way, forgotten over ``length_m``; ``offset_m`` of a whole
    stretch; ``ahead_m`` of switching places along the way. [m]
    """

    wander_m: float = USUAL_WANDER_M
    length_m: float = USUAL_WANDER_LENGTH_M
    offset_m: float = USUAL_OFFSET_M
    ahead_m: float = USUAL_AHEAD_M


def pick(gaps: Gaps, keep: np.ndarray) -> Gaps:
    """The gaps selected by *keep* (mask or index)."""
    return type(gaps)(**{name: value[keep] for name, value in vars(gaps).items()})


def usual(gaps: Gaps) -> np.ndarray:
    """Which gaps are of the usual kind, shape (n,).

    A gap far out of the usual is a mistake or meant so; that the driver aims at even gaps tells
    nothing there. Spread by the median absolute deviation of its kind, and between whole passes by
    that of the pairs' means.
    """
    keep, aimed = np.zeros(len(gaps), bool), ~_left_over(gaps)
    for kind in np.unique(gaps.kind[aimed]):
        own = aimed & (gaps.kind == kind)
        off = np.abs(gaps.gap_m - np.median(gaps.gap_m[own]))
        keep |= own & (off <= OUTLIER_SPREADS * 1.4826 * np.median(off[own]))
    return keep & ~_set_wrong(gaps, keep)


def _left_over(gaps: Gaps) -> np.ndarray:
    """Gaps on the farther side of passes that close a lane, shape (n,).

    A pass with earlier ground on both sides was aimed at the one done last; the other gap is what was left.
    """
    result = np.zeros(len(gaps), bool)
    between = gaps.kind == 0
    for stretch in np.unique(gaps.own_stretch[between]):
        own = between & (gaps.own_stretch == stretch)
        sides = [own & (gaps.own_lean > 0), own & (gaps.own_lean < 0)]
        if all(side.any() for side in sides):
            result |= min(sides, key=lambda side: float(np.median(gaps.other_travel_m[side])))
    return result


def _set_wrong(gaps: Gaps, among: np.ndarray) -> np.ndarray:
    """Gaps *among* which whole pairs of passes lie farther from the usual than pairs do, shape (n,)."""
    between = np.flatnonzero(among & (gaps.kind == 0))
    names = np.column_stack([gaps.own_stretch, gaps.other_stretch])[between]
    pairs, pair, count = np.unique(names, axis=0, return_inverse=True, return_counts=True)
    mean = np.bincount(pair.ravel(), weights=gaps.gap_m[between], minlength=len(pairs)) / count
    wrong = np.zeros(len(gaps), bool)
    long = count >= PAIR_LEAST
    if long.sum() >= PAIR_LEAST:
        off = np.abs(mean - np.median(mean[long]))
        wrong[between] = (long & (off > PAIR_SPREADS * 1.4826 * np.median(off[long])))[pair.ravel()]
    return wrong


def error_covariance(gaps: Gaps, error: ErrorModel) -> FloatArray:
    """Covariance of what the errors of fixes and boundary add to the gaps, shape (n, n). [m2]"""
    total = np.zeros((len(gaps), len(gaps)))
    terms = ((gaps.own_s, -1.0), (gaps.other_s, 1.0))
    for (time_a, sign_a), (time_b, sign_b) in product(terms, terms):
        total += sign_a * sign_b * _wander_covariance(time_a, time_b, error)
    edge = (gaps.kind == 1).astype(float)
    total += error.boundary_m**2 * np.outer(edge, edge)
    return total * (gaps.normal @ gaps.normal.T)


def _wander_covariance(time_a: FloatArray, time_b: FloatArray, error: ErrorModel) -> FloatArray:
    """Covariance of one coordinate's wandering error between two sets of moments; 0 where NaN. [m2]"""
    sigma_a, sigma_b = sigma_at(error, time_a), sigma_at(error, time_b)
    lag = np.abs(time_a[:, None] - time_b[None, :])
    return np.nan_to_num(np.outer(sigma_a, sigma_b) * np.exp(-lag / error.time_constant_s))


def gap_covariance(gaps: Gaps, habits: Habits) -> FloatArray:
    """Covariance of the true gaps, their unknown mean included, shape (n, n). [m2]"""
    total = MEAN_GAP_M**2 * (gaps.kind[:, None] == gaps.kind[None, :]).astype(float)
    terms = ((gaps.own_travel_m, -gaps.own_lean), (gaps.other_travel_m, gaps.other_lean))
    sides = ((gaps.own_stretch, -gaps.own_lean), (gaps.other_stretch, gaps.other_lean))
    for (at_a, lean_a), (at_b, lean_b) in product(terms, terms):
        lag = np.abs(at_a[:, None] - at_b[None, :])
        near = np.nan_to_num(np.exp(-lag / habits.length_m))
        total += habits.wander_m**2 * np.outer(lean_a, lean_b) * near
    for (of_a, lean_a), (of_b, lean_b) in product(sides, sides):
        total += habits.offset_m**2 * np.outer(lean_a, lean_b) * (of_a[:, None] == of_b[None, :])
    total[np.diag_indices(len(gaps))] += habits.ahead_m**2 * (gaps.kind == 2)
    return total


def fit_habits(gaps: Gaps, error: ErrorModel, noise_m: float) -> Habits:
    """Habits under which the measured gaps are likeliest, held near the usual ones.

    Coordinate search of the marginal likelihood on a falling grid of factors.
    """
    few, fixed = _to_tune(gaps, error, noise_m)
    best, best_cost = Habits(), _cost(few, fixed, Habits())
    for factor in HABIT_STEPS:
        for name, turn in product(vars(best), (factor, 1 / factor)):
            tried = Habits(**{**vars(best), name: getattr(best, name) * turn})
            cost = _cost(few, fixed, tried)
            while cost < best_cost:
                best, best_cost = tried, cost
                tried = Habits(**{**vars(best), name: getattr(best, name) * turn})
                cost = _cost(few, fixed, tried)
    return best


def other_habits(
    gaps: Gaps, error: ErrorModel, noise_m: float, best: Habits, count: int, rng: np.random.Generator
) -> list[Habits]:
    """*count* habits that the measured gaps leave about as likely as the *best*.

    Normal in the logarithms, by the curvature of the posterior at its top (Laplace's approximation:
    Tierney & Kadane 1986, J. Am. Stat. Assoc. 81:82-86, from memory).
    """
    few, fixed = _to_tune(gaps, error, noise_m)
    top = np.log(list(vars(best).values()))

    def cost(away: FloatArray) -> float:
        return _cost(few, fixed, Habits(*np.exp(top + away).tolist()))

    unit = HABIT_CURVE_STEP * np.eye(len(top))
    curve = np.empty((len(top), len(top)))
    for i, j in product(range(len(top)), repeat=2):
        if j >= i:
            ends = [cost(a * unit[i] + b * unit[j]) for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
            curve[i, j] = curve[j, i] = (ends[0] - ends[1] - ends[2] + ends[3]) / (4 * HABIT_CURVE_STEP**2)
    value, axis = np.linalg.eigh(curve)
    # the prior alone curves by this; a valley that is flatter was not the top
    spread = 1 / np.sqrt(np.maximum(value, HABIT_PRIOR_LOG_SD**-2))
    away = (axis * spread) @ rng.standard_normal((len(top), count))
    return [Habits(*np.exp(top + one).tolist()) for one in away.T]


def _to_tune(gaps: Gaps, error: ErrorModel, noise_m: float) -> tuple[Gaps, FloatArray]:
    """Some of the gaps, enough to judge habits by, and the covariance of what is not the driver's."""
    step = -(-len(gaps) // MOST_TUNING_GAPS)
    few = pick(gaps, np.arange(0, len(gaps), max(step, 1)))
    fixed = error_covariance(few, error)
    # a little of its own for each gap: without any, gaps to the boundary repeat one another
    fixed[np.diag_indices(len(few))] += 2 * noise_m**2 + 1e-10 + 1e-12 * np.diag(fixed).max(initial=0.0)
    return few, fixed


def _cost(gaps: Gaps, fixed: FloatArray, habits: Habits) -> float:
    """Negative log posterior of *habits*, up to a constant."""
    usual_ones = vars(Habits())
    away = [np.log(getattr(habits, name) / value) / HABIT_PRIOR_LOG_SD for name, value in usual_ones.items()]
    # the last row of the bordered matrix's root is the whitened gaps: one factoring gives all
    size = len(gaps)
    bordered = np.zeros((size + 1, size + 1))
    bordered[:size, :size] = fixed + gap_covariance(gaps, habits)
    bordered[size, :size] = bordered[:size, size] = gaps.gap_m
    bordered[size, size] = 1e12
    root = np.linalg.cholesky(bordered)
    white = root[size, :size]
    return float(np.log(np.diag(root)[:size]).sum() + white @ white / 2 + np.square(away).sum() / 2)


def simulate_errors(
    time_s: FloatArray, error: ErrorModel, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Errors that know nothing of the gaps: of the boom's place (n, 2, count), of the boundary (2, count). [m]"""
    unit = gauss_markov(time_s, error.time_constant_s, 2 * count, rng).reshape(len(time_s), 2, count)
    return unit * sigma_at(error, time_s)[:, None, None], error.boundary_m * rng.standard_normal((2, count))


def conditioned_errors(
    time_s: FloatArray,
    gaps: Gaps,
    error: ErrorModel,
    habits: Habits,
    noise_m: float,
    count: int,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Errors at rising *time_s* given the measured gaps; shapes as :func:`simulate_errors`."""
    other = np.where(np.isfinite(gaps.other_s), gaps.other_s, gaps.own_s)
    times, back = np.unique(np.concatenate([time_s, gaps.own_s, other]), return_inverse=True)
    wander, boundary = simulate_errors(times, error, count, rng)
    here, own, met = np.split(back, [len(time_s), len(time_s) + len(gaps)])
    met_field = gaps.kind == 1
    of_other = np.where(met_field[:, None, None], boundary[None], wander[met])
    simulated = np.einsum("ni,nik->nk", gaps.normal, of_other - wander[own])
    simulated += _simulated_gaps(gaps, habits, noise_m, count, rng)
    total = error_covariance(gaps, error) + gap_covariance(gaps, habits)
    total[np.diag_indices(len(gaps))] += 2 * noise_m**2 + 1e-10
    weight = np.linalg.solve(total, gaps.gap_m[:, None] - simulated)
    pull = gaps.normal[:, :, None] * weight[:, None, :]
    strength = np.zeros_like(wander)
    np.add.at(strength, own, -pull)
    np.add.at(strength, met, np.where(met_field[:, None, None], 0.0, pull))
    sigma = sigma_at(error, times)[:, None, None]
    felt = sigma * _felt(times, sigma * strength, error.time_constant_s)
    return wander[here] + felt[here], boundary + error.boundary_m**2 * pull[met_field].sum(axis=0)


def _felt(time_s: FloatArray, strength: FloatArray, memory_s: float) -> FloatArray:
    """At each moment the sum of all *strength* (n, ...) times exp(-time between / memory): one pass each way."""
    keep = np.exp(-np.diff(time_s) / memory_s)
    before, after = strength.copy(), strength.copy()
    for k in range(1, len(time_s)):
        before[k] += keep[k - 1] * before[k - 1]
    for k in range(len(time_s) - 2, -1, -1):
        after[k] += keep[k] * after[k + 1]
    return before + after - strength


def _simulated_gaps(gaps: Gaps, habits: Habits, noise_m: float, count: int, rng: np.random.Generator) -> FloatArray:
    """True gaps as such a driver would leave them, with white noise, shape (n, count). [m]"""
    other = np.where(np.isfinite(gaps.other_travel_m), gaps.other_travel_m, gaps.own_travel_m)
    travel, back = np.unique(np.concatenate([gaps.own_travel_m, other]), return_inverse=True)
    aside = habits.wander_m * gauss_markov(travel, habits.length_m, count, rng)
    own, met = np.split(back, 2)
    stretches = int(max(gaps.own_stretch.max(), gaps.other_stretch.max())) + 2
    offset = habits.offset_m * rng.standard_normal((stretches, count))
    total = gaps.other_lean[:, None] * (aside[met] + offset[gaps.other_stretch + 1])
    total -= gaps.own_lean[:, None] * (aside[own] + offset[gaps.own_stretch + 1])
    total += (MEAN_GAP_M * rng.standard_normal((3, count)))[gaps.kind]
    total += np.where(gaps.kind == 2, habits.ahead_m, 0.0)[:, None] * rng.standard_normal(total.shape)
    return total + np.sqrt(2) * noise_m * rng.standard_normal(total.shape)


def smallest_skip(
    gaps: Gaps, error: ErrorModel, habits: Habits | None, noise_m: float, wanted: tuple[float, float, float]
) -> float | None:
    """Width of a skip that is at least so wide in truth with probability ``SURE``; None when no gap was measured. [m]

    Parameters
    ----------
    habits : Habits or None
        None when truth is the log plus error: then every measured gap is believed whole.
    wanted : (length, width, sure) float
        Length of the skip [m], least true width [m], and the normal quantile of being sure [1].
    """
    between = np.flatnonzero(gaps.kind == 0)
    places = between[np.linspace(0, len(between) - 1, min(CLUSTER_SKIPS, len(between))).astype(int)]
    windows = np.zeros((len(gaps), len(places)))
    for column, at in enumerate(places):
        beside = np.abs(gaps.own_travel_m - gaps.own_travel_m[at]) <= wanted[0] / 2
        beside &= (gaps.kind == 0) & (gaps.normal @ gaps.normal[at] > 0)
        beside &= (gaps.own_stretch == gaps.own_stretch[at]) & (gaps.other_stretch == gaps.other_stretch[at])
        windows[:, column] = beside / beside.sum()
    if not len(places):
        return None
    errors = error_covariance(gaps, error)
    plain = wanted[1] + wanted[2] * np.sqrt(np.einsum("nk,nk->k", windows, errors @ windows))
    if habits is None:
        return float(np.median(plain))
    true = gap_covariance(gaps, habits)
    total = errors + true + (2 * noise_m**2 + 1e-10) * np.eye(len(gaps))
    near = true @ windows
    gain = np.linalg.solve(total, near)
    believed = np.maximum(((windows > 0) * gain).sum(axis=0), 1e-9)
    spread = np.sqrt(np.maximum(np.einsum("nk,nk->k", windows, near) - np.einsum("nk,nk->k", near, gain), 0.0))
    middle = float(np.median(gaps.gap_m[between]))
    usual_m = OUTLIER_SPREADS * 1.4826 * float(np.median(np.abs(gaps.gap_m[between] - middle)))
    shrunk = (wanted[1] + wanted[2] * spread - (1 - believed) * middle) / believed
    return float(np.median(np.minimum(shrunk, np.maximum(plain, middle + usual_m))))
