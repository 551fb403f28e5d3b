"""The whole set of a proof's papers by file name, made of finished audits; refused where check would not accept it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from coverage_audit.errors import InputError

from .checker import CHECKER, checker_page
from .form import form_faults
from .map import fitted
from .page import page_of
from .pdf import pdf_of
from .record import buyer_record, grower_record, refuse
from .sign import fingerprint, record_text, salt, sign
from .tolerances import LARGEST_BYTES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.recipe.result import Audit

    Record = dict[str, Any]

NO_SECRET = "00" * 32


class Seller(NamedTuple):
    """A private key (PEM), the secret of the salts (hex), and where the key was read."""

    key: str
    secret: str
    place: str


def full_record(audits: Sequence[Audit], made: str) -> Record:
    """The grower's record of *audits*, made at the time *made* (ISO 8601, UTC).

    Raises
    ------
    InputError
        The audits prove nothing, contradict themselves, or say what does not fit a proof.
    """
    refuse(audits, audits[0].job.settings.proof, made)
    full = grower_record(audits, made)
    _refuse_form(full)
    return full


def unsigned_papers(full: Record, audit: Audit) -> Record:
    """The grower's own papers: nothing in them is signed."""
    own = _buyers_copy(full, audit, "exact", NO_SECRET)
    return {"proof.json": record_text(full), "proof.html": page_of(own)}


def signed_papers(full: Record, audit: Audit, place: str, seller: Seller) -> tuple[Record, Record]:
    """Papers by file name, and the buyer's copy that they were made of."""
    buyer = sign(_buyers_copy(full, audit, place, seller.secret), seller.key, seller.place)
    mark = fingerprint(full)
    salts = {path: salt(seller.secret, mark, path.split("/")) for path in buyer["commitments"]}
    own = {**full, "salts": salts, "buyer": fingerprint(buyer)}
    papers = {
        "proof.json": record_text(sign(own, seller.key, seller.place)),
        "proof-buyer.json": record_text(buyer),
        "proof.html": page_of(buyer),
        "proof.pdf": pdf_of(buyer),
        CHECKER: checker_page(),
    }
    return papers, buyer


def _buyers_copy(full: Record, audit: Audit, place: str, secret: str) -> Record:
    """The buyer's copy, of a form that check accepts."""
    found = buyer_record(full, audit, place, secret)
    found["map"] = fitted(found["map"])
    _refuse_form(found)
    return found


def _refuse_form(record: Record) -> None:
    """Refuse to make what check would not accept, such as a text that is too long."""
    for fault in form_faults(record):
        raise InputError(f"no proof can be made of this: {fault}; shorten or correct it in the job file", "proof")
    if len(record_text(record)) > LARGEST_BYTES:
        raise InputError("the record would be too large for a proof; give a boundary with fewer corners", "proof")
