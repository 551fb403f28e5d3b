"""README and manual show what the program prints: their outputs and the job file are compared with the real ones."""

import re
from pathlib import Path

import make_docs
import pytest

from coverage_audit.jobs.read import read_job

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def without_numbers(text):
    """Library versions may move a last digit; words, order and units may not move."""
    return re.sub(r"[\d   .,]+", "#", text)


MANUAL = "".join(path.read_text(encoding="utf-8") for path in make_docs.MANUAL.glob("*.md"))


@pytest.mark.parametrize("command", sorted(make_docs.COMMANDS))
def test_printed_output_is_the_manuals(command, tmp_path):
    found = make_docs.block(command).search(MANUAL)
    assert found, f"the manual shows no output of {command}"
    told = make_docs.output_of(command, tmp_path / "out")
    assert without_numbers(found[2].strip()) == without_numbers(told)
    opening = make_docs.block(command, "opening").search(README)
    if command.endswith("demo"):
        assert without_numbers(opening[2].strip()) == without_numbers(make_docs.opening(told))


def test_readme_is_short():
    assert len(README.split()) < 1000


def test_readme_has_the_command_that_the_checks_run():
    """What .ci/run takes from it: the fenced block after the marker."""
    found = re.search(r"<!-- test command -->\n```sh\n(.*)\n```", README)
    assert found[1].endswith("-m pytest -q")


def test_files_that_the_readme_names_are_there():
    for name in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / name).exists(), name


def test_committed_report_is_the_demos(tmp_path):
    make_docs.output_of("coverage-audit demo", tmp_path / "out")
    fresh = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
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
    assert job.settings.boom.width_m == 9.0
    assert job.settings.report.units == "us"


def test_pictures_and_reports_stay_small():
    assert sum(path.stat().st_size for path in (ROOT / "reports").iterdir()) < 2_000_000
