"""Odd values in job files and arguments: a clear refusal and never a fault of ours, in bounded work."""

import ast
import json
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from coverage_audit import run, units
from coverage_audit.cli import command as cli
from coverage_audit.errors import InputError
from coverage_audit.jobs import touchup as job_touchup
from coverage_audit.jobs.read import read_job
from coverage_audit.read import boom_times as read_boom

ROOT = Path(__file__).parents[2]
LONG = "n" * 300  # file systems hold 255 bytes a name (POSIX NAME_MAX of ext4, NTFS and APFS)


def refused(small_job, key, value, table):
    small_job.change(key, value, table)
    with pytest.raises(InputError) as caught:
        read_job(small_job.path)
    return str(caught.value)


# --- quantities ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "table", "range_"),
    [
        ("reserve", '"-5 %"', "touchup", "at least 0 and at most 1000 %"),
        ("reserve", '"1e9 %"', "touchup", "at least 0 and at most 1000 %"),
        ("max_bridged", '"6 %"', "proof", "at least 0 and at most 5 %"),
        ("labour", '"-1 /h"', "touchup", "at least 0"),
        ("value", '"1e300 /ha"', "touchup", "at most"),
    ],
)
def test_out_of_range_is_told_in_a_unit_of_the_table(small_job, key, value, table, range_):
    told = refused(small_job, key, value, table)
    assert f"job.toml, {table}.{key}: " in told
    assert "is out of range; it must be " in told
    assert range_ in told


def test_every_table_of_units_can_say_its_range():
    tables = [
        table for name, table in vars(units).items() if name.isupper() and name[0] != "_" and isinstance(table, dict)
    ]
    tables = [table for table in tables if all(isinstance(one, float) for one in table.values())]
    tables += [{"%": 0.01}, *units.PRODUCT_PER_HA.values(), *units.PRODUCT_PER_L.values()]
    assert len(tables) > 10
    for table in tables:
        with pytest.raises(InputError, match="out of range"):
            units.parse_quantity(f"-1 {next(iter(table))}", table, "here")


@pytest.mark.parametrize("key", ["mix_cost", "value", "labour", "spot_rate", "reserve", "speed"])
@pytest.mark.parametrize("filling", [" ", "\t", "0", ".", "e", "$", "\n", "9 "])
def test_long_text_is_refused_before_any_pattern_sees_it(key, filling):
    with pytest.raises(InputError, match=r"characters|not start"):
        job_touchup.TOUCHUP[key]("1" + filling * 100_000 + "x", "touchup." + key)
    with pytest.raises(InputError, match=r"characters|not start"):
        job_touchup.TOUCHUP[key](filling * 100_000, "touchup." + key)


@pytest.mark.parametrize("filling", [" ", "0", "\n", "."])
def test_patterns_take_work_in_proportion(filling):
    """The number and its unit are found in one run over the text: a thousand times the length is no more than that."""
    assert units.number_and_unit("1" + filling * 1_000_000 + "x")[1].endswith("x")


def test_price_of_blanks(capsys):
    assert cli.main(["compare", "a", "b", "-o", "out", "--price", "1" + " " * 50_000 + "x"]) == 2
    assert "--price" in capsys.readouterr().err


# --- dates -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "table"),
    [
        ("refills", "[0001-01-01T00:00:00+12:00]", "rate"),
        ("refills", '["0001-01-01T00:00:00+12:00"]', "rate"),
        ("refills", "[9999-12-31T23:59:59-12:00]", "rate"),
        ("planned_cut", "9999-12-31", "job"),
        ("date", "0001-01-01", "job"),
    ],
)
def test_dates_beyond_every_log_are_refused(small_job, key, value, table):
    if key == "refills":
        small_job.change("tank", '"300 L"', "rate")
    assert "the year must be 1980 to 2100" in refused(small_job, key, value, table)


@pytest.mark.parametrize("command", ["touchup", "check"])
@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", "30 May", ""])
def test_day_of_the_touch_up_is_refused_before_any_work(small_job, tmp_path, capsys, monkeypatch, command, day):
    monkeypatch.setattr(run, "audited", lambda *_: pytest.fail("the work has begun"))
    more = ["--touchup"] if command == "check" else []
    assert cli.main([command, str(small_job.path), "-o", str(tmp_path / "out"), "--on", day, *more]) == 2
    assert capsys.readouterr().err.startswith("coverage-audit: --on: ")


def test_replicates_may_be_none_in_a_job_file(small_job):
    small_job.change("replicates", "0", "accuracy")
    assert read_job(small_job.path).settings.accuracy.replicates == 0
    assert "from 0 to 10000" in refused(small_job, "replicates", "-1", "accuracy")


# --- whole numbers and texts --------------------------------------------------------------------------


@pytest.mark.parametrize("number", ["9" * 5000, "0x" + "f" * 5000, "9" * 400])
@pytest.mark.parametrize(
    ("key", "table"), [("replicates", "accuracy"), ("width", "boom"), ("name", "job"), ("entry", "touchup")]
)
def test_huge_whole_numbers_are_refused(small_job, number, key, table):
    value = f"[{number}, 1]" if key == "entry" else number
    assert refused(small_job, key, value, table).startswith("job.toml")


