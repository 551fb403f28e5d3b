"""Logs of a farm's folder cut into jobs: facts, and the files of the new jobs by name."""

from __future__ import annotations

import json
import posixpath
import zoneinfo
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from coverage_audit.days.cut import cut_days
from coverage_audit.days.model import DayLog, DayMachine
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.ground.target import sound
from coverage_audit.jobs.farm import machine_of, read_farm
from coverage_audit.jobs.fields import kept_fields
from coverage_audit.jobs.kept_jobs import JOBS, kept_jobs
from coverage_audit.papers.day_files import DRAFTS, day_facts, day_text, new_files
from coverage_audit.papers.farm_files import FARM_FILE
from coverage_audit.papers.words.safe import json_text
from coverage_audit.read.outlines.registry import field_of
from coverage_audit.read.source import Folder, is_there
from coverage_audit.read.tracks.form import Asked
from coverage_audit.read.tracks.joined import joined
from coverage_audit.read.tracks.registry import logs_of

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.jobs.farm import Farm
    from coverage_audit.jobs.kept_jobs import KeptJob
    from coverage_audit.read.records import TrackLog

    Progress = Callable[[str, float], None]

LOGS = "logs"
DONE = f"{JOBS}/cut.json"
"""Lists the logs that were cut, with their sizes: the next run leaves them alone."""

TASK_DATA = "taskdata.xml"


@dataclass(frozen=True)
class DayResult:
    """What was found, as ``day --json`` tells it, and the files of it: name from the farm's folder to content.

    ``units`` and ``zone`` are the farm's. ``done`` are (name, content) of the list of logs that are cut, to be written
    when all else is.
    """

    facts: dict[str, Any]
    files: dict[str, str]
    done: tuple[str, str]
    units: str
    zone: dt.tzinfo

    def json(self) -> str:
        """Return the facts as JSON text."""
        return json_text(self.facts, indent=2)

    def text(self, *, dry: bool = False) -> str:
        """Return the facts in words, in the farm's units and local time; *dry*: nothing was written."""
        return day_text(self.facts, self.units, self.zone, dry=dry)


def day_cut(folder: str | Path, logs: Sequence[str | Path], machine: str | None, progress: Progress) -> DayResult:
    """Cut whole days of logs of a farm's *folder* into jobs; nothing is written.

    Parameters
    ----------
    logs : sequence of str or Path
        Logs in the folder; without one, all that were not cut yet.
    machine : str or None
        The machine that made them; without one, by the log's folder or the only one of the farm.

    Raises
    ------
    InputError
        No farm or machine, or no log that can be read.
    """
    source = Folder(Path(folder))
    farm = read_farm(source, FARM_FILE)
    fields, kept = kept_fields(source), kept_jobs(source, farm.timezone)
    done = _done(source)
    names = _named(source, logs) if logs else [name for name in _logs(source) if done.get(name) != _size(source, name)]
    whose = {name: _machine(farm, name, machine) for name in names}
    read, not_read = _read(source, farm, names, progress, strict=bool(logs))
    day_logs = [DayLog(name, whose[name], log) for name, log in read.items()]
    plane = Plane(_origin(day_logs))
    booms = [DayMachine(name, *machine_of(farm, name)) for name in dict.fromkeys(whose[name] for name in read)]
    outlines = [sound(plane.geometry_to_metres(field.geometry)) for field in fields]
    zone = zoneinfo.ZoneInfo(farm.timezone or "UTC")
    cut = cut_days(booms, day_logs, outlines, plane, zone, progress)
    facts = day_facts(cut, day_logs, fields, kept, _drafts(source, plane), plane, zone)
    facts["not_read"] = [{"log": name, "why": why} for name, why in not_read]
    facts["jobs_without_log"] = _without_log(source, kept)
    facts["jobs_not_read"] = [{"job": one.folder, "why": one.fault} for one in kept if one.fault]
    open_logs = {name for ground in cut.unknown for name in ground.files}
    finished = {name: _size(source, name) for name in read if name not in open_logs}
    files = new_files(facts, cut, fields, plane, zone)
    list_done = json_text(dict(sorted({**done, **finished}.items())), indent=1)
    return DayResult(facts, files, (DONE, list_done), farm.units or "metric", zone)


# --- which logs -----------------------------------------------------------------------------------


def _logs(source: Folder) -> list[str]:
    """Logs in the farm's folder; task data in a folder of its own is one log."""
    names = source.files_in(LOGS)
    folders = {posixpath.dirname(name) for name in names if posixpath.basename(name).casefold() == TASK_DATA}
    return list(dict.fromkeys(next((one for one in folders if name.startswith(f"{one}/")), name) for name in names))


