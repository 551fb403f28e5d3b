"""Text in TOML form to tables, with a word for the usual slips."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.read.source import decoded

if TYPE_CHECKING:
    from coverage_audit.read.source import InputFile

CURLY = "\u201c\u201d\u201e\u2018\u2019"
"""Quotes that word processors and phones make of straight ones."""


def toml_of(file: InputFile, other: str) -> dict[str, Any]:
    """What a TOML file holds, unchecked.

    Parameters
    ----------
    file : InputFile
        The file as read.
    other : str
        What to say when it is plainly a log, a map file or the like.

    Raises
    ------
    InputError
        No text, no TOML, or a number that TOML does not carry.
    """
    try:
        data = tomllib.loads(decoded(file.data).replace("\r\n", "\n"))
    except UnicodeDecodeError as error:
        raise InputError("this is not text; save it as UTF-8", f"{file.name}, byte {error.start}") from error
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, and numbers too long to be read
        raise InputError(_not_toml(file.data, error, other), file.name) from error
    _refuse_huge(data, file.name)
    return data


def _not_toml(data: bytes, error: Exception, other: str) -> str:
    """What is wrong with a file that is no TOML, with the usual cause where one shows."""
    if data.lstrip().startswith((b"<", b"$", b"{")):
        return other
    found = str(error)
    hint = ""
    if "hex value" in found or "escape" in found:
        hint = "; in file names write / instead of \\"
    elif any(quote in decoded(data) for quote in CURLY):
        hint = """; its quotes are curly ones, type straight ones instead: \""""
    elif "Expected newline" in found or "Invalid value" in found:
        hint = '; text and quantities need quotes, as in width = "9 m"'
    return f"this is not TOML ({found}){hint}; correct it there"


def _refuse_huge(value: object, place: str) -> None:
    """Raise on a whole number that TOML does not promise to carry (it need not go beyond 64 bits)."""
    if isinstance(value, dict):
        for key, entry in value.items():
            _refuse_huge(entry, f"{place}{'.' if ', ' in place else ', '}{key}")
    elif isinstance(value, list):
        for entry in value:
            _refuse_huge(entry, place)
    elif isinstance(value, int) and value.bit_length() > 63:
        raise InputError("this whole number is out of every range; correct it", place)
