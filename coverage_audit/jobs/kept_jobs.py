"""Jobs that a farm's folder holds already: which logs and which time they are of."""

from __future__ import annotations

import datetime as dt
import posixpath
import zoneinfo
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from .checks import local_moment
from .checks import timezone as timezone_name
from .toml import toml_of

if TYPE_CHECKING:
    from coverage_audit.read.source import Source

JOBS, JOB_FILE = "jobs", "job.toml"


@dataclass(frozen=True)
class KeptJob:
    """A job's folder ("jobs/2026-05-30-east-bench"), and what its file says of logs, outline and time.

    Files are named from the farm's folder. ``from_s``, ``to_s`` are None where the log is not cut there; ``fault``
    says why the file cannot be read, and then nothing else is known. ``machine`` is the farm's, "" where none is named.
    """

    folder: str
    logs: frozenset[str] = frozenset()
    boundary: str = ""
    from_s: float | None = None
    to_s: float | None = None
    fault: str = ""
    machine: str = ""

    def holds(self, logs: frozenset[str], boundary: str, start_s: float, end_s: float) -> bool:
        """Whether this may be the job of these *logs* on this field and of this time."""
        same_time = (self.to_s is None or start_s <= self.to_s) and (self.from_s is None or self.from_s <= end_s)
        return bool(self.logs & logs) and same_time and self.boundary == boundary


def kept_jobs(source: Source, timezone: str) -> tuple[KeptJob, ...]:
    """Every job in the farm's folder; *timezone* is the farm's."""
    files = [name for name in source.files_in(JOBS) if posixpath.basename(name) == JOB_FILE]
    return tuple(_kept(source, name, timezone) for name in files)


def _kept(source: Source, name: str, timezone: str) -> KeptJob:
    folder = posixpath.dirname(name)
    try:
        data = toml_of(source.read(name), "this is not a job file")
        job, track, field = (_table(data, one) for one in ("job", "track", "field"))
        files = track.get("files", [])
        own = files if isinstance(files, list) else [files]
        zone = zoneinfo.ZoneInfo(timezone_name(job.get("timezone", timezone or "UTC"), name))
        from_s, to_s = (_moment(track.get(key), zone, name) for key in ("from", "to"))
    except InputError as error:
        return KeptJob(folder, fault=error.what)
    logs = frozenset(_from_farm(folder, one) for one in own if isinstance(one, str))
    boundary = _from_farm(folder, str(field.get("boundary", "")))
    return KeptJob(folder, logs, boundary, from_s, to_s, machine=str(job.get("machine", "")))


def _table(data: dict[str, Any], name: str) -> dict[str, Any]:
    found = data.get(name, {})
    return found if isinstance(found, dict) else {}


def _from_farm(folder: str, name: str) -> str:
    return posixpath.normpath(posixpath.join(folder, name.replace("\\", "/")))


def _moment(value: object, zone: dt.tzinfo, place: str) -> float | None:
    """A moment with its date; a time of day alone says nothing without the log. [s since 1970 UTC]"""
    found = None if value is None else local_moment(value, place)
    if not isinstance(found, dt.datetime):
        return None
    return (found if found.tzinfo else found.replace(tzinfo=zone)).timestamp()
