"""What a person does on the sheet, as changes of the job's files."""

from __future__ import annotations

import datetime as dt
import re
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.sheet.boom import ASSUME, SOURCES, Said, remembered_rows, said_of, with_one, without
from coverage_audit.sheet.draft import draft_of, with_keys, with_products
from coverage_audit.sheet.farm import FARM_OF_JOB
from coverage_audit.sheet.logs import drive_facts, logs_in
from coverage_audit.sheet.outline import known_field
from coverage_audit.sheet.tolerances import MOST_DOUBTS

from . import asked
from .desk import FIELD_OF_JOB, shown_id
from .kept import MACHINE_KEYS, with_product_keys
from .view import sketch_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.read.source import InputFile
    from coverage_audit.sheet.boom import Stretch
    from coverage_audit.sheet.facts import SheetFacts

    from .desk import Desk, JobFolder

SET_KEYS = frozenset(
    {
        *("job.name", "job.operator", "job.crop", "job.notes"),
        *(*MACHINE_KEYS, "boom.intervals"),
        *("rate.applied", "rate.target", "rate.flow", "rate.label_max", "rate.tank", "rate.loads"),
        *("touchup.value", "touchup.labour", "touchup.mix_cost", "touchup.turning_radius"),
    }
)
"""Keys of the job file that the page sets; nothing else of a request names a key."""

LOADS = "rate.loads"
_LOADS = re.compile(r"([\d.,;+\s]*\d)\s*([A-Za-z ]*)")

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
        changes["field.boundary"] = f"{FIELD_OF_JOB}{field}"
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


def take_off_log(desk: Desk, job: JobFolder, number: int) -> JobFolder:
    """Take a log off a job, by its place in the list; the file stays among the farm's logs."""
    named = job.draft.get("track.files", [])
    files = [named] if isinstance(named, str) else list(named)
    if not 0 <= number < len(files):
        raise InputError("this log is no longer there; load the page again", "logs")
    left = [*files[:number], *files[number + 1 :]]
    return desk.keep(job, with_keys(job.draft, {"track.files": left or None}))


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
    products: dict[str, Any] = {}
    for key in given:
        value = asked.text(given, key)
        if key.startswith("product."):
            products[key] = value
        elif key not in SET_KEYS or (key == "boom.intervals" and value not in SOURCES):
            raise InputError("the page does not set this; write it into the job file", key[:60])
        else:
            changes[key] = (loads_of(value) if key == LOADS else value) or None
    draft = with_keys(job.draft, changes)
    if products:
        draft = with_products(draft, with_product_keys(job, products))
    return desk.keep(job, draft)


def loads_of(typed: str) -> list[str]:
    """Loads as typed, "50 + 50 + 30 gal", one by one."""
    numbers, unit = typed.rstrip(), ""
    if match := _LOADS.fullmatch(typed.strip()):
        numbers, unit = match[1], match[2]
    return [f"{number.strip()} {unit}".strip() for number in numbers.replace(";", "+").split("+") if number.strip()]


# --- what is remembered -----------------------------------------------------------------------------


def remember(desk: Desk, job: JobFolder, given: Mapping[str, Any], facts: SheetFacts) -> JobFolder:
    """Put one more word over what log or drive say: {from, to, on}, {pass, from, to, on}, {undo} or {clear}.

    {from, to, unsure} takes back what was said of that time, and notes that nobody knows.
    """
    rows = job.draft.get("boom.remembered", [])
    said, others = said_of(rows)
    unsure = [one for one in job.notes.get("unsure", []) if one not in _moments(given)]
    if given.get("unsure"):
        said = without(said, *_moments(given)[0])
        unsure = [*unsure, *_moments(given)][-MOST_DOUBTS:]
    elif given.get("clear"):
        said, unsure = (), []
    elif given.get("undo"):
        said = said[:-1]
    else:
        said = _but_for_its_pass(said, given, facts)
        for one in _said(given, facts):
            said = with_one(said, one)
    kept = [*others, *remembered_rows(said, facts.timezone)]
    return desk.keep(job, with_keys(job.draft, {"boom.remembered": kept or None}), {**job.notes, "unsure": unsure})


def _moments(given: Mapping[str, Any]) -> list[list[float]]:
    """The two moments that were sent, to the tenth of a second, if any were."""
    if not {"from", "to"} <= {*given} or "pass" in given:
        return []
    return [[round(asked.number(given, key), 1) for key in ("from", "to")]]


def _but_for_its_pass(said: tuple[Said, ...], given: Mapping[str, Any], facts: SheetFacts) -> tuple[Said, ...]:
    """*said* without what was said of a pass of which now only a part was off."""
    if "pass" not in given or "from" not in given or given.get("on") is True:
        return said
    one = _pass_of(given, facts)
    return without(said, one.start_s, one.end_s)


def _pass_of(given: Mapping[str, Any], facts: SheetFacts) -> Stretch:
    passes = [one for one in facts.boom.stretches if one.is_pass] if facts.boom else []
    number = int(asked.number(given, "pass"))
    if not 0 <= number < len(passes):
        raise InputError("this pass is no longer there; load the page again", "boom")
    return passes[number]


def _said(given: Mapping[str, Any], facts: SheetFacts) -> list[Said]:
    """What a tap, a drag, a tick or two times say."""
    on = given.get("on") is True
    if "pass" not in given:
        return [Said(asked.number(given, "from"), asked.number(given, "to"), on)]
    one = _pass_of(given, facts)
    if "from" not in given:
        return [Said(one.start_s, one.end_s, on)]
    start, end = (
        _near(asked.text(given, key), at, facts.timezone) for key, at in (("from", one.start_s), ("to", one.end_s))
    )
    if not one.start_s - 1 <= start < end <= one.end_s + 1:
        raise InputError("these two times do not lie one after the other within the pass; correct them", "boom")
    if not on:
        return [Said(start, end, on=False)]
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
