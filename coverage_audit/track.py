"""Fixes as logged to fixes that can be used: ordered, in plane metres, gaps marked.

Nothing is dropped silently: every fix that is not used is counted under a reason.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from .errors import InputError
from .model_core import Track
from .tolerances import (
    GAP_STEPS,
    ISLAND_S,
    MAX_SPEED_M_S,
    SPIKE_ACCELERATION_M_S2,
    SPIKE_NOISE_M,
    SPIKE_SCATTERS,
    SPIKE_SHADOW,
)

if TYPE_CHECKING:
    from .model import FloatArray, IntArray, TrackLog


def clean_track(
    logs: tuple[TrackLog, ...], to_metres: ToMetres, clock_offset_s: float, max_gap_s: float
) -> tuple[Track, tuple[dict[str, int], ...]]:
    """One track from *logs*, and for each log the fixes dropped here, by reason.

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
    segment_base = 0
    for number in order:
        parts[number]["segment"] = parts[number]["segment"] + segment_base
        segment_base = int(parts[number]["segment"].max()) + 1
    columns = {name: np.concatenate([parts[number][name] for number in order]) for name in parts[0]}
    steps = np.diff(columns["time_s"])
    median = float(np.median(steps))
    _refuse_sparse(median, max_gap_s, logs)
    gap = np.append((steps > max_gap_s) & (steps > GAP_STEPS * median), [False])
    return Track(**columns, gap_after=gap, median_step_s=median), tuple(counts)


def _clean_log(
    log: TrackLog, to_metres: ToMetres, clock_offset_s: float
) -> tuple[dict[str, np.ndarray], dict[str, int]]:
    fixes = log.fixes
    x, y = to_metres(fixes.lon_deg, fixes.lat_deg)
    time = fixes.time_s + clock_offset_s
    kept, dropped = _ordered(time)
    keep = kept[_not_spikes(time[kept], x[kept], y[kept])]
    if len(keep) < len(kept):
        dropped["jump"] = len(kept) - len(keep)
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


def _ordered(time: FloatArray) -> tuple[IntArray, dict[str, int]]:
    """Indices of the longest run of strictly increasing times, and what is left out, by reason.

    The longest increasing subsequence, and not "later than all before": one fix with a time in
    the future must not cost every fix after it.
    """
    if np.all(np.diff(time) > 0):
        return np.arange(len(time)), {}
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
    kept = np.array(chain[::-1])
    lost = np.setdiff1d(np.arange(len(time)), kept)
    twice = np.isin(time[lost], time[kept])
    counts = Counter({"duplicate_time": int(twice.sum()), "backward_time": int((~twice).sum())})
    return kept, dict(+counts)


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
    scatter = SPIKE_SCATTERS * float(np.median(_off_line(t, x[index], y[index])[0]))
    jump = np.hypot(np.diff(x[index]), np.diff(y[index])) > MAX_SPEED_M_S * np.diff(t) + scatter
    if not jump.any():
        return index
    starts = np.concatenate([[0], np.flatnonzero(jump) + 1])
    ends = np.append(starts[1:], len(index))
    long_enough = t[ends - 1] - t[starts] >= ISLAND_S
    long_enough[np.argmax(ends - starts)] = True
    return index[np.repeat(long_enough, ends - starts)]


def _time_order(logs: tuple[TrackLog, ...], parts: list[dict[str, np.ndarray]]) -> list[int]:
    order = sorted(range(len(parts)), key=lambda number: float(parts[number]["time_s"][0]))
    for first, second in pairwise(order):
        overlap = float(parts[first]["time_s"][-1] - parts[second]["time_s"][0])
        if overlap >= 0:
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
