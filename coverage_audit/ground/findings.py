"""Missed strips and double patches: cut from the partition, sized and numbered; `causes` says where and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.solid import overlap, shrunk, without

from .middle_line import middles
from .model import Strip
from .tolerances import HOLE_SHARE, HOLE_TIMES, INSCRIBED_M, MITRE_LIMIT, NECK_AREA_M2, TAIL_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray


def find_strips(
    ground: BaseGeometry,
    min_width_m: float,
    prefix: str,
    visited: tuple[np.ndarray, np.ndarray] | None = None,
    boom_m: float | None = None,
) -> tuple[tuple[Strip, ...], float]:
    """Strips of *ground* at least *min_width_m* wide, by falling area, and the area of the rest.

    Parameters
    ----------
    ground : polygon or multipolygon
        Missed (or double-sprayed) target ground. [m]
    min_width_m : float
        Narrower ground is totalled, not listed. [m]
    prefix : str
        "M" for missed strips, "D" for double patches.
    visited : (faces, visits), optional
        Faces with their number of visits, to find each patch's most.
    boom_m : float, optional
        Width of the boom: a hole that it leaves when it is off is parted from the skips it touches. [m]
    """
    polygons = open_and_split(ground, min_width_m)
    if boom_m is not None:
        polygons = holes_apart(polygons, boom_m, min_width_m)
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
            where="",
            polygon=polygons[k],
            line=lines[k],
            label_point=label[k],
            max_visits=int(most[k]),
        )
        for k in range(len(polygons))
    )
    return strips, max(0.0, float(ground.area) - float(area.sum()))  # rounding must not make ground negative


def open_and_split(ground: BaseGeometry, min_width_m: float) -> np.ndarray:
    """Parts of *ground* that hold a square of *min_width_m* [m], cut apart at narrower necks.

    The opening uses mitred corners, so that a rectangular strip keeps its whole area.
    """
    radius = min_width_m / 2
    whole = shapely.get_parts(ground)
    whole = whole[shapely.area(whole) > min_width_m**2 / 2]  # too small to hold the square's inscribed circle
    whole = whole[_rectangle_width(whole) >= min_width_m * (1 - 1e-9)]  # nor has a narrow rectangle room for it
    with np.errstate(invalid="ignore"):  # GEOS meets sides of no length, and goes on
        inner = shapely.buffer(whole, -radius, join_style="mitre", mitre_limit=MITRE_LIMIT)
    cores, source = shapely.get_parts(inner, return_index=True)
    order = np.argsort(-shapely.area(cores), kind="stable")
    cores, source = cores[order], source[order]
    grown = shapely.buffer(cores, radius, join_style="mitre", mitre_limit=MITRE_LIMIT)
    parts = np.asarray(overlap(grown, whole[source]))
    first, second = shapely.STRtree(parts).query(parts, predicate="intersects")
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        if a < b:  # the larger core keeps the ground at the neck
            parts[b] = without(parts[b], parts[a])
    for k in np.flatnonzero(shapely.get_type_id(parts) != shapely.GeometryType.POLYGON):
        parts[k] = _largest(parts[k])
    return parts[shapely.area(parts) > NECK_AREA_M2] if len(parts) else parts


def holes_apart(polygons: np.ndarray, boom_m: float, min_width_m: float) -> np.ndarray:
    """*polygons* with the narrow tails of wide holes cut off where the width changes its nature. [m]

    A boom that is off leaves a hole as wide as it; a skip between passes is narrow, and GPS error may have made it. As
    one strip they would share a cause and a chance that fit neither.
    """
    return np.concatenate([np.empty(0, object), *(_hole_and_tails(one, boom_m, min_width_m) for one in polygons)])


def _hole_and_tails(polygon: BaseGeometry, boom_m: float, min_width_m: float) -> np.ndarray:
    whole, half = np.array([polygon], object), HOLE_SHARE * boom_m / 2
    core = shrunk(polygon, half, join_style="mitre", mitre_limit=MITRE_LIMIT)
    if core.is_empty:
        return whole
    hole = shapely.buffer(core, half, join_style="mitre", mitre_limit=MITRE_LIMIT)
    rest = shapely.get_parts(without(polygon, hole))
    rest = rest[shapely.area(rest) > NECK_AREA_M2]
    wide = _rectangle_width(rest)
    long = np.array([shapely.minimum_rotated_rectangle(part).length / 2 for part in rest]) - wide
    tails = rest[(long >= TAIL_WIDTHS * boom_m) & (shapely.area(rest) <= HOLE_SHARE * boom_m / HOLE_TIMES * long)]
    if not len(tails):
        return whole
    holes = shapely.get_parts(without(polygon, shapely.union_all(tails)))
    parts = np.concatenate([holes[shapely.get_dimensions(holes) == 2], tails])
    if abs(float(shapely.area(parts).sum()) - polygon.area) > NECK_AREA_M2:
        return whole  # where edges all but touch, the geometry library may fill a pond: then nothing is cut off
    parts = parts[shapely.area(parts) > NECK_AREA_M2]
    return np.concatenate([open_and_split(part, min_width_m) for part in parts])  # the cut leaves hairs


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


def _most_visits(polygons: np.ndarray, visited: tuple[np.ndarray, np.ndarray] | None) -> Sequence[int]:
    if visited is None or not len(polygons):
        return [0] * len(polygons)
    faces, visits = visited
    most = np.zeros(len(polygons), int)
    inside = shapely.point_on_surface(faces)
    polygon, face = shapely.STRtree(inside).query(polygons, predicate="intersects")
    np.maximum.at(most, polygon, visits[face])
    return np.maximum(most, 2).tolist()
