"""``coverage-audit record``: the application record that the law asks for, of one finished job."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from coverage_audit import run
from coverage_audit.papers.words.safe import printable

from . import terminal
from .output import note, start, write
from .proof import stated_time

if TYPE_CHECKING:
    import argparse


def add_record(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``record`` with its arguments."""
    record = commands.add_parser(
        "record", help="write the application record that the law asks for", allow_abbrev=False
    )
    record.add_argument("job", metavar="JOB.toml", help="job file")
    record.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the record")
    record.add_argument("--time", metavar="T", help="when it is recorded, ISO 8601 (default: now)")
    terminal.add_quiet(record)
    record.set_defaults(run=record_command)


def record_command(options: argparse.Namespace) -> None:
    """Write the record, and name what is missing."""
    from coverage_audit.papers.application.files import FILES, PAGE_FILE, application_files  # noqa: PLC0415
    from coverage_audit.papers.application.files import missing_words as missing  # noqa: PLC0415

    start(options, FILES)
    recorded = dt.datetime.fromisoformat(stated_time(options.time))
    with terminal.progress_bar(options) as progress:
        job = run.read(options.job, progress, replicates=0)  # nothing of the record rests on draws
        note(options, job)
        audit = run.audited(job, progress, options.job)
    day = recorded.astimezone(ZoneInfo(job.settings.timezone)).date()
    write(options, application_files(audit, day), kind="record")
    lines = [f"Missing for {law}: {names}." for law, names in missing(audit)]
    page = printable(str(options.output / PAGE_FILE))
    terminal.say(options, "\n".join([*lines, f"Open {page} in a web browser. Your own law and the label decide."]))
