"""``coverage-audit receiver``: what a standing receiver's log shows of its error."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import Permit, check_folder, write_all
from coverage_audit.papers.words.safe import printable
from coverage_audit.read.source import is_there, read_bytes

from . import terminal

if TYPE_CHECKING:
    import argparse

FARM_FILE = "farm.toml"


def add_receiver(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``receiver`` with its arguments."""
    receiver = commands.add_parser(
        "receiver", help="measure a receiver's error from a log in which it stands", allow_abbrev=False
    )
    receiver.add_argument(
        "track", metavar="LOG", help="GPX or NMEA log of a receiver on a post, or of a day with stops"
    )
    receiver.add_argument(
        "--farm", type=Path, metavar="DIR", help="farm folder in whose farm.toml the figures are kept"
    )
    receiver.add_argument("--machine", metavar="NAME", help="machine of the farm that carries this receiver")
    receiver.add_argument("--units", choices=("metric", "us"), default="metric", help="units of lengths")
    receiver.add_argument("--date", metavar="YYYY-MM-DD", help="UTC date of the first fix, for a log without dates")
    receiver.add_argument("--json", action="store_true", help="print the figures as JSON and nothing else")
    terminal.add_quiet(receiver)
    receiver.set_defaults(run=receiver_command)


def receiver_command(options: argparse.Namespace) -> None:
    """Tell what the log shows, and keep it in the farm's file when asked."""
    from coverage_audit.jobs import keys  # noqa: PLC0415

    date = None if options.date is None else keys.date(options.date, "--date")
    if (options.farm is None) != (options.machine is None):
        raise InputError("--farm and --machine belong together; give both or neither", "arguments")
    path = Path(options.track)
    if not is_there(path, "arguments"):
        raise InputError("there is no such file; check the name", str(path))
    found = run.receiver(path, date)
    if options.farm is not None:
        _keep(options, run.receiver_keys(found))
    told, as_json = run.receiver_papers(found, path.name, options.units)
    if options.json:
        terminal.show_json(as_json)
        return
    terminal.say(options, told)
    if options.farm is not None:
        told = f"Written to {printable(str(options.farm / FARM_FILE))}, machine {printable(options.machine)}."
        terminal.say(options, f"\n{told}")


def _keep(options: argparse.Namespace, keys: dict[str, str]) -> None:
    """Write the figures into the farm's file; all else in it stays."""
    place = options.farm / FARM_FILE
    if not is_there(place, str(place)):
        raise InputError("there is no such file; give the farm's folder", str(place))
    if not keys:
        raise InputError("this log cannot tell the receiver's error, so nothing was written; log longer", options.track)
    check_folder(options.farm)
    text = read_bytes(place).data.decode("utf-8", errors="strict")
    changed = run.with_receiver(text, options.machine, keys, str(place))
    write_all(options.farm, {FARM_FILE: changed}, loose=(FARM_FILE,), permit=Permit(replace=True))
    options.written, options.output = True, options.farm
