"""The buyer's paper as a PDF of one or two pages, with the record that it was made from attached."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from .layout import SHEETS, laid_out
from .page import TITLE
from .sign import library, record_text

if TYPE_CHECKING:
    Record = dict[str, Any]

ATTACHED = "proof-buyer.json"
"""Name of the record inside the PDF."""

STROKE_PT = 1.13
"""Width of lines. [pt]"""

_HEAD, _END = b"\n/Type /EmbeddedFile\n>>\nstream\n", b"\nendstream\n"


def record_in_pdf(data: bytes) -> str:
    """Text of the record attached to a PDF that this program made.

    Raises
    ------
    ValueError
        It holds no record as this program attaches it, or several.
    """
    start = data.find(_HEAD) + len(_HEAD)
    end = data.find(_END, start)
    if start < len(_HEAD) or end < 0 or data.find(_HEAD, start) >= 0:
        raise ValueError("this PDF does not hold one record")
    return data[start:end].decode()


def pdf_of(record: Record) -> bytes:
    """The paper (A4, or Letter for US units); the same record gives the same bytes."""
    paper = library("fpdf").FPDF(unit="pt", format=tuple(side / 100 for side in SHEETS[record["units"]]))
    paper.set_compression(False)  # builds of the compressor differ in their bytes
    paper.alias_nb_pages(None)  # "{nb}" in typed text is no number of pages
    paper.file_id = lambda: None
    paper.embed_file(
        bytes=record_text(record).encode(), basename=ATTACHED, desc="The record that this paper was made from"
    )
    paper.set_creation_date(dt.datetime.fromisoformat(record["made"] + "T00:00:00+00:00"))
    paper.set_title(TITLE)
    paper.set_lang("en")
    paper.set_auto_page_break(auto=False)
    paper.set_line_width(STROKE_PT)
    for page in laid_out(record):
        paper.add_page()
        for op in page:
            _draw(paper, *op)
    return bytes(paper.output())


def _draw(paper: Any, what: str, *how: Any) -> None:  # noqa: ANN401 - an FPDF, and an operation
    """One operation of the layout; its places are hundredths of a point."""
    if what == "font":
        paper.set_font("Helvetica", how[0], how[1] / 100)
    elif what == "grey":
        paper.set_fill_color(how[0])
    elif what == "text":
        paper.text(how[0] / 100, how[1] / 100, how[2])
    elif what == "box":
        paper.rect(*(one / 100 for one in how[:4]), style=how[4])
    else:
        paper.polygon([(x / 100, y / 100) for x, y in how[0]], style=how[1])
