"""Typed text as one visible line: what a person wrote must not look like what the program says."""

from __future__ import annotations

import unicodedata

_BLANK = "\u115f\u1160\u2800\u3164\uffa0"
"""Letters and signs that count as printable and show nothing: fillers of Hangul, the blank of Braille."""


def one_line(text: str, most: int) -> str:
    """*text* on one line of at most *most* letters.

    Runs of blanks become one. What has no shape of its own or steers the letters around it (line ends, control
    characters, marks of direction, letters of zero width) is written as its number.

    Parameters
    ----------
    most : int
        Letters kept; of a longer text it is said how long it was.
    """
    # the head alone is looked at, so that a text of megabytes costs nothing
    shown = " ".join("".join(_visible(letter) for letter in text[:most]).split())
    if len(shown) <= most and len(text) <= most:
        return shown
    return f"{shown[:most].rstrip()}... (cut; {len(text)} letters)"


def _visible(letter: str) -> str:
    if letter.isprintable() and letter not in _BLANK:
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
    letters = (letter for letter in text if ord(letter) > 0xFF and letter.isalnum() and letter not in _BLANK)
    found = {unicodedata.name(letter, "unnamed").split()[0] for letter in letters}
    return ", ".join(sorted(script.title() for script in found - {"LATIN"}))
