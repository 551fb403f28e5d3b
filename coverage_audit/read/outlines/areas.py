"""Valid polygons on WGS 84 from the shapes of a boundary file, repaired where every repair agrees."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import Geod, Transformer
from shapely.geometry import MultiPolygon, Polygon

from coverage_audit.edges import near_pairs
from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read import tolerances as tol
from coverage_audit.read.records import NamedArea

from .tolerances import MAX_FIELD_LAT_DEG, MAX_FIELD_SPAN_M, MAX_REPAIR_PAIRS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

GEOD = Geod(ellps="WGS84")


def named_areas(
    named: Sequence[tuple[str, BaseGeometry | None]], file: str, cautions: list[Caution]
) -> list[NamedArea]:
    """Collect the polygons among the shapes, made valid; the others are counted.

    Parameters
    ----------
    named : sequence of (name, shape)
        Shapes on WGS 84, x = longitude; None where there is neither area nor line. [deg]
    file : str
        Name of their file, for messages.
    cautions : list of Caution
        What was repaired or left out is added here.

    Raises
    ------
    InputError
        No area, one that crosses itself, one wider than ``MAX_FIELD_SPAN_M``, one at a pole.
    """
    areas = []
    left_out = 0
    for name, shape in named:
        polygons = [] if shape is None else _polygons(_unwrapped(shape))
        made_valid = [_valid(polygon, f'{file}, "{name}"', cautions) for polygon in polygons]
        valid = [part for area in made_valid for part in _polygons(area)]
        if not valid:
            left_out += 1
            continue
        areas.append(NamedArea(name, _one(valid, f'{file}, "{name}"')))
    if not areas:
        raise InputError("there is no area in it, only points or lines; export the field's polygon", file)
    if sum(area_m2(area.geometry) for area in areas) < tol.MIN_FIELD_M2:
        raise InputError("the area in it is no larger than a point; export the field's polygon", file)
    if left_out:
        cautions.append(Caution("shapes without area", file=file, count=left_out))
    return areas


def holes_at_edge(named: Sequence[tuple[str, BaseGeometry | None]], areas: Sequence[NamedArea]) -> list[NamedArea]:
    """Holes that share a part of their outline with that of their polygon: of *areas*, made valid, they are notches.

    What is asked for along holes would be lost there without them.

    Parameters
    ----------
    named : sequence of (name, shape)
        Shapes as read. [deg]
    areas : sequence of NamedArea
        What `named_areas` made of them. [deg]
    """
    filled = shapely.union_all([Polygon(part.exterior) for area in areas for part in _polygons(area.geometry)])
    found = []
    for name, shape in named:
        faulty = [] if shape is None else [one for one in _polygons(_unwrapped(shape)) if not one.is_valid]
        holes = [Polygon(ring) for one in faulty for ring in one.interiors]
        found += [
            NamedArea(name, hole)
            for hole in holes
            if hole.is_valid and hole.area > 0 and not filled.contains(hole.representative_point())
        ]
    return found


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    """Polygons of a geometry, through collections; a closed line is a polygon."""
    if shape.is_empty:
        return []
    if isinstance(shape, Polygon):
        return [shape]
    if shape.geom_type in ("LineString", "LinearRing"):
        ends = shapely.get_coordinates(shape)
        return [Polygon(ends)] if len(ends) > 3 and (ends[0] == ends[-1]).all() else []
    return [polygon for part in getattr(shape, "geoms", ()) for polygon in _polygons(part)]


def _unwrapped(shape: BaseGeometry) -> BaseGeometry:
    """A shape on both sides of the 180th meridian in one piece: longitudes west of it go on beyond 180."""
    west, _, east, _ = shape.bounds
    if not east - west > 180:
        return shape
    return shapely.transform(shape, lambda xy: np.column_stack([xy[:, 0] + 360 * (xy[:, 0] < 0), xy[:, 1]]))


def _one(polygons: list[Polygon], place: str) -> BaseGeometry:
    """Polygons as one geometry; those that overlap or touch are united."""
    if len(polygons) == 1:
        return polygons[0]
    together = MultiPolygon(polygons)
    try:
        return together if together.is_valid else shapely.union_all(polygons)
    except shapely.errors.GEOSException as error:
        raise InputError("its parts overlap in an unclear way; correct it in a map program", place) from error


def area_m2(geometry: BaseGeometry) -> float:
    """Area on the ellipsoid (Karney 2013). [m2]"""
    return sum(
        abs(GEOD.geometry_area_perimeter(Polygon(part.exterior))[0])
        - sum(abs(GEOD.geometry_area_perimeter(Polygon(hole))[0]) for hole in part.interiors)
        for part in _polygons(geometry)
    )


def _check_place(polygon: Polygon, place: str) -> None:
    """Raise when a polygon lies at a pole or is wider than any field."""
    lon, lat = np.radians(shapely.get_coordinates(polygon)).T
    if np.degrees(np.abs(lat).max()) > MAX_FIELD_LAT_DEG:
        raise InputError(
            f"it reaches beyond latitude {MAX_FIELD_LAT_DEG:.0f}, where nothing is farmed; check its coordinates", place
        )
    spot = np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
    span = float(np.ptp(spot, axis=0).max()) * GEOD.a  # along the Earth's axes: never more than the width
    if span > MAX_FIELD_SPAN_M:
        raise InputError(
            f"it is at least {span / 1000:.0f} km wide, more than any field (limit {MAX_FIELD_SPAN_M / 1000:.0f} km);"
            " check its coordinates",
            place,
        )


def _valid(polygon: Polygon, place: str, cautions: list[Caution]) -> BaseGeometry:
    """Return the polygon when valid, else repaired when every way of repairing it agrees.

    The ways differ in what a crossing means: even-odd counting, a union of rings, or the
    winding that a zero buffer keeps. Where they give the same ground, no meaning is guessed.
    """
    _check_place(polygon, place)
    if polygon.is_valid:
        return polygon
    flat = _flat(polygon)
    if near_pairs(flat.boundary, MAX_REPAIR_PAIRS) > MAX_REPAIR_PAIRS:
        raise InputError("the boundary crosses itself over and over; draw it again in a map program", place)
    try:
        structure, doubt = _repaired(flat)
        whole = shapely.make_valid(polygon, method="structure", keep_collapsed=False)
    except shapely.errors.GEOSException as error:
        raise InputError("the boundary is faulty beyond repair; draw it again in a map program", place) from error
    if doubt > max(tol.REPAIR_AREA_M2, tol.REPAIR_AREA_REL * structure):
        raise InputError(
            f"the boundary {_fault(polygon)} and can be read in ways that differ by {doubt:.0f} m2;"
            " correct it in a map program",
            place,
        )
    cautions.append(Caution("outline repaired", place=place, doubt_m2=doubt))
    return whole


def _repaired(flat: BaseGeometry) -> tuple[float, float]:
    """Area of the repaired polygon, and the most that another way of repairing it differs by. [m2]"""
    ways = (
        shapely.make_valid(flat),
        shapely.make_valid(flat, method="structure", keep_collapsed=False),
        flat.buffer(0),
    )
    even_odd, structure, wound = (shapely.union_all(_polygons(way)) for way in ways)
    return structure.area, max(structure.symmetric_difference(other).area for other in (even_odd, wound))


def _fault(polygon: Polygon) -> str:
    """What is wrong with a polygon, and where."""
    reason, _, point = shapely.is_valid_reason(polygon).partition("[")
    verb = "crosses or touches itself" if "ntersection" in reason else f"is faulty ({reason.strip().lower()})"
    numbers = point.rstrip("]").split()
    if len(numbers) != 2:
        return verb
    lon, lat = (float(number) for number in numbers)
    return f"{verb} at {lat:.6f}, {(lon + 180) % 360 - 180:.6f} (lat, lon)"


def _flat(geometry: BaseGeometry) -> BaseGeometry:
    """Geometry in degrees, projected to an equal-area plane of its own in metres."""
    west, south, east, north = geometry.bounds
    plane = f"+proj=laea +lat_0={(south + north) / 2:.9f} +lon_0={(west + east) / 2:.9f} +ellps=WGS84 +units=m"
    there = Transformer.from_crs("EPSG:4326", plane, always_xy=True)
    return shapely.transform(geometry, there.transform, interleaved=False)


def line_gap(line: FloatArray) -> tuple[float, float]:
    """Distance [m] between the ends of a line and its length [m], on the ellipsoid.

    Parameters
    ----------
    line : array of shape (n, 2)
        Longitude and latitude. [deg]
    """
    lon, lat = line[:, 0], line[:, 1]
    gap = GEOD.inv(lon[-1], lat[-1], lon[0], lat[0])[2]
    return float(gap), float(GEOD.line_length(lon, lat))
