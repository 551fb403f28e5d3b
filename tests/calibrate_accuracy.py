"""Calibration of the accuracy stage on simulated jobs whose truth is known; slow, prints a table.

Run: python tests/calibrate_accuracy.py RESULTS.jsonl --jobs 200 --replicates 200
(then: --table alone shows the table again). Seeds 0-199 are for judging; tune on 1000 and above.
--errorless FIRST COUNT prints what the audit itself errs by, from logs without any error.

Hand: truth is the driven path, the log has the receiver's error on it. Guided: the machine steers by
the erring receiver, so the log is the driven line and the truth is the log less the error.
"""

import argparse
import dataclasses
import json
import sys
from itertools import pairwise, product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
import shapely
from jobs import START_S, boom, job, log
from shapely import affinity
from simulator.files import to_boom_csv, to_geojson_text, to_gpx_text
from simulator.jobs import BENCHMARK_M, GUIDED, HAND, Faults, GnssError, Scenario, gauss_markov, simulate

from coverage_audit.accuracy.strips import cross_cuts, needed_m, real_strips
from coverage_audit.accuracy.tolerances import CLASS_NOISE_M, CLASS_SIGMA_M, CLASS_TIME_S
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.ground.boom_lines import thin
from coverage_audit.ground.model import BoomLines
from coverage_audit.ground.partition import partition
from coverage_audit.ground.pieces import pieces_of, travel_at
from coverage_audit.ground.target import lay_out
from coverage_audit.jobs.settings import GUIDED as BY_RECEIVER
from coverage_audit.jobs.settings import HAND as BY_EYE
from coverage_audit.jobs.settings import AccuracySettings, FieldSettings
from coverage_audit.recipe.audit import audit_job

CLASSES = {"autonomous": 0, "SBAS": 1, "RTK": 3}
CELLS = tuple(product(CLASSES, (BY_EYE, BY_RECEIVER)))
WIDTH_M = 9.0
QUALITY = {0: 1, 1: 2, 3: 4}


def scenario(seed, steering, hz):
    """2-3 ha of a shape, direction and number of laps that depend on the seed; half the jobs have faults."""
    rng = np.random.default_rng([seed, 77])
    shape = shapely.Polygon(BENCHMARK_M)
    shape = affinity.scale(shape, *(np.sqrt(rng.uniform(2e4, 3e4) / shape.area) * np.array([1.0, 1.0])))
    shape = affinity.rotate(shape, rng.uniform(0, 360))
    faults = Faults()
    if rng.random() < 0.5:
        late, early, hole = rng.choice(np.arange(3, 12), 3, replace=False).tolist()
        begin = float(rng.uniform(20, 60))
        faults = Faults({late: float(rng.uniform(0.3, 0.9))}, {early: 4.0}, {hole: (begin, begin + 6.0)})
    return Scenario(
        field=shape,
        heading_deg=float(rng.uniform(0, 180)),
        sections_m=(WIDTH_M,),
        headland_laps=float(rng.integers(1, 3)),
        speed_m_s=float(rng.uniform(2.2, 3.0)),
        turning_radius_m=4.5,
        hz=hz,
        steering=HAND if steering == BY_EYE else GUIDED,
        faults=faults,
        seed=seed,
    )


def simulated(seed, number, steering, hz):
    """One job's log (times, places) [s, m], its stretches, field and true boom lines."""
    error = GnssError(CLASS_NOISE_M[number], CLASS_SIGMA_M[number], CLASS_TIME_S[number])
    meant = scenario(seed, steering, hz)
    one = simulate(dataclasses.replace(meant, gnss=error if steering == BY_EYE else GnssError(error.white_m)))
    truth = [true_lines(one, on, off, stretch) for stretch, (on, off) in enumerate(one.on_intervals)]
    if steering == BY_RECEIVER:
        truth = off_by(truth, one, error, seed)
    return one, truth


def write_files(one, folder):
    """Write the log, switch and field of a simulated job as files."""
    plane = Plane(PlaneOrigin(lon_deg=12.0, lat_deg=47.0))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "track.gpx").write_text(to_gpx_text(one, plane), encoding="utf-8")
    (folder / "boom.csv").write_text(to_boom_csv(one), encoding="utf-8")
    (folder / "field.geojson").write_text(to_geojson_text(one.scenario.field, "field", plane), encoding="utf-8")


