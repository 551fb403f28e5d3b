"""From the antenna's motion and the boom's state to the ground swept.

First the boom's own path (lever arm, hitch), then boom lines across it, then pieces of swept
ground. A piece is a polygon in which every spot was swept exactly once, so that counting
pieces counts sweeps.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.model import BoomPath
from coverage_audit.drive.tolerances import SAME_WAY_DEG, STANDING_STEP_M
from coverage_audit.errors import InputError

from .cuts import cut_times
from .model import BoomLines
from .tolerances import (
    BRIDGE_TURN_DEG,
    BRIDGE_WIDTHS,
    CUT_STEP_M,
    MAX_THIN_M,
    MOST_AXLE_AHEAD_M,
    MOST_AXLE_BEHIND_M,
    MOST_THIN_WIDTHS,
    SLIDING_DEG,
    SLIDING_M,
    SLIDING_SHARE,
    THIN_M,
    THIN_NOISE_SHARE,
    THIN_STRIDE,
    THIN_WIDTH_M,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.model import Motion, Timeline
    from coverage_audit.jobs.settings import BoomSettings


def boom_path(motion: Motion, settings: BoomSettings) -> BoomPath:
    """Path of the boom's centre: the antenna moved back and sideways along the heading (plane rotation, textbook)."""
    ahead = settings.antenna_ahead_m or 0.0
    heading = motion.heading_rad
    if settings.axle_behind_antenna_m:
        heading = _axle_heading(motion, settings.axle_behind_antenna_m)
    back, side = ahead, settings.antenna_right_m
    x = motion.x_m - back * np.sin(heading) - side * np.cos(heading)
    y = motion.y_m - back * np.cos(heading) + side * np.sin(heading)
    if settings.towed_m:
        hitch = ahead - settings.towed_m
        hitch_x = motion.x_m - hitch * np.sin(heading) - side * np.cos(heading)
        hitch_y = motion.y_m - hitch * np.cos(heading) + side * np.sin(heading)
        heading = _follow(motion, hitch_x, hitch_y, settings.towed_axle_m or settings.towed_m, heading)
        x = hitch_x - settings.towed_m * np.sin(heading)
        y = hitch_y - settings.towed_m * np.cos(heading)
    step = np.hypot(np.diff(x), np.diff(y))
    gap = motion.gap_after
    turned = np.append(np.abs(np.diff(heading)), 0.0)
    short = np.append(step, 0.0) < BRIDGE_WIDTHS * settings.width_m
    bridged = gap & (turned < math.radians(BRIDGE_TURN_DEG)) & short
    return BoomPath(
        motion.time_s,
        x,
        y,
        heading,
        np.concatenate([[0.0], np.cumsum(step)]),
        gap & ~bridged,
        bridged,
        motion.reverse,
        motion.fixes,
    )


def _axle_heading(motion: Motion, behind_m: float) -> FloatArray:
    """Heading of a vehicle whose fixed axle is *behind_m* behind the antenna (negative: ahead of it).

    Raises
    ------
    InputError
        So long a vehicle is not built, or none could have driven this way without its axle sliding sideways.
    """
    side = "behind" if behind_m > 0 else "ahead of"
    refused = f"the fixed axle cannot lie {abs(behind_m):g} m {side} the antenna"
    if not -MOST_AXLE_AHEAD_M <= behind_m <= MOST_AXLE_BEHIND_M:
        limits = f"at most {MOST_AXLE_BEHIND_M:g} m behind and {MOST_AXLE_AHEAD_M:g} m ahead of it"
        raise InputError(f"{refused} of a vehicle; it must lie {limits}", "boom.axle_behind_antenna")
    heading = _follow(motion, motion.x_m, motion.y_m, behind_m)
    slid = _slid_m(motion, heading)
    if slid > max(SLIDING_M, SLIDING_SHARE * float(np.hypot(np.diff(motion.x_m), np.diff(motion.y_m)).sum())):
        raise InputError(
            f"{refused}: over {slid:.0f} m the track turns so tightly that such a vehicle would have been dragged "
            "backwards. Measure from the antenna to the axle that does not steer, or leave this key out",
            "boom.axle_behind_antenna",
        )
    return heading


