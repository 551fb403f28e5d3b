"""Proposed on-times as a CSV file that a person edits, in a spreadsheet if need be."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray


def proposal_csv(on_off_s: FloatArray, timezone: str) -> str:
    """``on,off,assumed`` rows in local time with its offset from UTC, to a tenth of a second.

    The offset behind each time ("+00:00" for UTC) keeps spreadsheets from taking it for a date of their
    own and rewriting it; a boom moves a hand's breadth in a tenth of a second. "yes" under assumed keeps
    the audit's ASSUMED notice until the person clears it.

    Parameters
    ----------
    on_off_s : array of shape (k, 2)
        On-times. [s since 1970 UTC]
    """
    rows = [f"{_stamp(on, timezone)},{_stamp(off, timezone)},yes" for on, off in on_off_s.tolist()]
    return "\n".join(["on,off,assumed", *rows]) + "\n"


def _stamp(time_s: float, timezone: str) -> str:
    moment = dt.datetime.fromtimestamp(round(time_s, 1), ZoneInfo(timezone))
    whole, offset = moment.isoformat(timespec="milliseconds")[:-8], moment.isoformat()[-6:]
    return f"{whole}{offset}"
