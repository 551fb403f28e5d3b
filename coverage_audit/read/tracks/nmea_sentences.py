"""Find NMEA 0183 sentences in bytes, verify their checksums and decode their fields.

A sentence is found wherever its "$" stands: after binary data, or fused to the end of another.
Proprietary ($P...) and AIS (!...) sentences never match. Field layouts are those of NMEA 0183
as described in gpsd's "NMEA Revealed"; transducer types those of NMEA's "Update to XDR" (4.11).
"""

from __future__ import annotations

import datetime as dt
import math
import re
import sys
from collections import Counter
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.read import tolerances as tol
from coverage_audit.units import KNOT_M_S

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_TALKER = r"\$[A-OQ-Z][A-Z0-9]"
_ADDRESS = rf"{_TALKER}([A-Z0-9]{{0,4}}),"  # three letters, unless it was cut
_BODY = rf"[^$*\r\n]{{0,{tol.MAX_SENTENCE_CHARS}}}"
_SENTENCE = re.compile(rf"{_ADDRESS}({_BODY})(\*[^$\r\n]{{0,2}})?")
_WITH_CHECKSUM = re.compile(rf"{_ADDRESS}{_BODY}\*".encode())
_LAST = re.compile(r"\*[0-9A-Fa-f]{2}(?=\r|\n)")
_OTHERS = re.compile(r"(?:\$P|!)[^$!*\r\n]*\*[0-9A-Fa-f]{2}(?=\r|\n)")
_CHECKSUMS = {f"*{high}{low}": int(high + low, 16) for high, low in product("0123456789abcdefABCDEF", repeat=2)}

TIME_FIELD = {"RMC": 0, "GGA": 0, "GNS": 0, "GLL": 4}
"""Sentences with a position, and the field that has its time."""

WANTED = frozenset({*TIME_FIELD, "ZDA", "GST", "VTG", "GSA", "XDR"})
_ANY_WANTED = re.compile(rf"{_TALKER}(?:{'|'.join(sorted(WANTED))}),".encode())
PADDING = [""] * 20  # so that a shorter variant of a sentence has its missing fields empty

# FAA mode indicator -> GGA quality code, the best first. P (precise) is the PPS fix of GGA; N is void.
MODES = {"R": 4, "F": 5, "P": 3, "D": 2, "A": 1, "E": 6, "M": 7, "S": 8}
GGA_QUALITIES = {str(code): code for code in range(9)}
_DAY_ZERO = dt.date(1970, 1, 1).toordinal()
_FIRST_YEAR = 1980  # GPS time starts here

POSITION_COLUMNS = ("lat", "lon", "digits", "valid", "quality", "speed", "course", "day", "hdop", "satellites")
"""What each decoder of `POSITION_DECODERS` gives: degrees, digits of the latitude as written, 1 or 0,
GGA code, m/s, degrees, days since 1970, 1, 1. NaN where the sentence has none."""

Notes = Counter[str]
_NOTED = ("broken_begin", "unreadable_field", "sentence_without_time", "unreadable_transducer")
_NAN = math.nan
_LARGEST = sys.float_info.max  # so that "inf" is outside the limits


@dataclass
class Tally:
    """Sentences that the scan could not use, and whether the log has checksums at all."""

    bad_checksum: int = 0
    no_checksum: int = 0
    checksums_used: bool = True
    notes: Notes = field(default_factory=lambda: Notes(dict.fromkeys(_NOTED, 0)))  # in one order, whatever comes first


def has_sentence(data: bytes) -> bool:
    """Whether *data* holds the start of a sentence that this package reads."""
    return _ANY_WANTED.search(data) is not None


def has_checksum(data: bytes) -> bool:
    """Whether any sentence of *data* ends with a checksum."""
    return _WITH_CHECKSUM.search(data) is not None


def scan(block: bytes, tally: Tally) -> Iterator[tuple[int, str, list[str] | None]]:
    """Yield the sentences of `WANTED` in file order; damaged ones are counted in *tally*.

    Parameters
    ----------
    block : bytes
        Lines of the log.
    tally : Tally
        Its counts grow as the scan goes on; every sentence with a talker counts, wanted or not.

    Yields
    ------
    at : int
        Place of its "$" in *block*.
    kind : str
        "RMC", "GGA", ...
    fields : list of str or None
        Fields after the address, padded with empty ones. None for a damaged sentence.
    """
    text = block.decode("latin-1")  # one character a byte
    matches = list(_SENTENCE.finditer(text))
    if strays := _strays(text, matches):
        tally.notes["broken_begin"] += strays
    # The checksum is the exclusive or of all between "$" and "*": a difference of running ones.
    running = np.bitwise_xor.accumulate(np.frombuffer(block, dtype=np.uint8))
    begins = np.array([match.start() for match in matches], dtype=np.int64)
    ends = np.array([match.end(2) for match in matches], dtype=np.int64)
    for match, checksum in zip(matches, (running[begins] ^ running[ends - 1]).tolist(), strict=True):
        kind, body, stated = match.groups()
        if stated is None and tally.checksums_used:
            tally.no_checksum += 1
        elif stated is not None and _CHECKSUMS.get(stated) != checksum:
            tally.bad_checksum += 1
        else:
            if kind in WANTED:
                yield match.start(), kind, body.split(",") + PADDING
            continue
        if kind in WANTED:
            yield match.start(), kind, None


