"""One writer at a time in a folder: a lock that the system itself lets go of when its owner dies."""

from __future__ import annotations

import errno
import os
import sys
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

if sys.platform == "win32":
    import msvcrt

    def _take(descriptor: int) -> None:
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _take(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


class FolderBusyError(InputError):
    """Another run is writing into the folder."""


LOCK = ".coverage-audit.lock"
_HELD = (errno.EACCES, errno.EAGAIN, errno.EDEADLK)


@contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Keep every other run out of *folder*; what lies there half-written is then nobody's any more.

    Raises
    ------
    FolderBusyError
        Another run is writing into the folder.
    OSError
        The folder may not be written to.
    """
    descriptor = _taken(folder / LOCK)
    try:
        yield
    finally:
        if sys.platform == "win32":  # where an open file cannot be removed, another run's neither
            os.close(descriptor)
            with suppress(OSError):
                (folder / LOCK).unlink()
        else:
            try:
                (folder / LOCK).unlink(missing_ok=True)
            finally:
                os.close(descriptor)


def _taken(path: Path) -> int:
    """Descriptor of the lock file, locked where the file system has locks."""
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        try:
            _take(descriptor)
        except OSError as error:
            if error.errno in _HELD:
                os.close(descriptor)
                raise FolderBusyError(
                    "another run is writing into this folder; wait until it has ended", str(path.parent)
                ) from error
        # the owner before us may have removed the file between our opening and our locking it
        if path.exists() and os.path.samestat(os.fstat(descriptor), path.stat()):
            return descriptor
        os.close(descriptor)
