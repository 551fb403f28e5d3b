"""What drivers leave between passes: covariance of true gaps, and of what the receiver's error adds to them.

Both are Gaussian. How large the driver's part is, his habits, is told from the measured gaps
themselves: the likeliest, and how far others fit as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize

from coverage_audit.accuracy.error import sigma_at
from coverage_audit.accuracy.tolerances import (
    HABIT_CURVE_STEP,
    HABIT_PRIOR_LOG_SD,
    HABIT_SEARCH,
    MEAN_GAP_M,
    MOST_TUNING_GAPS,
    TUNING_STEP_M,
    USUAL_AHEAD_M,
    USUAL_OFFSET_M,
    USUAL_WANDER_LENGTH_M,
    USUAL_WANDER_M,
    VEHICLE_SMOOTH_M,
)

from .choice import pick

if TYPE_CHECKING:
    from coverage_audit.accuracy.model import ErrorModel, Gaps
    from coverage_audit.arrays import BoolArray, FloatArray


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


@dataclass(frozen=True)
class TrueGaps:
    """What the covariance of true gaps is made of, whatever the habits; arrays of shape (n, n).

    ``lag_m`` (3, n, n): way between the two own edges, the two met, own and met, less what the vehicle smooths;
    ``lean`` (3, n, n): what a shift of both does to both gaps. ``offset``: shared stretches. [m2], [m]
    """

    mean_m2: FloatArray
    lag_m: FloatArray
    lean: FloatArray
    offset: FloatArray
    ahead: FloatArray

    @classmethod
    def of(cls, gaps: Gaps) -> TrueGaps:
        """Parts of the covariance of *gaps*. [m2]"""
        ends = (
            (gaps.own_travel_m, gaps.own_stretch, -gaps.own_lean),
            (np.nan_to_num(gaps.other_travel_m), gaps.other_stretch, gaps.other_lean),
        )
        pairs = [(ends[a], ends[b]) for a, b in ((0, 0), (1, 1), (0, 1))]
        lag = np.array([one[0][:, None] - other[0][None, :] for one, other in pairs])
        lean = np.array([np.outer(one[2], other[2]) for one, other in pairs])
        shared = np.array([one[1][:, None] == other[1][None, :] for one, other in pairs])
        return cls(
            mean_m2=MEAN_GAP_M**2 * (gaps.kind[:, None] == gaps.kind[None, :]),
            lag_m=np.hypot(lag, VEHICLE_SMOOTH_M) - VEHICLE_SMOOTH_M,
            lean=lean,
            offset=_both_ways(lean * shared),
            ahead=(gaps.kind == 2).astype(float),
        )

    def covariance(self, habits: Habits) -> FloatArray:
        """Covariance of the true gaps under *habits*, their unknown mean included, shape (n, n). [m2]

        The wander is an exponential one, rounded off at short ways, since a vehicle cannot jump aside:
        exp((s - sqrt(s^2 + lag^2)) / l), a characteristic function of the normal inverse Gaussian law
        (Barndorff-Nielsen 1997, Scand. J. Stat. 24:1-13, from memory), hence a correlation.
        """
        near = np.exp(self.lag_m * (-1 / habits.length_m))
        total = self.mean_m2 + habits.wander_m**2 * _both_ways(self.lean * near) + habits.offset_m**2 * self.offset
        total[np.diag_indices(len(total))] += habits.ahead_m**2 * self.ahead
        return total


def _both_ways(blocks: FloatArray) -> FloatArray:
    """Sum over own and own, met and met, own and met, met and own; from the first three."""
    return blocks[0] + blocks[1] + blocks[2] + blocks[2].T


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


@dataclass(frozen=True)
class Likelihood:
    """How likely habits are, given measured gaps [m]; ``fixed_m2``: covariance of what is not the driver's. [m2]"""

    gap_m: FloatArray
    fixed_m2: FloatArray
    true: TrueGaps

    @classmethod
    def of(cls, gaps: Gaps, error: ErrorModel, noise_m: float) -> Likelihood:
        """Of some of the gaps, enough to judge habits by; closer ones tell of the vehicle and of jitter. [m]"""
        few = pick(gaps, _apart(gaps))
        fixed = error_covariance(few, error)
        # a little of its own for each gap: without any, gaps to the boundary repeat one another
        fixed[np.diag_indices(len(few))] += 2 * noise_m**2 + 1e-10 + 1e-12 * np.diag(fixed).max(initial=0.0)
        return cls(few.gap_m, fixed, TrueGaps.of(few))

    def cost(self, logs: FloatArray) -> float:
        """Negative log posterior of the habits with these *logs*, up to a constant (Gaussian, textbook). [1]"""
        away = (logs - np.log(list(vars(Habits()).values()))) / HABIT_PRIOR_LOG_SD
        # the last row of the bordered matrix's root is the whitened gaps: one factoring gives all
        size = len(self.gap_m)
        bordered = np.zeros((size + 1, size + 1))
        bordered[:size, :size] = self.fixed_m2 + self.true.covariance(Habits(*np.exp(logs).tolist()))
        bordered[size, :size] = bordered[:size, size] = self.gap_m
        bordered[size, size] = 1e12
        root = np.linalg.cholesky(bordered)
        white = root[size, :size]
        return float(np.log(np.diag(root)[:size]).sum() + white @ white / 2 + np.square(away).sum() / 2)


