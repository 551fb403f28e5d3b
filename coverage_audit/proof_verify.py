"""Check a coverage proof: signature, papers, and, with the inputs at hand, the figures themselves."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from .proof_page import page_of, rows_of
from .proof_pdf import pdf_of, record_in_pdf
from .proof_record import SCHEMA
from .proof_sign import commitment, fingerprint, parse_strict, signature_fault

if TYPE_CHECKING:
    from collections.abc import Mapping

    Record = dict[str, Any]

KEYS = {
    "buyer": {
        *("schema", "copy", "made", "place", "what", "figures", "later", "map", "software"),
        *("withheld", "commitments", "signature"),
    },
    "grower": {
        *(
            "schema",
            "copy",
            "made",
            "what",
            "figures",
            "later",
            "grower",
            "inputs",
            "settings",
            "software",
            "signature",
        ),
        "salts",
    },
}
_RECORD = re.compile(r'<script type="application/json" id="record">(.*?)</script>', re.DOTALL)
SAME_REL = 2e-4
"""With other library versions figures may differ by this share of the field. [1]"""


class NotAProofError(ValueError):
    """The file holds no record of this program."""


def is_paper(data: bytes) -> bool:
    """Whether a file shows a record to a reader (a page, a PDF) and is not the bare record."""
    return not data.lstrip().startswith(b"{")


def record_in(data: bytes) -> Record:
    """The record in a JSON file, a page or a PDF.

    Raises
    ------
    NotAProofError
        There is none.
    """
    try:
        text = record_in_pdf(data) if data.startswith(b"%PDF") else data.decode("utf-8", errors="replace")
        found = _RECORD.search(text)
        record = parse_strict(found[1] if found else text)
    except (ValueError, RecursionError) as error:
        raise NotAProofError(str(error)) from error
    if record.get("schema") != SCHEMA or record.get("copy") not in KEYS:
        raise NotAProofError("it does not say that it is a coverage proof")
    if is_paper(data) and record["copy"] != "buyer":
        raise NotAProofError("a page or a PDF is only ever made from a buyer's copy")
    return record


def faults(record: Record, public: str | None, papers: Mapping[str, bytes]) -> list[str]:
    """Everything that does not hold, in sentences.

    Parameters
    ----------
    public : str or None
        The key it must be signed by, in hex; None = any.
    papers : mapping of str to bytes
        Pages and PDFs that claim to be made from the record, by file name.
    """
    unknown = set(record) - KEYS[record["copy"]]
    if unknown:
        return [f"the record has members that are not of it: {', '.join(sorted(unknown))}"]
    found = [fault] if (fault := signature_fault(record, public)) else []
    if record["copy"] == "buyer":
        found += _paper_faults(record, papers)
    return found


def _paper_faults(record: Record, papers: Mapping[str, bytes]) -> list[str]:
    try:
        page, pdf = page_of(record).encode(), pdf_of(record)
    except Exception as error:  # noqa: BLE001 - a record that was tampered with can be anything
        return [f"no paper can be made from the record ({type(error).__name__})"]
    return [
        f"{name} is not the paper of this record: changed, or made by other versions. Read the figures below instead"
        for name, data in papers.items()
        if data != (pdf if data.startswith(b"%PDF") else page)
    ]


def told(record: Record) -> str:
    """The record's own figures and fingerprint, in plain lines."""
    mark = fingerprint(record)
    lines = [f"  {name}: {value} ({origin})" for name, value, origin in rows_of(record)]
    return "\n".join([*lines, f"  Fingerprint: {mark}"])


def commitments_hold(buyer: Record, full: Record) -> list[str]:
    """What the grower's full record says otherwise than the buyer's copy is committed to."""
    found = [f"{key} differs" for key in ("what", "later", "software") if buyer[key] != full[key]]
    for path, sealed in buyer["commitments"].items():
        part, key = path.split("/", 1)
        try:
            value = full[part][int(key)] if isinstance(full[part], list) else full[part][key]
            same = commitment(full["salts"][path], value) == sealed
        except (KeyError, IndexError, ValueError, TypeError):
            same = False
        if not same:
            found.append(f"{path} is not what the buyer's copy is committed to")
    return found


def figure_faults(record: Record, again: Record, *, same_versions: bool) -> list[str]:
    """Figures that differ from those computed again from the inputs, by more than a unit in the last place."""
    found = []
    target = float(again["target_m2"]["value"])
    for name, figure in record["figures"].items():
        one, other = figure["value"], again[name]["value"]
        if (one is None) != (other is None):
            found.append(f"{name}: the record says {one}, the inputs say {other}")
        elif one is not None:
            scale = {"ha": 1e-4, "m2": 1.0}.get(figure["unit"], 1.0)
            decimals = len(one.partition(".")[2])
            slack = 10.0**-decimals * 1.01
            if not same_versions:
                slack = max(slack, SAME_REL * (100.0 if figure["unit"] == "%" else target * scale))
            value = float(other) * (scale if figure["unit"] == "ha" and again[name]["unit"] == "m2" else 1.0)
            if abs(float(one) - value) > slack + (0.5 * 10.0**-decimals if figure["unit"] == "ha" else 0.0):
                found.append(f"{name}: the record says {one}, the inputs say {other}")
    return found
