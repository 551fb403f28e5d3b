"""Missed and double ground counted along parallel lines: for counting one job a hundred times over.

Along each line the count is exact and follows the definition of a visit; between the lines areas
go by the midpoint rule. The exact way is :mod:`.coverage`, which nodes all outlines anew each time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.ground.tolerances import VISIT_WIDTHS

from .tolerances import (
    CROSSINGS,
    CROSSINGS_A_STEP,
    MOST_CROSSINGS,
    MOST_PAIRS,
    MOST_SCAN_STEP_M,
    MOST_SWEEPS,
    SCAN_DIRECTIONS,
    SCAN_LINES,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .swept import Steps


@dataclass(frozen=True)
class Lines:
    """Lines along which ground is counted, laid end to end on one axis: line k from k times ``span_m`` on.

    ``target`` (m, 2): where the axis runs inside the target. [m]
    """

    span_m: float
    target: FloatArray
    visit_m: float

    def count(self, number: IntArray, swept: Chords, stretch: IntArray) -> Counted:
        """What of the target is missed and double, *swept* (n,) lying on the lines *number* in stretches *stretch*."""
        begin = number * self.span_m
        start, end = (begin + np.clip(one, 0.0, self.span_m) for one in (swept.start_m, swept.end_m))
        used = end > start
        start, end, travel = start[used], end[used], swept.travel_m[used]
        size, inside = len(start), len(self.target)
        edges = np.concatenate([start, end, *self.target.T])
        order = np.argsort(edges, kind="stable")
        at = edges[order]
        sweeps = np.cumsum(_signs([1, -1, 0], [size, size, 2 * inside])[order], dtype=np.int32)[:-1]
        within = np.cumsum(_signs([0, 1, -1], [2 * size, inside, inside])[order], dtype=np.int32)[:-1]
        length = np.where(within > 0, np.diff(at), 0.0)
        middle = (at[:-1] + at[1:]) / 2
        place = np.empty(len(order), np.int64)
        place[order] = np.arange(len(order))
        several = np.flatnonzero((sweeps > 1) & (length > 0))
        twice = np.zeros(len(length), bool)
        # as many sweeps lie over a part as it counts: looked at in blocks, to bound the memory
        block = np.cumsum(sweeps[several]) // MOST_SWEEPS
        for parts in np.split(several, np.flatnonzero(np.diff(block)) + 1):
            part, chord = _under(parts, place[:size], place[size : 2 * size])
            share = (middle[parts[part]] - start[chord]) / (end - start)[chord]
            when = travel[chord, 0] + share * np.diff(travel)[chord, 0]
            visits = _visits(part, stretch[swept.step[used]][chord], when, self.visit_m, len(parts))
            twice[parts] = visits > 1
        return Counted(middle, np.where(sweeps == 0, length, 0.0), np.where(twice, length, 0.0))


@dataclass(frozen=True)
class Chords:
    """Where lines run inside steps: arrays of shape (n,), ``travel_m`` (n, 2) at start and end. [m]"""

    step: IntArray
    row: IntArray
    start_m: FloatArray
    end_m: FloatArray
    travel_m: FloatArray


@dataclass(frozen=True)
class Counted:
    """Parts of the axis between neighbouring edges: middle, and length missed and double, shape (n,). [m]"""

    middle_m: FloatArray
    missed_m: FloatArray
    double_m: FloatArray


@dataclass(frozen=True)
class Scan:
    """Parallel lines over the target, ``step_m`` apart. [m]

    ``along`` (2,) is their direction; ``origin_m`` (2,) the first one's begin, along and across.
    """

    along: FloatArray
    origin_m: FloatArray
    step_m: float
    count: int
    lines: Lines

    @classmethod
    def over(cls, target: BaseGeometry, steps: Steps, width_m: float) -> Scan:
        """Lines over *target* in the direction in which least of its sides and of the steps' edges runs."""
        sides = _sides(target)
        # tips run along edges of swept ground everywhere, booms only where a stretch begins or ends
        outer = np.flatnonzero(np.diff(steps.stretch, prepend=-1, append=-1))
        booms = steps.corner_m[np.clip(outer, 0, len(steps.stretch) - 1)][:, [[1, 2]]]
        edges = [sides, steps.corner_m[:, [[0, 1], [2, 3]]], booms]
        step = min(MOST_SCAN_STEP_M, float(np.sqrt(target.area)) / SCAN_LINES)
        along = _clear_direction(np.concatenate([one.reshape(-1, 2, 2) for one in edges]), step)
        placed = _turned(sides, along).reshape(-1, 2)
        low, high = placed.min(axis=0), placed.max(axis=0)
        across = np.clip(_turned(steps.corner_m, along)[..., 1], low[1], high[1])
        step = max(step, float(np.abs(across - np.roll(across, 1, axis=1)).sum()) / most_crossings(len(steps.line)))
        origin, span = np.array([low[0], low[1] + step / 2]), float(high[0] - low[0])
        count = int((high[1] - low[1]) / step) + 1
        empty = cls(along, origin, step, count, Lines(span, np.empty((0, 2)), VISIT_WIDTHS * width_m))
        at, row, _, _ = _crossings(empty.in_rows(sides), np.zeros(len(sides), int), count)
        return replace(empty, lines=replace(empty.lines, target=(row * span + at).reshape(-1, 2)))

    def in_rows(self, points: FloatArray) -> FloatArray:
        """*points* (..., 2) as distance along the lines [m] and number of the line, a fraction between two."""
        return (_turned(points, self.along) - self.origin_m) / [1.0, self.step_m]

    def areas(self, steps: Steps) -> FloatArray:
        """Target missed, and visited twice or more, shape (2,). [m2]"""
        swept = _chords(self.in_rows(steps.corner_m), steps.travel_m, self.count, steps.starts())
        found = self.lines.count(swept.row, swept, steps.stretch)
        return self.step_m * np.array([found.missed_m.sum(), found.double_m.sum()])


