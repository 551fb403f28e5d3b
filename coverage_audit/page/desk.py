"""The farm folder under the page's hands: every change is on the disk before the page hears that it was taken.

Names of files and folders are chosen here. What comes from a request is looked up among what is there; no part of
a path ever comes from outside.
"""

from __future__ import annotations

import hashlib
import json
import re
import threading
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import Permit, settle, write_all
from coverage_audit.papers.farm_files import FOLDERS, file_name
from coverage_audit.read.source import InputFile, read_bytes
from coverage_audit.sheet.draft import JOB_FILE, Draft, draft_of
from coverage_audit.sheet.farm import FARM_FILE, Farm, farm_of, new_farm
from coverage_audit.sheet.outline import OutlineFile, outline_file

from .tolerances import BIN_NAME

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from coverage_audit.read.records import NamedArea

FIELD_OF_JOB = "../../fields/"
"""Folder of the kept fields as a job's file names it."""

OWN_NO_SPRAY = "no-spray.geojson"
"""File of a job's folder for no-spray areas where no kept field can take them."""

NOTES_FILE = "page.json"
"""What has no place in a job file: corners that were tapped and are no field yet."""

_PLAIN = re.compile(r"[a-z0-9]{1,60}(-[a-z0-9]{1,60}){0,20}")
"""Names of folders that stand in an address as they are."""

REPORT, PLAN, PROOF = "report", "plan", "proof"


class ChangedError(Exception):
    """The job was changed by another window or program since this one read it."""


@dataclass(frozen=True)
class JobFolder:
    """A job's folder as it stands: its draft, the page's notes, and a mark that any change changes."""

    id: str
    path: Path
    draft: Draft
    notes: Mapping[str, Any]
    mark: str


