"""``coverage-audit keygen``, ``proof`` and ``verify``."""

from __future__ import annotations

import datetime as dt
import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import check_folder, write_all
from coverage_audit.papers.proof.tolerances import LARGEST_BYTES, LONGEST_NAME
from coverage_audit.papers.words.safe import one_line

from . import terminal
from .output import note, start, write

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from coverage_audit.recipe.result import Audit

    Progress = Callable[[str, float], None]

KEY, PUBLIC, SECRET = "coverage-audit.key", "coverage-audit.pub", "coverage-audit.secret"
PRIVATE = (KEY, SECRET)
"""Files that nobody but their owner may read."""

PLACE_HELP = "exact: map and full areas; blurred (default) or none: no map, areas to 0.1 ha"

DOES_NOT_HOLD = 3

PAPERS = ("proof.html", "proof.pdf")
SIGNED = ("proof-buyer.json", "proof.pdf")
"""Papers that only a run with a key makes."""


def add_proof(commands: argparse._SubParsersAction[Any]) -> None:
    """Add keygen, proof and verify with their arguments."""
    keygen = commands.add_parser("keygen", help="make the keys that proofs are signed with", allow_abbrev=False)
    keygen.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the keys")
    proof = commands.add_parser("proof", help="make a coverage proof for a buyer of hay", allow_abbrev=False)
    proof.add_argument("job", metavar="JOB.toml", help="job file")
    proof.add_argument("later", nargs="*", metavar="LATER.toml", help="touch-up jobs on the same field, in order")
    proof.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the papers")
    proof.add_argument("--key", type=Path, metavar="FILE", help=f"private key ({KEY}); {SECRET} is read beside it")
    proof.add_argument("--time", metavar="T", help="when it is made, ISO 8601 (default: now)")
    proof.add_argument("--place", choices=("exact", "blurred", "none"), default="blurred", help=PLACE_HELP)
    verify = commands.add_parser("verify", help="check a coverage proof", allow_abbrev=False)
    verify.add_argument(
        "proof", type=Path, metavar="PROOF", help="proof.pdf, proof.html, proof-buyer.json or proof.json"
    )
    verify.add_argument("--public-key", type=Path, metavar="FILE", help=f"the grower's public key ({PUBLIC})")
    verify.add_argument("--inputs", type=Path, metavar="DIR", help="folder with the job's own files, to compute again")
    verify.add_argument("--full", type=Path, metavar="FILE", help="the grower's proof.json, to hold the copy against")
    for parser, command in ((keygen, keygen_command), (proof, proof_command), (verify, verify_command)):
        terminal.add_quiet(parser)
        parser.set_defaults(run=command)


def keygen_command(options: argparse.Namespace) -> None:
    """``coverage-audit keygen``."""
    check_folder(options.output)
    papers, told = key_files(options.output)
    write_all(options.output, papers, private=PRIVATE)
    options.written = True
    terminal.say(options, told)


def proof_command(options: argparse.Namespace) -> None:
    """``coverage-audit proof``."""
    start(options, ())
    with terminal.progress_bar(options) as progress:
        papers, told = proof_papers(options, progress)
    write(options, papers, kind="proof", private=("proof.json",))
    terminal.say(options, told)


def verify_command(options: argparse.Namespace) -> int:
    """``coverage-audit verify``."""
    with terminal.progress_bar(options) as progress:
        code, told = verified(options, progress)
    terminal.say(options, told)
    return code


def key_files(folder: Path) -> tuple[dict[str, str], str]:
    """New keys by file name, and what to tell the person.

    Raises
    ------
    InputError
        There are keys in the folder already.
    """
    from coverage_audit.papers.proof.sign import new_keys  # noqa: PLC0415

    for name in (KEY, PUBLIC, SECRET):
        if (folder / name).exists():
            raise InputError("this file is there already; a lost key cannot be made again, so choose another folder",
                             str(folder / name))  # fmt: skip
    found = dict(zip((KEY, PUBLIC, SECRET), new_keys(), strict=True))
    told = (
        f"{KEY} and {SECRET} are yours alone: keep them, copy them to a safe place, give them to nobody.\n"
        f"{PUBLIC} is for your buyers: hand it over in person, or read its fingerprint over the telephone."
    )
    return found, told


