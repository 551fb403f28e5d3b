"""``coverage-audit propose``: propose when the boom was on, for a log that does not say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import check_folder, write_all
from coverage_audit.papers.words.safe import printable
from coverage_audit.read.source import is_there

from . import terminal

if TYPE_CHECKING:
    import argparse


def add_propose(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``propose`` with its arguments."""
    propose = commands.add_parser(
        "propose", help="propose when the boom was on, for a log that does not say", allow_abbrev=False
    )
    propose.add_argument("job", metavar="JOB.toml", help="job file; its boom.intervals is not read")
    propose.add_argument("-o", "--output", type=Path, metavar="boom.csv", required=True, help="CSV file to write")
    terminal.add_quiet(propose)
    propose.set_defaults(run=propose_command)


def propose_command(options: argparse.Namespace) -> None:
    """Write the CSV file: never over a file that somebody may have edited."""
    check_folder(options.output.parent)
    if is_there(options.output, str(options.output)):
        taken = "this file is there already and may have been edited; choose another name"
        raise InputError(taken, str(options.output))
    with terminal.progress_bar(options) as progress:
        count, text = run.proposed(options.job, progress)
    write_all(options.output.parent, {options.output.name: text})
    options.written = True
    name = printable(options.output.name)
    told = (
        f"{count} boom-on times ASSUMED from the track are in {printable(str(options.output))}.\n"
        f'Correct them from memory, then set intervals = "{name}" in the job file. An audit carries an ASSUMED notice\n'
        'as long as any row says "yes" under assumed: clear it in the rows you are sure of.'
    )
    terminal.say(options, told)
