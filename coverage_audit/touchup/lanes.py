"""How the boom is laid over a missed strip: parts, lanes, sections, and where each opens.

Everything about one part is worked out in its own frame: *along* the way driven and *across* it,
to the right. A section sprays only where the strip lies in its lane and its whole width is target.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.ops import substring

from coverage_audit.drive.model import BoomPath, Timeline

from .frame import Frame
from .tolerances import (
    CURVE_STEP_M,
    EQUAL_SHARE,
    JOIN_ON_M,
    LEAST_PART_M,
    LEAST_RUNS_TRIED,
    LEAST_SPRAY_M,
    LEAST_WAYS_TRIED,
    MOST_CORNERS_LAID,
    MOST_RUNS_TRIED,
    MOST_SECTIONS_TRIED,
    PART_BEND_DEG,
    PART_SIMPLIFY_M,
    SAME_PLACE_M,
    SHUT_MARGIN_M,
    SHY_M,
    STEER_SLACK_M,
    STRAIGHT_M,
    WHOLE_SHARE,
    WIDTH_SLACK_M,
)

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

Range = tuple[float, float]


@dataclass(frozen=True)
class LaidPass:
    """One way with the boom: ``line`` (n, 2), and for each section (by number from 1) where it is open. [m]"""

    line: FloatArray
    open_m: dict[int, tuple[Range, ...]]

    @property
    def span(self) -> Range:
        """First and last place along the line at which anything is open. [m]"""
        ranges = [one for section in self.open_m.values() for one in section]
        return min(low for low, _ in ranges), max(high for _, high in ranges)


def strip_parts(line: BaseGeometry) -> list[FloatArray]:
    """A strip's middle line, cut where it bends sharply; each part (n, 2), straight ones as two points. [m]

    What counts as sharp and as straight is common practice, no source.
    """
    longest = max(shapely.get_parts(line), key=lambda one: one.length)
    points = shapely.get_coordinates(longest)
    plain = shapely.get_coordinates(shapely.simplify(longest, PART_SIMPLIFY_M))
    step = np.diff(plain, axis=0)
    heading = np.unwrap(np.arctan2(step[:, 0], step[:, 1]))
    bends = plain[1:-1][np.abs(np.diff(heading)) > math.radians(PART_BEND_DEG)]
    at = [0.0, *shapely.line_locate_point(longest, shapely.points(bends)).tolist(), longest.length]
    parts = []
    for low, high in pairwise(at):
        if high - low < LEAST_PART_M and len(at) > 2:
            continue
        part = shapely.get_coordinates(substring(longest, low, high))
        straight = shapely.LineString(part[[0, -1]])
        away = shapely.distance(straight, shapely.points(part)).max()
        parts.append(part[[0, -1]] if away <= STRAIGHT_M else shapely.get_coordinates(_gentle(part)))
    return parts or [points[[0, -1]]]


def across_part(line: BaseGeometry, strip: BaseGeometry) -> FloatArray:
    """Straight line square to a short strip's middle *line*, through its middle and as long as *strip* is wide. [m]

    Where the boom came on late or went off early the strip lies along the boom: driven this way,
    the boom sprays it and no more.
    """
    longest = max(shapely.get_parts(line), key=lambda one: one.length)
    ends = shapely.get_coordinates(longest)[[0, -1]]
    unit = (ends[1] - ends[0]) / max(np.hypot(*(ends[1] - ends[0])), 1e-9)
    square = np.array([unit[1], -unit[0]])
    middle = ends.mean(axis=0)
    reach = (shapely.get_coordinates(strip) - middle) @ square
    return np.array([middle + reach.min() * square, middle + reach.max() * square])


def _gentle(part: FloatArray) -> BaseGeometry:
    """A crooked part, drawn through its own points at even distances."""
    line = shapely.LineString(part)
    count = max(3, math.ceil(line.length / CURVE_STEP_M) + 1)
    return shapely.LineString(
        shapely.get_coordinates(shapely.line_interpolate_point(line, np.linspace(0, line.length, count)))
    )


def halfway(part: FloatArray) -> FloatArray:
    """A straight piece of a metre or so along the middle of *part* (n, 2), to stop on. [m]"""
    line = shapely.LineString(part)
    low, high = (shapely.line_interpolate_point(line, line.length / 2 + LEAST_PART_M * k) for k in (-0.5, 0.5))
    return np.asarray(shapely.get_coordinates([low, high]))


def lay_boom(
    part: FloatArray,
    strip: BaseGeometry,
    target: BaseGeometry,
    inside: BaseGeometry,
    tracks: BaseGeometry,
    sections_m: tuple[float, ...],
    most_corners: int = MOST_CORNERS_LAID,
) -> list[LaidPass]:
    """The passes over one part of *strip* that cure most and spray least again; empty when none can be laid.

    Of equal ones, that which runs nearest to old wheel tracks.

    Parameters
    ----------
    part : array, shape (n, 2)
        Its middle line. [m]
    strip, target, inside, tracks : geometry
        Ground to cure, ground that may be sprayed, ground the boom's centre may be on, old passes. [m]
    sections_m : tuple of float
        Section widths from left to right. [m]
    most_corners : int
        Corners of the strip and of the target near it, times the ways that are tried: fewer ways where both are jagged.
    """
    width, inside = sum(sections_m), shapely.buffer(inside, 1e-6)  # a way along its very edge is inside
    shapely.prepare(inside)
    if (distinct := _distinct(part)) is None:
        return []
    frame = Frame(part := distinct, width)
    reach = shapely.buffer(shapely.LineString(part), 3 * width)
    flat_strip = frame.flat(shapely.intersection(strip, reach))
    length = shapely.LineString(part).length
    window = shapely.box(-width, -width * 1.5, length + width, width * 1.5) & flat_strip
    if window.is_empty:
        return []
    _, low, _, high = window.bounds
    step = EQUAL_SHARE * max(flat_strip.area, 1e-9)
    most = _ways_tried(strip, target, reach, most_corners)
    best: tuple[tuple[float, ...], list[LaidPass]] = ((0.0,), [])
    # a crooked edge of the target comes between the boom and the strip's last hand's width: leave that
    shy = [bounds for less in SHY_M for bounds in ((low + less, high), (low, high - less))]
    for bounds in [(low, high), *(one for one in shy if one[1] - one[0] > WIDTH_SLACK_M)]:
        plans = _spread(_plans(*bounds, sections_m), most)
        most -= len(plans)
        for exact, plan in plans:
            passes = [one for offset, bands in plan if (one := _lay(frame, offset, bands, strip, target, inside))]
            if not passes:
                continue
            cured, again = _measure(passes, sections_m, frame, flat_strip)
            off_track = max(shapely.distance(shapely.LineString(one.line[1:-1]).centroid, tracks) for one in passes)
            score = (-round(cured / step), round(again / step), exact, round(off_track, 1), abs(plan[0][0]))
            best = min(best, (score, passes), key=lambda one: one[0])
        if -best[0][0] * EQUAL_SHARE >= WHOLE_SHARE:
            break
    return best[1]


def _ways_tried(strip: BaseGeometry, target: BaseGeometry, reach: BaseGeometry, most_corners: int) -> int:
    corners = shapely.get_num_coordinates(shapely.intersection(target, reach)) + shapely.get_num_coordinates(strip)
    return max(LEAST_WAYS_TRIED, most_corners // max(1, int(corners)))


Band = tuple[int, float, float]
Plan = list[tuple[float, list[Band]]]


def _spread(plans: list[tuple[bool, Plan]], most: int) -> list[tuple[bool, Plan]]:
    """At most so many of *plans*, from all over them."""
    return plans[:: -(-len(plans) // most)] if most > 0 else []


def _plans(low: float, high: float, sections_m: tuple[float, ...]) -> list[tuple[bool, Plan]]:
    """Ways to set boom and sections across a strip from *low* to *high*: offset of each pass, and its open bands.

    A band is (section, left, right), relative to the pass. Where the open width leaves room, it reaches
    ``STEER_SLACK_M`` beyond the strip on either side; a plan marked True leaves none on one side.
    """
    edges = np.concatenate([[0.0], np.cumsum(sections_m)]) - sum(sections_m) / 2
    wide, width = high - low, float(edges[-1] - edges[0])
    bands: list[Band] = [(k + 1, float(edges[k]), float(edges[k + 1])) for k in range(len(sections_m))]
    count = max(1, math.ceil((wide - WIDTH_SLACK_M) / width))
    if count > 1:
        left = [(low + width * (k + 0.5), bands) for k in range(count)]
        right = [(high - width * (k + 0.5), bands) for k in range(count)]
        even = [(offset - (count * width - wide) / 2, bands) for offset, _ in left]
        return [(False, even), (True, left), (True, right)]
    plans: list[tuple[bool, Plan]] = []
    middle = (low + high) / 2
    for first, last in runs_tried(edges, wide):
        chosen = bands[first : last + 1]
        left_m, right_m = float(edges[first]), float(edges[last + 1])
        slack = max(0.0, min(STEER_SLACK_M, (right_m - left_m - wide) / 2))
        centred = middle - (left_m + right_m) / 2
        plans += [(False, [(offset, chosen)]) for offset in (centred, low - slack - left_m, high + slack - right_m)]
        if slack > 0:  # else these are the two above
            plans += [(True, [(offset, chosen)]) for offset in (low - left_m, high - right_m)]
    return plans


def runs_tried(edges: FloatArray, wide: float) -> list[tuple[int, int]]:
    """First and last section of the runs that are wide enough, spread evenly over the boom where they are many."""
    last = np.searchsorted(edges, edges[:-1] + wide - WIDTH_SLACK_M) - 1
    first = np.flatnonzero(last < len(edges) - 1)
    last = np.maximum(last[first], first)
    each = int((last - first).max(initial=0)) + 1
    most = int(np.clip(MOST_SECTIONS_TRIED // each, LEAST_RUNS_TRIED, MOST_RUNS_TRIED))
    if len(first) > most:
        chosen = np.unique(np.rint(np.linspace(0, len(first) - 1, most)).astype(int))
        first, last = first[chosen], last[chosen]
    return list(zip(first.tolist(), last.tolist(), strict=True))


def _lay(
    frame: Frame, offset: float, bands: list[Band], strip: BaseGeometry, target: BaseGeometry, inside: BaseGeometry
) -> LaidPass | None:
    """The pass at *offset*, its sections opened where the strip is and shut where target ends."""
    beside = _beside(frame, offset)
    if beside is None:
        return None
    own = Frame(beside, frame.beyond_m)
    reach = shapely.buffer(own.line, sum(right - left for _, left, right in bands) + frame.beyond_m)
    widest = max(max(abs(left), abs(right)) for _, left, right in bands)
    flat_strip, flat_target = (own.flat(ground & reach, widest) for ground in (strip, target))
    open_m = {}
    for section, left, right in bands:
        ranges = _open_ranges(flat_strip, flat_target, left, right)
        if ranges:
            open_m[section] = ranges
    if not open_m:
        return None
    laid = LaidPass(
        own.points, {k: tuple((a + own.beyond_m, b + own.beyond_m) for a, b in v) for k, v in open_m.items()}
    )
    low, high = laid.span
    driven = substring(own.line, low, high)
    if not shapely.covers(inside, driven):
        return None
    return laid


def shut_over(laid: LaidPass, beyond: list[BaseGeometry], sections_m: tuple[float, ...]) -> LaidPass | None:
    """*laid* with the sections (widths [m]) shut that pass over any of *beyond*; None when nothing stays open."""
    run_in = float(np.hypot(*(laid.line[1] - laid.line[0])))
    frame = Frame(laid.line[1:-1], run_in)
    edges = np.concatenate([[0.0], np.cumsum(sections_m)]) - sum(sections_m) / 2
    open_m = dict(laid.open_m)
    for ground in beyond:
        flat = frame.along_across(shapely.get_coordinates(ground))
        (low, left), (high, right) = flat.min(axis=0), flat.max(axis=0)
        shut = (low + run_in - SHUT_MARGIN_M, high + run_in + SHUT_MARGIN_M)
        for section, ranges in open_m.items():
            if edges[section - 1] < right + SHUT_MARGIN_M and edges[section] > left - SHUT_MARGIN_M:
                open_m[section] = _without(ranges, shut)
    open_m = {section: ranges for section, ranges in open_m.items() if ranges}
    return LaidPass(laid.line, open_m) if open_m else None


def _without(ranges: tuple[Range, ...], shut: Range) -> tuple[Range, ...]:
    """What is left of *ranges* outside *shut*, without pieces too short to open for."""
    left = [piece for a, b in ranges for piece in ((a, min(b, shut[0])), (max(a, shut[1]), b))]
    return tuple((a, b) for a, b in left if b - a >= LEAST_SPRAY_M)


def _beside(frame: Frame, offset: float) -> FloatArray | None:
    """The frame's line moved *offset* to the right, without what lies beyond its ends; None inside too tight a bend."""
    line = shapely.LineString(frame.points[1:-1])
    if len(frame.points) == 4:
        heading = frame.heading[0]
        shift = np.array([offset * math.cos(heading), -offset * math.sin(heading)])
        return np.asarray(shapely.get_coordinates(line) + shift)
    try:
        moved = shapely.offset_curve(line, -offset, join_style="mitre") if offset else line
    except shapely.errors.GEOSException:  # a way that bends back on itself has nothing beside it
        return None
    parts = [part for part in shapely.get_parts(moved) if not part.is_empty]
    return _distinct(shapely.get_coordinates(max(parts, key=lambda one: one.length))) if parts else None


