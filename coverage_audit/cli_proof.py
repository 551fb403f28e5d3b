"""keygen, proof and verify: arguments in, papers, text and the exit code out."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Mapping

    from .model import Audit, Job

    Progress = Callable[[str, float], None]
    AuditJob = Callable[[Job, Progress, str | None], Audit]

KEY, PUBLIC, SECRET = "coverage-audit.key", "coverage-audit.pub", "coverage-audit.secret"
PRIVATE = (KEY, SECRET)
"""Files that nobody but their owner may read."""

PLACE_HELP = "exact: map and full areas; blurred (default) or none: no map, areas to 0.1 ha"

DOES_NOT_HOLD = 3
LARGEST_BYTES = 50_000_000
"""Larger files are no proof. [bytes]"""


def add_proof(commands: argparse._SubParsersAction[Any], run: Mapping[str, object]) -> None:
    """Add the arguments of keygen, proof and verify; *run* maps each to the function that runs it."""
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
    for name, parser in (("keygen", keygen), ("proof", proof), ("verify", verify)):
        parser.add_argument("--quiet", action="store_true", help="print nothing but errors, show no progress")
        parser.set_defaults(run=run[name])


def key_files(folder: Path) -> tuple[dict[str, str], str]:
    """New keys by file name, and what to tell the person.

    Raises
    ------
    InputError
        There are keys in the folder already.
    """
    from .proof_sign import new_keys  # noqa: PLC0415

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


def proof_papers(options: argparse.Namespace, progress: Progress, audit_job: AuditJob) -> tuple[dict[str, Any], str]:
    """Papers of the proof by file name, and what to tell the person."""
    from .proof_page import page_of  # noqa: PLC0415
    from .proof_pdf import pdf_of  # noqa: PLC0415
    from .proof_record import buyer_record, grower_record, refuse  # noqa: PLC0415
    from .proof_sign import fingerprint, salt, sign, spoken  # noqa: PLC0415

    made = _stated_time(options.time)
    key, secret = _key_and_secret(options.key)
    audits = _audited([options.job, *options.later], progress, audit_job)
    refuse(audits, audits[0].job.settings.proof)
    full = grower_record(audits, made)
    if key is None:
        own = {**buyer_record(full, audits[0], "exact", "00" * 32), "copy": "buyer"}
        told = "No key was given, so there is no buyer's copy: proof.html is your own paper and is not signed."
        return {"proof.json": _json(full), "proof.html": page_of(own)}, told
    buyer = sign(buyer_record(full, audits[0], options.place, secret), key, str(options.key))
    mark = fingerprint(full)
    salts = {path: salt(secret, mark, path.split("/")) for path in buyer["commitments"]}
    papers = {
        "proof.json": _json(sign({**full, "salts": salts}, key, str(options.key))),
        "proof-buyer.json": _json(buyer),
        "proof.html": page_of(buyer),
        "proof.pdf": pdf_of(buyer),
    }
    told = (
        f"{_headline(buyer)}\nFor the buyer: proof.pdf, proof.html, proof-buyer.json and your public key.\n"
        f"Keep proof.json to yourself: it has the times, the place and the strips.\n"
        f"Fingerprint: {spoken(fingerprint(buyer))}"
    )
    return papers, told


def _headline(record: dict[str, Any]) -> str:
    share = record["figures"]["proven_share"]["value"]
    return f"{share} % of the target area is proven covered."


def _audited(names: list[str], progress: Progress, audit_job: AuditJob) -> list[Audit]:
    from .read_job import read_job  # noqa: PLC0415

    audits = [audit_job(read_job(name, progress), progress, name) for name in names]
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
        except ValueError as error:
            raise InputError(f'"{text}" is not a time; write it as 2026-06-30T12:00:00Z', "--time") from error
    moment = moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
    return moment.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _key_and_secret(path: Path | None) -> tuple[str | None, str]:
    if path is None:
        return None, ""
    secret = path.parent / SECRET
    for file in (path, secret):
        if not file.is_file():
            raise InputError("there is no such file; make keys with keygen", str(file))
    found = secret.read_text(encoding="ascii", errors="replace").strip()
    if len(found) != 64 or any(letter not in "0123456789abcdef" for letter in found):
        raise InputError("this is not the secret that keygen wrote: 64 hex digits are wanted", str(secret))
    return path.read_text(encoding="ascii", errors="replace"), found


def _json(record: dict[str, Any]) -> str:
    return json.dumps(record, ensure_ascii=False, sort_keys=True, indent=1) + "\n"


# --- verify --------------------------------------------------------------------------------------


def verified(options: argparse.Namespace, progress: Progress, audit_job: AuditJob) -> tuple[int, str]:
    """Exit code and text: 0 all holds, 3 something does not.

    Raises
    ------
    InputError
        The file is no proof, or cannot be read.
    """
    from .proof_sign import fingerprint, public_hex, signature_fault, spoken  # noqa: PLC0415
    from .proof_verify import commitments_hold, faults, told  # noqa: PLC0415

    record = _record(options.proof)
    public = None
    if options.public_key is not None:
        public = public_hex(_data(options.public_key).decode("utf-8", errors="replace"), str(options.public_key))
    found = faults(record, public, _beside(options.proof))
    if not found and options.full is not None:
        if record["copy"] != "buyer":
            raise InputError("only a buyer's copy can be held against the full record", str(options.proof))
        full = _record(options.full)
        found += faults(full, record["signature"]["public_key"], {}) or commitments_hold(record, full)
    if not found and options.inputs is not None:
        found += _input_faults(record, options.inputs, progress, audit_job)
    if found:
        lines = "\n".join(f"  - {line}" for line in found)
        figures = told(record) if not signature_fault(record, public) else ""
        return DOES_NOT_HOLD, f"DOES NOT HOLD: {options.proof.name}\n{lines}\n{figures}".rstrip()
    mark = fingerprint(record)
    own = record["signature"]["public_key"]
    signer = f"Signer unknown to you: compare this fingerprint of the key with the grower: {own}"
    signer = "Signed by the key you gave." if public else signer
    again = _how_again(record, options.inputs)
    return 0, f"HOLDS: {options.proof.name}\n{signer}\n{again}Record: {spoken(mark)}\n{told(record)}"


def _data(path: Path) -> bytes:
    if not path.is_file():
        raise InputError("there is no such file; check the name", str(path))
    if path.stat().st_size > LARGEST_BYTES:
        raise InputError("this file is too large to be a proof", str(path))
    return path.read_bytes()


def _record(path: Path) -> dict[str, Any]:
    """The record in *path*; for a PDF that has lost its own, the one in the file beside it."""
    from .proof_pdf import ATTACHED  # noqa: PLC0415
    from .proof_verify import NotAProofError, record_in  # noqa: PLC0415

    data, beside = _data(path), path.with_name(ATTACHED)
    try:
        return record_in(data)
    except NotAProofError as error:
        if data.startswith(b"%PDF") and beside.is_file():
            return _record(beside)
        raise InputError(
            f"this is not a coverage proof ({error}); give the proof.pdf, proof.html or proof-buyer.json that the "
            "seller made",
            str(path),
        ) from error


def _beside(path: Path) -> dict[str, bytes]:
    """The paper that was named, and those that lie beside it under the names they were made with."""
    from .proof_verify import is_paper  # noqa: PLC0415

    papers = {path, path.with_name("proof.html"), path.with_name("proof.pdf")}
    found = {paper.name: paper.read_bytes() for paper in sorted(papers) if paper.is_file()}
    return {name: data for name, data in found.items() if is_paper(data)}


def _input_faults(record: dict[str, Any], folder: Path, progress: Progress, audit_job: AuditJob) -> list[str]:
    """Compute the figures again from the files in *folder*."""
    from .proof_figures import figures  # noqa: PLC0415
    from .proof_verify import figure_faults  # noqa: PLC0415

    if not folder.is_dir():
        raise InputError("there is no such folder; give the one with the job's files", str(folder))
    hashes = {hashlib.sha256(path.read_bytes()).hexdigest(): path for path in folder.rglob("*") if path.is_file()}
    wanted = record.get("inputs")
    if wanted is not None and (lost := [one["file"] for one in wanted if one["sha256"] not in hashes]):
        return [f"the folder has no file with the content of {', '.join(lost)}"]
    jobs = sorted(folder.rglob("*.toml"))
    if wanted is not None:
        jobs = [hashes[one["sha256"]] for one in wanted if one["file"].endswith(".toml")]
    if not jobs:
        return ["the folder has no job file, so nothing can be computed again"]
    try:
        audits = _audited([str(path) for path in jobs], progress, audit_job)
    except InputError as error:
        return [f"the folder's {len(jobs)} job file(s) cannot be computed again: {error}"]
    return figure_faults(record, figures(audits), same_versions=_same_versions(record))


def _same_versions(record: dict[str, Any]) -> bool:
    from .proof_record import software  # noqa: PLC0415

    return bool(record["software"] == software())


def _how_again(record: dict[str, Any], inputs: Path | None) -> str:
    """How close the figures computed again had to be; "" when they were not."""
    if inputs is None:
        return ""
    if _same_versions(record):
        return "Computed again from the inputs: every figure within one unit in its last place.\n"
    return "Computed again from the inputs with other library versions: every figure within 0.02 % of the field.\n"
