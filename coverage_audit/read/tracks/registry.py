"""Read one GNSS log, told apart by content and not by name: the forms, in the order in which they are tried."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.read.source import read_bytes

from .gpx import GPX
from .nmea import NMEA

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from coverage_audit.read.records import TrackLog
    from coverage_audit.read.source import InputFile

    from .form import TrackForm

FORMS: tuple[TrackForm, ...] = (GPX, NMEA)
"""Every form of track log that is read. A new one is a module like ``gpx`` and a word here."""


def read_track(path: Path, job_date: dt.date | None = None) -> TrackLog:
    """Read a log of one of the ``FORMS``.

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
        The file cannot be read, is empty, too large, of no form that is read, damaged, or has no usable fix.
    """
    return track_of(read_bytes(path), job_date)


def track_of(file: InputFile, job_date: dt.date | None = None) -> TrackLog:
    """Read a log whose bytes are at hand; else as :func:`read_track`."""
    for form in FORMS:
        if form.recognises(file.data):
            return form.read(file.data, file.name, job_date)
    names = " nor ".join(form.name for form in FORMS)
    raise InputError(f"is neither {names}; export the log from the receiver or app as one of them", file.name)
