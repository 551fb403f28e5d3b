"""Where the vehicle stood: the scatter of a standing receiver is no driving, whatever the boom does meanwhile."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from .smoothing import scatter_m
from .tolerances import (
    CUSP_SAMPLE_S,
    HEADING_NOISE_SHARE,
    HEADING_SPEED_M_S,
    JITTER_M,
    MAX_SMOOTHING_S,
    MIN_WINDOW_FIXES,
    SAME_WAY_DEG,
    SCATTER_MIDDLE_S,
    SCATTER_NOISES,
    SCATTER_REACH,
    SCATTER_SHARE,
    SCATTER_WINDOWS_S,
    STAND_SPEED_M_S,
    STAND_WINDOW_S,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .model import Track


_ROUNDING = 1e-9  # a box may come out smaller than its ends lie apart, by rounding


def held_places(track: Track) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Positions with the scatter of a standing vehicle taken out, and where they say nothing of its heading.

    A stand is a time in which the fixes half a window before and after lie closer than standing
    speed allows; through it the position goes straight from its first fix to its last. Where the
    fixes scatter more than that, it takes a longer window to tell: such a stand goes straight from
    the middle of its first fixes to the middle of its last, and the steps into and out of it are
    as much scatter as way. Otherwise jitter would add up to a journey.
    """
    time, x, y = track.time_s, track.x_m, track.y_m
    quiet = _quiet(time, x, y)
    held_x, held_y = x.copy(), y.copy()
    vague = np.zeros(len(time), bool)
    for start, stop in _stands(time, quiet):
        ends = [time[start], time[stop - 1]]
        held_x[start:stop] = np.interp(time[start:stop], ends, [x[start], x[stop - 1]])
        held_y[start:stop] = np.interp(time[start:stop], ends, [y[start], y[stop - 1]])
    _, moved = _going_on(time, x, y)
    # a dense log is smoothed over its noise; in a slower one every fix of a restless stand looks like driving
    smoothed = float(np.median(np.diff(time))) * (MIN_WINDOW_FIXES - 1) / 2 <= MAX_SMOOTHING_S
    restless = np.inf if smoothed else HEADING_NOISE_SHARE * _least_move(time)
    noise = SCATTER_NOISES * scatter_m(x, y, np.zeros(len(time), int))
    stands = [
        _whole_stand(time, x, y, (start, stop), noise)
        for start, stop in _stands(time, quiet | _scattered(time, x, y))
        if not quiet[start:stop].all() or moved[stop - 1] - moved[start] > restless * (stop - 1 - start)
    ]
    for first, last in _joined(stands):
        stand = slice(first, last)
        held_x[stand], held_y[stand] = _middle_to_middle(time[stand], x[stand], y[stand])
        vague[max(first - 1, 0) : last + 1] = True
    return held_x, held_y, vague


def _whole_stand(
    time: FloatArray, x: FloatArray, y: FloatArray, run: tuple[int, int], noise_m: float
) -> tuple[int, int]:
    """The fixes *run* (first, one after the last) and those beside them that lie within their scatter, or *noise_m*.

    Of the fixes up to half the longest window away, most of those between lie within it, too: one that strays
    does not part the stand.
    """
    first, last = run
    place = _middle_to_middle(time[first:last], x[first:last], y[first:last])
    off = np.hypot(x[first:last] - place[0], y[first:last] - place[1])
    old = time[first:last]
    far_s = SCATTER_WINDOWS_S[-1] / 2
    before = np.arange(first - 1, np.searchsorted(time, old[0] - far_s) - 1, -1)
    behind = np.arange(last, np.searchsorted(time, old[-1] + far_s, side="right"))
    joined = []
    for there, near, end in (
        (before, old - old[0] <= SCATTER_MIDDLE_S, 0),
        (behind, old[-1] - old <= SCATTER_MIDDLE_S, -1),
    ):
        farthest = float(off[near].max())
        reach = max(min(SCATTER_REACH * farthest, max(JITTER_M, farthest)), noise_m)
        within = np.hypot(x[there] - place[0][end], y[there] - place[1][end]) <= reach
        share = np.cumsum(within) / np.arange(1, len(within) + 1)
        joined.append(int(np.flatnonzero(within & (share >= SCATTER_SHARE)).max(initial=-1)) + 1)
    return first - joined[0], last + joined[1]