@dataclass(frozen=True)
class Cuts:
    """Single lines (``begin_m``, ``along``, both (n, 2)) and the steps that may come to lie on them.

    ``pair`` (m, 2): number of the line and of the step. [m]
    """

    begin_m: FloatArray
    along: FloatArray
    pair: IntArray
    lines: Lines

    @classmethod
    def of(cls, cuts: np.ndarray, target: BaseGeometry, steps: Steps, reach_m: FloatArray, width_m: float) -> Cuts:
        """*cuts* (straight lines, shape (n,)) with the steps that lie within their *reach_m* (steps,) of them. [m]"""
        ends = shapely.get_coordinates(cuts).reshape(-1, 2, 2)
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        along = (ends[:, 1] - ends[:, 0]) / length[:, None]
        hulls = shapely.convex_hull(shapely.multipoints(steps.corner_m))
        pair = shapely.STRtree(cuts).query(hulls, predicate="dwithin", distance=reach_m)[::-1].T
        span = float(length.max(initial=0.0))
        of, at = _inside(cuts, length, target)
        return cls(ends[:, 0], along, pair, Lines(span, of[:, None] * span + at, VISIT_WIDTHS * width_m))

    def missed_m(self, steps: Steps) -> FloatArray:
        """Length of each line in the target that is not visited, shape (n,). [m]"""
        parts = np.array_split(self.pair, -(-len(self.pair) // MOST_PAIRS) or 1)
        found = [self._swept(steps, *pair.T) for pair in parts]
        line, stretch = (np.concatenate([one[k] for one in found]) for k in (1, 2))
        swept = Chords(*_joined([one for one, _, _ in found]))
        counted = self.lines.count(line, replace(swept, step=np.arange(len(line))), stretch)
        some = counted.missed_m > 0
        number = np.minimum((counted.middle_m[some] / self.lines.span_m).astype(int), len(self.begin_m) - 1)
        return np.bincount(number, weights=counted.missed_m[some], minlength=len(self.begin_m)).astype(float)

    def _swept(self, steps: Steps, line: IntArray, step: IntArray) -> tuple[Chords, IntArray, IntArray]:
        """Chords of each *step* on its *line*, the line that each is on, and its stretch."""
        placed = _turned(steps.corner_m[step] - self.begin_m[line, None], self.along[line, None])
        swept = _chords(placed, steps.travel_m[step], 1)
        return swept, line[swept.step], steps.stretch[step[swept.step]]


def most_crossings(steps: int) -> int:
    """How often the edges of so many *steps* may cross the lines. [1]"""
    return min(CROSSINGS + CROSSINGS_A_STEP * steps, MOST_CROSSINGS)


def _joined(parts: Sequence[Chords]) -> list[np.ndarray]:
    """Columns of *parts*, one after the other."""
    return [np.concatenate(column) for column in zip(*(vars(part).values() for part in parts), strict=True)]


def _sides(area: BaseGeometry) -> FloatArray:
    """Sides of all rings of *area*, shape (n, 2, 2)."""
    rings = [shapely.get_coordinates(line) for line in shapely.get_parts(shapely.boundary(area))]
    return np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])


