"""What a reader of field outlines says of itself; the registry knows no more of it than this."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from coverage_audit.read.xml import root_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.facts import Caution
    from coverage_audit.read.source import InputFile, Source


@dataclass(frozen=True)
class Candidate:
    """A file whose form is looked for."""

    file: InputFile

    @cached_property
    def start(self) -> bytes:
        """The first 4096 bytes, without a byte-order mark of UTF-8 and blanks."""
        return self.file.data[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()

    @cached_property
    def root(self) -> str:
        """Name of the root element, without its prefix; "" for what is no XML.

        Raises
        ------
        InputError
            It begins like XML and is broken.
        """
        is_xml = self.start.startswith((b"<", b"\xff\xfe", b"\xfe\xff"))
        return root_of(self.file.data, self.file.name) if is_xml else ""


@dataclass
class Shapes:
    """Shapes on their way in: (name, geometry in degrees), files read beside the first, and what there is to say.

    ``no_spray`` are those that the file marks as ground not to be sprayed; ``derived``: the outline is one that was
    made from a drive over the field. ``laps``: first and last time of each line driven round it, None without times.
    """

    named: list[tuple[str, BaseGeometry | None]] = field(default_factory=list)
    no_spray: list[tuple[str, BaseGeometry | None]] = field(default_factory=list)
    derived: bool = False
    laps: list[tuple[float, float] | None] = field(default_factory=list)
    cautions: list[Caution] = field(default_factory=list)
    beside: list[InputFile] = field(default_factory=list)


@dataclass(frozen=True)
class OutlineForm:
    """One form of boundary file.

    ``recognises``: whether a file is of this form, from its content alone. ``read``: its shapes; what
    else belongs to it is looked for in the source, beside the file's full name.
    """

    name: str
    recognises: Callable[[Candidate], bool]
    read: Callable[[InputFile, Source, str], Shapes]
