"""``coverage-audit manual``: the manual, or the sheet on how to log a job, as one page in a web browser."""

from __future__ import annotations

import sys
import tempfile
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import Permit, check_folder, write_all
from coverage_audit.papers.words.safe import printable

if TYPE_CHECKING:
    import argparse

OWN_MARK = b'<meta name="generator" content="coverage-audit manual">'
"""Stands in the head of every page that this command writes: only such a file is replaced."""

HEAD_BYTES = 1000
"""The mark stands within so many bytes from the start of a page. [1]"""


def add_manual(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``manual`` with its arguments."""
    manual = commands.add_parser("manual", help="open the manual in a web browser", allow_abbrev=False)
    manual.add_argument("-o", "--output", type=Path, metavar="FILE.html", help="write the page there and open nothing")
    manual.add_argument(
        "--sheet", action="store_true", help="one page to print: how to log a job so that it can be told"
    )
    manual.set_defaults(run=show_manual)


def show_manual(options: argparse.Namespace) -> None:
    """Write the page and open it, or only write it where the person said.

    Raises
    ------
    InputError
        The file cannot be written, or is somebody else's.
    """
    from coverage_audit.papers.manual import manual_html, sheet_html  # noqa: PLC0415

    name = "sheet" if options.sheet else "manual"
    to_open = options.output is None
    if to_open:
        options.output = _scratch(f"{name}.html")
    else:
        _refuse_stranger(options.output)
    page = sheet_html() if options.sheet else manual_html()
    write_all(options.output.parent, {options.output.name: page}, permit=Permit(replace=True))  # ours: looked at above
    options.written = True
    path = printable(str(options.output))
    if to_open and _opened(options.output):
        print(f"The {name} opens in your web browser. If it does not, open {path} there.", flush=True)  # noqa: T201 - the person's line
    else:
        print(f"The {name} was written to {path}; open it in a web browser.", flush=True)  # noqa: T201 - the person's line


def _scratch(name: str) -> Path:
    """File of this *name* in a new folder for temporary files."""
    try:
        return Path(tempfile.mkdtemp(prefix="coverage-audit-")) / name
    except OSError as error:
        raise InputError(f"no temporary file can be written here; say where: -o {name}", "manual") from error


def _refuse_stranger(path: Path) -> None:
    """Raise when *path* cannot be written, or holds anything but an earlier page of this command."""
    try:
        if path.is_dir():
            raise InputError("this is a folder; give the name of a file, such as manual.html", str(path))
        check_folder(path.parent)
        if path.exists():
            with path.open("rb") as file:
                if OWN_MARK not in file.read(HEAD_BYTES):
                    raise InputError("this file is there already and is no manual; choose another name", str(path))
    except (OSError, ValueError) as error:  # a name that no file can have, or a file that may not be read
        raise InputError("this file cannot be written; choose another name", str(path)) from error


def _opened(path: Path) -> bool:
    """Whether a browser took the page; none is asked for when nobody sits at a terminal."""
    try:
        return sys.stdout.isatty() and webbrowser.open(path.resolve().as_uri())
    except (OSError, webbrowser.Error):
        return False
