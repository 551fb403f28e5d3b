"""Speed of the audit on one simulated 12 ha job at 10 Hz, as ratios within one run.

Run: python tests/bench/bench_audit.py
"""

import dataclasses
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import gpxpy
import shapely
from jobs import START_S, boom, job, log
from reference import reference_count
from simulator.files import to_boom_csv, to_geojson_text, to_gpx_text
from simulator.jobs import benchmark_scenario, simulate

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.settings import GUIDED as BY_RECEIVER
from coverage_audit.jobs.settings import HAND as BY_EYE
from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.recipe import audit as recipe
from coverage_audit.recipe import drive as drives

RUNS = 5
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


def best(task, runs=RUNS):
    """Shortest of several runs [s], and the last result: other work on the machine only adds."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        result = task()
        times.append(time.perf_counter() - start)
    return min(times), result


def benchmark_job(hectares):
    scenario = benchmark_scenario(hectares=hectares)
    one = simulate(scenario)
    return scenario, one, job(log(one.times_s, one.logged_m), one.on_intervals, scenario.field, boom=boom(9.0))


def exact_part(spray_job):
    """From track arrays to partition and findings: the recipe without the raster count and the volume."""
    plane = drives.job_plane(spray_job)

    def run():
        drive = drives.drive_of(spray_job, plane)
        ground, _, _ = drives.ground_of(spray_job, plane, drive)
        counted = recipe._counted(drive, ground, 9.0)
        parts = counted.parts
        recipe._strips(spray_job, counted, parts.union(parts.in_target & (parts.visits == 0)), shapely.Polygon())
        return drive, ground, parts

    return run


def main():
    scenario, one, spray_job = benchmark_job(12.4)
    ours, (drive, ground, parts) = best(exact_part(spray_job))
    stretches = [(lines.x_m, lines.y_m, lines.heading_rad) for lines in drive.lines]
    theirs, (covered, missed, double) = best(lambda: reference_count(stretches, ground.target, 9.0), 2)
    target, visits, field = parts.in_target, parts.visits, ground.field.area
    off = [
        abs(parts.area(target & mask) - other) / field
        for mask, other in ((visits > 0, covered), (visits == 0, missed), (visits > 1, double))
    ]
    print(f"fixes                            {len(one.times_s)}")
    print(f"partition and findings           {ours:.3f} s")
    print(f"reference                        {theirs:.3f} s, ratio {theirs / ours:.1f} (wanted: at least 5)")
    print(f"covered, missed, double differ   {off[0]:.1e} {off[1]:.1e} {off[2]:.1e} of the field (1e-4 1e-4 2e-4)")
    replicates(spray_job)
    whole_command(scenario)
    scaling()


def replicates(spray_job):
    """What carrying GPS error through with 200 draws costs, beside one audit."""
    alone, _ = best(lambda: recipe.audit_job(spray_job), 3)
    for steering in (BY_EYE, BY_RECEIVER):
        accuracy = AccuracySettings(steering=steering, replicates=200)
        drawn = dataclasses.replace(spray_job, settings=dataclasses.replace(spray_job.settings, accuracy=accuracy))
        with_draws, _ = best(lambda drawn=drawn: recipe.audit_job(drawn), 2)
        ratio = (with_draws - alone) / alone
        print(
            f"200 draws, steered by {steering:<11}{with_draws - alone:.1f} s, {ratio:.1f} audits (wanted: at most 40)"
        )


def whole_command(scenario):
    one = simulate(dataclasses.replace(scenario, start_s=START_S))
    plane = Plane(PlaneOrigin(-70.5, -41.2))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        texts = {
            "track.gpx": to_gpx_text(one, plane),
            "boom.csv": to_boom_csv(one),
            "field.geojson": to_geojson_text(scenario.field, "bench", plane),
            "job.toml": JOB_FILE,
        }
        for file, text in texts.items():
            (folder / file).write_text(text, encoding="utf-8")
        parse, _ = best(lambda: gpxpy.parse(texts["track.gpx"]), 3)
        out = ["-o", str(folder / "out"), "--quiet"]
        command = [sys.executable, "-m", "coverage_audit", "check", str(folder / "job.toml"), *out]
        usual, _ = best(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL), 2)
        command += ["--replicates", "0"]
        check, _ = best(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL), 4)
        page = (folder / "out" / "report.html").stat().st_size / 1e6
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"gpxpy alone, parsing the file    {parse:.2f} s")
    print(f"check, as logged, start to end   {check:.2f} s, ratio {check / parse:.2f} (wanted: at most 2)")
    print(f"check with GPS error carried on  {usual:.2f} s, ratio {usual / parse:.2f}")
    print(f"peak memory of check             {peak:.0f} MB (wanted: under 600); report {page:.2f} MB")


def scaling():
    _, small, small_job = benchmark_job(12.4)
    _, large, large_job = benchmark_job(124.0)
    short, _ = best(lambda: recipe.audit_job(small_job), 3)
    long, _ = best(lambda: recipe.audit_job(large_job), 1)
    fixes = len(large.times_s) / len(small.times_s)
    most = 1.2 * fixes
    print(f"audit of {fixes:.1f} times the fixes      {long / short:.1f} times the time (wanted: at most {most:.1f})")


if __name__ == "__main__":
    main()
