"""``coverage-audit page``: the whole work behind one page on this computer, in the person's own browser."""

from __future__ import annotations

import os
import stat
import sys
import webbrowser
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from coverage_audit.read.source import is_there

if TYPE_CHECKING:
    import argparse

USUAL_FOLDER = "Coverage audit"
"""Name of the farm folder in the home folder, where none is given; the page asks before it makes it."""


def add_page(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``page`` with its arguments."""
    page = commands.add_parser(
        "page", help="do everything on a page in your web browser, on this computer alone", allow_abbrev=False
    )
    page.add_argument(
        "farm",
        nargs="?",
        type=Path,
        metavar="FARM",
        help=f'the farm\'s folder (default: "{USUAL_FOLDER}" in your home folder; the page asks before it makes it)',
    )
    page.add_argument("--no-browser", action="store_true", help="only print the page's address, and open nothing")
    page.set_defaults(run=page_command)


def page_command(options: argparse.Namespace) -> None:
    """Print the address, open it, and serve until ended."""
    from coverage_audit.page import open_door, serve  # noqa: PLC0415

    if options.farm is not None:
        is_there(options.farm, "page")  # one that is not there yet is made, if it can be
    with suppress(KeyboardInterrupt):  # Ctrl-C is the way to end it; everything is saved already
        door = open_door()
        print(door.address, flush=True)  # noqa: T201 - the person's line
        if not options.no_browser:
            _opened(door.address)
        serve(door, (options.farm or Path.home() / USUAL_FOLDER).absolute())


def started_by_person() -> bool:
    """Whether a person sits at a terminal, or double-clicked the program on a desktop, which gives it none.

    A script's input, or an output that somebody reads or keeps, is a pipe or a file.
    """
    if sys.stdin is not None and sys.stdin.isatty():
        return True
    screen = sys.platform in ("win32", "darwin") or any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))
    return screen and not any(_is_read(stream) for stream in (sys.stdin, sys.stdout, sys.stderr))


def _is_read(stream: TextIO | None) -> bool:
    """Whether something other than a terminal or nobody stands at the other end."""
    if stream is None:
        return False
    try:
        mode = os.fstat(stream.fileno()).st_mode
    except (OSError, ValueError):
        return True
    return stat.S_ISFIFO(mode) or stat.S_ISREG(mode)


def _opened(address: str) -> None:
    """Ask the system for its browser; where there is none the printed address has to do."""
    try:
        webbrowser.open(address)
    except (OSError, webbrowser.Error):
        return
