"""Fixes as logged to fixes that can be used: ordered, in plane metres, gaps marked.

Nothing is dropped silently: every fix that is not used is counted under a reason.
"""

from __future__ import annotations

from bisect import bisect_left
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.tolerances import LATEST_TIME_S

from .machines import refuse_two_machines
from .model import Track
from .tolerances import (
    ALONE_S,
    CLOCK_NOISE_S,
    EARLIEST_JOB_S,
    GAP_STEPS,
    ISLAND_S,
    MAX_FIELD_DISTANCE_M,
    MAX_SPEED_M_S,
    MOVED_FIXES,
    SPIKE_ACCELERATION_M_S2,
    SPIKE_NOISE_M,
    SPIKE_SCATTERS,
    SPIKE_SHADOW,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.read.records import TrackLog


def clean_track(
    logs: tuple[TrackLog, ...], to_metres: ToMetres, clock_offset_s: float, max_gap_s: float
) -> tuple[Track, tuple[dict[str, int], ...]]:
    """One track from *logs*, and for each log the fixes dropped here, by reason.

    Parameters
    ----------
    clock_offset_s : float
        Added to every time of the logs. [s]
    max_gap_s : float
        A step is a gap when it is longer than this and than ``GAP_STEPS`` median steps. [s]

    Raises
    ------
    InputError
        Files that overlap in time, fewer than two usable fixes, or a log too sparse to audit.
    """
    parts, counts = [], []
    for number, log in enumerate(logs):
        part, dropped = _clean_log(log, to_metres, clock_offset_s)
        part["file"] = np.full(len(part["time_s"]), number)
        parts.append(part)
        counts.append(dropped)
    order = _time_order(logs, parts)
    for first, second in pairwise(order):
        if parts[first]["time_s"][-1] == parts[second]["time_s"][0]:  # some loggers end and begin with the same fix
            parts[second] = {name: column[1:] for name, column in parts[second].items()}
            counts[second]["duplicate_time"] = counts[second].get("duplicate_time", 0) + 1
    segment_base = 0
    for number in order:
        parts[number]["segment"] = parts[number]["segment"] + segment_base
        segment_base = int(parts[number]["segment"].max()) + 1
    columns = {name: np.concatenate([parts[number][name] for number in order]) for name in parts[0]}
    steps = np.diff(columns["time_s"])
    median = float(np.median(steps))
    _refuse_sparse(median, max_gap_s, logs)
    way = columns["time_s"], columns["x_m"], columns["y_m"]
    jump = _too_quick(*way, _scatter(*way))  # nobody drove there
    gap = np.append(((steps > max_gap_s) & (steps > GAP_STEPS * median)) | jump, [False])
    return Track(**columns, gap_after=gap, median_step_s=median), tuple(counts)


def order_cautions(logs: tuple[TrackLog, ...]) -> list[Caution]:
    """One caution for each log whose tracks were not in time order and were put in order."""
    return [
        Caution("tracks sorted", file=log.file)
        for log in logs
        if len(log.fixes)
        and not np.array_equal(_in_order(log.fixes.time_s, log.fixes.segment), np.arange(len(log.fixes)))
    ]


def _clean_log(
    log: TrackLog, to_metres: ToMetres, clock_offset_s: float
) -> tuple[dict[str, np.ndarray], dict[str, int]]:
    fixes = log.fixes
    x, y = to_metres(fixes.lon_deg, fixes.lat_deg)
    time = fixes.time_s + clock_offset_s
    logged = _in_order(time, fixes.segment)
    dated = logged[(time[logged] >= EARLIEST_JOB_S) & (time[logged] < LATEST_TIME_S)]
    if not len(dated):
        raise InputError(
            "every time of the log, with clock_offset added, lies before 1970 or after 2100; correct the offset, or "
            "the logger's clock",
            log.file,
        )
    in_time = dated[_not_alone(time[dated])]
    keep = in_time[_ordered(time[in_time])]
    refuse_two_machines(time, x, y, (in_time, keep), log.file)
    dropped = _lost_in_order(time, logged, keep)
    steps: tuple[tuple[str, Callable[[IntArray], IntArray]], ...] = (
        ("far_away", lambda keep: _not_far(x[keep], y[keep])),
        ("jump", lambda keep: _not_spikes(time[keep], x[keep], y[keep])),
    )
    for reason, step in steps:
        before, keep = keep, keep[step(keep)]
        if len(keep) < len(before):
            dropped[reason] = len(before) - len(keep)
    if len(keep) < 2:
        raise InputError("fewer than two usable fixes are left; log the whole job, one fix a second", log.file)
    columns = {
        "time_s": time[keep],
        "x_m": x[keep],
        "y_m": y[keep],
        "course_rad": np.radians(fixes.course_deg[keep]),
        "speed_m_s": fixes.speed_m_s[keep],
        "quality": fixes.quality[keep],
        "hdop": fixes.hdop[keep],
        "gst_m": fixes.gst_m[keep],
        "segment": fixes.segment[keep],
    }
    return columns, dropped


def _in_order(time: FloatArray, segment: IntArray) -> IntArray:
    """Indices of all fixes with tracks that stand in the wrong order sorted, if more can be used so; else as they are.

    A track ends where the segment changes or time leaps; it is placed by its middle time, so
    that one wrong clock moves nothing.
    """
    as_logged = np.arange(len(time))
    step = np.diff(time)
    if np.all(step > 0):
        return as_logged
    far = np.abs(step) > GAP_STEPS * np.median(np.abs(step))
    back = np.flatnonzero((step <= 0) | far | (np.diff(segment) != 0)) + 1
    tracks: list[list[IntArray]] = []
    for part in np.split(as_logged, back):
        if tracks and len(part) < MOVED_FIXES:  # too few to be a track of its own: stays where it is
            tracks[-1].append(part)
        else:
            tracks.append([part])
    whole = [np.concatenate(parts) for parts in tracks]
    whole.sort(key=lambda part: float(np.median(time[part])))
    in_order = np.concatenate(whole)
    return in_order if len(_ordered(time[in_order])) > len(_ordered(time)) else as_logged


def _ordered(time: FloatArray) -> IntArray:
    """Indices of the longest run of strictly increasing times.

    The longest increasing subsequence, and not "later than all before": one fix with a time in
    the future must not cost every fix after it.
    """
    if np.all(np.diff(time) > 0):
        return np.arange(len(time))
    ends: list[float] = []
    end_index: list[int] = []
    before = np.full(len(time), -1)
    for index, value in enumerate(time.tolist()):
        place = bisect_left(ends, value)
        before[index] = end_index[place - 1] if place else -1
        if place == len(ends):
            ends.append(value)
            end_index.append(index)
        elif value < ends[place]:  # an equal time keeps the earlier fix
            ends[place] = value
            end_index[place] = index
    chain = []
    index = end_index[-1]
    while index >= 0:
        chain.append(index)
        index = int(before[index])
    return np.array(chain[::-1])


def _lost_in_order(time: FloatArray, before: IntArray, kept: IntArray) -> dict[str, int]:
    """The fixes of *before* that are not *kept*, counted by reason.

    Their time is that of a kept fix, or out of order, or in order and yet nobody's: a wrong clock.
    """
    lost = ~np.isin(before, kept)
    if not lost.any():
        return {}
    twice = np.isin(time[before], time[kept])
    own = time[before]
    earlier = np.maximum.accumulate(np.where(lost, -np.inf, own))
    later = np.minimum.accumulate(np.where(lost, np.inf, own)[::-1])[::-1]
    fits = (earlier < own) & (own < later)
    counts = {
        "duplicate_time": int((lost & twice).sum()),
        "backward_time": int((lost & ~twice & ~fits).sum()),
        "wrong_time": int((lost & ~twice & fits).sum()),
    }
    return {reason: count for reason, count in counts.items() if count}


def _not_alone(time: FloatArray) -> IntArray:
    """Indices without fixes whose clock was wrong: a few whose times lie far apart from all the others."""
    order = np.argsort(time, kind="stable")
    own = time[order]
    starts = np.concatenate([[0], np.flatnonzero(np.diff(own) > ALONE_S) + 1])
    ends = np.append(starts[1:], len(own))
    long_enough = own[ends - 1] - own[starts] >= ISLAND_S
    long_enough[np.argmax(ends - starts)] = True
    return np.sort(order[np.repeat(long_enough, ends - starts)])


def _not_far(x: FloatArray, y: FloatArray) -> IntArray:
    """Indices without fixes in another part of the country: no array may grow with such a distance."""
    known = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    x, y = x[known], y[known]
    if not len(known):
        return known
    return known[np.hypot(x - np.median(x), y - np.median(y)) <= MAX_FIELD_DISTANCE_M]


def _not_spikes(time: FloatArray, x: FloatArray, y: FloatArray) -> IntArray:
    """Indices of the fixes that are not single jumps of position.

    A fix is a jump when it lies farther from the line between its neighbours than braking and
    steering allow, and its neighbours, which see it on one side, are half as far off; a lasting
    shift of position has only one such neighbour and is left alone.
    """
    index = np.arange(len(time))
    while len(index) > 4:
        off, allowed = _off_line(time[index], x[index], y[index])
        bad = off > allowed
        beside = np.concatenate([[np.inf], off, [np.inf]])
        spike = bad & (np.minimum(beside[:-2], beside[2:]) > SPIKE_SHADOW * off)
        # of neighbouring candidates the worst is the spike; the others are its shadows
        worst = np.pad(np.where(bad, off, 0.0), 1)
        spike &= (worst[1:-1] > worst[:-2]) & (worst[1:-1] >= worst[2:])
        drop = np.flatnonzero(spike) + 1
        if bad[0] and not spike[0] and not bad[1]:
            drop = np.append(drop, 0)
        if bad[-1] and not spike[-1] and not bad[-2]:
            drop = np.append(drop, len(index) - 1)
        if not len(drop):
            break
        index = np.delete(index, drop)
    return _without_islands(time, x, y, index)


def _off_line(t: FloatArray, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far each inner fix lies off the line between its neighbours, and how far it may. [m]"""
    share = (t[1:-1] - t[:-2]) / (t[2:] - t[:-2])
    off_x = x[1:-1] - (x[:-2] + share * (x[2:] - x[:-2]))
    off_y = y[1:-1] - (y[:-2] + share * (y[2:] - y[:-2]))
    off = np.hypot(off_x, off_y)
    scatter = max(SPIKE_NOISE_M, SPIKE_SCATTERS * float(np.median(off)))  # a noisy log is noisy all along
    return off, 0.5 * SPIKE_ACCELERATION_M_S2 * (t[1:-1] - t[:-2]) * (t[2:] - t[1:-1]) + scatter


def _without_islands(time: FloatArray, x: FloatArray, y: FloatArray, index: IntArray) -> IntArray:
    """Indices without short groups of fixes that can be reached or left only at an impossible speed."""
    t = time[index]
    if len(index) < 3:
        return index
    scatter = _scatter(t, x[index], y[index])
    jump = _too_quick(t, x[index], y[index], scatter)
    if not jump.any():
        return index
    starts = np.concatenate([[0], np.flatnonzero(jump) + 1])
    ends = np.append(starts[1:], len(index))
    long_enough = t[ends - 1] - t[starts] >= ISLAND_S
    long_enough[np.argmax(ends - starts)] = True
    return index[np.repeat(long_enough, ends - starts)]


def _scatter(time: FloatArray, x: FloatArray, y: FloatArray) -> float:
    """How far fixes may lie off the way in a log that scatters as this one does. [m]"""
    return SPIKE_SCATTERS * float(np.median(_off_line(time, x, y)[0])) if len(time) > 2 else 0.0


def _too_quick(time: FloatArray, x: FloatArray, y: FloatArray, scatter_m: float) -> BoolArray:
    """Whether each step asks for an impossible speed, noise of the fixes and of their clock allowed for."""
    allowed = MAX_SPEED_M_S * (np.diff(time) + CLOCK_NOISE_S) + max(SPIKE_NOISE_M, scatter_m)
    return np.asarray(np.hypot(np.diff(x), np.diff(y)) > allowed)


def _time_order(logs: tuple[TrackLog, ...], parts: list[dict[str, np.ndarray]]) -> list[int]:
    order = sorted(range(len(parts)), key=lambda number: float(parts[number]["time_s"][0]))
    for first, second in pairwise(order):
        overlap = float(parts[first]["time_s"][-1] - parts[second]["time_s"][0])
        apart_m = np.hypot(*(parts[first][axis][-1] - parts[second][axis][0] for axis in ("x_m", "y_m")))
        if overlap > 0 or (overlap == 0 and apart_m > SPIKE_NOISE_M):
            raise InputError(
                f"overlaps {logs[first].file} in time by {overlap:.0f} s; give the files of one machine only, "
                "each part of the job once",
                logs[second].file,
            )
    return order


def _refuse_sparse(median_s: float, max_gap_s: float, logs: tuple[TrackLog, ...]) -> None:
    if median_s > max_gap_s:
        raise InputError(
            f"the log is too sparse to audit: its median step is {median_s:.1f} s, more than max_gap = {max_gap_s:g} s;"
            " next time set the logger to one fix a second, no distance filter",
            logs[0].file,
        )


if TYPE_CHECKING:
    from collections.abc import Callable

    ToMetres = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
