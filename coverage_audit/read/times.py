"""Moments written as text: ISO 8601, the one form of time that people and files are read in."""

from __future__ import annotations

import datetime as dt
import re

_ISO_TIME = re.compile(
    r"(\d{4}-\d\d-\d\d|\d{8})[T ](\d\d:?\d\d(?::?\d\d(?:[.,]\d+)?)?) ?(Z|[+-]\d\d(?::?\d\d)?)?", re.IGNORECASE
)


def iso_moment(text: str) -> dt.datetime | None:
    """Moment of an ISO 8601 date with a time of day, UTC when it names no zone; None for text of another shape.

    Raises
    ------
    ValueError
        There is no such day, time or zone.
    """
    match = _ISO_TIME.fullmatch(text)
    if match is None:
        return None
    day, clock, zone = match.groups()
    return dt.datetime.fromisoformat(f"{day.replace('-', '')}T{_compact(clock)}{_compact(zone or 'Z').upper()}")


def _compact(text: str) -> str:
    """Return the basic form of an ISO 8601 clock time or zone."""
    return text.replace(":", "").replace(",", ".")
