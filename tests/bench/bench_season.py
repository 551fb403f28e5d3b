"""A season of simulated jobs: speed on two cores, memory, disk, jobs that go wrong, and runs that are killed.

Run: python tests/bench/bench_season.py FOLDER --jobs 1000
Every part works in FOLDER, which may be kept: a farm that is there is taken as it is. --as-logged makes jobs without
draws of the receiver's error, which take a fifth of the time.
"""

import argparse
import hashlib
import importlib
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from season_farm import poisoned
from simulator.files import to_boom_csv, to_geojson_text, to_gpx_text
from simulator.jobs import benchmark_scenario, simulate

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.season.model import Limits
from coverage_audit.season.pool import on_this_machine
from coverage_audit.season.season import run_season
from coverage_audit.season.tolerances import MEMORY_LIMIT_BYTES, TIME_LIMIT_S
from coverage_audit.season.work import audit_order
from coverage_audit.threads import ONE_THREAD

JOBS_A_FIELD = 3
DAY_S, SAMPLE_S = 86400.0, 1.0
START_S = 1_777_000_000.0  # 24 April 2026
PARTS = ("speed", "memory", "poison", "killed")
POISON = ("hang", "kill", "eat", "bad") * 2 + ("kill", "bad")
FARM = """\
[farm]
name = "Larch Hollow"
timezone = "America/Boise"
[machine.quad]
boom.width = "9 m"
boom.antenna_ahead = "0 m"
[product.larkmoor]
name = "Larkmoor 200 SL"
max_per_season = "6 L/ha"
phi = "14 days"
"""
JOB = """\
[job]
name = "{name}"
farm = "../../farm.toml"
machine = "quad"
[field]
boundary = "../../fields/{field}.geojson"
[track]
files = ["track.gpx"]
[boom]
intervals = "boom.csv"
[rate]
flow = "20 L/min"
target = "133 L/ha"
[[product]]
from = "larkmoor"
rate = "1.33 L/ha"
"""
AS_LOGGED = """\
[accuracy]
replicates = 0
"""


