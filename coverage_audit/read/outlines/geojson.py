"""GeoJSON (RFC 7946) boundaries, with the named reference systems of the 2008 format.

A link to a reference system is refused, never opened.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.errors import InputError

from . import tolerances as tol
from .crs import named_crs
from .drawn import drawn_shapes
from .form import OutlineForm
from .shapes import Builder, Layer, Row, collected

if TYPE_CHECKING:
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.facts import Caution

GEOMETRIES = (
    "Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon", "GeometryCollection",
)  # fmt: skip


def geojson_layers(data: bytes, file: str) -> list[Layer]:
    """The one layer of a GeoJSON text.

    Parameters
    ----------
    data : bytes
        Whole file.
    file : str
        Its name, for messages.

    Raises
    ------
    InputError
        No JSON, JSON that is no GeoJSON, or a coordinate reference system that is not named.
    """
    top = _parsed(data, file)
    kind = top.get("type")
    if kind == "FeatureCollection":
        features = top.get("features")
        if not isinstance(features, list):
            raise InputError('its "features" is not a list; export it again as GeoJSON', file)
    elif kind == "Feature":
        features = [top]
    elif kind in GEOMETRIES:
        features = [{"type": "Feature", "properties": None, "geometry": top}]
    else:
        said = f'"{str(kind)[:40]}"' if isinstance(kind, str) else "missing"
        raise InputError(f'this is JSON, but not GeoJSON: its "type" is {said}; export it again as GeoJSON', file)
    crs, cautions = _crs(top, file)
    builder = Builder(file)
    rows = [_row(one, top, builder, f"{file}, feature {number}") for number, one in enumerate(features, 1)]
    return [Layer(rows, crs, cautions)]


def _parsed(data: bytes, file: str) -> dict[str, Any]:
    """The JSON object of the whole text, to its last byte."""
    try:
        top = json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError("the file is broken: this is not UTF-8 text, as GeoJSON is; export it again", file) from error
    except json.JSONDecodeError as error:
        place = f"{file}, line {error.lineno}"
        raise InputError(f"the file is broken or cut off ({error.msg}); export it again", place) from error
    except (RecursionError, ValueError) as error:  # nested thousands deep; a number of thousands of digits
        raise InputError("the file is broken (nothing that draws maps writes this); export it again", file) from error
    if not isinstance(top, dict):
        raise InputError("this is JSON, but not GeoJSON; export it again as GeoJSON", file)
    return top


def _crs(top: dict[str, Any], file: str) -> tuple[CRS | None, list[Caution]]:
    """The reference system: WGS 84 unless another is named. What is stated and cannot be told is refused."""
    if "crs" not in top:
        return named_crs("OGC:CRS84", file), []
    stated = top["crs"]
    if stated is None:  # the 2008 format: no system can be assumed
        return None, []
    properties = stated.get("properties") if isinstance(stated, dict) else None
    if not isinstance(properties, dict) or stated.get("type") != "name":
        raise InputError(
            "it states its coordinate reference system by a link or in an unknown way, and links are not followed;"
            " export it as WGS 84 degrees (EPSG:4326)",
            file,
        )
    return named_crs(properties.get("name"), file), []


def _row(feature: object, top: dict[str, Any], builder: Builder, place: str) -> Row:
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        raise InputError('it is no "Feature"; export the file again as GeoJSON', place)
    properties, geometry = feature.get("properties"), feature.get("geometry")
    if properties is not None and not isinstance(properties, dict):
        raise InputError('its "properties" are not a table; export the file again as GeoJSON', place)
    for inner in (feature, geometry):
        if isinstance(inner, dict) and inner is not top and inner.get("crs") is not None:
            raise InputError(
                "it states a coordinate reference system of its own; export it as WGS 84 degrees (EPSG:4326)",
                place,
            )
    named = dict(properties or {})
    if isinstance(feature.get("id"), str):
        named.setdefault("id", feature["id"])
    return builder.row(named, None if geometry is None else _shape(geometry, builder, place, 0))


def _shape(geometry: object, builder: Builder, place: str, depth: int) -> BaseGeometry | None:
    """A geometry; None for points."""
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if not isinstance(geometry, dict) or kind not in GEOMETRIES:
        raise InputError("its geometry is none that GeoJSON has; export the file again as GeoJSON", place)
    if depth > tol.MAX_SHAPE_DEPTH:
        raise InputError(f"collections lie more than {tol.MAX_SHAPE_DEPTH} deep in each other; export it again", place)
    member = "geometries" if kind == "GeometryCollection" else "coordinates"
    parts = _list(geometry.get(member), place)
    if kind in ("Point", "MultiPoint"):
        return None
    if kind == "GeometryCollection":
        return collected([_shape(part, builder, place, depth + 1) for part in parts])
    if kind == "LineString":
        return builder.line(_positions(parts, place))
    if kind == "MultiLineString":
        return collected([builder.line(_positions(part, place)) for part in parts])
    polygons = [parts] if kind == "Polygon" else parts
    return collected([builder.polygon([_positions(ring, place) for ring in _list(one, place)]) for one in polygons])


def _positions(value: object, place: str) -> FloatArray:
    """Longitude (or x) and latitude (or y) of a list of positions, shape (n, 2); heights are left out."""
    flat: list[float] = []
    for position in _list(value, place):
        pair = _list(position, place)[:2]
        if len(pair) < 2 or not all(
            isinstance(number, int | float) and not isinstance(number, bool) for number in pair
        ):
            raise InputError("a position in it is not two numbers; export the file again as GeoJSON", place)
        flat += pair
    try:
        return np.array(flat, float).reshape(-1, 2)
    except OverflowError:  # a whole number of hundreds of digits
        raise InputError("a coordinate in it is not a number; export it again", place) from None


def _list(value: object, place: str) -> list[Any]:
    if not isinstance(value, list):
        raise InputError("its coordinates are not lists of numbers; export the file again as GeoJSON", place)
    return value


GEOJSON = OutlineForm(
    "GeoJSON",
    lambda candidate: candidate.start.startswith(b"{"),
    lambda file, _source, _name: drawn_shapes(geojson_layers(file.data, file.name), file.name),
)
"""As the registry knows it."""
