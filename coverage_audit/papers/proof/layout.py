"""Where everything of the buyer's PDF stands, in whole hundredths of a point, so that a second program finds the same.

``check-a-proof.html`` lays every paper out anew by a script of its own (``templates/check_pdf.js``) and compares bytes.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any

from .code import SIZE, code_of, runs
from .page import HOW, NOT_SAID, TITLE, checking_words, rests_rows, rows_of, sentence_of, withheld_words
from .picture import MAP_WORDS, bar_of
from .sign import fingerprint, key_number, library, number

if TYPE_CHECKING:
    Record = dict[str, Any]
    Points = list[tuple[int, int]]
    Op = tuple[Any, ...]

SHEETS = {"metric": (59528, 84189), "us": (61200, 79200)}
"""Width and height by units: A4 (ISO 216) and Letter (ANSI Y14.1). [1/100 pt]"""

MARGIN, BOTTOM, INSET = 4535, 3969, 283
"""Margin on three sides, at the foot, and of the words in a column: 16, 14 and 1 mm. [1/100 pt]"""

LINE, PARAGRAPH, GAP = 1247, 1191, 567
"""Height of a line of a table, of a paragraph, and a gap. [1/100 pt]"""

DONE = ((20976, "", 900), (21543, "B", 900), (7937, "I", 800))
RESTING = ((16441, "", 850), (26079, "", 850), (7937, "I", 800))
"""Width, style and size of each column: name, what is said, where it comes from. [1/100 pt]"""

BAR, PALE, MAP, CODE, BESIDE = 1984, 214, 13039, 8510, 10205
"""Height of the bar; its grey (0 black, 255 white); width of map and code; place of the words beside the code."""

TITLE_LINE = ("B", 1800, 2835)
HEADING = ("B", 1000, 1701)
LARGE = ("", 1300, 1757)
SMALL = ("", 850, PARAGRAPH)
NUMBERS = ("", 900, 1304)
"""Style, size and height of a line: title, headings, the sentence, paragraphs, the numbers. [1/100 pt]"""


@dataclass
class Layout:
    """Pages of operations as they grow, and how far down the last one is filled. [1/100 pt]

    An operation is ("font", style, size), ("text", left, down, words), ("grey", value), ("box", left, down, width,
    height, how) or ("shape", points, how).
    """

    width: int
    height: int
    pages: list[list[Op]] = field(default_factory=lambda: [[]])
    down: int = MARGIN

    def add(self, *op: Any) -> None:  # noqa: ANN401 - an operation
        """Put one more operation on the last page."""
        self.pages[-1].append(op)

    def room(self, height: int) -> None:
        """Begin a page where so much does not fit."""
        if self.down + height > self.height - BOTTOM:
            self.pages.append([])
            self.down = MARGIN

    def line(self, left: int, down: int, height: int, words: str, style: str, size: int) -> None:
        """One line of words in the middle of its height."""
        self.add("font", style, size)
        self.add("text", left, down + height // 2 + 3 * size // 10, words)

    def paragraph(self, words: str, how: tuple[str, int, int], left: int = MARGIN) -> None:
        """Words broken over lines, each of which finds its room."""
        style, size, height = how
        for one in wrapped(words, style, size, self.width - MARGIN - left - 2 * INSET):
            self.room(height)
            self.line(left + INSET, self.down, height, one, style, size)
            self.down += height

    def heading(self, words: str) -> None:
        """A heading, with room for two lines below it."""
        style, size, height = HEADING
        self.room(height + 2 * LINE)
        self.line(MARGIN + INSET, self.down, height, words, style, size)
        self.down += height

    def table(self, rows: list[tuple[str, str, str]], columns: tuple[tuple[int, str, int], ...]) -> None:
        """Rows of three columns; a row is not broken over pages."""
        for row in rows:
            cells = [
                wrapped(words, style, size, wide - 2 * INSET)
                for words, (wide, style, size) in zip(row, columns, strict=True)
            ]
            self.room(LINE * max(map(len, cells)))
            left = MARGIN + INSET
            for lines, (wide, style, size) in zip(cells, columns, strict=True):
                for place, one in enumerate(lines):
                    self.line(left, self.down + place * LINE, LINE, one, style, size)
                left += wide
            self.down += LINE * max(map(len, cells))
        self.down += GAP


def laid_out(record: Record) -> list[list[Op]]:
    """Operations of every page of the paper of *record*."""
    layout = Layout(*SHEETS[record["units"]])
    style, size, height = TITLE_LINE
    layout.line(MARGIN + INSET, layout.down, height, TITLE, style, size)
    layout.down += height
    layout.paragraph(sentence_of(record), LARGE)
    layout.down += GAP
    _bar(layout, record)
    _drawing(layout, record)
    layout.heading("What was done")
    layout.table(rows_of(record), DONE)
    layout.heading("What it rests on")
    layout.table(rests_rows(record), RESTING)
    for heading, lines in (("How it was measured", (HOW,)), ("What this does not say", NOT_SAID)):
        layout.heading(heading)
        for one in lines:
            layout.paragraph(one, SMALL)
    layout.paragraph(withheld_words(record), SMALL)
    _seal(layout, record)
    return layout.pages


def _bar(layout: Layout, record: Record) -> None:
    bar, wide = bar_of(record), layout.width - 2 * MARGIN
    black = wide * int(bar.rest * 100) // 10_000
    layout.add("grey", PALE)
    layout.add("box", MARGIN, layout.down, wide, BAR, "DF")
    layout.add("grey", 0)
    layout.add("box", MARGIN + wide - black, layout.down, black, BAR, "F")
    layout.down += BAR + INSET
    layout.paragraph(bar.words, SMALL)
    layout.down += GAP


def _drawing(layout: Layout, record: Record) -> None:
    if record["place"] == "exact":
        layout.room(MAP)

        def placed(shape: list[list[int]]) -> Points:
            return [(MARGIN + x * MAP // 1000, layout.down + MAP - y * MAP // 1000) for x, y in shape]

        layout.add("shape", placed(record["map"]["outline"]), "D")
        for shape in record["map"]["missed"]:
            layout.add("shape", placed(shape), "F")
        layout.down += MAP + INSET
    layout.paragraph(MAP_WORDS[record["place"]], SMALL)
    layout.down += GAP


def _seal(layout: Layout, record: Record) -> None:
    layout.down += GAP
    layout.room(CODE + GAP + 4 * LINE)
    mark, top, key = fingerprint(record), layout.down, record.get("signature", {}).get("public_key")
    module = CODE // SIZE
    for left, down, wide in runs(code_of(mark)):
        layout.add("box", MARGIN + left * module, top + down * module, wide * module, module, "F")
    words = [f"Number of this record: {number(mark)}", mark]
    words += [f"Number of the key it is signed with: {key_number(key)}", key] if key else [UNSIGNED]
    for one in [*words, f"Made on {record['made']}."]:
        layout.paragraph(one, NUMBERS, MARGIN + BESIDE)
    layout.down = max(layout.down, top + CODE) + GAP
    layout.paragraph(checking_words(record), SMALL)


UNSIGNED = "NOT SIGNED: the grower's own paper"


# --- words ----------------------------------------------------------------------------------------


def latin(words: str) -> str:
    """*words* in the letters that the PDF's own fonts have: without their marks, or "?"; the page has them whole."""
    return "".join(letter if ord(letter) < 256 else _plain(letter) for letter in words)


