"""``coverage-audit proof keys`` and ``proof end``: keys made once, and the notice that ends one; ``keygen`` is old."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import check_folder, write_all
from coverage_audit.papers.proof.names import ENDED_FILE, PRIVATE, PUBLIC, SALTS

from . import terminal
from .proof_check import data_of

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

OLD_NAMES = ("coverage-audit.key", "coverage-audit.secret", "coverage-audit.pub")
"""What ``keygen`` makes: the private key, the salts and the public key."""

NAMES = (PRIVATE, SALTS, PUBLIC)


def add_keys(keys: argparse.ArgumentParser) -> None:
    """Give the command that makes keys its arguments."""
    keys.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the keys")
    terminal.add_quiet(keys)


def add_end(commands: argparse._SubParsersAction[Any], name: str) -> None:
    """Add the command that ends a key."""
    end = commands.add_parser(name, help="sign a notice that ends a key from a day on", allow_abbrev=False)
    end.add_argument("--key", type=Path, metavar="FILE", required=True, help=f"the key that ends ({PRIVATE})")
    end.add_argument("--from", dest="day", metavar="YYYY-MM-DD", required=True, help="first day that it is void on")
    end.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the notice")
    terminal.add_quiet(end)
    end.set_defaults(run=end_command)


def keys_command(options: argparse.Namespace) -> None:
    """``coverage-audit proof keys``."""
    check_folder(options.output)
    papers, told = key_files(options.output, options.names)
    write_all(options.output, papers, private=options.names[:2])
    options.written = True
    terminal.say(options, told)


def end_command(options: argparse.Namespace) -> None:
    """``coverage-audit proof end``."""
    from coverage_audit.papers.proof.ended import ended_notice  # noqa: PLC0415

    check_folder(options.output)
    if (options.output / ENDED_FILE).exists():
        raise InputError("this file is there already; choose another folder", str(options.output / ENDED_FILE))
    try:
        day = dt.date.fromisoformat(options.day)
    except ValueError as error:
        raise InputError(f'"{options.day}" is not a date; write it as 2026-06-30', "--from") from error
    key = data_of(options.key, "give the key that ends").decode("ascii", errors="replace")
    write_all(options.output, {ENDED_FILE: ended_notice(day, key, str(options.key))})
    options.written = True
    told = (
        f"{ENDED_FILE} ends the key from {day.isoformat()} on: give it to every buyer, who hands it to proof check "
        "(--ended) or to check-a-proof.html.\n"
        "What was made before that day still holds for whoever had it in hand by then, or where a time stamp shows it."
    )
    terminal.say(options, told)


def key_files(folder: Path, names: Sequence[str]) -> tuple[dict[str, str], str]:
    """New keys by file name, and what to tell the person.

    Raises
    ------
    InputError
        There are keys in the folder already.
    """
    from coverage_audit.papers.proof.sign import key_number, new_keys, public_hex  # noqa: PLC0415

    for name in (*names, PRIVATE, OLD_NAMES[0]):
        if (folder / name).exists():
            raise InputError("this file is there already; a lost key cannot be made again, so choose another folder",
                             str(folder / name))  # fmt: skip
    private, public, salts = new_keys()
    told = (
        f"{names[0]} and {names[1]} are yours alone: keep them, copy them to a safe place, give them to nobody.\n"
        f"{names[2]} is for your buyers: hand it over in person, or read its number over the telephone.\n"
        f"Number of your key: {key_number(public_hex(public, names[2]))}\n"
        "Lost: make new keys in another folder and hand those over. Stolen: sign a notice with proof end, too."
    )
    return dict(zip(names, (private, salts, public), strict=True)), told