def _distinct(line: FloatArray) -> FloatArray | None:
    """*line* (n, 2) without points that repeat the one before; None when no way is left. [m]"""
    kept = line[np.append([True], np.hypot(*np.diff(line, axis=0).T) > SAME_PLACE_M)]
    return kept if len(kept) > 1 and np.isfinite(kept).all() else None


def _open_ranges(strip: BaseGeometry, target: BaseGeometry, left: float, right: float) -> tuple[Range, ...]:
    """Where along the way a section from *left* to *right* is open."""
    low, _, high, _ = strip.bounds if not strip.is_empty else (0.0, 0.0, 0.0, 0.0)
    # a hair narrower: a lane that only touches the strip's or the target's edge neither meets nor leaves it
    lane = shapely.box(low, left + 1e-6, high, right - 1e-6)
    wanted = _joined(_spans(lane & strip), JOIN_ON_M)
    closed = _spans(shapely.difference(lane, target))
    ranges = tuple((a, b) for a, b in wanted if b - a >= LEAST_SPRAY_M)
    for shut in closed:
        ranges = _without(ranges, shut)
    return ranges


def _spans(ground: BaseGeometry) -> list[Range]:
    """Extent along the way of every part of *ground* that has an area, in order."""
    parts = [part for part in shapely.get_parts(ground) if part.area > 1e-9]
    return sorted((part.bounds[0], part.bounds[2]) for part in parts)


