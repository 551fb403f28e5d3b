"""Files that are already in memory: dropped on a page, or packed into a zip file (PKWARE APPNOTE 6.3)."""

from __future__ import annotations

import io
import posixpath
import re
import stat
import zipfile
import zlib
from abc import abstractmethod
from copy import copy
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

from .source import Source, too_large
from .tolerances import MAX_FILE_BYTES, MAX_PACKED_BYTES, MAX_PACKED_FILES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

ZIP_START = (b"PK\3\4", b"PK\5\6")
"""A zip file begins so; the second is one without files (APPNOTE 4.3.7, 4.3.16)."""

_ABSOLUTE = re.compile(r"/|[A-Za-z]:")
_ENCRYPTED = 0x1  # bit 0 of the general purpose flags, APPNOTE 4.4.4
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # those that can be unpacked a bounded piece at a time
BROKEN = (
    *(zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError),
    *(OSError, ValueError, OverflowError),
)
_ENTRY = b"PK\1\2"  # every entry of the directory of a zip file begins so, APPNOTE 4.3.12


class Packed(Source):
    """Files by their names, with a slash of either kind between folders; no name leads out of them."""

    title = ""
    _folder = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all files, with "/" between folders."""
        return tuple(self._sizes())

    @property
    def plain(self) -> list[str]:
        """Names of the files with content, without the leftovers that systems pack beside them."""
        return [
            name
            for name, size in self._sizes().items()
            if size and not (name.startswith("__MACOSX/") or posixpath.basename(name).startswith("."))
        ]

    @abstractmethod
    def _sizes(self) -> Mapping[str, int]:
        """Bytes of every file, by its name."""

    @abstractmethod
    def _content(self, key: str, most: int) -> bytes:
        """Content of a file that is there."""

    def _key(self, name: str) -> str:
        return posixpath.normpath(posixpath.join(self._folder, name.replace("\\", "/")))

    def place(self, name: str) -> str:
        """Name of a file behind that of the zip file it is in."""
        return ", ".join(part for part in (self.title, name) if part)

    def base_name(self, name: str) -> str:
        """Name of a file without its folders."""
        return posixpath.basename(self._key(name))

    def exists(self, name: str, _place: str) -> bool:
        """Whether there is a file of this name."""
        return self._key(name) in self._sizes()

    def size(self, name: str) -> int | None:
        """Bytes of a file; None where there is none of this name."""
        return self._sizes().get(self._key(name))

    def files_in(self, name: str) -> tuple[str, ...]:
        """Names of all files in a folder and in the folders of it."""
        start = "" if self._folder in ("", ".") else f"{self._folder}/"
        inside = f"{self._key(name)}/"
        return tuple(sorted(key.removeprefix(start) for key in self._sizes() if key.startswith(inside)))

    def folder_of(self, name: str) -> Packed:
        """The same files, named from the folder of one of them."""
        inside = copy(self)
        inside._folder = posixpath.dirname(self._key(name))  # noqa: SLF001 - of its own kind
        return inside

    def folder(self, name: str) -> Packed | None:
        """The same files, named from this folder; None where nothing lies in one of this name."""
        key = self._key(name)
        if not any(key == "." or one.startswith(f"{key}/") for one in self._sizes()):
            return None
        inside = copy(self)
        inside._folder = "" if key == "." else key  # noqa: SLF001 - of its own kind
        return inside

    def beside(self) -> list[str]:
        """Names of the files directly where names start, in order."""
        return sorted(posixpath.basename(one) for one in self._sizes() if posixpath.dirname(one) == self._folder)

    def _bytes(self, name: str, most: int) -> bytes:
        size = self.size(name)
        if size is None:
            raise InputError(
                f"there is no such file among the {len(self.names)} given; check the name", self.place(name)
            )
        if size > most:
            raise too_large(most, self.place(name))
        return self._content(self._key(name), most)


class Memory(Packed):
    """Files held in memory by name.

    Parameters
    ----------
    files : mapping of str to bytes
        Content by name, "/" between folders.

    Raises
    ------
    InputError
        A name that leads elsewhere, or two that mean the same.
    """

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._files = dict(zip(_plain_names(files, ""), files.values(), strict=True))

    def _sizes(self) -> Mapping[str, int]:
        return {name: len(data) for name, data in self._files.items()}

    def _content(self, key: str, _most: int) -> bytes:
        return self._files[key]


class Zip(Packed):
    """Files packed into a zip file, unpacked in memory when they are read; folders in it have no meaning of their own.

    Parameters
    ----------
    data : bytes or ZipFile
        The zip file; opened already, one of the program's own.
    title : str
        Its name, for messages.

    Raises
    ------
    InputError
        No zip file; more or larger files than a job has; a name that leads elsewhere, two that mean
        the same, a link, a file under a password or packed in a rare way.
    """

    def __init__(self, data: bytes | zipfile.ZipFile, title: str) -> None:
        archive = _opened(data, title) if isinstance(data, bytes) else data
        members = [member for member in archive.infolist() if not member.filename.endswith("/")]
        names = _plain_names([member.filename for member in members], title)
        for member in members:
            _refuse_odd(member, title)
        if sum(member.file_size for member in members) > MAX_PACKED_BYTES:
            raise InputError(
                f"what it holds has more than {MAX_PACKED_BYTES / 1024**2:.3g} MiB; pack only the job's folder", title
            )
        self.title = title
        self._archive = archive
        self._members = dict(zip(names, members, strict=True))

    def _sizes(self) -> Mapping[str, int]:
        return {name: member.file_size for name, member in self._members.items()}

    def _content(self, key: str, _most: int) -> bytes:
        member = copy(self._members[key])
        declared = member.file_size
        member.file_size = declared + MAX_FILE_BYTES  # where the library would stop: what comes decides
        try:
            with self._archive.open(member) as packed:
                data = packed.read(declared + 1)
        except BROKEN as error:
            raise InputError(f"it is damaged in the zip file ({error}); pack it again", self.place(key)) from error
        if len(data) != declared:
            raise InputError("it has another size than the zip file declares; pack it again", self.place(key))
        return data


def _opened(data: bytes, title: str) -> zipfile.ZipFile:
    """Zip file in memory; refused when it is none, or holds more than a job does."""
    if len(data) > MAX_FILE_BYTES:
        raise too_large(MAX_FILE_BYTES, title)
    if data.count(_ENTRY) > MAX_PACKED_FILES:  # before a list of them is made; at most a few false ones
        raise InputError(f"it holds more than {MAX_PACKED_FILES} files; pack only the job's folder", title)
    try:
        return zipfile.ZipFile(io.BytesIO(data))
    except BROKEN as error:
        raise InputError(f"this is no whole zip file ({error}); pack the job's folder again", title) from error


def _refuse_odd(member: zipfile.ZipInfo, title: str) -> None:
    """Raise on a member that is locked, a link, or packed in a way that is not read."""
    shown = f'its file "{member.filename[:60]}"'
    if member.flag_bits & _ENCRYPTED:
        raise InputError(f"{shown} is locked with a password; pack the folder without one", title)
    if stat.S_ISLNK(member.external_attr >> 16):
        raise InputError(f"{shown} is a link; pack the file itself", title)
    if member.compress_type not in _METHODS:
        raise InputError(f"{shown} is packed in a way that is not read; pack the folder as a plain zip file", title)


def _plain_names(names: Iterable[str], title: str) -> list[str]:
    """Names with "/" between folders; none leads out, and no two mean the same."""
    plain: dict[str, None] = {}
    for name in names:
        key = name.replace("\\", "/")
        if not key.isprintable():
            raise InputError(f"the name {name[:60]!a} of a file cannot be read; rename it", title)
        if not key.strip() or _ABSOLUTE.match(key) or ".." in key.split("/"):
            raise InputError(f'the name "{name[:60]}" leads to another place; give the files of one folder', title)
        key = posixpath.normpath(key)
        if key in plain:
            raise InputError(f'there are two files named "{key[:60]}"; give each file once', title)
        plain[key] = None
    return list(plain)
