"""What a person does on the sheet, as changes of the job's files."""

from __future__ import annotations

import datetime as dt
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.papers.farm_files import field_geojson
from coverage_audit.papers.words.safe import json_text
from coverage_audit.sheet.boom import ASSUME, SOURCES, Said, remembered_rows, said_of, with_one
from coverage_audit.sheet.draft import draft_of, with_keys, with_product
from coverage_audit.sheet.farm import FARM_OF_JOB, with_machine
from coverage_audit.sheet.logs import drive_facts, logs_in, unpacked
from coverage_audit.sheet.outline import (
    areas_geojson,
    checked_corners,
    corners_deg,
    corners_m,
    driven_edge,
    in_degrees,
    known_field,
    outline_file,
)
from coverage_audit.sheet.tolerances import MOST_CORNERS
from coverage_audit.units import LENGTH_M, parse_quantity

from . import asked
from .desk import shown_id
from .view import sheet_facts, sketch_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.read.source import InputFile
    from coverage_audit.sheet.facts import SheetFacts

    from .desk import Desk, JobFolder

SET_KEYS = frozenset(
    {
        *("job.name", "job.operator", "job.crop", "job.notes"),
        *("boom.width", "boom.antenna_ahead", "boom.antenna_right", "boom.axle_behind_antenna", "boom.intervals"),
        *("accuracy.steering", "rate.applied", "rate.target", "rate.flow", "rate.label_max"),
    }
)
"""Keys of the job file that the page sets; nothing else of a request names a key."""

PRODUCT_KEYS = ("name", "reg_no", "rate", "max_per_application", "phi", "rei")
MACHINE_KEYS = ("boom.width", "boom.antenna_ahead", "boom.antenna_right", "accuracy.steering")
MOST_BESIDE = 20
"""Most files that one outline has. [1] A Shapefile has seven or so."""

USUAL_HALF_M = 5.0
"""Half a boom's width before anybody has said it. [m] Common practice, no source."""


# --- logs -------------------------------------------------------------------------------------------


def take_file(desk: Desk, file: InputFile) -> str:
    """Keep a dropped file of logs as it came; its name among the farm's logs.

    Raises
    ------
    InputError
        There is no log in it that can be read.
    """
    day = dt.datetime.fromtimestamp(drive_facts(logs_in(file)).start_s, dt.UTC).date()
    return desk.keep_log(file, f"{day} {Path(file.name).stem}").name


def new_jobs(desk: Desk, logs: Sequence[str]) -> list[str]:
    """Make jobs of kept logs: one for each kept field sprayed in them, or one for all of them; their ids."""
    paths = _log_paths(desk, logs)
    if desk.fields() and desk.farm().machines:
        with suppress(InputError):  # several machines, say: then it is one job, and the person says what it was
            found = run.day_cut(desk.root, [desk.root / "logs" / name for name in logs])
            if found.facts["jobs"]:
                desk.write_beneath(found.files, found.done)
                return [shown_id(Path(one["job"]).name) for one in found.facts["jobs"]]
    return [_new_job(desk, logs, paths)]


def _new_job(desk: Desk, logs: Sequence[str], paths: Sequence[str]) -> str:
    farm = desk.farm()
    drive = drive_facts(tuple(log for name in logs for log in logs_in(desk.read_log(name))))
    day = dt.datetime.fromtimestamp(drive.start_s, ZoneInfo(farm.timezone)).date()
    field = known_field(drive, {name: one.areas for name, one in desk.fields().items()})
    changes: dict[str, Any] = {"job.farm": FARM_OF_JOB, "track.files": list(paths)}
    if field:
        changes["field.boundary"] = f"../../fields/{field}"
    if len(farm.machines) == 1:
        changes["job.machine"] = next(iter(farm.machines))
    changes["boom.intervals"] = drive.sources[0] if drive.sources else ASSUME
    draft = with_keys(draft_of(""), changes)
    return desk.new_job(f"{day} {Path(field).stem if field else 'job'}", draft.text, {"sketch": sketch_of(drive)})


