"""Files, field sheet and report section of a touch-up plan."""

import dataclasses
import json
import re
import shutil
import subprocess
from pathlib import Path

import geopandas
import gpxpy
import numpy as np
import pytest
import xmlschema
from audit_builder import box_strip, large_job, make_audit, worked_figure
from browser import ARGUMENTS, CHROMIUM
from jobs import worked_job
from playwright.sync_api import sync_playwright
from pyproj import Geod

from coverage_audit import run
from coverage_audit.cli import main
from coverage_audit.jobs.settings import RateSettings, TouchupSettings
from coverage_audit.papers.figures.touchup import touchup_sheet
from coverage_audit.papers.page import report_html
from coverage_audit.papers.touchup_files import touchup_geojson, touchup_gpx, touchup_json
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.touchup import plan_touchup

FIXTURE = Path(__file__).parents[2] / "fixtures" / "touchup" / "three_strips_in_order"
SCHEMA = Path(__file__).parents[3] / "shared" / "corpus" / "schema" / "gpx1_1.xsd"
ENTRY = (54.25, -1.5)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("plan")
    assert main(["touchup", str(FIXTURE / "job.toml"), "-o", str(out), "--quiet", "--on", "2026-06-01"]) == 0
    return out


def test_files_written(folder):
    """The plan's papers, and the report's: their first line is the plan's as well."""
    plan = {"touchup.json", "touchup.gpx", "touchup.geojson", "touchup_sheet.html"}
    names = {path.name for path in folder.iterdir()}
    assert names == {".coverage-audit.json", *plan, *run.REPORT_PAPERS}


def test_json_has_the_promised_keys(folder):
    found = json.loads((folder / "touchup.json").read_text(encoding="utf-8"))
    assert {"strips", "path_m", "time_s", "mix_l", "after"} <= found.keys()
    assert {"missed_m2", "double_m2"} <= found["after"].keys()
    for strip in found["strips"]:
        assert {"id", "advice", "allowed", "reason", "cured_m2", "resprayed_m2"} <= strip.keys()
        assert strip["advice"] in {"leave", "spot", "boom"}
    assert found["dates"]["on"] == "2026-06-01"


@pytest.mark.skipif(not SCHEMA.is_file(), reason="no GPX schema beside the checkout")
@pytest.mark.parametrize("name", ["strip_with_sections", "three_strips_in_order", "tie"])
def test_gpx_is_valid_by_the_gpx_1_1_schema(name, tmp_path):
    assert main(["touchup", str(FIXTURE.parent / name / "job.toml"), "-o", str(tmp_path), "--quiet"]) == 0
    xmlschema.XMLSchema(SCHEMA).validate(tmp_path / "touchup.gpx")


def test_gpx_read_back_by_gpxpy_and_gdal(folder):
    """Two general-purpose readers find the same places; the track is as long as the plan says."""
    found = json.loads((folder / "touchup.json").read_text(encoding="utf-8"))
    paper = gpxpy.parse((folder / "touchup.gpx").read_text(encoding="utf-8"))
    stops = geopandas.read_file(folder / "touchup.gpx", layer="waypoints")
    tracks = geopandas.read_file(folder / "touchup.gpx", layer="tracks")
    routes = geopandas.read_file(folder / "touchup.gpx", layer="routes")
    assert [point.name for point in paper.waypoints] == stops["name"].tolist()
    assert stops["name"].tolist() == ["Start", "1 M1", "2 M2", "3 M3"]
    assert [point.latitude for point in paper.waypoints] == pytest.approx(stops.geometry.y.tolist(), abs=1e-9)
    assert all("boom on" in text for text in stops["desc"][1:])
    assert len(routes) == 1
    assert len(paper.routes[0].points) == 7
    length = Geod(ellps="WGS84").geometry_length(tracks.geometry.iloc[0])
    # rounding to 1e-8 degree and drawing arcs within 5 cm shortens the way by less than a part in a thousand
    assert length == pytest.approx(found["path_m"], rel=1e-3)


@pytest.mark.skipif(shutil.which("gpsbabel") is None, reason="gpsbabel is not installed")
def test_gpx_read_back_by_gpsbabel(folder, tmp_path):
    target = tmp_path / "out.csv"
    command = ["gpsbabel", "-w", "-i", "gpx", "-f", str(folder / "touchup.gpx"), "-o", "csv", "-F", str(target)]
    subprocess.run(command, check=True, capture_output=True)
    lines = target.read_text(encoding="utf-8").splitlines()
    assert sum("boomon" in line for line in lines) == 3  # its CSV leaves out spaces


def test_geojson_is_read_by_gdal(folder):
    found = geopandas.read_file(folder / "touchup.geojson")
    assert found["kind"].value_counts().to_dict() == {"strip": 3, "spray": 3, "stop": 3, "way": 1}
    assert found.geometry.is_valid.all()


def test_check_with_touchup_shows_the_section(tmp_path, capsys):
    assert main(["check", str(FIXTURE / "job.toml"), "-o", str(tmp_path), "--touchup"]) == 0
    capsys.readouterr()
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Is a touch-up pass worth it?" in page
    assert (tmp_path / "touchup.json").is_file()
    assert (tmp_path / "summary.json").is_file()


def test_check_alone_plans_nothing(tmp_path):
    assert main(["check", str(FIXTURE / "job.toml"), "-o", str(tmp_path), "--quiet"]) == 0
    assert "touch-up pass worth" not in (tmp_path / "report.html").read_text(encoding="utf-8")
    assert not (tmp_path / "touchup.json").exists()


