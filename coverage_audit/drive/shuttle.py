"""Which of the ways driven to and fro over one line were driven in reverse, and whether the log can tell.

A vehicle that sprays a way, backs up over it and goes on to the next leaves a log that reads from either end: every way
forwards is then one in reverse. What each single way costs says nothing there; what is known of all of them does.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .retraced import Line, blocks, goes_back, lines, turning_points
from .tolerances import (
    BACK_BASE_M,
    BACK_BY_BEGIN,
    BACK_BY_BOOM,
    BACK_BY_END,
    BACK_BY_LENGTH,
    BACK_BY_SPEED,
    BACK_NEAR_M,
    BACK_SPEEDS,
    BACK_SURE,
    LEAST_BACK_M,
    READ_ALIKE,
    TURNING_RADIUS_M,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


HALF = 0.5
"""A way is what the greater part of it is. [1]"""


class Reading(NamedTuple):
    """First fix after each reversal (m,), whether each fix is driven in reverse (n,), first and last fix of doubts."""

    cusps: IntArray
    reverse: BoolArray
    doubts: tuple[tuple[int, int], ...] = ()


class _Way(NamedTuple):
    """One way between two reversals: first fix, one past the last; its length [m]; its pace, standing left out [m/s].

    ``on``: share of it that was sprayed, None where nobody noted it; ``back``: share read as driven in reverse. [1]
    """

    first: int
    last: int
    length_m: float
    pace_m_s: float
    on: float | None
    back: float


def settled(
    time: FloatArray, x: FloatArray, y: FloatArray, run: IntArray, read: Reading, on_s: FloatArray | None
) -> Reading:
    """The reading *read*, with ways to and fro over one line read by what is known of all of them.

    Parameters
    ----------
    time, x, y : (n,) float
        Fixes, scatter of standing taken out. [s], [m]
    run : (n,) int
        Number of the run between gaps.
    on_s : (k, 2) float, optional
        When the boom was on, in time order; None where nobody noted it. [s]
    """
    reverse = read.reverse.copy()
    doubts = []
    for line in lines(time, x, y, run):
        bounds = turning_points(line, read.cusps)
        for first, last in blocks(goes_back(line, bounds)):
            points = bounds[first : last + 1]
            fixes = [_turning_fix(line, k, read.cusps, x, y) for k in points]
            spans = zip(pairwise(points), pairwise(fixes), strict=True)
            ways = [_way(line, at, ends, read.reverse, on_s) for at, ends in spans]
            known = _known(ways, (fixes[0], fixes[-1]), (line.first, line.last), read.reverse)
            back, unsure = _read_anew(ways, known)
            if unsure:
                doubts.append((fixes[0], fixes[-1] - 1))
            for one, driven_back in zip(ways, back, strict=False):
                reverse[one.first : one.last] = driven_back
    if np.array_equal(reverse, read.reverse):
        return Reading(read.cusps, reverse, tuple(doubts))
    turned = np.flatnonzero((np.diff(reverse.astype(np.int8)) != 0) & (np.diff(run) == 0)) + 1
    return Reading(turned, reverse, tuple(doubts))


def _read_anew(ways: list[_Way], known: float) -> tuple[tuple[bool, ...], bool]:
    """Which of *ways* were driven in reverse, none where they were read so already; and whether that is unsure."""
    if len({one.back > HALF for one in ways}) == 1 and not _no_room(ways):
        # each a turn on the spot, as it was read: it matters where both ways were sprayed
        return (), any((one.on or 0.0) > HALF and (other.on or 0.0) > HALF for one, other in pairwise(ways))
    back = _cheapest(ways, first_back=known < 0)
    alike = all((one.back if each else 1 - one.back) >= READ_ALIKE for one, each in zip(ways, back, strict=True))
    return () if alike else back, abs(known) < BACK_SURE or any(one == other for one, other in pairwise(back))


def _cheapest(ways: list[_Way], *, first_back: bool) -> tuple[bool, ...]:
    """Which of *ways* were driven in reverse: by turns, unless that asks more of the boom than a turn on the spot does.

    Where a turn passes for a reversal, ways sprayed and not sprayed change places behind it. The cheapest path through
    two states (Viterbi 1967).
    """
    turns = [ways[int(first_back) :: 2], ways[1 - int(first_back) :: 2]]
    usual = [float(np.median([one.on or 0.0 for one in each])) for each in turns]
    noted = BACK_BY_BOOM * all(one.on is not None for one in ways)
    stories: list[tuple[float, tuple[bool, ...]]]
    stories = [(math.pi * (first_back != bool(state)), (bool(state),)) for state in (0, 1)]
    for number, one in enumerate(ways):
        own = [noted * abs((one.on or 0.0) - usual[state]) for state in (0, 1)]
        if number:
            ways_on = [
                [(cost + math.pi * (told[-1] == bool(state)), told) for cost, told in stories] for state in (0, 1)
            ]
            best = [min(each) for each in ways_on]
            stories = [(cost, (*told, bool(state))) for state, (cost, told) in enumerate(best)]
        stories = [(cost + own[state], told) for state, (cost, told) in enumerate(stories)]
    return min(stories)[1]


def _no_room(ways: list[_Way]) -> bool:
    """Whether nothing turned round at the ends of *ways*: three or more, and fixes so close that a turn would show."""
    return len(ways) > 2 and all(one.length_m <= 2 * TURNING_RADIUS_M * (one.last - one.first) for one in ways)


def _way(
    line: Line, points: tuple[int, int], ends: tuple[int, int], reverse: BoolArray, on_s: FloatArray | None
) -> _Way:
    begin, end = points
    quarter = (end - begin) // 4
    took_s = float(line.time[end - quarter] - line.time[begin + quarter])
    inner = slice(begin, end)
    on = None
    if on_s is not None:
        started = np.searchsorted(on_s[:, 0], line.time[inner], "right")
        on = float((started > np.searchsorted(on_s[:, 1], line.time[inner], "right")).mean())
    pace = (end - begin - 2 * quarter) / max(took_s, 1e-3)
    return _Way(*ends, float(end - begin), pace, on, float(reverse[line.fix[inner]].mean()))


def _known(ways: list[_Way], ends: tuple[int, int], whole: tuple[int, int], reverse: BoolArray) -> float:
    """What speaks for the first of *ways*, the third and so on being driven forwards, less what is against it. [rad]

    In the currency of ``find_reversals``: turning on the spot costs its angle. No source: common practice.

    Parameters
    ----------
    ends, whole : (int, int)
        First fix and one past the last of all *ways*, and of the run that they lie in.
    """
    ahead, back = ways[::2], ways[1::2]
    length, other = (sum(one.length_m for one in each) for each in (ahead, back))
    found = BACK_BY_LENGTH * math.log(length / other)
    pace = math.log(float(np.median([one.pace_m_s for one in ahead]) / np.median([one.pace_m_s for one in back])))
    found += BACK_BY_SPEED * max(-1.0, min(1.0, pace / math.log(BACK_SPEEDS)))
    if all(one.on is not None for one in ways):
        on, behind = (sum((one.on or 0.0) * one.length_m for one in each) for each in (ahead, back))
        found += BACK_BY_BOOM * (on - behind) / max(on + behind, LEAST_BACK_M)
    last = 1.0 if len(ways) % 2 else -1.0
    if ends[0] > whole[0]:  # unless it turned on the spot, what came before went the other way
        found += math.pi if reverse[ends[0] - 1] else -math.pi
    elif whole[0] == 0:
        found += BACK_BY_BEGIN
    if ends[1] < whole[1]:
        found += last * (math.pi if reverse[ends[1]] else -math.pi)
    elif whole[1] == len(reverse):
        found += last * BACK_BY_END
    return found


def _turning_fix(line: Line, point: int, cusps: IntArray, x: FloatArray, y: FloatArray) -> int:
    """First fix after the turning point at *point* of the line: as it was read, else where the way reaches farthest."""
    if point == 0:
        return line.first
    if point == len(line.place) - 1:
        return line.last
    low = int(line.fix[max(point - BACK_NEAR_M, 0)]) + 1
    high = int(line.fix[min(point + BACK_NEAR_M, len(line.fix) - 1)])
    near = cusps[(cusps >= low) & (cusps <= high)]
    if len(near):
        return int(near[np.abs(near - line.fix[point]).argmin()])
    before = line.place[point] - line.place[max(point - BACK_BASE_M, 0)]
    out = before / np.hypot(*before)
    reach = x[low : high + 1] * out[0] + y[low : high + 1] * out[1]
    return low + int(np.argmax(reach)) + 1 if len(reach) else int(line.fix[point])
