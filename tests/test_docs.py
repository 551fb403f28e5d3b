"""README and manual show what the program prints: their outputs and the job file are compared with the real ones."""

import functools
import importlib
import re
from pathlib import Path

import make_docs
import pytest

from coverage_audit.jobs.read import read_job

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """Output and folder of each command, run once."""
    return functools.cache(lambda command: _run(command, tmp_path_factory.mktemp("docs") / "out"))


def _run(command, folder):
    return make_docs.output_of(command, folder), folder


def without_numbers(text):
    """Library versions may move a last digit; words, order and units may not move."""
    return re.sub(r"[\d   .,]+", "#", text)


MANUAL = "".join(path.read_text(encoding="utf-8") for path in make_docs.MANUAL.glob("*.md"))


@pytest.mark.parametrize("command", sorted(make_docs.COMMANDS))
def test_printed_output_is_the_manuals(command, printed):
    found = make_docs.block(command).search(MANUAL)
    assert found, f"the manual shows no output of {command}"
    told, _ = printed(command)
    assert without_numbers(found[2].strip()) == without_numbers(told)
    opening = make_docs.block(command, "opening").search(README)
    if command.endswith("demo"):
        assert without_numbers(opening[2].strip()) == without_numbers(make_docs.opening(told))


def test_readme_is_short():
    assert len(README.split()) < 1000


def test_readme_has_the_command_that_the_checks_run():
    """What .ci/run takes from it: the fenced block after the marker."""
    found = re.search(r"<!-- test command -->\n```sh\n(.*)\n```", README)
    assert found[1].endswith("-m pytest -q -n auto")


def test_files_that_the_readme_names_are_there():
    for name in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / name).exists(), name


def test_committed_report_is_the_demos(printed):
    _, folder = printed("coverage-audit demo")
    fresh = (folder / "report.html").read_text(encoding="utf-8")
    kept = (ROOT / "reports" / "demo.html").read_text(encoding="utf-8")
    titles = re.compile(r"<h[12][^>]*>.*?</h[12]>", re.DOTALL)
    assert titles.findall(kept) == titles.findall(fresh)
    assert len(kept) == pytest.approx(len(fresh), rel=0.02)


def test_readme_job_file_is_accepted(tmp_path):
    """The example job, its files swapped for a fixture's, passes the schema."""
    text = re.search(r"```toml\n(.*?)```", README, re.DOTALL)[1]
    fixture = ROOT / "fixtures" / "one_pass_off"
    text = text.replace("creek-side.geojson", (fixture / "field.geojson").as_posix())
    text = text.replace('"track.gpx"', f'"{(fixture / "track.gpx").as_posix()}"')
    text = text.replace('"boom.csv"', f'"{(fixture / "boom.csv").as_posix()}"')
    text = text.replace('exclude = ["pond.geojson"]', "exclude = []")
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    job = read_job(path)
    assert job.settings.boom.width_m == pytest.approx(9.144)  # 30 ft of 0.3048 m exactly
    assert job.settings.report.units == "us"


DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_room_has_its_row():
    rooms = {path.parent.name for path in (ROOT / "coverage_audit").glob("*/__init__.py")}
    table = DEVELOPERS.split("| room | comes in")[1].split("\n\n")[0]
    assert rooms <= {name for row in table.splitlines() for name in re.findall(r"`([a-z]+)`", row.split("|")[1])}


def test_journey_of_an_interval_names_functions_as_they_are():
    journey = DEVELOPERS.split("### One boom interval's journey")[1].split("\n#")[0]
    names = re.findall(
        r"`([a-z_]+(?:\.[a-z_]+)+)`", "".join(line.split("|")[2] for line in journey.splitlines() if "|" in line)
    )
    assert len(names) >= 20
    for name in names:
        module, _, function = name.rpartition(".")
        assert callable(getattr(importlib.import_module(f"coverage_audit.{module}"), function)), name


def test_modules_that_are_named_are_there():
    """Names such as `passes.causes`: a module, or something in one."""
    package = ROOT / "coverage_audit"
    rooms = "|".join(path.parent.name for path in package.glob("*/__init__.py"))
    for name in re.findall(rf"`((?:{rooms})\.[a-z_.]+)`", DEVELOPERS):
        found = package / name.replace(".", "/")
        above = importlib.import_module(f"coverage_audit.{name.rpartition('.')[0]}")
        assert found.is_dir() or found.with_suffix(".py").exists() or hasattr(above, name.rpartition(".")[2]), name


def test_pictures_and_reports_stay_small():
    assert sum(path.stat().st_size for path in (ROOT / "reports").iterdir()) < 2_000_000


def test_smallest_skips_of_the_manual_are_the_programs():
    """Tenths of a metre; a library's other last digit may round one of eight figures over."""
    found = make_docs.OUTLOOK.search(MANUAL)
    told, wanted = (re.findall(r"[\d.]+(?= m)", text) for text in (found[2], make_docs.outlook_rows()))
    assert len(told) == 8
    assert [float(one) for one in told] == pytest.approx([float(one) for one in wanted], abs=0.101)
    assert float(told[0]) > float(told[-2]) >= 0.3  # corrections see more, and nothing narrower is listed
