"""Kill the page's saving of a job at every step that changes something on the disk; a process of its own.

``python killed_page.py FARM JOB`` prints one JSON line: how often it was killed, and every state that is neither the
job before nor the job after. Killing is ``os._exit`` in a forked child, as with SIGKILL.
"""

import json
import os
import sys
from pathlib import Path

from killed_writer import killed_at

from coverage_audit.page.desk import Desk
from coverage_audit.sheet.draft import with_keys


def saved(root, job, name):
    """Change the job's file and the page's notes, as one."""
    desk = Desk(root)
    found = desk.job(job)
    desk.keep(found, with_keys(found.draft, {"job.name": name}), {**found.notes, "corners": [[0.0, 0.0]], "name": name})


def main(root, job):
    """Every step, and a few whole savings after the last one."""
    os.fsync = lambda _descriptor: None  # for power cuts, which are not tried here, and slow
    saved(root, job, "first")
    killed, wrong, before = 0, [], "first"
    for moment in range(60):
        name = f"name {moment}"
        was_killed = killed_at(moment, lambda name=name: saved(root, job, name))
        found = Desk(root).job(job)
        told = {found.draft.get("job.name"), found.notes.get("name")}
        if told not in ({before}, {name}) or (told == {before} and not was_killed):
            wrong.append([moment, was_killed, sorted(map(str, told))])
        killed += was_killed
        before = found.draft.get("job.name")
        if [path.name for path in found.path.iterdir() if path.name not in ("job.toml", "page.json")]:
            wrong.append([moment, sorted(path.name for path in found.path.iterdir())])
    print(json.dumps({"killed": killed, "wrong": wrong}))  # noqa: T201


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