class Desk:
    """One farm folder."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.alone = threading.RLock()
        """Held by whoever writes into the farm folder, or puts right what was left half-written there."""

    # --- the farm -------------------------------------------------------------------------------

    @property
    def is_there(self) -> bool:
        """Whether the folder is a farm's."""
        return (self.root / FARM_FILE).is_file()

    def make(self, name: str, units: str, timezone: str) -> None:
        """Make the farm folder."""
        text = new_farm(name, units, timezone)
        with self.alone:
            if self.is_there:
                raise InputError("this folder is a farm's already; load the page again", str(self.root))
            write_all(self.root, {FARM_FILE: text})
            for folder in FOLDERS:
                _made(self.root / folder)

    def farm(self) -> Farm:
        """The farm file, read."""
        return farm_of(_text(self.root / FARM_FILE))

    def keep_farm(self, changed: Callable[[Farm], str]) -> None:
        """Write the farm file as *changed* makes it of what stands there."""
        with self.alone:
            write_all(self.root, {FARM_FILE: changed(self.farm())}, permit=Permit(replace=True))

    # --- jobs -----------------------------------------------------------------------------------

    def jobs(self) -> list[str]:
        """Ids of all jobs, the latest first."""
        return sorted(self._folders(), reverse=True)

    def job(self, wanted: str) -> JobFolder:
        """One job.

        Raises
        ------
        InputError
            There is none of this id, or its job file cannot be read.
        """
        path = self._folders().get(wanted)
        if path is None:
            raise InputError("this job is no longer there; go back to the list of jobs", wanted)
        with self.alone:
            settle(path)
            text = _text(path / JOB_FILE)
            noted = _text(path / NOTES_FILE) if (path / NOTES_FILE).is_file() else "{}"
        mark = hashlib.sha256(f"{text}\0{noted}".encode()).hexdigest()[:20]
        draft = draft_of(text)
        kept = self.farm().machine_keys(draft.own("job.machine"))
        return JobFolder(wanted, path, replace(draft, kept=kept), _notes(noted), mark)

    def new_job(self, wanted: str, text: str, notes: Mapping[str, Any]) -> str:
        """Make a folder for a job; its id."""
        with self.alone:
            parent = self.root / "jobs"
            _made(parent)
            name = file_name(wanted, {path.name.casefold() for path in parent.iterdir()})
            write_all(parent / name, {JOB_FILE: text, NOTES_FILE: _noted(notes)})
            return shown_id(name)

    def keep(self, job: JobFolder, draft: Draft | None = None, notes: Mapping[str, Any] | None = None) -> JobFolder:
        """Write a job's draft and notes, if nobody changed it since *job* was read.

        Raises
        ------
        ChangedError
            Another window or program did.
        """
        with self.alone:
            if self.job(job.id).mark != job.mark:
                raise ChangedError
            files = {JOB_FILE: draft.text} if draft is not None and draft.text != job.draft.text else {}
            if notes is not None and notes != job.notes:
                files[NOTES_FILE] = _noted(notes)
            if files:
                write_all(job.path, files, permit=Permit(replace=True))
            return self.job(job.id)

    def write_beneath(self, files: Mapping[str, str], done: tuple[str, str]) -> None:
        """Write files named from the farm's folder, those of a folder whole or not at all, and last what is *done*."""
        inner: dict[Path, dict[str, str | bytes]] = {}
        for name, text in files.items():
            path = self.root / name
            inner.setdefault(path.parent, {})[path.name] = text
        with self.alone:
            for folder, contents in inner.items():
                write_all(folder, contents)
            write_all((self.root / done[0]).parent, {Path(done[0]).name: done[1]}, permit=Permit(replace=True))

    def to_bin(self, wanted: str) -> str:
        """Move a job to the farm's own bin; its name there."""
        with self.alone:
            path = self.job(wanted).path
            heap = self.root / BIN_NAME
            _made(heap)
            name = _beside(path.name, heap)
            _moved(path, heap / name)
            return name

    def in_bin(self) -> list[str]:
        """Names of the jobs in the bin."""
        heap = self.root / BIN_NAME
        return sorted(_by_id(heap)) if heap.is_dir() else []

    def from_bin(self, wanted: str) -> str:
        """Take a job out of the bin; its id."""
        with self.alone:
            path = _by_id(self.root / BIN_NAME).get(wanted)
            if path is None:
                raise InputError("this job is no longer in the bin; load the page again", wanted)
            _made(self.root / "jobs")
            name = _beside(path.name, self.root / "jobs")
            _moved(path, self.root / "jobs" / name)
            return name

    def _folders(self) -> dict[str, Path]:
        return {key: path for key, path in _by_id(self.root / "jobs").items() if (path / JOB_FILE).is_file()}

    # --- logs and fields ------------------------------------------------------------------------

    def keep_log(self, file: InputFile, wanted: str) -> Path:
        """Put a log into the farm's logs, once however often it comes."""
        return self._kept(self.root / "logs", file, wanted, _ending(file))

    def logs(self) -> list[str]:
        """Names of the kept logs."""
        folder = self.root / "logs"
        return sorted(path.name for path in folder.iterdir() if path.is_file()) if folder.is_dir() else []

    def read_log(self, name: str) -> InputFile:
        """A kept log of one of the names of :meth:`logs`."""
        return read_bytes(self.root / "logs" / name)

    def log(self, job: JobFolder, name: str) -> InputFile:
        """A log that a job file names."""
        return read_bytes(job.path / name)

    def fields(self) -> dict[str, OutlineFile]:
        """Kept fields by the name of their file; those that cannot be read are left out."""
        found = {}
        for path in sorted((self.root / "fields").glob("*.geojson")):
            with suppress(InputError):
                found[path.name] = _outline_once(*_stamp(path))
        return found

    def keep_field(self, text: str, wanted: str) -> str:
        """Write a field's outline; the name of its file."""
        with self.alone:
            folder = self.root / "fields"
            _made(folder)
            file = file_name(wanted, {path.name.casefold() for path in folder.iterdir()}, ".geojson")
            write_all(folder, {file: text})
            return file

    def own_field(self, job: JobFolder) -> str | None:
        """Name of the farm's file that holds the field of a job, if it is one of the farm's."""
        name = job.draft.get("field.boundary")
        file = name.removeprefix(FIELD_OF_JOB) if isinstance(name, str) and name.startswith(FIELD_OF_JOB) else ""
        return file if file in self.fields() else None

    def own_no_spray(self, job: JobFolder) -> tuple[NamedArea, ...]:
        """No-spray areas that the page can take back: those of the kept field, or else of the job's own file."""
        file = self.own_field(job)
        return self.fields()[file].no_spray if file else self.excluded(job, OWN_NO_SPRAY)

    def change_field(self, file: str, changed: Callable[[str], str]) -> None:
        """Write a kept field as *changed* makes it of what stands there."""
        with self.alone:
            text = changed(_text(self.root / "fields" / file))
            write_all(self.root / "fields", {file: text}, permit=Permit(replace=True))

    def keep_beside(self, job: JobFolder, name: str, text: str) -> None:
        """Write a file of the page's own making into the folder of a job."""
        with self.alone:
            write_all(job.path, {name: text}, permit=Permit(replace=True))

    def excluded(self, job: JobFolder, only: str = "") -> tuple[NamedArea, ...]:
        """No-spray areas in the files that a job names for them, the page's own first; what cannot be read is left out.

        *only* looks into that one file.
        """
        named = job.draft.get("field.exclude", ())
        files = [named] if isinstance(named, str) else [str(name) for name in named]
        found: list[NamedArea] = []
        for name in sorted((one for one in files if only in ("", one)), key=lambda one: one != OWN_NO_SPRAY):
            with suppress(InputError):
                one = _outline_once(*_stamp(job.path / name))
                found += one.no_spray or one.areas
        return tuple(found)

    def outline(self, job: JobFolder) -> OutlineFile | None:
        """The outline that a job file names, if it can be read."""
        name = job.draft.get("field.boundary")
        if not isinstance(name, str):
            return None
        with suppress(InputError):
            return _outline_once(*_stamp(job.path / name))
        return None

    def _kept(self, folder: Path, file: InputFile, wanted: str, ending: str) -> Path:
        with self.alone:
            _made(folder)
            for path in folder.iterdir():
                if path.is_file() and path.stat().st_size == len(file.data) and _sha256(path) == file.sha256:
                    return path
            name = file_name(wanted, {path.name.casefold() for path in folder.iterdir()}, ending)
            write_all(folder, {name: file.data})
            return folder / name


