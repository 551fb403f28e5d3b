"""Field outlines and no-spray areas of ISO 11783-10 task data: partfields with their polygons, in degrees on WGS 84.

A ring need not end where it began; before version 4 a polygon may have several outer rings.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.taskdata.files import is_index, task_data
from coverage_audit.read.tracks.faults import within_turn

from .form import OutlineForm, Shapes
from .shapes import Builder, collected

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.read.source import InputFile, Source
    from coverage_audit.read.xml import Element

BOUNDARY = "1"
NO_SPRAY = {"3": "water", "4": "building", "5": "road", "6": "obstacle", "11": "buffer zone", "12": "windbreak"}
"""Types of polygon (PLN) that are the field's boundary, and those that are not sprayed, in words."""

_OUTER, _INNER = "1", "2"  # types of line (LSG) that are rings
_LISTED = 5


def _read(_file: InputFile, source: Source, name: str) -> Shapes:
    """Every partfield with a boundary, and the polygons in them that are not to be sprayed.

    Raises
    ------
    InputError
        Broken parts, or no partfield with a boundary.
    """
    data = task_data(source, name, source.base_name(name))
    shapes = Shapes(beside=data.read[1:])
    builder = Builder(data.name)
    kinds: Counter[str] = Counter()
    bare: list[str] = []
    for number, field in enumerate(data.every("PFD"), 1):
        title = field["C"] or field["B"] or f"field {number}"
        outline = [polygon for one in field.all("PLN") if one["A"] == BOUNDARY for polygon in _polygons(one, builder)]
        if outline:
            shapes.named.append((title, collected(outline)))
        else:
            bare.append(title)
        for one in field.all("PLN"):
            kind = NO_SPRAY.get(one["A"])
            polygons = _polygons(one, builder) if kind else []
            if kind and polygons:
                kinds[kind] += 1
                shapes.no_spray.append((f"{title}, {one['B'] or kind}", collected(polygons)))
    if not shapes.named:
        raise InputError("no field in it has a boundary; give the outline as a file of its own", data.name)
    if bare:
        shapes.cautions.append(
            Caution("fields undrawn", file=data.name, names=tuple(bare[:_LISTED]), more=max(0, len(bare) - _LISTED))
        )
    if kinds:
        shapes.cautions.append(Caution("no-spray taken", file=data.name, kinds=tuple(kinds.items())))
    if data.missing:
        shapes.cautions.append(Caution("parts missing", file=data.name, names=tuple(data.missing[:5])))
    return shapes


def _polygons(entry: Element, builder: Builder) -> list[BaseGeometry]:
    """Polygons of one PLN: each outer ring with the inner rings that begin in it."""
    outer = [ring for one in entry.all("LSG") if one["A"] == _OUTER and len(ring := _ring(one, builder.file))]
    inner = [ring for one in entry.all("LSG") if one["A"] == _INNER and len(ring := _ring(one, builder.file))]
    found: list[BaseGeometry] = []
    for ring in outer:
        ground = shapely.Polygon(ring)
        holes = [hole for hole in inner if len(outer) == 1 or shapely.intersects(ground, shapely.Point(hole[0]))]
        found.append(builder.polygon([ring, *holes]))
    return found


def _ring(line: Element, file: str) -> FloatArray:
    """Longitude and latitude of a ring, closed, shape (n, 2)."""
    points = line.all("PNT")
    if any(one["I"] or not one["C"] for one in points):
        raise InputError(
            "it keeps a field's corners in a binary file, which is not read; export them in the index", file
        )
    try:
        ring = np.array([(float(one["D"]), float(one["C"])) for one in points], float).reshape(-1, 2)
    except ValueError:
        raise InputError("a corner of a field in it is no latitude and longitude; export it again", file) from None
    ring[:, 0] = within_turn(ring[:, 0])
    if not (np.abs(ring) <= (180, 90)).all():
        raise InputError("a corner of a field in it is no latitude and longitude; export it again", file)
    closed = len(ring) and np.array_equal(ring[0], ring[-1])
    return ring if closed or not len(ring) else np.vstack([ring, ring[:1]])


TASKDATA = OutlineForm(
    "ISO 11783-10 task data",
    lambda candidate: is_index(candidate.file.data),
    _read,
)
"""As the registry knows it."""
