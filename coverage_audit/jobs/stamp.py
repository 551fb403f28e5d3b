"""What a finished audit depends on, told without reading a log: settings as merged, and the hash of every file."""

from __future__ import annotations

import hashlib
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from .boom import INTERVAL_SOURCES
from .read import existing, job_values

if TYPE_CHECKING:
    from collections.abc import Iterator

    from coverage_audit.read.source import Source

SIBLINGS = {".shp": (".shx", ".dbf", ".prj", ".cpg"), ".xml": (".xml", ".bin")}
"""What belongs to a file: to a Shapefile what is called like it, to task data (ISO 11783-10) all beside it."""


def job_stamp(source: Source, name: str) -> str:
    """Hash over the job file, its settings with what its farm says, and all files that it names.

    A farm file counts by what the job takes from it, so that a change there that does not concern a job leaves its
    stamp as it was.

    Raises
    ------
    InputError
        The job file is wrong, or a file that it names cannot be read.
    """
    values, sources, use = job_values(source, name)
    beside = source.folder_of(name)
    told = _own_hash(source, name, (values, sources, use))
    for other in values.get("job", {}).get("together", ()):
        told.update(f"\n{other} {_others_stamp(beside, other)}".encode())
    return told.hexdigest()


def _others_stamp(source: Source, name: str) -> str:
    """The same of another machine's job; the reason where it cannot be read, as the audit tells it too."""
    try:
        return _own_hash(source, name, job_values(source, name)).hexdigest()
    except InputError as error:
        return str(error)


def _own_hash(source: Source, name: str, read: tuple[Any, Any, Any]) -> Any:  # noqa: ANN401 - the library's own type
    """Hash of a job as :func:`job_stamp`, without other machines."""
    values, sources, use = read
    beside = source.folder_of(name)
    told = hashlib.sha256(repr((sources[0], _ordered(values), use)).encode())
    for key, file in _named(values):
        place = f"{source.base_name(name)}, {key}"
        for one, where in _with_siblings(beside, existing(beside, file, place, folder=key == "track.files")):
            told.update(f"\n{one} {where.read(one).sha256}".encode())
    return told


def _ordered(value: Any) -> Any:  # noqa: ANN401 - any value of a job file
    """*value* with every table in order of its keys."""
    if isinstance(value, dict):
        return sorted((key, _ordered(entry)) for key, entry in value.items())
    return [_ordered(entry) for entry in value] if isinstance(value, (list, tuple)) else value


def _named(values: dict[str, dict[str, Any]]) -> Iterator[tuple[str, str]]:
    """Files that checked *values* name, each with its key."""
    yield from (("track.files", name) for name in values["track"]["files"])
    yield "field.boundary", values["field"]["boundary"]
    yield from (("field.exclude", name) for name in values["field"].get("exclude", ()))
    if (intervals := values["boom"]["intervals"]) not in INTERVAL_SOURCES:
        yield "boom.intervals", intervals


def _with_siblings(source: Source, name: str) -> Iterator[tuple[str, Source]]:
    """Every file that one name stands for, with the source it is named in: of a folder, a Shapefile, or task data."""
    folder = source.folder(name)
    if folder is not None:
        yield from ((one, folder) for one in folder.beside())
        return
    yield name, source
    path, beside = PurePath(name), source.folder_of(name)
    endings = SIBLINGS.get(path.suffix.casefold(), ())
    for one in map(PurePath, beside.beside() if endings else ()):
        of_it = path.suffix.casefold() == ".xml" or one.stem.casefold() == path.stem.casefold()
        if of_it and one.name != path.name and one.suffix.casefold() in endings:
            yield one.name, beside
