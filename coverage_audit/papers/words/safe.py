"""Text from files and from people, made harmless: names are data, they steer no terminal and start no line."""

from __future__ import annotations

import json
from typing import Any

REPLACEMENT = "\ufffd"
HARMLESS = "\u00a0\u202f\u200c\u200d"
"""Kept though Python calls them unprintable: blanks that do not break, and how letters join in Persian and Hindi."""
ONE_LINE_CHARACTERS = 200
"""Longest typed text on one line of a terminal or paper: what follows is cut, so that it pushes nothing away."""


def printable(text: str) -> str:
    """*text* without characters that steer a terminal, break a line or turn the direction of reading."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() or letter in HARMLESS else REPLACEMENT for letter in text)


def one_line(text: str, most: int = ONE_LINE_CHARACTERS) -> str:
    """*text* as one printable line of at most *most* characters; every run of blanks is one space."""
    line = " ".join(printable(" ".join(text[: 10 * most].split())).split(" "))
    return line if len(line) <= most else line[: most - 1] + "…"


def json_text(value: Any, *, indent: int | None = None) -> str:  # noqa: ANN401 - any JSON value
    """JSON of *value* with a line end; letters of every script as they are, unprintable characters as escapes.

    Raises
    ------
    ValueError
        A number is not finite: that is no JSON (RFC 8259, section 6).
    """
    text = json.dumps(value, indent=indent, ensure_ascii=False, allow_nan=False)
    # outside strings JSON as written here holds nothing unprintable but its line ends (RFC 8259, section 2)
    return (
        "".join(letter if letter.isprintable() or letter == "\n" else json.dumps(letter).strip('"') for letter in text)
        + "\n"
    )
