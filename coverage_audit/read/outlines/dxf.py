"""Drawing exchange files (DXF, AutoCAD DXF Reference, plain text) as outlines: closed polylines and filled areas.

A drawing states no reference system: its coordinates are degrees on WGS 84, or of the system in a .prj beside it. The
unit of lengths that it may state ($INSUNITS) counts where the .prj has none, and must not differ from that. Every
shape inside another is taken for a hole in it. Blocks, and what is drawn on paper, are left out and counted.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.units import FOOT_M

from . import tolerances as tol
from .crs import written_crs
from .drawn import drawn_shapes
from .form import OutlineForm, Shapes
from .shapes import Builder, Layer, Row, nested

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.read.source import InputFile, Source

    from .form import Candidate

_BINARY = b"AutoCAD Binary DXF"
_LAYER, _X, _Y, _BULGE, _PAPER, _FLAGS, _UP = 8, 10, 20, 42, 67, 70, 230
_PATHS, _PATH, _HAS_BULGE, _POINTS = 91, 92, 72, 93
_LARGEST = 1e15
"""No number of a drawing is larger. Coordinates in millimetres on the Earth stay below 1e11."""

_CLOSED = 1  # bit of the flags
_IS_POLYLINE = 2  # bit of a path of a filled area
_DRAWN = ("LWPOLYLINE", "POLYLINE", "HATCH")
_PARTS = ("VERTEX", "SEQEND", "ATTRIB")  # of the entity before

_UNITS = {
    1: ("inches", FOOT_M / 12),
    2: ("feet", FOOT_M),
    3: ("miles", 5280 * FOOT_M),
    4: ("millimetres", 1e-3),
    5: ("centimetres", 1e-2),
    6: ("metres", 1.0),
    7: ("kilometres", 1e3),
    10: ("yards", 3 * FOOT_M),
    14: ("decimetres", 1e-1),
    21: ("US survey feet", 1200 / 3937),
}
"""Name and length [m] of the units of $INSUNITS (DXF Reference) that ground is drawn in; 0 states none."""

_STATES_UNIT = re.compile(r'UNIT\s*[\[(]\s*"(?!\s*(?:arc|deg|rad|gra|gon))', re.IGNORECASE)
"""A unit of lengths in well-known text; those of angles left aside."""


@dataclass
class _Entity:
    """One entity: its kind and its groups of (code, text) in order; of a polyline the groups of its vertices too."""

    kind: str
    line: int
    groups: list[tuple[int, str]] = field(default_factory=list)
    vertices: list[list[tuple[int, str]]] = field(default_factory=list)

    def first(self, code: int, default: str = "") -> str:
        """Text of the first group with that code."""
        return next((text for one, text in self.groups if one == code), default)


def dxf_layer(data: bytes, prj: bytes, file: str) -> Layer:
    """Polygons of a drawing, named by the layer they are drawn on.

    Parameters
    ----------
    data, prj : bytes
        The drawing, and well-known text of its reference system; empty where there is none.
    file : str
        Name of the drawing, for messages.

    Raises
    ------
    InputError
        A binary drawing, one that is broken or cut off, or a system that cannot be read.
    """
    if data.startswith(_BINARY):
        raise InputError("this drawing is a binary one; save it as DXF in plain text (ASCII)", file)
    lines, system = _text(data), prj.decode("utf-8", "replace")
    crs = written_crs(system, file)
    scale = _scale(lines, system, crs, file)
    builder = Builder(file)
    rings: list[FloatArray] = []
    layers: dict[bytes, str] = {}
    rows: list[Row] = []
    for entity in _entities(lines, file):
        drawn = _rings(entity, file) if entity.kind in _DRAWN and _number(entity, _PAPER, file) != 1 else []
        drawn = [ring * scale for ring in drawn]
        for ring in drawn:
            layers.setdefault(ring.tobytes(), entity.first(_LAYER))
        rings += drawn
        if not drawn:
            rows.append(builder.row({}, None))
    if len(rings) > tol.MAX_SHAPE_RINGS:
        raise InputError(f"it has over {tol.MAX_SHAPE_RINGS} closed shapes; export only the field", file)
    whole = nested(rings, builder)
    inner = len(rings) - len(whole)
    told = [Caution("shapes inside", file=file, count=inner)] if inner else []
    rows += [builder.row({"name": layers[_outer(one).tobytes()]}, one) for one in whole]
    return Layer(rows, crs, told)


def _outer(polygon: BaseGeometry) -> FloatArray:
    return np.asarray(shapely.get_coordinates(polygon.exterior))


def _text(data: bytes) -> list[str]:
    """Lines of the drawing; those of older programs are in the code page of Windows."""
    try:
        return data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace").splitlines()


def _scale(lines: Sequence[str], system: str, crs: CRS | None, file: str) -> float:
    """What the drawing's numbers are multiplied by to be in the unit of its system. [1]

    Raises
    ------
    InputError
        The drawing states another unit than the system, or neither states one.
    """
    if crs is None or not crs.is_projected:  # degrees, of which no unit of lengths says anything
        return 1.0
    axis = crs.axis_info[0]
    name, length_m = _stated_unit(lines)
    if not _STATES_UNIT.search(system):
        if length_m is None:
            raise InputError(
                "neither the drawing ($INSUNITS) nor its .prj says in which unit its numbers are; save one of them with"
                " its unit",
                file,
            )
        return length_m / axis.unit_conversion_factor
    # a drawing program often says feet for those of the survey, which differ by 2 in a million
    if length_m is not None and abs(length_m / axis.unit_conversion_factor - 1) > tol.UNIT_ALIKE:
        raise InputError(
            f'the drawing states {name} as its unit ($INSUNITS), but its system "{crs.name}" counts in'
            f" {axis.unit_name}; save it again in the unit of the system, or without one ($INSUNITS 0)",
            file,
        )
    return 1.0


def _stated_unit(lines: Sequence[str]) -> tuple[str, float | None]:
    """Name and length [m] of the drawing's unit, as its head states it; no length where it states none."""
    for number in range(1, len(lines) - 2, 2):
        text = lines[number].strip()
        if text == "ENTITIES":
            break
        if text == "$INSUNITS" and lines[number + 2].strip().isdecimal():
            return _UNITS.get(int(lines[number + 2]), ("", None))
    return "", None


