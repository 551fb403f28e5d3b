"""[boom] remembered of a job file: what a person says afterwards of when the boom was on or off."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from coverage_audit import units
from coverage_audit.errors import InputError
from coverage_audit.read.times import iso_moment

from . import tolerances as tol
from .checks import quantity
from .rows import Key, checked, keys

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.read.records import TrackLog

    from .places import Places

Clock = dt.time | dt.datetime


@dataclass(frozen=True)
class Remembered:
    """The boom was on or off from a moment or a place, for so long or so far, or until another moment.

    ``said`` is the start as the person gave it; ``at_s`` [s since 1970] and ``place_deg`` (lat, lon), one or both.
    One of ``length_m``, ``length_s`` and ``until_s`` is given. Nine in ten such memories are right to within
    ``within_s`` or ``within_m`` at the start, and to within ``until_within_s`` where another moment ends it.
    """

    place: str
    said: str
    on: bool
    at_s: float | None = None
    place_deg: tuple[float, float] | None = None
    length_m: float | None = None
    length_s: float | None = None
    until_s: float | None = None
    within_s: float | None = None
    within_m: float | None = None
    until_within_s: float = 0.0


# --- the keys of a row ----------------------------------------------------------------------------------


def clock(value: object, place: str) -> tuple[str, Clock]:
    """Local time of day ("07:42", "07:42:30"), alone or with its date: as written, and as a time."""
    if isinstance(value, (dt.datetime, dt.time)):
        return value.isoformat(), value
    if isinstance(value, str) and (match := re.fullmatch(r"(\d{1,2}):(\d\d)(?::(\d\d))?", value.strip())):
        try:
            hour, minute, second = (int(part) for part in match.groups(default="0"))
            return value.strip(), dt.time(hour, minute, second)
        except ValueError as error:
            raise InputError(f'"{value}" is no time of a day; write it as 07:42', place) from error
    found = _dated(value) if isinstance(value, str) else None
    if found is None:
        raise InputError(f'"{value}" is not a local time; write it as 07:42, or 2026-05-30T07:42', place)
    return str(value).strip(), found


def _dated(text: str) -> dt.datetime | None:
    """Date and time; without a zone where none is written."""
    try:
        found = iso_moment(text.strip())
    except ValueError:
        return None
    zoned = re.search(r"(Z|[+-]\d\d(:?\d\d){0,2})$", text.strip()[10:], re.IGNORECASE)
    return found if found is None or zoned else found.replace(tzinfo=None)


def degrees(most: float) -> Any:  # noqa: ANN401 - a check
    """Check of a latitude or longitude from minus to plus *most*. [deg]"""

    def check(value: object, place: str) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= most:
            raise InputError(f"{value} is not a number of degrees from {-most:g} to {most:g}", place)
        return float(value)

    return check


def far_or_long(value: object, place: str) -> tuple[str, float]:
    """Distance ("40 m") or time ("2 min"): which of the two ("m", "s"), and how much."""
    unit = units.number_and_unit(value)[1] if isinstance(value, str) else ""
    if unit in units.TIME_S:
        return "s", float(quantity(units.TIME_S, most=tol.MAX_TIME_S, above=True)(value, place))
    if unit in units.LENGTH_M:
        return "m", float(quantity(units.LENGTH_M, most=tol.MAX_REMEMBERED_M, above=True)(value, place))
    both = {**units.LENGTH_M, **units.TIME_S}
    return "m", units.parse_quantity(value, both, place)  # it has no unit that fits: this says so


ROW = keys(
    Key("at", clock, "local time from which it was so"),
    Key("lat", degrees(90.0), "or the place from which it was so: latitude", unit="deg"),
    Key("lon", degrees(180.0), "... and longitude", unit="deg"),
    Key("off_for", far_or_long, "the boom was off for this distance or time", unit="m or s"),
    Key("on_for", far_or_long, "the boom was on for this distance or time", unit="m or s"),
    Key("off_until", clock, "the boom was off until this local time"),
    Key("on_until", clock, "the boom was on until this local time"),
    Key("within", far_or_long, "how far off the start may be", unit="m or s", default="by how it was said"),
)
ENDS = ("off_for", "on_for", "off_until", "on_until")
row = checked(ROW)


# --- rows with the logs ---------------------------------------------------------------------------------


def remembered_rows(
    boom: Mapping[str, Any], logs: Sequence[TrackLog], offset_s: float, timezone: str, places: Places
) -> tuple[Remembered, ...]:
    """What was remembered, local times as moments of the logs.

    Parameters
    ----------
    boom : mapping
        The checked [boom] table.
    offset_s : float
        Added to the times of the logs. [s]
    timezone : str
        Of the local times.

    Raises
    ------
    InputError
        A row that lacks its start or its end, or a time at which nothing was logged.
    """
    times = np.concatenate([log.fixes.time_s for log in logs]) + offset_s if logs else np.empty(0)
    times = times[np.isfinite(times)]
    day = _Day(float(times.min()), float(times.max()), float(np.median(times)), timezone) if len(times) else None
    return tuple(
        _one(row, day, f"{places['boom.remembered']}[{number}]")
        for number, row in enumerate(boom.get("remembered", ()), 1)
    )


def _one(row: dict[str, Any], day: _Day | None, place: str) -> Remembered:
    end = _checked_end(row, place)
    at_s = day.moment(row["at"], place) if day and "at" in row else None
    spot = (row["lat"], row["lon"]) if "lat" in row else None
    said = ([row["at"][0]] if "at" in row else []) + [f"{row[name]:.5f}" for name in ("lat", "lon") if name in row]
    kind, amount = row[end] if end.endswith("for") else ("until", math.nan)
    until_s = day.moment(row[end], place) if day and kind == "until" else None
    if until_s is not None and at_s is not None and until_s <= at_s:
        raise InputError(f"{row[end][0]} is not after {row['at'][0]}; correct one of the two", place)
    which, spread = row.get("within", (None, 0.0))
    default_s = None if spot else _spread_s(row["at"][0])
    return Remembered(
        place=place,
        said=" ".join(said),
        on=end.startswith("on"),
        at_s=at_s,
        place_deg=spot,
        length_m=amount if kind == "m" else None,
        length_s=amount if kind == "s" else None,
        until_s=until_s,
        within_s=spread if which == "s" else default_s if which is None else None,
        within_m=spread if which == "m" else tol.PLACE_WITHIN_M if spot and which is None else None,
        until_within_s=_spread_s(row[end][0]) if kind == "until" else 0.0,
    )


def _checked_end(row: dict[str, Any], place: str) -> str:
    """Key that says how long it was so; the row has that one alone, and says from when or where."""
    ends = [name for name in ENDS if name in row]
    if not ends:
        raise InputError(f"this row does not say how long; write one of {', '.join(ENDS)}", place)
    if len(ends) > 1:
        raise InputError(f"this row says {' and '.join(ends)}; keep one of them", place)
    if ("lat" in row) != ("lon" in row):
        raise InputError("a place needs both lat and lon", place)
    if "at" not in row and "lat" not in row:
        raise InputError('this row does not say from when or where; write at = "07:42", or lat and lon', place)
    return ends[0]


def _spread_s(said: str) -> float:
    """How far off a remembered time may be, by how closely it was told. [s]"""
    return tol.MINUTE_WITHIN_S if len(said.rsplit("T", maxsplit=1)[-1].split(":")) < 3 else tol.SECOND_WITHIN_S


@dataclass(frozen=True)
class _Day:
    """First, last and middle fix of the logs [s since 1970], and the time zone that people there go by."""

    first_s: float
    last_s: float
    middle_s: float
    timezone: str

    def moment(self, told: tuple[str, Clock], place: str) -> float:
        """Moment of a local time, on the day of the logs where it names none. [s since 1970]"""
        said, clock = told
        zone = ZoneInfo(self.timezone)
        if isinstance(clock, dt.datetime):
            found = [(clock if clock.tzinfo else clock.replace(tzinfo=zone)).timestamp()]
        else:
            middle = dt.datetime.fromtimestamp(self.middle_s, zone)
            days = [middle.date() + dt.timedelta(days=step) for step in (-1, 0, 1)]
            found = [dt.datetime.combine(day, clock, zone).timestamp() for day in days]
        slack = tol.MINUTE_WITHIN_S  # a log begun within the minute that was told
        inside = [one for one in found if self.first_s - slack <= one <= self.last_s + slack]
        if not inside:
            first, last = (
                dt.datetime.fromtimestamp(one, zone).strftime("%H:%M") for one in (self.first_s, self.last_s)
            )
            raise InputError(
                f'nothing was logged at "{said}": the log runs from {first} to {last} ({self.timezone}); correct the '
                "time, or job.timezone",
                place,
            )
        nearest = min(inside, key=lambda one: abs(one - self.middle_s))
        return min(max(nearest, self.first_s), self.last_s)
