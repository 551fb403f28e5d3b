"""Kill the writing of a set of papers at every single step, and the repair after it at every step too.

Run as a process of its own: ``python killed_writer.py FOLDER`` prints one JSON line, the number of
steps tried and every state that is neither the old nor the new set whole. Killing is ``os._exit`` in
a forked child: nothing of Python is unwound, as with SIGKILL.
"""

import json
import os
import sys
from pathlib import Path

from coverage_audit.files import whole_sets as files

OLD = {"report.html": "old report", "summary.json": "old summary", "touchup.gpx": "old plan"}
NEW = {"report.html": "new report", "summary.json": "new summary", "missed.gpx": "new strips"}
NOTES = {"notes.txt": "of somebody else"}
STEPS = ("open", "replace", "rename", "unlink", "mkdir", "fsync", "rmdir")
KILLED = 9


def start(folder):
    """Old set beside somebody else's file."""
    folder.mkdir()
    (folder / "notes.txt").write_text(NOTES["notes.txt"])
    files.write_all(folder, OLD, kind="report")


def killed_at(step, work):
    """Whether *work*, in a child of its own, was killed before its step *step* that changes something on the disk."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == KILLED
    left = [step]

    def counted(real):
        def call(*arguments, **options):
            if left[0] == 0:
                os._exit(KILLED)
            left[0] -= 1
            return real(*arguments, **options)

        return call

    for name in STEPS:
        setattr(os, name, counted(getattr(os, name)))
    work()
    os._exit(0)


def state(folder):
    """Every file but the mark."""
    return {path.name: path.read_text() for path in folder.iterdir() if path.name != ".coverage-audit.json"}


def main(root):
    """Every step of the exchange times every step of the repair."""
    os.fsync = lambda _descriptor: None  # for power cuts, which are not tried here, and slow
    wrong, seen, tries = [], set(), 0
    for first in range(1000):
        second = 0
        while True:
            folder = root / f"{first}-{second}"
            start(folder)
            exchange_killed = killed_at(first, lambda folder=folder: files.write_all(folder, NEW, kind="report"))
            repair_killed = killed_at(second, lambda folder=folder: files.settle(folder))
            files.settle(folder)
            found, tries = state(folder), tries + 1
            kind = "old" if found == OLD | NOTES else "new" if found == NEW | NOTES else "mixed"
            seen.add(kind)
            if kind == "mixed":
                wrong.append([first, second, found])
            files.write_all(folder, NEW, kind="report")
            if state(folder) != NEW | NOTES:
                wrong.append([first, second, "afterwards", state(folder)])
            second += 1
            if not repair_killed:
                break
        if not exchange_killed:
            break
    print(json.dumps({"steps": first, "tries": tries, "seen": sorted(seen), "wrong": wrong}))  # noqa: T201


if __name__ == "__main__":
    main(Path(sys.argv[1]))
