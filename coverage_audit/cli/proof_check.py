"""``coverage-audit proof check``: whether a proof holds, and what of it does not."""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.papers.proof.names import ENDED_FILE
from coverage_audit.papers.proof.tolerances import LARGEST_BYTES, LONGEST_NAME
from coverage_audit.papers.words.safe import one_line

from . import terminal
from .output import note

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable
    from pathlib import Path

    from coverage_audit.papers.proof.standing import Standing
    from coverage_audit.recipe.result import Audit

    Progress = Callable[[str, float], None]

DOES_NOT_HOLD = 3

PAPERS = ("proof.html", "proof.pdf")


def check_command(options: argparse.Namespace) -> int:
    """``coverage-audit proof check``."""
    with terminal.progress_bar(options) as progress:
        code, told = checked(options, progress)
    terminal.say(options, told)
    return code


def checked(options: argparse.Namespace, progress: Progress) -> tuple[int, str]:
    """Exit code and text: 0 all holds, 3 something does not.

    Raises
    ------
    InputError
        The file is no proof, or cannot be read.
    """
    from coverage_audit.papers.proof.sign import public_hex  # noqa: PLC0415
    from coverage_audit.papers.proof.verify import faults, sealed, told  # noqa: PLC0415

    data = data_of(options.proof)
    record = _record(data, options.proof)
    public = None
    if options.public_key is not None:
        public = public_hex(data_of(options.public_key).decode("utf-8", errors="replace"), str(options.public_key))
    wanted = _wanted_number(options.key_number)
    beside, others = _beside(options.proof, record)
    found = faults(record, public, {options.proof.name: data, **beside}, wanted)
    how = None if found else _standing(record, options)
    if how is not None:
        found = how.faults
    full = record
    if not found and options.full is not None:
        full, found = _held_against(record, options)
    if not found and options.inputs is not None:
        found = _input_faults(record, full, options.inputs, progress)
    name = one_line(options.proof.name, LONGEST_NAME, spelled=True)
    if found or how is None:
        lines = "\n".join(f"  - {line}" for line in found)
        figures = told(record) if sealed(record, public, wanted) else ""
        return DOES_NOT_HOLD, f"DOES NOT HOLD: {name}\n{lines}\n{figures}".rstrip()
    notes = [f"{other} lies beside it and is the paper of another record: check it by itself." for other in others]
    verdict = f"HOLDS IF YOU HAD IT BEFORE {how.before}" if how.before else "HOLDS"
    signer = _signer(record, known=public is not None or bool(wanted))
    holding = [f"{verdict}: {name}", signer, *how.notes, *notes, *_how_again(record, full, options.inputs)]
    return 0, "\n".join([*holding, _named(record)])


def _signer(record: dict[str, Any], *, known: bool) -> str:
    from coverage_audit.papers.proof.sign import key_number  # noqa: PLC0415

    own = key_number(record["signature"]["public_key"])
    unknown = f"Signer unknown to you: compare this number of the key with the grower: {own}"
    return "Signed by the key you gave." if known else unknown


def _standing(record: dict[str, Any], options: argparse.Namespace) -> Standing:
    """How time stamps and notices that were given bear on the record."""
    from coverage_audit.papers.proof.ended import NotANoticeError, read_notice  # noqa: PLC0415
    from coverage_audit.papers.proof.standing import standing  # noqa: PLC0415

    notices = []
    for path in options.ended or ():
        try:
            notices.append(read_notice(data_of(path)))
        except NotANoticeError as error:
            raise InputError(
                f"this is no notice that a key has ended ({error}); give {ENDED_FILE}", str(path)
            ) from error
    certificates = None if options.stamp_certificates is None else [data_of(options.stamp_certificates)]
    return standing(record, notices, certificates, dt.datetime.now(dt.UTC).date().isoformat())


def _wanted_number(text: str | None) -> str:
    """Digits of a key's number as it is printed, however they were grouped; "" when none was given."""
    if text is None:
        return ""
    from coverage_audit.papers.proof.sign import NUMBER_DIGITS  # noqa: PLC0415

    digits = "".join(letter for letter in text if letter not in " -.\u00a0")
    if len(digits) != NUMBER_DIGITS or not (digits.isascii() and digits.isdecimal()):
        raise InputError(f"a key's number has {NUMBER_DIGITS} digits, in groups of four", "--key-number")
    return digits


def _named(record: dict[str, Any]) -> str:
    from coverage_audit.papers.proof.sign import fingerprint, number  # noqa: PLC0415
    from coverage_audit.papers.proof.verify import told  # noqa: PLC0415

    return f"Record: {number(fingerprint(record))}\n{told(record)}"


def _held_against(record: dict[str, Any], options: argparse.Namespace) -> tuple[dict[str, Any], list[str]]:
    """The grower's full record, and what it says otherwise than *record*."""
    from coverage_audit.papers.proof.again import full_faults  # noqa: PLC0415
    from coverage_audit.papers.proof.verify import faults  # noqa: PLC0415

    if record["copy"] != "buyer":
        raise InputError("only a buyer's copy can be held against the full record", str(options.proof))
    data = data_of(options.full)
    full = _record(data, options.full)
    if full["copy"] != "grower":
        raise InputError("this is not the grower's full record; give proof.json", str(options.full))
    return full, faults(full, record["signature"]["public_key"], {options.full.name: data}) or full_faults(record, full)


def data_of(path: Path, advice: str = "check the name") -> bytes:
    """Content of a file that a person named.

    Raises
    ------
    InputError
        It is not there, cannot be read or is too large; *advice* says what to do.
    """
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
        name: data_of(path.with_name(name)) for name in PAPERS if name != path.name and path.with_name(name).is_file()
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
        audits = audited([str(path) for path in jobs], progress)
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
    return lines


def audited(names: list[str], progress: Progress, noted: argparse.Namespace | None = None) -> list[Audit]:
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
