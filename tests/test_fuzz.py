"""Inputs changed at random: every reader and the whole job refuse in one plain line or give figures that add up.

The same seed and number make the same case. A few cases run every day, many with ``-m slow``.
"""

import contextlib
import functools
import io
import json
import operator
import random
import re
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
from cautions_of_files import sentences
from read.test_field_dxf import drawing, polyline
from simulator import exported, taskdata

from coverage_audit import run
from coverage_audit.cli import command as cli
from coverage_audit.errors import InputError
from coverage_audit.files.mark import MARK, mark_text, read_mark
from coverage_audit.jobs.farm import read_farm
from coverage_audit.jobs.fields import kept_fields
from coverage_audit.jobs.kept_jobs import kept_jobs
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.proof.sign import public_hex, sign
from coverage_audit.papers.proof.verify import NotAProofError, record_in
from coverage_audit.read.boom_times import read_boom
from coverage_audit.read.outlines.registry import read_field
from coverage_audit.read.result import read_result
from coverage_audit.read.result_saved import load_record, packed_files, record_files
from coverage_audit.read.source import Folder, read_bytes
from coverage_audit.read.tracks.registry import read_track
from coverage_audit.season.store import OUTCOME, stored

FIXTURES = Path(__file__).parent.parent / "fixtures"
JOBS = ("forgotten_pass_by_segments", "late_on_by_marks", "one_pass_off", "sections_by_log")
SEED = 20261
QUICK_JOBS, MANY_JOBS = 10, 400
MANY_A_FORM = 2_000

NUMBERS = "0 -0 1 -1 1e-9 -1e-9 0.05 7 90 180 -180 181 1e6 1e18 1e308 1e400 -1e400 nan inf 0x10 1_0 000007 " + "9" * 40
WORDS = ("", " ", "\t", "\ufeff", "\u202e", "\0", "\x1b[31m", "<b>", "&amp;", "]]>", "\\", '"', "'", ",,", "null", "\n")
WIDTHS = ("1e-9 m", "0.02 m", "0.5 m", "3 ft", "24 m", "60 m", "1e9 m", "-3 m", "nan m", "")


# --- changing bytes ---------------------------------------------------------------------------


def other_number(rng, data):
    found = list(re.finditer(rb"-?\d+\.?\d*", data))
    if not found:
        return data
    one = rng.choice(found)
    near = f"{float(one[0][:300]) + rng.gauss(0, 3):.6f}"
    return data[: one.start()] + rng.choice([near, *NUMBERS.split()]).encode() + data[one.end() :]


def other_bytes(rng, data):
    at = bytearray(data)
    for _ in range(rng.choice((1, 4, 40))):
        at[rng.randrange(len(at))] = rng.randrange(256)
    return bytes(at)


def cut_short(rng, data):
    return data[: rng.randrange(len(data))]


def without_a_part(rng, data):
    first = rng.randrange(len(data))
    return data[:first] + data[first + rng.choice((1, 30, 3000)) :]


def a_part_again(rng, data):
    first, at = rng.randrange(len(data)), rng.randrange(len(data))
    return data[:at] + data[first : first + rng.choice((5, 200, 4000))] + data[at:]


def a_word_between(rng, data):
    at = rng.randrange(len(data))
    return data[:at] + rng.choice(WORDS).encode() + data[at:]


def lines_about(rng, data):
    lines = data.splitlines(keepends=True)
    a, b = sorted(rng.randrange(len(lines)) for _ in range(2))
    return b"".join(rng.choice((lines[::-1], lines[:a] + lines[b:], lines[:a] + lines[a:b][::-1] + lines[b:])))


CHANGES = (other_number, other_number, other_number, other_bytes, cut_short, without_a_part, a_part_again)
CHANGES = (*CHANGES, a_word_between, lines_about)


def summed(data):
    """NMEA sentences with their sums put right, so that more than the sum is read."""

    def right(line):
        return b"$%s*%02X" % (line[1], functools.reduce(operator.xor, line[1], 0))

    return re.sub(rb"\$([^*\r\n]*)\*[0-9A-Fa-f]{2}", right, data)


def changed(rng, data):
    for _ in range(rng.choice((1, 1, 2, 5))):
        if data:
            data = rng.choice(CHANGES)(rng, data)
    return summed(data) if b"RMC," in data and rng.random() < 0.8 else data


# --- the readers ------------------------------------------------------------------------------


def record_of(path):
    try:
        record_in(path.read_bytes())
    except NotAProofError as error:  # what the door turns into its message
        raise InputError(str(error), path.name) from error


