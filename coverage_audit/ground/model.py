"""What was swept: frozen dataclasses, no algorithms. Plane metres, radians clockwise from north."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .together import Sprayed


@dataclass(frozen=True)
class Strip:
    """A missed strip or a double patch, in plane metres.

    ``line`` is its middle line, ``label_point`` a point on it; ``orientation_deg`` is that of
    the middle line, in [0, 180) clockwise from true north; ``max_visits`` 0 for missed ground.
    Lengths and widths [m], ``area_m2`` [m2], ``orientation_deg`` [deg].
    """

    id: str
    area_m2: float
    length_m: float
    mean_width_m: float
    max_width_m: float
    orientation_deg: float
    where: str
    polygon: BaseGeometry
    line: BaseGeometry
    label_point: BaseGeometry
    max_visits: int = 0
    probability: float | None = None  # that it is real; None = GPS error was not carried through


@dataclass(frozen=True)
class Areas:
    """The totals of the partition; see the glossary in DEVELOPERS.md. [m2]

    ``perhaps_dry``: unbridged target whose every spray came after a load would have run dry; None = no tank given.
    ``unknown``: part of missed that may have been sprayed while the log was paused or cut.
    """

    field: float
    target: float
    covered: float
    missed: float
    missed_slivers: float
    double: float
    double_slivers: float
    double_bridged: float
    by_visits: tuple[float, ...]
    bridged: float
    outside: float
    excluded_sprayed: float
    swept: float
    swept_net: float
    reswept: float
    perhaps_dry: float | None = None
    unknown: float = 0.0

    @property
    def proven(self) -> float:
        """Covered without what rests on bridged gaps or on a tank that may have been empty. [m2]"""
        return self.covered - self.bridged - (self.perhaps_dry or 0.0)


@dataclass(frozen=True, eq=False)
class BoomLines:
    """Boom lines of one slot of constant boom state. Arrays of shape (n,), tips (n, 2).

    ``cut``: pieces end at this line. ``offsets_m``: (left, right) ends of each part that
    sprays, to the right of the centre. Places, travel and offsets [m], headings [rad].
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
        """Points *offset_m* to the right of the centre, shape (n, 2); a rotation in the plane (textbook). [m]"""
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
    inside it, widened as asked. ``others`` are machines that sprayed it too, in the same treatment: what they took and
    this one did not is no target.
    """

    outer: BaseGeometry
    field: BaseGeometry
    target: BaseGeometry
    no_spray: BaseGeometry
    others: tuple[Sprayed, ...] = ()

    @cached_property
    def by_others(self) -> BaseGeometry:
        """What other machines sprayed; empty where there was none."""
        return shapely.union_all([one.covered for one in self.others])

    @cached_property
    def whole(self) -> BaseGeometry:
        """The target of all machines together."""
        return shapely.union(self.target, self.by_others) if self.others else self.target

    @cached_property
    def alone(self) -> BaseGeometry:
        """The target that no other machine sprayed: there an error of this one's place may leave a skip."""
        return shapely.difference(self.target, self.by_others) if self.others else self.target


@dataclass(frozen=True, eq=False)
class Partition:
    """Faces of the arrangement. Arrays of shape (n,).

    ``visits`` and ``sweeps`` count how often each face was visited and swept;
    ``sure_visits`` counts the visits that do not rest on a bridged gap. ``area_m2`` [m2].
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