def _joined(stands: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Stands (first fix, one after the last) in order, those that overlap made one."""
    joined: list[tuple[int, int]] = []
    for first, last in sorted(stands):
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return joined


def _quiet(time: FloatArray, x: FloatArray, y: FloatArray) -> BoolArray:
    """Where the vehicle stands by the fixes half a window before and after."""
    before, after = _window(time, STAND_WINDOW_S)
    span = np.maximum(time[after] - time[before], 1e-9)
    slow = np.hypot(x[after] - x[before], y[after] - y[before]) < STAND_SPEED_M_S * span
    return np.asarray(slow & (span <= 2 * STAND_WINDOW_S))  # across a gap nothing is known


def _scattered(time: FloatArray, x: FloatArray, y: FloatArray) -> BoolArray:
    """Where all fixes of a longer window lie so close that standing speed would need all of it to cross them.

    A vehicle that pivots on the spot stays as close, but each of its moves goes on in much the direction of the last.
    """
    found = np.zeros(len(time), bool)
    agreeing, moved = _going_on(time, x, y)
    least = _least_move(time)
    for window_s in SCATTER_WINDOWS_S:
        before, after = _window(time, window_s)
        span = time[after] - time[before]
        close = places_close(x, y, before, after, STAND_SPEED_M_S * np.minimum(span, window_s))
        along, way = agreeing[after] - agreeing[before], moved[after] - moved[before]
        driven = (along > math.cos(math.radians(SAME_WAY_DEG)) * way) & (way > least * (after - before))
        found |= close & ~driven & (span <= 2 * window_s)
    return found


def places_close(x: FloatArray, y: FloatArray, first: IntArray, last: IntArray, across_m: FloatArray) -> BoolArray:
    """Where the places from *first* to *last* (included) lie within *across_m* of one another, by their box.

    Only those whose ends do are looked at: a vehicle that drives is soon farther.
    """
    close = np.hypot(x[last] - x[first], y[last] - y[first]) <= across_m * (1 + _ROUNDING)
    rows = np.flatnonzero(close)
    if len(rows):
        span = first[rows], last[rows]
        close[rows] = np.hypot(_extent(x, *span), _extent(y, *span)) <= across_m[rows]
    return np.asarray(close)


def _extent(values: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Greatest less least of *values* from *first* to *last* (included), shape (m,).

    From extremes over runs of 1, 2, 4 ... values, two of which cover any run (sparse table, textbook): the work does
    not grow with the runs.
    """
    level = np.log2(last - first + 1).astype(int)
    extent = np.zeros(len(first))
    high = low = values
    for k in range(int(level.max(initial=0)) + 1):
        rows = np.flatnonzero(level == k)
        a, b = first[rows], last[rows] - 2**k + 1
        extent[rows] = np.maximum(high[a], high[b]) - np.minimum(low[a], low[b])
        high, low = np.maximum(high[: -(2**k)], high[2**k :]), np.minimum(low[: -(2**k)], low[2**k :])
    return extent


def _going_on(time: FloatArray, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Running sums of how far each short move goes on in the direction of the next, and of its square. [m2]"""
    ahead = np.minimum(np.searchsorted(time, time + CUSP_SAMPLE_S, side="left"), len(time) - 1)
    near = time[ahead] - time <= STAND_WINDOW_S
    dx, dy = np.where(near, x[ahead] - x, 0.0), np.where(near, y[ahead] - y, 0.0)
    agreeing = np.cumsum(dx * dx[ahead] + dy * dy[ahead])
    return agreeing, np.cumsum(dx**2 + dy**2)


def _least_move(time: FloatArray) -> float:
    """Square of the short move below which the direction of travel is scatter. [m2]"""
    return float(HEADING_SPEED_M_S * max(CUSP_SAMPLE_S, float(np.median(np.diff(time))))) ** 2


def _window(time: FloatArray, window_s: float) -> tuple[IntArray, IntArray]:
    """The fixes at least half of *window_s* before and after each fix, or the first and last."""
    last = len(time) - 1
    before = np.clip(np.searchsorted(time, time - window_s / 2, side="right") - 1, 0, last)
    return before, np.clip(np.searchsorted(time, time + window_s / 2, side="left"), 0, last)


def _stands(time: FloatArray, standing: BoolArray) -> list[tuple[int, int]]:
    """First fix and the one after the last of each run of *standing* that lasts long enough."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], standing, [False]]).astype(np.int8))).tolist()
    runs = zip(edges[::2], edges[1::2], strict=True)
    return [(start, stop) for start, stop in runs if time[stop - 1] - time[start] >= STAND_WINDOW_S]


def _middle_to_middle(time: FloatArray, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Straight from the mean place of a stand's first fixes to that of its last: receivers drift."""
    reach = SCATTER_MIDDLE_S
    first, last = time <= time[0] + reach, time >= time[-1] - reach
    ends = [float(time[first].mean()), float(time[last].mean())]
    if ends[1] <= ends[0] or time[-1] - time[0] <= reach:
        return np.full(len(x), x.mean()), np.full(len(y), y.mean())
    return np.interp(time, ends, [x[first].mean(), x[last].mean()]), np.interp(
        time, ends, [y[first].mean(), y[last].mean()]
    )
