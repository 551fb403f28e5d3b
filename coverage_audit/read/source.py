"""Where the bytes of input files come from: a folder of the disk, or files that are already in memory."""

from __future__ import annotations

import hashlib
from abc import ABC, abstractmethod
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

from .tolerances import MAX_FILE_BYTES, READ_BLOCK_BYTES

if TYPE_CHECKING:
    from typing import BinaryIO


@dataclass(frozen=True)
class InputFile:
    """One file as read: its name without folders, its bytes and their SHA-256 in hex."""

    name: str
    data: bytes
    sha256: str


def decoded(data: bytes) -> str:
    """Text of a file in UTF-8, or in the UTF-16 that programs of Windows call Unicode."""
    return data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")


class Source(ABC):
    """Files by name, as a job file names them. What a name that begins elsewhere means is the source's affair."""

    start = "looked for beside the job file"
    """Where names start, in words, for messages."""

    @abstractmethod
    def place(self, name: str) -> str:
        """Name of a file or, for "", of the whole source, as the person knows it."""

    @abstractmethod
    def exists(self, name: str, place: str) -> bool:
        """As :func:`is_there`: whether there is something of this name, which was written at *place*."""

    @abstractmethod
    def size(self, name: str) -> int | None:
        """Bytes of a plain file; None where there is none of this name."""

    @abstractmethod
    def folder_of(self, name: str) -> Source:
        """The same files, named from the folder of one of them."""

    @abstractmethod
    def folder(self, name: str) -> Source | None:
        """The same files, named from this folder; None where there is no folder of this name."""

    @abstractmethod
    def beside(self) -> list[str]:
        """Names of the plain files directly where names start, in order."""

    def alike(self, name: str) -> str | None:
        """Name of the file that is called so but for capitals; None where there is none."""
        if self.size(name) is not None:
            return name
        return next((one for one in self.beside() if one.casefold() == name.casefold()), None)

    @abstractmethod
    def files_in(self, name: str) -> tuple[str, ...]:
        """Names of all files in a folder and in the folders of it, "/" between them, in order; () for no folder."""

    def base_name(self, name: str) -> str:
        """Name of a file without its folders."""
        return PurePath(name).name

    def together(self, _name: str, _other: str) -> bool:
        """Whether two files lie in one folder, wherever links among them lead."""
        return True

    def read(self, name: str, limit: int | None = None) -> InputFile:
        """Read a whole file.

        Parameters
        ----------
        name : str
            The file.
        limit : int, optional
            Most bytes it may have, when that is less than ``MAX_FILE_BYTES``. [byte]

        Raises
        ------
        InputError
            Missing, not a plain file, unreadable, empty or larger than the limit.
        """
        most = MAX_FILE_BYTES if limit is None else min(limit, MAX_FILE_BYTES)
        data = self._bytes(name, most)
        if len(data) > most:
            raise too_large(most, self.place(name))
        if not data:
            raise _empty(self.place(name))
        return InputFile(self.base_name(name), data, hashlib.sha256(data).hexdigest())

    @abstractmethod
    def _bytes(self, name: str, most: int) -> bytes:
        """Content of a file, of which nothing beyond *most* + 1 bytes is kept."""


class Folder(Source):
    """A folder of the disk; names may lead out of it, as the person who wrote them may."""

    def __init__(self, path: Path) -> None:
        self.path = path
        if path == Path():
            self.start = "looked for in the current folder"

    def place(self, name: str) -> str:
        """Path of a file or of the folder."""
        return str(self.path / name)

    def exists(self, name: str, place: str) -> bool:
        """Whether there is a file or folder of this name; the system may refuse to look."""
        return is_there(self.path / name, place)

    def size(self, name: str) -> int | None:
        """Bytes of a plain file; None where there is none, or none that can be looked at."""
        path = self.path / name
        try:
            return path.stat().st_size if path.is_file() else None
        except (OSError, ValueError):
            return None

    def folder_of(self, name: str) -> Folder:
        """The folder that a file lies in."""
        return Folder((self.path / name).parent)

    def folder(self, name: str) -> Folder | None:
        """The same files, named from this folder; None where there is none that can be looked at."""
        path = self.path / name
        try:
            return Folder(path) if path.is_dir() else None
        except (OSError, ValueError):
            return None

    def beside(self) -> list[str]:
        """Names of the plain files in this folder, in order; none of a folder that is closed."""
        try:
            return sorted(one.name for one in self.path.iterdir() if one.is_file())
        except OSError:
            return []

    def files_in(self, name: str) -> tuple[str, ...]:
        """Names of all files in a folder and in the folders of it; hidden ones are left out."""
        try:
            found = [path for path in (self.path / name).rglob("*") if path.is_file()]
        except OSError as error:
            raise InputError(
                f"the folder cannot be looked into ({error.strerror}); check its permissions", self.place(name)
            ) from error
        inside = [path.relative_to(self.path) for path in found]
        return tuple(sorted(one.as_posix() for one in inside if not any(part[0] == "." for part in one.parts)))

    def together(self, name: str, other: str) -> bool:
        """Whether two files lie in one folder, wherever links among them lead."""
        return (self.path / name).resolve().parent == (self.path / other).resolve().parent

    def _bytes(self, name: str, most: int) -> bytes:
        path = self.path / name
        try:
            if not path.exists():
                raise InputError("there is no such file; check the name and the folder", str(path))
            if not path.is_file():
                raise InputError("this is not a file; give the name of a file", str(path))
            with path.open("rb") as file:
                return read_most(file, most + 1)
        except (OSError, ValueError) as error:  # a name with a null character or a half surrogate is a ValueError
            why = getattr(error, "strerror", None) or error
            raise InputError(f"the file cannot be read ({why}); check its permissions", str(path)) from error


def read_most(file: BinaryIO, most: int) -> bytes:
    """The next *most* bytes of *file*, or all that there are.

    A file may grow, and some on the system's own file systems have no size: what counts is what comes.
    """
    pieces: list[bytes] = []
    while most and (piece := file.read(min(most, READ_BLOCK_BYTES))):
        pieces.append(piece)
        most -= len(piece)
    return b"".join(pieces)


def too_large(most: int, place: str) -> InputError:
    """Refusal of a file with more than *most* bytes."""
    return InputError(f"the file has more than the limit of {most / 1024**2:.3g} MiB; cut it into one job", place)


def _empty(place: str) -> InputError:
    return InputError("the file is empty; copy it again from where it was recorded", place)


def input_file(name: str, data: bytes) -> InputFile:
    """A file whose bytes are at hand already.

    Raises
    ------
    InputError
        Empty, or larger than the limit.
    """
    if len(data) > MAX_FILE_BYTES:
        raise too_large(MAX_FILE_BYTES, name)
    if not data:
        raise _empty(name)
    return InputFile(name, data, hashlib.sha256(data).hexdigest())


def read_bytes(path: Path, limit: int | None = None) -> InputFile:
    """Read a whole file of the disk, as :meth:`Source.read` does."""
    return Folder(path.parent).read(path.name, limit)


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
