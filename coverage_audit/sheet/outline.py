"""Field outlines as drawn or driven: corners in plane metres to a GeoJSON file (RFC 7946) and back."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import GEOD, Plane
from coverage_audit.errors import InputError
from coverage_audit.read.outlines.registry import field_of
from coverage_audit.read.packed import Memory

from .tolerances import CROSSED_M, EDGE_CLOSE_M, EDGE_SIMPLE_M, KNOWN_FIELD_SHARE, LEAST_FIELD_M2, MOST_CORNERS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.facts import Caution
    from coverage_audit.read.records import NamedArea

    from .logs import DriveFacts

Corner = tuple[float, float]


@dataclass(frozen=True)
class OutlineFile:
    """A file with field outlines: its polygons in degrees, what the reader noted, and their geodesic area. [m2]

    ``no_spray``: its areas that are not to be sprayed; ``derived``: it was made from a drive over the field.
    """

    areas: tuple[NamedArea, ...]
    cautions: tuple[Caution, ...]
    no_spray: tuple[NamedArea, ...] = ()
    derived: bool = False

    @property
    def area_m2(self) -> float:
        """Geodesic area on WGS 84 (Karney 2013). [m2]"""
        return sum(abs(GEOD.geometry_area_perimeter(area.geometry)[0]) for area in self.areas)


def outline_file(files: Mapping[str, bytes], name: str) -> OutlineFile:
    """Read the outline *name* among *files* held in memory (a Shapefile has others beside it).

    Raises
    ------
    InputError
        It is no outline that can be read.
    """
    found = field_of(Memory(files), name)
    return OutlineFile(found.areas, found.cautions, found.no_spray, found.derived)


def checked_corners(
    corners: Sequence[Corner], place: str = "field", least_m2: float = LEAST_FIELD_M2
) -> shapely.Polygon:
    """Polygon in plane metres of drawn corners; *place* is told with what is wrong with them.

    Raises
    ------
    InputError
        Too few or too many corners, edges that cross, or no ground inside.
    """
    if len(corners) < 3:
        raise InputError("it needs three corners or more; tap another one", place)
    if len(corners) > MOST_CORNERS:
        raise InputError(f"these are more than {MOST_CORNERS} corners; leave some out", place)
    polygon = shapely.Polygon(corners)
    if not polygon.is_valid:
        raise InputError("two edges of the outline cross each other; move a corner or undo the last one", place)
    if polygon.area < least_m2:
        raise InputError("this outline has hardly any ground in it; draw it larger", place)
    return polygon


def in_degrees(polygon: shapely.Polygon, origin: PlaneOrigin) -> shapely.Polygon:
    """A polygon in plane metres as longitudes and latitudes, to nine decimals of a degree (0.1 mm)."""
    return shapely.transform(Plane(origin).geometry_to_degrees(polygon), lambda places: np.round(places, 9))


def rings_m(areas: Sequence[NamedArea], origin: PlaneOrigin) -> list[list[Corner]]:
    """Rings of polygons in degrees, as corners in plane metres; the first corner is not repeated at the end."""
    plane = Plane(origin)
    rings: list[list[Corner]] = []
    for area in areas:
        for polygon in shapely.get_parts(plane.geometry_to_metres(area.geometry)):
            corners = [shapely.get_coordinates(ring)[:-1] for ring in (polygon.exterior, *polygon.interiors)]
            rings += [[(float(x), float(y)) for x, y in ring] for ring in corners]
    return rings


def ground_m(geometry: Mapping[str, object], origin: PlaneOrigin) -> list[list[list[Corner]]]:
    """Polygons of a GeoJSON geometry as rings of plane metres, the outer one first."""
    shape = Plane(origin).geometry_to_metres(shapely.from_geojson(json.dumps(geometry)))
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return [
        [[(float(x), float(y)) for x, y in shapely.get_coordinates(ring)] for ring in (one.exterior, *one.interiors)]
        for one in parts
    ]


def corners_m(corners_deg: Sequence[Corner], origin: PlaneOrigin) -> list[Corner]:
    """Corners (longitude, latitude) in plane metres."""
    return _pairs(Plane(origin).to_metres(*_columns(corners_deg))) if corners_deg else []


def corners_deg(corners: Sequence[Corner], origin: PlaneOrigin) -> list[Corner]:
    """Corners in plane metres as (longitude, latitude)."""
    return _pairs(Plane(origin).to_degrees(*_columns(corners))) if corners else []


def driven_edge(drive: DriveFacts, half_width_m: float) -> list[Corner]:
    """Corners of the outer edge of what was driven, half a boom outside the outer pass. [m]

    Such an outline follows the drive: whatever was skipped along the edge is not in it.
    """
    lines = shapely.MultiLineString([way[:, :2] for way in drive.ways])
    reach = max(EDGE_CLOSE_M, half_width_m * 1.2)
    # widened until neighbouring passes join, then drawn back: what is left is the drive's outer edge
    ground = lines.buffer(reach, quad_segs=4).buffer(half_width_m - reach, join_style="mitre", mitre_limit=2.0)
    largest = max(shapely.get_parts(ground), key=lambda one: one.area, default=None)
    if largest is None or largest.is_empty:
        raise InputError("the drive leaves no ground inside it; draw the field by its corners", "field")
    simple = shapely.simplify(shapely.Polygon(largest.exterior), EDGE_SIMPLE_M)
    return [(float(x), float(y)) for x, y in shapely.get_coordinates(simple.exterior)[:-1]]


def share_inside(drive: DriveFacts, areas: Sequence[NamedArea]) -> float:
    """Share of the drive's way that lies in *areas*. [1]"""
    plane = Plane(drive.origin)
    ground = shapely.union_all([plane.geometry_to_metres(area.geometry) for area in areas])
    lines = shapely.MultiLineString([way[:, :2] for way in drive.ways])
    return float(lines.intersection(ground).length / lines.length) if lines.length > 0 else 0.0


def known_field(drive: DriveFacts, fields: Mapping[str, Sequence[NamedArea]]) -> str | None:
    """Name of the kept field in which most of the drive lies, if enough of it does."""
    shares = {name: share_inside(drive, areas) for name, areas in fields.items()}
    best = max(shares, key=lambda name: shares[name], default=None)
    return best if best is not None and shares[best] >= KNOWN_FIELD_SHARE else None


def crossed_fields(drive: DriveFacts, fields: Mapping[str, Sequence[NamedArea]]) -> tuple[str, ...]:
    """Names of the kept fields that the drive crosses, those with most of it first."""
    shares = {name: share_inside(drive, areas) for name, areas in fields.items()}
    found = [name for name, share in shares.items() if share * drive.length_m > CROSSED_M]
    return tuple(sorted(found, key=lambda name: -shares[name]))


def middle_of(areas: Sequence[NamedArea]) -> PlaneOrigin:
    """Middle of a plane for *areas*. [deg]"""
    west, south, east, north = shapely.total_bounds([area.geometry for area in areas]).tolist()
    return PlaneOrigin((west + east) / 2, (south + north) / 2)


def _columns(corners: Sequence[Corner]) -> tuple[np.ndarray, np.ndarray]:
    columns = np.array(corners, float).reshape(-1, 2)
    return columns[:, 0], columns[:, 1]


def _pairs(columns: tuple[np.ndarray, np.ndarray]) -> list[Corner]:
    return [(float(x), float(y)) for x, y in zip(*columns, strict=True)]
