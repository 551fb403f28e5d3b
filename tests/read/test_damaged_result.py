"""A result folder that was changed by hand, by accident or on purpose: compared, or refused; never a fault of ours."""

import io
import json
import random
import shutil
from pathlib import Path

import numpy as np
import pytest
import shapely

from coverage_audit import run
from coverage_audit.cli import command as cli
from coverage_audit.errors import InputError
from coverage_audit.read.result import read_result
from coverage_audit.read.result_saved import load_record, packed_files, record_files
from coverage_audit.season.store import OUTCOME, stored

JOB = Path(__file__).parents[2] / "fixtures" / "one_pass_off" / "job.toml"
PAPERS = ("summary.json", "findings.geojson", "passes.geojson")
VALUES = (None, [], {}, "x", -1, 1e308, True, 5, 10**30)
GONE = object()


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    """A result as check leaves it."""
    folder = tmp_path_factory.mktemp("result")
    assert cli.main(["check", str(JOB), "-o", str(folder), "--replicates", "0", "--quiet"]) == 0
    return folder


def places(value, so_far=()):
    """Every place in *value*, of lists the first two entries."""
    if so_far:
        yield so_far
    inside = value.items() if isinstance(value, dict) else enumerate(value[:2]) if isinstance(value, list) else ()
    for key, one in inside:
        yield from places(one, (*so_far, key))


def damage(folder, name, place, value):
    paper = json.loads((folder / name).read_text(encoding="utf-8"))
    inside = paper
    for key in place[:-1]:
        inside = inside[key]
    if value is GONE:
        del inside[place[-1]]
    else:
        inside[place[-1]] = value
    (folder / name).write_text(json.dumps(paper), encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "place", "value"),
    [
        ("summary.json", ("time_s",), 1e308),
        ("summary.json", ("time_s", "on"), None),
        ("summary.json", ("passes",), True),
        ("summary.json", ("passes", 1, "kind"), GONE),
        ("summary.json", ("passes", 1, "start"), "2026-02-30T00:00:00Z"),
        ("summary.json", ("passes", 0, "cross_track_m", "rms"), 1e308),
        ("summary.json", ("job", "start"), GONE),
        ("summary.json", ("steering", "cross_track_rms_m"), "x"),
        ("summary.json", ("job", "units"), "acres"),
        (
            "findings.geojson",
            ("features", 0, "geometry", "coordinates"),
            [[[10**400, 0], [0, 1], [1, 1], [10**400, 0]]],
        ),
        ("passes.geojson", ("features",), None),
        ("passes.geojson", ("features", 0, "properties"), []),
        ("passes.geojson", ("features", 0, "geometry", "type"), 5),
        ("passes.geojson", ("features", 1, "geometry", "coordinates", 0, 0), 10**30),
        ("findings.geojson", ("features", 0, "geometry"), -1),
    ],
)
def test_what_a_comparison_relies_on_is_checked_at_the_door(result, tmp_path, name, place, value):
    folder = tmp_path / "result"
    shutil.copytree(result, folder)
    damage(folder, name, place, value)
    with pytest.raises(InputError, match="run coverage-audit check on the job again") as caught:
        read_result(folder, "a")
    assert name in str(caught.value)


def test_damage_anywhere_is_compared_or_refused(result, tmp_path, capsys):
    """Forty places and values by lot (seed 7)."""
    lot = random.Random(7)
    whole = {name: list(places(json.loads((result / name).read_text(encoding="utf-8")))) for name in PAPERS}
    codes = []
    for turn in range(40):
        folder = tmp_path / str(turn)
        shutil.copytree(result, folder)
        name = lot.choice(PAPERS)
        damage(folder, name, lot.choice(whole[name]), lot.choice((*VALUES, GONE)))
        codes.append(cli.main(["compare", str(result), str(folder), "-o", str(tmp_path / "out"), "--quiet"]))
    assert set(codes) == {0, 2}, capsys.readouterr().err


# --- saved audits --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def inside():
    """Files of a saved audit, by name."""
    outcome = {"schema": "coverage-audit audit 1", "stamp": "0" * 64, "state": "done", "kind": "", "reason": ""}
    record = run.record(run.audited(run.read(JOB, replicates=0)), "x")
    return {OUTCOME: json.dumps(outcome | {"time_s": 1.0, "memory_bytes": 1}).encode(), **record_files(record)}


def saved(folder, inside, **changes):
    """A saved audit with other content under some of its names, and what is read of it."""
    changed = {name.replace("_", "."): data for name, data in changes.items()}
    assert set(changed) <= set(inside)
    (folder / "audit.zip").write_bytes(packed_files({**inside, **changed}))
    stored(folder, "x")
    return load_record(folder / "audit.zip", "x")


def test_a_saved_audit_is_read_as_it_was_made(inside, tmp_path):
    found = saved(tmp_path, inside)
    assert found.ground.target.area > 0
    assert len(found.surface.row) > 1000


@pytest.mark.parametrize(
    ("key", "value"),
    [("memory_bytes", "1e400"), ("time_s", "null"), ("state", "[]"), ("reason", "7"), ("stamp", "{}")],
)
def test_an_outcome_that_is_none_is_refused(inside, tmp_path, key, value):
    old = json.dumps(json.loads(inside[OUTCOME])[key])
    text = inside[OUTCOME].decode().replace(f'"{key}": {old}', f'"{key}": {value}')
    with pytest.raises(InputError, match="not one that this program wrote"):
        saved(tmp_path, inside, outcome_json=text.encode())


@pytest.mark.parametrize(
    ("key", "value"),
    [("width", 0), ("width", 1e400), ("south", 10**30), ("west", -1e400), ("lon_deg", 1e308), ("cell_m", 1e300)],
)
def test_a_surface_that_lies_nowhere_is_refused(inside, tmp_path, key, value):
    about = json.dumps({**json.loads(inside["surface.json"]), key: value})
    with pytest.raises(InputError, match="the rate surface is damaged"):
        saved(tmp_path, inside, surface_json=about.encode())


def test_a_surface_of_numbers_that_are_none_is_refused(inside, tmp_path):
    """A rate whose first cell is a signalling NaN (IEEE 754: exponent of ones, top bit of the fraction clear)."""
    planes = np.load(io.BytesIO(inside["surface.npy"]))
    planes[4:8, 0] = [1, 0, 0x80, 0x7F]
    changed = io.BytesIO()
    np.save(changed, planes)
    with pytest.raises(InputError, match="it holds numbers that are none"):
        saved(tmp_path, inside, surface_npy=changed.getvalue())


@pytest.mark.parametrize(
    "shape", [shapely.Point(0, 0), shapely.LineString([(0, 0), (1, 1)]), shapely.box(0, 0, 1e300, 1), b"x"]
)
def test_ground_that_is_none_is_refused(inside, tmp_path, shape):
    data = shape if isinstance(shape, bytes) else shapely.to_wkb(shape)
    with pytest.raises(InputError, match="its ground is damaged"):
        saved(tmp_path, inside, missed_wkb=data)


def test_a_zip_file_of_another_kind_is_refused(inside, tmp_path):
    """One that needs version 25.5 to unpack: the byte after the signature of each entry (APPNOTE 4.3.12)."""
    packed = packed_files(inside).replace(b"PK\1\2\x14\3\x14", b"PK\1\2\x14\3\xff")
    (tmp_path / "audit.zip").write_bytes(packed)
    with pytest.raises(InputError):
        load_record(tmp_path / "audit.zip", "x")
