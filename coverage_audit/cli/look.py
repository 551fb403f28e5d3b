"""``coverage-audit look``: describe a log before any audit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.read.source import is_there

from . import terminal

if TYPE_CHECKING:
    import argparse


def add_look(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``look`` with its arguments."""
    look = commands.add_parser("look", help="describe a log before any audit", allow_abbrev=False)
    look.add_argument("track", metavar="TRACK", help="log")
    look.add_argument("--timezone", metavar="NAME", help='time zone of local times, such as "America/Boise"')
    look.add_argument("--units", choices=("metric", "us"), default="metric", help="units of lengths and speeds")
    look.add_argument("--date", metavar="YYYY-MM-DD", help="UTC date of the first fix, for a log without dates")
    terminal.add_quiet(look)
    look.set_defaults(run=look_command)


def look_command(options: argparse.Namespace) -> None:
    """Describe the log."""
    from coverage_audit.jobs import keys  # noqa: PLC0415

    date = None if options.date is None else keys.date(options.date, "--date")
    timezone = "UTC" if options.timezone is None else keys.timezone(options.timezone, "--timezone")
    path = Path(options.track)
    if not is_there(path, "arguments"):
        raise InputError("there is no such file; check the name", str(path))
    terminal.say(options, run.described(path, date, timezone, options.units))