# --- proof ---------------------------------------------------------------------------------------


def proof_papers(options: argparse.Namespace, progress: Progress) -> tuple[dict[str, Any], str]:
    """Papers of the proof by file name, and what to tell the person."""
    from coverage_audit.papers.proof.page import page_of  # noqa: PLC0415
    from coverage_audit.papers.proof.pdf import pdf_of  # noqa: PLC0415
    from coverage_audit.papers.proof.record import grower_record, refuse  # noqa: PLC0415
    from coverage_audit.papers.proof.sign import fingerprint, record_text, salt, sign, spoken  # noqa: PLC0415

    made = _stated_time(options.time)
    key, secret = _key_and_secret(options.key)
    if key is None:
        _refuse_stale(options.output)
    audits = _audited([options.job, *options.later], progress, options)
    refuse(audits, audits[0].job.settings.proof)
    full = grower_record(audits, made)
    _refuse_form(full)
    if key is None:
        own = _buyers_copy(full, audits[0], "exact", "00" * 32)
        told = "No key was given, so there is no buyer's copy: proof.html is your own paper and is not signed."
        return {"proof.json": record_text(full), "proof.html": page_of(own)}, told
    buyer = sign(_buyers_copy(full, audits[0], options.place, secret), key, str(options.key))
    mark = fingerprint(full)
    salts = {path: salt(secret, mark, path.split("/")) for path in buyer["commitments"]}
    own = {**full, "salts": salts, "buyer": fingerprint(buyer)}
    papers = {
        "proof.json": record_text(sign(own, key, str(options.key))),
        "proof-buyer.json": record_text(buyer),
        "proof.html": page_of(buyer),
        "proof.pdf": pdf_of(buyer),
    }
    told = (
        f"{_headline(buyer)}\nFor the buyer: proof.pdf, proof.html, proof-buyer.json and your public key.\n"
        f"Keep proof.json to yourself: it has the times, the place and the strips.\n"
        f"Fingerprint: {spoken(fingerprint(buyer))}"
    )
    return papers, told


def _buyers_copy(full: dict[str, Any], audit: Audit, place: str, secret: str) -> dict[str, Any]:
    """The buyer's copy, of a form that verify accepts."""
    from coverage_audit.papers.proof.map import fitted  # noqa: PLC0415
    from coverage_audit.papers.proof.record import buyer_record  # noqa: PLC0415

    found = buyer_record(full, audit, place, secret)
    found["map"] = fitted(found["map"])
    _refuse_form(found)
    return found


def _refuse_form(record: dict[str, Any]) -> None:
    """Refuse to make what verify would not accept, such as a text that is too long."""
    from coverage_audit.papers.proof.form import form_faults  # noqa: PLC0415
    from coverage_audit.papers.proof.sign import record_text  # noqa: PLC0415

    for fault in form_faults(record):
        raise InputError(f"no proof can be made of this: {fault}; shorten or correct it in the job file", "proof")
    if len(record_text(record)) > LARGEST_BYTES:
        raise InputError("the record would be too large for a proof; give a boundary with fewer corners", "proof")


def _refuse_stale(folder: Path) -> None:
    """Keep signed papers of an earlier run from lying beside new ones that are not signed."""
    for name in SIGNED:
        if (folder / name).exists():
            raise InputError("this signed paper of an earlier run would stay beside new ones that are not signed; "
                             "choose another folder, or give --key", str(folder / name))  # fmt: skip


def _headline(record: dict[str, Any]) -> str:
    share = record["figures"]["proven_share"]["value"]
    return f"{share} % of the target area is proven covered."


