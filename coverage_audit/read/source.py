"""The bytes of one input file, within the size limit, and their hash."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

from .tolerances import MAX_FILE_BYTES

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class InputFile:
    """One file as read: its name without folders, its bytes and their SHA-256 in hex."""

    name: str
    data: bytes
    sha256: str


def read_bytes(path: Path, limit: int | None = None) -> InputFile:
    """Read a whole file.

    Parameters
    ----------
    path : Path
        The file.
    limit : int, optional
        Most bytes it may have, when that is less than ``MAX_FILE_BYTES``. [byte]

    Raises
    ------
    InputError
        Missing, not a plain file, unreadable, empty or larger than the limit.
    """
    most = MAX_FILE_BYTES if limit is None else min(limit, MAX_FILE_BYTES)
    try:
        if not path.exists():
            raise InputError("there is no such file; check the name and the folder", str(path))
        if not path.is_file():
            raise InputError("this is not a file; give the name of a file", str(path))
        with path.open("rb") as file:
            # a file may grow, and some on the system's own file systems have no size: what counts is what comes
            data = file.read(most + 1)
    except (OSError, ValueError) as error:  # a name with a null character or a half surrogate is a ValueError
        why = getattr(error, "strerror", None) or error
        raise InputError(f"the file cannot be read ({why}); check its permissions", str(path)) from error
    if len(data) > most:
        raise InputError(
            f"the file has more than the limit of {most / 1024**2:.3g} MiB; cut it into one job", str(path)
        )
    if not data:
        raise InputError("the file is empty; copy it again from where it was recorded", str(path))
    return InputFile(path.name, data, hashlib.sha256(data).hexdigest())


def is_there(path: Path, place: str) -> bool:
    """Whether there is something of this name.

    Parameters
    ----------
    path : Path
        As the person wrote it.
    place : str
        Where it was written, for the message.

    Raises
    ------
    InputError
        The system cannot even look for it: the name is too long, or a folder on the way is locked.
    """
    try:
        return path.exists()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(
            f'"{path}" cannot be looked for ({reason}); check the name and the permissions of its folders', place
        ) from error