def _groups(lines: Sequence[str], file: str) -> Iterator[tuple[int, int, str]]:
    """Line, code and text of every group in the section of entities."""
    inside, before = False, ""
    for number in range(0, len(lines) - 1, 2):
        code, text = _code(lines[number], file, number + 1), lines[number + 1].strip()
        if inside and (code, text) == (0, "ENDSEC"):
            return
        if inside:
            yield number + 1, code, text
        inside |= before == "SECTION" and text == "ENTITIES"
        before = text
    raise InputError("the drawing is broken or cut off; save it again", file)


def _entities(lines: Sequence[str], file: str) -> Iterator[_Entity]:
    """Entities in order, vertices joined to the polyline that they follow."""
    now: _Entity | None = None
    for line, code, text in _groups(lines, file):
        if code != 0:
            if now is not None:
                (now.vertices[-1] if now.vertices else now.groups).append((code, text))
        elif now is not None and text in _PARTS:
            now.vertices.append([])
        else:
            if now is not None:
                yield now
            now = _Entity(text, line)
    if now is not None:
        yield now


def _code(text: str, file: str, line: int) -> int:
    try:
        return int(text)
    except ValueError:
        raise InputError("the drawing is broken or cut off; save it again", f"{file}, line {line}") from None


def _value(text: str, entity: _Entity, file: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < _LARGEST:
        raise InputError("a coordinate in it is not a number; save it again", f"{file}, line {entity.line}")
    return value


def _number(entity: _Entity, code: int, file: str) -> float:
    return _value(entity.first(code, "0"), entity, file)


# --- shapes ---------------------------------------------------------------------------------------------


def _rings(entity: _Entity, file: str) -> list[FloatArray]:
    """Closed rings of an entity, each of shape (n, 2); none for a line that is open."""
    if entity.kind == "HATCH":
        return [ring for path in _paths(entity, file) if (ring := _closed(path)) is not None]
    if entity.kind == "POLYLINE":
        corners = [_corner(groups, entity, file) for groups in entity.vertices if dict(groups).keys() & {_X}]
    else:
        corners = _corners(entity.groups, entity, file)
    marked = int(_number(entity, _FLAGS, file)) & _CLOSED
    if not corners or not (marked or corners[0][:2] == corners[-1][:2]):
        return []
    if _number(entity, _UP, file) < 0:  # seen from below
        corners = [(-x, y, -bulge) for x, y, bulge in corners]
    ring = _closed(corners)
    return [] if ring is None else [ring]


_Corner = tuple[float, float, float]


def _corner(groups: Sequence[tuple[int, str]], entity: _Entity, file: str) -> _Corner:
    """x, y and bulge of a vertex."""
    found = {code: _value(text, entity, file) for code, text in groups if code in (_X, _Y, _BULGE)}
    return found.get(_X, 0.0), found.get(_Y, 0.0), found.get(_BULGE, 0.0)


def _corners(groups: Sequence[tuple[int, str]], entity: _Entity, file: str) -> list[_Corner]:
    """Vertices of groups in order: each begins with its x."""
    starts = [place for place, (code, _) in enumerate(groups) if code == _X]
    ends = [*starts[1:], len(groups)][: len(starts)]
    return [_corner(groups[first:last], entity, file) for first, last in zip(starts, ends, strict=True)]


def _paths(entity: _Entity, file: str) -> Iterator[list[_Corner]]:
    """Paths round a filled area that are polylines."""
    begins = [place for place, (code, _) in enumerate(entity.groups) if code == _PATH]
    ends = [*begins[1:], len(entity.groups)][: len(begins)]
    for first, last in zip(begins, ends, strict=True):
        path = entity.groups[first:last]
        count = next((int(_value(text, entity, file)) for code, text in path if code == _POINTS), 0)
        if int(_value(path[0][1], entity, file)) & _IS_POLYLINE:
            yield _corners(path, entity, file)[:count]


def _closed(corners: Sequence[_Corner]) -> FloatArray | None:
    """Ring of corners with their arcs drawn out; None where it goes round nothing."""
    points = list(corners)
    if points[:1] and points[0][:2] == points[-1][:2] and len(points) > 1:
        points.pop()
    ring = [
        place
        for (x, y, bulge), (to_x, to_y, _) in zip(points, points[1:] + points[:1], strict=True)
        for place in ((x, y), *_arc((x, y), (to_x, to_y), bulge))
    ]
    return np.array([*ring, ring[0]], float) if len(ring) >= 3 else None


def _arc(start: tuple[float, float], end: tuple[float, float], bulge: float) -> list[tuple[float, float]]:
    """Places between two corners on an arc; its *bulge* is the tangent of a quarter of its angle (DXF Reference)."""
    turn = 4 * float(np.arctan(bulge))
    count = int(abs(turn) / tol.ARC_STEP_RAD) if np.isfinite(turn) else 0
    if not count:
        return []
    chord = complex(end[0] - start[0], end[1] - start[1])
    middle = complex(*start) + chord / 2 * (1 + 1j / np.tan(turn / 2))
    way = (complex(*start) - middle) * np.exp(1j * turn * np.arange(1, count + 1) / (count + 1)) + middle
    return list(zip(way.real.tolist(), way.imag.tolist(), strict=True))


# --- as a form ------------------------------------------------------------------------------------------


def _recognised(candidate: Candidate) -> bool:
    """Whether a file begins as a drawing does: with a section, remarks (999) before it left aside."""
    lines = [line.strip() for line in candidate.start.splitlines()[:40]]
    pairs = [pair for pair in zip(lines[::2], lines[1::2], strict=False) if pair[0] != b"999"]
    return candidate.start.startswith(_BINARY) or pairs[:1] == [(b"0", b"SECTION")]


def _read(file: InputFile, source: Source, name: str) -> Shapes:
    place, own = source.folder_of(name), source.base_name(name)
    prj = place.alike(str(PurePath(own).with_suffix(".prj")))
    beside = [place.read(prj)] if prj is not None and place.size(prj) and place.together(own, prj) else []
    layer = dxf_layer(file.data, beside[0].data if beside else b"", file.name)
    shapes = drawn_shapes([layer], file.name)
    shapes.beside += beside
    return shapes


DXF = OutlineForm("DXF", _recognised, _read)
"""As the registry knows it."""
