"""Write papers as on Windows: no fcntl, no opening of folders, nothing open can be replaced or removed.

Run as a process of its own: ``python windows_writer.py FOLDER``; prints what stands in the folder at the end.
"""

import json
import os
import sys
import types
from pathlib import Path

OPEN = {}
REAL = {name: getattr(os, name) for name in ("open", "close", "unlink", "replace", "rename", "fdopen")}
locked = set()


def _locking(descriptor, mode, _count):
    path = OPEN[descriptor]
    if mode == 2:  # LK_NBLCK
        if path in locked:
            raise PermissionError(13, "Permission denied")
        locked.add(path)


def _open(path, flags, mode=0o777, **more):
    if Path(path).is_dir():
        raise PermissionError(13, "Permission denied", str(path))
    descriptor = REAL["open"](path, flags, mode, **more)
    OPEN[descriptor] = str(path)
    return descriptor


def _close(descriptor):
    locked.discard(OPEN.pop(descriptor, None))
    REAL["close"](descriptor)


def _free(*paths):
    for path in paths:
        if str(path) in OPEN.values():
            raise PermissionError(13, "The process cannot access the file", str(path))


def _unlink(path, **more):
    _free(path)
    REAL["unlink"](path, **more)


def _replace(source, target):
    _free(source, target)
    if Path(target).is_dir():
        raise PermissionError(13, "Access is denied", str(target))
    REAL["replace"](source, target)


def _rename(source, target):
    if Path(target).exists():
        raise FileExistsError(17, "File exists", str(target))
    _replace(source, target)


def _fdopen(descriptor, *arguments, **more):
    file = REAL["fdopen"](descriptor, *arguments, **more)
    OPEN.pop(descriptor, None)
    return file


def main(folder):
    """Two sets, one after the other, and a run that comes between."""
    sys.platform = "win32"
    sys.modules["fcntl"] = None
    sys.modules["msvcrt"] = types.SimpleNamespace(locking=_locking, LK_NBLCK=2)
    for name, stand_in in zip(REAL, (_open, _close, _unlink, _replace, _rename, _fdopen), strict=True):
        setattr(os, name, stand_in)
    from coverage_audit.files import lock  # noqa: PLC0415 - as it is imported on Windows
    from coverage_audit.files import whole_sets as files  # noqa: PLC0415

    files.write_all(folder, {"report.html": "old", "touchup.gpx": "old"}, kind="report")
    with lock.only_writer(folder):
        try:
            files.write_all(folder, {"report.html": "between"}, kind="report")
        except files.InputError as error:
            between = error.what
    files.write_all(folder, {"report.html": "new", "summary.json": "new"}, kind="report")
    found = {path.name: path.read_text() for path in folder.iterdir() if path.name != ".coverage-audit.json"}
    print(json.dumps({"found": found, "between": between}))  # noqa: T201


if __name__ == "__main__":
    main(Path(sys.argv[1]))
