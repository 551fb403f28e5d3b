"""What a standing receiver shows of its error: scale, memory and short part, each with a range.

A receiver that stands errs by what its positions wander. The wander is taken as a first-order Gauss-Markov process
beside a short part that is forgotten between fixes (Gelb 1974, section 3.8, from memory); where it stood is unknown and
integrated out. The posterior of the three figures is worked out on a grid, looked at ever closer: no maximum is
trusted, since half an hour shows a wander of ten minutes three times only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .tolerances import (
    ENOUGH_FACTOR,
    ENOUGH_STANDING_S,
    GRID_LOOKS,
    GRID_MASS,
    GRID_POINTS,
    LEAST_STAND_S,
    MOST_STANDING_FIXES,
    NOISE_LOG_SD,
    NOISE_SHARE,
    PACE_GRID_M,
    STAND_M,
    STAND_NOISE_M,
    STAND_SIDE_S,
    STAND_STEP_S,
    STAND_WHOLE,
    TIME_GRID_S,
    TIME_LOG_SD,
    TIME_MIDDLE_S,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.drive.model import Track


@dataclass(frozen=True)
class Spread:
    """Median, 5 % and 95 % quantile of a figure, in its own unit."""

    best: float
    low90: float
    high90: float


@dataclass(frozen=True)
class Standing:
    """What a standing receiver shows: ``sigma_m`` and ``noise_m`` of one coordinate [m], ``time_constant_s`` [s].

    ``standing_s``: how long it stood, in all [s], in ``stands`` places. ``enough``: the scale is known well enough to
    be used. ``pinned``: its positions do not change at all while it stands, which says nothing of its error.
    The three figures are None when it hardly stood, or is pinned.
    """

    sigma_m: Spread | None
    time_constant_s: Spread | None
    noise_m: Spread | None
    standing_s: float
    stands: int
    enough: bool
    pinned: bool = False


@dataclass(frozen=True)
class Stand:
    """One time of standing: moments [s], shape (n,), and places [m], shape (n, 2)."""

    time_s: FloatArray
    place_m: FloatArray

    @property
    def length_s(self) -> float:
        """How long it lasted. [s]"""
        return float(self.time_s[-1] - self.time_s[0])


def stands_of(track: Track, least_s: float = LEAST_STAND_S) -> list[Stand]:
    """Times of *least_s* [s] or more in which the machine stood.

    It stands where half a minute moves it by no more than ``STAND_M``. A log that hardly ever moves is of a receiver
    left in one place: all of it stands, its jumps included.
    """
    place = np.column_stack([track.x_m, track.y_m])
    moving = _moving(track.time_s, place)
    if moving.mean() <= STAND_WHOLE:
        moving = np.zeros(len(moving), bool)
    result = []
    ends = np.flatnonzero(np.diff(moving, prepend=True, append=True))
    for first, last in ends.reshape(-1, 2):
        time, own = track.time_s[first:last], place[first:last]
        inside = np.ones(len(time), bool)
        if first > 0:  # the last and first yards of driving are none of it
            inside &= time >= time[0] + STAND_SIDE_S
        if last < len(moving):
            inside &= time <= time[-1] - STAND_SIDE_S
        if inside.any() and np.ptp(time[inside]) >= least_s:
            result.append(Stand(time[inside], own[inside]))
    return result


def _moving(time_s: FloatArray, place_m: FloatArray) -> BoolArray:
    """Whether the machine moves by more than ``STAND_M`` from so long before each fix to so long after, shape (n,)."""
    ends = [
        np.column_stack([np.interp(time_s + side, time_s, column) for column in place_m.T])
        for side in (-STAND_SIDE_S, STAND_SIDE_S)
    ]
    return np.asarray(np.hypot(*(ends[1] - ends[0]).T) > STAND_M)


def standing(stands: Sequence[Stand]) -> Standing:
    """What *stands* show of the receiver."""
    total = sum(one.length_s for one in stands)
    if not stands:
        return Standing(None, None, None, total, 0, enough=False)
    places = np.concatenate([one.place_m - one.place_m[0] for one in stands])
    if not places.any():
        return Standing(None, None, None, total, len(stands), enough=False, pinned=True)
    step = max(STAND_STEP_S, total / MOST_STANDING_FIXES)
    thinned = [_thinned(one, step) for one in stands]
    axes = [np.log(np.geomspace(*bounds, GRID_POINTS)) for bounds in (PACE_GRID_M, TIME_GRID_S, STAND_NOISE_M)]
    mass = _posterior(thinned, axes)
    for flatter in GRID_LOOKS:
        flat = mass**flatter / np.sum(mass**flatter)
        axes = [_narrowed(axis, _along(flat, own)) for own, axis in enumerate(axes)]
        mass = _posterior(thinned, axes)
    time, noise = (_spread(axes[own], _along(mass, own)) for own in (1, 2))
    pace, memory = np.meshgrid(*axes[:2], indexing="ij")
    order = np.argsort((pace + memory / 2).ravel())
    sigma = _spread((pace + memory / 2).ravel()[order], mass.sum(axis=2).ravel()[order])
    known = sigma.high90 <= ENOUGH_FACTOR * sigma.low90
    return Standing(sigma, time, noise, total, len(stands), enough=total >= ENOUGH_STANDING_S and known)


def _thinned(stand: Stand, step_s: float) -> Stand:
    """The first fix of every *step_s* [s]: what changes within seconds then counts as the short part."""
    _, first = np.unique(((stand.time_s - stand.time_s[0]) / step_s + 1e-6).astype(int), return_index=True)
    return Stand(stand.time_s[first], stand.place_m[first])


def _posterior(stands: Sequence[Stand], axes: Sequence[FloatArray]) -> FloatArray:
    """Chance of each combination of pace, time constant and noise (*axes*: their logarithms), shape of the axes.

    The pace is sigma / sqrt(T): a log shows it far better than either, and a grid of those would miss the ridge.
    """
    pace, time, noise = (one.ravel() for one in np.meshgrid(*axes, indexing="ij"))
    total = sum(log_likelihood(one, *np.exp([pace + time / 2, time, noise])) for one in stands)
    total = total - ((time - np.log(TIME_MIDDLE_S)) / TIME_LOG_SD) ** 2 / 2
    total = total - ((noise - pace - time / 2 - np.log(NOISE_SHARE)) / NOISE_LOG_SD) ** 2 / 2
    mass = np.exp(total - total.max()).reshape([len(axis) for axis in axes])
    return np.asarray(mass / mass.sum())


def _along(mass: FloatArray, own: int) -> FloatArray:
    """Chance of each value of axis *own*."""
    return np.asarray(mass.sum(axis=tuple(other for other in range(mass.ndim) if other != own)))


def _narrowed(axis: FloatArray, mass: FloatArray) -> FloatArray:
    """As many values within the part of *axis* that holds all but a trace of the *mass*."""
    held = np.flatnonzero(mass > GRID_MASS)
    low, high = max(held[0] - 1, 0), min(held[-1] + 1, len(axis) - 1)
    return np.linspace(axis[low], axis[high], GRID_POINTS)


def _spread(axis: FloatArray, mass: FloatArray) -> Spread:
    """Quantiles of the figure whose logarithm has chance *mass* about each value of *axis*."""
    edge = np.concatenate([[axis[0]], (axis[1:] + axis[:-1]) / 2, [axis[-1]]])
    low, best, high = np.exp(np.interp((0.05, 0.5, 0.95), np.concatenate([[0.0], np.cumsum(mass)]), edge)).tolist()
    return Spread(best, low, high)


def log_likelihood(stand: Stand, sigma_m: FloatArray, time_s: FloatArray, noise_m: FloatArray) -> FloatArray:
    """How likely a stand's places are under each set of figures, shape (g,), up to a constant. [1]

    Kalman filter of both coordinates and of a constant; where it stood is then integrated out (flat prior). Kalman
    1960; diffuse means as by de Jong 1991, Ann. Stat. 19:1073-1083; both from memory.
    """
    value = np.column_stack([stand.place_m - stand.place_m[0], np.ones(len(stand.time_s))])
    mean, variance = np.zeros((3, len(sigma_m))), sigma_m**2
    log_sum, sums = np.zeros(len(sigma_m)), np.zeros((5, len(sigma_m)))
    step, keep = np.diff(stand.time_s, prepend=stand.time_s[0]), np.ones(len(sigma_m))
    for k, own in enumerate(value):
        if k and step[k] != step[k - 1]:
            keep = np.exp(-step[k] / time_s)
        variance = keep**2 * variance + (1 - keep**2) * sigma_m**2 if k else variance
        mean *= keep
        whole = variance + noise_m**2
        off = own[:, None] - mean
        log_sum += np.log(whole)
        sums += np.stack([off[0] ** 2, off[1] ** 2, off[2] ** 2, off[0] * off[2], off[1] * off[2]]) / whole
        gain = variance / whole
        mean += gain * off
        variance = variance * (1 - gain)
    left = sums[0] + sums[1] - (sums[3] ** 2 + sums[4] ** 2) / sums[2]
    return -log_sum - np.log(sums[2]) - left / 2
