"""Text from files and from people, made harmless: names are data, they steer no terminal and start no line.

What a person wrote must not look like what the program says.
"""

from __future__ import annotations

import json
import unicodedata
from typing import Any

REPLACEMENT = "\ufffd"
HARMLESS = "\u00a0\u202f\u200c\u200d"
"""Kept though Python calls them unprintable: blanks that do not break, and how letters join in Persian and Hindi."""
BLANK = "\u115f\u1160\u2800\u3164\uffa0"
"""Letters and signs that count as printable and show nothing: fillers of Hangul, the blank of Braille."""
ONE_LINE_CHARACTERS = 200
"""Longest typed text on one line of a terminal or paper: what follows is cut, so that it pushes nothing away."""


def printable(text: str) -> str:
    """*text* without characters that steer a terminal, break a line or turn the direction of reading."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() or letter in HARMLESS else REPLACEMENT for letter in text)


def one_line(text: str, most: int = ONE_LINE_CHARACTERS, *, spelled: bool = False) -> str:
    """*text* as one printable line; every run of blanks is one space.

    Parameters
    ----------
    most : int
        Most characters; what follows is cut, and "…" stands for it.
    spelled : bool
        For papers that must show every letter there is: what has no shape of its own or steers the letters
        around it (line ends, control characters, marks of direction, letters of zero width) is written as its
        number, and of a longer text it is said behind its first *most* letters how long it was.
    """
    # the head alone is looked at, so that a text of megabytes costs nothing
    if not spelled:
        line = printable(" ".join(text[: 10 * most].split()))
        return line if len(line) <= most else line[: most - 1] + "…"
    line = " ".join("".join(_visible(letter) for letter in text[:most]).split())
    if len(line) <= most and len(text) <= most:
        return line
    return f"{line[:most].rstrip()}... (cut; {len(text)} letters)"


def _visible(letter: str) -> str:
    if letter.isprintable() and letter not in BLANK:
        return letter
    if unicodedata.category(letter) == "Zs":
        return " "
    number = ord(letter)
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"


def other_scripts(text: str) -> str:
    """Scripts of the letters and digits in *text* that are not Latin, by name; "" when all are.

    A Cyrillic or Greek letter can look like a Latin one. The script is the first word of the letter's name in
    the Unicode Character Database, which for the alphabets is that of their script.
    """
    # Latin-1 holds Latin letters, the micro sign and the two ordinals
    letters = (letter for letter in text if ord(letter) > 0xFF and letter.isalnum() and letter not in BLANK)
    found = {unicodedata.name(letter, "unnamed").split()[0] for letter in letters}
    return ", ".join(sorted(script.title() for script in found - {"LATIN"}))


def json_text(value: Any, *, indent: int | None = None) -> str:  # noqa: ANN401 - any JSON value
    """JSON of *value* with a line end; letters of every script as they are, unprintable characters as escapes.

    Raises
    ------
    ValueError
        A number is not finite: that is no JSON (RFC 8259, section 6).
    """
    text = json.dumps(value, indent=indent, ensure_ascii=False, allow_nan=False)
    if text.replace("\n", "").isprintable():
        return text + "\n"
    # outside strings JSON as written here holds nothing unprintable but its line ends (RFC 8259, section 2)
    return (
        "".join(letter if letter.isprintable() or letter == "\n" else json.dumps(letter).strip('"') for letter in text)
        + "\n"
    )