def test_long_text_is_refused(small_job):
    assert "shorten it to at most 10000" in refused(small_job, "notes", f'"{"n" * 10_001}"', "job")


# --- names that no file can have ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "table"),
    [("files", "track"), ("boundary", "field"), ("exclude", "field"), ("intervals", "boom"), ("timezone", "job")],
)
@pytest.mark.parametrize("name", [LONG, "ä" * 200, "a/" * 3000, "x\\u007f/../" + LONG])
def test_names_longer_than_a_file_system_holds_in_a_job_file(small_job, key, table, name):
    value = f'["{name}"]' if key in ("files", "exclude") else f'"{name}"'
    assert refused(small_job, key, value, table).startswith(f"job.toml, {table}.{key}")


@pytest.mark.parametrize(
    "arguments",
    [
        ["check", LONG, "-o", "out"],
        ["check", "JOB", "-o", LONG],
        ["check", "JOB", "-o", f"{LONG}/{LONG}"],
        ["check", "--track", LONG, "--field", LONG, "--boom", "9 m", "--intervals", LONG, "-o", "out"],
        ["check", "--track", "t", "--field", LONG, "--boom", LONG, "--intervals", "log", "-o", "out"],
        ["demo", "-o", LONG],
        ["propose", LONG, "-o", "b.csv"],
        ["propose", "JOB", "-o", LONG],
        ["propose", "JOB", "-o", f"{LONG}/b.csv"],
        ["compare", LONG, LONG, "-o", "out"],
        ["compare", "JOB", LONG, "-o", "out"],
        ["compare", "JOB", "JOB", "-o", LONG],
        ["look", LONG],
        ["look", "JOB", "--timezone", LONG],
        ["look", "JOB", "--date", LONG],
        ["touchup", LONG, "-o", "out"],
        ["touchup", "JOB", "-o", LONG],
        ["proof", "keys", "-o", LONG],
        ["record", LONG, "-o", "out"],
        ["record", "JOB", "-o", LONG],
        ["season", LONG],
        ["day", LONG],
        ["day", "FARM", LONG],
        ["page", LONG, "--no-browser"],
        ["farm", "new", LONG],
        ["field", "add", LONG, "JOB"],
        ["field", "add", "FARM", LONG],
        ["receiver", LONG],
        ["receiver", "JOB", "--farm", LONG],
        ["manual", "-o", LONG],
    ],
)
def test_names_longer_than_a_file_system_holds_in_an_argument(small_job, tmp_path, monkeypatch, capsys, arguments):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "farm.toml").write_text("[machine.quad]\nboom.width = '9 m'\n")
    given = [{"JOB": str(small_job.path), "FARM": "."}.get(one, one) for one in arguments]
    assert cli.main(given) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert {path.name for path in tmp_path.iterdir()} == {"job", "farm.toml"}


# --- files of another kind ------------------------------------------------------------------------------


def test_a_file_of_another_kind_is_not_shown(small_job, capsys, tmp_path):
    small_job.write("boom.csv", "root:secret-word:0:0,and another\nmore\n")
    assert cli.main(["check", str(small_job.path), "-o", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert "secret" not in told
    assert "another" not in told
    assert "boom.csv, line 1: what stands in place 1 is no column" in told
    with pytest.raises(InputError, match='"sektion" is no column'):
        read_boom.parse_boom("on,off,sektion\n", "boom.csv", 1)


# --- the same bytes on every number of processors -----------------------------------------------------------


def test_summary_is_the_same_whatever_the_threads_of_the_linear_algebra():
    job = ROOT / "fixtures" / "one_pass_off" / "job.toml"
    command = [sys.executable, "-m", "coverage_audit", "check", str(job), "--json"]
    found = [
        subprocess.run(
            command, capture_output=True, check=True, cwd=ROOT, env=os.environ | {"OPENBLAS_NUM_THREADS": threads}
        ).stdout
        for threads in ("1", "2")
    ]
    assert json.loads(found[0])["schema"]
    assert found[0] == found[1]


# --- what setting up needs -------------------------------------------------------------------------------------


def test_every_library_that_is_imported_is_declared():
    """Their names for import differ from their names for installing in some cases."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    texts = [*project["dependencies"], *(text for extra in project["optional-dependencies"].values() for text in extra)]
    declared = {re.match(r"[A-Za-z0-9.-]+", text)[0].lower() for text in texts}
    other_names = {"pil": "pillow", "fpdf": "fpdf2", "markdown_it": "markdown-it-py"}
    used = set()
    for path in (ROOT / "coverage_audit").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            else:
                names = [node.module or ""] if isinstance(node, ast.ImportFrom) and not node.level else []
            used |= {name.partition(".")[0].lower() for name in names}
    used = {other_names.get(name, name) for name in used - {one.lower() for one in sys.stdlib_module_names}}
    assert used - {"coverage_audit", "js_lib_leaflet"} <= declared


def test_advice_for_the_extra_is_the_manual_s():
    advice = ".venv/bin/pip install '.[touchup]'"
    assert advice in (ROOT / "coverage_audit" / "manual" / "touchup.md").read_text(encoding="utf-8")
    assert advice in (ROOT / "coverage_audit" / "touchup" / "order.py").read_text(encoding="utf-8")
