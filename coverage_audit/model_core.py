"""The values that pass between the stages: frozen dataclasses, no algorithms.

All lengths are in metres in the local plane (x east, y north), times in seconds since
1970-01-01 UTC, headings in radians clockwise from north.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from .model import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Track:
    """Used fixes in time order, in plane metres. Arrays of shape (n,).

    ``course_rad`` (clockwise from north) and ``speed_m_s`` are the receiver's own, NaN where
    not logged; ``gap_after[i]``: the step from fix i to i + 1 is a gap of the log (last False).
    ``segment`` and ``file`` number the GPX segments and the files.
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    course_rad: FloatArray
    speed_m_s: FloatArray
    quality: IntArray
    hdop: FloatArray
    gst_m: FloatArray
    segment: IntArray
    file: IntArray
    gap_after: BoolArray
    median_step_s: float


@dataclass(frozen=True)
class Motion:
    """Knots of the antenna's path, in time order. Arrays of shape (n,).

    ``heading_rad`` is where the vehicle points, clockwise from north, unwrapped;
    ``vx_m_s``/``vy_m_s`` the velocity over ground; ``gap_after`` as in the track;
    ``reverse`` is True where the vehicle backs up; ``noise_m`` is the white noise of one
    coordinate as estimated from the fixes (NaN when they are too sparse to tell).
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    vx_m_s: FloatArray
    vy_m_s: FloatArray
    heading_rad: FloatArray
    reverse: BoolArray
    gap_after: BoolArray
    noise_m: float


@dataclass(frozen=True)
class Timeline:
    """Slots of constant boom state, in time order, without slots in which all is off.

    ``start_s``/``end_s`` (m,); ``on`` (m, sections): which sections spray; ``stretch`` (m,)
    numbers the stretches: slots that touch belong to one.
    """

    start_s: FloatArray
    end_s: FloatArray
    on: BoolArray
    stretch: IntArray


@dataclass(frozen=True)
class BoomPath:
    """The boom's centre along the job, straight between points. Arrays of shape (n,).

    ``heading_rad`` is square to the boom, clockwise from north; ``travel_m`` the distance its
    centre has covered since the first fix; ``gap_after``/``bridged_after``: the step to the
    next point crosses a gap of the log (not bridged / bridged). ``reverse``: backing up.
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    heading_rad: FloatArray
    travel_m: FloatArray
    gap_after: BoolArray
    bridged_after: BoolArray
    reverse: BoolArray


@dataclass(frozen=True)
class BoomLines:
    """Boom lines of one slot of constant boom state. Arrays of shape (n,), tips (n, 2).

    ``cut``: pieces end at this line. ``offsets_m``: (left, right) ends of each part that
    sprays, to the right of the centre.
    """

    x_m: FloatArray
    y_m: FloatArray
    heading_rad: FloatArray
    travel_m: FloatArray
    gap_after: BoolArray
    bridged_after: BoolArray
    cut: BoolArray
    offsets_m: tuple[tuple[float, float], ...]
    stretch: int

    def take(self, keep: BoolArray) -> BoomLines:
        """The boom lines selected by *keep*, shape (n,)."""
        return replace(
            self,
            x_m=self.x_m[keep],
            y_m=self.y_m[keep],
            heading_rad=self.heading_rad[keep],
            travel_m=self.travel_m[keep],
            gap_after=self.gap_after[keep],
            bridged_after=self.bridged_after[keep],
            cut=self.cut[keep],
        )

    def tips(self, offset_m: float) -> FloatArray:
        """Points *offset_m* to the right of the centre, shape (n, 2)."""
        return np.column_stack(
            [self.x_m + offset_m * np.cos(self.heading_rad), self.y_m - offset_m * np.sin(self.heading_rad)]
        )


@dataclass(frozen=True)
class Piece:
    """Ground swept once: a simple polygon between boom lines ``first`` and ``last`` of ``lines``."""

    polygon: shapely.Polygon
    lines: BoomLines
    first: int
    last: int
    bridged: bool


@dataclass(frozen=True)
class Ground:
    """The field, in plane metres: ``target`` = field - no-spray areas - setbacks.

    ``outer`` is the field with its holes filled, ``no_spray`` the holes and no-spray areas
    inside it, widened as asked.
    """

    outer: BaseGeometry
    field: BaseGeometry
    target: BaseGeometry
    no_spray: BaseGeometry


@dataclass(frozen=True)
class Partition:
    """Faces of the arrangement. Arrays of shape (n,).

    ``visits`` and ``sweeps`` count how often each face was visited and swept;
    ``sure_visits`` counts the visits that do not rest on a bridged gap.
    """

    faces: np.ndarray
    area_m2: FloatArray
    visits: IntArray
    sure_visits: IntArray
    sweeps: IntArray
    in_target: BoolArray
    in_outer: BoolArray

    def area(self, where: BoolArray) -> float:
        """Area of the faces selected by *where*, shape (n,). [m2]"""
        return float(self.area_m2[where].sum())

    def union(self, where: BoolArray) -> BaseGeometry:
        """Polygons of the faces selected by *where*, shape (n,)."""
        if not where.any():
            return shapely.MultiPolygon()
        try:
            return shapely.coverage_union_all(self.faces[where])
        except shapely.errors.GEOSException:  # faces that rounding has let overlap by a hair: slower, and takes any
            return shapely.union_all(self.faces[where])


@dataclass(frozen=True)
class RasterCount:
    """Target ground by number of visits, from counted cells. [m2]"""

    covered_m2: float
    missed_m2: float
    double_m2: float
