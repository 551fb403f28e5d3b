"""Read a track from a table (CSV): columns by their names, in any order."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError

from .form import TrackForm
from .plain import LOCAL, UTC, cut_caution, plain_log, seconds_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import FloatArray
    from coverage_audit.read.records import TrackLog

    from .form import Asked

_DELIMITERS = ",;\t"
_NAMES = {
    "lat": ("lat", "latitude"),
    "lon": ("lon", "lng", "long", "longitude"),
    "time": ("time", "timestamp", "datetime", "date_time", "gpstime", "when"),
    "date": ("date",),
    "hdop": ("hdop",),
    "satellites": ("satellites", "sats", "num_sats", "nsat"),
    "speed": ("speed_m_s", "speed_mps", "speed_kmh", "speed_km_h", "speed_mph", "speed_kn", "speed_knots"),
    "course": ("course", "cog"),
}
"""Names of columns, in small letters with "_" for all else between words, without what ``_DRESS`` takes off."""

_DRESS = re.compile(r"^(gps|position|pos)_|_(deg|degrees|dd|wgs84)$")

_SPEED = {
    "m_s": 1.0,
    "mps": 1.0,
    "kmh": 1 / 3.6,
    "km_h": 1 / 3.6,
    "mph": 0.44704,
    "kn": 1852 / 3600,
    "knots": 1852 / 3600,
}
"""Metres per second of the unit that ends a column's name; a speed without unit is left aside."""

_YEAR_FIRST = re.compile(r"^(\d{4})[/.](\d\d)[/.](\d\d)(?=[ T])")
"""A date that can be read in one way only, as some programs write it; with the day or month first it cannot."""

_COMPARED = 20  # lines that the last one is held against

_PROJECTED = {"easting", "northing", "utm_e", "utm_n", "utm_x", "utm_y", "x", "y", "rechtswert", "hochwert"}
_ZONES = {"utc": UTC, "gmt": UTC, "z": UTC, "local": LOCAL}


def is_table(data: bytes) -> bool:
    """Whether the first line is a header with a place in it."""
    names = set(_header(data)[1])
    places = {name for kind in ("lat", "lon") for name in _NAMES[kind]}
    return bool(names & places) or (len(names & _PROJECTED) > 1 and any(_is_time(name) for name in names))


def _header(data: bytes) -> tuple[str, list[str]]:
    """Delimiter and column names of the first line."""
    text = _text(data[:4096]).lstrip("\ufeff \r\n")
    line = text.splitlines()[0] if text else ""
    delimiter = max(_DELIMITERS, key=line.count)
    return delimiter, [_plain(cell) for cell in line.split(delimiter)] if delimiter in line else []


def _text(data: bytes) -> str:
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    return data.decode(encoding, "replace")


def _plain(cell: str) -> str:
    """A column's name in small letters, everything that is no letter or digit as one "_"."""
    return _DRESS.sub("", re.sub(r"[^a-z0-9]+", "_", cell.strip().strip("\"'").lower()).strip("_"))


def _is_time(name: str) -> bool:
    return _time_kind(name) is not None


def _time_kind(name: str) -> str | None:
    """What a column's name says of the zone of its times ("" nothing); None where it is no column of times."""
    words = name.split("_")
    zone = next((_ZONES[word] for word in words if word in _ZONES), "")
    rest = "_".join(word for word in words if word not in _ZONES)
    return zone if rest in _NAMES["time"] or (not rest and zone) or rest in ("unix", "epoch", "unix_time") else None


