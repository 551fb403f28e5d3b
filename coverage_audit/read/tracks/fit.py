"""Read FIT, the binary form of watches and cycle computers, by the library fitdecode."""

from __future__ import annotations

import datetime as dt
import io
import struct
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution

from .form import TrackForm
from .plain import cut_caution, plain_log

if TYPE_CHECKING:
    from coverage_audit.read.records import TrackLog

_SIGNATURE = b".FIT"  # bytes 8 to 11 of the header, FIT protocol 2.0
_SEMICIRCLE_DEG = 180.0 / 2**31
_BROKEN = (ValueError, TypeError, LookupError, ArithmeticError, AttributeError, AssertionError, struct.error, OSError)
"""What the library lets through on damaged files, beside its own errors."""

_FIELDS = {
    "position_lat": "lat_deg",
    "position_long": "lon_deg",
    "enhanced_speed": "speed_m_s",
    "speed": "speed_m_s",
}


def is_fit(data: bytes) -> bool:
    """Whether *data* has the header of a FIT file."""
    return data[8:12] == _SIGNATURE and data[:1] in (b"\x0c", b"\x0e")


def read_fit(data: bytes, name: str) -> TrackLog:
    """Read the records of a FIT file; one that breaks off is read to its last whole record.

    Raises
    ------
    InputError
        The library is missing, or no record has a time and a place.
    """
    rows, broken, bad_sums = _records(data, name)
    columns = {
        field: np.array([row.get(field, np.nan) for row in rows], float)
        for field in ("time_s", "lat_deg", "lon_deg", "speed_m_s")
    }
    if broken and not rows:
        raise InputError("the file is broken before its first record; copy it again from the device", name)
    cautions = cut_caution(name, "damaged", len(rows) if broken else 0, "record")
    if bad_sums:
        cautions.append(Caution("file checksum wrong", file=name))
    return plain_log(*(data, name, "FIT", "record", columns), lost={"cut_off": int(broken)}, cautions=cautions)


def _records(data: bytes, name: str) -> tuple[list[dict[str, float]], bool, int]:
    """Records as far as they can be read, whether it broke off there, and the sums that are wrong."""
    try:
        import fitdecode  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise InputError(
            "a FIT file needs one more library; install it in the program's folder: .venv/bin/pip install '.[fit]'",
            name,
        ) from error
    rows: list[dict[str, float]] = []
    bad_sums = 0
    options = {"check_crc": fitdecode.CrcCheck.READONLY, "error_handling": fitdecode.ErrorHandling.IGNORE}
    try:
        with warnings.catch_warnings(), fitdecode.FitReader(io.BytesIO(data), **options) as frames:
            warnings.simplefilter("ignore")  # what is wrong is counted here
            for frame in frames:
                if frame.frame_type == fitdecode.FIT_FRAME_CRC:
                    bad_sums += not frame.matched
                elif frame.frame_type == fitdecode.FIT_FRAME_DATA and frame.name == "record":
                    rows.append(_row(frame))
    except (fitdecode.FitError, *_BROKEN):
        return rows, True, bad_sums
    return rows, False, bad_sums


def _row(frame: Any) -> dict[str, float]:  # noqa: ANN401 - the library has no types
    """Time, place and speed of one record, those that it has."""
    row: dict[str, float] = {}
    for field in frame.fields:
        value = field.value
        if field.name == "timestamp" and isinstance(value, dt.datetime):
            row["time_s"] = value.timestamp()
        elif field.name in _FIELDS and isinstance(value, int | float):
            scale = _SEMICIRCLE_DEG if field.name.startswith("position") else 1.0
            row.setdefault(_FIELDS[field.name], value * scale)
    return row


FIT = TrackForm("FIT", frozenset(), is_fit, lambda data, name, _asked: read_fit(data, name))
"""As the registry knows it."""
