"""Ways across the field for the touch-up: a network of poses, and the shortest ways through it.

Nodes are poses: where strips are entered and left, places along the headland and the old passes
(hubs), and the start. Edges are shortest turns that stay on ground that may be driven on, plus
backing up along a strip that ends at the fence. The shortest ways are found by SciPy's graph
routines; so the triangle inequality holds for them and adding a strip never shortens a way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from coverage_audit.solid import near_ways

from .tolerances import (
    CLEARANCE_M,
    GRID_CELL_M,
    GRID_MOST_CELLS,
    HUB_REACH_M,
    HUB_SPACING_M,
    OFF_TRACK_SHARE,
    PAIRS_AT_ONCE,
    PATH_STEP_M,
    SAMPLES_AT_ONCE,
    STRIP_REACH_M,
    TRACK_HALF_M,
    WAY_SAMPLE_M,
)
from .turns import turn_legs, way_points

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

START_HEADINGS = 16
"""Headings in which the vehicle may set out: it stands and can be turned before."""


@dataclass(frozen=True)
class DrivingGround:
    """Cells that may be driven on, and those in old wheel tracks.

    ``clear`` and ``tracked`` are arrays of shape (rows, columns), row 0 the southernmost.
    ``inside`` is the field without its no-spray ground, ``clear_ground`` the same kept clear of
    its edges by ``CLEARANCE_M``. [m]
    """

    inside: BaseGeometry
    clear_ground: BaseGeometry
    west_m: float
    south_m: float
    cell_m: float
    clear: BoolArray
    tracked: BoolArray

    def look_up(self, grid: BoolArray, xy: FloatArray) -> BoolArray:
        """Value of *grid* at points (n, 2); False beyond it."""
        column = np.floor((xy[:, 0] - self.west_m) / self.cell_m).astype(np.int64)
        row = np.floor((xy[:, 1] - self.south_m) / self.cell_m).astype(np.int64)
        rows, columns = grid.shape
        good = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
        return np.asarray(good & grid[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)])


def driving_ground(field: BaseGeometry, no_spray: BaseGeometry, passes: tuple[BaseGeometry, ...]) -> DrivingGround:
    """Where the vehicle may drive: inside the field, out of no-spray ground, old passes marked.

    How far to keep off fences and how wide wheel tracks are is common practice, no source.
    """
    inside = shapely.difference(field, no_spray)
    clear_ground = shapely.buffer(inside, -CLEARANCE_M)
    west, south, east, north = field.bounds
    cell = max(GRID_CELL_M, math.sqrt((east - west) * (north - south) / GRID_MOST_CELLS))
    x = np.arange(west + cell / 2, east + cell, cell)
    y = np.arange(south + cell / 2, north + cell, cell)
    column, row = np.meshgrid(x, y)
    whole_cells = shapely.buffer(clear_ground, -cell / math.sqrt(2))
    shapely.prepare(whole_cells)
    clear = shapely.contains_xy(whole_cells, column, row)
    tracks = near_ways(passes, TRACK_HALF_M)
    shapely.prepare(tracks)
    return DrivingGround(inside, clear_ground, west, south, cell, clear, shapely.contains_xy(tracks, column, row))


@dataclass(frozen=True)
class StripEnd:
    """A pose at the end of a way along a strip, and how far one may back up from it. [m]

    ``entry``: the way begins here (the vehicle backs up to it); else it ends here.
    """

    pose: tuple[float, float, float]
    entry: bool
    back_m: tuple[float, ...]


@dataclass(frozen=True)
class Network:
    """The network of poses and ways.

    ``pose`` (n, 3). Edges run ``tail`` to ``head``, both (e,), with ``legs`` (e, 3) and ``weight``
    (e,). [m] ``word`` is the row of :data:`WORDS`, -1 for backing up, -2 for the way along a strip.
    """

    pose: FloatArray
    tail: IntArray
    head: IntArray
    word: IntArray
    legs: FloatArray
    weight: FloatArray
    radius_m: float
    start: int

    def matrix(self) -> csr_array:
        """Sparse weights; of parallel edges the lightest."""
        order = np.lexsort((self.weight, self.head, self.tail))
        tail, head = self.tail[order], self.head[order]
        first = np.append([True], (np.diff(tail) != 0) | (np.diff(head) != 0))[: len(order)]
        keep = order[first]
        size = len(self.pose)
        ends = self.tail[keep].astype(np.int32), self.head[keep].astype(np.int32)  # older csgraph takes no wider ones
        return csr_array((self.weight[keep], ends), shape=(size, size))


def build_network(
    ground: DrivingGround,
    ends: list[StripEnd],
    along: list[tuple[int, int, float]],
    hubs: FloatArray,
    start: tuple[float, float],
    radius_m: float,
) -> Network:
    """Network of strip ends, hubs and the start.

    Parameters
    ----------
    ground : DrivingGround
        Where one may drive.
    ends : list of StripEnd
        They become the first nodes, in this order.
    along : list of (entry, exit, length)
        Ways along strips: numbers of ends, and length. [m]
    hubs : array, shape (h, 3)
        Poses to pass by.
    start : (x, y)
        Where the way begins. [m]
    radius_m : float
        Turning radius. [m]
    """
    backs, back_edges = _back_places(ends)
    begin = _start_poses(ground, start)
    poses = [np.array([end.pose for end in ends]).reshape(-1, 3), backs, hubs, begin]
    pose = np.concatenate([*poses, [[*start, 0.0]]])
    count = np.cumsum([len(part) for part in poses])
    entry = np.zeros(len(pose), bool)
    leave = np.zeros(len(pose), bool)
    kind = np.array([end.entry for end in ends] + [ends[owner].entry for owner, _ in back_edges], dtype=bool)
    entry[: count[1]], leave[: count[1]] = kind, ~kind
    hub = np.zeros(len(pose), bool)
    hub[count[1] : count[2]] = True
    begins = np.zeros(len(pose), bool)
    begins[count[2] : count[3]] = True
    edges = [_turn_edges(ground, pose, np.flatnonzero(leave | begins), np.flatnonzero(entry), radius_m, math.inf)]
    edges.append(
        _turn_edges(ground, pose, np.flatnonzero(leave | begins), np.flatnonzero(hub), radius_m, STRIP_REACH_M)
    )
    edges.append(_turn_edges(ground, pose, np.flatnonzero(hub), np.flatnonzero(entry), radius_m, STRIP_REACH_M))
    edges.append(_turn_edges(ground, pose, np.flatnonzero(hub), np.flatnonzero(hub), radius_m, HUB_REACH_M))
    for number, (owner, way) in enumerate(back_edges, start=count[0]):
        tail, head = (number, owner) if ends[owner].entry else (owner, number)
        edges.append(_edge(tail, head, -1, way, way))
    edges += [_edge(tail, head, -2, length, length) for tail, head, length in along]
    last = len(pose) - 1
    for node in np.flatnonzero(begins):
        way = math.dist(start, pose[node, :2])
        edges.append(_edge(last, int(node), -1, way, max(way, 1e-9)))
    joined = [np.concatenate(column) for column in zip(*edges, strict=True)]
    return Network(pose, joined[0], joined[1], joined[2], joined[3], joined[4], radius_m, last)


_Edges = tuple["IntArray", "IntArray", "IntArray", "FloatArray", "FloatArray"]


def _edge(tail: int, head: int, word: int, length: float, weight: float) -> _Edges:
    legs = np.array([[length, 0.0, 0.0]])
    return np.array([tail]), np.array([head]), np.array([word]), legs, np.array([max(weight, 1e-9)])


def _back_places(ends: list[StripEnd]) -> tuple[FloatArray, list[tuple[int, float]]]:
    """Poses from which (to which) a vehicle backs up to an entry (from an exit), with end and way."""
    poses, edges = [], []
    for number, end in enumerate(ends):
        x, y, heading = end.pose
        sign = 1.0 if end.entry else -1.0
        for way in end.back_m:
            poses.append((x + sign * way * math.sin(heading), y + sign * way * math.cos(heading), heading))
            edges.append((number, way))
    return np.array(poses).reshape(-1, 3), edges


def _start_poses(ground: DrivingGround, start: tuple[float, float]) -> FloatArray:
    """Poses at the start, or in the middle of the nearest clear cell, in all directions."""
    x, y = start
    if not ground.look_up(ground.clear, np.array([start]))[0] and ground.clear.any():
        row, column = np.nonzero(ground.clear)
        middle_x = ground.west_m + (column + 0.5) * ground.cell_m
        middle_y = ground.south_m + (row + 0.5) * ground.cell_m
        nearest = int(np.argmin(np.hypot(middle_x - x, middle_y - y)))
        x, y = float(middle_x[nearest]), float(middle_y[nearest])
    heading = np.arange(START_HEADINGS) * 2 * np.pi / START_HEADINGS
    return np.column_stack([np.full(len(heading), x), np.full(len(heading), y), heading])


def _near_pairs(pose: FloatArray, tails: IntArray, heads: IntArray, reach_m: float) -> tuple[IntArray, IntArray]:
    """Each of *tails* with each other one of *heads* that lies within *reach_m*, looked for among so many at a time."""
    blocks = np.array_split(tails, -(-len(tails) * len(heads) // PAIRS_AT_ONCE) or 1)
    near = [np.empty((0, 2), int)]
    for block in blocks:
        pairs = np.column_stack([np.repeat(block, len(heads)), np.tile(heads, len(block))])
        apart = np.hypot(*(pose[pairs[:, 0], :2] - pose[pairs[:, 1], :2]).T)
        near.append(pairs[(apart <= reach_m) & (pairs[:, 0] != pairs[:, 1])])
    tail, head = np.concatenate(near).T
    return tail, head


def _turn_edges(
    ground: DrivingGround, pose: FloatArray, tails: IntArray, heads: IntArray, radius_m: float, reach_m: float
) -> _Edges:
    """Shortest turns from each of *tails* to each of *heads* that stay on clear ground."""
    tail, head = _near_pairs(pose, tails, heads, reach_m)
    legs = turn_legs(pose[tail], pose[head], radius_m)
    total = legs.sum(axis=2)
    rank = np.argsort(total, axis=0, kind="stable")
    word = np.full(len(tail), -9)
    share = np.zeros(len(tail))
    open_ = np.arange(len(tail))
    for place in range(len(rank)):
        tried = rank[place, open_]
        open_, tried = open_[total[tried, open_] <= reach_m], tried[total[tried, open_] <= reach_m]
        open_, tried = open_[np.isfinite(total[tried, open_])], tried[np.isfinite(total[tried, open_])]
        clear, tracked = _checked(ground, pose[tail[open_]], tried, legs[tried, open_], radius_m)
        word[open_[clear]], share[open_[clear]] = tried[clear], tracked[clear]
        open_ = open_[~clear]
    good = word >= 0
    tail, head, word, share = tail[good], head[good], word[good], share[good]
    chosen = legs[:, good][word, np.arange(len(word))]
    weight = chosen.sum(axis=1) * (1 + OFF_TRACK_SHARE * (1 - share))
    return tail, head, word, chosen, np.maximum(weight, 1e-9)


def _checked(
    ground: DrivingGround, start: FloatArray, word: IntArray, legs: FloatArray, radius_m: float
) -> tuple[BoolArray, FloatArray]:
    """Whether each way stays on clear ground, and the share of it in old tracks; some at a time, to save memory."""
    samples = np.cumsum(legs.sum(axis=1) / WAY_SAMPLE_M + 2)
    cuts = np.searchsorted(samples, np.arange(SAMPLES_AT_ONCE, samples[-1] if len(word) else 0, SAMPLES_AT_ONCE))
    groups = np.split(np.arange(len(word)), np.unique(cuts))
    found = [_checked_group(ground, start[group], word[group], legs[group], radius_m) for group in groups]
    return np.concatenate([clear for clear, _ in found]), np.concatenate([tracked for _, tracked in found])


def _checked_group(
    ground: DrivingGround, start: FloatArray, word: IntArray, legs: FloatArray, radius_m: float
) -> tuple[BoolArray, FloatArray]:
    if not len(word):
        return np.zeros(0, bool), np.zeros(0)
    points, way = way_points(start, word, legs, radius_m)
    count = np.bincount(way, minlength=len(word))
    clear = np.bincount(way, ground.look_up(ground.clear, points[:, :2]), len(word)) == count
    tracked = np.bincount(way, ground.look_up(ground.tracked, points[:, :2]), len(word)) / count
    return clear, tracked


def hub_poses(ground: DrivingGround, passes: tuple[BaseGeometry, ...], radius_m: float) -> FloatArray:
    """Places to pass by (x, y [m], heading [rad]), both ways round, shape (h, 3): along edges and on old passes."""
    safe = shapely.buffer(ground.clear_ground, -radius_m)
    rings = list(shapely.get_rings(shapely.get_parts(safe))) if not safe.is_empty else []
    poses = [_along(ring, np.concatenate([_corners(ring), _even(ring, 8)])) for ring in rings]
    poses += [_along(line, np.append(_even(line, 1), line.length)) for line in passes]
    every = np.concatenate(poses) if poses else np.empty((0, 3))
    every = every[ground.look_up(ground.clear, every[:, :2])]
    back = every + np.array([0.0, 0.0, np.pi])
    return np.asarray(np.concatenate([every, back]))


def _even(line: BaseGeometry, least: int) -> FloatArray:
    """Places along *line* at even distances, from its start on, at least so many. [m]"""
    count = max(least, math.ceil(line.length / HUB_SPACING_M))
    return np.asarray(np.arange(count) * line.length / count)


def _corners(ring: BaseGeometry) -> FloatArray:
    """Places along *ring* of the corners that it keeps when drawn within the clearance. [m]"""
    corners = shapely.get_coordinates(shapely.simplify(ring, CLEARANCE_M))[:-1]
    return np.asarray(shapely.line_locate_point(ring, shapely.points(corners)))


def _along(line: BaseGeometry, at: FloatArray) -> FloatArray:
    """Poses at places *at* along *line*, heading along it."""
    here = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    low = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(at - CLEARANCE_M, 0)))
    high = shapely.get_coordinates(shapely.line_interpolate_point(line, np.minimum(at + CLEARANCE_M, line.length)))
    step = high - low
    return np.column_stack([here, np.arctan2(step[:, 0], step[:, 1])])


@dataclass(frozen=True)
class Ways:
    """Shortest ways from some nodes: weighted ``cost`` and predecessors ``before``, both (s, n); ``row`` of each."""

    cost: FloatArray
    before: IntArray
    row: dict[int, int]


def shortest_ways(network: Network, sources: list[int]) -> Ways:
    """Shortest ways from each of *sources* to every node."""
    cost, before = dijkstra(network.matrix(), indices=sources, return_predecessors=True)
    return Ways(cost, before, {node: row for row, node in enumerate(sources)})


def way_parts(network: Network, ways: Ways, source: int, goal: int) -> list[tuple[str, FloatArray]]:
    """Parts of the shortest way from *source* to *goal*: ("drive", "back" or "strip", points (k, 2))."""
    nodes = [goal]
    while nodes[-1] != source:
        nodes.append(int(ways.before[ways.row[source], nodes[-1]]))
    nodes.reverse()
    parts: list[tuple[str, FloatArray]] = []
    for tail, head in pairwise(nodes):
        found = np.flatnonzero((network.tail == tail) & (network.head == head))
        edge = int(found[np.argmin(network.weight[found])])
        ends = network.pose[[tail, head]]
        if network.word[edge] < 0:
            kind = "strip" if network.word[edge] == -2 else "drive" if tail == network.start else "back"
            parts.append((kind, ends[:, :2]))
            continue
        points, _ = way_points(
            ends[:1], network.word[edge : edge + 1], network.legs[edge : edge + 1], network.radius_m, PATH_STEP_M / 2
        )
        parts.append(("drive", points[:, :2]))
    return parts
