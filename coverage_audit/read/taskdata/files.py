"""The parts of task data: the index TASKDATA.XML with the files it refers to, and time logs by their names."""

from __future__ import annotations

import posixpath
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.read.xml import Element, tree_of

if TYPE_CHECKING:
    from coverage_audit.read.packed import Zip
    from coverage_audit.read.source import InputFile, Source

INDEX = "TASKDATA.XML"
ROOT = "ISO11783_TaskData"
MAX_INDEX_BYTES = 64 * 1024 * 1024
"""Largest index. [byte] A farm's fields, machines and tasks of years are about 10 MB."""

MAX_EXTERNAL = 1_000
"""Most files that an index refers to. [1] Terminals write one for each kind of entry."""


@dataclass
class TaskData:
    """The index as a tree with the external files in place, and where the other parts are.

    ``read`` lists the files that were read so far; ``missing`` the external ones that are not there.
    """

    name: str
    root: Element
    source: Source
    read: list[InputFile] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)

    def part(self, name: str) -> InputFile | None:
        """A part by its name in any capitals; None where it is not there."""
        found = self.source.alike(name)
        if found is None or self.source.size(found) == 0:
            return None
        file = self.source.read(found)
        self.read.append(file)
        return file

    def every(self, tag: str) -> list[Element]:
        """The entries of one kind that stand in the index itself."""
        return self.root.all(tag)


def is_index(data: bytes) -> bool:
    """Whether bytes are an index of task data."""
    return f"<{ROOT}".encode() in data[:4096].replace(b"\0", b"")


def index_in(inside: Source) -> tuple[Source, str] | None:
    """The index of task data in a folder, or in the one named TASKDATA in it, as the standard has it; None without."""
    for place in (inside, inside.folder("TASKDATA")):
        if place is not None and (found := place.alike(INDEX)) is not None:
            return place, found
    return None


def zipped_index(packed: Zip, title: str) -> str | None:
    """Name of the one index of task data in a zip file; None without.

    Raises
    ------
    InputError
        There are several.
    """
    found = [name for name in packed.plain if posixpath.basename(name).upper() == INDEX]
    if len(found) > 1:
        listed = ", ".join(found[:3])
        raise InputError(f"it holds {len(found)} sets of task data ({listed}); unpack the one wanted", title)
    return found[0] if found else None


def task_data(source: Source, name: str, title: str) -> TaskData:
    """The index *name* of a source with all it refers to; *title* is what the person gave, for messages.

    Raises
    ------
    InputError
        An index that is broken or no index of task data.
    """
    file = source.read(name, MAX_INDEX_BYTES)
    root = tree_of(file.data, file.name)
    if root.tag != ROOT:
        raise InputError(f"<{root.tag[:60]}> is no task data of ISO 11783-10; export it again", file.name)
    found = TaskData(title, root, source.folder_of(name), [file])
    children: list[Element] = []
    outside = 0
    for one in root.children:
        children.append(one)
        if one.tag != "XFR":
            continue
        outside += 1
        if outside > MAX_EXTERNAL:
            raise InputError(
                f"it refers to more than {MAX_EXTERNAL} files; export only the tasks of this job", file.name
            )
        part = found.part(f"{one['A']}.XML")
        if part is None:
            found.missing.append(one["A"])
            continue
        children += tree_of(part.data, part.name).children
    root.children = children
    return found
