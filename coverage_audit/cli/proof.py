"""``coverage-audit proof``, ``proof keys`` and ``proof check``; ``keygen`` and ``verify`` are their old names."""

from __future__ import annotations

import datetime as dt
import hashlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import check_folder, write_all
from coverage_audit.papers.proof.names import PRIVATE, PUBLIC, SALTS

from . import terminal
from .output import start, write
from .proof_check import audited, check_command, data_of

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence

    Progress = Callable[[str, float], None]

OLD_NAMES = ("coverage-audit.key", "coverage-audit.secret", "coverage-audit.pub")
"""What ``keygen`` makes: the private key, the salts and the public key."""

PLACE_HELP = "exact: map and full areas; blurred (default) or none: no map, areas to 0.1 ha"

KEYS, CHECK = "proof keys", "proof check"

SIGNED = ("proof-buyer.json", "proof.pdf")
"""Papers that only a run with a key makes."""


def joined(arguments: Sequence[str]) -> Sequence[str]:
    """*arguments* with "proof keys" and "proof check" as one word: ``proof`` takes a job file at that place."""
    first = " ".join(arguments[:2])
    return [first, *arguments[2:]] if first in {KEYS, CHECK} else arguments


def add_proof(commands: argparse._SubParsersAction[Any]) -> None:
    """Add the commands about proofs with their arguments."""
    proof = commands.add_parser(
        "proof",
        help="make a coverage proof for a buyer of hay",
        epilog="See also: proof keys --help, proof check --help.",
        allow_abbrev=False,
    )
    proof.add_argument("job", metavar="JOB.toml", help="job file")
    proof.add_argument("later", nargs="*", metavar="LATER.toml", help="touch-up jobs on the same field, in order")
    proof.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the papers")
    proof.add_argument("--key", type=Path, metavar="FILE", help=f"private key ({PRIVATE}); {SALTS} is read beside it")
    proof.add_argument("--time", metavar="T", help="when it is made, ISO 8601 (default: now)")
    proof.add_argument("--place", choices=("exact", "blurred", "none"), default="blurred", help=PLACE_HELP)
    proof.set_defaults(run=proof_command)
    terminal.add_quiet(proof)
    for name, old in ((KEYS, ""), ("keygen", KEYS)):
        says = _help("make the keys that proofs are signed with", old)
        keys = commands.add_parser(name, help=says, allow_abbrev=False)
        keys.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the keys")
        terminal.add_quiet(keys)
        keys.set_defaults(run=_renamed(keys_command, name, old), names=OLD_NAMES if old else (PRIVATE, SALTS, PUBLIC))
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
    terminal.add_quiet(check)


def _renamed(command: Callable[[Any], Any], name: str, new: str) -> Callable[[argparse.Namespace], Any]:
    """*command*; under its old *name* it says the new one."""

    def told(options: argparse.Namespace) -> Any:  # noqa: ANN401 - an exit code or nothing
        print(f'coverage-audit: "{name}" is now "{new}"; the old name goes with the next version', file=sys.stderr)  # noqa: T201
        return command(options)

    return told if new else command


def keys_command(options: argparse.Namespace) -> None:
    """``coverage-audit proof keys``."""
    check_folder(options.output)
    papers, told = key_files(options.output, options.names)
    write_all(options.output, papers, private=options.names[:2])
    options.written = True
    terminal.say(options, told)


def proof_command(options: argparse.Namespace) -> None:
    """``coverage-audit proof``."""
    start(options, ())
    with terminal.progress_bar(options) as progress:
        papers, told = proof_papers(options, progress)
    write(options, papers, kind="proof", private=("proof.json",))
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
        "Lost or stolen: make new keys in another folder, and tell every buyer from which day the old number is void."
    )
    return dict(zip(names, (private, salts, public), strict=True)), told


# --- proof ---------------------------------------------------------------------------------------


def proof_papers(options: argparse.Namespace, progress: Progress) -> tuple[dict[str, Any], str]:
    """Papers of the proof by file name, and what to tell the person."""
    from coverage_audit.papers.proof.checker import CHECKER  # noqa: PLC0415
    from coverage_audit.papers.proof.sign import fingerprint, key_number, number  # noqa: PLC0415
    from coverage_audit.papers.proof.whole import Seller, full_record, signed_papers, unsigned_papers  # noqa: PLC0415

    made = stated_time(options.time)
    key, secret = _key_and_secret(options.key)
    if key is None:
        _refuse_stale(options.output)
    audits = audited([options.job, *options.later], progress, options)
    full = full_record(audits, made)
    if key is None:
        told = "No key was given, so there is no buyer's copy: proof.html is your own paper and is not signed."
        return unsigned_papers(full, audits[0]), told
    papers, buyer = signed_papers(full, audits[0], options.place, Seller(key, secret, str(options.key)))
    told = (
        f"{_headline(buyer)}\nFor the buyer: proof.pdf, proof.html, proof-buyer.json and your public key.\n"
        f"{CHECKER} is for buyers without this program; its SHA-256: "
        f"{hashlib.sha256(papers[CHECKER].encode()).hexdigest()}\n"
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
