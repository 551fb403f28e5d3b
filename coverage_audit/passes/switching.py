"""Where along its pass the boom came on and went off, against the edge of the headland."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.solid import overlap, shrunk, without

from .cross_track import beside
from .tolerances import EDGE_CUT_SHARE, EDGE_OPEN_WIDTHS, EDGE_PART_M, SWITCH_LEAD_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

    from .model import Fixed


def inside_headland(target: BaseGeometry, laps: Sequence[BaseGeometry], width_m: float) -> BaseGeometry:
    """Ground that the passes are there for: the target without the swath, *width_m* [m], of the headland *laps*.

    Slivers that uneven steering left between laps and edges are not part of it.
    """
    if laps:
        swath = shapely.union_all(shapely.buffer(np.array(laps, dtype=object), width_m / 2, cap_style="flat"))
        target = without(target, swath)
    rim = EDGE_OPEN_WIDTHS * width_m
    core = shapely.make_valid(shrunk(target, rim, join_style="mitre"))
    # sharp corners of a buffer can cross one another
    return overlap(shapely.make_valid(shapely.buffer(core, rim, join_style="mitre")), target)


def boom_over(reference: BaseGeometry, ground: BaseGeometry, width_m: float) -> FloatArray:
    """Places (k, 2) along *reference* between which any part of the boom is over *ground*, in order. [m]

    So a slanted headland edge asks for the boom from its first nozzle's crossing to its last one's.
    """
    swath = shapely.buffer(reference, width_m / 2 * (1 - EDGE_CUT_SHARE), cap_style="flat")
    parts = shapely.get_parts(overlap(swath, ground))
    parts = parts[shapely.area(parts) > EDGE_PART_M * width_m / 2]
    corners, owner = shapely.get_coordinates(parts, return_index=True)
    if not len(corners):
        return np.empty((0, 2))
    _, at, _ = beside(corners, shapely.get_coordinates(reference))
    spans = sorted((float(at[owner == k].min()), float(at[owner == k].max())) for k in range(len(parts)))
    joined = [list(spans[0])]
    for low, high in spans[1:]:
        if low <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], high)
        else:
            joined.append([low, high])
    return np.array(joined)


def switched(fixed: Fixed, on_off_s: FloatArray, start_s: float, end_s: float) -> tuple[float | None, float | None]:
    """When the boom was switched on entering and off leaving a pass; None where it was not switched there. [s]

    Parameters
    ----------
    fixed : Fixed
        Only its last fix is looked at: an end of the log is no switching.
    on_off_s : array of shape (k, 2)
        Stretches of spraying. [s]
    start_s, end_s : float
        The pass. [s]
    """
    during = on_off_s[(on_off_s[:, 0] < end_s) & (on_off_s[:, 1] > start_s)]
    if not len(during):
        return None, None
    on, off = float(during[0, 0]), float(during[-1, 1])
    first, last = float(fixed.time_s[0]), float(fixed.time_s[-1])
    return (
        on if on > max(start_s - SWITCH_LEAD_S, first) else None,
        off if off < min(end_s + SWITCH_LEAD_S, last) else None,
    )


def place_at(fixed: Fixed, reference: BaseGeometry, moment_s: float) -> float:
    """Where along *reference* the boom was at a moment. [m]"""
    x, y = (np.interp(moment_s, fixed.time_s, column) for column in (fixed.x_m, fixed.y_m))
    return float(shapely.line_locate_point(reference, shapely.Point(x, y)))