def _slid_m(motion: Motion, heading: FloatArray) -> float:
    """How far a vehicle with this *heading* was dragged backwards by a turn too tight for it. [m]

    Where the track turns back at once it reversed, seen or not: that is no turn, and does not count.
    """
    dx, dy = np.diff(motion.x_m), np.diff(motion.y_m)
    step = np.hypot(dx, dy)
    ahead = (dx * np.sin(heading[:-1]) + dy * np.cos(heading[:-1])) / np.maximum(step, STANDING_STEP_M)
    forward = ~(motion.reverse[1:] | motion.reverse[:-1] | motion.gap_after[:-1]) & (step > STANDING_STEP_M)
    dragged = forward & (ahead < -math.sin(math.radians(SLIDING_DEG)))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], dragged, [False]]).astype(np.int8)))
    runs = zip(edges[::2], edges[1::2], strict=True)
    return float(sum(step[a:b].sum() for a, b in runs if a and ahead[a - 1] < math.cos(math.radians(SAME_WAY_DEG))))


def _follow(
    motion: Motion, x: FloatArray, y: FloatArray, length_m: float, ahead_heading: FloatArray | None = None
) -> FloatArray:
    """Heading of a rigid bar of *length_m* whose front end follows x, y and whose rear rolls: a tractrix.

    A negative length is a bar whose rear end follows and whose front rolls: what is stable forwards for the one is
    stable backwards for the other.

    Each straight step is solved exactly: tan(d/2) shrinks by exp(-step / length), d being the
    angle between bar and travel (the classical tractrix). Going backwards the bar swings out
    and a forward solution runs away from the truth, so reverse parts are solved backwards in
    time, where it is stable. Each part starts from the angle of steady turning.
    """
    start = motion.heading_rad if ahead_heading is None else ahead_heading
    dx, dy = np.diff(x), np.diff(y)
    step = np.hypot(dx, dy)
    # a step that goes against the heading goes backwards, whatever part it lies in
    sign = np.where(dx * np.sin(start[:-1]) + dy * np.cos(start[:-1]) < 0, -1.0, 1.0)
    course = np.arctan2(sign * dx, sign * dy)
    shrink = np.exp(-step / abs(length_m))
    result = np.unwrap(start).astype(float).copy()
    breaks = np.flatnonzero(motion.gap_after[:-1] | (np.diff(motion.reverse.astype(np.int8)) != 0)) + 1
    bounds = [0, *breaks.tolist(), len(x)]
    previous: float | None = None
    for first, last in pairwise(bounds):
        reversing = bool(motion.reverse[first])
        backwards = reversing != (length_m < 0)
        order = range(last - 2, first - 1, -1) if backwards else range(first, last - 1)
        begin = last - 1 if backwards else first
        fresh = previous is None or backwards or bool(motion.gap_after[first - 1])
        angle = float(previous or 0.0)
        if fresh:
            turning = _steady(course, step, begin, (first, last - 1), length_m, -1.0 if reversing else 1.0)
            angle = float(result[begin])
            angle += math.remainder(turning - angle, 2 * math.pi) if turning is not None else 0.0
        result[begin] = angle
        for k in order:
            if step[k] > 0:
                lag = math.remainder(course[k] - angle, 2 * math.pi)
                angle += lag - 2 * math.atan(math.tan(lag / 2) * shrink[k]) if abs(lag) < 3.1 else 0.0
            result[k if backwards else k + 1] = angle
        previous = float(result[last - 1])
    return np.unwrap(result)


