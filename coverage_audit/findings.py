"""Missed strips and double patches: cut from the partition, sized, placed and named."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .middle_line import middles
from .model import Strip
from .tolerances import (
    EDGE_BAND_M,
    EDGE_SHARE,
    END_AREA_SHARE,
    END_TOUCH_SHARE,
    HEADLAND_WIDTHS,
    INSCRIBED_M,
    MITRE_LIMIT,
    NECK_AREA_M2,
    NODE_GRID_M,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from .model import BoolArray, FloatArray


@dataclass(frozen=True)
class Surroundings:
    """What strips are placed by. Geometry in plane metres.

    ``outer_edge`` and ``no_spray_edge`` are bands of ``EDGE_BAND_M`` along the target's edges,
    ``inner`` is the target without its rim of ``HEADLAND_WIDTHS``, ``headland`` the polygons
    (n,) swept in headland work. ``switched_on``/``switched_off`` are boom lines (n, 2, 2) left
    to right, at the start and end of each stretch, moved ``EDGE_BAND_M`` back (forward) onto
    the ground not sprayed.
    """

    outer_edge: BaseGeometry
    no_spray_edge: BaseGeometry
    inner: BaseGeometry
    headland: np.ndarray
    switched_on: FloatArray
    switched_off: FloatArray
    width_m: float


def surroundings(
    target: BaseGeometry,
    no_spray: BaseGeometry,
    headland: np.ndarray,
    ends: tuple[FloatArray, FloatArray],
    width_m: float,
) -> Surroundings:
    """Prepare what :func:`find_strips` places strips by; *ends* as in :class:`Surroundings`."""
    rings = [shapely.Polygon(part.exterior) for part in shapely.get_parts(target)]
    inner = shapely.make_valid(shapely.buffer(shapely.union_all(rings), -HEADLAND_WIDTHS * width_m, join_style="mitre"))
    outer = shapely.boundary(shapely.union_all(rings))
    beside = shapely.buffer(no_spray, EDGE_BAND_M)
    return Surroundings(shapely.buffer(outer, EDGE_BAND_M), beside, inner, headland, *ends, width_m)


def find_strips(
    ground: BaseGeometry,
    min_width_m: float,
    around: Surroundings,
    prefix: str,
    visited: tuple[np.ndarray, np.ndarray] | None = None,
) -> tuple[tuple[Strip, ...], float]:
    """Strips of *ground* at least *min_width_m* wide, by falling area, and the area of the rest.

    Parameters
    ----------
    ground : polygon or multipolygon
        Missed (or double-sprayed) target ground. [m]
    min_width_m : float
        Narrower ground is totalled, not listed. [m]
    around : Surroundings
        Edges and switching lines of the job.
    prefix : str
        "M" for missed strips, "D" for double patches.
    visited : (faces, visits), optional
        Faces with their number of visits, to find each patch's most.
    """
    polygons = open_and_split(ground, min_width_m)
    area = shapely.area(polygons)
    order = np.argsort(-area, kind="stable")
    polygons, area = polygons[order], area[order]
    plain = shapely.simplify(polygons, INSCRIBED_M / 2)  # sizes within a centimetre, in half the time
    middle = middles(plain)
    lines = np.array([one.line for one in middle], dtype=object)
    length = shapely.length(lines)
    # opened ground holds a circle of the least width, and is somewhere as wide as on average
    widest = np.maximum.reduce([[one.max_width_m for one in middle], area / length, np.full(len(area), min_width_m)])
    label = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    where = _where(plain, lines, around, missed=visited is None)
    most = _most_visits(polygons, visited)
    orientation = _orientations(lines)
    strips = tuple(
        Strip(
            id=f"{prefix}{k + 1}",
            area_m2=float(area[k]),
            length_m=float(length[k]),
            mean_width_m=float(area[k] / length[k]),
            max_width_m=float(widest[k]),
            orientation_deg=float(orientation[k]),
            where=where[k],
            polygon=polygons[k],
            line=lines[k],
            label_point=label[k],
            max_visits=int(most[k]),
        )
        for k in range(len(polygons))
    )
    return strips, float(ground.area) - float(area.sum())


def open_and_split(ground: BaseGeometry, min_width_m: float) -> np.ndarray:
    """Parts of *ground* that hold a square of *min_width_m*, cut apart at narrower necks.

    The opening uses mitred corners, so that a rectangular strip keeps its whole area.
    """
    radius = min_width_m / 2
    whole = shapely.get_parts(ground)
    whole = whole[shapely.area(whole) > min_width_m**2 / 2]  # too small to hold the square's inscribed circle
    whole = whole[_rectangle_width(whole) >= min_width_m * (1 - 1e-9)]  # nor has a narrow rectangle room for it
    cores, source = shapely.get_parts(
        shapely.buffer(whole, -radius, join_style="mitre", mitre_limit=MITRE_LIMIT), return_index=True
    )
    order = np.argsort(-shapely.area(cores), kind="stable")
    cores, source = cores[order], source[order]
    grown = shapely.buffer(cores, radius, join_style="mitre", mitre_limit=MITRE_LIMIT)
    parts = _common(grown, whole[source])
    first, second = shapely.STRtree(parts).query(parts, predicate="intersects")
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        if a < b:  # the larger core keeps the ground at the neck
            parts[b] = shapely.difference(parts[b], parts[a])
    for k in np.flatnonzero(shapely.get_type_id(parts) != shapely.GeometryType.POLYGON):
        parts[k] = _largest(parts[k])
    return parts[shapely.area(parts) > NECK_AREA_M2] if len(parts) else parts


def _common(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Intersection, pair by pair; noded on a grid where edges within rounding of each other defeat the exact one."""
    try:
        return np.asarray(shapely.intersection(one, other))
    except shapely.GEOSException:
        solid = [shapely.make_valid(side, method="structure", keep_collapsed=False) for side in (one, other)]
        return np.asarray(shapely.intersection(*solid, grid_size=NODE_GRID_M))


