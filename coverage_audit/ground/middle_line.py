"""Middle lines of strips of ground: where a person would walk along them."""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import (
    CENTRES_TRIED,
    CUTS_PER_WIDTH,
    INSCRIBED_M,
    MIDDLE_LINE_SLICES,
    MIDDLE_LINE_SPACING,
    MOST_CUTS,
    SIDE_SLACK_M,
    SLIT_SHARE,
    STRAIGHT_STRIP_RATIO,
    STRAIGHT_STRIP_SLOPE,
)

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

    A strip whose two sides run along it without turning back is cut across at many places, and
    the middles of the cuts are joined; any other gets the longest path of its medial axis.
    """
    if not len(polygons):
        return []
    boxes = shapely.get_coordinates(shapely.oriented_envelope(polygons)).reshape(-1, 5, 2)
    outlines, owner = shapely.get_coordinates(shapely.get_exterior_ring(polygons), return_index=True)
    rings = np.split(outlines, np.flatnonzero(np.diff(owner)) + 1)
    whole = shapely.get_num_interior_rings(polygons) == 0
    found = [
        _between_sides(ring[:-1], box, area) if simple else None
        for ring, box, area, simple in zip(rings, boxes, shapely.area(polygons).tolist(), whole, strict=True)
    ]
    straight = [one for one in found if one is not None]
    lines = iter(shapely.linestrings(np.array([points for points, _ in straight])) if straight else ())
    return [
        _medial_middle(polygon) if one is None else Middle(next(lines), one[1])
        for polygon, one in zip(polygons, found, strict=True)
    ]


def _between_sides(ring: FloatArray, box: FloatArray, area_m2: float) -> tuple[FloatArray, float] | None:
    """Points of the middle line of a strip, and its greatest width.

    None unless the strip's outline *ring* (n, 2) has two sides that each run along the long axis
    of its smallest rectangle *box* (5, 2).
    """
    first, second = (box[1] - box[0]).tolist(), (box[2] - box[1]).tolist()
    long, short = math.hypot(*first), math.hypot(*second)
    if short > long:
        first, long, short = second, short, long
    width = area_m2 / long
    if short > max(STRAIGHT_STRIP_RATIO * width, STRAIGHT_STRIP_SLOPE * long):
        return None
    east, north = first[0] / long, first[1] / long
    along = ring[:, 0] * east + ring[:, 1] * north
    across = ring[:, 1] * east - ring[:, 0] * north
    left = int(along.argmin())
    along = np.concatenate([along[left:], along[: left + 1]])
    across = np.concatenate([across[left:], across[: left + 1]])
    right = int(along.argmax())
    step = np.diff(along)
    if step[:right].min(initial=0.0) < -SIDE_SLACK_M or step[right:].max(initial=0.0) > SIDE_SLACK_M:
        return None
    start, end = float(along[0]), float(along[right])
    count = int(min(max(CUTS_PER_WIDTH * long / width, MIDDLE_LINE_SLICES), MOST_CUTS))
    x = np.asarray(start + (np.arange(count) + 0.5) * ((end - start) / count), np.float64)
    one = np.interp(x, np.maximum.accumulate(along[: right + 1]), across[: right + 1])
    other = np.interp(x, np.maximum.accumulate(along[: right - 1 : -1]), across[: right - 1 : -1])
    middle = (one + other) / 2
    radius = _inscribed(x, middle, np.abs(one - other) / 2, one, other)
    bend = _BENDS * (count - 1) // (MIDDLE_LINE_SLICES - 1)
    x, middle = _out_to_ends(x[bend], middle[bend], start, end)
    return np.stack([x * east - middle * north, x * north + middle * east], axis=1), 2 * radius


_BENDS = np.arange(MIDDLE_LINE_SLICES)


def _inscribed(x: FloatArray, middle: FloatArray, clear: FloatArray, one: FloatArray, other: FloatArray) -> float:
    """Radius of the largest circle about a point of the middle line that crosses neither side. [m]

    *clear* is the way from the middle to either side along the cut. No circle is larger than
    that at its centre (or than its end is away), so the centres are tried from the most
    promising down until none can beat the best.
    """
    step = x[1] - x[0]
    bound = np.minimum(clear, np.minimum(x - x[0], x[-1] - x) + step / 2)
    order = np.argsort(-bound)
    best = 0.0
    for start in range(0, len(order), CENTRES_TRIED):
        tried = order[start : start + CENTRES_TRIED]
        if bound[tried[0]] <= best:
            break
        aside = (x[tried, None] - x) ** 2
        centre = middle[tried, None]
        nearest = np.minimum((centre - one) ** 2, (centre - other) ** 2) + aside
        best = max(best, float(np.minimum(np.sqrt(nearest.min(axis=1)), bound[tried]).max()))
    return best


def _out_to_ends(x: FloatArray, middle: FloatArray, first: float, last: float) -> tuple[FloatArray, FloatArray]:
    """The middle line drawn straight on to the ends of the strip."""
    start = middle[0] + (middle[1] - middle[0]) * (first - x[0]) / (x[1] - x[0])
    end = middle[-1] + (middle[-1] - middle[-2]) * (last - x[-1]) / (x[-1] - x[-2])
    return np.concatenate([[first], x, [last]]), np.concatenate([[start], middle, [end]])


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
