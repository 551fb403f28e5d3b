"""``coverage-audit proof``, ``proof keys`` and ``proof check``; ``keygen`` and ``verify`` are their old names."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.papers.proof.names import PRIVATE, PUBLIC, SALTS

from . import terminal
from .output import start, write
from .proof_check import audited, check_command, data_of
from .proof_keys import NAMES, OLD_NAMES, add_end, add_keys, keys_command
from .time_stamp import asker

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence

    Progress = Callable[[str, float], None]

PLACE_HELP = "exact: map and full areas; blurred (default) or none: no map, areas to 0.1 ha"

KEYS, CHECK, END = "proof keys", "proof check", "proof end"

SIGNED = ("proof-buyer.json", "proof.pdf")
"""Papers that only a run with a key makes."""


def joined(arguments: Sequence[str]) -> Sequence[str]:
    """*arguments* with "proof keys" and the like as one word: ``proof`` takes a job file at that place."""
    first = " ".join(arguments[:2])
    return [first, *arguments[2:]] if first in {KEYS, CHECK, END} else arguments


def add_proof(commands: argparse._SubParsersAction[Any]) -> None:
    """Add the commands about proofs with their arguments."""
    proof = commands.add_parser(
        "proof",
        help="make a coverage proof for a buyer of hay",
        epilog="See also: proof keys --help, proof check --help, proof end --help.",
        allow_abbrev=False,
    )
    proof.add_argument("job", metavar="JOB.toml", help="job file")
    proof.add_argument("later", nargs="*", metavar="LATER.toml", help="touch-up jobs on the same field, in order")
    proof.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the papers")
    proof.add_argument("--key", type=Path, metavar="FILE", help=f"private key ({PRIVATE}); {SALTS} is read beside it")
    proof.add_argument("--time", metavar="T", help="when it is made, ISO 8601 (default: now)")
    proof.add_argument("--place", choices=("exact", "blurred", "none"), default="blurred", help=PLACE_HELP)
    proof.add_argument("--stamp", metavar="ADDRESS", help="time-stamp service to ask (RFC 3161); it gets a hash alone")
    proof.set_defaults(run=proof_command)
    terminal.add_quiet(proof)
    for name, old in ((KEYS, ""), ("keygen", KEYS)):
        says = _help("make the keys that proofs are signed with", old)
        keys = commands.add_parser(name, help=says, allow_abbrev=False)
        add_keys(keys)
        keys.set_defaults(run=_renamed(keys_command, name, old), names=OLD_NAMES if old else NAMES)
    add_end(commands, END)
    for name, old in ((CHECK, ""), ("verify", CHECK)):
        check = commands.add_parser(name, help=_help("check a coverage proof", old), allow_abbrev=False)
        _add_check(check)
        check.set_defaults(run=_renamed(check_command, name, old))


def _help(text: str, old: str) -> str:
    return f"old name of {old}" if old else text


def _add_check(check: argparse.ArgumentParser) -> None:
    papers = "proof.pdf, proof.html, proof-buyer.json or proof.json"
    check.add_argument("proof", type=Path, metavar="PROOF", help=papers)
    check.add_argument("--public-key", type=Path, metavar="FILE", help=f"the grower's public key ({PUBLIC})")
    check.add_argument("--key-number", metavar="DIGITS", help="number of the grower's key, instead of its file")
    check.add_argument("--inputs", type=Path, metavar="DIR", help="folder with the job's own files, to compute again")
    check.add_argument("--full", type=Path, metavar="FILE", help="the grower's proof.json, to hold the copy against")
    check.add_argument("--ended", type=Path, action="append", metavar="FILE", help="notice that a key has ended")
    check.add_argument(
        "--stamp-certificates", type=Path, metavar="FILE", help="PEM certificates of the time-stamp service"
    )
    terminal.add_quiet(check)


def _renamed(command: Callable[[Any], Any], name: str, new: str) -> Callable[[argparse.Namespace], Any]:
    """*command*; under its old *name* it says the new one, unless it refuses: a refusal is one line."""

    def told(options: argparse.Namespace) -> Any:  # noqa: ANN401 - an exit code or nothing
        code = command(options)
        print(f'coverage-audit: "{name}" is now "{new}"; the old name goes with the next version', file=sys.stderr)  # noqa: T201
        return code

    return told if new else command


def proof_command(options: argparse.Namespace) -> None:
    """``coverage-audit proof``."""
    start(options, ())
    with terminal.progress_bar(options) as progress:
        papers, told = proof_papers(options, progress)
    write(options, papers, kind="proof", private=("proof.json",))
    terminal.say(options, told)


# --- proof ---------------------------------------------------------------------------------------


def proof_papers(options: argparse.Namespace, progress: Progress) -> tuple[dict[str, Any], str]:
    """Papers of the proof by file name, and what to tell the person."""
    from coverage_audit.papers.proof.names import CHECKER  # noqa: PLC0415
    from coverage_audit.papers.proof.sign import fingerprint, key_number, number  # noqa: PLC0415
    from coverage_audit.papers.proof.whole import Seller, full_record, signed_papers, unsigned_papers  # noqa: PLC0415

    made, ask = stated_time(options.time), asker(options.stamp)
    key, secret = _key_and_secret(options.key)
    if key is None:
        if ask is not None:
            raise InputError("a time stamp is put on a signed proof; give --key", "--stamp")
        _refuse_stale(options.output)
    audits = audited([options.job, *options.later], progress, options)
    full = full_record(audits, made)
    if key is None:
        told = "No key was given, so there is no buyer's copy: proof.html is your own paper and is not signed."
        return unsigned_papers(full, audits[0]), told
    papers, buyer = signed_papers(full, audits[0], options.place, Seller(key, secret, str(options.key), ask))
    told = (
        f"{_headline(buyer)}\nFor the buyer: proof.pdf, proof.html, proof-buyer.json and your public key.\n"
        f"{CHECKER} is for buyers without this program; its SHA-256: "
        f"{buyer['checker']}\n"
        f"Keep proof.json to yourself: it has the times, the place and the strips.\n"
        f"Number of this record: {number(fingerprint(buyer))}\n"
        f"Number of your key: {key_number(buyer['signature']['public_key'])}"
    )
    return papers, told


def _refuse_stale(folder: Path) -> None:
    """Keep signed papers of an earlier run from lying beside new ones that are not signed."""
    for name in SIGNED:
        if (folder / name).exists():
            raise InputError("this signed paper of an earlier run would stay beside new ones that are not signed; "
                             "choose another folder, or give --key", str(folder / name))  # fmt: skip


def _headline(record: dict[str, Any]) -> str:
    share = record["figures"]["proven_share"]["value"]
    return f"{share} % of the target area is proven covered."


def stated_time(text: str | None) -> str:
    """The moment that a person stated as ISO 8601, else now: ISO 8601 in UTC, to the second."""
    if text is None:
        moment = dt.datetime.now(dt.UTC)
    else:
        try:
            moment = dt.datetime.fromisoformat(text)
            moment = (moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)).astimezone(dt.UTC)
        except (ValueError, OverflowError) as error:
            raise InputError(f'"{text}" is not a time; write it as 2026-06-30T12:00:00Z', "--time") from error
    return moment.isoformat(timespec="seconds").replace("+00:00", "Z")


def _key_and_secret(path: Path | None) -> tuple[str | None, str]:
    if path is None:
        return None, ""
    secret = path.parent / (OLD_NAMES[1] if path.name == OLD_NAMES[0] else SALTS)
    key, found = (
        data_of(file, "make keys with proof keys").decode("ascii", errors="replace") for file in (path, secret)
    )
    found = found.strip()
    if len(found) != 64 or any(letter not in "0123456789abcdef" for letter in found):
        raise InputError("this is not the secret that proof keys wrote: 64 hex digits are wanted", str(secret))
    return key, found