def _strays(text: str, matches: Sequence[re.Match[str]]) -> int:
    """Ends of sentences whose begin is damaged: checksums at the end of a line that belong to none that was found."""
    lasting = sum(text[match.end() : match.end() + 1] in ("\r", "\n") for match in matches if match[3])
    more = len(_LAST.findall(text)) - lasting
    return max(more - len(_OTHERS.findall(text)), 0) if more > 0 else 0


def blocks(data: bytes) -> Iterator[tuple[int, int]]:
    """Cut *data* behind line ends into pieces of about `SCAN_BLOCK_BYTES`."""
    start = 0
    while start < len(data):
        end_of_line = data.find(b"\n", start + tol.SCAN_BLOCK_BYTES)
        stop = end_of_line + 1 if end_of_line >= 0 else len(data)
        yield start, stop
        start = stop


# --- fields ---------------------------------------------------------------------------------


def number(text: str, notes: Notes, least: float = -_LARGEST, most: float = _LARGEST) -> float:
    """Return the number in *text*, NaN when empty; unreadable or outside the limits is NaN and noted."""
    if not text:
        return _NAN
    try:
        value = float(text)
    except ValueError:
        value = _NAN
    if least <= value <= most:  # False for NaN
        return value
    if not text.isspace():
        notes["unreadable_field"] += 1
    return _NAN


def angle(text: str, hemisphere: str, positive: str, negative: str, notes: Notes) -> float:
    """Decode a (d)ddmm.mmm field and its hemisphere letter to degrees; NaN when missing or unreadable."""
    value = number(text, notes, 0.0)
    degrees = value // 100.0
    minutes = value - 100.0 * degrees
    if minutes < 60.0:  # False for NaN
        if hemisphere == positive:
            return degrees + minutes / 60.0
        if hemisphere == negative:
            return -(degrees + minutes / 60.0)
    if text and not math.isnan(value):
        notes["unreadable_field"] += 1
    return _NAN


def time_of_day(text: str) -> float:
    """Decode an hhmmss.sss field to seconds since midnight; NaN when missing or unreadable."""
    try:
        hours, minutes, seconds = int(text[:2]), int(text[2:4]), float(text[4:])
    except ValueError:
        return _NAN
    if 0 <= hours < 24 and 0 <= minutes < 60 and 0.0 <= seconds < 61.0:  # 60 is a leap second
        return hours * 3600.0 + minutes * 60.0 + seconds
    return _NAN


@lru_cache(maxsize=16)
def day_number(day: str, month: str, year: str) -> float:
    """Count the days from 1970-01-01 to a date; NaN when there is no such date."""
    try:
        years = int(year)
        if len(year) <= 2:
            years += 1900 if years >= _FIRST_YEAR % 100 else 2000
        if years not in range(_FIRST_YEAR, tol.LAST_YEAR + 1):
            return _NAN
        return float(dt.date(years, int(month), int(day)).toordinal() - _DAY_ZERO)
    except (ValueError, OverflowError):  # a month of twenty digits overflows
        return _NAN


def _position(fields: list[str], at: int, notes: Notes) -> tuple[float, float, int]:
    latitude = fields[at]
    lat = angle(latitude, fields[at + 1], "N", "S", notes)
    lon = angle(fields[at + 2], fields[at + 3], "E", "W", notes)
    return lat, lon, len(latitude)


def _mode_quality(modes: str) -> float:
    """GGA code of the best of one or more mode letters; NaN when none is stated."""
    return next((code for letter, code in MODES.items() if letter in modes), _NAN)


def _void_modes(modes: str) -> bool:
    return bool(modes) and not modes.strip("N")


def decode_rmc(fields: list[str], notes: Notes) -> tuple[float, ...]:
    """Values of `POSITION_COLUMNS`; any status but A is void (V: navigation receiver warning)."""
    date, mode = fields[8], fields[11]
    valid = fields[1] == "A" and not _void_modes(mode)
    day = _NAN
    if date:
        day = day_number(date[:2], date[2:4], date[4:])
        notes["unreadable_field"] += day != day  # noqa: PLR0124  True for NaN alone
    speed = number(fields[6], notes, 0.0) * KNOT_M_S
    course = number(fields[7], notes, 0.0, 360.0)
    return *_position(fields, 2, notes), valid, _mode_quality(mode), speed, course, day, _NAN, _NAN


