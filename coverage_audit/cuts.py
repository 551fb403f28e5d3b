"""Where swept ground is cut finely: about reversals and tight turns with the boom on.

There the boom comes back over ground that it has just swept, and whether that is one visit or
two depends on how far its centre travelled between: the answer changes inside what would
otherwise be one piece.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from .tolerances import BUSY_TURN_DEG, CUT_STEP_M, VISIT_WIDTHS

if TYPE_CHECKING:
    from .model import BoolArray, FloatArray, IntArray
    from .model_core import BoomPath, Timeline


def cut_times(path: BoomPath, timeline: Timeline, width_m: float) -> FloatArray:
    """Times at which pieces must end, in order, shape (n,). [s]

    Parameters
    ----------
    path : BoomPath
        The boom's own path.
    timeline : Timeline
        When which section sprayed; only ways within one stretch can be one visit.
    width_m : float
        Full boom width. [m]
    """
    visit = VISIT_WIDTHS * width_m
    per_half = math.ceil(visit / 2 / CUT_STEP_M)
    found = []
    for number in np.unique(timeline.stretch):
        own = timeline.stretch == number
        first = int(np.searchsorted(path.time_s, timeline.start_s[own][0], "right")) - 1
        last = int(np.searchsorted(path.time_s, timeline.end_s[own][-1], "left")) + 1
        part = slice(max(first, 0), last + 1)
        travel, heading, reverse = path.travel_m[part], path.heading_rad[part], path.reverse[part]
        reach = np.searchsorted(travel, travel + visit, "right") - 1
        busy = _busy(heading, reverse, reach)
        if busy.any():
            cusps = travel[1:][np.diff(reverse.astype(np.int8)) != 0]
            places = _places(travel, reach, busy, cusps, visit / (2 * per_half), visit / 2)
            found.append(np.interp(places, travel, path.time_s[part]))
    return np.unique(np.concatenate(found)) if found else np.empty(0)


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


def _places(
    travel: FloatArray, reach: IntArray, busy: BoolArray, cusps: FloatArray, step_m: float, half_visit_m: float
) -> FloatArray:
    """Travel at which to cut: every *step_m* through the busy zones, counted from a reversal where there is one."""
    start, end = travel[busy], travel[reach[busy]]
    fresh = np.append([True], start[1:] > np.maximum.accumulate(end)[:-1])
    starts = start[fresh]
    ends = np.maximum.reduceat(end, np.flatnonzero(fresh))
    places = []
    for low, high in zip(starts, ends, strict=True):
        inside = cusps[(cusps >= low) & (cusps <= high)]
        anchor = float(inside[0]) if len(inside) else float(low)
        grid = anchor + step_m * np.arange(math.floor((low - anchor) / step_m), math.ceil((high - anchor) / step_m) + 1)
        places.append(grid[(grid > low) & (grid < high)])
        places.extend(other + np.array([-1.0, 0.0, 1.0]) * half_visit_m for other in inside[1:])
    return np.concatenate(places)
