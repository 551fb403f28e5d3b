"""Shapes in degrees as map programs want them (RFC 7946): valid after rounding too, and cut at the antimeridian."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.solid import solid

from .tolerances import EXPORT_GRID_DEG, HAIR_DEG

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray
    from coverage_audit.drive.plane import Plane

    GeometryArray = NDArray[np.object_]

TURN_DEG = 360.0


def degree_shapes(shapes: list[BaseGeometry], plane: Plane) -> list[BaseGeometry]:
    """*shapes* in plane metres as longitudes and latitudes on a grid of ``EXPORT_GRID_DEG``.

    Polygons stay polygons and lines lines, but a line within one step of the grid becomes a point. Edges that all
    but touch in metres may cross in degrees or once rounded; such polygons are mended. What crosses the
    antimeridian is cut there (RFC 7946, 3.1.9).
    """

    def turned(xy: np.ndarray) -> np.ndarray:
        lon, lat = plane.to_degrees(xy[:, 0], xy[:, 1])
        middle = plane.origin.lon_deg
        return np.column_stack([middle + np.remainder(lon - middle + TURN_DEG / 2, TURN_DEG) - TURN_DEG / 2, lat])

    return list(_on_grid(_within_turn(_mended(shapely.transform(_array(shapes), turned)))))


def _array(shapes: Sequence[BaseGeometry]) -> GeometryArray:
    """*shapes* in an array, whatever they are."""
    held = np.empty(len(shapes), dtype=object)
    held[:] = shapes
    return held


def _mended(shapes: GeometryArray) -> GeometryArray:
    bad = (shapely.get_dimensions(shapes) == 2) & ~shapely.is_valid(shapes)
    return _with(shapes, bad, [_solid(shape) for shape in shapes[bad]])


def _solid(shape: BaseGeometry) -> BaseGeometry:
    mended = solid(shape)
    if mended.is_empty:
        # its corners lie on one line of degrees: told a hair wide, as ground without corners has no place
        return shapely.buffer(shapely.convex_hull(shape), HAIR_DEG, cap_style="square", join_style="mitre")
    return mended


def _with(shapes: GeometryArray, where: BoolArray, others: Sequence[BaseGeometry]) -> GeometryArray:
    """*shapes* with *others* in the places *where* is true."""
    changed = shapes.copy()
    changed[where] = _array(others)
    return changed


def _on_grid(shapes: GeometryArray) -> GeometryArray:
    rounded = _mended(shapely.set_precision(shapes, EXPORT_GRID_DEG))
    lost = shapely.is_empty(rounded)
    # a way within the grid is the place it lies at
    ways = lost & (shapely.get_dimensions(shapes) == 1) & ~shapely.is_empty(shapes)
    first = [shapely.Point(shapely.get_coordinates(way)[0]) for way in shapes[ways]]
    # a hair that the grid would swallow keeps its own corners: ground that is told has a place
    kept = np.where(lost & shapely.is_valid(shapes), shapes, rounded)
    return _with(shapely.orient_polygons(kept), ways, shapely.set_precision(_array(first), EXPORT_GRID_DEG))


def _within_turn(shapes: GeometryArray) -> GeometryArray:
    """*shapes*, the parts beyond 180 degrees east or west set on the other side."""
    west, _, east, _ = shapely.bounds(shapes).T
    beyond = (west < -TURN_DEG / 2) | (east > TURN_DEG / 2)
    return _with(shapes, beyond, [_cut(shape) for shape in shapes[beyond]])


def _cut(shape: BaseGeometry) -> BaseGeometry:
    """*shape* cut at 180 degrees east and west, what lies beyond set on the other side."""
    half, parts = TURN_DEG / 2, []
    for turns in (-1, 0, 1):
        low = turns * TURN_DEG - half
        # by rectangle it would be quicker, but fails on a sliver that just reaches across (seen with GEOS 3.14.1)
        part = shapely.intersection(shape, shapely.box(low, -90.0, low + TURN_DEG, 90.0))
        parts.extend(shapely.get_parts(shapely.transform(part, lambda xy, t=turns: xy - (t * TURN_DEG, 0.0))))
    kept = shapely.union_all([part for part in parts if shapely.get_dimensions(part) == shapely.get_dimensions(shape)])
    if kept.is_empty:  # a way that does not leave its place has no part in any rectangle
        return shapely.transform(shape, lambda xy: np.column_stack([(xy[:, 0] + half) % TURN_DEG - half, xy[:, 1]]))
    return kept
