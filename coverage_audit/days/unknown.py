"""Ground sprayed outside every kept field: where, and its driven edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from .model import NOWHERE, UnknownGround
from .passes_seen import swath
from .sprayed import way_of
from .tolerances import LEAST_UNKNOWN_M2, LEAST_UNKNOWN_WIDTHS2, UNKNOWN_APART_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from .model import DayDrive, Portion


def unknown_ground(drive: DayDrive, portions: Sequence[Portion]) -> tuple[UnknownGround, ...]:
    """Pieces of ground that *portions* of the drive sprayed outside all fields."""
    width = drive.machine.boom.width_m
    least = max(LEAST_UNKNOWN_M2, LEAST_UNKNOWN_WIDTHS2 * width**2)
    own = [one for one in portions if one.field == NOWHERE]
    swaths = np.array([swath([way_of(drive, one)], width) for one in own], object)
    if not own:
        return ()
    near = shapely.union_all(shapely.buffer(swaths, UNKNOWN_APART_WIDTHS * width / 2))
    found = []
    for piece in shapely.get_parts(near):
        members = np.flatnonzero(shapely.intersects(piece, swaths) & ~shapely.is_empty(swaths))
        outline = driven_edge(swaths[members], width)
        if len(members) and outline.area >= least:
            first, last = own[members[0]].first, own[members[-1]].last
            logs = np.unique(drive.log[first : last + 1]).tolist()
            files = tuple(drive.files[k] for k in logs)
            times = float(drive.time_s[first]), float(drive.time_s[last])
            found.append(UnknownGround(drive.machine.name, files, *times, outline))
    return tuple(found)


def driven_edge(swaths: np.ndarray, width_m: float) -> BaseGeometry:
    """Outer edge of the ground under swaths: gaps up to a boom's width are closed, what lies inside belongs to it."""
    ground = shapely.buffer(shapely.union_all(swaths), width_m / 2, join_style="mitre")
    closed = shapely.buffer(ground, -width_m / 2, join_style="mitre")
    parts = [shapely.Polygon(part.exterior) for part in shapely.get_parts(closed) if not part.is_empty]
    return max(parts, key=lambda part: part.area, default=shapely.Polygon())
