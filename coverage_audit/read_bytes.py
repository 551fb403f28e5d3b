"""The bytes of one input file, within the size limit, and their hash."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .errors import InputError
from .tolerances import MAX_FILE_BYTES

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class InputFile:
    """One file as read: its name without folders, its bytes and their SHA-256 in hex."""

    name: str
    data: bytes
    sha256: str


def read_bytes(path: Path) -> InputFile:
    """Read a whole file.

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    InputError
        Missing, not a plain file, unreadable, empty or larger than ``MAX_FILE_BYTES``.
    """
    try:
        if not path.exists():
            raise InputError("there is no such file; check the name and the folder", str(path))
        if not path.is_file():
            raise InputError("this is not a file; give the name of a file", str(path))
        size = path.stat().st_size
        if size > MAX_FILE_BYTES:
            limit = MAX_FILE_BYTES // 1024**2
            raise InputError(
                f"the file has {size / 1024**2:.0f} MiB, more than the limit of {limit} MiB; cut it into one job",
                str(path),
            )
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            f"the file cannot be read ({error.strerror or error}); check its permissions", str(path)
        ) from error
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
