"""Where swept ground is cut finely: about reversals and tight turns with the boom on.

There the boom comes back over ground that it has just swept, and whether that is one visit or
two depends on how far its centre travelled between: the answer changes inside what would
otherwise be one piece.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .tolerances import (
    BUSY_TURN_DEG,
    CUT_BORDER_REL,
    CUT_STEP_M,
    LEAST_BACK_M,
    LEAST_LINE_CUTS,
    LINE_CUTS_PER_FIX,
    MOST_FINE_CUTS,
    MOST_LINE_CUTS,
    POINTS_A_VISIT,
    VISIT_WIDTHS,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.model import BoomPath, Timeline


def fine_step_m(field_m2: float, width_m: float) -> float:
    """How close cuts have to lie in a field so large. [m]"""
    return CUT_BORDER_REL * field_m2 / width_m


def cut_times(
    path: BoomPath, timeline: Timeline, width_m: float, fine_m: float = CUT_STEP_M, coarser: float = 1.0
) -> FloatArray:
    """Times at which pieces must end, in order, shape (n,). [s]

    Parameters
    ----------
    path : BoomPath
        The boom's own path.
    timeline : Timeline
        When which section sprayed; only ways within one stretch can be one visit.
    width_m : float
        Full boom width. [m]
    fine_m : float, optional
        How close cuts have to lie where the field is small. [m]
    coarser : float, optional
        How many times as far apart they lie, where there are too many to count. [1]
    """
    visit = VISIT_WIDTHS * width_m
    stretches = [zones for part in _parts(path, timeline) if (zones := _zones(path, part, visit)) is not None]
    whole = sum(float((one.ends - one.starts).sum()) for one in stretches)
    step = max(min(CUT_STEP_M, max(fine_m, whole / MOST_FINE_CUTS)), whole / most_cuts(path))
    per_half = math.ceil(visit / 2 / (step * coarser))
    found: list[FloatArray] = []
    for one in stretches:
        places = _places(one.starts, one.ends, one.cusps, visit / (2 * per_half), visit / 2)
        found.append(np.interp(places, path.travel_m[one.part], path.time_s[one.part]))
    return np.unique(np.concatenate(found)) if found else np.empty(0)


def most_cuts(path: BoomPath) -> int:
    """Most cuts for a path: fixes that are few cannot tell how so much ground was swept."""
    fixes = path.fixes or len(path.time_s)
    return min(MOST_LINE_CUTS, max(LEAST_LINE_CUTS, LINE_CUTS_PER_FIX * fixes))


class _Zones(NamedTuple):
    """Where one stretch is cut: points of the path, travel at begin and end of each zone, and at reversals. [m]"""

    part: slice
    starts: FloatArray
    ends: FloatArray
    cusps: FloatArray


def _parts(path: BoomPath, timeline: Timeline) -> list[slice]:
    """Points of the path in each stretch, and one beyond each end."""
    parts = []
    for number in np.unique(timeline.stretch):
        own = timeline.stretch == number
        first = int(np.searchsorted(path.time_s, timeline.start_s[own][0], "right")) - 1
        last = int(np.searchsorted(path.time_s, timeline.end_s[own][-1], "left")) + 1
        parts.append(slice(max(first, 0), last + 1))
    return parts


def _zones(path: BoomPath, part: slice, visit_m: float) -> _Zones | None:
    """The zones of one stretch in which the boom may come back within one visit, None where there is none."""
    travel, heading, reverse = _close_points(path, part, visit_m / POINTS_A_VISIT)
    reach = np.searchsorted(travel, travel + visit_m, "right") - 1
    busy = _busy(heading, reverse, reach)
    if not busy.any():
        return None
    start, end = travel[busy], travel[reach[busy]]
    fresh = np.append([True], start[1:] > np.maximum.accumulate(end)[:-1])
    ends = np.maximum.reduceat(end, np.flatnonzero(fresh))
    return _Zones(part, start[fresh], ends, travel[1:][np.diff(reverse.astype(np.int8)) != 0])


def _close_points(path: BoomPath, part: slice, apart_m: float) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Travel [m], heading [rad] and reversing at the points of the path and at others between that are far apart.

    A long straight step before a turn lies within one visit of what comes after it only with its last metres.
    """
    travel = path.travel_m[part]
    apart_m = max(apart_m, float(np.ptp(travel)) / most_cuts(path))
    count = np.maximum(1, np.ceil(np.diff(travel) / apart_m)).astype(np.int64)
    step = np.repeat(np.arange(len(count)), count)
    share = (np.arange(len(step)) - np.repeat(np.cumsum(count) - count, count)) / count[step]
    at = np.append(step + share, len(travel) - 1.0)
    points = np.arange(len(travel))
    heading = np.interp(at, points, path.heading_rad[part])
    return np.interp(at, points, travel), heading, _backing(path, part)[at.astype(np.int64)]


def _backing(path: BoomPath, part: slice) -> BoolArray:
    """At which points the boom goes backwards: as its own way tells, and its vehicle where that is too short to tell.

    A track that slides back, as when its fixes leap, has no reversal and yet sweeps ground again; so does a boom far to
    one side that swings ahead as its vehicle reverses.
    """
    heading = path.heading_rad[part]
    middle = (heading[1:] + heading[:-1]) / 2
    ahead_m = np.diff(path.x_m[part]) * np.sin(middle) + np.diff(path.y_m[part]) * np.cos(middle)
    backing = path.reverse[part].copy()
    if len(ahead_m):
        begins = np.flatnonzero(np.append([True], np.diff(ahead_m < 0)))
        gone_m = np.repeat(np.add.reduceat(ahead_m, begins), np.diff(np.append(begins, len(ahead_m))))
        backing[:-1] = np.where(np.abs(gone_m) > LEAST_BACK_M, gone_m < 0, backing[:-1])
    return backing


def _busy(heading: FloatArray, reverse: BoolArray, reach: IntArray) -> BoolArray:
    """From which points the boom may be back on the same ground within one visit's travel.

    Sweeps that have turned by less than a right angle cannot meet again so soon.
    """
    here = np.arange(len(heading))
    turned = np.zeros(len(heading))
    for share in (0.25, 0.5, 0.75, 1.0):
        there = here + np.round((reach - here) * share).astype(int)
        np.maximum(turned, np.abs(heading[there] - heading), out=turned)
    changes = np.concatenate([[0], np.cumsum(reverse[1:] != reverse[:-1])])
    return (turned > math.radians(BUSY_TURN_DEG)) | (changes[reach] > changes)


def _places(starts: FloatArray, ends: FloatArray, cusps: FloatArray, step_m: float, half_visit_m: float) -> FloatArray:
    """Travel at which to cut: every *step_m* through the busy zones, counted from a reversal where there is one."""
    places = []
    for low, high in zip(starts, ends, strict=True):
        inside = cusps[(cusps >= low) & (cusps <= high)]
        anchor = float(inside[0]) if len(inside) else float(low)
        grid = anchor + step_m * np.arange(math.floor((low - anchor) / step_m), math.ceil((high - anchor) / step_m) + 1)
        places.append(grid[(grid > low) & (grid < high)])
        places.extend(other + np.array([-1.0, 0.0, 1.0]) * half_visit_m for other in inside[1:])
    return np.concatenate(places)