def _named(source: Folder, logs: Sequence[str | Path]) -> list[str]:
    """Names of given logs from the farm's folder.

    Raises
    ------
    InputError
        There is no such file, or it lies elsewhere.
    """
    found = []
    for given in logs:
        path = Path(given) if is_there(Path(given), "day") else source.path / given
        try:
            name = path.resolve().relative_to(source.path.resolve()).as_posix()
        except ValueError as error:
            raise InputError(
                f"this log is not in the farm's folder; put it into {source.path / LOGS} and name it there", str(given)
            ) from error
        if not path.exists():
            raise InputError("there is no such log; check the name and the folder", str(given))
        found.append(name)
    return list(dict.fromkeys(found))


def _machine(farm: Farm, log: str, asked: str | None) -> str:
    """Name of the machine that made a log: as asked for, else by the log's folder, else the only one."""
    if asked is not None:
        machine_of(farm, asked)
        return asked
    folder = next((part for part in posixpath.dirname(log).split("/") if part in farm.machines), None)
    if folder is not None:
        return folder
    if len(farm.machines) == 1:
        return next(iter(farm.machines))
    if not farm.machines:
        raise InputError("it has no machine; add one, as in [machine.quad] with boom.width", farm.file.name)
    first = next(iter(farm.machines))
    raise InputError(
        f"say which machine made it ({', '.join(farm.machines)}): with --machine, or by a folder as {LOGS}/{first}",
        log,
    )


def _done(source: Folder) -> dict[str, int]:
    """Logs that were cut, with their sizes; a list that somebody broke is as none."""
    if source.size(DONE) is None:
        return {}
    try:
        found = json.loads(source.read(DONE).data)
    except (ValueError, InputError):
        return {}
    return {str(name): size for name, size in found.items()} if isinstance(found, dict) else {}


def _size(source: Folder, name: str) -> int:
    """Bytes of a log; of one that is a folder, of all its files."""
    own = source.size(name)
    return own if own is not None else sum(source.size(one) or 0 for one in source.files_in(name))


def _read(
    source: Folder, farm: Farm, names: Sequence[str], progress: Progress, *, strict: bool
) -> tuple[dict[str, TrackLog], list[tuple[str, str]]]:
    """Logs by name, and those that cannot be read with the reason, which with *strict* is raised.

    Raises
    ------
    InputError
        No log is left.
    """
    read: dict[str, TrackLog] = {}
    not_read = []
    for number, name in enumerate(names):
        progress(f"reading {posixpath.basename(name)}", number / len(names))
        try:
            read[name] = joined(logs_of(source, name, Asked(timezone=farm.timezone)), name)
        except InputError as error:
            if strict:
                raise
            not_read.append((name, str(error)))
    if not read:
        why = f" ({not_read[0][1]})" if not_read else ""
        raise InputError(
            f"there is no log to cut{why}; put whole days into it, or name one that was cut before",
            source.place(LOGS),
        )
    return read, not_read


# --- what stands around it ------------------------------------------------------------------------


def _origin(logs: Sequence[DayLog]) -> PlaneOrigin:
    lon = np.concatenate([one.log.fixes.lon_deg for one in logs])
    lat = np.concatenate([one.log.fixes.lat_deg for one in logs])
    lon, lat = lon[np.isfinite(lon)], lat[np.isfinite(lat)]
    middle = float(np.median((lon - lon[0] + 180) % 360 - 180)) + float(lon[0])
    return PlaneOrigin((middle + 180) % 360 - 180, float(np.median(lat)))


def _drafts(source: Folder, plane: Plane) -> dict[str, BaseGeometry]:
    """Draft outlines that are there, by name; one that is no outline any more is there, too. [m]"""
    found: dict[str, BaseGeometry] = {}
    for name in source.files_in(DRAFTS):
        found[name] = shapely.Polygon()
        with suppress(InputError):
            areas = [area.geometry for area in field_of(source, name).areas]
            found[name] = sound(plane.geometry_to_metres(shapely.union_all(areas)))
    return found


def _without_log(source: Folder, kept: Sequence[KeptJob]) -> list[dict[str, str]]:
    """Jobs of which a log is no longer there."""
    return [
        {"job": job.folder, "log": log}
        for job in kept
        for log in sorted(job.logs)
        if source.size(log) is None and source.folder(log) is None
    ]
