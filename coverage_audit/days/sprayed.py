"""The sprayed way of a drive as portions: one field and one stretch each."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .model import NOWHERE, Portion
from .passes_seen import legs_of, side_by_side
from .places import visits
from .state import ASSUME
from .tolerances import (
    AMID_WIDTHS,
    LEAST_PASSES,
    LEAST_PASSES_UNKNOWN,
    OVERSHOOT_WIDTHS,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .model import DayDrive


def portions_of(drive: DayDrive, field: IntArray) -> list[Portion]:
    """Portions of a drive in time order: where the boom was on, or where no log says, where legs look like passes.

    Parameters
    ----------
    field : array of shape (n,)
        The field that each fix lies in.
    """
    known = np.array([state != ASSUME for state in drive.states])[drive.log]
    spans = [(slot.on_s, slot.off_s) for slot in drive.slots]
    spans += [tuple(pair) for pair in _seen(drive, field, ~known).tolist()]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(drive.x_m), np.diff(drive.y_m)))])
    found: list[Portion] = []
    stretch, last_s = -1, -np.inf
    for on_s, off_s in sorted(spans):
        stretch += on_s > last_s + 1e-6  # slots that touch are one stretch
        last_s = off_s
        first, stop = np.searchsorted(drive.time_s, [on_s - 1e-6, off_s + 1e-6]).tolist()
        cuts = np.flatnonzero(np.diff(field[first:stop])) + 1 + first
        for a, b in zip([first, *cuts.tolist()], [*cuts.tolist(), stop], strict=True):
            if b - a > 1:
                found.append(Portion(int(field[a]), a, b - 1, stretch, float(along[b - 1] - along[a])))
    return _whole(found, drive.machine.boom.width_m)


def _seen(drive: DayDrive, field: IntArray, unknown: BoolArray) -> FloatArray:
    """Times (k, 2) of legs that look like passes, where no log says when the boom was on."""
    width = drive.machine.boom.width_m
    of_fields: dict[int, list[FloatArray]] = {}
    found = [np.zeros((0, 2))]
    for first, last in visits(drive.time_s, unknown):
        part = first + np.flatnonzero(unknown[first : last + 1])
        legs = legs_of(drive.time_s[part], drive.x_m[part], drive.y_m[part], width)
        place = field[np.searchsorted(drive.time_s, (legs[:, 0] + legs[:, 3]) / 2)]
        for number in np.unique(place).tolist():
            of_fields.setdefault(number, []).append(legs[place == number])
        # outside the fields each stay is looked at by itself: two days on a road make no passes
        found += [
            _there(drive, field, own[_passes(own, width, LEAST_PASSES_UNKNOWN)], NOWHERE)
            for own in of_fields.pop(NOWHERE, [])
        ]
    for number, parts in of_fields.items():
        own = np.concatenate(parts)
        found.append(_there(drive, field, own[_passes(own, width, LEAST_PASSES)], number))
    return np.concatenate(found)


def _there(drive: DayDrive, field: IntArray, legs: FloatArray, number: int) -> FloatArray:
    """Times (k, 2) of legs, without what they have outside their field: the way there may run straight into a pass."""
    times = []
    for start_s, end_s in legs[:, [0, 3]].tolist():
        first, stop = np.searchsorted(drive.time_s, [start_s, end_s]).tolist()
        own = np.concatenate([[False], field[first:stop] == number, [False]]).astype(int)
        edges = np.flatnonzero(np.diff(own)).reshape(-1, 2)
        if len(edges):
            a, b = edges[np.argmax(edges[:, 1] - edges[:, 0])] + first
            times.append((max(start_s, drive.time_s[a]), min(end_s, drive.time_s[b - 1])))
    return np.array(times).reshape(-1, 2)


def _passes(legs: FloatArray, width_m: float, least: int) -> BoolArray:
    return _with_those_among(legs, side_by_side(legs, width_m, least), width_m)


def _with_those_among(legs: FloatArray, worked: BoolArray, width_m: float) -> BoolArray:
    """Passes, and the legs amid them that lie beside none: the sides of a headland lap that run across."""
    if not worked.any():
        return worked
    lines = [shapely.LineString([one[1:3], one[4:6]]) for one in legs[worked]]
    near = shapely.buffer(shapely.union_all(lines), AMID_WIDTHS * width_m)
    amid = shapely.contains_xy(near, *((legs[:, 1:3] + legs[:, 4:6]) / 2).T)
    return worked | amid


def _whole(portions: list[Portion], width_m: float) -> list[Portion]:
    """Portions of which a short one over the edge is given to the field of its stretch."""
    longest: dict[int, Portion] = {}
    for one in portions:
        if one.stretch not in longest or one.length_m > longest[one.stretch].length_m:
            longest[one.stretch] = one
    short = OVERSHOOT_WIDTHS * width_m
    return [replace(one, field=longest[one.stretch].field) if one.length_m < short else one for one in portions]


def way_of(drive: DayDrive, portion: Portion) -> FloatArray:
    """Way of a portion, shape (n, 2). [m]"""
    part = slice(portion.first, portion.last + 1)
    return np.column_stack([drive.x_m[part], drive.y_m[part]])
