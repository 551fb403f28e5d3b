"""A signed notice that ends a key's use from a day on: what the key signed on that day or later does not hold."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from .sign import key_number, parse_strict, record_text, sign, signature_fault

if TYPE_CHECKING:
    Record = dict[str, Any]

ENDED_SCHEMA = "coverage-audit key ended 1"


class NotANoticeError(ValueError):
    """The file is no notice of this program, or nobody signed it."""


def ended_notice(day: dt.date, private_pem: str, place: str) -> str:
    """Text of the notice that the key ends on *day*, signed by that key."""
    return record_text(sign({"schema": ENDED_SCHEMA, "from": day.isoformat()}, private_pem, place))


def read_notice(data: bytes) -> tuple[str, str]:
    """Key (hex) and first day (ISO 8601) of a notice.

    Raises
    ------
    NotANoticeError
        It is none, or its signature does not hold.
    """
    try:
        text = data.decode("ascii")
        notice = parse_strict(text)
        known = set(notice) == {"schema", "from", "signature"} and notice["schema"] == ENDED_SCHEMA
        day = notice["from"] if known else ""
        if not known or dt.date.fromisoformat(day).isoformat() != day or record_text(notice) != text:
            raise NotANoticeError("it is not of the form that this program writes")
    except (ValueError, TypeError, RecursionError) as error:
        raise NotANoticeError(str(error)) from error
    if fault := signature_fault(notice, None):
        raise NotANoticeError(fault)
    return notice["signature"]["public_key"], day


def ended_by(record: Record, notices: list[tuple[str, str]]) -> str:
    """First day on which the key of *record* is ended, by the earliest notice of that key; "" when none is."""
    return min((day for key, day in notices if key == record["signature"]["public_key"]), default="")


def ended_fault(record: Record, day: str, stamp_day: str = "") -> str:
    """Why a record of a key that ended on *day* does not hold; "" when it was made before.

    Parameters
    ----------
    stamp_day : str
        Day of a time stamp that holds; "" = there is none.
    """
    made = max(record["made"][:10], stamp_day)
    if not day or made < day:
        return ""
    number = key_number(record["signature"]["public_key"])
    return f"the key {number} was ended from {day} on, by a notice that it signed itself; this was made on {made}"
