"""The job's diary: headland laps, passes, turns, transport and standing, told from the driven way."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .ab_lines import axial_mean, find_families, mean_directions
from .legs import find_legs, leg_between
from .model import HEADLAND, STRAIGHT, TRANSPORT, TURN
from .spans import Cell, as_spans, backing_up, broken, laid_out, with_laps
from .tolerances import (
    ACROSS_DEG,
    AGAIN_SHARE,
    AGAIN_WIDTHS,
    BACKING_SHARE,
    CORNER_MAX_DEG,
    CORNER_MIN_DEG,
    CORNER_WIDTHS,
    HUG_DEG,
    HUG_WIDTHS,
    NEIGHBOUR_WIDTHS,
    OFF_SHARE,
    ON_SHARE,
    RUN_IN_M,
    TURN_WIDTHS,
)
from .way import smooth_way

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray

    from .legs import Leg
    from .model import Fixed, Span
    from .way import Way


@dataclass(frozen=True)
class Diary:
    """The parts of the job in driving order, and the way they were told from.

    ``directions_deg`` are the AB directions, the most driven first. ``spans`` touch; ``within`` are the standing,
    the reversing and the gaps of the log that lie within passes and laps, which go on behind them. [deg]
    """

    way: Way
    spans: tuple[Span, ...]
    within: tuple[Span, ...]
    directions_deg: tuple[float, ...]


def keep_diary(fixed: Fixed, field: BaseGeometry, width_m: float, breaks: Sequence[Span] = ()) -> Diary:
    """Split the driven way into its parts.

    Parameters
    ----------
    fixed : Fixed
        The boom centre at every fix, and whether it sprayed when that was logged.
    field : polygon or multipolygon
        The field, or an empty geometry when none is known. [m]
    width_m : float
        Boom width. [m]
    breaks : sequence of Span, optional
        Where the vehicle backed up and where the log has gaps; standing is told from the way.
    """
    way = smooth_way(fixed)
    on = _on_grid(fixed, way)
    back = backing_up(way, breaks)
    legs = [_without_approach(way, leg, on) for leg in find_legs(way)]
    legs = [leg for leg in legs if leg.last > leg.first and back[leg.first : leg.last].mean() < BACKING_SHARE]
    job = _Job(way, legs, on, back, field, width_m)
    headland = _headland_legs(job)
    lines = [_line(way, leg) for leg in job.legs]
    family, directions = find_families(job.legs, headland)
    kinds = _kinds(job, headland, family, lines)
    blocks = _blocks(kinds, family, lines, width_m)
    marks = _marks(job, kinds, blocks, [directions[k] if k >= 0 else None for k in family])
    laid = with_laps(way, list(laid_out(way, marks, lambda before, after: _between(job, before, after), TRANSPORT)))
    whole, inner = broken(way, list(laid), breaks)
    end_s = float(fixed.time_s[-1])
    spans, within = as_spans(way, whole, end_s), as_spans(way, inner, end_s)
    return Diary(way, spans, within, tuple(mean_directions(fixed, spans, directions)))


@dataclass(frozen=True)
class _Job:
    """What the decisions below look at; ``on`` is None when no boom state is known.

    ``back``: whether the vehicle backed up in each step of the grid.
    """

    way: Way
    legs: list[Leg]
    on: BoolArray | None
    back: BoolArray
    field: BaseGeometry
    width_m: float

    def on_share(self, first: int, last: int) -> float | None:
        """Share of the distance between two grid points that was sprayed."""
        if self.on is None:
            return None
        driven = np.diff(self.way.along_m[first : last + 1])
        total = float(driven.sum())
        return float(driven[self.on[first:last]].sum()) / total if total > 0 else 0.0

    def swing_deg(self, joint: int) -> float:
        """Change of direction from leg *joint* to the next, less than half a turn. [deg]"""
        before, after = self.legs[joint], self.legs[joint + 1]
        if self.backed(joint):  # where it turned back the way has no direction of its own
            return float(np.degrees(abs(_wrap(after.direction_rad - before.direction_rad))))
        return float(np.degrees(abs(_wrap(after.begin_rad - before.end_rad))))

    def backed(self, joint: int) -> bool:
        """Whether the vehicle backed up between leg *joint* and the next."""
        return bool(self.back[self.legs[joint].last : self.legs[joint + 1].first].any())

    def joint_m(self, joint: int) -> float:
        """Distance driven from leg *joint* to the next. [m]"""
        return float(self.way.along_m[self.legs[joint + 1].first] - self.way.along_m[self.legs[joint].last])


def _wrap(angle: float) -> float:
    return float((angle + np.pi) % (2 * np.pi) - np.pi)


def _on_grid(fixed: Fixed, way: Way) -> BoolArray | None:
    if fixed.on is None:
        return None
    index = np.clip(np.searchsorted(fixed.time_s, way.time_s, "right") - 1, 0, len(fixed.time_s) - 1)
    return fixed.on[index]


def _without_approach(way: Way, leg: Leg, on: BoolArray | None) -> Leg:
    """*leg* without a long way to the pass in the pass's own line: more unsprayed than sprayed."""
    if on is None or not on[leg.first : leg.last + 1].any():
        return leg
    sprayed = leg.first + np.flatnonzero(on[leg.first : leg.last + 1])
    first, last = int(sprayed[0]), int(sprayed[-1])
    along = way.along_m
    least = max(RUN_IN_M, leg.length_m / 2)
    begin, end = leg.first, leg.last
    if along[first] - along[begin] > least:
        begin = int(np.searchsorted(along, along[first] - RUN_IN_M / 3))
    if along[end] - along[last] > least:
        end = int(np.searchsorted(along, along[last] + RUN_IN_M / 3))
    return leg if (begin, end) == (leg.first, leg.last) else leg_between(way, begin, end)


