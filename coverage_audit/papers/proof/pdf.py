"""The buyer's paper as a PDF of one or two pages, with the record that it was made from attached."""

from __future__ import annotations

import datetime as dt
import unicodedata
from typing import TYPE_CHECKING, Any

from .page import HOW, NOT_SAID, TITLE, rests_rows, rows_of, sentence_of, withheld_words
from .picture import MAP_WORDS, Bar, bar_of
from .sign import fingerprint, key_number, library, number, record_text

if TYPE_CHECKING:
    Record = dict[str, Any]
    Columns = tuple[tuple[int, str, float], ...]

NAME_MM = 74
"""Room for the name of a figure, in one line. [mm]"""

BAR_MM, PALE = 7, 214
"""Height of the bar [mm], and the grey of what is proven: 0 black, 255 white."""

ATTACHED = "proof-buyer.json"
"""Name of the record inside the PDF."""


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
    mark = fingerprint(record)
    paper = library("fpdf").FPDF(format="Letter" if record["units"] == "us" else "A4")
    paper.set_compression(False)  # builds of the compressor differ in their bytes
    paper.alias_nb_pages(None)  # "{nb}" in typed text is no number of pages
    paper.file_id = lambda: None
    paper.embed_file(
        bytes=record_text(record).encode(), basename=ATTACHED, desc="The record that this paper was made from"
    )
    paper.set_creation_date(dt.datetime.fromisoformat(record["made"] + "T00:00:00+00:00"))
    paper.set_title(TITLE)
    paper.set_lang("en")
    paper.set_margin(16)
    paper.set_auto_page_break(auto=True, margin=14)
    paper.add_page()
    paper.set_font("Helvetica", "B", 18)
    paper.cell(0, 10, TITLE, new_x="LMARGIN", new_y="NEXT")
    paper.set_font("Helvetica", "", 13)
    paper.multi_cell(0, 6.2, _latin(sentence_of(record)), new_x="LMARGIN", new_y="NEXT")
    paper.ln(2)
    _bar(paper, bar_of(record))
    _drawing(paper, record["map"], record["place"])
    _heading(paper, "What was done")
    _table(paper, rows_of(record), DONE)
    _heading(paper, "What it rests on")
    _table(paper, rests_rows(record), RESTING)
    for heading, lines in (("How it was measured", (HOW,)), ("What this does not say", NOT_SAID)):
        _heading(paper, heading)
        paper.set_font("Helvetica", "", 8.5)
        for line in lines:
            paper.multi_cell(0, 4.2, _latin(line), new_x="LMARGIN", new_y="NEXT")
    paper.multi_cell(0, 4.2, _latin(withheld_words(record)), new_x="LMARGIN", new_y="NEXT")
    _seal(paper, record, mark)
    return bytes(paper.output())


def _latin(words: str) -> str:
    """*words* in the letters that the PDF's own fonts have: without their marks, or "?"; the page has them whole."""
    return "".join(letter if ord(letter) < 256 else _plain(letter) for letter in words)


def _plain(letter: str) -> str:
    return unicodedata.normalize("NFKD", letter).encode("latin-1", "ignore").decode("latin-1") or "?"


def _heading(paper: Any, words: str) -> None:  # noqa: ANN401 - an FPDF
    paper.set_font("Helvetica", "B", 10)
    _room(paper, 6 + 2 * LINE_MM)
    paper.cell(0, 6, words, new_x="LMARGIN", new_y="NEXT")


LINE_MM = 4.4
"""Height of a line. [mm]"""

DONE = ((NAME_MM, "", 9), (76, "B", 9), (28, "I", 8))
RESTING = ((58, "", 8.5), (92, "", 8.5), (28, "I", 8))
"""Room [mm], style and size [pt] of each column: name, what is said, where it comes from."""