def _audited(names: list[str], progress: Progress, noted: argparse.Namespace | None = None) -> list[Audit]:
    """Audit the jobs; *noted* are the options of a command whose work is made from their files."""
    audits = []
    for name in names:
        job = run.read(name, progress)
        if noted is not None:
            note(noted, job)
        audits.append(run.audited(job, progress, name))
    for earlier, later, name in zip(audits, audits[1:], names[1:], strict=False):
        if later.start_s < earlier.end_s:
            raise InputError("this job is not later than the one before it; give the jobs in order", name)
    return audits


def _stated_time(text: str | None) -> str:
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
    secret = path.parent / SECRET
    key, found = (_data(file, "make keys with keygen").decode("ascii", errors="replace") for file in (path, secret))
    found = found.strip()
    if len(found) != 64 or any(letter not in "0123456789abcdef" for letter in found):
        raise InputError("this is not the secret that keygen wrote: 64 hex digits are wanted", str(secret))
    return key, found


# --- verify --------------------------------------------------------------------------------------


def verified(options: argparse.Namespace, progress: Progress) -> tuple[int, str]:
    """Exit code and text: 0 all holds, 3 something does not.

    Raises
    ------
    InputError
        The file is no proof, or cannot be read.
    """
    from coverage_audit.papers.proof.form import form_faults  # noqa: PLC0415
    from coverage_audit.papers.proof.sign import public_hex, signature_fault  # noqa: PLC0415
    from coverage_audit.papers.proof.verify import faults, told  # noqa: PLC0415

    data = _data(options.proof)
    record = _record(data, options.proof)
    public = None
    if options.public_key is not None:
        public = public_hex(_data(options.public_key).decode("utf-8", errors="replace"), str(options.public_key))
    beside, others = _beside(options.proof, record)
    found = faults(record, public, {options.proof.name: data, **beside})
    full = record
    if not found and options.full is not None:
        full, found = _held_against(record, options)
    if not found and options.inputs is not None:
        found = _input_faults(record, full, options.inputs, progress)
    name = one_line(options.proof.name, LONGEST_NAME, spelled=True)
    if found:
        lines = "\n".join(f"  - {line}" for line in found)
        figures = told(record) if not form_faults(record) and not signature_fault(record, public) else ""
        return DOES_NOT_HOLD, f"DOES NOT HOLD: {name}\n{lines}\n{figures}".rstrip()
    notes = [f"{other} lies beside it and is the paper of another record: check it by itself." for other in others]
    signer = "Signed by the key you gave."
    if public is None:
        own = record["signature"]["public_key"]
        signer = f"Signer unknown to you: compare this fingerprint of the key with the grower: {own}"
    return 0, "\n".join([f"HOLDS: {name}", signer, *notes, *_how_again(record, full, options.inputs), _named(record)])


def _named(record: dict[str, Any]) -> str:
    from coverage_audit.papers.proof.sign import fingerprint, spoken  # noqa: PLC0415
    from coverage_audit.papers.proof.verify import told  # noqa: PLC0415

    return f"Record: {spoken(fingerprint(record))}\n{told(record)}"


def _held_against(record: dict[str, Any], options: argparse.Namespace) -> tuple[dict[str, Any], list[str]]:
    """The grower's full record, and what it says otherwise than *record*."""
    from coverage_audit.papers.proof.again import full_faults  # noqa: PLC0415
    from coverage_audit.papers.proof.verify import faults  # noqa: PLC0415

    if record["copy"] != "buyer":
        raise InputError("only a buyer's copy can be held against the full record", str(options.proof))
    data = _data(options.full)
    full = _record(data, options.full)
    if full["copy"] != "grower":
        raise InputError("this is not the grower's full record; give proof.json", str(options.full))
    return full, faults(full, record["signature"]["public_key"], {options.full.name: data}) or full_faults(record, full)