def _line(way: Way, leg: Leg) -> BaseGeometry:
    step = max((leg.last - leg.first) // 60, 1)
    index = np.unique(np.append(np.arange(leg.first, leg.last, step), leg.last))
    return shapely.LineString(np.column_stack([way.x_m[index], way.y_m[index]]))


# --- headland ---------------------------------------------------------------------------------


def _headland_legs(job: _Job) -> BoolArray:
    """Legs driven round the field: joined by corners, not by turning round."""
    count = len(job.legs)
    corner, back = np.zeros(count + 1, bool), np.zeros(count + 1, bool)  # joint k lies before leg k
    depth = _depths(job)
    for k in range(1, count):
        swing = job.swing_deg(k - 1)
        bent = CORNER_MIN_DEG <= swing <= CORNER_MAX_DEG and job.joint_m(k - 1) <= CORNER_WIDTHS * job.width_m
        share = job.on_share(job.legs[k - 1].last, job.legs[k].first)
        along_edge = bool(np.isfinite(depth[k - 1 : k + 1]).all())
        corner[k] = bent and (along_edge if share is None or job.backed(k - 1) else share >= ON_SHARE)
        back[k] = swing > CORNER_MAX_DEG
    headland = corner[:-1] | corner[1:]
    if job.on is None:
        # the last side of the headland and the first pass both lie between a corner and a turn:
        # a side lies no farther in than the others
        doubtful = headland & (back[:-1] | back[1:])
        sure = headland & ~doubtful
        deepest = float(depth[sure].max(initial=0.0))
        headland = sure | (doubtful & (depth <= deepest + job.width_m / 2))
        headland &= ~_over_earlier(job, headland)
    return headland


def _depths(job: _Job) -> FloatArray:
    """How far in from the field's edge each leg runs along it; infinite for a leg that does not. [m]"""
    depth = np.full(len(job.legs), np.inf)
    if job.field.is_empty:
        return depth
    rings = [shapely.Polygon(part.exterior) for part in shapely.get_parts(job.field)]
    edge = shapely.boundary(shapely.union_all(rings))
    for k, leg in enumerate(job.legs):
        index = np.linspace(leg.first, leg.last, 9).astype(int)[1:-1]
        away = shapely.distance(edge, shapely.points(job.way.x_m[index], job.way.y_m[index]))
        level = np.ptp(away) <= max(np.tan(np.radians(HUG_DEG)) * leg.length_m, 4 * job.way.noise_m)
        if level and float(np.median(away)) <= HUG_WIDTHS * job.width_m:
            depth[k] = float(np.median(away))
    return depth


def _over_earlier(job: _Job, headland: BoolArray) -> BoolArray:
    """Headland legs over ground that an earlier one has done: driving elsewhere along the edge."""
    repeats = np.zeros(len(headland), bool)
    done: list[BaseGeometry] = []
    for k in np.flatnonzero(headland):
        line = _line(job.way, job.legs[k])
        points = shapely.line_interpolate_point(line, np.linspace(0.1, 0.9, 9), normalized=True)
        near = [shapely.distance(points, one) < job.width_m / 2 for one in done]
        repeats[k] = bool(near) and float(np.any(near, axis=0).mean()) >= AGAIN_SHARE
        if not repeats[k]:
            done.append(line)
    return repeats


# --- kinds ------------------------------------------------------------------------------------


def _kinds(job: _Job, headland: BoolArray, family: list[int], lines: list[BaseGeometry]) -> list[str]:
    """Kind of each leg; "" for a leg that is part of what lies between its neighbours."""
    kinds = [HEADLAND if is_headland else "" for is_headland in headland]
    inside = _inside_share(job.field, lines)
    shares = [job.on_share(leg.first, leg.last) for leg in job.legs]
    hugging = np.isfinite(_depths(job)) if job.on is not None else np.zeros(len(kinds), bool)
    for k, kind in enumerate(kinds):
        if kind:
            continue
        on = shares[k]
        if on is not None and on >= ON_SHARE:
            kinds[k] = HEADLAND if hugging[k] and _is_across(job, k, family, hugging) else STRAIGHT
        elif on is not None and on > OFF_SHARE:
            kinds[k] = STRAIGHT
        elif family[k] >= 0 and inside[k] >= ON_SHARE:
            kinds[k] = STRAIGHT if on is None else "?"
    return _without_repeats(job, kinds, lines, shares)


def _is_across(job: _Job, k: int, family: list[int], hugging: BoolArray) -> bool:
    """Whether a leg runs across the main direction, and is not one of a block of its own: those go inward."""
    own = [j for j, one in enumerate(family) if one == family[k] and one >= 0]
    if family[k] == 0 or not all(hugging[j] for j in own):
        return False
    main = [leg.direction_rad for leg, one in zip(job.legs, family, strict=True) if one == 0]
    if not main:
        return False
    mean = axial_mean(np.degrees(np.array(main)) % 180, np.ones(len(main)))
    off = abs((np.degrees(job.legs[k].direction_rad) - mean + 90) % 180 - 90)
    return bool(off > ACROSS_DEG)


def _inside_share(field: BaseGeometry, lines: list[BaseGeometry]) -> FloatArray:
    if field.is_empty or not lines:
        return np.ones(len(lines))
    shapely.prepare(field)
    inside: FloatArray = shapely.length(shapely.intersection(field, np.array(lines))) / shapely.length(lines)
    return inside


def _without_repeats(job: _Job, kinds: list[str], lines: list[BaseGeometry], shares: list[float | None]) -> list[str]:
    """Legs over the line of another pass are transport, unless they alone were sprayed.

    A leg along an AB line without spray ("?") is a pass that was forgotten, if no other pass lies there.
    """
    for k, kind in enumerate(kinds):
        doubtful = kind == "?" or (kind == STRAIGHT and shares[k] is None)
        if not doubtful:
            continue
        points = shapely.line_interpolate_point(lines[k], np.linspace(0.1, 0.9, 9), normalized=True)
        rivals = [j for j in range(len(kinds)) if kinds[j] == STRAIGHT and (j < k or kind == "?")]
        near = [shapely.distance(points, lines[j]) < AGAIN_WIDTHS * job.width_m for j in rivals]
        again = bool(near) and float(np.any(near, axis=0).mean()) >= AGAIN_SHARE
        kinds[k] = "" if again else STRAIGHT
    return kinds


# --- blocks -----------------------------------------------------------------------------------


def _blocks(kinds: list[str], family: list[int], lines: list[BaseGeometry], width_m: float) -> list[int]:
    """Number of the block of each straight pass, from 1 in driving order; 0 for other legs."""
    passes = [k for k, kind in enumerate(kinds) if kind == STRAIGHT]
    owner = {k: k for k in passes}
    if len(passes) > 1:
        whole = np.array([lines[k] for k in passes], dtype=object)
        pairs = shapely.STRtree(whole).query(whole, predicate="dwithin", distance=NEIGHBOUR_WIDTHS * width_m)
        for a, b in zip(*pairs.tolist(), strict=True):
            first, second = passes[a], passes[b]
            if first < second and family[first] == family[second]:
                roots = sorted((_root(owner, first), _root(owner, second)))
                owner[roots[1]] = roots[0]
    order: dict[int, int] = {}
    blocks = [0] * len(kinds)
    for k in passes:
        blocks[k] = order.setdefault(_root(owner, k), len(order) + 1)
    return blocks


def _root(owner: dict[int, int], k: int) -> int:
    while owner[k] != k:
        k = owner[k]
    return k


# --- spans ------------------------------------------------------------------------------------


def _marks(job: _Job, kinds: list[str], blocks: list[int], directions: list[float | None]) -> list[Cell]:
    """Passes and runs of headland, in driving order."""
    kept = [k for k, kind in enumerate(kinds) if kind]
    marks: list[Cell] = []
    for k in kept:
        first, last = job.legs[k].first, job.legs[k].last
        if kinds[k] == HEADLAND and marks and marks[-1].kind == HEADLAND and _joined(job, marks[-1].last, first):
            marks[-1] = replace(marks[-1], last=last)
        else:
            straight = kinds[k] == STRAIGHT
            marks.append(Cell(first, last, kinds[k], blocks[k], directions[k] if straight else None))
    begins = [*(one.first for one in marks), len(job.way.time_s) - 1][1:]
    ends = [0, *(one.last for one in marks)][: len(marks)]
    return [_trimmed(job, *each) for each in zip(marks, ends, begins[: len(marks)], strict=True)]


def _joined(job: _Job, last: int, first: int) -> bool:
    """Whether two headland legs belong to one run: a corner between them, not a drive elsewhere."""
    driven = job.way.along_m[first] - job.way.along_m[last]
    share = job.on_share(last, first)
    return bool(driven <= CORNER_WIDTHS * job.width_m and (share is None or share >= ON_SHARE or driven <= job.width_m))


def _trimmed(job: _Job, mark: Cell, low: int, high: int) -> Cell:
    """Headland begins and ends where the boom came on and went off, when that is known, but amid no other part.

    *low* and *high* are the end of the part before and the begin of the next one.
    """
    first, last = mark.first, mark.last
    if mark.kind == HEADLAND and job.on is not None and job.on[first : last + 1].any():
        on = np.flatnonzero(job.on[first : last + 1])
        first, last = first + int(on[0]), first + int(on[-1])
        # sprayed ground before the leg proper (a corner) belongs to it too
        while first > low and job.on[first - 1]:
            first -= 1
        while last < high and job.on[last + 1]:
            last += 1
    return replace(mark, first=first, last=last)


def _between(job: _Job, before: Cell | None, after: Cell) -> str:
    """Kind of what lies between two parts: a turn between passes, or between sides of the headland, else transport."""
    if before is None or before.kind != after.kind or before.block != after.block:
        return TRANSPORT
    driven = job.way.along_m[after.first] - job.way.along_m[before.last]
    return TURN if driven <= TURN_WIDTHS * job.width_m + BULB_M else TRANSPORT


BULB_M = 40.0
"""A bulb turn of a light vehicle with a turning radius of 5 m takes about 7 radii. [m]"""
