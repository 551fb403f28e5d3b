"""The page that checks a proof without anything installed: one file, which sends and loads nothing.

Its script is our own (``templates/check_*.js``). It makes page and PDF of a record anew, as this package does, and
compares every byte; what it goes by is data from here: rules of form, words, templates, widths of letters.
"""

from __future__ import annotations

import hashlib
import json
import sys
import unicodedata
from functools import cache
from typing import Any

from coverage_audit.papers.templating import page_text
from coverage_audit.papers.words.safe import BLANK

from . import layout, page
from .ended import ENDED_SCHEMA
from .figures import FORMS
from .form import BUYER, DAY
from .names import CHECKER, MISSING, SCHEMA
from .picture import BAR_WORDS, MAP_WORDS
from .rests import LAND_WORDS, LOG, MADE, QUANTITY, RESTS, SAYS, TYPED
from .sign import CURVE_D
from .stamp import LONGEST_TOKEN
from .standing import TO_COME
from .tolerances import LARGEST_BYTES, LONGEST_NAME, LONGEST_ROW, LONGEST_TYPED, MAP_SIZE, MOST_MAP_POINTS

SCRIPTS = ("check_record.js", "check_form.js", "check_words.js", "check_pdf.js", "check_page.js")


@cache
def checker_page() -> str:
    """The page, with the words of this version: the same bytes each time."""
    words = json.dumps(_words(), separators=(",", ":")).replace("<", "\\u003c")
    return page_text(CHECKER).replace("{{ words }}", words).replace("{{ script }}", page_text(*SCRIPTS))


@cache
def checker_sha256() -> str:
    """SHA-256 of the page, as papers tell it. [hex]"""
    return hashlib.sha256(checker_page().encode()).hexdigest()


def _words() -> dict[str, Any]:
    """Everything that the script goes by."""
    return {**_said(), **_drawn(), **_letters()}


def _said() -> dict[str, Any]:
    """Words, and the rules of a record's form."""
    return {
        "schema": SCHEMA,
        "ended": ENDED_SCHEMA,
        "tocome": TO_COME,
        "token": LONGEST_TOKEN,
        "missing": MISSING,
        "unstated": page.UNSTATED,
        "typed": TYPED,
        "interval": page.INTERVAL,
        "log": LOG,
        "says": SAYS,
        "land": LAND_WORDS,
        "rests": {key: [line.name, line.origin, line.cases] for key, line in RESTS.items()},
        "made": [MADE.name, MADE.origin, MADE.cases],
        "figures": page.FIGURES,
        "area": [name for name, form in FORMS.items() if form.unit == "m2"],
        "label": page.LABEL,
        "units": page.UNITS,
        "us": {unit: [str(size), -int(step.as_tuple().exponent), name] for unit, (size, step, name) in page.US.items()},
        "months": page.MONTHS,
        "form": BUYER,
        "day": DAY,
        "quantity": QUANTITY.pattern,
        "row": LONGEST_ROW,
        "name": LONGEST_NAME,
        "text": LONGEST_TYPED,
        "box": MAP_SIZE,
        "corners": MOST_MAP_POINTS,
        "largest": LARGEST_BYTES,
        "d": str(CURVE_D),
    }


def _drawn() -> dict[str, Any]:
    """What page and PDF are made of."""
    return {
        "bar": BAR_WORDS,
        "map": MAP_WORDS,
        "title": page.TITLE,
        "how": page.HOW,
        "limits": page.NOT_SAID,
        "withheld": page.WITHHELD,
        "checking": page.CHECKING,
        "page": {
            "whole": page_text(page.TEMPLATE).removesuffix("\n"),
            "done": page.DONE_ROW,
            "rest": page.REST_ROW,
            "limit": page.LIMIT,
            "field": page.FIELD,
            "key": page.KEY_LINES,
            "unsigned": page.UNSIGNED,
        },
        "pdf": {name.lower(): getattr(layout, name) for name in _LAYOUT},
        "widths": {style: layout.widths(style) for style in ("", "B", "I")},
    }


def _letters() -> dict[str, Any]:
    """Which letters are spelled, are blanks, and are of which script."""
    blanks = _spans(lambda letter: letter != " " and unicodedata.category(letter) == "Zs")
    return {"spelled": _spans(_spelled), "blanks": blanks, "scripts": _scripts()}


_LAYOUT = (
    *("SHEETS", "MARGIN", "BOTTOM", "INSET", "LINE", "GAP", "DONE", "RESTING", "BAR", "MAP", "CODE", "BESIDE"),
    *("LARGE", "SMALL", "NUMBERS", "UNSIGNED", "HEADING", "TITLE_LINE"),
)
"""Constants of the layout that the script goes by."""


def _spelled(letter: str) -> bool:
    """Whether a paper writes a letter as its number."""
    return (not letter.isprintable() or letter in BLANK) and unicodedata.category(letter) != "Zs"


def _spans(wanted: Any) -> list[int]:  # noqa: ANN401 - a test of one letter
    """First and last code of every run of letters that are *wanted*, one after the other."""
    spans: list[int] = []
    for code in range(sys.maxunicode + 1):
        if wanted(chr(code)):
            _longer(spans, code)
    return spans


def _longer(spans: list[int], code: int) -> None:
    """Put *code* to the last span, or begin a new one."""
    if spans and spans[-1] == code - 1:
        spans[-1] = code
    else:
        spans += [code, code]


def _scripts() -> dict[str, list[int]]:
    """Spans of letters and digits by their script, but for Latin, as :func:`..words.safe.other_scripts` names them."""
    found: dict[str, list[int]] = {}
    for code in range(0x100, sys.maxunicode + 1):
        letter = chr(code)
        if letter.isalnum() and letter not in BLANK:
            script = unicodedata.name(letter, "unnamed").split()[0]
            _longer(found.setdefault(script.title(), []), code)
    found.pop("Latin", None)
    return found