def _joined(ranges: list[Range], gap: float) -> list[Range]:
    joined: list[Range] = []
    for low, high in ranges:
        if joined and low - joined[-1][1] <= gap:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return joined


def _measure(
    passes: list[LaidPass], sections_m: tuple[float, ...], frame: Frame, flat_strip: BaseGeometry
) -> tuple[float, float]:
    """Area cured and area sprayed besides, by the lanes. [m2]"""
    edges = np.concatenate([[0.0], np.cumsum(sections_m)]) - sum(sections_m) / 2
    boxes, total = [], 0.0
    for one in passes:
        across = float(np.median(frame.along_across(one.line)[1:-1, 1]))
        shift = float(frame.along_across(one.line[1:2])[0, 0]) - frame.beyond_m
        for section, ranges in one.open_m.items():
            for low, high in ranges:
                box = shapely.box(low + shift, across + edges[section - 1], high + shift, across + edges[section])
                boxes.append(box)
                total += box.area
    cured = shapely.union_all(boxes).intersection(flat_strip).area
    return cured, total - cured


def boom_state(laid: LaidPass, sections: int, speed_m_s: float) -> tuple[BoomPath, Timeline]:
    """Path of the boom's centre and state of its sections along *laid*, driven at an even speed. [m/s]"""
    line = laid.line
    step = np.diff(line, axis=0)
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(step[:, 0], step[:, 1]))])
    course = np.unwrap(np.arctan2(step[:, 0], step[:, 1]))
    heading = np.concatenate([[course[0]], (course[1:] + course[:-1]) / 2, [course[-1]]])
    none = np.zeros(len(line), bool)
    path = BoomPath(travel / speed_m_s, line[:, 0], line[:, 1], heading, travel, none, none, none)
    moments = sorted({moment for ranges in laid.open_m.values() for one in ranges for moment in one})
    slots = []
    for low, high in pairwise(moments):
        middle = (low + high) / 2
        on = np.array(
            [any(a <= middle <= b for a, b in laid.open_m.get(k, ())) for k in range(1, sections + 1)], dtype=bool
        )
        if on.any():
            slots.append((low, high, on))
    stretch = np.concatenate([[0], np.cumsum([b[0] > a[1] for a, b in pairwise(slots)])]).astype(np.int64)
    start = np.array([slot[0] for slot in slots]) / speed_m_s
    end = np.array([slot[1] for slot in slots]) / speed_m_s
    return path, Timeline(start, end, np.array([slot[2] for slot in slots]), stretch)
