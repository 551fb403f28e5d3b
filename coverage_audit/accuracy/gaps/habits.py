"""What drivers leave between passes: covariance of true gaps, and of what the receiver's error adds to them.

Both are Gaussian. Neither the driver's part, his habits, nor the size and memory of the receiver's is known
beforehand; :mod:`.particles` finds which of them the measured gaps allow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.accuracy.error import sigma_at
from coverage_audit.accuracy.tolerances import (
    MEAN_GAP_M,
    MOST_MEMORIES,
    SHORT_MEMORY_S,
    SIDE_STEP_RAD,
    USUAL_AHEAD_M,
    USUAL_OFFSET_M,
    USUAL_WANDER_LENGTH_M,
    USUAL_WANDER_M,
    VEHICLE_SMOOTH_M,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from coverage_audit.accuracy.model import ErrorModel, Gaps
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Habits:
    """How evenly the driver works: standard deviations of the true place of the boom.

    ``wander_m`` sideways along the way, forgotten over ``length_m``; ``offset_m`` of a whole side of a stretch;
    ``ahead_m`` of switching places along the way [m]. ``follow``: how far he follows the edge of the pass before,
    bends and all, so that errors add up from pass to pass (1), or keeps to places of his own (0).
    """

    wander_m: float = USUAL_WANDER_M
    length_m: float = USUAL_WANDER_LENGTH_M
    offset_m: float = USUAL_OFFSET_M
    ahead_m: float = USUAL_AHEAD_M
    follow: float = 0.0


def sides_of(gaps: Gaps) -> tuple[IntArray, IntArray]:
    """Number of the side of a stretch that each gap is measured from, and of the one it meets (-1: field edge)."""
    axis = np.arctan2(gaps.normal[:, 1], gaps.normal[:, 0]) % np.pi
    turned = np.round(axis / SIDE_STEP_RAD).astype(int) % round(np.pi / SIDE_STEP_RAD)
    own, met = (1000 * stretch + turned for stretch in (gaps.own_stretch, gaps.other_stretch))
    return own, np.where(gaps.other_stretch < 0, -1, met)


def runs_of(gaps: Gaps) -> FloatArray:
    """Which gaps belong to which run of a pass along another edge, shape (n, runs) of 0 and 1; switching in none."""
    beside = np.flatnonzero(gaps.kind != 2)
    own, met = sides_of(gaps)
    names = np.column_stack([gaps.kind, own, met, np.sign(gaps.own_lean).astype(int)])[beside]
    _, run = np.unique(names, axis=0, return_inverse=True)
    result = np.zeros((len(gaps), int(run.max(initial=-1)) + 1))
    result[beside, run.ravel()] = 1.0
    return result


def whole(below: FloatArray) -> FloatArray:
    """The symmetric matrix (n, n) whose lower triangle, row by row with the diagonal, is *below* (n (n + 1) / 2,)."""
    lower = lower_of(below)
    return np.asarray(lower + np.tril(lower, -1).T)


def lower_of(below: FloatArray) -> FloatArray:
    """The lower triangle alone, zeros above it: all that a Cholesky factor is made from, shape (n, n)."""
    count = (math.isqrt(8 * len(below) + 1) - 1) // 2
    lower = np.zeros((count, count))
    lower[np.tri(count, dtype=bool)] = below
    return lower


def _pairs(
    combined: Callable[..., NDArray[Any]], own: NDArray[Any], met: NDArray[Any], dtype: type = float
) -> NDArray[Any]:
    """What is *combined* of both gaps of each pair of the lower triangle, shape (4, n (n + 1) / 2).

    The four: of the two own edges, the two met, own and met, met and own; *own*, *met* (n,).
    """
    one, other = np.tril_indices(len(own))
    result: NDArray[Any] = np.empty((4, len(one)), dtype)
    for row, (first, second) in zip(result, ((own, own), (met, met), (own, met), (met, own)), strict=True):
        row[:] = combined(first[one], second[other])
    return result


def alike(lag: FloatArray, memory: float) -> FloatArray:
    """Correlation exp(-lag / memory) of a first-order Gauss-Markov process (Gelb 1974, section 3.8, from memory).

    *lag*, at least 0, in the unit of *memory*; same shape.
    """
    decay = lag * (-1 / memory)
    np.maximum(decay, -MOST_MEMORIES, out=decay)
    return np.asarray(np.exp(decay, out=decay))


@dataclass(frozen=True)
class TrueGaps:
    """What the covariance of true gaps is made of, whatever the habits, for each pair of the lower triangle.

    ``lag_m`` (4, pairs): way between the two own edges, the two met, own and met, met and own, less what the vehicle
    smooths; ``lean`` (4, pairs): what a shift of both does to both gaps; ``shared`` (4, pairs): whether a side is;
    ``mean_m2``, ``ahead`` (pairs,). [m2], [m]
    """

    mean_m2: FloatArray
    lag_m: FloatArray
    lean: FloatArray
    shared: BoolArray
    ahead: FloatArray

    @classmethod
    def of(cls, gaps: Gaps) -> TrueGaps:
        """Parts of the covariance of *gaps*. [m2]"""
        at = gaps.own_travel_m, np.nan_to_num(gaps.other_travel_m)
        one, other = np.tril_indices(len(gaps))
        return cls(
            mean_m2=MEAN_GAP_M**2 * (gaps.kind[one] == gaps.kind[other]),
            lag_m=_pairs(lambda a, b: np.hypot(a - b, VEHICLE_SMOOTH_M) - VEHICLE_SMOOTH_M, *at),
            lean=_pairs(np.multiply, -gaps.own_lean, gaps.other_lean),
            shared=_pairs(np.equal, *sides_of(gaps), bool),
            ahead=((one == other) & (gaps.kind[one] == 2)).astype(float),
        )

    def below(self, habits: Habits) -> FloatArray:
        """Covariance of the true gaps under *habits*, their unknown mean included: the lower triangle, (pairs,). [m2]

        The wander is an exponential one, rounded off at short ways, since a vehicle cannot jump aside:
        exp((s - sqrt(s^2 + lag^2)) / l), a characteristic function of the normal inverse Gaussian law
        (Barndorff-Nielsen 1997, Scand. J. Stat. 24:1-13, from memory), hence a correlation. Whoever follows the
        edge of the pass before has its errors in his own place, so that it leaves the gap.
        """
        near = alike(self.lag_m, habits.length_m)
        near *= habits.wander_m**2
        near += habits.offset_m**2 * self.shared
        near *= self.lean
        kept = 1 - habits.follow
        total = self.mean_m2 + near[0] + kept**2 * near[1]
        total += kept * (near[2] + near[3])
        total += habits.ahead_m**2 * self.ahead
        return total

    def covariance(self, habits: Habits) -> FloatArray:
        """The same as a whole, shape (n, n). [m2]"""
        return whole(self.below(habits))


@dataclass(frozen=True)
class ErrorGaps:
    """What the covariance of the errors' part of gaps is made of, whatever their scale; pairs as in ``TrueGaps``.

    ``lag_s`` (4, pairs): time between the two own edges, the two met, own and met, met and own; ``sigma_m2``
    (4, pairs): the products of the slow error's sizes there, with the sign of its part; 0 at the field edge;
    ``facing``, ``boundary_m2`` (pairs,). [s], [m2]
    """

    lag_s: FloatArray
    sigma_m2: FloatArray
    sign: IntArray
    facing: FloatArray
    boundary_m2: FloatArray

    @classmethod
    def of(cls, gaps: Gaps, error: ErrorModel) -> ErrorGaps:
        """Parts of the covariance of what *error* adds to *gaps*."""
        moving = np.isfinite(gaps.other_s)
        met_s = np.where(moving, gaps.other_s, gaps.own_s)
        one, other = np.tril_indices(len(gaps))
        sign = _pairs(np.multiply, np.full(len(gaps), -1), moving.astype(int), np.int8)
        return cls(
            lag_s=_pairs(lambda a, b: np.abs(a - b), gaps.own_s, met_s),
            sigma_m2=_pairs(np.multiply, sigma_at(error, gaps.own_s), sigma_at(error, met_s)) * sign,
            sign=sign,
            facing=(gaps.normal @ gaps.normal.T)[one, other],
            boundary_m2=error.boundary_m**2 * ((gaps.kind[one] == 1) & (gaps.kind[other] == 1)),
        )

    def below(self, scale: float, memory_s: float, short_m: float) -> FloatArray:
        """Covariance under a slow error *scale* times the usual, its memory, and a short part: the lower triangle. [m2]

        Each part is a first-order Gauss-Markov process (Gelb 1974, section 3.8, from memory).
        """
        near = alike(self.lag_s, memory_s)
        near *= scale**2 * self.sigma_m2
        total = near[0] + near[1] + near[2] + near[3]
        total += self.boundary_m2
        if short_m > 0:
            total += short_m**2 * self.short
        total *= self.facing
        return np.asarray(total)

    def covariance(self, scale: float, memory_s: float, short_m: float) -> FloatArray:
        """The same as a whole, shape (n, n). [m2]"""
        return whole(self.below(scale, memory_s, short_m))

    @cached_property
    def short(self) -> FloatArray:
        """Covariance of the short part, of one metre, before the edges' directions (Gelb 1974, from memory). [m2]"""
        near = alike(self.lag_s, SHORT_MEMORY_S) * self.sign
        return np.asarray(near[0] + near[1] + near[2] + near[3])


def error_covariance(gaps: Gaps, error: ErrorModel) -> FloatArray:
    """Covariance of what errors of fixes and boundary add to the gaps (Gelb 1974, from memory), shape (n, n). [m2]"""
    return ErrorGaps.of(gaps, error).covariance(1.0, error.time_constant_s, error.short_m)


def scaled(error: ErrorModel, scale: float, memory_s: float, short_m: float) -> ErrorModel:
    """*error* with its slow part so many times as large, another memory [s] and short part [m]."""
    return replace(error, sigma_m=error.sigma_m * scale, time_constant_s=memory_s, short_m=short_m)
