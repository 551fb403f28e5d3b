"""Legs that look like passes, where no boom state was logged: side by side, about a boom's width apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.passes.legs import find_legs
from coverage_audit.passes.model import Fixed
from coverage_audit.passes.way import smooth_way, white_noise_m

from .tolerances import BESIDE_SHARE, BESIDE_WIDTHS, FASTEST_PASS_M_S, PARALLEL_RAD

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


def legs_of(time_s: FloatArray, x_m: FloatArray, y_m: FloatArray, width_m: float) -> FloatArray:
    """Legs of a drive that are no faster than a pass and longer than the boom is wide.

    Parameters
    ----------
    time_s, x_m, y_m : arrays of shape (n,)
        Fixes in time order.
    width_m : float
        Width of the boom. [m]

    Returns
    -------
    array of shape (k, 6)
        Time [s], x and y [m] of the first, then of the last moment of each leg.
    """
    if len(time_s) < 4 or not np.ptp(x_m) + np.ptp(y_m) > width_m:
        return np.zeros((0, 6))
    way = smooth_way(Fixed(time_s, x_m, y_m, white_noise_m(time_s, x_m, y_m), None))
    legs = [leg for leg in find_legs(way) if leg.length_m > width_m]
    ends = [np.array([way.time_s[k], way.x_m[k], way.y_m[k]]) for leg in legs for k in (leg.first, leg.last)]
    found = np.array(ends).reshape(-1, 6)
    slow = [leg.length_m <= FASTEST_PASS_M_S * (one[3] - one[0]) for leg, one in zip(legs, found, strict=True)]
    return found[np.array(slow, bool)]


def side_by_side(legs: FloatArray, width_m: float, least: int) -> BoolArray:
    """Which of the *legs* (k, 6) lie side by side like passes, at *least* so many places across."""
    worked = np.zeros(len(legs), bool)
    if len(legs) < least:
        return worked
    start, end = legs[:, 1:3], legs[:, 4:6]
    family = _families(start, end, width_m)
    for one in np.unique(family):
        members = np.flatnonzero(family == one)
        worked[members] = _places_across(start[members], end[members], width_m) >= least
    return worked


def _families(start: FloatArray, end: FloatArray, width_m: float) -> IntArray:
    """Number of the group of each leg: legs side by side belong to one."""
    chord = end - start
    length = np.hypot(*chord.T)
    unit = chord / length[:, None]
    angle = np.arctan2(chord[:, 0], chord[:, 1])
    turned = np.abs((angle[:, None] - angle[None, :] + np.pi / 2) % np.pi - np.pi / 2)
    middle = (start + end) / 2
    normal = np.column_stack([unit[:, 1], -unit[:, 0]])
    apart = np.abs(np.einsum("ijk,ik->ij", middle[None, :, :] - middle[:, None, :], normal))
    beside = (turned < PARALLEL_RAD) & (apart > BESIDE_WIDTHS[0] * width_m) & (apart < BESIDE_WIDTHS[1] * width_m)
    beside &= _overlap(start, end, unit, length) >= BESIDE_SHARE
    linked: BoolArray = beside | beside.T
    family = np.arange(len(start))
    for k in range(len(start)):  # every link joins two groups
        for other in np.flatnonzero(linked[k, :k]).tolist():
            family[family == family[other]] = family[k]
    return family


def _overlap(start: FloatArray, end: FloatArray, unit: FloatArray, length: FloatArray) -> FloatArray:
    """Share of the shorter of two legs that lies beside the other, (k, k)."""
    a = np.einsum("ijk,ik->ij", start[None, :, :] - start[:, None, :], unit)
    b = np.einsum("ijk,ik->ij", end[None, :, :] - start[:, None, :], unit)
    common = np.minimum(np.maximum(a, b), length[:, None]) - np.maximum(np.minimum(a, b), 0.0)
    return np.maximum(common, 0.0) / np.minimum(length[:, None], length[None, :])


def _places_across(start: FloatArray, end: FloatArray, width_m: float) -> int:
    """How many places across the legs of a group lie at."""
    chord = end - start
    turn = np.where(chord @ chord[0] < 0, -1.0, 1.0)
    direction = (chord * turn[:, None]).sum(axis=0)
    across = np.sort((start + end) / 2 @ np.array([direction[1], -direction[0]]) / np.hypot(*direction))
    places, last = 0, -np.inf
    for one in across.tolist():
        if one - last > BESIDE_WIDTHS[0] * width_m:
            places, last = places + 1, one
    return places


def swath(lines: Sequence[FloatArray], width_m: float) -> shapely.Geometry:
    """Ground under ways, each of shape (n, 2): half a boom to either side, square at the ends. [m]"""
    drawn = [shapely.LineString(line) for line in lines if len(line) > 1 and np.ptp(line, axis=0).max() > 0]
    return shapely.union_all([line.buffer(width_m / 2, cap_style="flat", quad_segs=4) for line in drawn])
