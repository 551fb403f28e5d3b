"""Whether two versions of the program tell the same figures: demo, fixtures and 40 simulated jobs (seeds 400 to 439).

python tests/same_figures.py jobs FOLDER               writes the jobs, once
python tests/same_figures.py figures FOLDER OUT.json   audits them with the program of the checkout that it stands in
python tests/same_figures.py compare OLD.json NEW.json  exits 1 when a figure differs by more than 1e-9, relative
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
REL = 1e-9  # relative: rounding of sums in another order, no more
SEEDS = range(400, 440)
WITH_ERROR = 4  # of the simulated jobs are audited with the receiver's error carried through, too
TOML = """\
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
applied = "400 L"
target = "150 L/ha"
"""


def write_jobs(folder):
    """Write the simulated jobs into *folder*: by hand and guided, all classes of receiver, 1 and 5 Hz in turn."""
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
    import calibrate_accuracy as calibrate  # noqa: PLC0415 - the simulator is needed here alone

    for seed in SEEDS:
        number = tuple(calibrate.CLASSES.values())[seed % 3]
        steering = (calibrate.BY_EYE, calibrate.BY_RECEIVER)[seed // 3 % 2]
        one, _ = calibrate.simulated(seed, number, steering, (1.0, 5.0)[seed % 2])
        calibrate.write_files(one, folder / f"seed_{seed}")
        (folder / f"seed_{seed}" / "job.toml").write_text(TOML, encoding="utf-8")


def audited(job, *options):
    """Summary of one job, audited by a process of its own."""
    with tempfile.TemporaryDirectory() as out:
        command = [sys.executable, "-m", "coverage_audit", *job, "-o", out, "--json", *options]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return json.loads(done.stdout) if done.returncode == 0 else {"failed": done.stderr}


def figures(folder):
    """Summaries by job."""
    found = {"demo": audited(["demo"])}
    for path in sorted((ROOT / "fixtures").glob("**/job.toml")):
        found[str(path.parent.relative_to(ROOT))] = audited(["check", str(path)], "--replicates", "0")
    for number, path in enumerate(sorted(folder.glob("*/job.toml"))):
        options = [] if number < WITH_ERROR else ["--replicates", "0"]
        found[path.parent.name] = audited(["check", str(path)], *options)
    return found


def flat(value, place=""):
    """(place, value) of every leaf."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from flat(inner, f"{place}.{key}")
    elif isinstance(value, list):
        for key, inner in enumerate(value):
            yield from flat(inner, f"{place}[{key}]")
    else:
        yield place, value


def differences(old, new):
    """Places where two sets of figures differ, with both values."""
    before, after = dict(flat(old)), dict(flat(new))
    for place in sorted(before.keys() | after.keys()):
        one, other = before.get(place, "absent"), after.get(place, "absent")
        numbers = all(isinstance(value, int | float) and not isinstance(value, bool) for value in (one, other))
        if one != other and not (numbers and abs(one - other) <= REL * max(abs(one), abs(other))):
            yield place, one, other


def compare(old, new):
    """Print every difference; the exit code."""
    found = list(differences(json.loads(old.read_text()), json.loads(new.read_text())))
    for place, one, other in found:
        print(f"{place}: {one} -> {other}")  # noqa: T201 - a script that prints
    count = len(dict(flat(json.loads(new.read_text()))))
    print(f"{len(found)} of {count} values differ by more than {REL:g}, relative")  # noqa: T201
    return int(bool(found))


if __name__ == "__main__":
    task, first, *rest = sys.argv[1:]
    if task == "jobs":
        write_jobs(Path(first))
    elif task == "figures":
        Path(rest[0]).write_text(json.dumps(figures(Path(first))), encoding="utf-8")
    else:
        sys.exit(compare(Path(first), Path(rest[0])))