def _data(path: Path, advice: str = "check the name") -> bytes:
    try:
        if not path.is_file():
            raise InputError(f"there is no such file; {advice}", str(path))
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:  # a name that no file can have, or a file that may not be read
        raise InputError(f"this file cannot be read ({_reason(error)}); {advice}", str(path)) from error
    if len(data) > LARGEST_BYTES:
        raise InputError(f"this file is too large for a proof or a key: at most {LARGEST_BYTES} bytes", str(path))
    return data


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def _record(data: bytes, path: Path) -> dict[str, Any]:
    from coverage_audit.papers.proof.verify import NotAProofError, record_in  # noqa: PLC0415

    try:
        return record_in(data)
    except NotAProofError as error:
        raise InputError(
            f"this is not a coverage proof ({error}); give the proof.pdf, proof.html or proof-buyer.json that the "
            "seller made",
            str(path),
        ) from error


def _beside(path: Path, record: dict[str, Any]) -> tuple[dict[str, bytes], list[str]]:
    """Papers that lie beside a file of the seller's own name, and the names of those that are another record's.

    Under any other name, such as "proof (1).pdf", a file stands alone: the papers beside it may be anybody's.
    """
    from coverage_audit.papers.proof.verify import is_another  # noqa: PLC0415

    if record["copy"] != "buyer" or path.name not in {"proof-buyer.json", *PAPERS}:
        return {}, []
    found = {
        name: _data(path.with_name(name)) for name in PAPERS if name != path.name and path.with_name(name).is_file()
    }
    others = [name for name, data in found.items() if is_another(data, record)]
    return {name: data for name, data in found.items() if name not in others}, others


def _input_faults(record: dict[str, Any], full: dict[str, Any], folder: Path, progress: Progress) -> list[str]:
    """Compute everything again from the files in *folder*; *full* is the grower's record when it was given."""
    from coverage_audit.papers.proof.again import again_faults  # noqa: PLC0415

    wanted = full.get("inputs")
    hashes = _hashes(folder)
    if wanted is not None and (lost := [one["file"] for one in wanted if one["sha256"] not in hashes]):
        names = ", ".join(one_line(name, LONGEST_NAME, spelled=True) for name in lost)
        return [f"the folder has no file with the content of {names}"]
    jobs = sorted(path for path in hashes.values() if path.suffix == ".toml")
    if wanted is not None:
        jobs = [hashes[one["sha256"]] for one in wanted if one["file"].endswith(".toml")]
    if not jobs:
        return ["the folder has no job file, so nothing can be computed again"]
    try:
        audits = _audited([str(path) for path in jobs], progress)
    except InputError as error:
        return [f"the folder's {len(jobs)} job file(s) cannot be computed again: {error}"]
    same = _same_versions(record)
    found = again_faults(record, audits, same_versions=same)
    return found or (again_faults(full, audits, same_versions=same) if full is not record else [])


def _hashes(folder: Path) -> dict[str, Path]:
    """SHA-256 of every file in *folder* and the folders in it."""
    try:
        if not folder.is_dir():
            raise InputError("there is no such folder; give the one with the job's files", str(folder))
        found = {}
        for path in sorted(folder.rglob("*"), reverse=True):
            if path.is_file():
                with path.open("rb") as file:
                    found[hashlib.file_digest(file, "sha256").hexdigest()] = path
    except (OSError, ValueError) as error:
        raise InputError(f"this folder cannot be read ({_reason(error)}); check the name", str(folder)) from error
    return found


def _same_versions(record: dict[str, Any]) -> bool:
    from coverage_audit.papers.proof.record import software  # noqa: PLC0415

    return bool(record["software"] == software())


def _how_again(record: dict[str, Any], full: dict[str, Any], inputs: Path | None) -> list[str]:
    """How close what was computed again had to be; nothing when it was not."""
    if inputs is None:
        return []
    lines = ["Computed again from the inputs: every figure the same to its last digit."]
    if not _same_versions(record):
        lines = ["Computed again from the inputs with other library versions: every figure within 0.02 % of the field."]
    if "inputs" not in full:
        lines.append("Whether these files are the very ones is shown by their hashes, which --full proof.json has.")
    if record.get("place") == "blurred":
        lines.append("The distorted outline cannot be computed again.")
    return lines
