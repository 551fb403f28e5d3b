"""Read KML with times: gx:Track, and placemarks of a point with a TimeStamp (OGC 12-007r2 and its extensions)."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.read.xml import broken_xml, parse_to_break

from .form import SEGMENTS, TrackForm
from .plain import UTC, cut_caution, plain_log, seconds_of

if TYPE_CHECKING:
    from coverage_audit.read.records import TrackLog

# nothing that was read once is read another way: thirty declarations one after the other would take a minute
_ROOT = re.compile(rb"\s*+(?>(?:<\?.*?\?>|<!--.*?-->)\s*+)*+<(?:[\w.-]+:)?kml[\s/>]", re.DOTALL)
_MORE = re.compile(rb"<(?:[\w.-]+:)?(?:coord|when|coordinates)[\s>]")


class _Tracks:
    """Collects times and places while the XML goes by."""

    def __init__(self) -> None:
        self.rows: list[tuple[str, str, int]] = []  # time, place, segment
        self.unpaired = 0
        self.lines = 0
        self.others = 0  # placemarks with a time or a place alone
        self._text: list[str] = []
        self._open: list[str] = []
        self._when: list[str] = []
        self._where: list[str] = []
        self._stamp = self._point = ""
        self._segment = 0

    def start(self, tag: str, _attributes: dict[str, str]) -> None:
        self._open.append(tag)
        self._text.clear()
        if tag == "Track":
            self._when, self._where = [], []
        elif tag == "Placemark":
            self._stamp = self._point = ""

    def end(self, tag: str) -> None:
        text = "".join(self._text).strip()
        self._text.clear()
        self._open.pop()
        parent = self._open[-1] if self._open else ""
        if tag == "Track":
            self.close_track()
        elif tag == "when":
            if parent == "Track":
                self._when.append(text)
            elif parent == "TimeStamp":
                self._stamp = text
        elif tag == "coord" and parent == "Track":
            self._where.append(text)
        elif tag == "coordinates":
            self._point = text.replace(",", " ") if parent == "Point" else self._point
            self.lines += parent == "LineString"
        elif tag == "Placemark" and self._stamp and self._point:
            self.rows.append((self._stamp, self._point, 0))
        elif tag == "Placemark":
            self.others += bool(self._stamp) != bool(self._point)

    def close_track(self) -> None:
        """Pair the times and places of a track; what has no counterpart is counted."""
        pairs = list(zip(self._when, self._where, strict=False))
        self.unpaired += max(len(self._when), len(self._where)) - len(pairs)
        self._segment += 1
        self.rows += [(when, where, self._segment) for when, where in pairs]
        self._when, self._where = [], []

    def text(self, part: str) -> None:
        self._text.append(part)


def read_kml_track(data: bytes, name: str) -> TrackLog:
    """Read the tracks of a KML file; one that is cut off is read to its last whole place.

    Raises
    ------
    InputError
        Damaged XML with places behind the damage, no place with a time, or none that can be used.
    """
    found = _Tracks()
    broken = parse_to_break(data, name, found.start, found.end, found.text)
    line = broken.line if broken else 0
    if broken is not None:
        found.close_track()
        if _MORE.search(broken.rest.replace(b"\0", b"")) or not found.rows:
            raise broken_xml(broken, name)
    if not found.rows:
        lines = f" ({found.lines} line(s) without times are)" if found.lines else ""
        raise InputError(f"no place with a time is in it{lines}; export the track with its times", name)
    times, places, segments = zip(*found.rows, strict=True)
    lon, lat = np.array([_lonlat(place) for place in places]).reshape(-1, 2).T
    columns = {
        "time_s": seconds_of(times, UTC, "", name),
        "lat_deg": lat,
        "lon_deg": lon,
        "segment": np.array(segments, float),
    }
    lost = {"cut_off" if line else "unpaired": found.unpaired}
    cautions = cut_caution(name, "end", len(found.rows) if line else 0, "place", line)
    return plain_log(
        *(data, name, "KML", "place", columns),
        lost=lost,
        notes={"placemark_without_time": found.others},
        cautions=cautions,
    )


def _lonlat(text: str) -> tuple[float, float]:
    """Longitude and latitude of "lon lat height", NaN where there is none."""
    parts = text.replace("_", "?").split()
    try:
        return (float(parts[0]), float(parts[1])) if 2 <= len(parts) <= 3 else (np.nan, np.nan)
    except ValueError:
        return np.nan, np.nan


def is_kml(data: bytes) -> bool:
    """Whether the root of *data* is that of KML."""
    head = (
        data[:4096]
        .replace(b"\0", b"")
        .removeprefix(b"\xef\xbb\xbf")
        .removeprefix(b"\xff\xfe")
        .removeprefix(b"\xfe\xff")
    )
    return _ROOT.match(head) is not None


KML_TRACK = TrackForm("KML", frozenset({SEGMENTS}), is_kml, lambda data, name, _asked: read_kml_track(data, name))
"""As the registry knows it."""