def _steady(
    course: FloatArray, step: FloatArray, at: int, part: tuple[int, int], length_m: float, sense: float
) -> float | None:
    """Heading of the bar at point *at* were the turn there steady: it lags by asin(length / radius).

    A line is laid through the course over the bar's length about the point, within *part* (first
    and last point); *sense* is -1 in reverse, where time runs against the way. None where the
    vehicle does not move.
    """
    low = high = at
    reach = 0.0
    while reach < abs(length_m) and (low > part[0] or high < part[1]):
        if low > part[0]:
            low -= 1
            reach += float(step[low])
        if high < part[1]:
            reach += float(step[high])
            high += 1
    used = np.arange(low, high)[step[low:high] > STANDING_STEP_M]
    if not len(used):
        return None
    way = np.concatenate([[0.0], np.cumsum(step[low:high])])
    middle = sense * ((way[:-1] + way[1:]) / 2 - way[at - low])[used - low]
    direction = np.unwrap(course[used])
    if len(used) < 3:
        return float(direction[np.abs(middle).argmin()])
    curvature, here = np.polyfit(middle, direction, 1, w=step[used])
    return float(here) - math.asin(max(-0.9, min(0.9, float(curvature) * length_m)))


def on_lines(
    path: BoomPath,
    timeline: Timeline,
    sections_m: tuple[float, ...],
    fine_m: float = CUT_STEP_M,
    coarser: float = 1.0,
) -> list[BoomLines]:
    """Boom lines of every slot, ends interpolated at the moment of switching; *sections_m* from left to right. [m]

    *fine_m*: how close lines have to lie where the boom comes back over ground that it has just swept [m]; *coarser*:
    how many times as far apart where that is too many [1].
    """
    edges = np.concatenate([[0.0], np.cumsum(sections_m)]) - sum(sections_m) / 2
    cut_s = cut_times(path, timeline, sum(sections_m), fine_m, coarser)
    times = np.union1d(path.time_s, cut_s)
    result = []
    for start, end, on, stretch in zip(timeline.start_s, timeline.end_s, timeline.on, timeline.stretch, strict=True):
        first, last = np.searchsorted(times, start, "right"), np.searchsorted(times, end, "left")
        moments = np.concatenate([[start], times[first:last], [end]])
        step = np.clip(np.searchsorted(path.time_s, moments, "right") - 1, 0, len(path.time_s) - 2)
        x, y, heading, travel = (
            np.interp(moments, path.time_s, column) for column in (path.x_m, path.y_m, path.heading_rad, path.travel_m)
        )
        gap, bridged = path.gap_after[step], path.bridged_after[step]
        gap[-1] = bridged[-1] = False
        cut, parts = among(moments, cut_s), _spraying_parts(edges, on)
        result.append(BoomLines(x, y, heading, travel, gap, bridged, cut, parts, int(stretch)))
    return result


def among(moments: FloatArray, chosen: FloatArray) -> BoolArray:
    """Which of *moments* are among *chosen*, which are in order."""
    place = np.minimum(np.searchsorted(chosen, moments), len(chosen) - 1)
    return np.asarray(chosen[place] == moments) if len(chosen) else np.zeros(len(moments), bool)


