"""Ground that may have been sprayed while the log was paused or cut: nobody can say from such a log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.solid import overlap, shrunk

from .tolerances import CUT_INSIDE_WIDTHS, CUT_WIDE_SHARE, REACH_QUAD_SEGS, STOOD_WIDTHS, STRAIGHT_ON

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    Place = tuple[float, float]


@dataclass(frozen=True)
class Break:
    """A pause of the log, or its cut beginning or end (one of the two times None), while spraying may have gone on.

    ``first``/``last``: the boom's centre before and after, in plane metres; alike where the log was cut.
    Times [s since 1970 UTC].
    """

    start_s: float | None
    end_s: float | None
    first: Place
    last: Place

    @property
    def seconds(self) -> float | None:
        """How long it lasted; None where the log was cut. [s]"""
        return None if self.start_s is None or self.end_s is None else self.end_s - self.start_s

    @property
    def metres(self) -> float:
        """How far apart the places before and after it lie. [m]"""
        return float(np.hypot(self.last[0] - self.first[0], self.last[1] - self.first[1]))


def stood_still(pause: Break, width_m: float) -> bool:
    """Whether the machine was where it had been: it stood, and sprayed no new ground."""
    return pause.seconds is not None and pause.metres <= STOOD_WIDTHS * width_m


def reachable(pause: Break, speed_m_s: float, width_m: float) -> BaseGeometry:
    """Ground that the boom can have been over in a *pause*, at the job's usual speed. [m2]

    The centre's way from one place to the other cannot be longer than the time allows, so it lies in an ellipse about
    both (textbook geometry); where the way straight across took about all of the time, it was driven straight.
    """
    straight = pause.metres
    way = max(speed_m_s * (pause.seconds or 0.0), straight)
    line = shapely.LineString([pause.first, pause.last])
    if way <= STRAIGHT_ON * straight:
        return line.buffer(width_m / 2, cap_style="flat")
    long, short = way / 2, float(np.sqrt(way**2 - straight**2)) / 2
    turned = float(np.arctan2(pause.last[1] - pause.first[1], pause.last[0] - pause.first[0]))
    angle = np.linspace(0.0, 2 * np.pi, 4 * REACH_QUAD_SEGS, endpoint=False)
    along, across = long * np.cos(angle), short * np.sin(angle)
    middle = (np.array(pause.first) + np.array(pause.last)) / 2
    turn = np.array([[np.cos(turned), np.sin(turned)], [-np.sin(turned), np.cos(turned)]])
    return shapely.Polygon(np.column_stack([along, across]) @ turn + middle).buffer(width_m / 2)


def cut_amid(place: Place, target: BaseGeometry, width_m: float) -> bool:
    """Whether a log that begins or ends at *place*, spraying, was cut: the place lies well inside the target."""
    point = shapely.Point(place)
    inside = shapely.distance(shapely.boundary(target), point) > CUT_INSIDE_WIDTHS * width_m
    return bool(shapely.contains_xy(target, *place)) and bool(inside)


def beyond_cut(place: Place, missed: BaseGeometry, width_m: float) -> BaseGeometry:
    """Missed ground as wide as passes are that lies about *place*, where a log was cut: the work may have gone on."""
    half = CUT_WIDE_SHARE * width_m / 2
    wide = shapely.buffer(shrunk(missed, half, join_style="mitre"), half, join_style="mitre")
    parts = shapely.get_parts(overlap(wide, missed))
    near = shapely.distance(parts, shapely.Point(place)) <= width_m
    return shapely.union_all(parts[near])


def unknown_ground(breaks: tuple[Break, ...], missed: BaseGeometry, speed_m_s: float, width_m: float) -> BaseGeometry:
    """Part of the *missed* ground [m2] that may have been sprayed in any of *breaks*."""
    if missed.is_empty or not breaks:
        return shapely.Polygon()
    parts = [
        beyond_cut(one.first, missed, width_m)
        if one.seconds is None
        else overlap(reachable(one, speed_m_s, width_m), missed)
        for one in breaks
    ]
    return shapely.union_all([_areal(part) for part in parts])


def _areal(shape: BaseGeometry) -> BaseGeometry:
    parts = shapely.get_parts(shapely.get_parts(shape))
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])
