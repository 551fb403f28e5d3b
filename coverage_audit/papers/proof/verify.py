"""Check a coverage proof: what kind of file it is, its form and signature, and every byte that a person reads.

A file is what its whole content is. A bare record is the one text that this program writes of it, to the last byte;
a page the one page made of the record inside; a PDF the same bytes too, or another version's lay-out of the same
drawing (:mod:`.proof_drawn`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from coverage_audit.papers.words.safe import one_line

from .drawn import same_drawing
from .form import COPIES, form_faults
from .names import MISSING, SCHEMA
from .page import page_of, rests_rows, rows_of, sentence_of
from .pdf import pdf_of, record_in_pdf
from .sign import fingerprint, parse_strict, record_text, signature_fault
from .stamp import stamp_fault
from .tolerances import LONGEST_NAME

if TYPE_CHECKING:
    from collections.abc import Mapping

    Record = dict[str, Any]

_TAG, _END = '<script type="application/json" id="record">', "</script>"


class NotAProofError(ValueError):
    """The file holds no record of this program."""


def _kind(data: bytes) -> str:
    """What *data* claims to be: "pdf", "page" or "record"; the tag of a page cannot stand in a record."""
    if data.startswith(b"%PDF"):
        return "pdf"
    return "page" if _TAG.encode() in data else "record"


def record_in(data: bytes) -> Record:
    """The record in a JSON file, a page or a PDF.

    Raises
    ------
    NotAProofError
        There is none.
    """
    kind = _kind(data)
    try:
        text = record_in_pdf(data) if kind == "pdf" else data.decode()
        record = parse_strict(_record_in_page(text) if kind == "page" else text)
    except (ValueError, RecursionError) as error:
        raise NotAProofError(str(error)) from error
    if record.get("schema") != SCHEMA or not isinstance(record.get("copy"), str) or record["copy"] not in COPIES:
        raise NotAProofError("it does not say that it is a coverage proof")
    if kind != "record" and record["copy"] != "buyer":
        raise NotAProofError("a page or a PDF is only ever made from a buyer's copy")
    return record


def _record_in_page(text: str) -> str:
    """Text of the last record in a page: looked for from the end, so that openings without an end cost nothing."""
    start = text.rindex(_TAG) + len(_TAG)
    end = text.find(_END, start)
    if end < 0:
        raise ValueError("the record in this page has no end")
    return text[start:end]


def faults(record: Record, public: str | None, papers: Mapping[str, bytes], wanted: str = "") -> list[str]:
    """Everything that does not hold, in sentences.

    Parameters
    ----------
    public : str or None
        The key it must be signed by, in hex; None = any.
    papers : mapping of str to bytes
        Files that claim to be the record or to be made from it, by file name.
    wanted : str
        Digits of the number of the key it must be signed by; "" = any.
    """
    if found := form_faults(record):
        return found
    if fault := signature_fault(record, public, wanted) or stamp_fault(record):
        return [fault]
    return [
        f"{one_line(name, LONGEST_NAME, spelled=True)} is not the paper of this record: changed, were it by a blank or "
        "a line end, or made by other versions. Read the figures below instead"
        for name, data in papers.items()
        if not _made_from(record, data)
    ]


def sealed(record: Record, public: str | None, wanted: str = "") -> bool:
    """Whether the record itself is as it was signed, by the key that was given if any, whatever its papers are."""
    return not (form_faults(record) or signature_fault(record, public, wanted) or stamp_fault(record))


def _made_from(record: Record, data: bytes) -> bool:
    kind = _kind(data)
    if kind == "record":
        return data == record_text(record).encode()
    if kind == "page":
        return data == page_of(record).encode()
    own = pdf_of(record)
    return data == own or same_drawing(data, own)


def is_another(data: bytes, record: Record) -> bool:
    """Whether *data* is a paper of another record, and that one is signed: somebody else's, and not this one forged."""
    try:
        found = record_in(data)
    except NotAProofError:
        return False
    return not form_faults(found) and not signature_fault(found, None) and fingerprint(found) != fingerprint(record)


def told(record: Record) -> str:
    """The record's own figures and fingerprint, in plain lines; what was typed stands in quotation marks."""
    rows = [(name, _quoted(value, origin), origin) for name, value, origin in rows_of(record)]
    lines = [f"  {name}: {value}{origin and f' ({origin})'}" for name, value, origin in [*rows, *rests_rows(record)]]
    return "\n".join([sentence_of(record), *lines, f"  Fingerprint: {fingerprint(record)}"])


def _quoted(value: str, origin: str) -> str:
    if not origin.startswith("typed") or value == MISSING:
        return value
    escaped = value.replace('"', '\\"')
    return f'"{escaped}"'