def _spraying_parts(edges: FloatArray, on: BoolArray) -> tuple[tuple[float, float], ...]:
    """(left, right) offsets of each unbroken run of open sections."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    return tuple((float(edges[a]), float(edges[b])) for a, b in zip(change[::2], change[1::2], strict=True))


def thin(all_lines: Sequence[BoomLines], within_m: float) -> list[BoomLines]:
    """Boom lines without those that lie within *within_m* [m] of the one interpolated by travel.

    Both outermost tips are held to it; ends of slots and gaps, and cuts, stay. Every span is
    split at its worst line until none is off (Douglas & Peucker 1973, on two tips at once).
    """
    count = np.array([len(lines.x_m) for lines in all_lines])
    ends = np.cumsum(count)
    outer = [(lines.offsets_m[0][0], lines.offsets_m[-1][1]) for lines in all_lines]
    tips = [
        np.concatenate([lines.tips(pair[side])[:, axis] for lines, pair in zip(all_lines, outer, strict=True)])
        for side in (0, 1)
        for axis in (0, 1)
    ]
    special = np.concatenate([lines.gap_after | lines.bridged_after | lines.cut for lines in all_lines])
    travel = np.concatenate([lines.travel_m for lines in all_lines])
    keep = special.copy()
    keep[1:] |= special[:-1]
    keep[::THIN_STRIDE] = True  # only saves rounds
    keep[ends - 1] = keep[ends - count] = True
    # a standing boom, and the step from slot to slot, must not divide by nothing
    travel = travel + np.arange(len(travel)) * 1e-9
    while len(peaks := _worst_off(tips, travel, np.flatnonzero(keep), within_m)):
        keep[peaks] = True
    return [lines.take(part) for lines, part in zip(all_lines, np.split(keep, ends[:-1]), strict=True)]


def _worst_off(tips: list[FloatArray], travel: FloatArray, knots: IntArray, within_m: float) -> IntArray:
    """Index of the worst line of each span between *knots* that has any more than *within_m* off.

    *tips* are the x and y of the left tips and of the right ones, each of shape (n,): kept apart,
    since whole columns are read twice as fast as rows.
    """
    wide = np.diff(knots) > 1
    first, last = knots[:-1][wide], knots[1:][wide]
    spans = last - first - 1
    if not len(spans):
        return spans
    starts = np.cumsum(spans) - spans
    inner = np.arange(spans.sum()) + np.repeat(first + 1 - starts, spans)
    pace = 1.0 / (travel[last] - travel[first])
    share = (travel[inner] - np.repeat(travel[first], spans)) * np.repeat(pace, spans)
    squares = []
    for column in tips:
        off = column[inner]
        off -= np.repeat(column[first], spans)
        off -= share * np.repeat(column[last] - column[first], spans)
        squares.append(off * off)
    worst = np.maximum(squares[0] + squares[1], squares[2] + squares[3])
    top = np.maximum.reduceat(worst, starts)
    too_far = np.where(top > within_m**2, top, np.inf)
    return inner[worst >= np.repeat(too_far, spans)]


def thinning_m(noise_m: float, width_m: float) -> float:
    """How far the lines of a boom of *width_m* may be off their interpolation, given the fixes' white noise. [m]"""
    within = float(np.clip(np.nan_to_num(noise_m) * THIN_NOISE_SHARE, THIN_M, MAX_THIN_M))
    return min(within * min(1.0, width_m / THIN_WIDTH_M), MOST_THIN_WIDTHS * width_m)


def switching_lines(all_lines: list[BoomLines], aside_m: float) -> tuple[FloatArray, FloatArray]:
    """Boom lines (n, 2, 2) where stretches begin and end, moved *aside_m* off the swept ground. [m]"""
    begun: list[FloatArray] = []
    ended: list[FloatArray] = []
    for index, lines in enumerate(all_lines):
        fresh = index == 0 or all_lines[index - 1].stretch != lines.stretch
        done = index == len(all_lines) - 1 or all_lines[index + 1].stretch != lines.stretch
        for at, wanted, store in ((0, fresh, begun), (-1, done, ended)):
            if wanted:
                ends = [lines.tips(lines.offsets_m[0][0])[at], lines.tips(lines.offsets_m[-1][1])[at]]
                away = -1.0 if at == 0 else 1.0
                other = 1 if at == 0 else -2
                way = np.array([lines.x_m[other] - lines.x_m[at], lines.y_m[other] - lines.y_m[at]])
                ahead = np.array([np.sin(lines.heading_rad[at]), np.cos(lines.heading_rad[at])])
                sense = np.sign(way @ ahead) * (1.0 if at == 0 else -1.0) or 1.0
                store.append(np.array(ends) + away * sense * aside_m * ahead)
    return np.array(begun).reshape(-1, 2, 2), np.array(ended).reshape(-1, 2, 2)


def backed_up_m(path: BoomPath) -> float:
    """Longest unbroken way driven in reverse. [m]"""
    step = np.diff(path.travel_m)
    backing = path.reverse[:-1] & path.reverse[1:]
    run = np.cumsum(np.diff(backing.astype(np.int8), prepend=0) != 0)
    return float(np.bincount(run[backing], weights=step[backing]).max()) if backing.any() else 0.0
