"""[track] from and to of a job file: the part of a longer log that is the job."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.records import Series

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.read.records import TrackLog

    from .places import Places

OUTSIDE_CUT = "outside_cut"
"""Reason under which fixes before ``track.from`` and after ``track.to`` are counted."""

Span = tuple[float | None, float | None]
"""First and last moment of the job; None: not cut there. [s since 1970 UTC]"""


def cut_span(values: dict[str, Any], logs: Sequence[TrackLog], places: Places) -> Span:
    """Moments of [track] from and to, local times in the job's zone.

    A *from* without a date is of the day on which the logs begin; so is a *to*, or, with a *from*, it is the next
    such time after that.

    Raises
    ------
    InputError
        *to* does not come after *from*.
    """
    track = values["track"]
    start, end = track.get("from"), track.get("to")
    if start is None and end is None:
        return None, None
    zone = zoneinfo.ZoneInfo(values.get("job", {}).get("timezone", "UTC"))
    first_s = min(float(np.nanmin(log.fixes.time_s)) for log in logs) + track.get("clock_offset", 0.0)
    start_s = None if start is None else _seconds(start, _day(first_s, zone), zone)
    if end is None:
        return start_s, None
    end_s = _seconds(end, _day(first_s if start_s is None else start_s, zone), zone)
    if start_s is not None and end_s <= start_s:
        if not isinstance(end, dt.time):
            raise InputError("the job would end before it begins; correct one of the two times", places["track.to"])
        end_s = _seconds(end, _day(start_s, zone) + dt.timedelta(days=1), zone)
    return start_s, end_s


def _day(time_s: float, zone: dt.tzinfo) -> dt.date:
    return dt.datetime.fromtimestamp(time_s, zone).date()


def _seconds(local: dt.datetime | dt.time, day: dt.date, zone: dt.tzinfo) -> float:
    """A local time, with its own date and zone where it has them. [s since 1970 UTC]"""
    moment = dt.datetime.combine(day, local) if isinstance(local, dt.time) else local
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp()


def cut_logs(
    logs: Sequence[TrackLog], span: Span, clock_offset_s: float, place: str
) -> tuple[tuple[TrackLog, ...], list[Caution]]:
    """*logs* cut as :func:`cut_log` does it; of several in one zip file those without a fix in *span* are left out.

    Raises
    ------
    InputError
        No fix of a file is left.
    """
    empty = {log.file for log in logs if _outside(log.fixes.time_s + clock_offset_s, span).all()}
    used = {log.sha256 for log in logs if log.file not in empty}
    kept = tuple(
        cut_log(log, span, clock_offset_s, place) for log in logs if log.file not in empty or log.sha256 not in used
    )
    others = [log for log in logs if log.file in empty and log.sha256 in used]
    return kept, [Caution("log not of the time", file=log.file, count=len(log.fixes)) for log in others]


def cut_log(log: TrackLog, span: Span, clock_offset_s: float, place: str) -> TrackLog:
    """*log* with its fixes, flow and pressure within *span*; what is left out is counted as ``OUTSIDE_CUT``.

    Switches and marks stay whole: the state at the first moment follows from what came before it.

    Parameters
    ----------
    span : tuple
        As :func:`cut_span` gives it.
    clock_offset_s : float
        Added to the log's times before they are compared. [s]
    place : str
        Where the span was written, for messages.

    Raises
    ------
    InputError
        No fix is left.
    """
    if span == (None, None):
        return log
    inside = ~_outside(log.fixes.time_s + clock_offset_s, span)
    if not inside.any():
        times = [dt.datetime.fromtimestamp(float(end(log.fixes.time_s)) + clock_offset_s, dt.UTC) for end in _ENDS]
        runs = " to ".join(f"{time:%Y-%m-%dT%H:%M:%SZ}" for time in times)
        raise InputError(f"no fix of {log.file} lies in this time: it runs from {runs}; correct the time", place)
    fixes = replace(log.fixes, **{name: column[inside] for name, column in vars(log.fixes).items()})
    lost = int((~inside).sum())
    return replace(
        log,
        fixes=fixes,
        dropped={**log.dropped, **({OUTSIDE_CUT: lost} if lost else {})},
        flow=_cut_series(log.flow, span, clock_offset_s),
        pressure=_cut_series(log.pressure, span, clock_offset_s),
    )


_ENDS = (np.nanmin, np.nanmax)


def _cut_series(series: Series | None, span: Span, clock_offset_s: float) -> Series | None:
    if series is None:
        return None
    inside = ~_outside(series.time_s + clock_offset_s, span)
    return Series(series.time_s[inside], series.value[inside])


def _outside(time_s: np.ndarray, span: Span) -> np.ndarray:
    """Whether each time lies outside; one that is not known does not."""
    start_s, end_s = span
    before = np.zeros(len(time_s), bool) if start_s is None else time_s < start_s
    return before if end_s is None else before | (time_s > end_s)