def make(farm, jobs, rest):
    """Fields of 1 to 12 ha in a row, each sprayed three times, one fix a second; *rest* ends each job file."""
    for path in (farm / "fields", farm / "jobs"):
        path.mkdir(parents=True, exist_ok=True)
    (farm / "farm.toml").write_text(FARM)
    rng = np.random.default_rng(1)
    for number in range(jobs):
        field, again = divmod(number, JOBS_A_FIELD)
        if not again:
            hectares = float(np.exp(rng.uniform(0, np.log(12))))
        plane = Plane(PlaneOrigin(-116.2 + 0.01 * (field % 100), 43.6 + 0.01 * (field // 100)))
        scenario = benchmark_scenario(hectares=hectares, hz=1.0, seed=number)
        start_s = START_S + (field % 20 + 30 * again) * DAY_S + 3600.0
        one = simulate(scenario.__class__(**{**vars(scenario), "start_s": start_s}))
        day = time.strftime("%Y-%m-%d", time.gmtime(start_s))
        folder = farm / "jobs" / f"{day}-field-{field:04d}"
        folder.mkdir(exist_ok=True)
        (farm / "fields" / f"field-{field:04d}.geojson").write_text(
            to_geojson_text(scenario.field, f"Field {field:04d}", plane)
        )
        (folder / "track.gpx").write_text(to_gpx_text(one, plane))
        (folder / "boom.csv").write_text(to_boom_csv(one))
        (folder / "job.toml").write_text(JOB.format(name=folder.name, field=f"field-{field:04d}") + rest)


def fresh(farm):
    """Take away all that a season left."""
    shutil.rmtree(farm / "seasons", ignore_errors=True)
    for job in (farm / "jobs").iterdir():
        shutil.rmtree(job / "report", ignore_errors=True)
        (job / "audit.zip").unlink(missing_ok=True)


def copied(farm, to, jobs):
    """The first jobs of a farm, as nobody has audited them, in a folder of their own."""
    shutil.rmtree(to, ignore_errors=True)
    shutil.copytree(farm / "fields", to / "fields")
    shutil.copy(farm / "farm.toml", to)
    for job in in_order(farm)[:jobs]:
        (to / "jobs" / job).mkdir(parents=True)
        for name in ("job.toml", "track.gpx", "boom.csv"):
            shutil.copy(farm / "jobs" / job / name, to / "jobs" / job)
    return to


def in_order(farm):
    """Names of a farm's jobs, field by field."""
    return sorted((job.name for job in (farm / "jobs").iterdir()), key=lambda name: (name.partition("field")[2], name))


def ledger_sum(farm):
    """Hash over every file of the ledger, and the number of them."""
    files = sorted(path for path in (farm / "seasons" / "2026").iterdir() if not path.name.startswith("."))
    told = hashlib.sha256()
    for path in files:
        told.update(path.name.encode() + path.read_bytes())
    return told.hexdigest()[:16], len(files)


def command(farm, workers, cores=None):
    """The season's command, on so many cores of the machine, which ends by telling what it took."""
    code = f"import os; os.sched_setaffinity(0, range({cores})); " if cores else ""
    code += (
        "import resource, sys, time; from coverage_audit.cli.command import main; began = time.perf_counter();"
        f"code = main(['season', {str(farm)!r}, '--quiet', '--workers', '{workers}']);"
        "own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN));"
        "sys.stdout.write(' '.join(map(str, (code, time.perf_counter() - began, own.ru_utime + own.ru_stime,"
        "others.ru_utime + others.ru_stime, own.ru_maxrss / 1024, others.ru_maxrss / 1024))))"
    )
    return [sys.executable, "-c", code]


def season(farm, workers, cores=None):
    """Run the command in a process of its own: wall and processor time of all [s], memory of the parent [MB].

    ``seen`` are (jobs done, memory of the parent [MB]) on the way.
    """
    process = subprocess.Popen(command(farm, workers, cores), stdout=subprocess.PIPE, text=True)
    seen = []
    while True:
        try:
            out, _ = process.communicate(timeout=SAMPLE_S)
            break
        except subprocess.TimeoutExpired:
            seen.append((done_jobs(farm), resident_mb(process.pid)))
    if process.returncode:
        raise SystemExit(f"the season ended with {process.returncode}")
    names = ("code", "wall", "parent", "workers", "parent_mb", "worker_mb")
    return {"seen": seen, **dict(zip(names, map(float, out.split()), strict=True))}


def done_jobs(farm):
    """How many jobs have an end that is kept."""
    return len(list(farm.glob("jobs/*/audit.zip")))


def resident_mb(process):
    """Memory that a process has in use now (Linux). [MB]"""
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS")), 0.0)


def size(paths):
    return sum(path.stat().st_size for path in paths)


def speed(farm, folder, jobs):
    """The same jobs by one worker, on one core and on all, and by two; and the memory of the parent at two sizes."""
    print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    few = copied(farm, folder / "few", max(jobs // 4, 4))
    found = {}
    for turn in 2 * [(1, 1), (1, None), (2, None)]:
        fresh(few)
        one = season(few, *turn)
        if turn not in found or one["wall"] < found[turn]["wall"]:
            found[turn] = one
    number = len(list((few / "jobs").iterdir()))
    bound, alone, both = (found[turn]["wall"] for turn in ((1, 1), (1, None), (2, None)))
    print(f"{number} jobs: one worker on one core {bound:.1f} s, on all {alone:.1f} s, two workers {both:.1f} s")
    print(f"two workers against one          {bound / both:.2f} on one core, {alone / both:.2f} on all")
    small = found[2, None]["parent_mb"]
    fresh(farm)
    whole = season(farm, 2)
    number = len(list((farm / "jobs").iterdir()))
    print(f"{number} jobs by two workers: {whole['wall']:.0f} s")
    print(f"processor time a job             {whole['workers'] / number:.2f} s in workers")
    print(f"parent                           {1000 * whole['parent'] / number:.1f} ms a job")
    print(f"memory of the parent             {small:.0f} MB with a quarter, {whole['parent_mb']:.0f} MB with all")
    for quarter in (1, 2, 3, 4):
        near = min(whole["seen"], key=lambda one: abs(one[0] - number * quarter / 4), default=(0, 0.0))
        print(f"memory of the parent             {near[1]:.0f} MB with {near[0]} done")
    print(f"largest worker                   {whole['worker_mb']:.0f} MB")
    job_files = list((farm / "jobs").iterdir())
    reports = size(path for job in job_files for path in (job / "report").iterdir()) / len(job_files)
    saved = size(job / "audit.zip" for job in job_files) / len(job_files)
    ledger = size((farm / "seasons" / "2026").glob("*")) / len(job_files)
    print(f"disk a job                       {reports / 1e6:.2f} MB report, {saved / 1e6:.2f} MB audit.zip")
    print(f"ledger a job                     {ledger / 1e3:.1f} kB")
    again = season(farm, 2)
    print(f"nothing to audit                 {again['wall']:.1f} s, {1000 * again['parent'] / number:.1f} ms a job")


def poisonous(order):
    """Audit a job, or go wrong the way its folder says."""
    if getattr(order, "job", "").rpartition("-")[2] in POISON:
        poisoned(order.job.rpartition("-")[2])
    return audit_order(order)


def poison(farm, folder, jobs):
    """Ten jobs that go wrong among others: each is listed with its reason, and nobody else is lost."""
    place = copied(farm, folder / "poisoned", jobs)
    names = sorted(path.name for path in (place / "jobs").iterdir())
    for number, kind in enumerate(POISON):
        job = place / "jobs" / f"2026-05-01-{number}-{kind}"
        shutil.copytree(place / "jobs" / names[number], job)
        if kind == "bad":
            (job / "track.gpx").write_text("no log at all")
    limits = Limits(TIME_LIMIT_S, MEMORY_LIMIT_BYTES)
    task = importlib.import_module("bench_season").poisonous  # of a module, so that workers find it

    def workers(function, tasks):
        return on_this_machine(task if function is audit_order else function, tasks, 2, limits)

    found = run_season(place, None, limits, workers, lambda *_: None)
    done = {job.job.removeprefix("jobs/") for job in found.ledger.jobs}
    print(f"{len(names)} good jobs and {len(POISON)} bad ones: {len(done & set(names))} good ones audited")
    for one in found.ledger.failed:
        print(f"  {one.job}: {one.kind}: {one.reason}")
    print(f"memory of the parent             {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


def memory(farm, folder):
    """Memory of a parent that finds all jobs done, and adds them up, at several counts of them."""
    if not (farm / "seasons").exists():
        season(farm, 2)
    names = in_order(farm)
    for part in (8, 4, 2, 1):
        count = max(len(names) // part, 1)
        place = copied(farm, folder / "counted", count)
        for job in names[:count]:  # the finished audits as they are; the papers are only asked whether they are there
            os.link(farm / "jobs" / job / "audit.zip", place / "jobs" / job / "audit.zip")
            (place / "jobs" / job / "report").mkdir()
            for paper in (farm / "jobs" / job / "report").iterdir():
                os.link(paper, place / "jobs" / job / "report" / paper.name)
        one = season(place, 2)
        print(
            f"memory of the parent             {one['parent_mb']:.0f} MB for a ledger of {count}, {one['wall']:.1f} s"
        )
    shutil.rmtree(folder / "counted")


def killed(farm, folder, times):
    """A season killed at random moments from its first to its last job, and resumed, against the undisturbed one."""
    if not (farm / "seasons").exists():
        season(farm, 2)
    wanted = ledger_sum(farm)
    place = copied(farm, folder / "rough", len(in_order(farm)))
    jobs = len(in_order(place))
    rng = random.Random(3)
    moments = sorted(rng.uniform(0, jobs) for _ in range(times))  # how far the season is when the end comes
    done_at = []
    for moment in moments:
        process = subprocess.Popen(command(place, 2), stdout=subprocess.DEVNULL)
        while process.poll() is None and done_jobs(place) < moment:
            time.sleep(rng.uniform(0.01, 0.3))
        time.sleep(rng.uniform(0, 1.0))  # anywhere between two jobs, and in a start that finds all done
        process.send_signal(signal.SIGKILL)
        process.wait()
        done_at.append(done_jobs(place))
        print(f"  killed when {done_at[-1]} were done", flush=True)
    season(place, 2)
    found, left = ledger_sum(place), [one for one in place.rglob("*") if one.suffix in (".part", ".old", ".lock")]
    print(f"{times} kills; jobs that were done at each: {done_at}")
    print(f"the ledger is {found}, of the undisturbed run {wanted}: {'the same' if found == wanted else 'ANOTHER'}")
    print(f"files left over: {len(left)}")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--jobs", type=int, default=1000)
    parser.add_argument("--part", choices=PARTS, action="append")
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--as-logged", action="store_true")
    options = parser.parse_args()
    os.environ.update(ONE_THREAD)
    farm, parts = options.folder / "farm", options.part or PARTS
    if not farm.exists():
        make(farm, options.jobs, AS_LOGGED if options.as_logged else "")
    if "speed" in parts:
        speed(farm, options.folder, options.jobs)
    if "memory" in parts:
        memory(farm, options.folder)
    if "poison" in parts:
        poison(farm, options.folder, max(options.jobs // 10, 10))
    if "killed" in parts:
        killed(farm, options.folder, options.kills)


if __name__ == "__main__":
    main()
