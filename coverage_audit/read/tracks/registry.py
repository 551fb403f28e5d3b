"""Read GNSS logs, told apart by content and not by name: the forms, in the order in which they are tried."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.source import Folder
from coverage_audit.read.tolerances import JOB_DATE_SLACK_DAYS

from .fit import FIT
from .form import Asked
from .geojson_track import GEOJSON_TRACK
from .gpx import GPX
from .kml_track import KML_TRACK
from .nmea import NMEA
from .opened import opened_logs
from .table import TABLE

if TYPE_CHECKING:
    from pathlib import Path

    from coverage_audit.read.records import TrackLog
    from coverage_audit.read.source import InputFile, Source

    from .form import TrackForm

FORMS: tuple[TrackForm, ...] = (GPX, NMEA, KML_TRACK, FIT, GEOJSON_TRACK, TABLE)
"""Every form of track log that is read. A new one is a module like ``gpx`` and a word here."""
_GZIP = b"\x1f\x8b"


def logs_of(source: Source, name: str, asked: Asked) -> list[TrackLog]:
    """Read every log that one name stands for: a file, a zip file with logs in it, or task data in a folder.

    Raises
    ------
    InputError
        As :func:`read_track`; a zip file or folder without any log.
    """
    opened = opened_logs(source, name, asked, form_of)
    return opened if isinstance(opened, list) else [track_of(opened, asked)]


def read_track(path: Path, job_date: dt.date | None = None) -> TrackLog:
    """Read a file or folder that holds one log.

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
    first, *others = logs_of(Folder(path.parent), path.name, Asked(date=job_date))
    if others:
        raise InputError(f"it holds {1 + len(others)} logs; give one of them", path.name)
    return first


def form_of(data: bytes) -> TrackForm | None:
    """The form of a log's bytes; None for what is of none that is read."""
    return next((form for form in FORMS if form.recognises(data)), None)


def track_of(file: InputFile, asked: Asked) -> TrackLog:
    """Read a log whose bytes are at hand; else as :func:`read_track`."""
    form = form_of(file.data)
    if form is None:
        names = " nor ".join(one.name for one in FORMS)
        if file.data.startswith(_GZIP):
            raise InputError("is packed (gzip); unpack it, and give what is in it", file.name)
        raise InputError(f"is neither {names}; export the log from the receiver or app as one of them", file.name)
    return _dated(form.read(file.data, file.name, asked), asked.date)


def _dated(log: TrackLog, job_date: dt.date | None) -> TrackLog:
    """*log*, with a caution where it is of another day than the job, unless its reader has told that already."""
    if job_date is None or any(one.code == "job date differs" for one in log.cautions):
        return log
    # of its middle fix: the first may have been logged before the clock was set
    logged = dt.date(1970, 1, 1) + dt.timedelta(seconds=float(np.median(log.fixes.time_s)))
    if abs((logged - job_date).days) <= JOB_DATE_SLACK_DAYS:
        return log
    other = Caution("job date differs", file=log.file, job_date=str(job_date), logged=str(logged))
    return replace(log, cautions=(*log.cautions, other))