def add_logs(desk: Desk, job: JobFolder, logs: Sequence[str]) -> JobFolder:
    """Add kept logs to a job."""
    named = job.draft.get("track.files", [])
    before = [named] if isinstance(named, str) else list(named)
    files = [*before, *(path for path in _log_paths(desk, logs) if path not in before)]
    drive = drive_facts(tuple(log for name in files for log in logs_in(desk.log(job, str(name)))))
    return desk.keep(job, with_keys(job.draft, {"track.files": files}), {**job.notes, "sketch": sketch_of(drive)})


def _log_paths(desk: Desk, names: Sequence[str]) -> list[str]:
    """Names of kept logs as a job file has them."""
    known = desk.logs()
    missing = [name for name in names if name not in known]
    if missing or not names:
        raise InputError("this log is no longer there; drop it again", missing[0][:80] if missing else "logs")
    return [f"../../logs/{name}" for name in names]


# --- keys -------------------------------------------------------------------------------------------


def set_keys(desk: Desk, job: JobFolder, given: Mapping[str, Any]) -> JobFolder:
    """Set keys of the job file; "" takes one out."""
    changes: dict[str, Any] = {}
    product = _product_of(job)
    for key in given:
        value = asked.text(given, key)
        table, _, name = key.partition(".")
        if table == "product" and name in PRODUCT_KEYS:
            product = {**{k: v for k, v in product.items() if k != name}, **({name: value} if value else {})}
        elif key not in SET_KEYS or (key == "boom.intervals" and value not in SOURCES):
            raise InputError("the page does not set this; write it into the job file", key[:60])
        else:
            changes[key] = value or None
    draft = with_keys(job.draft, changes)
    if product != _product_of(job):
        draft = with_product(draft, product)
    return desk.keep(job, draft)


def _product_of(job: JobFolder) -> dict[str, Any]:
    rows = job.draft.values.get("product")
    return dict(rows[0]) if isinstance(rows, list) and rows and isinstance(rows[0], dict) else {}


# --- field ------------------------------------------------------------------------------------------


def set_corners(desk: Desk, job: JobFolder, given: Mapping[str, Any]) -> JobFolder:
    """Note the corners as tapped, whether or not they are a field yet."""
    corners = asked.places(given, "corners", MOST_CORNERS)
    drive = _drive(desk, job)
    edge = bool(job.notes.get("edge")) and len(corners) > 2  # begun anew, it is no longer made from the drive
    return desk.keep(job, notes={**job.notes, "corners": corners_deg(corners, drive.origin), "edge": edge})


def start_from_edge(desk: Desk, job: JobFolder) -> JobFolder:
    """Take the edge that was driven for corners."""
    drive = _drive(desk, job)
    width = job.draft.get("boom.width")
    half = parse_quantity(width, LENGTH_M, "boom.width") / 2 if isinstance(width, str) else USUAL_HALF_M
    corners = corners_deg(driven_edge(drive, half), drive.origin)
    return desk.keep(job, notes={**job.notes, "corners": corners, "edge": True})


def keep_field(desk: Desk, job: JobFolder, name: str) -> JobFolder:
    """Make a field of the corners, kept for every later job; one that was begun from the drive says so for ever."""
    drive = _drive(desk, job)
    noted = job.notes.get("corners", [])
    outline = in_degrees(checked_corners(corners_m([(lon, lat) for lon, lat in noted], drive.origin)), drive.origin)
    text = field_geojson(name or "field", outline, (), derived=bool(job.notes.get("edge")))
    return _with_field(desk, job, desk.keep_field(text, name))


def use_field(desk: Desk, job: JobFolder, file: str) -> JobFolder:
    """Take a kept field."""
    if file not in desk.fields():
        raise InputError("this field is no longer there; load the page again", "field")
    return _with_field(desk, job, file)


def outline_parts(file: InputFile) -> list[InputFile]:
    """Files of a dropped outline, taken out of their zip file if they came in one."""
    return unpacked(file)[:MOST_BESIDE]


