"""The whole way in real browsers: from an empty folder and a phone's log to the answer; mouse, touch and keyboard."""

from __future__ import annotations

import datetime as dt
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from browser import ARGUMENTS, CHROMIUM
from phone_log import PLACE, phone_log
from playwright.sync_api import Error, expect, sync_playwright

from coverage_audit.cli import command as cli
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.page.desk import Desk

LOG = phone_log(scale=0.45)
expect.set_options(timeout=60_000)  # a busy machine must not fail a test
FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
PLAIN = {"color_scheme": "null", "reduced_motion": "null", "forced_colors": "null", "contrast": "null"}
"""Firefox knows no such wishes under this driver."""

KEPT = '\n[machine.quad]\nboom.width = "9 m"\naccuracy.replicates = 4\n'
"""A machine that is known already, with few draws: how they come out is not asked here."""


def missing(name):
    if os.environ.get("CI"):
        pytest.fail(f"{name} is missing: the page cannot be tested (Debian: apt install {name})")
    pytest.skip(f"{name} is not installed")


@pytest.fixture(scope="module")
def playwright():
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="module")
def chromium(playwright):
    if CHROMIUM is None:
        missing("chromium")
    opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def firefox(playwright):
    if FIREFOX is None:
        missing("firefox-esr")
    opened = playwright.firefox.launch(channel="moz-firefox", executable_path=FIREFOX)
    yield opened
    opened.close()


