"""``coverage-audit check``: audit a job."""

from __future__ import annotations

import ctypes
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.jobs.accuracy import whole_replicates

from . import terminal
from .output import note, start, write

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from coverage_audit.jobs.job import Job

    Progress = Callable[[str, float], None]


_ARENA_MAX = -8
"""The allocator's name for how many stores of memory it keeps (mallopt(3), M_ARENA_MAX)."""

WITHOUT = {
    "field": " OUTLINE (where there is none: --field driven)",
    "intervals": " BOOM.csv (where nobody logged the boom: --intervals assume)",
}
"""What to write for an option that a person has nothing for."""


def add_check(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``check`` with its arguments."""
    check = commands.add_parser("check", help="audit a job", allow_abbrev=False)
    check.set_defaults(run=check_command)
    check.add_argument("job", nargs="?", metavar="JOB.toml", help="job file; or give the four options below")
    without = check.add_argument_group("without a job file")
    without.add_argument("--track", action="append", metavar="FILE", help="log; may be given several times")
    without.add_argument("--field", metavar="FILE", help="field boundary")
    without.add_argument("--boom", metavar="WIDTH", help='boom width with its unit, such as "9 m"')
    without.add_argument("--intervals", metavar="SOURCE", help="boom CSV file, or: log, segments, marks, assume")
    without.add_argument("--exclude", action="append", metavar="FILE", help="no-spray areas")
    without.add_argument("--antenna-ahead", metavar="LENGTH", help="antenna ahead of the boom line")
    without.add_argument("--date", metavar="YYYY-MM-DD", help="UTC date of the first fix, for a log without dates")
    without.add_argument("--timezone", metavar="NAME", help='time zone of the report, such as "America/Denver"')
    without.add_argument("--units", choices=("metric", "us"), help="units of the report")
    check.add_argument(
        "--replicates",
        type=whole_replicates,
        metavar="N",
        help="carry GPS error through with N draws of the job; 0 turns it off",
    )
    check.add_argument("--rate-grid", action="store_true", help="also write the rate surface for map programs")
    add_output(check, "folder for the report; needed unless --json is given", None)


def add_output(parser: argparse.ArgumentParser, help_text: str, default: Path | None) -> None:
    """Options of the commands that audit one job and tell it."""
    parser.add_argument("-o", "--output", type=Path, metavar="DIR", default=default, help=help_text)
    parser.add_argument("--json", action="store_true", help="print the summary as JSON and nothing else")
    terminal.add_quiet(parser)


def check_command(options: argparse.Namespace) -> None:
    """Audit the job and write its papers."""
    if options.output is None and not options.json:
        raise InputError("give the folder for the report: -o DIR", "arguments")
    _refuse_lost(options)
    _one_store_of_memory()
    if options.output is not None:
        start(options, run.REPORT_PAPERS)
    papers = {}
    with terminal.progress_bar(options) as progress:
        job = read_job_of(options, progress)
        if options.output is not None:
            run.fetch_report_room()
        audit = run.audited(job, progress, options.job)
        if options.touchup:
            audit = run.with_plan(audit, run.planned(audit, options.on, progress))
        if options.output is not None:
            papers = run.papers(audit, rate_grid=options.rate_grid)
    if papers:
        note(options, job)
        write(options, papers, kind="report", job=run.token(job))
    terminal.tell(options, audit)


def read_job_of(options: argparse.Namespace, progress: Progress) -> Job:
    """Read the job that the arguments name."""
    from coverage_audit.jobs.read import OPTION_KEYS  # noqa: PLC0415

    names = [option.removeprefix("--").replace("-", "_") for option in OPTION_KEYS]
    given = {name: getattr(options, name) for name in names if getattr(options, name) is not None}
    if options.job is not None:
        if given:
            option = "--" + next(iter(given)).replace("_", "-")
            raise InputError(f"{option} cannot stand beside a job file; write it into the job file", "arguments")
        return run.read(options.job, progress, replicates=options.replicates)
    missing = [
        f"--{name}{WITHOUT.get(name, '')}" for name in ("track", "field", "boom", "intervals") if name not in given
    ]
    if missing:
        raise InputError(f"give a job file, or what is missing: {', '.join(missing)}", "arguments")
    return run.read_given(given, progress, replicates=options.replicates)


def _one_store_of_memory() -> None:
    """Have Linux's own allocator keep one store of memory for all threads, and not one for each.

    What one thread has let go of serves the others then, so that a run takes less. Giving every large array back to
    the system at once takes as little, but a third more time: the system clears each anew.
    """
    if sys.platform.startswith("linux"):
        with suppress(AttributeError, OSError):  # of another C library
            ctypes.CDLL(None).mallopt(_ARENA_MAX, 1)


def _refuse_lost(options: argparse.Namespace) -> None:
    """Refuse options that would be without effect."""
    if options.on is not None and not options.touchup:
        raise InputError("a day is given but no touch-up is asked for; add --touchup", "--on")
    if options.touchup and options.output is None:
        raise InputError("the plan needs a folder to go into; add -o DIR", "--touchup")