def true_lines(one, on, off, stretch):
    """Boom lines along the true path, every 0.1 s."""
    times = np.linspace(on, off, max(int((off - on) * 10), 2))
    centre, heading = one.path.pose(times)
    travel = np.interp(times, one.path.times_s, one.path.distances_m)
    none = np.zeros(len(times), bool)
    half = WIDTH_M / 2
    heading = np.unwrap(heading)
    return BoomLines(*centre.T, heading, travel, none, none, none, ((-half, half),), stretch)


def off_by(truth, one, error, seed):
    """Boom lines less the error of the receiver that steered."""
    step = 0.5
    span = one.times_s[-1] - one.times_s[0]
    rng = np.random.default_rng([seed, 78])
    paths = [gauss_markov(int(span / step) + 2, error.drift_m, step, error.drift_time_s, rng) for _ in range(2)]
    grid = one.times_s[0] + step * np.arange(len(paths[0]))
    travel = np.concatenate([lines.travel_m for lines in truth])
    times = np.interp(travel, one.path.distances_m, one.path.times_s)
    return moved(truth, -np.column_stack([np.interp(times, grid, path) for path in paths]))


def moved(all_lines, shift_m):
    """Boom lines with their centres moved by *shift_m*, shape (lines of all, 2)."""
    parts = np.split(shift_m, np.cumsum([len(lines.x_m) for lines in all_lines])[:-1])
    return [
        dataclasses.replace(lines, x_m=lines.x_m + part[:, 0], y_m=lines.y_m + part[:, 1])
        for lines, part in zip(all_lines, parts, strict=True)
    ]


def exactly(truth):
    """Pieces of true boom lines; thinned by a centimetre they would lose 0.2e-4 of the target, as much as RTK moves."""
    return [piece for lines in thin(truth, 0.002) for piece in pieces_of(lines)]


def areas_of(parts):
    """Target missed, visited twice or more, and covered, by the exact partition. [m2]"""
    return [parts.area(parts.in_target & mask) for mask in (parts.visits == 0, parts.visits > 1, parts.visits > 0)]


def missed_across(parts, cuts):
    """How much of each of *cuts* lies on missed faces of the exact partition, in their shape. [m]"""
    faces = parts.faces[parts.in_target & (parts.visits == 0)]
    flat = cuts.ravel()
    cut, face = shapely.STRtree(faces).query(flat, predicate="intersects")
    across = np.bincount(cut, weights=shapely.length(shapely.intersection(flat[cut], faces[face])), minlength=len(flat))
    return across.reshape(cuts.shape)


def there(strip, shift):
    """*strip* moved by *shift* (2,). [m]"""
    moved_to = {name: affinity.translate(getattr(strip, name), *shift) for name in ("line", "polygon")}
    return dataclasses.replace(strip, **moved_to)


def run(seed, name, steering, hz, replicates):
    """Audit one simulated job and hold it to its truth."""
    number = CLASSES[name]
    one, truth = simulated(seed, number, steering, hz)
    read = log(one.times_s - START_S, one.logged_m)
    fixes = dataclasses.replace(read.fixes, quality=np.full(len(read.fixes), QUALITY[number]))
    settings = AccuracySettings(steering=steering, replicates=replicates)
    spans = [(on - START_S, off - START_S) for on, off in one.on_intervals]
    field = one.scenario.field
    read = dataclasses.replace(read, fixes=fixes)
    audit = audit_job(job(read, spans, field, boom=boom(WIDTH_M), accuracy=settings))
    ground = lay_out([field], [], FieldSettings())
    parts = partition(exactly(truth), ground, WIDTH_M, travel_at)
    # the audit's plane lies about the middle of its track
    shift = shapely.get_coordinates(field)[0] - shapely.get_coordinates(audit.layers.field)[0]
    strips = [there(strip, shift) for strip in audit.missed_strips]
    cuts = cross_cuts(strips, min(3.0 * CLASS_SIGMA_M[number], WIDTH_M / 2))
    real = real_strips(missed_across(parts, cuts), needed_m(strips, cuts))
    missed, double, _ = areas_of(parts)
    found = audit.accuracy
    return {
        "seed": seed,
        "class": name,
        "steering": steering,
        "hz": hz,
        "replicates": replicates,
        "missed": [missed, *figures(found.missed_m2)],
        "double": [double, *figures(found.double_m2)],
        "skip": found.smallest_detectable_skip_m,
        "strips": [[strip.probability, bool(is_real)] for strip, is_real in zip(strips, real, strict=True)],
    }