def take_outline(desk: Desk, job: JobFolder, files: Mapping[str, bytes]) -> JobFolder:
    """Keep the outline in dropped files as a field of the farm."""
    order = sorted(files, key=lambda name: (not name.lower().endswith(".shp"), name))
    found = outline_file(files, order[0])
    name = next((area.name for area in found.areas if area.name), Path(order[0]).stem)
    text = json_text(areas_geojson(found.areas), indent=1)
    return _with_field(desk, job, desk.keep_field(text, name))


def _with_field(desk: Desk, job: JobFolder, file: str) -> JobFolder:
    notes = {key: value for key, value in job.notes.items() if key not in ("corners", "edge")}
    return desk.keep(job, with_keys(job.draft, {"field.boundary": f"../../fields/{file}"}), notes)


def _drive(desk: Desk, job: JobFolder) -> Any:  # noqa: ANN401 - DriveFacts, or no drive at all
    drive = sheet_facts(desk, job).drive
    if drive is None:
        raise InputError("there is no drive to draw over; add a log first", "field")
    return drive


# --- machine ----------------------------------------------------------------------------------------


def keep_machine(desk: Desk, job: JobFolder, name: str) -> JobFolder:
    """Keep the job's machine in the farm file, and take it from there."""
    if not name:
        raise InputError("give the machine a name", "machine")
    desk.keep_farm(with_machine(desk.farm(), name, {key: job.draft.get(key) for key in MACHINE_KEYS}))
    return use_machine(desk, job, name)


def use_machine(desk: Desk, job: JobFolder, name: str) -> JobFolder:
    """Take a kept machine; what the job itself said of one is taken out."""
    if name not in desk.farm().machines:
        raise InputError("this machine is no longer there; load the page again", "machine")
    return desk.keep(job, with_keys(job.draft, {**dict.fromkeys(MACHINE_KEYS), "job.machine": name}))


# --- what is remembered -----------------------------------------------------------------------------


def remember(desk: Desk, job: JobFolder, given: Mapping[str, Any], facts: SheetFacts) -> JobFolder:
    """Put one more word over what log or drive say: {from, to, on}, {pass, from, to, on}, {undo} or {clear}."""
    rows = job.draft.get("boom.remembered", [])
    said, others = said_of(rows)
    if given.get("clear"):
        said = ()
    elif given.get("undo"):
        said = said[:-1]
    else:
        for one in _said(given, facts):
            said = with_one(said, one)
    kept = [*others, *remembered_rows(said, facts.timezone)]
    return desk.keep(job, with_keys(job.draft, {"boom.remembered": kept or None}))


def _said(given: Mapping[str, Any], facts: SheetFacts) -> list[Said]:
    """What a tap, a drag, a tick or two times say."""
    on = given.get("on") is True
    if "pass" not in given:
        return [Said(asked.number(given, "from"), asked.number(given, "to"), on)]
    passes = [one for one in facts.boom.stretches if one.is_pass] if facts.boom else []
    number = int(asked.number(given, "pass"))
    if not 0 <= number < len(passes):
        raise InputError("this pass is no longer there; load the page again", "boom")
    one = passes[number]
    if "from" not in given:
        return [Said(one.start_s, one.end_s, on)]
    start, end = (
        _near(asked.text(given, key), at, facts.timezone) for key, at in (("from", one.start_s), ("to", one.end_s))
    )
    parts = [Said(one.start_s, start, on=False)] if start > one.start_s else []
    parts += [Said(end, one.end_s, on=False)] if end < one.end_s else []
    return [*parts, Said(start, end, on=True)]


def _near(clock: str, near_s: float, timezone: str) -> float:
    """The moment nearest to *near_s* at which clocks there say *clock*. [s since 1970 UTC]"""
    try:
        said = dt.time.fromisoformat(clock)
    except ValueError as error:
        raise InputError(f'"{clock}" is no time of day; write it as 07:42:10', "boom") from error
    zone = ZoneInfo(timezone)
    day = dt.datetime.fromtimestamp(near_s, zone).date()
    days = [day + dt.timedelta(days=step) for step in (-1, 0, 1)]
    moments = [dt.datetime.combine(one, said, zone).timestamp() for one in days]
    return min(moments, key=lambda one: abs(one - near_s))
