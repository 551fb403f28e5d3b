"""A farm of small jobs on disk, and tasks that go wrong in every way: named by modules, so that workers find them."""

from __future__ import annotations

import os
import signal
from pathlib import Path

from conftest import LENGTH_M, PASSES, WIDTH_M, drive, geojson_of, gpx_of, place, stamp

from coverage_audit.threads import cores

FARM = """\
[farm]
name = "Larch Hollow"
timezone = "America/Denver"
[machine.quad]
boom.width = "10 m"
boom.antenna_ahead = "0 m"
[machine.tractor]
boom.width = "10 m"
boom.antenna_ahead = "0 m"
[product.larkmoor]
name = "Larkmoor 200 SL"
max_per_season = "2.4 L/ha"
phi = "14 days"
[product.fescol]
name = "Fescol DF"
max_per_season = "5 L/ha"
"""
JOB = """\
[job]
name = "{name}"
farm = "../../farm.toml"
machine = "{machine}"
[field]
boundary = "../../fields/lower-meadow.geojson"
[track]
files = ["track.gpx"]
[boom]
intervals = "boom.csv"
[rate]
flow = "20 L/min"
target = "160 L/ha"
[accuracy]
replicates = 0
[[product]]
from = "{product}"
rate = "1.6 L/ha"
"""
CORNERS = ((0, 0), (100, 0), (100, 60), (0, 60), (0, 0))


def write(path, text):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


def make_farm(folder):
    """A farm with its one field and no job yet."""
    write(folder / "farm.toml", FARM)
    write(folder / "fields" / "lower-meadow.geojson", geojson_of([[place(*corner) for corner in CORNERS]]))
    return folder


def add_job(farm, name, *, days=0, passes=range(1, PASSES + 1), product="larkmoor", machine="quad"):
    """A job so many days after 30 May 2026 that sprayed some of the ten passes, by number."""
    fixes, intervals = drive()
    later = 86400.0 * days
    chosen = [intervals[number - 1] for number in passes]
    folder = farm / "jobs" / name
    write(folder / "job.toml", JOB.format(name=name, product=product, machine=machine))
    write(folder / "track.gpx", gpx_of([(time + later, east, north) for time, east, north in fixes]))
    rows = "".join(f"{stamp(on + later)},{stamp(off + later)}\n" for on, off in chosen)
    write(folder / "boom.csv", "on,off\n" + rows)
    return f"jobs/{name}"


PASS_M2 = WIDTH_M * LENGTH_M


def in_turn(function, tasks):
    """Workers that are this process itself."""
    return ((task, function(task)) for task in tasks)


# --- tasks ---------------------------------------------------------------------------------------


def poisoned(task):
    """Do what *task* says, or give it back."""
    if task == "hang":
        while True:
            pass
    if task.startswith("kill"):
        if " " in task:  # and leave a sign of it
            with Path(task.partition(" ")[2]).open("a", encoding="utf-8") as tally:
                tally.write("x")
        os.kill(os.getpid(), signal.SIGKILL)
    if task == "eat":
        return len(bytearray(2**40))
    if task == "raise":
        raise ValueError("odd")
    if task == "cores":
        return cores()
    return task
