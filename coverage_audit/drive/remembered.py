"""What a person remembers of the boom, laid over what was logged or assumed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.read.records import REMEMBERED

from .boom import timeline_of
from .model import Recall
from .tolerances import LENGTH_WITHIN, RECALLED_ROW_WITHIN_S, REMEMBERED_AT_S, REMEMBERED_OFF_M, TYPED_MINUTE_S

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.arrays import FloatArray
    from coverage_audit.jobs.remembered import Remembered
    from coverage_audit.read.records import Interval

    from .model import BoomPath, Timeline

    ToMetres = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]


def recalls_of(rows: Sequence[Remembered], path: BoomPath, to_metres: ToMetres) -> tuple[Recall, ...]:
    """Each remembered row as times of the drive along *path*.

    Parameters
    ----------
    to_metres : callable
        Puts longitudes and latitudes [deg] into the plane of the path.

    Raises
    ------
    InputError
        A place that the drive never came near, or an end that is not after the start.
    """
    return tuple(_recall(row, path, to_metres) for row in rows)


def _recall(row: Remembered, path: BoomPath, to_metres: ToMetres) -> Recall:
    start = row.at_s
    if row.place_deg is not None or start is None:
        start = float(path.time_s[_nearest(row, path, to_metres)])
    travel = float(np.interp(start, path.time_s, path.travel_m))
    within_s = row.within_s if row.within_s is not None else _time_for(row.within_m or 0.0, start, travel, path)
    if row.until_s is not None:
        end, end_within = row.until_s, row.until_within_s
    elif row.length_m is not None:
        end, end_within = start + _time_for(row.length_m, start, travel, path, ahead=True), 0.0
    else:
        end, end_within = start + (row.length_s or 0.0), 0.0
    if end <= start:
        raise InputError("this row ends before it begins, or at the last fix; correct its place or its time", row.place)
    tied = row.until_s is None
    return Recall(
        place=row.place,
        said=row.said,
        on=row.on,
        start_s=start,
        end_s=min(end, float(path.time_s[-1])),
        start_within_s=within_s,
        end_within_s=float(np.hypot(within_s, LENGTH_WITHIN * (end - start))) if tied else end_within,
        tied=tied,
        length_m=row.length_m,
    )


def _nearest(row: Remembered, path: BoomPath, to_metres: ToMetres) -> int:
    """Point of *path* nearest to the place of *row*, about its time where it has one."""
    lat, lon = row.place_deg or (0.0, 0.0)
    x, y = to_metres(np.array([lon]), np.array([lat]))
    far = np.hypot(path.x_m - x[0], path.y_m - y[0])
    if row.at_s is not None:
        far = np.where(np.abs(path.time_s - row.at_s) <= REMEMBERED_AT_S, far, np.inf)
    nearest = int(np.argmin(far))
    if not far[nearest] <= REMEMBERED_OFF_M:
        away = "at that time" if row.at_s is not None else "all day"
        raise InputError(
            f"the drive came no nearer than {far[nearest]:.0f} m to this place {away}; correct lat and lon, or the time"
            if np.isfinite(far[nearest])
            else "nothing was logged at that time; correct it",
            row.place,
        )
    return nearest


def _time_for(length_m: float, start_s: float, travel_m: float, path: BoomPath, *, ahead: bool = False) -> float:
    """Time that a way of *length_m* takes there: ahead from the start, or half to either side. [s]"""
    low, high = (travel_m, travel_m + length_m) if ahead else (travel_m - length_m / 2, travel_m + length_m / 2)
    a, b = (_first_at(way, path) for way in (low, high))
    return max(b - (start_s if ahead else a), 0.0)


def _first_at(way_m: float, path: BoomPath) -> float:
    """First moment at which the drive has gone *way_m*: a stop behind it is no part of it. [s since 1970]"""
    k = min(max(int(np.searchsorted(path.travel_m, way_m)), 1), len(path.travel_m) - 1)
    return float(np.interp(way_m, path.travel_m[k - 1 : k + 1], path.time_s[k - 1 : k + 1]))


def row_recalls(intervals: Sequence[Interval]) -> tuple[Recall, ...]:
    """Remembered rows of a list of on-times, each moment as far off as it may be."""
    return tuple(
        Recall(
            place=one.place,
            said="",
            on=True,
            start_s=one.on_s,
            end_s=one.off_s,
            start_within_s=_row_within_s(one.on_s, one.within_s),
            end_within_s=_row_within_s(one.off_s, one.within_s),
        )
        for one in intervals
        if one.how == REMEMBERED
    )


def _row_within_s(moment_s: float, said_s: float | None) -> float:
    """How far off the moment of a remembered row may be: as said, or by whether its seconds were written. [s]"""
    if said_s is not None:
        return said_s
    whole = abs(moment_s / TYPED_MINUTE_S - round(moment_s / TYPED_MINUTE_S)) < 1e-9
    return RECALLED_ROW_WITHIN_S[0 if whole else 1]


def with_recalls(timeline: Timeline, recalls: Sequence[Recall], span_s: tuple[float, float]) -> Timeline:
    """*timeline* with what was remembered laid over it, one after the other.

    Raises
    ------
    InputError
        Nothing is left on.
    """
    if not recalls:
        return timeline
    sections = timeline.on.shape[1]
    spans = [
        [(a, b) for a, b, on in zip(timeline.start_s, timeline.end_s, timeline.on[:, k], strict=True) if on]
        for k in range(sections)
    ]
    for one in recalls:
        spans = [_laid(own, one) for own in spans]
    found = timeline_of([_touching(own) for own in spans], *span_s)
    if not len(found.start_s):
        raise InputError("by what is remembered the boom was never on, so there is nothing to audit", "boom.remembered")
    return found


def _laid(spans: list[tuple[float, float]], one: Recall) -> list[tuple[float, float]]:
    """*spans* of one section with the boom on, or off, in the time of *one*."""
    rest = [part for a, b in spans for part in ((a, min(b, one.start_s)), (max(a, one.end_s), b)) if part[1] > part[0]]
    return sorted([*rest, (one.start_s, one.end_s)]) if one.on else rest


def _touching(spans: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans in order, those that touch as one."""
    joined: list[tuple[float, float]] = []
    for a, b in sorted(spans):
        if joined and a <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(b, joined[-1][1]))
        else:
            joined.append((a, b))
    return joined


def told_changes(timeline: Timeline, recalls: Sequence[Recall]) -> tuple[Recall, ...]:
    """*recalls* with how long each differs from *timeline*, which it is laid over. [s]"""
    found = []
    for one in recalls:
        on_s = np.minimum(timeline.end_s, one.end_s) - np.maximum(timeline.start_s, one.start_s)
        already = float(np.maximum(on_s, 0.0) @ timeline.on.mean(axis=1))
        found.append(replace(one, changed_s=max(one.end_s - one.start_s - already, 0.0) if one.on else already))
    return tuple(found)
