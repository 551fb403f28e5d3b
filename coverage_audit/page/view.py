"""What stands on the disk, as the facts that a screen shows; logs and drives are kept once they were read."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import settle
from coverage_audit.read.source import read_bytes
from coverage_audit.sheet.boom import ASSUME, SOURCES, BoomFacts, boom_facts, said_of, with_said
from coverage_audit.sheet.draft import DRIVEN, JOB_FILE
from coverage_audit.sheet.facts import JobRow, SheetFacts
from coverage_audit.sheet.logs import DriveFacts, drive_facts, logs_in, plane_origin, simple_way, within
from coverage_audit.sheet.outline import OutlineFile, corners_m, crossed_fields, known_field, middle_of, rings_m

from .desk import PLAN, PROOF, REPORT, Desk, JobFolder
from .pictures import picture_under
from .tolerances import MOST_KEPT_LOGS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.drive.model import PlaneOrigin
    from coverage_audit.read.records import TrackLog
    from coverage_audit.sheet.boom import Times

Stamp = tuple[Path, int, int]


def sheet_facts(desk: Desk, job: JobFolder) -> SheetFacts:
    """Everything about one job; what cannot be read is told under its part and harms no other."""
    faults: dict[str, str] = {}
    logs, stamps = _logs(job)
    drive = None
    if stamps:
        with _told(faults, "logs"):
            drive = _drive(stamps, _cut(job), _zone(desk, job))
    said, others = said_of(_rows(job))
    field, boom = _ground(desk, job, drive, faults)
    own, kept = desk.own_no_spray(job), desk.fields()
    if field:
        rest = [one for one in (*field.no_spray, *desk.excluded(job)) if one not in own]
        field = replace(field, no_spray=(*own, *rest))
    places = {name: one.areas for name, one in kept.items()}
    corners = {name: corners_m(_corners(job, name), drive.origin) if drive else () for name in ("corners", "off")}
    return SheetFacts(
        id=job.id,
        mark=job.mark,
        farm=desk.farm(),
        draft=job.draft,
        logs=logs,
        drive=drive,
        field=field,
        field_file=Path(str(job.draft.get("field.boundary", ""))).name,
        kept=kept,
        proposed_field=(known_field(drive, places) or "") if drive else "",
        crossed=crossed_fields(drive, places) if drive else (),
        own_no_spray=len(own),
        has_picture=picture_under(desk, drive) is not None,
        corners=corners["corners"],
        corners_off=corners["off"],
        boom=boom,
        unsure=_pairs(job.notes.get("unsure")),
        said=said,
        said_otherwise=len(others),
        answer=summary_of(desk, job),
        is_old=is_old(job),
        faults=faults,
        papers=tuple(sorted(f"{folder}/{name}" for folder, name in paper_files(job))),
    )


def _ground(
    desk: Desk, job: JobFolder, drive: DriveFacts | None, faults: dict[str, str]
) -> tuple[OutlineFile | None, BoomFacts | None]:
    """The field, as a file has it or as it was driven, and what the drive over it tells of the boom."""
    field, driven = desk.outline(job), job.draft.is_driven
    if drive is None or not (field or driven) or {"logs", "field", "machine"} & {*job.draft.lacks}:
        return field, None
    with _told(faults, "field" if driven else "boom"):
        boom = _boom(job)
        return OutlineFile(boom.edge, (), derived=True) if driven else field, boom
    return field, None


class _told:  # noqa: N801 - used as a statement
    """Catch what is at fault with the input and note it under *part*."""

    def __init__(self, faults: dict[str, str], part: str) -> None:
        self.faults, self.part = faults, part

    def __enter__(self) -> None:
        """Nothing to begin."""

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> bool:
        if isinstance(error, InputError):
            self.faults[self.part] = str(error)
            return True
        return False


# --- logs and drive ---------------------------------------------------------------------------------


def _logs(job: JobFolder) -> tuple[list[tuple[str, str]], tuple[Stamp, ...]]:
    """(name, fault) of every log of the job, and stamps of those that can be read."""
    rows, stamps = [], []
    named = job.draft.get("track.files", ())
    for name in [named] if isinstance(named, str) else named:
        fault = ""
        try:
            stamp = stamp_of(job.path / str(name))
            _log(*stamp)
            stamps.append(stamp)
        except InputError as error:
            fault = error.what
        rows.append((Path(str(name)).name, fault))
    return rows, tuple(stamps)


def stamp_of(path: Path) -> Stamp:
    """A path with size and time of change: as long as they stay, so does what was read."""
    try:
        stat = path.stat()
    except (OSError, ValueError) as error:
        raise InputError("this file is no longer there; put it back, or take it off the job", path.name) from error
    return path, stat.st_size, stat.st_mtime_ns


@lru_cache(maxsize=MOST_KEPT_LOGS)
def _log(path: Path, _size: int, _time: int) -> tuple[TrackLog, ...]:
    return logs_in(read_bytes(path))


@lru_cache(maxsize=MOST_KEPT_LOGS)
def _drive(stamps: tuple[Stamp, ...], cut: tuple[tuple[str, Any], ...], timezone: str) -> DriveFacts:
    logs = sorted((log for stamp in stamps for log in _log(*stamp)), key=lambda log: float(log.fixes.time_s[0]))
    return drive_facts(within(tuple(logs), dict(cut), timezone))


def _cut(job: JobFolder) -> tuple[tuple[str, Any], ...]:
    """From when to when the job runs in its logs, where it says so."""
    return tuple((key, value) for key in ("from", "to") if (value := job.draft.own(f"track.{key}")) is not None)


def _zone(desk: Desk, job: JobFolder) -> str:
    return str(job.draft.get("job.timezone", desk.farm().timezone))


def _corners(job: JobFolder, name: str) -> list[tuple[float, float]]:
    """Corners noted so far, as longitude and latitude."""
    return _pairs(job.notes.get(name))


def _pairs(noted: object) -> list[tuple[float, float]]:
    """Pairs of numbers in the page's notes; none where anything else stands there."""
    with suppress(TypeError, ValueError):
        return [(float(a), float(b)) for a, b in noted]  # type: ignore[attr-defined]
    return []


