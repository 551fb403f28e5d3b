"""Where the boom state of a log comes from, and when the boom was on."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.boom import boom_timeline
from coverage_audit.drive.model import Track
from coverage_audit.errors import InputError
from coverage_audit.read.records import LOGGED, MARKED, Interval

from .tolerances import LEAST_SEGMENTS, TURN_RAD, TURN_STEP_M, TURN_WAY_M, TURNING_SEGMENTS

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.jobs.settings import BoomSettings
    from coverage_audit.read.records import TrackLog

ASSUME = "assume"
BOOM_MARKS = ("boom on", "boom off")


def state_of(log: TrackLog, said: str, time_s: FloatArray, x_m: FloatArray, y_m: FloatArray, segment: IntArray) -> str:
    """Word of ``boom.intervals`` for a log: as the farm says, else as the log holds it.

    Parameters
    ----------
    said : str
        The farm's word for the machine, which counts where the log holds such a state; "" where it leaves it open.
    time_s, x_m, y_m, segment : arrays of shape (n,)
        The log's fixes in time order.
    """
    marked = any(
        " ".join(word.casefold().split()) in BOOM_MARKS for mark in log.marks for word in (mark.text, mark.kind)
    )
    if said in ("segments", ASSUME) or (said == "log" and log.has_switch) or (said == "marks" and marked):
        return said
    if log.has_switch:
        return "log"
    if marked:
        return "marks"
    return "segments" if _segments_are_passes(time_s, x_m, y_m, segment) else ASSUME


def _segments_are_passes(time_s: FloatArray, x_m: FloatArray, y_m: FloatArray, segment: IntArray) -> bool:
    cuts = np.flatnonzero(np.diff(segment)) + 1
    parts = [part for part in np.split(np.arange(len(time_s)), cuts) if len(part) > 1]
    if len(parts) < LEAST_SEGMENTS:
        return False
    turning = sum(_turns_round(x_m[part], y_m[part]) for part in parts)
    return turning <= TURNING_SEGMENTS * len(parts)


def _turns_round(x_m: FloatArray, y_m: FloatArray) -> bool:
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x_m), np.diff(y_m)))])
    steps = np.arange(0.0, along[-1], TURN_STEP_M)
    if len(steps) < 3:
        return False
    x, y = np.interp(steps, along, x_m), np.interp(steps, along, y_m)
    heading = np.unwrap(np.arctan2(np.diff(x), np.diff(y)))
    reach = min(round(TURN_WAY_M / TURN_STEP_M), len(heading) - 1)
    return bool(np.abs(heading[reach:] - heading[:-reach]).max() >= TURN_RAD) if reach else False


def slots_of(log: TrackLog, state: str, boom: BoomSettings, time_s: FloatArray, segment: IntArray) -> list[Interval]:
    """When the boom was on by a log's own state, without the delays of its valves, which the job's audit applies.

    A log may know more sections than the farm: they are numbered as the log has them.

    Raises
    ------
    InputError
        The farm says of a state that the log does not hold.
    """
    if state == ASSUME or len(time_s) < 2:
        return []
    nothing = np.zeros(len(time_s))
    whole = np.zeros(len(time_s), int)
    track = Track(
        *(time_s, nothing, nothing, nothing, nothing, whole, nothing, nothing, segment, whole, whole > 0),
        median_step_s=1.0,
    )
    count = max([len(boom.sections_m), *(change.section for change in log.switch)])
    sections_m = boom.sections_m if count == len(boom.sections_m) else (boom.width_m / count,) * count
    plain = replace(boom, sections_m=sections_m, intervals=state, on_delay_s=0.0, off_delay_s=0.0)
    try:
        timeline, _ = boom_timeline(plain, (log,), track, None, 0.0)
    except InputError as error:
        if error.place == "boom.intervals":  # never on
            return []
        raise InputError(error.what, log.file) from error
    found = []
    for start, end, on in zip(timeline.start_s, timeline.end_s, timeline.on, strict=True):
        sections = tuple((np.flatnonzero(on) + 1).tolist())
        how = MARKED if state == "marks" else LOGGED
        found.append(Interval(float(start), float(end), () if len(sections) == count else sections, how=how))
    return found
