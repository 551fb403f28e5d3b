"""Well-known text (OGC 06-103r4) as an outline: one shape a line, with "SRID=...;" before it where it is not WGS 84."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.errors import InputError

from . import tolerances as tol
from .crs import named_crs
from .drawn import drawn_shapes
from .form import OutlineForm
from .shapes import Builder, Layer, Row

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_START = re.compile(
    rb"(?:SRID=\d{1,6};\s*)?(?:MULTI)?(?:POINT|LINESTRING|POLYGON|GEOMETRYCOLLECTION)\s*(?:Z|M|ZM)?\s*(?:\(|EMPTY)",
    re.IGNORECASE,
)
_SHAPE = re.compile(r"(?:SRID=(\d{1,6});)?\s*([A-Za-z].*)", re.DOTALL)
_NEXT = re.compile(r"\n(?=\s*(?:SRID=|[A-Za-z]))")  # a shape may run over lines


def wkt_layers(data: bytes, file: str) -> list[Layer]:
    """Shapes of a text, a layer for every reference system.

    Parameters
    ----------
    data : bytes
        Whole file.
    file : str
        Its name, for messages.

    Raises
    ------
    InputError
        A shape that cannot be read, or a reference system that is not known.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError("the file is broken: well-known text is plain text; export it again", file) from error
    builder = Builder(file)
    rows: dict[str, list[Row]] = {}
    for number, part in enumerate((one for one in _NEXT.split(text) if one.strip()), 1):
        found = _SHAPE.fullmatch(part.strip())
        shape = _shape(found[2], f"{file}, shape {number}") if found else None
        if found is None or shape is None:
            raise InputError("it is no well-known text; export it again", f"{file}, shape {number}")
        system = f"EPSG:{found[1]}" if found[1] else "OGC:CRS84"
        rows.setdefault(system, []).append(builder.row({}, _rebuilt(shape, builder)))
    return [Layer(of_one, named_crs(system, file)) for system, of_one in rows.items()]


def _shape(text: str, place: str) -> BaseGeometry:
    if _depth(text) > tol.MAX_SHAPE_DEPTH:  # the library would run out of stack
        raise InputError(f"its brackets are nested over {tol.MAX_SHAPE_DEPTH} deep; export it again", place)
    try:
        with np.errstate(all="ignore"):  # of numbers beyond all size, which are refused where they are counted
            return shapely.force_2d(shapely.from_wkt(text.strip().rstrip(";")))
    except (shapely.errors.GEOSException, ValueError, RecursionError) as error:
        raise InputError("this well-known text is broken or cut off; export it again", place) from error


def _depth(text: str) -> int:
    """Deepest nesting of brackets."""
    marks = np.frombuffer(text.encode("utf-8"), np.uint8)
    return int(np.cumsum((marks == ord("(")).astype(np.int64) - (marks == ord(")"))).max(initial=0))


def _rebuilt(shape: BaseGeometry, builder: Builder) -> BaseGeometry:
    """The shape again, its corners and rings counted against the limits of a file."""
    if shape.geom_type == "Polygon":
        rings = [shape.exterior, *shape.interiors] if not shape.is_empty else []
        return builder.polygon([shapely.get_coordinates(ring) for ring in rings])
    if hasattr(shape, "geoms"):
        return shapely.GeometryCollection([_rebuilt(part, builder) for part in shape.geoms])
    return builder.line(shapely.get_coordinates(shape))


WKT = OutlineForm(
    "WKT",
    lambda candidate: _START.match(candidate.start) is not None,
    lambda file, _source, _name: drawn_shapes(wkt_layers(file.data, file.name), file.name),
)
"""As the registry knows it."""
