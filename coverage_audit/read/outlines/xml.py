"""XML of boundary files, fed to handlers; document types, and with them entities, are refused."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.parsers import expat

from coverage_audit.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable


def parse_xml(
    data: bytes,
    file: str,
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], None] = lambda _: None,
    text: Callable[[str], None] = lambda _: None,
) -> None:
    """Feed a whole XML file to handlers; tags come without their prefix.

    Raises
    ------
    InputError
        A document type, XML that is broken, or an encoding that is not known here.
    """
    parser = expat.ParserCreate()

    def refuse(*_: object) -> None:
        raise InputError(
            "the file declares a document type, which map files do not need and attacks do; remove <!DOCTYPE>",
            f"{file}, line {parser.CurrentLineNumber}",
        )

    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = lambda tag, attributes: start(tag.rpartition(":")[2], attributes)
    parser.EndElementHandler = lambda tag: end(tag.rpartition(":")[2])
    parser.CharacterDataHandler = text
    try:
        parser.Parse(data, True)  # noqa: FBT003 - expat takes it by position only
    except expat.ExpatError as error:
        raise InputError(
            f"the XML is broken or cut off ({expat.errors.messages[error.code]}); copy the file again",
            f"{file}, line {error.lineno}",
        ) from error
    except (LookupError, ValueError) as error:  # UnicodeError is a ValueError
        raise InputError("its text is in an encoding that cannot be read; export it again as UTF-8", file) from error


def root_of(data: bytes, file: str) -> str:
    """Name of the root element of a whole XML file, without its prefix."""
    roots: list[str] = []

    def start(tag: str, _: dict[str, str]) -> None:
        if not roots:
            roots.append(tag)

    parse_xml(data, file, start)
    return roots[0]
