"""Read GPX 1.0 and 1.1: tracks as fixes, timed waypoints as marks, tracks and routes as lines.

A reader of our own (``gpx_xml``): the object tree of a general GPX library takes several times as
long, and loses the whole file for one unreadable optional field.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.records import Fixes, Mark, TrackLog
from coverage_audit.read.times import iso_moment

from .faults import find_faults, out_of_range, refuse_unusable, time_out_of_range, within_turn, zero_position
from .form import MARKS, QUALITY, SEGMENTS, TrackForm
from .gpx_xml import parse
from .kml_track import is_kml
from .plain import cut_caution

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from coverage_audit.arrays import FloatArray

    from .gpx_xml import Document

_UTF16_XML_STARTS = (b"\xff\xfe<\0", b"\xfe\xff\0<")
_XML_START = re.compile(rb"(?:\xef\xbb\xbf)?\s*<[?!A-Za-z_]")
# GPX fix types as NMEA GGA quality codes; "pps" is the precise service, code 3.
_FIX_QUALITY = {"none": 0, "2d": 1, "3d": 1, "dgps": 2, "pps": 3}
_NOT_NEGATIVE = (0.0, math.inf)
# Without this NumPy would read years of five digits, and warn of a zone before the "Z".
_USUAL_TIMES = re.compile(r"(?:\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?Z\n)*+", re.ASCII)


def read_gpx(data: bytes, name: str) -> TrackLog:
    """Read the tracks and timed waypoints of a GPX file.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        File name, for messages and ``TrackLog.file``.

    Returns
    -------
    TrackLog
        Track points in file order; ``segment`` counts every track segment, empty ones too. A file that is cut off
        at its end, as when a phone dies, is read to its last whole point.

    Raises
    ------
    InputError
        Damaged XML with points behind the damage or no whole one before it, an entity declaration, not GPX,
        no track point, or none that can be used.
    """
    document = parse(data, name, whole=False)
    if not document.lat:
        raise InputError("has no track points; export the track itself, not only routes or waypoints", name)
    lat, lon = _floats(document.lat), within_turn(_floats(document.lon))
    time = _times(document.time)
    usable, dropped = find_faults(time, lat, lon)
    if not usable.any():
        refuse_unusable(name, "track point", dropped, lat, lon)
    notes: Counter[str] = Counter()
    columns = {
        "time_s": time,
        "lat_deg": lat,
        "lon_deg": lon,
        "segment": np.array(document.segment, dtype=np.int64),
        "gst_m": np.full(len(lat), np.nan),
        **_optional_columns(document, len(lat), notes),
    }
    marks = _marks(document, notes)
    return TrackLog(
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        form=f"GPX {document.version}",
        fixes=Fixes(**{column: values[usable] for column, values in columns.items()}),
        fixes_read=len(lat) + document.cut_points,
        dropped={"bad_checksum": 0, **dropped, **({"cut_off": document.cut_points} if document.cut_points else {})},
        notes={label: count for label, count in notes.items() if count},
        marks=marks,
        cautions=_cautions(name, document, notes),
    )


def gpx_lines(data: bytes, name: str) -> list[tuple[str, FloatArray]]:
    """Lines of a GPX file: every track segment and route that has points, times or not.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        File name, for messages.

    Returns
    -------
    list of (str, ndarray of float, shape (n, 2))
        Name of the track or route ("" if it has none) and longitude, latitude. [deg]

    Raises
    ------
    InputError
        Damaged XML, an entity declaration, not GPX, or a point without a usable position: a line
        around a field must not lose a corner unseen.
    """
    document = parse(data, name, whole=True)
    segments = np.array(document.segment, dtype=np.int64)
    track = _points(document.lat, document.lon)
    lines = [(document.segment_names[number], track[segments == number]) for number in np.unique(segments).tolist()]
    lines += [(route.name, _points(route.lat, route.lon)) for route in document.routes if route.lat]
    for title, line in lines:
        _require_positions(line, title or "unnamed line", name)
    return lines


def gpx_line_times(data: bytes, name: str) -> list[tuple[float, float] | None]:
    """First and last time of each line of :func:`gpx_lines`, in its order; None where a point has none. [s since 1970]

    Raises
    ------
    InputError
        As :func:`gpx_lines`.
    """
    document = parse(data, name, whole=True)
    segments, time = np.array(document.segment, dtype=np.int64), _times(document.time)
    of_tracks = [time[segments == number] for number in np.unique(segments).tolist()]
    known = [(float(one.min()), float(one.max())) if np.isfinite(one).all() else None for one in of_tracks]
    return known + [None for route in document.routes if route.lat]


def _points(lat: list[str | None], lon: list[str | None]) -> FloatArray:
    return np.column_stack([within_turn(_floats(lon)), _floats(lat)])


def _require_positions(line: FloatArray, title: str, name: str) -> None:
    lon, lat = line.T
    bad = np.isnan(lat) | np.isnan(lon) | out_of_range(lat, lon) | zero_position(lat, lon)
    if bad.any():
        raise InputError(
            "the position is missing, out of range or 0, 0; correct or delete this point",
            f'{name}, line "{title}", point {int(np.argmax(bad)) + 1}',
        )


# --- from text to numbers -------------------------------------------------------------------


def _float(text: str | None) -> float:
    """Finite number that *text* states, else NaN."""
    try:
        value = float(text or "")
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def _floats(texts: Collection[str | None]) -> FloatArray:
    try:
        values = np.fromiter(map(float, texts), dtype=np.float64, count=len(texts))  # type: ignore[arg-type]
    except (TypeError, ValueError):  # some are missing or unreadable
        return np.array([_float(text) for text in texts], dtype=np.float64)
    values[~np.isfinite(values)] = np.nan
    return values


def _times(texts: list[str]) -> FloatArray:
    """Seconds since 1970 UTC; all at once where every text is the usual "2024-05-30T13:00:00.0Z"."""
    if _USUAL_TIMES.fullmatch("\n".join([*texts, ""])):
        try:
            moments = np.array([text[:-1] for text in texts], dtype="datetime64[us]")
        except ValueError:  # some are on no calendar
            pass
        else:
            return moments.astype(np.int64) / 1e6
    return np.array([_seconds(text) for text in texts])


def _seconds(text: str) -> float:
    """Seconds since 1970 UTC of an ISO 8601 date and time (UTC when it names no zone), else NaN."""
    try:
        moment = iso_moment(text.strip())
        return math.nan if moment is None else moment.timestamp()
    except (ValueError, OverflowError):
        return math.nan


def _optional_columns(document: Document, count: int, notes: Counter[str]) -> dict[str, NDArray[Any]]:
    """Columns of the optional fields; what cannot be read costs no point and is counted in *notes*."""
    _optional(document.optional["ele"], count, "ele", notes, (-math.inf, math.inf))
    satellites = _optional(document.optional["sat"], count, "sat", notes, (0, 1000))
    speed, course = document.optional["speed"], document.optional["course"]
    if document.version != "1.0":  # no core elements in GPX 1.1: their unit is anybody's guess
        speed, course = {}, {}
    quality = np.full(count, -1, dtype=np.int64)
    for index, text in document.optional["fix"].items():
        quality[index] = _FIX_QUALITY.get(text.strip(), -1)
        notes["bad_fix"] += int(quality[index] < 0)
        notes["fix_none"] += int(quality[index] == 0)
    return {
        "quality": quality,
        "satellites": np.where(np.isnan(satellites), -1, satellites).astype(np.int64),
        "hdop": _optional(document.optional["hdop"], count, "hdop", notes),
        "speed_m_s": _optional(speed, count, "speed", notes),
        "course_deg": _optional(course, count, "course", notes, (0, 360)),
    }


def _optional(
    texts: Mapping[int, str], count: int, label: str, notes: Counter[str], limits: tuple[float, float] = _NOT_NEGATIVE
) -> FloatArray:
    """Column of *count* numbers, NaN where there is none or none within *limits*."""
    least, most = limits
    column = np.full(count, np.nan)
    if texts:
        values = _floats(texts.values())
        values[~((values >= least) & (values <= most))] = np.nan
        column[np.fromiter(texts, dtype=np.int64)] = values
        notes[f"bad_{label}"] += int(np.isnan(values).sum())
    return column


def _marks(document: Document, notes: Counter[str]) -> tuple[Mark, ...]:
    marks = []
    for texts in document.waypoints:
        time_s = _seconds(texts.get("time", ""))
        if math.isnan(time_s):
            notes["waypoint_without_time"] += 1
        elif time_out_of_range(np.array(time_s)):
            notes["waypoint_time_out_of_range"] += 1
        else:
            marks.append(Mark(time_s, texts.get("name", "").strip(), texts.get("type", "").strip()))
    return tuple(marks)


def _cautions(name: str, document: Document, notes: Counter[str]) -> tuple[Caution, ...]:
    line = document.cut_line
    cautions = cut_caution(name, "end", len(document.lat) if line else 0, "track point", line)
    bad = tuple((label.removeprefix("bad_"), n) for label, n in notes.items() if label.startswith("bad_") and n)
    if bad:
        cautions.append(Caution("fields unreadable", file=name, fields=bad))
    if notes["fix_none"]:
        cautions.append(Caution("points without satellites", file=name, count=notes["fix_none"]))
    return tuple(cautions)


# --- what the registry knows ------------------------------------------------------------------


def is_gpx(data: bytes) -> bool:
    """Whether *data* is XML and no KML: such a log can only be GPX, and what else it is then says the reader."""
    return (data.startswith(_UTF16_XML_STARTS) or _XML_START.match(data) is not None) and not is_kml(data)


GPX = TrackForm("GPX", frozenset({SEGMENTS, MARKS, QUALITY}), is_gpx, lambda data, name, _asked: read_gpx(data, name))
"""As the registry knows it."""