def test_json_option_prints_the_file_and_nothing_else(tmp_path, capsys):
    assert main(["touchup", str(FIXTURE / "job.toml"), "-o", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads((tmp_path / "touchup.json").read_text(encoding="utf-8"))


def test_terminal_text_tells_plan_way_and_cautions(tmp_path, capsys):
    assert main(["touchup", str(FIXTURE / "job.toml"), "-o", str(tmp_path)]) == 0
    told = capsys.readouterr().out.replace("\u00a0", " ")
    assert told.startswith("Spray 3 strips with the boom")
    assert "1. M1: boom on" in told
    assert "inversion" in told


@pytest.mark.parametrize("day", ["tomorrow", "2020-01-01"])
def test_bad_day_is_told_and_nothing_is_written(day, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["touchup", str(FIXTURE / "job.toml"), "-o", str(out), "--on", day]) == 2
    assert "--on" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.parametrize(
    ("extra", "what"), [(["--on", "2026-06-01", "-o", "out"], "--on"), (["--touchup", "--json"], "--touchup")]
)
def test_options_of_check_without_effect_are_refused(extra, what, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["check", str(FIXTURE / "job.toml"), *extra]) == 2
    assert what in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def audit_with_entry(audit, **changes):
    given = TouchupSettings(entry_deg=ENTRY, value_m2=1.0, **changes)
    made = dataclasses.replace(audit.job.settings, touchup=given)
    return dataclasses.replace(audit, job=dataclasses.replace(audit.job, settings=made))


def test_us_units_throughout():
    audit = audit_with_entry(large_job("us"))
    plan = plan_touchup(audit)
    page = touchup_sheet(audit, plan)
    words = re.sub(r"<svg.*?</svg>|<style>.*?</style>", "", page, flags=re.DOTALL)
    assert "gal of mix" in words.replace("\u00a0", " ")
    assert not re.search(r"\d\u00a0(m|L|m²|ha|L/ha)\b", words)


def test_names_from_files_are_escaped():
    audit = audit_with_entry(worked_figure(name="<script>alert(1)</script>"))
    plan = plan_touchup(audit)
    for page in (touchup_sheet(audit, plan), report_html(run.with_plan(audit, plan))):
        assert "<script>alert(1)" not in page
    assert "<script>" not in touchup_gpx(audit, plan)
    assert json.loads(touchup_geojson(audit, plan))
    assert json.loads(touchup_json(audit, plan))


def test_without_any_rate_the_mix_is_null_not_nought():
    audit = audit_with_entry(worked_figure(rate=RateSettings()))
    audit = dataclasses.replace(audit, volume=dataclasses.replace(audit.volume, over_swept_l_ha=None))
    found = json.loads(touchup_json(audit, plan_touchup(audit)))
    assert found["mix_l"] is None
    assert found["strips"][0]["advice"] != "leave"


def test_nothing_missed_is_nothing_to_do():
    audit = audit_with_entry(make_audit(worked_figure().layers.field, worked_figure().layers.passes, [], []))
    plan = plan_touchup(audit)
    found = json.loads(touchup_json(audit, plan))
    assert found["strips"] == []
    assert found["headline"].startswith("Nothing to go back for")
    assert touchup_sheet(audit, plan)


# --- pages in a browser -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        pytest.skip("chromium is not installed, so no page can be opened")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


def many_strips(name="Brackenhow"):
    """Twenty strips and every sentence that a sheet may carry, under a long name."""
    field = large_job().layers.field
    strips = [
        box_strip(f"M{5 * row + column + 1}", (24 + 32 * column, 30 + 45 * row, 46 + 32 * column, 32 + 45 * row))
        for row in range(4)
        for column in range(5)
    ]
    audit = make_audit(field, large_job().layers.passes, strips, [], settings=large_job().job.settings)
    made = dataclasses.replace(audit.job.settings, name=name)
    return audit_with_entry(dataclasses.replace(audit, job=dataclasses.replace(audit.job, settings=made)))


def sheets():
    worked = audit_job(worked_job(rate=RateSettings(100.0, 15.0)))
    crowded = many_strips("A field with a name that somebody made up to see how long it may become " * 3)
    return {"worked": (worked, plan_touchup(worked)), "crowded": (crowded, plan_touchup(crowded))}


@pytest.fixture(scope="module")
def pages():
    return {name: touchup_sheet(audit, plan) for name, (audit, plan) in sheets().items()}


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["worked", "crowded"])
def test_field_sheet_prints_on_one_page(browser, pages, name, paper, tmp_path):
    path = tmp_path / "sheet.html"
    path.write_text(pages[name], encoding="utf-8")
    page = browser.new_page()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    printed = page.pdf(format=paper, print_background=True)
    page.close()
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []


@pytest.mark.parametrize("name", ["worked", "crowded"])
def test_field_sheet_fits_a_phone(browser, pages, name, tmp_path):
    path = tmp_path / "sheet.html"
    path.write_text(pages[name], encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.get_by_text("Start").first.is_visible()
    page.close()


def test_report_section_fits_a_phone(browser, tmp_path):
    audit = many_strips()
    path = tmp_path / "report.html"
    path.write_text(report_html(run.with_plan(audit, plan_touchup(audit))), encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 844})
    faults = []
    page.on("console", lambda message: faults.append(message.text))
    page.goto(path.as_uri())
    page.locator("#touchup summary").first.click()
    page.locator(".touch-strip summary").first.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.locator(".touch-options").first.is_visible()
    assert faults == []
    page.close()


def test_arrows_and_plates_stand_on_the_way():
    audit = audit_with_entry(worked_figure())
    page = touchup_sheet(audit, plan_touchup(audit))
    assert page.count("touch-plate") >= 1
    assert page.count('class="touch-arrow"') >= 1
    assert not np.isnan([float(x) for x in re.findall(r'cx="([-\d.]+)"', page)]).any()