def decode_gga(fields: list[str], notes: Notes) -> tuple[float, ...]:
    """Values of `POSITION_COLUMNS`; quality 0, or one that the standard does not know, is void."""
    stated = fields[5].strip()
    quality = GGA_QUALITIES.get(stated, 0) if stated else _NAN
    hdop = number(fields[7], notes, 0.0)
    satellites = number(fields[6], notes, 0.0, 1000.0)
    return *_position(fields, 1, notes), quality != 0, quality, _NAN, _NAN, _NAN, hdop, satellites


def decode_gns(fields: list[str], notes: Notes) -> tuple[float, ...]:
    """Values of `POSITION_COLUMNS`; void when every system's mode letter is N."""
    modes = fields[5]
    hdop = number(fields[7], notes, 0.0)
    satellites = number(fields[6], notes, 0.0, 1000.0)
    valid = not _void_modes(modes)
    return *_position(fields, 1, notes), valid, _mode_quality(modes), _NAN, _NAN, _NAN, hdop, satellites


def decode_gll(fields: list[str], notes: Notes) -> tuple[float, ...]:
    """Values of `POSITION_COLUMNS`; the oldest form of the sentence has no status."""
    mode = fields[6]
    valid = fields[5] in {"A", ""} and not _void_modes(mode)
    return *_position(fields, 0, notes), valid, _mode_quality(mode), _NAN, _NAN, _NAN, _NAN, _NAN


POSITION_DECODERS = {"GLL": decode_gll, "RMC": decode_rmc, "GNS": decode_gns, "GGA": decode_gga}
"""Sentences with time and position; where they disagree, the later in this order is preferred:
GGA and GNS state the quality of their own position."""


def decode_zda(fields: list[str], _notes: Notes) -> tuple[float, float]:
    """Time of day [s] and date [days since 1970-01-01]."""
    return time_of_day(fields[0]), day_number(fields[1], fields[2], fields[3])


def decode_gst(fields: list[str], notes: Notes) -> tuple[float, float]:
    """Time of day [s] and horizontal standard deviation [m], from those of latitude and longitude."""
    return time_of_day(fields[0]), math.hypot(number(fields[5], notes, 0.0), number(fields[6], notes, 0.0))


def decode_vtg(fields: list[str], notes: Notes) -> tuple[float, float]:
    """Speed [m/s], from knots or else km/h, and course [deg]; NaN in mode N."""
    if _void_modes(fields[8]):
        return _NAN, _NAN
    speed = number(fields[4], notes, 0.0) * KNOT_M_S
    if math.isnan(speed):
        speed = number(fields[6], notes, 0.0) / 3.6
    return speed, number(fields[0], notes, 0.0, 360.0)


def decode_gsa(fields: list[str], notes: Notes) -> tuple[float, float]:
    """Mode (1 no fix, 2 plane, 3 space) and HDOP, after twelve satellites and the PDOP; NaN without a fix."""
    mode = number(fields[1], notes, 1.0, 3.0)
    return mode, number(fields[15], notes, 0.0) if mode > 1.0 else _NAN


ASIDE_DECODERS = {"VTG": decode_vtg, "GSA": decode_gsa, "ZDA": decode_zda, "GST": decode_gst}
"""Sentences without a position; each decoder gives two values."""


@dataclass(frozen=True)
class Transducer:
    """One XDR measurement: ``name`` is FLOW [L/min], PRESSURE [bar] or BOOM with its section (0 = whole)."""

    name: str
    section: int
    value: float


_BOOM = re.compile(r"BOOM([1-9]\d{0,2})?")
_FACTORS = {("FLOW", "R", "L"): 60.0, ("PRESSURE", "P", "B"): 1.0, ("PRESSURE", "P", "P"): 1e-5}


def decode_xdr(fields: list[str], notes: Notes) -> list[Transducer]:
    """Transducers of the contract in one XDR sentence; others are stepped over.

    One of ours with a wrong type, unit or value is noted. Flow is in L/s, pressure in bar or pascal.
    """
    found, noted = _transducers(tuple(fields))
    notes.update(noted)
    return found


@lru_cache(maxsize=256)  # a switch says the same for hours
def _transducers(fields: tuple[str, ...]) -> tuple[list[Transducer], Notes]:
    found, notes = [], Notes()
    quadruples = zip(fields[::4], fields[1::4], fields[2::4], fields[3::4], strict=False)
    for kind, text, unit, label in quadruples:
        name = label.strip().upper()
        boom = _BOOM.fullmatch(name)
        if boom is None and name not in {"FLOW", "PRESSURE"}:
            continue
        value = number(text, notes)
        factor = _FACTORS.get((name, kind.strip().upper(), unit.strip().upper()))
        if boom is not None and kind.strip().upper() == "S" and value in {0.0, 1.0}:
            found.append(Transducer("BOOM", int(boom[1] or 0), value))
        elif factor is not None and value >= 0.0:
            found.append(Transducer(name, 0, value * factor))
        else:
            notes["unreadable_transducer"] += 1
    return found, notes