def _rectangle_width(polygons: np.ndarray) -> FloatArray:
    """Short side of each polygon's smallest rectangle, shape (n,). [m]"""
    if not len(polygons):
        return np.empty(0)
    corner = shapely.get_coordinates(shapely.oriented_envelope(polygons)).reshape(-1, 5, 2)
    sides = np.diff(corner[:, :3], axis=1)
    return np.asarray(np.hypot(sides[..., 0], sides[..., 1]).min(axis=1))


def _largest(geometry: BaseGeometry) -> BaseGeometry:
    parts = shapely.get_parts(geometry)
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    return parts[np.argmax(shapely.area(parts))] if len(parts) else shapely.Polygon()


def _orientations(lines: np.ndarray) -> FloatArray:
    """Orientation of the way from end to end of each line, in [0, 180) clockwise from north. [deg]"""
    first, last = shapely.get_point(lines, 0), shapely.get_point(lines, -1)
    east, north = shapely.get_x(last) - shapely.get_x(first), shapely.get_y(last) - shapely.get_y(first)
    return np.degrees(np.arctan2(east, north)) % 180.0


def _where(polygons: np.ndarray, lines: np.ndarray, around: Surroundings, *, missed: bool) -> list[str]:
    if not len(polygons):
        return []
    rim = shapely.boundary(polygons)
    on_edge = _share_inside(rim, around.outer_edge)
    beside = _share_inside(rim, around.no_spray_edge)
    on_rim = _share_inside(lines, around.inner) < 0.5
    on_rim &= _is_near(polygons, around.headland)
    nothing = np.zeros(len(polygons))
    late = _beyond_end(polygons, around.switched_on, around.width_m) if missed else nothing
    early = _beyond_end(polygons, around.switched_off, around.width_m) if missed else nothing
    names = []
    for k in range(len(polygons)):
        if max(late[k], early[k]) >= END_AREA_SHARE:
            names.append("late on" if late[k] >= early[k] else "early off")
        elif beside[k] >= EDGE_SHARE:
            names.append("no-spray area")
        elif on_edge[k] >= EDGE_SHARE:
            names.append("field edge")
        else:
            names.append("headland" if on_rim[k] else "between passes")
    return names


def _share_inside(lines: np.ndarray, zone: BaseGeometry) -> FloatArray:
    """Share of each line's length that lies inside *zone*."""
    shapely.prepare(zone)
    share = shapely.contains(zone, lines).astype(float)
    crossing = np.flatnonzero((share == 0) & shapely.intersects(zone, lines))
    share[crossing] = shapely.length(shapely.intersection(lines[crossing], zone)) / shapely.length(lines[crossing])
    return share


def _is_near(polygons: np.ndarray, others: np.ndarray) -> BoolArray:
    """Whether each polygon touches any of *others*."""
    near = np.zeros(len(polygons), bool)
    near[shapely.STRtree(others).query(polygons, predicate="dwithin", distance=EDGE_BAND_M)[0]] = True
    return near


def _beyond_end(polygons: np.ndarray, ends: FloatArray, width_m: float) -> FloatArray:
    """Largest share of each polygon that lies straight beyond one of the switching lines *ends* (n, 2, 2).

    Only lines count that lie in the polygon over ``END_TOUCH_SHARE`` of the boom's width. Left to
    right, ground beyond a switch-on lies behind the line, beyond a switch-off ahead of it; the
    lines have been moved onto it, so the polygon itself tells the side.
    """
    share = np.zeros(len(polygons))
    lines = shapely.linestrings(ends) if len(ends) else np.empty(0, dtype=object)
    polygon, line = shapely.STRtree(lines).query(polygons, predicate="intersects")
    inside = shapely.length(shapely.intersection(lines[line], polygons[polygon]))
    for k, number in zip(
        polygon[inside >= END_TOUCH_SHARE * width_m], line[inside >= END_TOUCH_SHARE * width_m], strict=True
    ):
        along = ends[number][1] - ends[number][0]
        away = np.array([-along[1], along[0]]) / np.hypot(*along) * shapely.length(polygons[k]) / 2
        swath = [shapely.Polygon([*ends[number], *(ends[number][::-1] + way)]) for way in (away, -away)]
        reached = max(shapely.area(shapely.intersection(polygons[k], swath)))
        share[k] = max(share[k], reached / polygons[k].area)
    return share


def _most_visits(polygons: np.ndarray, visited: tuple[np.ndarray, np.ndarray] | None) -> Sequence[int]:
    if visited is None or not len(polygons):
        return [0] * len(polygons)
    faces, visits = visited
    most = np.zeros(len(polygons), int)
    inside = shapely.point_on_surface(faces)
    polygon, face = shapely.STRtree(inside).query(polygons, predicate="intersects")
    np.maximum.at(most, polygon, visits[face])
    return np.maximum(most, 2).tolist()
