"""A coverage proof from the page: keys made once and kept in the farm's folder, papers as ``proof`` makes them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import Permit, check_folder, write_all
from coverage_audit.papers.proof.names import PRIVATE, PUBLIC, SALTS
from coverage_audit.papers.proof.sign import new_keys
from coverage_audit.papers.proof.whole import Seller, full_record, signed_papers
from coverage_audit.read.source import read_bytes

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from .desk import Desk

KEYS = "keys"


def proven(desk: Desk, job_file: Path, folder: Path, tell: Callable[..., None]) -> None:
    """Make a proof of the job for a buyer, its place blurred, signed with the farm's keys.

    Raises
    ------
    InputError
        The job proves nothing, since it was assumed or remembered when the boom was on, say; or it cannot be read.
    """
    with desk.alone:
        check_folder(folder)
    job = run.read(job_file, lambda what, part: tell(what=what, part=part))
    audit = run.audited(job, lambda what, part: tell(what=what, part=part), job_file)
    made = dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    full = full_record([audit], made)
    seller = _seller(desk)
    tell(what="writing the proof", part=1.0)
    papers, _ = signed_papers(full, audit, "blurred", seller)
    permit = Permit({sha256 for _, sha256 in job.sources})
    with desk.alone:
        write_all(folder, papers, kind="proof", private=("proof.json",), permit=permit)


def _seller(desk: Desk) -> Seller:
    """The farm's keys, made when there are none; never when only a part of them is there."""
    folder = desk.root / KEYS
    with desk.alone:
        there = [name for name in (PRIVATE, SALTS, PUBLIC) if (folder / name).exists()]
        if not there:
            private, public, salts = new_keys()
            contents = {PRIVATE: private, SALTS: salts, PUBLIC: public}
            write_all(folder, contents, private=(PRIVATE, SALTS))
        elif len(there) < 3:
            raise InputError("a part of your keys is missing; put it back from your safe copy", str(folder))
        key, salts = (read_bytes(folder / name).data.decode("ascii", "replace") for name in (PRIVATE, SALTS))
    return Seller(key, salts.strip(), str(folder / PRIVATE))
