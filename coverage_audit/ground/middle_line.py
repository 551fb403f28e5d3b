"""Middle lines of strips of ground: where a person would walk along them."""

from __future__ import annotations

import heapq
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import (
    INSCRIBED_M,
    MIDDLE_LINE_SPACING,
    SLIT_SHARE,
)
from .two_sides import between_sides

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Middle:
    """Middle line of a strip from end to end, and the diameter of its largest inscribed circle. [m]"""

    line: BaseGeometry
    max_width_m: float


def middles(polygons: np.ndarray) -> list[Middle]:
    """Middle of each polygon, shape (n,).

    A strip that has two sides gets the line between them; any other the longest path of its medial axis.
    """
    if not len(polygons):
        return []
    two, points, widths = between_sides(polygons)
    between = iter(zip(shapely.linestrings(points) if len(points) else (), widths.tolist(), strict=True))
    return [
        Middle(*next(between)) if has else _medial_middle(polygon)
        for polygon, has in zip(polygons, two.tolist(), strict=True)
    ]


def _medial_middle(polygon: BaseGeometry) -> Middle:
    circle = shapely.maximum_inscribed_circle(polygon, tolerance=INSCRIBED_M)
    return Middle(_medial(polygon), 2 * circle.length)


def _medial(polygon: BaseGeometry) -> BaseGeometry:
    """Longest path through the chordal axis: middles of the inner edges of a triangulation.

    Prasad 1997, Morphological analysis of shapes (chordal axis transform): triangles with two
    inner edges carry the axis, those with three join branches, those with one end it.
    """
    width = 2 * polygon.area / polygon.length
    outline = _opened(shapely.simplify(polygon, width / 20), width)
    outline = shapely.segmentize(outline, width * MIDDLE_LINE_SPACING)
    try:
        triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(outline))
    except shapely.GEOSException:  # crumpled outlines, now and then, leave the library no corner to begin at
        return _diagonal(polygon)
    corner = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    path = _longest_path(_chordal_edges(corner))
    return _diagonal(polygon) if path is None else shapely.LineString(path)


def _opened(polygon: BaseGeometry, width_m: float) -> BaseGeometry:
    """*polygon* cut through from its outline to each hole that is wider than the ground about it is on average.

    The way along a ring goes all round it, not half.
    """
    holes = [one for one in getattr(polygon, "interiors", ()) if 2 * shapely.Polygon(one).area > width_m * one.length]
    for hole in holes:
        slit = shapely.shortest_line(hole, polygon.exterior)
        cut = shapely.difference(polygon, shapely.buffer(slit, SLIT_SHARE * width_m, cap_style="square"))
        if cut.geom_type == "Polygon":
            polygon = cut
    return polygon


def _chordal_edges(corner: FloatArray) -> FloatArray:
    """Edges (n, 2, 2) of the chordal axis of triangles with corners (m, 3, 2)."""
    index = numbered(corner.reshape(-1, 2))[1].reshape(-1, 3)
    ends = index, np.roll(index, -1, axis=1)
    edge = np.minimum(*ends) * (index.max(initial=0) + 1) + np.maximum(*ends)
    _, name, uses = np.unique(edge.ravel(), return_inverse=True, return_counts=True)
    inner = (uses[name] == 2).reshape(-1, 3)
    middle = (corner + np.roll(corner, -1, axis=1)) / 2
    count = inner.sum(axis=1)
    three, one = corner[count == 3], corner[count == 1]
    carried = middle[count == 2][inner[count == 2]].reshape(-1, 2, 2)
    joint = np.repeat(three.mean(axis=1), 3, axis=0)
    branches = np.stack([middle[count == 3].reshape(-1, 2), joint], axis=1)
    tip = np.roll(one, -2, axis=1)[inner[count == 1]]  # the corner across from the inner edge
    ended = np.stack([middle[count == 1][inner[count == 1]], tip], axis=1)
    return np.concatenate([carried, branches, ended])


def _diagonal(polygon: BaseGeometry) -> BaseGeometry:
    """Long middle of the smallest rectangle about *polygon*: for what has no medial axis to speak of."""
    corner = shapely.get_coordinates(shapely.oriented_envelope(polygon))[:4]
    middles = (corner + np.roll(corner, -1, axis=0)) / 2
    pairs = [(middles[0], middles[2]), (middles[1], middles[3])]
    return shapely.LineString(max(pairs, key=lambda pair: float(np.hypot(*(pair[1] - pair[0])))))


def numbered(points: FloatArray) -> tuple[FloatArray, IntArray]:
    """The different ones of *points*, shape (n, 2), in order, and the number of each.

    Told apart as complex numbers, which are ordered alike and sorted ten times as fast as rows.
    """
    different, number = np.unique(np.ascontiguousarray(points).view(np.complex128).ravel(), return_inverse=True)
    return different.view(np.float64).reshape(-1, 2), number


def _longest_path(edges: FloatArray) -> FloatArray | None:
    """Longest shortest path in the graph of *edges* (n, 2, 2): from any node to the farthest, twice."""
    nodes, index = numbered(np.round(edges.reshape(-1, 2), 9))
    ends = index.reshape(-1, 2)
    length = np.hypot(*(edges[:, 1] - edges[:, 0]).T)
    near: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for (a, b), step in zip(ends.tolist(), length.tolist(), strict=True):
        near[a].append((b, step))
        near[b].append((a, step))
    best: list[int] = []
    reach = 0.0
    left = set(near)
    while left:  # the axis may fall apart where the outline touches itself
        start, _, seen = _farthest(near, next(iter(left)))
        left -= seen
        end, before, _ = _farthest(near, start)
        path = [end]
        while path[-1] != start:
            path.append(before[path[-1]])
        total = float(np.hypot(*np.diff(nodes[path], axis=0).T).sum())
        if total > reach:
            best, reach = path, total
    return nodes[best] if len(best) > 1 else None


def _farthest(near: dict[int, list[tuple[int, float]]], start: int) -> tuple[int, dict[int, int], set[int]]:
    """Farthest node from *start* (Dijkstra), the node before each node, and all nodes reached."""
    done: set[int] = set()
    before: dict[int, int] = {}
    best = {start: 0.0}
    queue = [(0.0, start)]
    node = start
    while queue:
        distance, here = heapq.heappop(queue)
        if here in done:
            continue
        done.add(here)
        node = here
        for other, step in near[here]:
            if distance + step < best.get(other, np.inf):
                best[other] = distance + step
                before[other] = here
                heapq.heappush(queue, (distance + step, other))
    return node, before, done
