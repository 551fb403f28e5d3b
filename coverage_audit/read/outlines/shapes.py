"""What the boundary readers have in common: rows of shapes, built within limits.

Every form of boundary file is read by a small reader of its own, which looks at that file's
bytes and at nothing else: no reader opens a second file, follows a link or starts a driver.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from coverage_audit.errors import InputError

from . import tolerances as tol

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.facts import Caution

NAME_COLUMNS = ("name", "field_name", "field", "title", "label", "id")
"""Columns that name a polygon, best first, in any case; failing these, the first text column."""


@dataclass(frozen=True)
class Row:
    """One shape as it stands in the file; None where it has neither area nor line."""

    properties: Mapping[str, Any]
    shape: BaseGeometry | None


@dataclass(frozen=True)
class Layer:
    """Rows with the same columns, and their coordinate reference system if one is stated."""

    rows: Sequence[Row]
    crs: CRS | None
    cautions: Sequence[Caution] = ()


@dataclass
class Builder:
    """Builds polygons and lines, counting corners and rings of the whole file against the limits."""

    file: str
    points: int = 0
    rings: int = 0
    rows: int = 0

    def row(self, properties: Mapping[str, Any], shape: BaseGeometry | None) -> Row:
        """One row of the file."""
        self.rows += 1
        if self.rows > tol.MAX_BOUNDARY_RINGS:
            raise InputError(
                f"it has more than {tol.MAX_BOUNDARY_RINGS} shapes; export only the field of this job", self.file
            )
        return Row(properties, shape)

    def polygon(self, rings: Sequence[FloatArray]) -> shapely.Polygon:
        """Polygon of an outer ring and its holes, each of shape (n, 2); empty where there is no ring."""
        drawn = [ring for ring in rings if len(ring)]
        for ring in drawn:
            self._count(ring)
            if len(ring) < 4:
                raise InputError("a shape in it cannot be built (a ring of under 4 points); export it again", self.file)
            if not np.array_equal(ring[0], ring[-1]):
                raise InputError(
                    "a shape in it cannot be built (a ring does not end where it began); export it again",
                    self.file,
                )
        if not drawn:
            return shapely.Polygon()
        return shapely.Polygon(drawn[0], drawn[1:])

    def line(self, points: FloatArray) -> shapely.LineString:
        """Line through points of shape (n, 2); empty where there are fewer than two."""
        self._count(points)
        return shapely.LineString(points if len(points) > 1 else [])

    def _count(self, points: FloatArray) -> None:
        self.points += len(points)
        self.rings += 1
        if not np.isfinite(points).all():
            raise InputError("a coordinate in it is not a number; export it again", self.file)
        if self.points > tol.MAX_BOUNDARY_POINTS:
            raise InputError(
                f"it has more than {tol.MAX_BOUNDARY_POINTS} corners; export only the field of this job", self.file
            )
        if self.rings > tol.MAX_BOUNDARY_RINGS:
            raise InputError(
                f"it has more than {tol.MAX_BOUNDARY_RINGS} polygons and holes; export only the field of this job",
                self.file,
            )


def collected(shapes: Sequence[BaseGeometry | None]) -> BaseGeometry | None:
    """Several shapes as one; None when none of them has an area or a line."""
    drawn = [shape for shape in shapes if shape is not None]
    if not drawn:
        return None
    return drawn[0] if len(drawn) == 1 else shapely.GeometryCollection(drawn)


def nested(rings: list[FloatArray], builder: Builder) -> list[BaseGeometry]:
    """Polygons of rings in any order: a ring inside an odd number of others is a hole.

    Standards that tell holes by their turn are not kept to by many programs; where a ring lies is not in doubt.
    """
    whole = [builder.polygon([ring]) for ring in rings]
    if len(whole) < 2:
        return list(whole)
    area = shapely.area(whole)
    inner, outer = shapely.STRtree(whole).query(shapely.point_on_surface(whole), predicate="intersects")
    around = area[outer] > area[inner]
    inner, outer = inner[around], outer[around]
    depth = np.bincount(inner, minlength=len(whole))
    order = np.argsort(area[outer], kind="stable")[::-1]
    parent = np.full(len(whole), -1)
    parent[inner[order]] = outer[order]  # the smallest comes last and stays
    holes: dict[int, list[FloatArray]] = {}
    for number in np.flatnonzero(depth % 2).tolist():
        holes.setdefault(int(parent[number]), []).append(rings[number])
    return [shapely.Polygon(rings[number], holes.get(number)) for number in np.flatnonzero(depth % 2 == 0).tolist()]


def names(rows: Sequence[Row]) -> list[str]:
    """Name of each row, "" where it has none."""
    first: dict[str, str] = {}
    texts: dict[str, None] = {}
    for row in rows:
        for column, value in row.properties.items():
            if not _name(value):
                continue
            first.setdefault(column.lower(), column)
            if isinstance(value, str) and not _is_date(value):
                texts[column] = None
    wanted = [first[name] for name in NAME_COLUMNS if name in first] or list(texts)[:1]
    column = wanted[0] if wanted else ""
    return [_name(row.properties.get(column)) for row in rows]


def _name(value: object) -> str:
    """A cell as a name: one line without control characters, "" where it is empty or no text or number."""
    if isinstance(value, bool) or not isinstance(value, str | int | float) or value != value:  # noqa: PLR0124 - NaN
        return ""
    try:
        text = str(value)[: 4 * tol.MAX_NAME_CHARS]
    except ValueError:  # a whole number of thousands of digits
        return ""
    plain = "".join(" " if unicodedata.category(char).startswith(("C", "Z")) else char for char in text)
    return " ".join(plain.split())[: tol.MAX_NAME_CHARS]


def _is_date(text: str) -> bool:
    """Whether a text begins like an ISO 8601 date, which names no field."""
    head = text.strip()[:10]
    return len(head) == 10 and head[4] == head[7] == "-" and head.replace("-", "").isdigit()