def _apart(gaps: Gaps) -> BoolArray:
    """Which gaps are about ``TUNING_STEP_M`` apart along a pass, and no more than ``MOST_TUNING_GAPS``, shape (n,)."""
    beside = gaps.kind != 2
    travel = gaps.own_travel_m[beside]
    apart = np.abs(np.diff(travel))
    near = float(np.median(apart[apart > 0])) if (apart > 0).any() else TUNING_STEP_M
    step = max(math.ceil(TUNING_STEP_M / near - 0.5), math.ceil(len(travel) / MOST_TUNING_GAPS), 1)
    keep = ~beside
    keep[np.flatnonzero(beside)[::step]] = True
    return keep


def fit_habits(likelihood: Likelihood) -> Habits:
    """Habits under which the measured gaps are likeliest, held near the usual ones (search: Nelder & Mead 1965)."""
    start = np.log(list(vars(Habits()).values()))
    simplex = start + np.vstack([np.zeros(len(start)), HABIT_SEARCH[0] * np.eye(len(start))])
    options = {"initial_simplex": simplex, "xatol": HABIT_SEARCH[1], "fatol": HABIT_SEARCH[1]}
    return Habits(*np.exp(minimize(likelihood.cost, start, method="Nelder-Mead", options=options).x).tolist())


def other_habits(likelihood: Likelihood, best: Habits, count: int, rng: np.random.Generator) -> list[Habits]:
    """*count* habits that the measured gaps leave about as likely as the *best*.

    Normal in the logarithms, by the curvature of the posterior at its top (Laplace's approximation:
    Tierney & Kadane 1986, J. Am. Stat. Assoc. 81:82-86, from memory).
    """
    top = np.log(list(vars(best).values()))
    unit = HABIT_CURVE_STEP * np.eye(len(top))
    curve = np.empty((len(top), len(top)))
    for i, j in product(range(len(top)), repeat=2):
        if j >= i:
            signs = ((1, 1), (1, -1), (-1, 1), (-1, -1))
            ends = [likelihood.cost(top + a * unit[i] + b * unit[j]) for a, b in signs]
            curve[i, j] = curve[j, i] = (ends[0] - ends[1] - ends[2] + ends[3]) / (4 * HABIT_CURVE_STEP**2)
    value, axis = np.linalg.eigh(curve)
    # the prior alone curves by this; a valley that is flatter was not the top
    spread = 1 / np.sqrt(np.maximum(value, HABIT_PRIOR_LOG_SD**-2))
    away = (axis * spread) @ rng.standard_normal((len(top), count))
    return [Habits(*np.exp(top + one).tolist()) for one in away.T]