def errorless(seed, steering, hz):
    """What an audit of errorless fixes errs by, missed and double, of the target. [1]"""
    one = simulate(dataclasses.replace(scenario(seed, steering, hz), gnss=GnssError()))
    truth = [true_lines(one, on, off, stretch) for stretch, (on, off) in enumerate(one.on_intervals)]
    spans = [(on - START_S, off - START_S) for on, off in one.on_intervals]
    field = one.scenario.field
    found = audit_job(job(log(one.times_s - START_S, one.logged_m), spans, field, boom=boom(WIDTH_M))).area_m2
    missed, double, _ = areas_of(partition(exactly(truth), lay_out([field], [], FieldSettings()), WIDTH_M, travel_at))
    return np.array([found.missed - missed, found.double - double]) / found.target


def figures(figure):
    return [figure.observed, figure.estimate, figure.low90, figure.high90, figure.told]


def table(rows):
    """Text of the calibration: one line per cell and figure, and the strips by probability."""
    lines = ["| class | steering | jobs | area | held | below | above | RMSE raw | RMSE estimate | raw moved | bias |"]
    lines.append("|---|---|---|---|---|---|---|---|---|---|---|")
    pooled = {"missed": [], "double": []}
    for (name, steering), what in product(CELLS, ("missed", "double")):
        own = [row[what] for row in rows if (row["class"], row["steering"]) == (name, steering)]
        if not own:
            continue
        truth, raw, estimate, low, high, _ = np.array(own, float).T
        held = (truth >= low - 1e-9) & (truth <= high + 1e-9)
        pooled[what] += held.tolist()
        rmse_raw, rmse = (np.sqrt(np.mean((value - truth) ** 2)) for value in (raw, estimate))
        lines.append(
            f"| {name} | {steering} | {len(own)} | {what} | {100 * held.mean():.0f} % "
            f"| {100 * (truth < low).mean():.0f} % | {100 * (truth > high).mean():.0f} % "
            f"| {rmse_raw:.1f} m² | {rmse:.1f} m² "
            f"| {100 * rmse_raw / truth.mean():.0f} % | {(estimate - truth).mean():+.1f} m² |"
        )
    lines.extend(
        f"Pooled, {what}: {100 * np.mean(held):.1f} % of {len(held)}." for what, held in pooled.items() if held
    )
    for name, steering in (*CELLS, (None, None)):
        chosen = [row for row in rows if name is None or (row["class"], row["steering"]) == (name, steering)]
        pairs = np.array([pair for row in chosen for pair in row["strips"]], float).reshape(-1, 2)
        bins = []
        for low, high in pairwise((0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0001)):
            real = pairs[(pairs[:, 0] >= low) & (pairs[:, 0] < high), 1]
            bins.append(f"{low:.1f}-{min(high, 1):.1f}: {real.sum():.0f}/{len(real)}")
        lines.append(f"Strips real/all by probability, {f'{name} {steering}' if name else 'all'}: {'; '.join(bins)}.")
    return "\n".join(lines) + "\n"


def read(results):
    """Rows of a results file; a run that was stopped goes on where it stopped."""
    return [json.loads(line) for line in results.read_text(encoding="utf-8").splitlines()]


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("results", type=Path, nargs="?")
    options.add_argument("--jobs", type=int, default=200)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--hz", type=float, default=1.0)
    options.add_argument("--replicates", type=int, default=200)
    options.add_argument("--table", action="store_true")
    options.add_argument("--errorless", type=int, nargs=2, metavar=("FIRST", "COUNT"))
    given = options.parse_args()
    if given.errorless:
        first, count = given.errorless
        for steering in (BY_EYE, BY_RECEIVER):
            off = np.array([errorless(seed, steering, given.hz) for seed in range(first, first + count)])
            sys.stdout.write(f"{steering}: mean {off.mean(axis=0)}, standard deviation {off.std(axis=0)}\n")
        return
    given.results.touch()
    done = {(row["seed"], row["class"], row["steering"]) for row in read(given.results)}
    with given.results.open("a", encoding="utf-8") as store:
        for seed, cell in product(range(given.first, given.first + given.jobs) if not given.table else (), CELLS):
            if (seed, *cell) not in done:
                store.write(json.dumps(run(seed, *cell, given.hz, given.replicates)) + "\n")
                store.flush()
    sys.stdout.write(table(read(given.results)))


if __name__ == "__main__":
    main()
