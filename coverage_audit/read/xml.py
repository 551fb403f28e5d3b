"""XML fed to handlers or made a tree; document types, and with them entities, are refused."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.parsers import expat

from coverage_audit.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable


MAX_DEPTH = 64
"""Deepest nesting of elements in a tree. [1] Task data nest six deep."""


@dataclass
class Element:
    """One element: its tag without prefix, its attributes, and the elements in it."""

    tag: str
    attributes: dict[str, str]
    children: list[Element] = field(default_factory=list)

    def __getitem__(self, attribute: str) -> str:
        """An attribute without outer blanks, "" where there is none."""
        return self.attributes.get(attribute, "").strip()

    def all(self, *tags: str) -> list[Element]:
        """The elements directly in it that have one of the tags."""
        return [child for child in self.children if child.tag in tags]


@dataclass(frozen=True)
class Break:
    """Where XML is broken: the line, what is wrong, and the bytes behind it."""

    line: int
    why: str
    rest: bytes


def parse_xml(
    data: bytes,
    file: str,
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], object] = lambda _: None,
    text: Callable[[str], None] = lambda _: None,
) -> None:
    """Feed a whole XML file to handlers; tags come without their prefix.

    Raises
    ------
    InputError
        A document type, XML that is broken, or an encoding that is not known here.
    """
    broken = parse_to_break(data, file, start, end, text)
    if broken is not None:
        raise broken_xml(broken, file)


def broken_xml(broken: Break, file: str) -> InputError:
    """Refusal of XML that is broken."""
    return InputError(
        f"the XML is broken or cut off ({broken.why}); copy the file again", f"{file}, line {broken.line}"
    )


def parse_to_break(
    data: bytes,
    file: str,
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], object],
    text: Callable[[str], None],
) -> Break | None:
    """Feed an XML file to handlers as far as it is sound; where it is broken, None for a whole one.

    Raises
    ------
    InputError
        A document type, or an encoding that is not known here.
    """
    parser = expat.ParserCreate()

    def refuse(*_: object) -> None:
        raise InputError(
            "the file declares a document type, which such files do not need and attacks do; remove <!DOCTYPE>",
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
        rest = data[max(parser.ErrorByteIndex, 0) + 1 :]
        return Break(error.lineno, expat.errors.messages[error.code], rest)
    except (LookupError, ValueError) as error:  # UnicodeError is a ValueError
        raise InputError("its text is in an encoding that cannot be read; export it again as UTF-8", file) from error
    return None


def root_of(data: bytes, file: str) -> str:
    """Name of the root element of a whole XML file, without its prefix."""
    roots: list[str] = []

    def start(tag: str, _: dict[str, str]) -> None:
        if not roots:
            roots.append(tag)

    parse_xml(data, file, start)
    return roots[0]


def tree_of(data: bytes, file: str) -> Element:
    """Root of a whole XML file with everything in it.

    Raises
    ------
    InputError
        As :func:`parse_xml`; elements nested deeper than ``MAX_DEPTH``.
    """
    top = Element("", {})
    still_open = [top]

    def start(tag: str, attributes: dict[str, str]) -> None:
        if len(still_open) > MAX_DEPTH:
            raise InputError(f"its elements are nested over {MAX_DEPTH} deep; export the file again", file)
        one = Element(tag, attributes)
        still_open[-1].children.append(one)
        still_open.append(one)

    parse_xml(data, file, start, lambda _: still_open.pop())
    return top.children[0]