def _beside(name: str, folder: Path) -> str:
    """*name*, with the first number behind it that none in *folder* has."""
    taken, number, found = {path.name.casefold() for path in folder.iterdir()}, 1, name
    while found.casefold() in taken:
        number += 1
        found = f"{name}-{number}"
    return found


def _ending(file: InputFile) -> str:
    """Ending by the file's first bytes; what it holds is told by its content whenever it is read."""
    return {b"P": ".zip", b"$": ".nmea", b"!": ".nmea"}.get(file.data[:1], ".gpx")


def shown_id(name: str) -> str:
    """Id of a folder of this name: the name itself where it is plain, else a number made of it."""
    if _PLAIN.fullmatch(name):
        return name
    return "x" + hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:24]


def _by_id(folder: Path) -> dict[str, Path]:
    try:
        return {shown_id(path.name): path for path in _entries(folder)}
    except OSError as error:
        raise InputError(f"the folder cannot be read ({error.strerror}); is it still there?", str(folder)) from error


def _entries(folder: Path) -> Iterator[Path]:
    return (
        (path for path in folder.iterdir() if path.is_dir() and not path.is_symlink()) if folder.is_dir() else iter(())
    )


def _made(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"this folder cannot be made ({error.strerror}); choose another", str(folder)) from error


def _moved(path: Path, to: Path) -> None:
    try:
        path.rename(to)
    except OSError as error:
        raise InputError(
            f"it cannot be moved ({error.strerror}); close whatever has it open and try again", str(path)
        ) from error


def _text(path: Path) -> str:
    try:
        return read_bytes(path).data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError("this is not text; save it as UTF-8", str(path)) from error


def _noted(notes: Mapping[str, Any]) -> str:
    return json.dumps(notes, ensure_ascii=True) + "\n"


def _notes(text: str) -> dict[str, Any]:
    """The page's notes; what is damaged is as if it had never been noted."""
    with suppress(ValueError, RecursionError):
        found = json.loads(text)
        if isinstance(found, dict):
            return found
    return {}


# --- files that are read again and again ------------------------------------------------------------


def _stamp(path: Path) -> tuple[Path, int, int]:
    """A path with size and time of change: as long as they stay, so does what was read."""
    try:
        stat = path.stat()
    except (OSError, ValueError) as error:
        raise InputError("there is no such file; check the name and the folder", str(path)) from error
    return path, stat.st_size, stat.st_mtime_ns


@lru_cache(maxsize=256)
def _outline_once(path: Path, _size: int, _time: int) -> OutlineFile:
    beside = [one for one in path.parent.glob(f"{path.stem}.*") if one.is_file()] if path.suffix == ".shp" else [path]
    return outline_file({one.name: read_bytes(one).data for one in beside}, path.name)


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
