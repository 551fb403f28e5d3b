"""One answer by every door, and one judgement of where and why a strip was missed in every paper."""

import dataclasses
import json
import re
from pathlib import Path

import make_demo as demo
import numpy as np
import pytest
from jobs import FIELD_100_X_60, job, log, parallel_passes

from coverage_audit import run
from coverage_audit.cli import command as cli
from coverage_audit.demo.truth import fault_words, truth
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.geojson import findings_geojson
from coverage_audit.papers.gpx import missed_gpx
from coverage_audit.papers.page import report_html
from coverage_audit.papers.summary import summary_dict
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.papers.words.answer import strip_chance
from coverage_audit.papers.words.display import SPACE, area_range
from coverage_audit.papers.words.passes import told_causes
from coverage_audit.passes.model import Fixed
from coverage_audit.passes.way import smooth_way
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.touchup import plan_touchup

ROOT = Path(__file__).parents[2]
ONE_PASS_OFF = ROOT / "fixtures" / "one_pass_off" / "job.toml"
WHERE = {"between passes", "headland", "field edge", "no-spray area", "late on", "early off"}


def plain(text):
    return text.replace(SPACE, " ")


# --- doors -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def recipe():
    """The manual's Python recipe."""
    chapter = (ROOT / "coverage_audit" / "manual" / "commands.md").read_text("utf-8")
    text = re.search(r"## From Python\n\n```python\n(.*?)print", chapter, re.DOTALL)[1]
    names = {}
    exec(text.replace("fixtures/one_pass_off/job.toml", ONE_PASS_OFF.as_posix()), names)  # noqa: S102 - our own page
    return names["audit"].result