def _table(paper: Any, rows: list[tuple[str, str, str]], columns: Columns) -> None:  # noqa: ANN401 - an FPDF
    for row in rows:
        cells = [(*column, _latin(words)) for column, words in zip(columns, row, strict=True)]
        lines = [_cell(paper, *cell, dry_run=True, output="LINES") for cell in cells]
        height = LINE_MM * max(1, *map(len, lines))
        _room(paper, height)
        bottom = paper.get_y() + height
        for cell in cells:
            _cell(paper, *cell, new_x="RIGHT", new_y="TOP")
        paper.set_xy(paper.l_margin, bottom)
    paper.ln(2)


def _bar(paper: Any, bar: Bar) -> None:  # noqa: ANN401 - an FPDF
    _room(paper, BAR_MM + 1)
    left, top, wide = paper.l_margin, paper.get_y(), paper.epw
    black = wide * float(bar.rest) / 100
    paper.set_line_width(0.4)
    paper.set_fill_color(PALE)
    paper.rect(left, top, wide, BAR_MM, style="DF")
    paper.set_fill_color(0)
    paper.rect(left + wide - black, top, black, BAR_MM, style="F")
    paper.set_xy(left, top + BAR_MM + 1)
    paper.set_font("Helvetica", "", 8.5)
    paper.multi_cell(0, 4.2, bar.words, new_x="LMARGIN", new_y="NEXT")
    paper.ln(2)


def _cell(paper: Any, width_mm: float, style: str, size: float, words: str, **how: Any) -> Any:  # noqa: ANN401
    """Words broken over lines in a column of so much room."""
    paper.set_font("Helvetica", style, size)
    return paper.multi_cell(width_mm, LINE_MM, words, align="L", **how)


def _room(paper: Any, height_mm: float) -> None:  # noqa: ANN401 - an FPDF
    """Begin a page where so much does not fit: shapes and rows beside one another break over no page of themselves."""
    if paper.get_y() + height_mm > paper.h - paper.b_margin:
        paper.add_page()


def _drawing(paper: Any, drawing: Record, place: str) -> None:  # noqa: ANN401 - an FPDF
    if place != "exact":
        paper.multi_cell(0, 4.2, MAP_WORDS[place], new_x="LMARGIN", new_y="NEXT")
        paper.ln(2)
        return
    size, left = 46.0, paper.l_margin
    _room(paper, size)
    top = paper.get_y()
    scale = size / 1000

    def placed(points: list[list[int]]) -> list[tuple[float, float]]:
        return [(left + x * scale, top + size - y * scale) for x, y in points]

    paper.set_line_width(0.4)
    paper.polygon(placed(drawing["outline"]), style="D")
    paper.set_fill_color(0)
    for shape in drawing["missed"]:
        paper.polygon(placed(shape), style="F")
    paper.set_xy(left + size + 4, top)
    paper.set_font("Helvetica", "", 8.5)
    paper.multi_cell(0, 4.2, MAP_WORDS[place], new_x="LMARGIN", new_y="NEXT")
    paper.set_y(top + size + 3)


def _seal(paper: Any, record: Record, mark: str) -> None:  # noqa: ANN401 - an FPDF
    paper.ln(2)
    _room(paper, 36)
    top, left = paper.get_y(), paper.l_margin
    matrix = library("segno").make(mark, error="m").matrix
    module = 30 / len(matrix)
    paper.set_fill_color(0)
    for row, line in enumerate(matrix):
        for column, dark in enumerate(line):
            if dark:
                paper.rect(left + column * module, top + row * module, module, module, style="F")
    paper.set_xy(left + 36, top)
    paper.set_font("Helvetica", "", 9)
    signed = record.get("signature")
    words = [
        f"Number of this record: {number(mark)}",
        mark,
        *(
            [f"Number of the key it is signed with: {key_number(signed['public_key'])}", signed["public_key"]]
            if signed
            else ["NOT SIGNED: the grower's own paper"]
        ),
        f"Made on {record['made']}. Check it: coverage-audit proof check proof.pdf",
    ]
    paper.set_left_margin(left + 36)
    for line in words:
        paper.multi_cell(0, 4.6, line, new_x="LMARGIN", new_y="NEXT")
    paper.set_left_margin(left)
