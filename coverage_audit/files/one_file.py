"""One file of the program's own, replaced whole."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path


def replace_file(path: Path, content: bytes) -> None:
    """Write *content* beside *path* and rename it there, so that it is the old file or the new one at any moment.

    Raises
    ------
    InputError
        It cannot be written: disk full, folder locked.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise InputError(
            f"this file cannot be written ({error.strerror or error}); free some space or change its permissions",
            str(path),
        ) from error


def remove_parts(folder: Path, name: str) -> None:
    """Remove what killed runs left of *name* in *folder*."""
    for part in folder.glob(f".{name}.*.part"):
        with suppress(OSError):  # a run that is just ending removes it itself
            part.unlink(missing_ok=True)