@pytest.fixture
def served(tmp_path):
    """The program as a person starts it; its address and the farm's folder."""
    root = tmp_path / "farm"
    command = [sys.executable, "-m", "coverage_audit", "page", str(root), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as program:
        yield program.stdout.readline().strip(), root, program
        program.terminate()


@pytest.fixture
def dropped(tmp_path):
    path = tmp_path / "Tuesday.gpx"
    path.write_bytes(LOG.gpx)
    return path


SMALL = """[...document.querySelectorAll("button, select, summary, label.button, .why, .save, .tick, .choice, input")]
  .filter((one) => one.offsetParent && !one.matches(".quiet-input, .tick input, .choice input"))
  .filter((one) => one.getBoundingClientRect().width < 24 || one.getBoundingClientRect().height < 24)
  .map((one) => one.outerHTML.slice(0, 80))"""
"""What a finger is to hit and is narrower or lower than 24 px (WCAG 2.2, 2.5.8)."""


class Visit:
    """One window on the page, with what went wrong or was asked for while it stood open."""

    def __init__(self, browser, width, *, touch=False):
        more = PLAIN if browser.browser_type.name == "firefox" else {"reduced_motion": "reduce"}
        self.context = browser.new_context(viewport={"width": width, "height": 844}, has_touch=touch, **more)
        self.page, self.touch = self.context.new_page(), touch
        self.page.set_default_timeout(60_000)
        self.faults, self.hosts = [], set()
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", lambda line: self.faults.append(line.text) if line.type == "error" else None)
        self.page.on("request", lambda request: self.hosts.add(request.url.split("/")[2]))

    def enter(self, address):
        """Open the first address."""
        self.page.goto(address)
        expect(self.page.locator("h1")).to_have_text("Before the first job")
        assert "/enter/" not in self.page.url

    def begin(self, root):
        """Make the farm folder, and keep a machine in it as an earlier job would have."""
        self.page.fill("#farm-name", "Larch Hollow")
        self.page.select_option("#farm-units", "us")
        self.page.fill("#farm-zone", "America/Boise")
        self.page.click("text=Make this folder and begin")
        expect(self.page.locator("h1")).to_have_text("Larch Hollow")
        self.page.wait_for_load_state("load")  # its script takes files from then on
        with (root / "farm.toml").open("a", encoding="utf-8") as file:
            file.write(KEPT)

    def drop(self, path):
        """Give the page a log."""
        self.page.set_input_files("#files", str(path))
        self.page.wait_for_url("**/job/**")
        expect(self.page.locator("#part-logs")).to_contain_text("driven, one place a second")

    def tap(self, canvas, x, y):
        """Tap a place of the drive's plane."""
        place = self.page.locator(f'[data-map="{canvas}"] canvas')
        self._into_view(place)
        expect(place).to_have_attribute("data-view", re.compile(r"\d"))
        middle_x, middle_y, scale = map(float, place.get_attribute("data-view").split())
        box = place.bounding_box()
        at = {"x": (x - middle_x) * scale + box["width"] / 2, "y": (middle_y - y) * scale + box["height"] / 2}
        (place.tap if self.touch else place.click)(position=at)

    def _into_view(self, place):
        """Scroll to it, again if the page was just drawn anew under it."""
        for _ in range(9):
            try:
                return place.scroll_into_view_if_needed()
            except Error as error:
                if "not attached" not in error.message:
                    raise
        return place.scroll_into_view_if_needed()

    def answered(self):
        """Wait for the answer."""
        expect(self.page.locator(".headline")).to_be_visible()
        expect(self.page.locator("#bar")).to_be_hidden()

    def fits(self):
        """Whether nothing is wider than the window."""
        return self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


def found_by_axe(page):
    """What axe-core finds, in words short enough to read."""
    results = Axe().run(page).response
    return [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in results["violations"]]


def corners(root):
    """The field's true corners in the plane of the one job there is."""
    desk = Desk(root)
    sketch = desk.job(desk.jobs()[0]).notes["sketch"]
    lon, lat = PLACE.to_degrees(*np.array(LOG.corners).T)
    return np.column_stack(Plane(PlaneOrigin(sketch["lon"], sketch["lat"])).to_metres(lon, lat)).tolist()


def same_as_check(root, tmp_path):
    """Whether the one job's report is what the command makes of it."""
    folder = root / "jobs" / Desk(root).jobs()[0]
    assert cli.main(["check", str(folder / "job.toml"), "-o", str(tmp_path / "out"), "--quiet"]) == 0
    names = [path.name for path in (tmp_path / "out").iterdir()]
    return all((folder / "report" / name).read_bytes() == (tmp_path / "out" / name).read_bytes() for name in names)


def no_inner_style(faults):
    """Faults of the page itself: the driver's own style for taking a picture is not the page's."""
    return [line for line in faults if "inline style" not in line]


def test_by_mouse_in_chromium_wide(served, dropped, chromium, tmp_path):
    address, root, program = served
    visit = Visit(chromium, 1280)
    page = visit.page
    visit.enter(address)
    assert found_by_axe(page) == []
    visit.begin(root)
    assert found_by_axe(page) == []
    visit.drop(dropped)
    for number, corner in enumerate(corners(root), start=1):
        visit.tap("draw", *corner)
        expect(page.locator("#draw-area")).to_contain_text(f"{number} ")
    page.fill("#field-name", "Long meadow")
    page.click("text=Keep this field")
    expect(page.locator("#part-field")).to_contain_text("Long meadow, ")
    visit.answered()
    drive = json.loads(page.request.get(f"{page.url}/map").text())
    one = next(one for one in drive["stretches"] if one["pass"] and one["number"] == 6)
    visit.tap("boom", *one["way"][len(one["way"]) // 2][:2])
    expect(page.locator("#pick")).to_have_text("Pass 6: off, as you remember it.")
    expect(page.locator("#part-boom")).to_contain_text("1 stretch as you remember it")
    page.click("text=All passes as a list")
    expect(page.locator("#on-6")).not_to_be_checked()
    visit.answered()
    expect(page.locator(".old")).to_have_count(0)
    assert found_by_axe(page) == []
    assert visit.fits()
    assert same_as_check(root, tmp_path)
    row = Desk(root).job(Desk(root).jobs()[0]).draft.get("boom.remembered")
    assert [set(one) for one in row] == [{"at", "off_until"}]
    assert visit.hosts == {address.split("/")[2]}
    assert no_inner_style(visit.faults) == []
    page.click("text=End the program")
    expect(page.locator("body")).to_contain_text("The program has ended")
    assert program.wait(20) == 0


@pytest.mark.parametrize(("name", "touch"), [("firefox", False), ("chromium", True)])
def test_as_wide_as_a_phone_by_mouse_in_firefox_and_by_touch_in_chromium(
    name, touch, served, dropped, request, tmp_path
):
    """Under this driver Firefox has no finger."""
    address, root, _ = served
    visit = Visit(request.getfixturevalue(name), 390, touch=touch)
    page = visit.page
    visit.enter(address)
    visit.begin(root)
    visit.drop(dropped)
    for number, corner in enumerate(corners(root), start=1):
        visit.tap("draw", *corner)
        expect(page.locator("#draw-area")).to_contain_text(f"{number} ")
    keep = page.locator("text=Keep this field")
    (keep.tap if touch else keep.click)()
    visit.answered()
    assert visit.fits()
    assert same_as_check(root, tmp_path)
    assert page.evaluate(SMALL) == []
    assert no_inner_style(visit.faults) == []


def test_by_keyboard_alone(served, dropped, chromium, tmp_path):
    address, root, _ = served
    visit = Visit(chromium, 390)
    page = visit.page
    visit.enter(address)
    visit.begin(root)
    visit.drop(dropped)  # the system's own window for choosing a file cannot be driven; its input takes the keyboard

    def on(place):
        for _ in range(80):
            page.keyboard.press("Tab")
            if page.evaluate("(place) => document.activeElement.matches(place)", place):
                return
        pytest.fail(f"no tab leads to {place}")

    on('[data-map="draw"] canvas')
    for keys in (["ArrowLeft"] * 8 + ["ArrowUp"] * 8, ["ArrowRight"] * 16, ["ArrowDown"] * 16, ["ArrowLeft"] * 16):
        for key in keys:
            page.keyboard.press(key)
        page.keyboard.press("Enter")
    expect(page.locator("#draw-area")).to_contain_text("4 corners")
    page.keyboard.press("Backspace")
    expect(page.locator("#draw-area")).to_contain_text("3 corners")
    on('[data-draw="edge"]')
    page.keyboard.press("Enter")
    expect(page.locator("#edge-note")).to_be_visible()
    on("#field-name")
    page.keyboard.type("Long meadow")
    on('[data-draw="keep"]')
    page.keyboard.press("Enter")
    visit.answered()
    on(".passes summary")
    page.keyboard.press("Enter")
    on("#on-3")
    page.keyboard.press("Space")
    expect(page.locator("#part-boom")).to_contain_text("1 stretch as you remember it")
    assert page.evaluate("document.activeElement.id") == "on-3"  # whoever goes on from here is where he was
    visit.answered()
    assert same_as_check(root, tmp_path)
    assert found_by_axe(page) == []
    assert no_inner_style(visit.faults) == []


def test_a_page_that_is_closed_in_the_middle_loses_nothing(served, dropped, chromium):
    address, root, _ = served
    visit = Visit(chromium, 1280)
    visit.enter(address)
    visit.begin(root)
    visit.drop(dropped)
    for number, corner in enumerate(corners(root)[:3], start=1):
        visit.tap("draw", *corner)
        expect(visit.page.locator("#draw-area")).to_contain_text(f"{number} ")
    visit.page.fill('[data-key="job.name"]', "Creek side")
    visit.page.keyboard.press("Tab")
    expect(visit.page.locator("#job-title")).to_have_text("Creek side")
    url = visit.page.url
    visit.page.close()
    again = visit.context.new_page()
    again.goto(url)
    expect(again.locator("#draw-area")).to_contain_text("3 corners")
    assert again.input_value('[data-key="job.name"]') == "Creek side"


def test_a_part_of_a_pass_is_dragged_along_and_taken_back(served, dropped, chromium):
    address, root, _ = served
    visit = Visit(chromium, 1280)
    visit.enter(address)
    visit.begin(root)
    (root / "fields" / "long-meadow.geojson").write_text(LOG.geojson)
    page = visit.page
    visit.drop(dropped)
    visit.answered()
    place = page.locator('[data-map="boom"] canvas')
    place.scroll_into_view_if_needed()
    found = json.loads(page.request.get(f"{page.url}/map").text())
    one = next(one for one in found["stretches"] if one["pass"] and one["number"] == 6)
    middle_x, middle_y, scale = map(float, place.get_attribute("data-view").split())
    box, (first, last) = place.bounding_box(), (np.array(one["way"][k][:2]) for k in (0, -1))

    def at(share):
        x, y = first + share * (last - first)
        across = box["x"] + (x - middle_x) * scale + box["width"] / 2
        return across, box["y"] + (middle_y - y) * scale + box["height"] / 2

    page.mouse.move(*at(0.25))
    page.mouse.down()
    for share in (0.4, 0.6, 0.75):
        page.mouse.move(*at(share))
    page.mouse.up()
    expect(page.locator("#pick")).to_contain_text("off, as you remember it")
    expect(page.locator("#part-boom")).to_contain_text("1 stretch as you remember it")
    desk = Desk(root)
    (row,) = desk.job(desk.jobs()[0]).draft.get("boom.remembered")
    lasted = dt.datetime.fromisoformat(row["off_until"]) - dt.datetime.fromisoformat(row["at"])
    # half of the pass, told to the second at both ends; a pixel of the map is half a metre, a fifth of a second
    assert lasted.total_seconds() == pytest.approx((one["to"] - one["from"]) / 2, abs=2.5)
    page.click("text=Take back the last")
    expect(page.locator("#part-boom")).to_contain_text("Nothing is remembered yet")
    assert desk.job(desk.jobs()[0]).draft.get("boom.remembered") is None


def test_what_is_being_typed_stays_while_the_sheet_is_drawn_anew(served, dropped, chromium):
    address, root, _ = served
    visit = Visit(chromium, 1280)
    visit.enter(address)
    visit.begin(root)
    visit.drop(dropped)
    page = visit.page
    page.fill('[data-key="boom.antenna_ahead"]', "1")
    page.select_option('[data-unit-of="boom.antenna_ahead"]', "in")  # its answer draws this part anew
    page.fill('[data-key="boom.antenna_ahead"]', "55")
    page.keyboard.press("Tab")
    desk = Desk(root)
    page.wait_for_timeout(300)
    expect(page.locator('[data-key="boom.antenna_ahead"]')).to_have_value("55")
    for _ in range(100):
        if desk.job(desk.jobs()[0]).draft.get("boom.antenna_ahead") == "55 in":
            break
        page.wait_for_timeout(100)
    assert desk.job(desk.jobs()[0]).draft.get("boom.antenna_ahead") == "55 in"


def test_address_without_its_token_shows_nothing(served, chromium):
    address, root, _ = served
    host = re.match(r"http://[^/]+", address)[0]
    page = chromium.new_context().new_page()
    assert page.goto(host).status == 403
    assert str(root) not in page.content()
    assert Path(root).exists() is False