def _plain(letter: str) -> str:
    return unicodedata.normalize("NFKD", letter).encode("latin-1", "ignore").decode("latin-1") or "?"


@cache
def widths(style: str) -> tuple[int, ...]:
    """Width of each letter of Latin-1 in the PDF's own font; nothing for those that never stand there. [1/1000 em]"""
    paper = library("fpdf").FPDF(unit="pt")
    paper.set_font("Helvetica", style, 1000)
    return tuple(
        round(paper.get_string_width(chr(code))) if chr(code).isprintable() or code == 0xA0 else 0
        for code in range(256)
    )


def wrapped(words: str, style: str, size: int, room: int) -> list[str]:
    """*words* broken at blanks into lines no wider than *room*, a word that is wider at any letter. [1/100 pt]"""
    wide, most = widths(style), room * 1000 // size

    def length(text: str) -> int:
        return sum(wide[ord(letter)] for letter in text)

    lines, line = [], ""
    for word in latin(words).split(" "):
        joined = f"{line} {word}" if line else word
        if length(joined) <= most:
            line = joined
            continue
        if line:
            lines.append(line)
        line = word
        while length(line) > most:
            cut = max(k for k in range(1, len(line)) if k == 1 or length(line[:k]) <= most)
            lines.append(line[:cut])
            line = line[cut:]
    return [*lines, line]
