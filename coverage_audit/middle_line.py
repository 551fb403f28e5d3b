"""Middle lines of strips of ground: where a person would walk along them."""

from __future__ import annotations

import heapq
from collections import defaultdict
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import MIDDLE_LINE_SLICES, MIDDLE_LINE_SPACING, STRAIGHT_STRIP_RATIO, STRAIGHT_STRIP_SLOPE

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from .model import BoolArray, FloatArray


def middle_lines(polygons: np.ndarray) -> np.ndarray:
    """Middle line of each polygon, shape (n,), as line strings from end to end.

    A strip that is nearly straight is sliced across its longest direction and the middles of
    the slices are joined; any other gets the longest path of its medial axis.
    """
    if not len(polygons):
        return np.empty(0, dtype=object)
    lines = np.empty(len(polygons), dtype=object)
    sliced, good = _sliced(polygons)
    lines[good] = sliced[good]
    for k in np.flatnonzero(~good):
        lines[k] = _medial(polygons[k])
    return lines


def _sliced(polygons: np.ndarray) -> tuple[np.ndarray, BoolArray]:
    """Lines through the middles of slices, and which polygons are straight enough for it."""
    count, slices = len(polygons), MIDDLE_LINE_SLICES
    corner = shapely.get_coordinates(shapely.oriented_envelope(polygons)).reshape(count, 5, 2)
    sides = np.stack([corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 1]], axis=1)
    size = np.hypot(sides[..., 0], sides[..., 1])
    long = size.argmax(axis=1)
    row = np.arange(count)
    along, across = sides[row, long], sides[row, 1 - long]
    origin = np.where((long == 0)[:, None], corner[:, 0], corner[:, 1])
    across = np.where((long == 0)[:, None], across, -across)  # from the origin's side to the other
    share = (np.arange(slices) + 0.5) / slices
    foot = origin[:, None] + share[None, :, None] * along[:, None]
    cuts = shapely.linestrings(np.stack([foot, foot + across[:, None]], axis=2))
    part = shapely.intersection(cuts, np.repeat(polygons[:, None], slices, axis=1))
    whole = (shapely.get_num_geometries(part) == 1) & (shapely.length(part) > 0)
    mean_width = shapely.area(polygons) / size[row, long]
    limit = np.maximum(STRAIGHT_STRIP_RATIO * mean_width, STRAIGHT_STRIP_SLOPE * size[row, long])
    good = whole.all(axis=1) & (size[row, 1 - long] <= limit)
    middle = shapely.get_coordinates(shapely.centroid(part[good])).reshape(-1, slices, 2)
    # the first and last half slice reach to the ends of the strip
    first, last = 1.5 * middle[:, :1] - 0.5 * middle[:, 1:2], 1.5 * middle[:, -1:] - 0.5 * middle[:, -2:-1]
    lines = np.empty(count, dtype=object)
    lines[good] = shapely.linestrings(np.concatenate([first, middle, last], axis=1))
    return lines, good


def _medial(polygon: BaseGeometry) -> BaseGeometry:
    """Longest path of the medial axis, from the Voronoi edges of the outline, drawn out to the ends."""
    width = 2 * polygon.area / polygon.length
    outline = shapely.segmentize(shapely.simplify(polygon, width / 20), width * MIDDLE_LINE_SPACING)
    points = shapely.MultiPoint(shapely.get_coordinates(outline))
    edges = shapely.get_parts(shapely.get_parts(shapely.voronoi_polygons(points, only_edges=True)))
    shapely.prepare(polygon)
    edges = edges[shapely.contains(polygon, edges)]
    path = _longest_path(shapely.get_coordinates(edges).reshape(-1, 2, 2)) if len(edges) else None
    if path is None:
        return _diagonal(polygon)
    return shapely.LineString(_to_ends(path, polygon))


def _diagonal(polygon: BaseGeometry) -> BaseGeometry:
    """Long middle of the smallest rectangle about *polygon*: for what has no medial axis to speak of."""
    corner = shapely.get_coordinates(shapely.oriented_envelope(polygon))[:4]
    middles = (corner + np.roll(corner, -1, axis=0)) / 2
    pairs = [(middles[0], middles[2]), (middles[1], middles[3])]
    return shapely.LineString(max(pairs, key=lambda pair: float(np.hypot(*(pair[1] - pair[0])))))


def _longest_path(edges: FloatArray) -> FloatArray | None:
    """Longest shortest path in the graph of *edges* (n, 2, 2): from any node to the farthest, twice."""
    nodes, index = np.unique(np.round(edges.reshape(-1, 2), 9), axis=0, return_inverse=True)
    ends = index.reshape(-1, 2)
    length = np.hypot(*(edges[:, 1] - edges[:, 0]).T)
    near: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for (a, b), step in zip(ends.tolist(), length.tolist(), strict=True):
        near[a].append((b, step))
        near[b].append((a, step))
    best: list[int] = []
    reach = 0.0
    left = set(near)
    while left:  # the axis may fall apart where the strip is thinner than the spacing
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


def _to_ends(path: FloatArray, polygon: BaseGeometry) -> FloatArray:
    """*path* with the forks into the corners cut off, and its ends drawn straight on to the outline."""
    clearance = shapely.distance(shapely.boundary(polygon), shapely.points(path))
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    typical = float(np.median(clearance))
    trunk = (travel > 2 * typical) & (travel < travel[-1] - 2 * typical)
    if trunk.sum() < 2:
        return path
    core = path[trunk]
    reach = 4 * typical
    for _ in range(2):  # both ends
        way = core[0] - core[min(len(core) - 1, max(1, int(np.searchsorted(travel, 2 * typical))))]
        way = way / max(float(np.hypot(*way)), 1e-12)
        ray = shapely.intersection(shapely.LineString([core[0], core[0] + way * reach]), polygon)
        tail = shapely.get_coordinates(shapely.get_parts(ray)[:1])
        core = np.concatenate([tail[-1:], core])[::-1] if len(tail) else core[::-1]
    return core
