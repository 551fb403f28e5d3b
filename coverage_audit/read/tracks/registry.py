"""Read one GNSS log, GPX or NMEA 0183, told apart by content and not by name."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.read.source import read_bytes

from .gpx import read_gpx
from .nmea import read_nmea
from .nmea_sentences import has_sentence

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from coverage_audit.read.records import TrackLog

_UTF16_XML_STARTS = (b"\xff\xfe<\0", b"\xfe\xff\0<")
_XML_START = re.compile(rb"(?:\xef\xbb\xbf)?\s*<[?!A-Za-z_]")


def read_track(path: Path, job_date: dt.date | None = None) -> TrackLog:
    """Read a GPX 1.0/1.1 or NMEA 0183 log.

    Parameters
    ----------
    path : Path
        The file.
    job_date : datetime.date, optional
        UTC date of the first fix, for an NMEA log without dates.

    Returns
    -------
    TrackLog
        Fixes in file order; duplicate or backward times are still in it.

    Raises
    ------
    InputError
        The file cannot be read, is empty, too large, of neither form, damaged, or has no usable fix.
    """
    source = read_bytes(path)
    data = source.data
    if data.startswith(_UTF16_XML_STARTS) or _XML_START.match(data):
        return read_gpx(data, source.name)
    if has_sentence(data):
        return read_nmea(data, source.name, job_date)
    raise InputError(
        "is neither GPX nor NMEA 0183; export the log from the receiver or app as one of them", source.name
    )
