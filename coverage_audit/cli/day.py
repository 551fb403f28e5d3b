"""``coverage-audit day``: cut whole days of logs into jobs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run

from . import terminal
from .farm import write_beneath

if TYPE_CHECKING:
    import argparse


def add_day(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``day`` with its arguments."""
    day = commands.add_parser("day", help="cut whole days of logs into jobs", allow_abbrev=False)
    day.add_argument("folder", metavar="DIR", type=Path, help="the farm's folder")
    day.add_argument(
        "logs", metavar="LOG", nargs="*", default=[], help="logs in it; by default all that were not cut yet"
    )
    day.add_argument("--machine", metavar="NAME", help="the machine that made the logs")
    day.add_argument("--dry-run", action="store_true", help="write nothing, only tell")
    day.add_argument("--json", action="store_true", help="print what was found as JSON and nothing else")
    terminal.add_quiet(day)
    day.set_defaults(run=day_command)


def day_command(options: argparse.Namespace) -> None:
    """Write the new jobs, each whole, and then that the logs are cut."""
    options.output = options.folder
    with terminal.progress_bar(options) as progress:
        found = run.day_cut(options.folder, options.logs, options.machine, progress)
    if not options.dry_run:
        write_beneath(options.folder, found.files)
        write_beneath(options.folder, dict([found.done]), replace=True)
        options.written = True
    if options.json:
        terminal.show_json(found.json())
    else:
        terminal.say(options, found.text(dry=options.dry_run))