def counted(path):
    """Read a log, every fix of which is there or counted."""
    log = read_track(path)
    lost = sum(count for why, count in log.dropped.items() if why != "bad_checksum")
    assert log.fixes_read == len(log.fixes) + lost
    assert all(len(column) == len(log.fixes) for column in vars(log.fixes).values())
    assert all(text.strip() and "\n" not in text for text in sentences(log))


def kept(path):
    """What a farm keeps: its machines and products, its fields, its jobs."""
    farm = next(folder for folder in path.parents if (folder / "farm.toml").exists())
    source = Folder(farm)
    read_farm(source, "farm.toml")
    assert all(one.name.strip() and not one.geometry.is_empty for one in kept_fields(source))
    assert all("\n" not in one.fault for one in kept_jobs(source, "UTC"))


def saved(path):
    """A saved audit: how it ended, its record, its ground and its rates."""
    if path.name != "audit.zip":
        packed = packed_files({one.name: one.read_bytes() for one in sorted(path.parent.iterdir())})
        path = path.parent.parent / "again" / "audit.zip"
        path.write_bytes(packed)
    stored(path.parent, "x")
    load_record(path, "x")


def signed(path):
    """A private key that is read signs, and as is told."""
    told = sign({"copy": "x"}, path.read_text(encoding="utf-8", errors="replace"), path.name)
    assert len(bytes.fromhex(told["signature"]["value"])) == 64


def marked(path):
    """What is ours in a folder: names that cannot lead out of it, and written again the same."""
    mark = read_mark(path.parent)
    assert not any("/" in name for one in mark.sets.values() for name in one.files)
    path.write_text(mark_text(mark), encoding="utf-8")
    assert read_mark(path.parent) == mark


