"""The logs of one machine as one drive: in time order, no moment told twice."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.tolerances import CLASS_OF_QUALITY, CLASS_SIGMA_M

from .model import DayDrive
from .state import ASSUME, slots_of, state_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.plane import Plane
    from coverage_audit.read.records import Interval

    from .model import DayLog, DayMachine


def drive_of(machine: DayMachine, logs: Sequence[DayLog], plane: Plane) -> DayDrive:
    """Join the logs of a machine; where several cover one time, the better one is taken.

    A log that tells the boom's state is better than one that does not, then one of better positions, then one of
    closer fixes.
    """
    columns = [_columns(one, plane) for one in logs]
    states, slots = [], []
    for one, (time, x, y, segment) in zip(logs, columns, strict=True):
        states.append(state_of(one.log, machine.said, time, x, y, segment))
        slots.append(slots_of(one.log, states[-1], machine.boom, time, segment))
    order = sorted(range(len(logs)), key=lambda k: (states[k] == ASSUME, *_worse(logs[k]), logs[k].file))
    kept = _kept([columns[k][0] for k in range(len(logs))], order)
    time, x, y = (
        np.concatenate([column[n][keep] for column, keep in zip(columns, kept, strict=True)]) for n in range(3)
    )
    number = np.concatenate([np.full(int(keep.sum()), k) for k, keep in enumerate(kept)])
    by_time = np.argsort(time, kind="stable")
    return DayDrive(
        machine,
        tuple(one.file for one in logs),
        time[by_time],
        x[by_time],
        y[by_time],
        number[by_time].astype(int),
        tuple(states),
        tuple(sorted(_within(slots, columns, kept), key=lambda slot: slot.on_s)),
        tuple(int((~keep).sum()) for keep in kept),
    )


def _columns(one: DayLog, plane: Plane) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
    """Time, x, y and segment of a log's fixes in time order, each moment once."""
    fixes = one.log.fixes
    known = np.flatnonzero(np.isfinite(fixes.time_s) & np.isfinite(fixes.lon_deg) & np.isfinite(fixes.lat_deg))
    _, first = np.unique(fixes.time_s[known], return_index=True)
    index = known[first]
    x, y = plane.to_metres(fixes.lon_deg[index], fixes.lat_deg[index])
    return fixes.time_s[index], x, y, fixes.segment[index]


def _worse(one: DayLog) -> tuple[float, float]:
    fixes = one.log.fixes
    step = float(np.median(np.diff(np.sort(fixes.time_s)))) if len(fixes) > 1 else np.inf
    return -float(np.median(_classes(fixes.quality))), step


def _classes(quality: IntArray) -> FloatArray:
    return np.array([CLASS_OF_QUALITY.get(int(code), 0) for code in quality])


def error_m(machine: DayMachine, logs: Sequence[DayLog]) -> float:
    """Standard deviation of one coordinate: as the farm says, else by the class of the fixes. [m]"""
    if machine.error_m is not None:
        return machine.error_m
    return max(CLASS_SIGMA_M[int(np.median(_classes(one.log.fixes.quality)))] for one in logs)


def _kept(times: Sequence[FloatArray], order: Sequence[int]) -> list[BoolArray]:
    """For each log which of its fixes are taken: none that lies within the time of a better log."""
    kept = [np.ones(len(time), bool) for time in times]
    taken: list[tuple[float, float]] = []
    for k in order:
        for start, end in taken:
            kept[k] &= (times[k] < start) | (times[k] > end)
        if kept[k].any():
            taken.append((float(times[k][0]), float(times[k][-1])))
    return kept


def _within(
    slots: Sequence[Sequence[Interval]],
    columns: Sequence[tuple[FloatArray, FloatArray, FloatArray, IntArray]],
    kept: Sequence[BoolArray],
) -> list[Interval]:
    """On-times of the logs whose fixes are taken at that time."""
    found = []
    for own, column, keep in zip(slots, columns, kept, strict=True):
        time = column[0]
        for slot in own:
            inside = (time >= slot.on_s - 1e-6) & (time <= slot.off_s + 1e-6)
            if keep[inside].any() or (not inside.any() and keep.all()):
                found.append(slot)
    return found