def read_table(data: bytes, name: str, asked: Asked) -> TrackLog:
    """Read a table with a latitude, a longitude and a time in every row.

    Raises
    ------
    InputError
        A column is missing or there twice, times without a zone, or no row can be used.
    """
    delimiter, names = _header(data)
    columns = _columns(names, name)
    rows, torn = _rows(data, delimiter, len(names), name)

    def column(kind: str) -> list[str]:
        return [row[columns[kind]].strip() for row in rows] if kind in columns else [""] * len(rows)

    times = column("time")
    if "date" in columns:
        times = [f"{day} {clock}" for day, clock in zip(column("date"), times, strict=True)]
    zone = _time_kind(names[columns["time"]]) or ""
    place = f'{name}, column "{names[columns["time"]]}"'
    times = [_YEAR_FIRST.sub(r"\1-\2-\3", text) for text in times]
    time_s = seconds_of(times, zone, asked.timezone, place)
    if rows and not np.isfinite(time_s).any():
        raise InputError(f'"{times[0][:40]}" is no date and time that can be read; write 2026-05-30T13:00:00Z', place)
    comma = delimiter != ","
    speed = _SPEED[re.sub(r"^speed_", "", names[columns["speed"]])] if "speed" in columns else 1.0
    found = {
        "time_s": time_s,
        "lat_deg": _numbers(column("lat"), comma=comma),
        "lon_deg": _numbers(column("lon"), comma=comma),
        "hdop": _within(_numbers(column("hdop"), comma=comma), 0, np.inf),
        "satellites": _within(_numbers(column("satellites"), comma=comma), 0, 1000),
        "speed_m_s": _within(_numbers(column("speed"), comma=comma) * speed, 0, np.inf),
        "course_deg": _within(_numbers(column("course"), comma=comma), 0, 360),
    }
    cautions = cut_caution(name, "row", len(rows) if torn else 0, "row")
    return plain_log(*(data, name, "CSV", "row", found), lost={"cut_off": torn}, cautions=cautions)


def _columns(names: Sequence[str], file: str) -> dict[str, int]:
    """Place of each kind of column."""
    found: dict[str, int] = {}
    for place, column in enumerate(names):
        kind = "time" if _is_time(column) else next((kind for kind, known in _NAMES.items() if column in known), None)
        if kind is None:
            continue
        if kind in found:
            raise InputError(
                f'the columns "{names[found[kind]]}" and "{column}" both look like its {kind}; keep one', file
            )
        found[kind] = place
    if "date" in found and "time" not in found:
        found["time"] = found.pop("date")  # a date with a time of day, as some call it
    if not {"lat", "lon"} & found.keys() and _PROJECTED & set(names):
        raise InputError("it has eastings and northings; export latitude and longitude in degrees (WGS 84)", file)
    missing = [words for kind, words in _NEEDED.items() if kind not in found]
    if missing:
        listed = ", ".join(names)[:200]
        raise InputError(f"it has no column {' and no column '.join(missing)} (its columns: {listed})", file)
    return found


_NEEDED = {"lat": "lat", "lon": "lon", "time": "time_utc"}


def _rows(data: bytes, delimiter: str, width: int, name: str) -> tuple[list[list[str]], int]:
    """Rows below the header, as wide as it; and 1 where the last one breaks off."""
    text = _text(data).lstrip("\ufeff \r\n")
    reader = csv.reader(io.StringIO(text.replace("\0", ""), newline=""), delimiter=delimiter)
    rows: list[list[str]] = []
    try:
        rows += (row for row in reader if any(cell.strip() for cell in row))
    except csv.Error as error:
        raise InputError(f"this is not a table ({error}); save it as CSV", f"{name}, line {reader.line_num}") from error
    torn = int(len(rows) > 1 and not text.endswith(("\n", "\r")) and (len(rows[-1]) < width or _is_short(text)))
    body = rows[1 : len(rows) - torn]
    return [row + [""] * (width - len(row)) for row in body], torn


def _is_short(text: str) -> bool:
    """Whether the last line is shorter than each of those before it: its last cell may be cut within a number."""
    *before, last = text.splitlines()[-_COMPARED:]
    return len(last) < min(map(len, before), default=0)


def _numbers(texts: Sequence[str], *, comma: bool) -> FloatArray:
    """Numbers of cells, NaN where there is none; *comma*: a decimal comma is one."""
    found = np.full(len(texts), np.nan)
    for place, text in enumerate(texts):
        plain = text.replace(",", ".") if comma else text
        try:
            found[place] = float(plain) if "_" not in plain else np.nan
        except ValueError:
            continue
    found[~np.isfinite(found)] = np.nan
    return found


def _within(column: FloatArray, least: float, most: float) -> FloatArray:
    return np.where((column >= least) & (column <= most), column, np.nan)


TABLE = TrackForm("CSV with columns lat, lon and time_utc", frozenset(), is_table, read_table)
"""As the registry knows it."""
