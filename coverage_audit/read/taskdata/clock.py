"""Times of a time log: the terminal's clock is local and states no zone; a position may state its own time in UTC."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.units import DAY_S

from .binary import DAY_MS

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .binary import Records

EPOCH_S = 315_532_800.0
"""Days are counted from 1980-01-01. [s since 1970]"""

_QUARTER_S = 900.0  # zones change their offset at whole quarters of an hour
_NO_DAY = (0, 65_534, 65_535)  # a clock that was never set; not available


@dataclass(frozen=True, eq=False)
class Times:
    """Seconds since 1970 UTC of every record, shape (n,); ``guessed``: those read in the job's zone, without UTC."""

    time_s: FloatArray
    guessed: BoolArray


def times_of(records: Records, timezone: str) -> Times:
    """Times of the records: the position's UTC where it states one, else the terminal's clock.

    The terminal's clock is turned to UTC by its usual difference from the UTC of this log, and where the log never
    states one, by the zone.
    """
    local = EPOCH_S + DAY_S * records.day + records.day_ms / 1000.0
    utc, known = _utc(records)
    if known.any():
        return Times(
            np.where(known, utc, local + float(np.median(utc[known] - local[known]))), np.zeros(len(local), bool)
        )
    return Times(from_local(local, timezone), np.ones(len(local), bool))


def _utc(records: Records) -> tuple[FloatArray, BoolArray]:
    """UTC of the positions, and where it is stated."""
    day, clock = records.position.get("utc_day"), records.position.get("utc_ms")
    if day is None or clock is None:
        return np.zeros(len(records)), np.zeros(len(records), bool)
    stated: BoolArray = ~np.isin(day, _NO_DAY) & (clock < DAY_MS + 1000)
    return EPOCH_S + DAY_S * day + clock / 1000.0, stated


def from_local(local_s: FloatArray, timezone: str) -> FloatArray:
    """UTC of local times in a zone, both in seconds since 1970; in an hour that comes twice, the first."""
    zone = zoneinfo.ZoneInfo(timezone)
    quarters, back = np.unique(np.floor(local_s / _QUARTER_S), return_inverse=True)
    offsets = np.array([_offset_s(float(quarter) * _QUARTER_S, zone) for quarter in quarters])
    return local_s - offsets[back]


def _offset_s(local_s: float, zone: zoneinfo.ZoneInfo) -> float:
    moment = dt.datetime(1970, 1, 1, tzinfo=zone) + dt.timedelta(seconds=local_s)  # counted on the zone's own clock
    offset = moment.utcoffset()
    return offset.total_seconds() if offset else 0.0


def first_day(days: IntArray) -> bool:
    """Whether a clock was never set: it shows the first day that can be counted."""
    return len(days) > 0 and bool((days == 0).all())
