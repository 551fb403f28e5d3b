"""Lines driven twice: whoever drives along his own wheel tracks again shows what the receiver's error did meanwhile.

On the way to a refill and back, on tramlines, on a headland driven again. What the log shows between the two drives is
the difference of two errors, and of how closely a driver keeps to a line he can see. That it was the same line is never
sure, so a share of such places counts as chance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.later import scipy

from .tolerances import (
    MOST_REPEATS,
    REPEAT_APART_M,
    REPEAT_LEAST_PLACES,
    REPEAT_M,
    REPEAT_OTHER_SHARE,
    REPEAT_REACH_M,
    REPEAT_REACH_WIDTHS,
    REPEAT_STEP_M,
    REPEAT_TURN_RAD,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.drive.model import BoomPath


@dataclass(frozen=True, eq=False)
class Repeats:
    """Runs along which a line was driven again: arrays of shape (n,).

    ``off_m``: mean distance aside from the first drive [m], ``apart_s``: time between the two [s], ``reach_m``: the
    farthest that was looked for [m].
    """

    off_m: FloatArray
    apart_s: FloatArray
    reach_m: float

    def __len__(self) -> int:
        return len(self.off_m)

    def log_likelihood(self, sigma_m: FloatArray, memory_s: FloatArray, short_m: FloatArray) -> FloatArray:
        """How likely they are under slow errors of these sizes and memories, shape (k,), up to a constant. [1]

        A run's distance is normal with the variance of two errors' difference, 2 sigma^2 (1 - exp(-t / T)) (Gelb 1974,
        section 3.8, from memory), cut off at the reach; or, another line by chance, anything within it.
        """
        apart = -np.expm1(-self.apart_s / memory_s[:, None])
        spread = np.sqrt(2 * (sigma_m[:, None] ** 2 * apart + short_m[:, None] ** 2 + REPEAT_M**2))
        inside = 2 * scipy("special").ndtr(self.reach_m / spread) - 1
        density = np.exp(-np.square(self.off_m / spread) / 2) / (math.sqrt(2 * math.pi) * spread * inside)
        mixed = (1 - REPEAT_OTHER_SHARE) * density + REPEAT_OTHER_SHARE / (2 * self.reach_m)
        return np.asarray(np.log(mixed).sum(axis=1))


def repeats_of(path: BoomPath, width_m: float) -> Repeats:
    """Runs of *path* on a line that was driven before, in either direction; the boom is *width_m* wide."""
    reach = min(REPEAT_REACH_M, REPEAT_REACH_WIDTHS * width_m)
    travel = np.arange(path.travel_m[0], path.travel_m[-1], REPEAT_STEP_M)
    x, y, time, heading = (
        np.interp(travel, path.travel_m, one) for one in (path.x_m, path.y_m, path.time_s, path.heading_rad)
    )
    if len(travel) < 2 * REPEAT_LEAST_PLACES:
        return Repeats(np.empty(0), np.empty(0), reach)
    place = np.column_stack([x, y])
    points = shapely.points(place)
    before, again = shapely.STRtree(points).query(points, "dwithin", math.hypot(reach, REPEAT_STEP_M / 2))
    later = again > before
    before, again = before[later], again[later]
    ahead = np.column_stack([np.sin(heading), np.cos(heading)])
    away = place[again] - place[before]
    aside = away[:, 0] * ahead[before, 1] - away[:, 1] * ahead[before, 0]
    along = np.einsum("ij,ij->i", away, ahead[before])
    fit = (travel[again] - travel[before] > REPEAT_APART_M) & (np.abs(aside) <= reach)
    fit &= np.abs(np.sin(heading[again] - heading[before])) < math.sin(REPEAT_TURN_RAD)
    order = np.flatnonzero(fit)[np.lexsort((np.abs(along[fit]), again[fit]))]
    order = order[np.flatnonzero(np.diff(again[order], prepend=-1))]  # the nearest place of each
    return _runs(before[order], again[order], aside[order], time, reach)


def _runs(before: IntArray, again: IntArray, aside: FloatArray, time_s: FloatArray, reach_m: float) -> Repeats:
    """Runs of places one after the other, beside places one after the other; no more than ``MOST_REPEATS``."""
    if not len(again):
        return Repeats(np.empty(0), np.empty(0), reach_m)
    broken = (np.diff(again) > 2) | (np.abs(np.diff(before)) > 3)
    run = np.concatenate([[0], np.cumsum(broken)])
    count = np.bincount(run)
    off = np.bincount(run, weights=aside) / count
    apart = np.bincount(run, weights=time_s[again] - time_s[before]) / count
    kept = np.flatnonzero(count >= REPEAT_LEAST_PLACES)
    kept = kept[np.argsort(-count[kept], kind="stable")][:MOST_REPEATS]
    return Repeats(off[kept], apart[kept], reach_m)
