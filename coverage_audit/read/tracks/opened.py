"""What a name in the list of logs stands for when it is no single log: task data, or files packed into a zip file."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.packed import ZIP_START, Zip
from coverage_audit.read.taskdata.files import INDEX, index_in, is_index, zipped_index
from coverage_audit.read.taskdata.log import read_task_data

if TYPE_CHECKING:
    from collections.abc import Callable

    from coverage_audit.read.records import TrackLog
    from coverage_audit.read.source import InputFile, Source

    from .form import Asked, TrackForm


def opened_logs(
    source: Source, name: str, asked: Asked, form_of: Callable[[bytes], TrackForm | None]
) -> list[TrackLog] | InputFile:
    """Logs of a folder, a zip file or an index of task data; a plain file as it is.

    Raises
    ------
    InputError
        A folder or zip file in which there is no log.
    """
    inside = source.folder(name) if source.size(name) is None else None
    if inside is not None:
        index = index_in(inside)
        if index is None:
            raise InputError(f"this is a folder, and it has no {INDEX}; name the log file in it", source.place(name))
        return read_task_data(*index, source.base_name(name), asked)
    file = source.read(name)
    if file.data.startswith(ZIP_START):
        return _zipped(file, asked, form_of)
    if is_index(file.data):
        return read_task_data(source.folder_of(name), file.name, file.name, asked)
    return file


def _zipped(file: InputFile, asked: Asked, form_of: Callable[[bytes], TrackForm | None]) -> list[TrackLog]:
    packed = Zip(file.data, file.name)
    index = zipped_index(packed, file.name)
    if index is not None:  # the zip file's own sum stands for all that is in it
        logs = read_task_data(packed, index, file.name, asked)
        return [replace(log, sha256=file.sha256, beside=()) for log in logs]
    found, others = [], []
    for name in packed.plain:
        member = packed.read(name)
        form = form_of(member.data)
        if form is None:
            others.append(name)
            continue
        log = form.read(member.data, packed.place(name), asked)
        found.append(replace(log, sha256=file.sha256))
    if not found:
        raise InputError(f"no log is in this zip file ({len(packed.names)} files); pack the log itself", file.name)
    if others:
        told = Caution("packed others", file=file.name, count=len(others), names=tuple(others[:3]))
        found[0] = replace(found[0], cautions=(told, *found[0].cautions))
    return found