# --- the boom ---------------------------------------------------------------------------------------


def _rows(job: JobFolder) -> list[Mapping[str, Any]]:
    rows = job.draft.get("boom.remembered", ())
    return [row for row in rows if isinstance(row, dict)]


def source_of(job: JobFolder) -> str:
    """Where the job takes its boom state from; "" when it is open."""
    found = job.draft.get("boom.intervals", "")
    return found if found in SOURCES else "csv" if found else ""


def likeliest_on(job: JobFolder) -> Times | None:
    """On-times of a job whose log says nothing of them, with what is remembered.

    None where the log says, or where somebody wrote down what he remembers in another form than this page.
    """
    said, others = said_of(_rows(job))
    if source_of(job) != ASSUME or others:
        return None
    return with_said(_boom(job).base, said)


def _boom(job: JobFolder) -> BoomFacts:
    """Stretches and on-times of the job; kept as long as drive, field and machine stay as they are."""
    source = source_of(job)
    keys = ("track", "field", "boom", "job")
    own = {key: job.draft.values.get(key, {}) for key in keys}
    boom = {name: value for name, value in own["boom"].items() if name not in ("remembered", "intervals")}
    known = [own["track"], own["field"], boom, own["job"].get("date"), dict(job.draft.kept)]
    told = json.dumps(known, sort_keys=True, default=str)
    stamps = tuple(stamp_of(job.path / name) for name in _named(job))
    return _boom_once(job.path / JOB_FILE, source if source in SOURCES else ASSUME, told, stamps)


@lru_cache(maxsize=8)
def _boom_once(job_file: Path, source: str, _told: str, _stamps: tuple[Stamp, ...]) -> BoomFacts:
    return boom_facts(run.read(job_file, intervals=source), source)


# --- the answer -------------------------------------------------------------------------------------


def summary_of(desk: Desk, job: JobFolder) -> dict[str, Any] | None:
    """Summary of the last audit; None when there is none that can be read."""
    with suppress(InputError, ValueError), desk.alone:
        settle(job.path / REPORT)
        found = json.loads(read_bytes(job.path / REPORT / "summary.json").data)
        if isinstance(found, dict) and isinstance(found.get("area_m2"), dict):
            return found
    return None


def is_old(job: JobFolder) -> bool:
    """Whether job file, log or outline were changed after the last audit."""
    with suppress(InputError):
        _, _, written = stamp_of(job.path / REPORT / "summary.json")
        return any(stamp_of(job.path / name)[2] > written for name in (JOB_FILE, *_named(job)))
    return True


def _named(job: JobFolder) -> list[str]:
    """Files that the job names: logs, outline, no-spray areas."""
    found = [job.draft.get(key, ()) for key in ("track.files", "field.boundary", "field.exclude")]
    names = [str(name) for one in found for name in ([one] if isinstance(one, str) else one)]
    return [name for name in names if name != DRIVEN]


def paper_files(job: JobFolder) -> dict[tuple[str, str], Path]:
    """Papers of the job by the folder and name under which they are asked for."""
    found = {}
    for folder in (REPORT, PLAN, PROOF):
        with suppress(OSError):
            for path in (job.path / folder).iterdir():
                if path.is_file() and not path.name.startswith("."):
                    found[folder, path.name] = path
    return found


def job_row(desk: Desk, wanted: str) -> JobRow:
    """One row of the list of jobs; no log is read for it."""
    try:
        job = desk.job(wanted)
    except InputError as error:
        return JobRow(wanted, wanted, (), None, (), (), str(error))
    field = desk.outline(job)
    sketch, origin = _sketch(job)
    return JobRow(
        id=job.id,
        name=str(job.draft.get("job.name", ""))
        or ", ".join(one.name for one in (field.areas if field else ()))
        or job.id,
        lacks=job.draft.lacks,
        answer=summary_of(desk, job),
        is_old=is_old(job),
        ways=sketch,
        rings=rings_m(field.areas, origin or middle_of(field.areas)) if field else (),
    )


def _sketch(job: JobFolder) -> tuple[list[list[tuple[float, float]]], PlaneOrigin | None]:
    """The drive as it was noted when the log came, and the middle of its plane."""
    with suppress(TypeError, ValueError, KeyError):
        noted = job.notes["sketch"]
        ways = [[(float(x), float(y)) for x, y in way] for way in noted["ways"]]
        return ways, plane_origin(float(noted["lon"]), float(noted["lat"]))
    return [], None


def sketch_of(drive: DriveFacts) -> dict[str, Any]:
    """What is noted of a drive for the list of jobs."""
    ways = [simple_way(way) for way in drive.ways]
    return {"lon": drive.origin.lon_deg, "lat": drive.origin.lat_deg, "ways": ways}