def _inside(cuts: np.ndarray, length_m: FloatArray, area: BaseGeometry) -> tuple[IntArray, FloatArray]:
    """Parts of straight *cuts*, so long, in *area*: the cut each is of (m,), and from where to where on it (m, 2). [m]

    Sides are looked at only near a cut: an outline may have a hundred thousand of them, and a job thousands of cuts.
    """
    sides = shapely.linestrings(_sides(area))
    cut, side = shapely.STRtree(sides).query(cuts, predicate="intersects")
    met, of = shapely.get_coordinates(shapely.intersection(cuts[cut], sides[side]), return_index=True)
    every, crossed = np.arange(len(cuts)), cut[of]
    way = np.minimum(shapely.line_locate_point(cuts[crossed], shapely.points(met)), length_m[crossed])
    cut, at = np.concatenate([every, every, crossed]), np.concatenate([np.zeros(len(cuts)), length_m, way])
    order = np.lexsort((at, cut))
    cut, at = cut[order], at[order]
    part = np.flatnonzero((cut[1:] == cut[:-1]) & (at[1:] > at[:-1]))
    parts = np.stack([at[part], at[part + 1]], axis=1)
    middle = shapely.line_interpolate_point(cuts[cut[part]], parts.mean(axis=1))
    shapely.prepare(area)
    within = shapely.intersects(area, middle)
    return cut[part][within], parts[within]


def _turned(points: FloatArray, along: FloatArray) -> FloatArray:
    """*points* (..., 2) as distances along and across the unit vectors *along* (..., 2). [m]"""
    east, north = points[..., 0], points[..., 1]
    x, y = along[..., 0], along[..., 1]
    return np.stack([east * x + north * y, north * x - east * y], axis=-1)


def _clear_direction(edges: FloatArray, step_m: float) -> FloatArray:
    """Unit vector along which lines *step_m* apart err least on straight *edges* (n, 2, 2)."""
    run = edges[:, 1] - edges[:, 0]

    def off_m2(direction: FloatArray) -> float:
        # one between two lines is off by up to its length times their distance, one that crosses many by the two
        # triangles at its ends
        along, across = np.abs(_turned(run, direction)).T
        return float(np.square(along / (1.0 + across / step_m)).sum())

    angle = np.pi / SCAN_DIRECTIONS * np.arange(SCAN_DIRECTIONS)
    return min(np.column_stack([np.cos(angle), np.sin(angle)]), key=off_m2)