READERS = {
    "track.gpx": counted,
    "track.nmea": counted,
    "track.fit": counted,
    "track.csv": counted,
    "track.kml": counted,
    "points.kml": counted,
    "track.geojson": counted,
    "points.geojson": counted,
    "logs.zip": counted,
    "task.zip": counted,
    "TASKDATA/TASKDATA.XML": lambda path: counted(path.parent),
    "TASKDATA/TLG00001.XML": lambda path: counted(path.parent),
    "TASKDATA/TLG00001.BIN": lambda path: counted(path.parent),
    "TASKDATA/FIELDS.XML": lambda path: read_field(path.parent / "TASKDATA.XML"),
    "boom.csv": lambda path: read_boom(read_bytes(path), 3),
    "b.geojson": read_field,
    "b.wkt": read_field,
    "b.dxf": read_field,
    "b.zip": read_field,
    "b.kml": read_field,
    "b.gpkg": read_field,
    "b.shp": read_field,
    "b.dbf": lambda path: read_field(path.with_suffix(".shp")),
    "b.prj": lambda path: read_field(path.with_suffix(".shp")),
    "b.shx": lambda path: read_field(path.with_suffix(".shp")),
    "field.zip": read_field,
    "round.gpx": read_field,
    "job.toml": read_job,
    "farm/farm.toml": kept,
    "farm/fields/meadow.geojson": kept,
    "farm/jobs/2026-05-30-meadow/job.toml": kept,
    "saved/audit.zip": saved,
    "saved/inside/outcome.json": saved,
    "saved/inside/summary.json": saved,
    "saved/inside/missed.wkb": saved,
    "saved/inside/surface.json": saved,
    "saved/inside/surface.npy": saved,
    "result/summary.json": lambda path: read_result(path.parent, "x"),
    "result/passes.geojson": lambda path: read_result(path.parent, "x"),
    "result/findings.geojson": lambda path: read_result(path.parent, "x"),
    "proof/proof.json": record_of,
    "proof/proof-buyer.json": record_of,
    "proof/proof.html": record_of,
    "proof/proof.pdf": record_of,
    f"proof/{MARK}": marked,
    "keys/seller.public": lambda path: public_hex(path.read_text(encoding="utf-8", errors="replace"), path.name),
    "keys/seller.private": signed,
}


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """A folder with one sound file of each form."""
    folder = tmp_path_factory.mktemp("sound")
    shutil.copytree(FIXTURES / "one_pass_off", folder, dirs_exist_ok=True)
    shutil.copy(FIXTURES / "sections_by_log" / "track.nmea", folder)
    frame = gpd.read_file(folder / "field.geojson")
    for suffix, driver in {"geojson": "GeoJSON", "kml": "LIBKML", "gpkg": "GPKG", "shp": "ESRI Shapefile"}.items():
        frame.to_file(folder / f"b.{suffix}", driver=driver)
    (folder / "b.wkt").write_text(frame.geometry[0].wkt)
    (folder / "b.dxf").write_text(drawing(polyline(list(frame.geometry[0].exterior.coords))))
    parts = [folder / f"b.{suffix}" for suffix in ("shp", "shx", "dbf", "prj")]
    (folder / "b.zip").write_bytes(taskdata.packed({path.name: path.read_bytes() for path in parts}))
    write_logs(folder)
    points = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for x, y, *_ in frame.geometry[0].exterior.coords)
    (folder / "round.gpx").write_text(f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>')
    job = str(folder / "job.toml")
    assert cli.main(["check", job, "-o", str(folder / "result"), "--replicates", "0", "--quiet"]) == 0
    assert cli.main(["proof", "keys", "-o", str(folder / "keys"), "--quiet"]) == 0
    when, key = "2026-06-30T12:00:00Z", str(folder / "keys" / "seller.private")
    assert cli.main(["proof", job, "-o", str(folder / "proof"), "--key", key, "--time", when, "--quiet"]) == 0
    write_farm(folder)
    write_saved(folder)
    return folder


FARM = """[farm]
name = "Larch Hollow"
timezone = "America/Boise"
season_starts = "03-01"
[machine.quad]
boom.width = "10 m"
boom.antenna_ahead = "1 m"
accuracy.steering = "hand"
rate.flow = "12 L/min"
[product.larkmoor]
name = "Larkmoor 200 SL"
rate = "1.2 L/ha"
max_per_season = "2.4 L/ha"
"""
KEPT_JOB = """[job]
farm = "../../farm.toml"
machine = "quad"
[track]
files = ["../../logs/day.gpx"]
from = 2026-05-30T08:00:00
to = "2026-05-30 11:30"
[field]
boundary = "../../fields/meadow.geojson"
"""


def write_farm(folder):
    """A farm's folder with one field and one job."""
    job = folder / "farm" / "jobs" / "2026-05-30-meadow"
    job.mkdir(parents=True)
    (folder / "farm" / "fields").mkdir()
    (folder / "farm" / "farm.toml").write_text(FARM)
    shutil.copy(folder / "field.geojson", folder / "farm" / "fields" / "meadow.geojson")
    (job / "job.toml").write_text(KEPT_JOB)


def write_saved(folder):
    """A saved audit, and what is packed in it."""
    inside = folder / "saved" / "inside"
    inside.mkdir(parents=True)
    (folder / "saved" / "again").mkdir()
    outcome = {"schema": "coverage-audit audit 1", "stamp": "0" * 64, "state": "done", "kind": "", "reason": ""}
    record = run.record(run.audited(run.read(folder / "job.toml", replicates=0)), "x")
    files = {OUTCOME: json.dumps(outcome | {"time_s": 600.0, "memory_bytes": 2**30}).encode(), **record_files(record)}
    for name, data in files.items():
        (inside / name).write_bytes(data)
    (folder / "saved" / "audit.zip").write_bytes(packed_files(files))


def write_logs(folder):
    """A short log of every form."""
    fixes = [(1_780_146_000.0 + k, 43.6 + 9e-6 * k, -116.2) for k in range(40)]
    (folder / "track.fit").write_bytes(exported.fit_of(fixes))
    (folder / "track.csv").write_text(exported.csv_of(fixes))
    for points in (False, True):
        name = "points" if points else "track"
        (folder / f"{name}.kml").write_text(exported.kml_of(fixes, points=points))
        (folder / f"{name}.geojson").write_text(exported.geojson_of(fixes, points=points))
    (folder / "logs.zip").write_bytes(taskdata.packed({"a.csv": exported.csv_of(fixes)}))
    records = [taskdata.Fix(t, lat, lon, utc_s=t) for t, lat, lon in fixes]
    records[5].values = {0: taskdata.condensed((1, 1, 1)), 1: 280_000}
    records[30].values = {0: taskdata.condensed((0, 0, 0))}
    log = taskdata.TimeLog("TLG00001", [(161, "DET-2"), (37, "DET-2")], records)
    ring = [(-116.2, 43.6), (-116.19, 43.6), (-116.19, 43.61)]
    outline = taskdata.partfield("PFD-1", "Meadow", [taskdata.polygon(1, [ring]), taskdata.polygon(3, [ring])])
    text = taskdata.index('<XFR A="FIELDS" B="1"/>', taskdata.sprayer(), taskdata.task("TSK-1", "Spray", ["TLG00001"]))
    files = taskdata.folder(text, [log], {"FIELDS.XML": taskdata.external(outline)})
    (folder / "task.zip").write_bytes(taskdata.packed(files))
    (folder / "field.zip").write_bytes(taskdata.packed(files))
    (folder / "TASKDATA").mkdir()
    for name, data in files.items():
        (folder / name).write_bytes(data)


def test_every_form_is_read_as_it_stands(sound):
    for name, reader in READERS.items():
        reader(sound / name)


def read_changed(sound, number):
    """One file changed, and read: what it holds or an `InputError` that says something."""
    rng = random.Random(f"{SEED}/{number}")
    name = list(READERS)[number % len(READERS)]
    path, whole = sound / name, (sound / name).read_bytes()
    refusal = None
    try:
        path.write_bytes(changed(rng, whole))
        READERS[name](path)
    except InputError as error:
        refusal = error
    finally:
        path.write_bytes(whole)
    if refusal is not None:
        assert refusal.what.strip()
        assert "\n" not in str(refusal)


@pytest.mark.parametrize("number", range(2 * len(READERS)))
def test_changed_files_are_read_or_refused(sound, number):
    read_changed(sound, number)


@pytest.mark.slow
@pytest.mark.parametrize("name", READERS)
def test_very_many_changed_files_are_read_or_refused(sound, name):
    first = list(READERS).index(name)
    for number in range(first, first + MANY_A_FORM * len(READERS), len(READERS)):
        try:
            read_changed(sound, number)
        except BaseException as error:
            error.add_note(f"case {number}: {name}")
            raise


# --- the whole job ----------------------------------------------------------------------------


def odd_job(rng, folder):
    """A fixture's job with a boom of another width, or one of its files changed."""
    shutil.copytree(FIXTURES / rng.choice(JOBS), folder)
    names = [path.name for path in sorted(folder.iterdir()) if path.suffix not in (".md", ".json")]
    name = rng.choice(names)
    data = (folder / name).read_bytes()
    if rng.random() < 0.3:
        name, data = "job.toml", (folder / "job.toml").read_bytes()
        data = re.sub(rb"(?m)^(width|sections) = .*$", f'width = "{rng.choice(WIDTHS)}"'.encode(), data)
    elif rng.random() < 0.7:  # numbers alone mostly leave a job that can be audited
        for _ in range(rng.choice((1, 3, 20))):
            data = other_number(rng, data)
    else:
        data = changed(rng, data)
    (folder / name).write_bytes(summed(data))
    return folder / "job.toml"


def strict(text):
    def refuse(name):
        pytest.fail(f"{name} in JSON")

    return json.loads(text, parse_constant=refuse)


def check_sums(found):
    """The contract's sums, within rounding."""
    area = found["area_m2"]
    slack = 1e-6 * area["field"] + 1e-6
    assert area["covered"] + area["missed"] == pytest.approx(area["target"], abs=slack)
    assert sum(area["by_visits"]) == pytest.approx(area["target"], abs=slack)
    assert sum(area["by_visits"][2:]) == pytest.approx(area["double"], abs=slack)
    listed = sum(strip["area_m2"] for strip in found["missed_strips"])
    assert listed + area["missed_slivers"] == pytest.approx(area["missed"], abs=slack)
    assert min(value for value in area.values() if isinstance(value, float)) >= 0
    for one in found["inputs"]:
        lost = sum(count for why, count in one["dropped"].items() if why != "bad_checksum")
        assert one["fixes_read"] == one["fixes_used"] + lost


def run_odd_job(folder, number):
    """One changed job through the command: 0 with sound papers, or 2 with one line and nothing written."""
    rng = random.Random(f"{SEED}/job/{number}")
    out = folder / "out"
    more = [word for word, chance in (("--touchup", 0.15), ("--rate-grid", 0.15)) if rng.random() < chance]
    line = ["check", str(odd_job(rng, folder / "in")), "-o", str(out), "--replicates", "0", "--json", *more]
    told, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(told):
        code = cli.main(line)
    assert code in (0, 2), told.getvalue()
    if code == 2:
        assert re.fullmatch(r"coverage-audit: [^\n]+\n", told.getvalue())
        assert not out.exists()
        return
    for path in (*out.glob("*.json"), *out.glob("*.geojson")):
        strict(path.read_text(encoding="utf-8"))
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", said.getvalue())
    check_sums(strict(said.getvalue()))


@pytest.mark.parametrize("number", range(QUICK_JOBS))
def test_changed_jobs_add_up_or_are_refused(tmp_path, number):
    run_odd_job(tmp_path, number)


@pytest.mark.slow
def test_very_many_changed_jobs_add_up_or_are_refused(tmp_path):
    for number in range(QUICK_JOBS, MANY_JOBS):
        try:
            run_odd_job(tmp_path / str(number), number)
        except BaseException as error:
            error.add_note(f"job {number}")
            raise
        shutil.rmtree(tmp_path / str(number))
