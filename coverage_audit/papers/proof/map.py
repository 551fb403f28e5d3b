"""The map of a coverage proof, fitted to its box and to what can be seen on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .tolerances import MAP_SIZE, MOST_MAP_POINTS, MOST_MAP_SHAPES

if TYPE_CHECKING:
    Record = dict[str, Any]
    Shape = list[list[int]]


def fitted(drawing: Record) -> Record:
    """*drawing* inside its box and with so many corners and shapes as a proof may have.

    Missed strips of another part of the field lie outside the box of its longest part: then all is drawn smaller.
    Corners are taken out by the least tolerance that is enough; of too many strips the largest are kept.
    """
    shapes: list[Shape] = [drawing["outline"], *drawing["missed"]]
    shapes = _in_box(shapes)
    if len(shapes) > MOST_MAP_SHAPES:
        shapes = [shapes[0], *sorted(shapes[1:], key=_area, reverse=True)[: MOST_MAP_SHAPES - 1]]
    tolerance = 1.0
    while sum(map(len, shapes)) > MOST_MAP_POINTS:
        shapes = [_simple(shape, tolerance) for shape in shapes]
        tolerance *= 1.5
    return {"outline": shapes[0], "missed": shapes[1:]}


def _in_box(shapes: list[Shape]) -> list[Shape]:
    points = np.array([point for shape in shapes for point in shape], float).reshape(-1, 2)
    if not len(points) or (points.min() >= 0 and points.max() <= MAP_SIZE):
        return shapes
    least = points.min(axis=0)
    scale = MAP_SIZE / float((points.max(axis=0) - least).max())
    return [np.rint((np.array(shape) - least) * scale).astype(int).tolist() if shape else [] for shape in shapes]


def _area(shape: Shape) -> float:
    return float(shapely.Polygon(shape).area) if len(shape) > 2 else 0.0


def _simple(shape: Shape, tolerance: float) -> Shape:
    """*shape* with fewer corners; one that shrinks to nothing keeps three."""
    if len(shape) < 4:
        return shape
    found = shapely.get_coordinates(shapely.simplify(shapely.LineString(shape), tolerance, preserve_topology=False))
    found = found.astype(int).tolist()
    return found if len(found) > 2 else [shape[0], shape[len(shape) // 3], shape[2 * len(shape) // 3]]