def _crossings(
    edges: FloatArray, owner: IntArray, rows: int, travel_m: FloatArray | None = None
) -> tuple[FloatArray, IntArray, IntArray, FloatArray]:
    """Where closed outlines cross the rows 0 ... *rows* - 1, in order along each row of each owner.

    An edge holds its lower end and not its upper one, so that each outline crosses a row an even number of times.

    Parameters
    ----------
    edges : (n, 2, 2) float
        Distance along the rows [m] and number of the row, of both ends of each edge.
    owner : (n,) int
        The outline that each edge is of.
    travel_m : (n, 2) float, optional
        Travel at both ends.

    Returns
    -------
    at, row, owner, travel
        Arrays of shape (m,).
    """
    level = np.clip(np.ceil(edges[:, :, 1]), 0, rows).astype(int)
    first, times = np.minimum(*level.T), np.abs(level[:, 1] - level[:, 0])
    edge = np.repeat(np.arange(len(edges)), times)
    row = np.arange(len(edge)) + np.repeat(first - np.cumsum(times) + times, times)
    begin, rise = edges[edge, 0, 1], (edges[:, 1, 1] - edges[:, 0, 1])[edge]
    share = (row - begin) / rise
    at = edges[edge, 0, 0] + share * (edges[:, 1, 0] - edges[:, 0, 0])[edge]
    travel = np.zeros(len(edge)) if travel_m is None else travel_m[edge, 0] + share * np.diff(travel_m)[edge, 0]
    low, high = (float(one) for one in (at.min(initial=0.0), at.max(initial=1.0)))
    order = np.argsort(owner[edge] * rows + row + (at - low) / (2 * (high - low)), kind="stable")
    return at[order], row[order], owner[edge][order], travel[order]


def _chords(placed: FloatArray, travel_m: FloatArray, rows: int, starts: BoolArray | None = None) -> Chords:
    """Where rows run inside steps with corners *placed* (n, 4, 2) and *travel_m* (n, 4) there.

    From a step that *starts* (n,) a run to the next such step all are one outline, told by the first; without it each
    step is one.
    """
    first = np.arange(len(placed)) if starts is None else np.flatnonzero(starts)
    last = np.append(first[1:], len(placed))[: len(first)] - 1
    run = np.repeat(np.arange(len(first)), last + 1 - first)

    def outline(corners: FloatArray) -> FloatArray:
        return np.concatenate([corners[:, :2], corners[:, :1:-1], corners[first][:, ::3], corners[last][:, 1:3]])

    at, row, owner, when = _crossings(
        outline(placed), np.concatenate([run, run, run[first], run[first]]), rows, outline(travel_m)
    )
    return Chords(first[owner[::2]], row[::2], at[::2], at[1::2], when.reshape(-1, 2))


def _signs(signs: list[int], times: list[int]) -> np.ndarray:
    """Each sign so many times, a byte each: sums of them are all that is asked."""
    return np.repeat(np.array(signs, np.int8), times)


def _under(parts: IntArray, first: IntArray, last: IntArray) -> tuple[IntArray, IntArray]:
    """Every (position in rising *parts*, chord) where the chord runs from part *first* to before part *last*."""
    before = np.zeros(max(int(last.max(initial=0)), int(parts.max(initial=0))) + 2, np.int64)
    before[parts + 1] = 1
    np.cumsum(before, out=before)
    low, high = before[first], before[last]
    chord = np.repeat(np.arange(len(first)), high - low)
    return np.arange(len(chord)) + np.repeat(low - np.cumsum(high - low) + (high - low), high - low), chord


def _visits(part: IntArray, stretch: IntArray, travel_m: FloatArray, visit_m: float, count: int) -> IntArray:
    """Visits of each of *count* parts, from its sweeps: those of one stretch within *visit_m* are one."""
    own = part * (int(stretch.max(initial=0)) + 1) + stretch  # one number for both: a sort less
    order = np.lexsort((travel_m, own))
    own, travel_m = own[order], travel_m[order]
    same = (np.diff(own) == 0) & (np.diff(travel_m) <= visit_m)
    return np.bincount(part[order[np.append([True], ~same)[: len(order)]]], minlength=count)
