"""Kill the page's saving of a job: at every step that changes something on the disk, and by SIGKILL at random moments.

``python killed_page.py FARM JOB`` prints one JSON line: how often it was killed at a step, how often at random, and
every state that is neither the job before nor the job after. At a step, killing is ``os._exit`` in a forked child.
"""

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from killed_writer import killed_at

from coverage_audit.page.desk import Desk
from coverage_audit.sheet.draft import with_keys

RANDOM_KILLS, LONGEST_S = 50, 0.05
"""SIGKILL so often, each at most so long after the first saving."""


def saved(root, job, name):
    """Change the job's file and the page's notes, as one."""
    desk = Desk(root)
    found = desk.job(job)
    desk.keep(found, with_keys(found.draft, {"job.name": name}), {**found.notes, "corners": [[0.0, 0.0]], "name": name})


def left_over(root, job):
    """The job's names by its file and by its notes, and what else lies in its folder."""
    found = Desk(root).job(job)
    others = sorted(path.name for path in found.path.iterdir() if path.name not in ("job.toml", "page.json"))
    return (found.draft.get("job.name"), found.notes.get("name")), others


def at_every_step(root, job):
    """Every step, and a few whole savings after the last one; how often it was killed, and what was wrong then."""
    saved(root, job, "first")
    killed, wrong, before = 0, [], "first"
    for moment in range(60):
        name = f"name {moment}"
        was_killed = killed_at(moment, lambda name=name: saved(root, job, name))
        told, others = left_over(root, job)
        if told not in ((before, before), (name, name)) or (told[0] == before and not was_killed) or others:
            wrong.append([moment, was_killed, told, others])
        killed += was_killed
        before = told[0]
    return killed, wrong


def at_random(root, job):
    """SIGKILL to a process that saves without end; what it had said to be saved must be there."""
    chance, wrong = random.Random(7), []
    for kill in range(RANDOM_KILLS):
        hears, tells = os.pipe()
        child = os.fork()
        if not child:
            for number in range(10**6):
                saved(root, job, f"{kill} {number}")
                os.write(tells, f"{number}\n".encode())
        os.close(tells)
        heard = os.read(hears, 100)
        time.sleep(chance.uniform(0, LONGEST_S))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        while more := os.read(hears, 65536):
            heard += more
        os.close(hears)
        last = int(heard.split()[-1])
        told, others = left_over(root, job)
        if told[0] != told[1] or told[0] not in (f"{kill} {last}", f"{kill} {last + 1}") or others:
            wrong.append([kill, last, told, others])
    return wrong


def main(root, job):
    """Both."""
    os.fsync = lambda _descriptor: None  # for power cuts, which are not tried here, and slow
    killed, wrong = at_every_step(root, job)
    print(json.dumps({"killed": killed, "random": RANDOM_KILLS, "wrong": [*wrong, *at_random(root, job)]}))  # noqa: T201


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
