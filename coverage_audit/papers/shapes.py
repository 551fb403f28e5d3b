"""Shapes in degrees as map programs want them (RFC 7946): valid after rounding too, and cut at the antimeridian."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.solid import solid

from .tolerances import EXPORT_GRID_DEG

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.drive.plane import Plane

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

    return [_on_grid(_within_turn(_mended(shapely.transform(shape, turned)))) for shape in shapes]


def _mended(shape: BaseGeometry) -> BaseGeometry:
    return solid(shape) if shapely.get_dimensions(shape) == 2 else shape


def _on_grid(shape: BaseGeometry) -> BaseGeometry:
    rounded = _mended(shapely.set_precision(shape, EXPORT_GRID_DEG))
    if rounded.is_empty and shapely.get_dimensions(shape) == 1 and not shape.is_empty:
        # a way within the grid is the place it lies at
        return shapely.set_precision(shapely.Point(shapely.get_coordinates(shape)[0]), EXPORT_GRID_DEG)
    # a hair that the grid would swallow keeps its own corners: ground that is told has a place
    return shapely.orient_polygons(shape if rounded.is_empty and shape.is_valid else rounded)


def _within_turn(shape: BaseGeometry) -> BaseGeometry:
    """*shape* with the parts beyond 180 degrees east or west set on the other side."""
    west, _, east, _ = shape.bounds
    half = TURN_DEG / 2
    if np.isnan(west) or (west >= -half and east <= half):
        return shape
    parts = []
    for turns in (-1, 0, 1):
        low = turns * TURN_DEG - half
        part = shapely.clip_by_rect(shape, low, -90.0, low + TURN_DEG, 90.0)
        parts.extend(shapely.get_parts(shapely.transform(part, lambda xy, t=turns: xy - (t * TURN_DEG, 0.0))))
    return shapely.union_all([part for part in parts if shapely.get_dimensions(part) == shapely.get_dimensions(shape)])
