"""The page in a real browser with every request refused and recorded."""

from __future__ import annotations

import dataclasses
import importlib.util
import os
from pathlib import Path

import pytest
from browser import ARGUMENTS, CHROMIUM
from jobs import worked_job
from playwright.sync_api import sync_playwright

from coverage_audit.facts import Caution
from coverage_audit.jobs.settings import RateSettings
from coverage_audit.papers import page as report
from coverage_audit.recipe.audit import audit_job

HOSTILE = "</title><script>alert(1)</script><img src=x onerror=alert(2)>"


def load_builder():
    """Load the module of made-up audits that lies beside this file."""
    spec = importlib.util.spec_from_file_location("audit_builder", Path(__file__).parents[1] / "audit_builder.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


builder = load_builder()


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("chromium is missing: the report cannot be tested; install it (Debian: apt install chromium)")
        pytest.skip("chromium is not installed, so no page can be opened")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


class Sheet:
    """A report opened from disk, with what went wrong or was asked for while it stood open."""

    def __init__(self, browser, path, *, width=1280, scripts=True, unfold=True):
        self.context = browser.new_context(
            viewport={"width": width, "height": 844}, java_script_enabled=scripts, reduced_motion="reduce"
        )
        self.page = self.context.new_page()
        self.faults, self.requests, self.dialogs = [], [], []
        self.page.on("console", lambda message: self.faults.append(message.text))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("dialog", self._dialog)
        self.page.route("**/*", self._route)
        self.url = path.as_uri()
        self.page.goto(self.url)
        if unfold and scripts:
            self.page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")

    def _route(self, route):
        self.requests.append(route.request.url)
        if route.request.url == self.url:
            route.continue_()
        else:
            route.abort()

    def _dialog(self, dialog):
        self.dialogs.append(dialog.message)
        dialog.dismiss()

    def view(self):
        """Centre and zoom of the live map."""
        return self.page.evaluate("[map_live.getCenter().lat, map_live.getCenter().lng, map_live.getZoom()]")


@pytest.fixture
def open_sheet(browser, tmp_path):
    sheets = []

    def opener(audit, **options):
        path = tmp_path / "report.html"
        path.write_text(report.report_html(audit), encoding="utf-8")
        sheets.append(Sheet(browser, path, **options))
        return sheets[-1]

    yield opener
    for sheet in sheets:
        sheet.context.close()


def test_the_page_opens_without_a_fault_or_a_request(open_sheet):
    sheet = open_sheet(builder.large_job())
    assert sheet.page.locator("#map_live path.map-once").count() == 1
    assert sheet.page.locator("#map_live .leaflet-control-scale-line").inner_text().endswith("0 m")
    assert not sheet.page.locator("svg.still").is_visible()
    assert sheet.faults == []
    assert sheet.requests == [sheet.url]


def test_a_us_page_has_a_scale_bar_in_feet(open_sheet):
    sheet = open_sheet(builder.large_job("us"))
    assert sheet.page.locator("#map_live .leaflet-control-scale-line").inner_text().endswith(" ft")


def test_missed_and_double_ground_are_hatched_not_coloured(open_sheet):
    sheet = open_sheet(builder.worked_figure())
    fill = "element => getComputedStyle(element).fill"
    assert "#hatch-missed" in sheet.page.locator("#map_live path.map-perhaps").evaluate(fill)
    assert "#hatch-double" in sheet.page.locator("#map_live path.map-double").evaluate(fill)


def test_layers_switch_and_keep_their_order(open_sheet):
    sheet = open_sheet(builder.large_job())
    box = sheet.page.get_by_role("checkbox", name="Sprayed once")
    kinds = "[...document.querySelectorAll('#map_live path')].map(path => path.getAttribute('class').split(' ')[0])"
    before = sheet.page.evaluate(kinds)
    box.uncheck()
    assert sheet.page.locator("#map_live path.map-once").count() == 0
    box.check()
    # Sprayed ground lies at the bottom; switched on again it must not hide the strips.
    assert sheet.page.evaluate(kinds) == before
    assert before[0] == "map-once"
    sheet.page.get_by_role("checkbox", name="Driven with the boom off").check()
    assert sheet.page.locator("#map_live path.map-transport").count() == len(builder.large_job().layers.transport)


@pytest.mark.parametrize("how", ["click", "keyboard"])
def test_a_strip_in_the_list_moves_the_map(open_sheet, how):
    sheet = open_sheet(builder.large_job())
    before = sheet.view()
    row = sheet.page.locator("tr[data-find=M4]")
    if how == "click":
        row.locator("td[data-label=Length]").click()
    else:
        row.locator("a.jump").focus()
        sheet.page.keyboard.press("Enter")
    lat, lon, zoom = sheet.view()
    assert zoom > before[2] + 0.5
    assert row.evaluate("row => map_live.getBounds().contains([row.dataset.lat, row.dataset.lon].map(Number))")
    assert (lat, lon) != (before[0], before[1])
    assert sheet.page.locator("#map_live path.map-chosen").count() == 1
    assert sheet.page.locator("#status").inner_text().startswith("M4 ·")
    sheet.page.get_by_role("button", name="Whole field").click()
    assert sheet.view()[2] == pytest.approx(before[2], abs=0.11)  # one zoom step of the map is 0.1
    assert sheet.page.locator("#map_live path.map-chosen").count() == 0


def resize(sheet, width):
    """Give the window another width, and wait until the map has taken it."""
    sheet.page.set_viewport_size({"width": width, "height": 844})
    taken = "(wide) => new Promise((done) => { const look = () => Math.abs(map_live.getSize().x - wide) < 100 ? done()"
    sheet.page.evaluate(f"{taken} : requestAnimationFrame(look); look(); }})", width)


def test_a_map_made_narrower_shows_the_whole_field_again_unless_one_looks_closer(open_sheet):
    sheet = open_sheet(builder.large_job())
    resize(sheet, 390)
    assert sheet.page.evaluate("map_live.getBounds().contains(L.latLngBounds(map_opening))")
    sheet.page.locator("tr[data-find=M4] a.jump").click()
    closer = sheet.view()[2]
    resize(sheet, 700)
    assert sheet.view()[2] == closer


def test_small_findings_are_named_on_coming_nearer(open_sheet):
    sheet = open_sheet(builder.large_job())
    tags = sheet.page.locator("#map_live .tag")
    assert "M1" in tags.all_inner_texts()
    assert "D1" not in tags.all_inner_texts()
    sheet.page.locator("tr[data-find=M12] a.jump").click()
    assert "M12" in tags.all_inner_texts()
    sheet.page.get_by_role("checkbox", name="Missed").uncheck()
    assert "M12" not in tags.all_inner_texts()


def test_a_strip_on_the_map_finds_its_row(open_sheet):
    sheet = open_sheet(builder.worked_figure())
    # Scrolled into view by the browser; the left part of the strip is clear of its label.
    sheet.page.locator("#map_live path.map-find-missed").click(position={"x": 60, "y": 3})
    assert sheet.page.locator("tr.chosen").get_attribute("data-find") == "M1"


def test_a_place_beyond_the_field_is_ringed(open_sheet):
    sheet = open_sheet(builder.large_job())
    sheet.page.locator("tr[data-find=O1] a.jump").click()
    assert sheet.page.locator("#map_live path.map-chosen").count() == 1


def test_a_track_called_like_a_script_runs_nothing(open_sheet):
    audit = builder.worked_figure(name=HOSTILE, operator=HOSTILE, notes=HOSTILE)
    audit = dataclasses.replace(
        audit,
        sprayed_fields=(HOSTILE,),
        cautions=(Caution("no checksums", file=HOSTILE),),
        inputs=(dataclasses.replace(audit.inputs[0], file=HOSTILE, dropped={HOSTILE: 1}),),
        missed_strips=(dataclasses.replace(audit.missed_strips[0], where=HOSTILE),),
    )
    sheet = open_sheet(audit)
    sheet.page.locator("tr[data-find=M1] a.jump").click()
    assert sheet.dialogs == []
    assert sheet.page.locator("img").count() == 0
    assert sheet.faults == []
    assert sheet.requests == [sheet.url]
    assert sheet.page.locator("h1").inner_text() == HOSTILE
    assert "<script>alert(1)</script>" in sheet.page.title()


def test_with_scripts_off_verdict_picture_and_list_remain(open_sheet):
    sheet = open_sheet(builder.large_job(), scripts=False)
    assert sheet.page.locator("#verdict .headline").inner_text().startswith("This log cannot say")
    assert sheet.page.locator("#figures strong").count() == 3
    picture = sheet.page.locator("svg.still")
    assert picture.is_visible()
    assert picture.bounding_box()["height"] > 300
    assert sheet.page.locator("[data-goto]").first.is_visible()
    assert not sheet.page.locator("#map_live").is_visible()
    assert sheet.page.locator(".legend li").first.is_visible()


@pytest.mark.parametrize("scripts", [True, False])
def test_a_phone_at_the_field_edge(open_sheet, scripts):
    sheet = open_sheet(builder.large_job("us"), width=390, scripts=scripts)
    assert sheet.page.locator("body").bounding_box()["width"] <= 390
    # No element may stick out to the right, or the page scrolls sideways.
    parts = ("main", ".facts", ".places", ".chart", "footer") if scripts else ("main", ".walk", "footer")
    boxes = [sheet.page.locator(part).first.bounding_box() for part in parts]
    assert all(box["x"] + box["width"] <= 390 for box in boxes)
    if scripts:
        assert sheet.page.evaluate("document.documentElement.scrollWidth") <= 390
    for target in (".walk a.jump", ".walk a.geo", ".fold summary"):
        assert sheet.page.locator(target).first.bounding_box()["height"] >= 44  # common practice for a fingertip [px]


def test_tap_targets_of_the_map_fit_a_fingertip(open_sheet):
    sheet = open_sheet(builder.worked_figure(), width=390)
    for target in (".leaflet-control-zoom-in", "#whole", "#switches label"):
        box = sheet.page.locator(target).first.bounding_box()
        assert min(box["height"], box["width"]) >= 44


def test_print_shows_the_still_picture_and_the_largest_strips(open_sheet):
    sheet = open_sheet(builder.large_job(), unfold=False)
    sheet.page.emulate_media(media="print")
    assert sheet.page.locator("svg.still").is_visible()
    assert not sheet.page.locator("#map_live").is_visible()
    assert sheet.page.locator("[data-goto]").first.is_visible()
    assert not sheet.page.locator("tr[data-find=M1]").is_visible()  # folded away: a sheet of paper, not a book


def test_the_rate_layer_switches_on_with_its_legend_and_loads_nothing(open_sheet):
    rated = audit_job(worked_job(1.0, rate=RateSettings(100.0, flow_l_min=15.0, label_max_l_ha=150.0)))
    sheet = open_sheet(rated)
    switch = sheet.page.locator("#switches label", has_text="Rate: darker got more").locator("input")
    assert not switch.is_checked()
    switch.check()
    assert sheet.page.locator("#map_live img.leaflet-image-layer").count() == 1
    assert sheet.page.locator("#switches .legend li").count() == 8
    switch.uncheck()
    assert sheet.page.locator("#switches .legend").count() == 0
    sheet.page.locator("#row-A1 a.jump").click()
    assert "Area" in sheet.page.locator("#row-A1 td").first.get_attribute("data-label")
    assert sheet.faults == []
    assert all(request == sheet.url or request.startswith("data:") for request in sheet.requests)
