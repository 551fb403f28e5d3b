"""A result folder that was changed by hand, by accident or on purpose: compared, or refused; never a fault of ours."""

import json
import random
import shutil
from pathlib import Path

import pytest

from coverage_audit.cli import command as cli
from coverage_audit.errors import InputError
from coverage_audit.read.result import read_result

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
