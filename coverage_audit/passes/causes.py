"""Where each missed strip and double patch lies, which passes made it, and how: one judgement for every paper."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .model import HEADLAND, STRAIGHT, Cause
from .strip_places import AT_NO_SPRAY, BETWEEN, EARLY_OFF, LATE_ON, ON_HEADLAND, lie
from .tolerances import (
    CAUSE_PASSES,
    CAUSE_WIDTHS,
    CROSSED_SHARE,
    DRAWN_PATH_M,
    ELONGATED,
    FAMILY_DEG,
    OFF_SHARE,
    OVER_WIDTHS,
    PARALLEL_DEG,
    SECTION_WIDTHS,
    SPACED_SHARE,
    SPACED_SLACK_M,
    SWITCHED_SHARE,
    SWITCHED_WELL_M,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.ground.model import Strip

    from .model import Pass
    from .strip_places import Lies, Surroundings


@dataclass(frozen=True)
class Record:
    """What is known of the boom along its way.

    ``time_s`` (n,), ``xy_m`` (n, 2): its centre's way. ``on_off_s`` (k, 2): stretches of spraying. ``gaps`` (m,):
    chords of the gaps of the log that the boom was on in. ``logged``: somebody logged or wrote down when it was on.
    ``sections``: into how many it is divided. Times [s since 1970 UTC], places and widths [m].
    """

    time_s: FloatArray
    xy_m: FloatArray
    on_off_s: FloatArray
    gaps: np.ndarray
    logged: bool
    width_m: float
    sections: int


@dataclass(frozen=True)
class _Near:
    """One pass near a finding: how far its line is, where along it, its direction and side there, and when it was."""

    one: Pass
    away_m: float
    at_m: float
    direction_rad: float
    side: float
    time_s: float


@dataclass(frozen=True)
class _Case:
    """One finding and all that is known about it: the passes near it, and those whose line runs over it."""

    strip: Strip
    lies: Lies
    near: list[_Near]
    over: list[_Near]
    in_gap_m: float
    record: Record

    def extent_m(self, direction_rad: float) -> float:
        """How long the finding is in a direction. [m]"""
        way = np.array([np.sin(direction_rad), np.cos(direction_rad)])
        return float(np.ptp(shapely.get_coordinates(self.strip.polygon) @ way))

    def cause(self, kind: str, where: str, passes: Sequence[_Near], amount_m: float, length_m: float) -> Cause:
        """The cause *kind*, laid to *passes*, told at the time of the last of them; *amount_m*, *length_m* [m]."""
        numbers = tuple(sorted({one.one.n for one in passes}))
        return Cause(kind, where, numbers, amount_m, length_m, max((one.time_s for one in passes), default=None))


def find_causes(
    strips: Sequence[Strip], passes: Sequence[Pass], around: Surroundings, record: Record
) -> dict[str, Cause]:
    """Where each finding lies and what made it, by its id."""
    numbered = [one for one in passes if one.kind in (HEADLAND, STRAIGHT) and one.line.length > 0]
    lines = shapely.simplify(np.array([one.line for one in numbered], dtype=object), DRAWN_PATH_M)
    near, over = _near(strips, numbered, lines, record), _over(strips, numbered, lines, record)
    gaps = _in_gaps(strips, record.gaps)
    cases = (
        _Case(strip, lies, near[k], over[k], gaps[k], record)
        for k, (strip, lies) in enumerate(zip(strips, lie(strips, around), strict=True))
    )
    return {case.strip.id: _double(case) if case.strip.max_visits else _missed(case) for case in cases}


# --- what is near ------------------------------------------------------------------------------------


def _near(strips: Sequence[Strip], numbered: Sequence[Pass], lines: np.ndarray, record: Record) -> list[list[_Near]]:
    """The passes nearest to the label of each finding, the nearest first."""
    points = np.array([strip.label_point for strip in strips], dtype=object)
    most = CAUSE_WIDTHS * record.width_m
    strip, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=most)
    away = shapely.distance(points[strip], lines[line])
    order = np.lexsort((away, strip))
    strip, line = strip[order], line[order]
    rank = np.arange(len(strip)) - np.searchsorted(strip, strip)
    strip, line = strip[rank < CAUSE_PASSES], line[rank < CAUSE_PASSES]
    return _by_strip(strip, _beside([numbered[k] for k in line], lines[line], points[strip], record), len(strips))


def _over(strips: Sequence[Strip], numbered: Sequence[Pass], lines: np.ndarray, record: Record) -> list[list[_Near]]:
    """The passes whose line runs over each finding: on missed ground the boom was not on there."""
    polygons = np.array([strip.polygon for strip in strips], dtype=object)
    strip, line = shapely.STRtree(lines).query(polygons, predicate="intersects")
    shared = shapely.intersection(lines[line], polygons[strip])
    inside = shapely.length(shared)
    order = np.lexsort((-inside, strip))
    wide = np.array([one.mean_width_m for one in strips])
    order = order[inside[order] >= CROSSED_SHARE * wide[strip[order]]]
    strip, line, middle = strip[order], line[order], shapely.centroid(shared[order])
    return _by_strip(strip, _beside([numbered[k] for k in line], lines[line], middle, record), len(strips))


def _by_strip(strip: IntArray, near: Sequence[_Near], count: int) -> list[list[_Near]]:
    """*near* in their order, parted by the number of the *strip* that each is near to."""
    found: list[list[_Near]] = [[] for _ in range(count)]
    for number, one in zip(strip.tolist(), near, strict=True):
        found[number].append(one)
    return found


def _in_gaps(strips: Sequence[Strip], gaps: np.ndarray) -> FloatArray:
    """How much of the longest gap of the log lies on each finding, (n,). [m]"""
    longest = np.zeros(len(strips))
    polygons = np.array([strip.polygon for strip in strips], dtype=object)
    strip, gap = shapely.STRtree(gaps).query(polygons, predicate="intersects")
    np.maximum.at(longest, strip, shapely.length(shapely.intersection(gaps[gap], polygons[strip])))
    return longest


def _beside(passes: Sequence[Pass], lines: np.ndarray, points: np.ndarray, record: Record) -> list[_Near]:
    """Each of *passes* as it lies beside its point, by its line; all of shape (n,)."""
    if not len(passes):
        return []
    at = shapely.line_locate_point(lines, points)
    a, b = (
        shapely.get_coordinates(shapely.line_interpolate_point(lines, np.maximum(at + step, 0.0)))
        for step in (-0.5, 0.5)
    )
    places = shapely.get_coordinates(points)
    way, off = b - a, places - a
    columns = (
        shapely.distance(lines, points),
        at,
        np.arctan2(way[:, 0], way[:, 1]),
        np.sign(way[:, 1] * off[:, 0] - way[:, 0] * off[:, 1]),
    )
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return [
        _Near(one, away, along, direction, side, _nearest_s(one, place, record))
        for one, place, (away, along, direction, side) in zip(passes, places, rows, strict=True)
    ]


def _nearest_s(one: Pass, place: FloatArray, record: Record) -> float:
    """When the vehicle was nearest to *place* (2,) on this pass. [s]"""
    first, last = np.searchsorted(record.time_s, [one.start_s, one.end_s])
    begin = min(int(first), len(record.time_s) - 1)
    span = slice(begin, max(int(last), begin + 1))
    nearest = int(((record.xy_m[span] - place) ** 2).sum(axis=1).argmin())
    return float(record.time_s[span][nearest])


# --- missed ground -----------------------------------------------------------------------------------


def _missed(case: _Case) -> Cause:
    strip, lies = case.strip, case.lies
    if case.in_gap_m >= CROSSED_SHARE * strip.mean_width_m:
        return case.cause("gap", lies.at, case.near[:1], case.in_gap_m, case.in_gap_m)
    off = _off_across(case) or _switched(case)
    if off is not None:
        return off
    if lies.edge:
        return case.cause(lies.at, lies.at, case.near[:1], strip.mean_width_m, strip.length_m)
    pair = _pair(case, 1.0)
    if pair is not None:
        return _between(case, pair, "spacing")
    if case.record.sections > 1 and case.near and case.near[0].away_m < SECTION_WIDTHS * case.record.width_m:
        extent = case.extent_m(case.near[0].direction_rad)
        return case.cause("section off", lies.at, case.near[:1], extent, extent)
    return case.cause("beside", lies.at, case.near[:1], strip.mean_width_m, strip.length_m)


def _off_across(case: _Case) -> Cause | None:
    """Ground that several passes went over with the boom off; None when they did not."""
    straight = [one for one in case.over if one.one.kind == STRAIGHT]
    if len({one.one.n for one in straight}) < 2:
        return None
    amount, length = case.strip.mean_width_m, case.strip.length_m
    if not case.record.logged:
        return case.cause("assumed off", case.lies.at, straight, amount, length)
    where = _when_off(case, straight[0])[1] if case.lies.at == BETWEEN else case.lies.at
    return case.cause("boom off across", where, straight, amount, length)


def _switched(case: _Case) -> Cause | None:
    """Ground that the boom passed over switched off: at an end of a pass, or amid it; None when it did not."""
    strip, lies = case.strip, case.lies
    candidates = [*case.over, *(one for one in case.near if one.one.kind == STRAIGHT and lies.switched)]
    if not candidates:
        return case.cause(lies.switched, lies.switched, case.near[:1], 0.0, strip.length_m) if lies.switched else None
    one = candidates[0]
    extent = case.extent_m(one.direction_rad)
    # across the boom it is a matter of switching; a skip that only touches such a place is not
    if not case.over and strip.area_m2 < SWITCHED_SHARE * case.record.width_m * extent:
        return None
    if not case.record.logged:
        return case.cause("assumed off", lies.at, [one], extent, extent)
    kind, where = _when_off(case, one)
    if kind == "section off" and case.record.sections == 1:
        return None  # the boom was on: a corner of its way, or a step back, left this ground
    told = {LATE_ON: one.one.on_late_m, EARLY_OFF: one.one.off_early_m}.get(kind)
    amount = told if told is not None and told > extent / 2 else extent
    return case.cause(kind, where, [one], amount, strip.length_m if kind in {LATE_ON, EARLY_OFF} else extent)


def _when_off(case: _Case, near: _Near) -> tuple[str, str]:
    """Kind and place of ground passed over unsprayed: before the boom came on, after it went off, or between."""
    one, on_off = near.one, case.record.on_off_s
    if (one.on_m or 0.0) < OFF_SHARE * one.length_m:
        return "boom off", case.lies.at
    if ((on_off[:, 0] < near.time_s) & (on_off[:, 1] > near.time_s)).any():
        return "section off", case.lies.at
    during = on_off[(on_off[:, 0] < one.end_s) & (on_off[:, 1] > one.start_s)]
    if near.time_s < during[0, 0]:
        return LATE_ON, LATE_ON
    return (EARLY_OFF, EARLY_OFF) if near.time_s > during[-1, 1] else ("boom off", EARLY_OFF)


# --- double ground -----------------------------------------------------------------------------------


def _double(case: _Case) -> Cause:
    strip, near = case.strip, case.near
    pair = _pair(case, -1.0)
    if pair is not None:
        return _between(case, pair, "overlap")
    over = [one for one in near if one.away_m < OVER_WIDTHS * case.record.width_m][:2]
    if {one.one.kind for one in over} == {HEADLAND, STRAIGHT}:
        return _at_headland(case, next(one for one in over if one.one.kind == STRAIGHT))
    if over:
        return case.cause("crossing", case.lies.at, over, strip.mean_width_m, strip.length_m)
    return case.cause("beside", case.lies.at, near[:1], strip.mean_width_m, strip.length_m)


def _at_headland(case: _Case, one: _Near) -> Cause:
    """Overlap of a pass with the headland: switched too wide, or a slanted end that has to overlap."""
    entering = one.at_m < one.one.line.length / 2
    told = one.one.on_late_m if entering else one.one.off_early_m
    amount = case.extent_m(one.direction_rad) if told is None else -told
    where = AT_NO_SPRAY if case.lies.at == AT_NO_SPRAY else ON_HEADLAND
    if amount < SWITCHED_WELL_M or not case.record.logged:
        return case.cause("slanted end", where, [one], case.strip.mean_width_m, case.strip.length_m)
    return case.cause("on early" if entering else "off late", where, [one], amount, case.strip.length_m)


# --- between two passes ------------------------------------------------------------------------------


def _between(case: _Case, pair: tuple[_Near, _Near], kind: str) -> Cause:
    where = ON_HEADLAND if any(one.one.kind == HEADLAND for one in pair) else BETWEEN
    return case.cause(kind, where, pair, case.strip.mean_width_m, case.strip.length_m)


def _pair(case: _Case, sense: float) -> tuple[_Near, _Near] | None:
    """The nearest two passes that run along the finding and along each other, one on either side of it.

    They must lie too far apart (*sense* 1) or too close (-1) by about as much as the finding is wide.
    """
    along = [one for one in case.near if _runs_along(case.strip, one)]
    for first, other in combinations(along, 2):
        most = PARALLEL_DEG if other.one.kind == first.one.kind else FAMILY_DEG
        turned = other.direction_rad - first.direction_rad
        opposite = np.cos(turned) * other.side * first.side < 0
        amiss = sense * (first.away_m + other.away_m - case.record.width_m)
        low, high = (1 - SPACED_SHARE) * case.strip.mean_width_m, (1 + SPACED_SHARE) * case.strip.max_width_m
        fits = low - SPACED_SLACK_M <= amiss <= high + SPACED_SLACK_M
        if fits and _axial_deg(turned) <= most and opposite and other.one.n != first.one.n:
            return first, other
    return None


def _runs_along(strip: Strip, one: _Near) -> bool:
    """Whether a finding runs the way that the pass runs beside it; one about as wide as long runs any way."""
    if strip.length_m < ELONGATED * strip.mean_width_m:
        return True
    step = min(strip.length_m / 4, CAUSE_WIDTHS * strip.mean_width_m)
    ends = shapely.line_interpolate_point(strip.line, strip.line.length / 2 + np.array([-step, step]))
    (x0, y0), (x1, y1) = shapely.get_coordinates(ends).tolist()
    return _axial_deg(float(np.arctan2(x1 - x0, y1 - y0)) - one.direction_rad) <= PARALLEL_DEG


def _axial_deg(turned_rad: float) -> float:
    """How far two directions differ, whichever way they are driven. [deg]"""
    return abs((float(np.degrees(turned_rad)) + 90) % 180 - 90)
