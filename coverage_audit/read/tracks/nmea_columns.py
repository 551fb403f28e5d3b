"""Plain RMC, GGA, VTG and GST sentences decoded by column: each number is the one that `nmea_sentences` decodes.

A sentence with anything that is not written in the usual way is left to the decoders there.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.units import KNOT_M_S

from .nmea_sentences import GGA_QUALITIES, MODES, POSITION_COLUMNS, day_number

if TYPE_CHECKING:
    from collections.abc import Callable

    from coverage_audit.arrays import BoolArray, FloatArray

    from .nmea_plain import Fields, PlainLines

_EMPTY = 0  # as `Fields.letters` has it


def _codes(codes: dict[str, int]) -> FloatArray:
    """Code by letter; NaN for none, -1 for every other text."""
    table = np.full(256, -1.0)
    table[_EMPTY] = np.nan
    for letter, code in codes.items():
        table[ord(letter)] = code
    return table


_VOID = ord("N")
_MODE_CODES = _codes(MODES)
_MODE_CODES[_VOID] = np.nan
_QUALITY_CODES = _codes(GGA_QUALITIES)


def _up_to(field: Fields, most: float) -> tuple[FloatArray, BoolArray]:
    """Numbers up to *most*, NaN where a field is empty, and which are odd."""
    values, odd = field.numbers()
    return values, odd | (values > most)


def _angle(field: Fields, side: Fields, positive: str, negative: str) -> tuple[FloatArray, BoolArray]:
    """Degrees of (d)ddmm.mmm fields with their letters, NaN where a field is empty, and which are odd."""
    value, odd = field.numbers()
    letter = side.letters()
    degrees = value // 100.0
    minutes = value - 100.0 * degrees
    away = degrees + minutes / 60.0
    other = letter == ord(negative)
    odd |= (minutes >= 60.0) | ~(other | (letter == ord(positive)) | (field.length == 0))
    return np.where(other, -away, away), odd


def _time_of_day(field: Fields) -> tuple[FloatArray, BoolArray]:
    """Seconds since midnight of hhmmss.sss fields, and which are odd; one without a time is."""
    clock, odd = field.digits(4)
    seconds, unread = field.behind(4).numbers()
    hours = clock // 100.0
    minutes = clock - 100.0 * hours
    # False for NaN: neither is missing
    read = (hours < 24.0) & (minutes < 60.0) & (seconds < 61.0)
    return hours * 3600.0 + minutes * 60.0 + seconds, odd | unread | ~read


def _days(field: Fields) -> tuple[FloatArray, BoolArray]:
    """Days since 1970 of ddmmyy fields, NaN where a field is empty, and which are odd."""
    value, odd = field.digits(6)
    odd |= field.length > 6
    dates, which = np.unique(value[~odd], return_inverse=True)
    texts = [f"{date:06.0f}" if date == date else "" for date in dates.tolist()]  # noqa: PLR0124  NaN: none
    days = np.array([day_number(text[:2], text[2:4], text[4:]) if text else math.nan for text in texts])
    found = np.full(len(value), np.nan)
    found[~odd] = days[which]
    return found, odd | (np.isnan(found) & (field.length > 0))


def _modes(field: Fields) -> tuple[FloatArray, BoolArray, BoolArray]:
    """GGA code of fields with one mode letter, whether it is void, and which are odd."""
    letter = field.letters()
    code = _MODE_CODES[letter]
    return code, letter == _VOID, code == -1.0


def _positions(lines: PlainLines, at: int, **columns: FloatArray | BoolArray) -> tuple[FloatArray, BoolArray]:
    """Rows of `POSITION_COLUMNS` with the position that begins in field *at*, and which are odd."""
    latitude = lines.field(at)
    lat, odd = _angle(latitude, lines.field(at + 1), "N", "S")
    lon, other = _angle(lines.field(at + 2), lines.field(at + 3), "E", "W")
    columns = {"lat": lat, "lon": lon, "digits": latitude.length.astype(np.float64), **columns}
    rows = np.full((len(lat), len(POSITION_COLUMNS)), np.nan)
    for name, column in columns.items():
        rows[:, POSITION_COLUMNS.index(name)] = column
    return rows, odd | other


def rmc(lines: PlainLines) -> tuple[FloatArray, BoolArray]:
    """As `decode_rmc`."""
    speed, odd_speed = lines.field(6).numbers()
    course, odd_course = _up_to(lines.field(7), 360.0)
    day, odd_day = _days(lines.field(8))
    quality, void, odd_mode = _modes(lines.field(11))
    valid = (lines.field(1).letters() == ord("A")) & ~void
    rows, odd = _positions(lines, 2, valid=valid, quality=quality, speed=speed * KNOT_M_S, course=course, day=day)
    return rows, odd | odd_speed | odd_course | odd_day | odd_mode


def gga(lines: PlainLines) -> tuple[FloatArray, BoolArray]:
    """As `decode_gga`."""
    quality = _QUALITY_CODES[lines.field(5).letters()]
    satellites, odd_satellites = _up_to(lines.field(6), 1000.0)
    hdop, odd_hdop = lines.field(7).numbers()
    rows, odd = _positions(lines, 1, valid=quality != 0, quality=quality, hdop=hdop, satellites=satellites)
    return rows, odd | (quality == -1.0) | odd_satellites | odd_hdop


def vtg(lines: PlainLines) -> tuple[FloatArray, BoolArray]:
    """As `decode_vtg`."""
    course, odd_course = _up_to(lines.field(0), 360.0)
    knots, odd_knots = lines.field(4).numbers()
    kmh, odd_kmh = lines.field(6).numbers()
    _, void, odd_mode = _modes(lines.field(8))
    speed = knots * KNOT_M_S
    rows = np.column_stack([np.where(np.isnan(speed), kmh / 3.6, speed), course])
    rows[void] = np.nan
    return rows, odd_course | odd_knots | odd_kmh | odd_mode


def gst(lines: PlainLines) -> tuple[FloatArray, BoolArray]:
    """As `decode_gst`."""
    tod, odd = _time_of_day(lines.field(0))
    one, odd_one = lines.field(5).numbers()
    other, odd_other = lines.field(6).numbers()
    deviation = np.fromiter(map(math.hypot, one.tolist(), other.tolist()), np.float64, len(one))
    return np.column_stack([tod, deviation]), odd | odd_one | odd_other


def times(lines: PlainLines, at: int) -> tuple[FloatArray, BoolArray]:
    """Seconds since midnight that field *at* of each sentence says, and which are odd."""
    return _time_of_day(lines.field(at))


BY_COLUMN: dict[str, Callable[[PlainLines], tuple[FloatArray, BoolArray]]] = {
    "RMC": rmc,
    "GGA": gga,
    "VTG": vtg,
    "GST": gst,
}
"""What the decoder of a kind in `nmea_sentences` gives, shape (n, columns), and which sentences are odd."""