def test_check_and_the_python_recipe_give_the_same_answer(recipe, capsys):
    assert cli.main(["check", str(ONE_PASS_OFF), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(summary_dict(recipe)))
    assert recipe.accuracy is not None
    assert not recipe.accuracy.asked


def test_touchup_tells_the_range_that_check_tells(recipe, tmp_path):
    told = next(line for line in terminal_text(recipe).splitlines() if "GPS error:" in line).strip()
    assert cli.main(["touchup", str(ONE_PASS_OFF), "-o", str(tmp_path), "--quiet"]) == 0
    assert plain(told) in plain((tmp_path / "report.html").read_text(encoding="utf-8"))
    plans = [tmp_path / "touchup.json", tmp_path / "beside" / "touchup.json"]
    assert cli.main(["check", str(ONE_PASS_OFF), "-o", str(tmp_path / "beside"), "--touchup", "--quiet"]) == 0
    one, other = (json.loads(path.read_text(encoding="utf-8")) for path in plans)
    assert one == other


def test_a_strip_has_one_probability_in_every_paper(recipe):
    """In the papers for programs, and in words where a person reads of the strip."""
    told = [strip["probability"] for strip in summary_dict(recipe)["missed_strips"]]
    features = json.loads(findings_geojson(recipe))["features"]
    kept = [one["properties"]["probability"] for one in features if one["properties"]["kind"] == "missed"]
    assert told == kept
    assert None not in told
    page, gpx = report_html(recipe), missed_gpx(recipe)
    for strip in recipe.answer.walk:
        assert f"; {strip_chance(strip)}." in page
        assert f"; {strip_chance(strip)};" in gpx


# --- one judgement -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo_audit(tmp_path_factory):
    read = read_job(demo.write_demo_job(tmp_path_factory.mktemp("demo")))
    accuracy = dataclasses.replace(read.settings.accuracy, replicates=0)
    return audit_job(dataclasses.replace(read, settings=dataclasses.replace(read.settings, accuracy=accuracy)))


def test_every_paper_tells_the_same_cause(demo_audit):
    told = {name: plain(text) for name, text in told_causes(demo_audit).items()}
    summary = summary_dict(demo_audit)
    strips = [*summary["missed_strips"], *summary["double_patches"]]
    assert {one["id"]: one["cause"]["words"] for one in strips} == told
    features = [one["properties"] for one in json.loads(findings_geojson(demo_audit))["features"]]
    assert all(one["cause"] == told[one["id"]] for one in features if one["kind"] in ("missed", "double"))
    terminal, gpx, page = plain(terminal_text(demo_audit)), missed_gpx(demo_audit), plain(report_html(demo_audit))
    walk = demo_audit.answer.walk
    assert len(walk) > 1
    for strip in walk:
        assert told[strip.id] in gpx
        assert strip not in walk[:5] or f"  {told[strip.id]}\n" in terminal
        assert told[strip.id] in page
    assert {one["where"] for one in strips} <= WHERE


def test_the_demos_faults_are_told_as_they_were_built_in(demo_audit):
    """Passes 6, 9 and 14 as simulated; each is named by its number in the report, in truth and finding alike."""
    wide, early, forgotten = (fault_words(fault, demo_audit) for fault in truth()["faults"])
    first, second, third = (demo_audit.passes.causes[name] for name in ("M1", "M2", "M3"))
    (pass_off,) = first.passes
    assert first.kind == "boom off"
    assert first.length_m == pytest.approx(26.0, abs=0.3)
    assert forgotten == f"pass {pass_off}: switch forgotten from 38 m to 64 m"
    assert second.kind == "spacing"
    assert wide == f"pass {second.passes[1]} driven 1 m too far from pass {second.passes[0]}"
    assert third.kind == "early off"
    assert early == f"pass {third.passes[0]}: switched off 11 m early"


def test_no_pass_of_the_demo_is_switched_wrong_where_no_fault_was_built_in(demo_audit):
    """11 m at one pass was built in; all else is the habit (0.15 s at 2.4 m/s) and the headland's inner edge.

    The first pass ends where the half lap bends, 2.1 m before the place that the driver switched by.
    """
    passes = demo_audit.passes.passes
    off = [value for one in passes for value in (one.on_late_m, one.off_early_m) if value is not None]
    assert sum(abs(value) > 2.5 for value in off) == 1
    assert max(off) == pytest.approx(11.0, abs=0.5)


def test_a_stop_with_jitter_is_one_stop_and_turns_nothing():
    """2 m/s north, 40 s still with a jump of 0.12 m out and back within a second, north again: one stand, heading 0."""
    time = np.arange(0.0, 120.0, 0.2)
    y = np.clip(time, 0, 40) * 2.0 + np.clip(time - 80, 0, None) * 2.0
    x = np.where((time > 60.0) & (time < 60.5), 0.12, 0.0)
    way = smooth_way(Fixed(time, x, y, 0.0, None))
    edges = np.flatnonzero(np.diff(way.standing.astype(int)))
    assert len(edges) == 2
    assert np.abs(np.degrees(way.heading_rad)).max() < 1.0


# --- a cause fits its place and direction ------------------------------------------------------------


def boom_off_between(low_m, high_m, numbers, x_m=(5.0, 15.0, 25.0, 35.0, 45.0, 55.0)):
    """Six passes of a 10 m boom at 2.5 m/s; those of *numbers* are off from *low_m* to *high_m* of the field."""
    times, points, intervals = parallel_passes(x_m, 0.0, 100.0)
    rows = []
    for k, (on, off) in enumerate(intervals, start=1):
        first, last = (low_m, high_m) if k % 2 else (100.0 - high_m, 100.0 - low_m)
        cut = [(on, on + first / 2.5), (on + last / 2.5, off)] if k in numbers else [(on, off)]
        rows += [(a, b) for a, b in cut if b > a]
    return job(log(times, points), rows, FIELD_100_X_60)


def only_cause(made):
    audit = audit_job(made)
    (strip,) = audit.missed_strips
    return strip, audit.passes.causes[strip.id], told_causes(audit)[strip.id]


def test_a_strip_across_the_passes_is_not_between_two_of_them():
    strip, cause, words = only_cause(boom_off_between(40.0, 44.0, (2, 3, 4, 5)))
    assert strip.area_m2 == pytest.approx(160.0, rel=0.01)
    assert (cause.kind, cause.passes) == ("boom off across", (2, 3, 4, 5))
    assert plain(words).startswith("boom off across passes 2 to 5 (")
    assert strip.where == "early off"


@pytest.mark.parametrize(
    ("low", "high", "where", "words"),
    [
        (30.0, 56.0, "early off", "boom off for 26.0 m in pass 3 ("),
        (0.0, 8.0, "late on", "boom on 8.0 m late entering pass 3 ("),
        (88.0, 100.0, "early off", "boom off 12.0 m early leaving pass 3 ("),
    ],
)
def test_a_switch_is_told_by_where_along_its_pass_it_was_off(low, high, where, words):
    strip, _, told = only_cause(boom_off_between(low, high, (3,)))
    assert strip.where == where
    assert plain(told).startswith(words)


def test_a_pass_driven_with_the_boom_off_is_no_spacing():
    strip, cause, _ = only_cause(boom_off_between(0.0, 100.0, (3,)))
    assert (cause.kind, cause.passes, strip.where) == ("boom off", (3,), "between passes")


def test_a_shut_section_is_told_as_one():
    """The fixture's middle section is shut for 25 m; the boom as a whole stayed on."""
    audit = audit_job(read_job(ROOT / "fixtures" / "sections_by_log" / "job.toml"))
    assert plain(told_causes(audit)["M1"]).startswith("a section off for 25.0 m in pass 1 (")
    assert audit.missed_strips[0].where == "between passes"


def test_ground_in_a_gap_of_the_log_is_not_told_as_boom_off():
    made = boom_off_between(0.0, 0.0, ())
    (one,) = made.logs
    clock = one.fixes.time_s - one.fixes.time_s[0]
    lost = (clock > 10.0) & (clock < 36.0)  # 65 m: too far to bridge
    kept = dataclasses.replace(one.fixes, **{name: value[~lost] for name, value in vars(one.fixes).items()})
    audit = audit_job(dataclasses.replace(made, logs=(dataclasses.replace(one, fixes=kept),)))
    (place,) = audit.unknown_places
    assert audit.missed_strips == ()  # nobody can say that it was missed
    assert place.area_m2 == pytest.approx(audit.area_m2.unknown, rel=1e-6)
    assert audit.area_m2.unknown == pytest.approx(audit.area_m2.missed, rel=1e-6)
    assert audit.passes.causes[place.id].kind == "gap"
    assert "no positions logged" in told_causes(audit)[place.id]


@pytest.mark.parametrize(("low", "high"), [(30.0, 56.0), (0.0, 8.0), (40.0, 44.0)])
def test_no_switch_is_blamed_where_nobody_logged_the_boom(low, high):
    made = boom_off_between(low, high, (3,) if high != 44.0 else (2, 3, 4, 5))
    rows = tuple(dataclasses.replace(one, how="proposed") for one in made.intervals)
    strip, cause, words = only_cause(dataclasses.replace(made, intervals=rows))
    assert cause.kind == "assumed off"
    assert strip.where not in ("late on", "early off")
    assert words.startswith("not among the places assumed to be sprayed, pass")


# --- with a touch-up plan ------------------------------------------------------------------------------


def test_a_plan_changes_the_first_line_in_every_paper_alike():
    audit = audit_job(boom_off_between(30.0, 56.0, (3,)))
    plan = plan_touchup(audit)
    left = dataclasses.replace(plan, strips=tuple(dataclasses.replace(one, advice="leave") for one in plan.strips))
    planned = run.with_plan(audit, left)
    lines = {run.summary(one)["decision"]["sentence"] for one in (audit, planned)}
    assert len(lines) == 2
    told = run.summary(planned)["decision"]["sentence"]
    papers = (terminal_text(planned), report_html(planned), run.notebook_html(planned))
    assert all(told in plain(paper) for paper in papers)
    assert planned.answer is planned.answer  # worked out once


# --- ranges ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "units", "told"),
    [
        (853.0, 1400.0, "metric", ("853 m²", "1 400 m²")),
        (1010.0, 1400.0, "metric", ("0.10 ha", "0.14 ha")),
        (0.0, 1400.0, "metric", ("nothing", "0.14 ha")),
        (500.0, 2000.0, "us", ("5,382 ft²", "21,528 ft²")),
    ],
)
def test_a_range_is_told_in_one_unit(low, high, units, told):
    """10.7639 ft2 to the m2 (0.3048 m to the foot by definition)."""
    assert tuple(plain(end) for end in area_range(low, high, units)) == told


def test_a_range_that_leaves_out_the_logs_own_figure_says_why(recipe):
    figure = dataclasses.replace(recipe.accuracy.missed_m2, low90=120.0)
    assert figure.observed < figure.low90
    beyond = dataclasses.replace(recipe, accuracy=dataclasses.replace(recipe.accuracy, missed_m2=figure))
    (told,) = [line for line in terminal_text(beyond).splitlines() if "GPS error:" in line]
    assert "; more than the 100 m² logged, as GPS error also hides some." in plain(told)
