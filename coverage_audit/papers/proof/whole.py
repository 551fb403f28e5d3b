"""The whole set of a proof's papers by file name, made of finished audits; refused where check would not accept it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from coverage_audit.errors import InputError

from .checker import checker_page
from .form import form_faults
from .map import fitted
from .names import CHECKER
from .page import page_of
from .pdf import pdf_of
from .record import buyer_record, grower_record, refuse
from .sign import fingerprint, record_text, salt, sign
from .stamp import stamped
from .tolerances import LARGEST_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.recipe.result import Audit

    Record = dict[str, Any]

NO_SECRET = "00" * 32


class Seller(NamedTuple):
    """A private key (PEM), the secret of the salts (hex), where the key was read, and what asks for a time stamp."""

    key: str
    secret: str
    place: str
    ask: Callable[[bytes], bytes] | None = None


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
    copy = _buyers_copy(full, audit, place, seller.secret, stamped=seller.ask is not None)
    buyer = sign(copy, seller.key, seller.place)
    if seller.ask is not None:
        buyer = stamped(buyer, seller.ask, seller.key, seller.place)
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


def _buyers_copy(full: Record, audit: Audit, place: str, secret: str, *, stamped: bool = False) -> Record:
    """The buyer's copy, of a form that check accepts."""
    found = buyer_record(full, audit, place, secret, stamped=stamped)
    found["map"] = fitted(found["map"])
    _refuse_form({**found, "time_stamp": None} if stamped else found)  # the stamp is put on what is signed
    return found


def _refuse_form(record: Record) -> None:
    """Refuse to make what check would not accept, such as a text that is too long."""
    for fault in form_faults(record):
        raise InputError(f"no proof can be made of this: {fault}; shorten or correct it in the job file", "proof")
    if len(record_text(record)) > LARGEST_BYTES:
        raise InputError("the record would be too large for a proof; give a boundary with fewer corners", "proof")
