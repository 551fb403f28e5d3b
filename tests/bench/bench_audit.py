"""Speed and memory of the audit, as ratios within one run, each beside what is wanted.

Run: python tests/bench/bench_audit.py [--strict] [--processor] [--rounds N] [--part NAME ...]

One simulated job at 10 Hz on 12.4 ha (53 000 fixes) for all but the last two rows. What is compared is run by turns,
the best of some rounds each. ``--strict`` exits 1 on a miss. ``--processor`` takes processor time where others share
the machine: two threads then count twice. The command runs from its byte code, as an installed one does.
"""

import argparse
import dataclasses
import os
import resource
import subprocess
import sys
import tempfile
import time
import tracemalloc
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

os.environ.update(dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1"))  # as the command has it
sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import bench_page
import bench_season
import gpxpy
import pynmea2
import pynmeagps
import shapely
from jobs import START_S, boom, job, log
from reference import reference_count
from simulator.files import to_boom_csv, to_geojson_text, to_gpx_text, to_nmea_text
from simulator.jobs import benchmark_scenario, simulate

from coverage_audit import run
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.settings import GUIDED as BY_RECEIVER
from coverage_audit.jobs.settings import HAND as BY_EYE
from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.read.tracks.gpx import read_gpx
from coverage_audit.read.tracks.nmea import read_nmea
from coverage_audit.recipe import audit as recipe
from coverage_audit.recipe import drive as drives
from coverage_audit.threads import CORES

HECTARES, LARGE_HECTARES = 12.4, 124.0
PLANE = Plane(PlaneOrigin(-70.5, -41.2))
SEASON_JOBS = 40
JOB_FILE = """
[field]
boundary = "field.geojson"
[track]
files = ["track.gpx"]
[boom]
width = "9 m"
intervals = "boom.csv"
antenna_ahead = "0 m"
[rate]
flow = "20 L/min"
"""
BETWEEN = """
import os, sys
asked = os.posix_spawn(sys.executable, [sys.executable, *sys.argv[1:]], os.environ, file_actions=[
    (os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)])
_, status, used = os.wait4(asked, 0)
print(used.ru_maxrss)
sys.exit(os.waitstatus_to_exitcode(status))
"""
IMPORTS = """
import coverage_audit.cli.command, coverage_audit.jobs.read, coverage_audit.recipe.audit
import coverage_audit.papers.page, coverage_audit.papers.picture
import coverage_audit.papers.gpx, coverage_audit.papers.geojson
"""


def wall():
    """Time by the clock on the wall. [s]"""
    return time.perf_counter()


def processor():
    """Time that processors spent on this process and on those it has waited for. [s]"""
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + spent.ru_utime + spent.ru_stime


class Table:
    """The rows as they come: measured, wanted, and whether any is a miss."""

    def __init__(self, clock, rounds):
        self.clock, self.rounds, self.missed = clock, rounds, []

    def row(self, name, measured, wanted, *, least=False, digits=2):
        """Print one figure; *least*: as much as is wanted or more, else as much or less."""
        kept = measured >= wanted if least else measured <= wanted
        self.missed += [] if kept else [name]
        sign = ">=" if least else "<="
        print(f"{name:<58}{measured:>10.{digits}f}   {sign} {wanted:<8g}{'' if kept else 'MISSED'}", flush=True)

    def best(self, *tasks, rounds=None):
        """Shortest time of each task [s], all run by turns, and what each gave last."""
        times, results = [[] for _ in tasks], [None for _ in tasks]
        for _ in range(rounds or self.rounds):
            for number, task in enumerate(tasks):
                begin = self.clock()
                results[number] = task()
                times[number].append(self.clock() - begin)
        return [min(one) for one in times], results


def benchmark_job(hectares):
    """A simulated job and what the recipe takes of it."""
    scenario = benchmark_scenario(hectares=hectares)
    one = simulate(scenario)
    return scenario, one, job(log(one.times_s, one.logged_m), one.on_intervals, scenario.field, boom=boom(9.0))


def with_replicates(spray_job, count, steering):
    """*spray_job* with so many draws."""
    accuracy = AccuracySettings(steering=steering, replicates=count)
    return dataclasses.replace(spray_job, settings=dataclasses.replace(spray_job.settings, accuracy=accuracy))


# --- the rows -------------------------------------------------------------------------------------


def readers(table):
    """Reading a log, against the libraries that read such logs."""
    one = simulate(dataclasses.replace(benchmark_scenario(hectares=HECTARES), start_s=START_S))
    text = to_gpx_text(one, PLANE)
    (ours, theirs), _ = table.best(
        partial(read_gpx, text.encode(), "track.gpx"), partial(gpxpy.parse, text), rounds=table.rounds + 1
    )
    table.row("reading GPX, against gpxpy", ours / theirs, 0.15)
    text = to_nmea_text(one, PLANE, switch=False)
    lines = [line for line in text.split("\r\n") if line]
    print(f"# {len(lines)} NMEA lines")
    (ours, *theirs), _ = table.best(
        partial(read_nmea, text.encode(), "track.nmea"),
        lambda: [pynmea2.parse(line) for line in lines],
        lambda: [pynmeagps.NMEAReader.parse(line + "\r\n") for line in lines],
        rounds=max(1, table.rounds - 1),
    )
    table.row("reading NMEA, against the faster of two libraries", ours / min(theirs), 0.3)


def exact_part(spray_job):
    """From track arrays to partition and findings: the recipe without the raster count and the volume."""
    plane = drives.job_plane(spray_job)

    def work():
        drive = drives.drive_of(spray_job, plane)
        ground, _, _ = drives.ground_of(spray_job, plane, drive)
        counted = recipe.counted_ground(drive, ground, 9.0)
        parts = counted.parts
        recipe._strips(spray_job, counted, parts.union(parts.in_target & (parts.visits == 0)), shapely.Polygon())
        return drive, ground, parts

    return work


def partition(table):
    """Partition and findings, against the plain way, and what the two differ by."""
    _, _, spray_job = benchmark_job(HECTARES)
    work = exact_part(spray_job)
    drive, ground, parts = work()
    stretches = [(lines.x_m, lines.y_m, lines.heading_rad) for lines in drive.lines]
    (ours, theirs), (_, (covered, missed, double)) = table.best(
        work, lambda: reference_count(stretches, ground.target, 9.0)
    )
    table.row("partition and findings, times faster than the plain way", theirs / ours, 10, least=True)
    target, visits, field = parts.in_target, parts.visits, ground.field.area
    pairs = ((visits > 0, covered, 1e-4), (visits == 0, missed, 1e-4), (visits > 1, double, 2e-4))
    for name, (mask, other, most) in zip(("covered", "missed", "double"), pairs, strict=True):
        table.row(
            f"  {name} of the two differ, share of the field",
            abs(parts.area(target & mask) - other) / field,
            most,
            digits=7,
        )


def command(table):
    """The whole command from start to end, its imports and its memory."""
    one = simulate(dataclasses.replace(benchmark_scenario(hectares=HECTARES), start_s=START_S))
    field = benchmark_scenario(hectares=HECTARES).field
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        text = to_gpx_text(one, PLANE)
        (folder / "track.gpx").write_text(text, encoding="utf-8")
        (folder / "boom.csv").write_text(to_boom_csv(one), encoding="utf-8")
        (folder / "field.geojson").write_text(to_geojson_text(field, "bench", PLANE), encoding="utf-8")
        (folder / "job.toml").write_text(JOB_FILE, encoding="utf-8")
        check = ["-m", "coverage_audit", "check", str(folder / "job.toml"), "-o", str(folder / "out"), "--quiet"]
        start = partial(started, folder / "code")
        start(check)  # byte code is there from now on
        (parse, logged, usual, imports), _ = table.best(
            partial(gpxpy.parse, text),
            partial(start, [*check, "--replicates", "0"]),
            partial(start, check),
            partial(start, ["-c", IMPORTS]),
        )
        peak = max(start([*check, "--replicates", "0"]), start(check)) / 1024
        held = traced(folder / "job.toml")
    print(f"# gpxpy alone {parse:.2f} s, check as logged {logged:.2f} s, with its error {usual:.2f} s")
    table.row("check --replicates 0, against gpxpy alone", logged / parse, 1.0)
    table.row("check with the receiver's error, against gpxpy alone", usual / parse, 2.0)
    table.row("imports of a check, against gpxpy alone (a third of 1.2 s)", imports / parse, 0.345, digits=3)
    table.row("peak memory of a check, by the system [MB]", peak, 300, digits=0)
    table.row("peak of what Python holds in one, by tracemalloc [MB]", held, 300, digits=0)


def started(code, arguments):
    """Run Python with *arguments* in a process of its own, byte code kept in *code*; its peak memory. [kB]

    Begun by a small process between: the system counts the memory of whoever begins a process as the process's own.
    """
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(code)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    ended = subprocess.run(
        [sys.executable, "-S", "-c", BETWEEN, *arguments], env=environment, stdout=subprocess.PIPE, check=False
    )
    if ended.returncode:
        raise SystemExit(f"{arguments} ended with {ended.returncode}")
    return int(ended.stdout)


def traced(job_file):
    """Most that is held at once while a job is audited and its papers are made. [MB]"""
    tracemalloc.start()
    run.papers(run.audited(run.read(job_file)))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return most / 1e6


def draws(table):
    """What carrying the receiver's error through with 200 draws costs, beside one audit."""
    _, _, spray_job = benchmark_job(HECTARES)
    jobs = [with_replicates(spray_job, *how) for how in ((0, BY_EYE), (200, BY_EYE), (200, BY_RECEIVER))]
    (alone, *drawn), _ = table.best(*(partial(recipe.audit_job, one) for one in jobs), rounds=max(1, table.rounds - 1))
    for steering, spent in zip((BY_EYE, BY_RECEIVER), drawn, strict=True):
        table.row(f"200 draws, {steering}, in audits", (spent - alone) / alone, 8)


def scaling(table):
    """Ten times the field."""
    _, small, small_job = benchmark_job(HECTARES)
    _, large, large_job = benchmark_job(LARGE_HECTARES)
    small_job, large_job = (with_replicates(one, 0, BY_EYE) for one in (small_job, large_job))
    (short, long), _ = table.best(
        partial(recipe.audit_job, small_job), partial(recipe.audit_job, large_job), rounds=max(1, table.rounds - 1)
    )
    fixes = len(large.times_s) / len(small.times_s)
    table.row(f"audit of {fixes:.1f} times the fixes, times the time", long / short, 9.5)


def page(table):
    """A tap on the page: the second audit of a job of which one pass was switched."""
    table.row("second audit after one pass was switched, of a first", bench_page.areas()["ratio"], 0.35)


def season(table):
    """Jobs of 1 to 12 ha at 1 Hz, read and audited as logged by two processes."""
    with tempfile.TemporaryDirectory() as name:
        bench_season.make(Path(name), SEASON_JOBS, "")
        jobs = sorted(Path(name).glob("jobs/*/job.toml"))
        one_core = ({CORES: "1"},)  # as the workers of a season have it
        with ProcessPoolExecutor(2, initializer=os.environ.update, initargs=one_core) as workers:
            list(workers.map(as_logged, jobs[:2]))  # imports are paid once a season
            (spent,), _ = table.best(lambda: list(workers.map(as_logged, jobs)), rounds=1)
            busy = sum(workers.map(as_logged, jobs))
    print(f"# {busy / len(jobs):.3f} s of processor time a job")
    if table.clock is processor:
        spent = busy / 2
    table.row("jobs of 1 Hz a second, as logged, on two cores", len(jobs) / spent, 25, least=True, digits=1)


def as_logged(job_file):
    """Audit one job; the processor time it took. [s]"""
    begin = time.process_time()
    run.audited(run.read(job_file, replicates=0))
    return time.process_time() - begin


PARTS = {one.__name__: one for one in (readers, partition, command, draws, scaling, page, season)}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--strict", action="store_true", help="exit 1 when a figure is missed")
    parser.add_argument("--processor", action="store_true", help="processor time instead of the wall's")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--part", action="append", choices=PARTS, help="this one alone")
    options = parser.parse_args()
    table = Table(processor if options.processor else wall, options.rounds)
    for name in options.part or PARTS:
        PARTS[name](table)
    print(f"# missed: {len(table.missed)}")
    return int(options.strict and bool(table.missed))


if __name__ == "__main__":
    sys.exit(main())
