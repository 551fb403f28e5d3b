"""A person at the page in a real browser: with a mouse, with a finger, or with nothing but the keyboard."""

from __future__ import annotations

import re

import numpy as np
from axe_playwright_python.sync_playwright import Axe
from page_jobs import LOG, PLACE
from playwright.sync_api import Error, expect

from coverage_audit.cli import command as cli
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.page.desk import Desk

PLAIN = {"color_scheme": "null", "reduced_motion": "null", "forced_colors": "null", "contrast": "null"}
"""Firefox knows no such wishes under this driver."""

KEPT = '\n[machine.quad]\nboom.width = "9 m"\naccuracy.replicates = 4\n'
"""A machine that is known already, with few draws: how they come out is not asked here."""

SMALL = """[...document.querySelectorAll("a, button, select, summary, label.button, .tick, .choice, input")]
  .filter((one) => one.offsetParent && !one.matches(".quiet-input, .tick input, .choice input, .skip, .told a"))
  .filter((one) => one.getBoundingClientRect().width < 24 || one.getBoundingClientRect().height < 24)
  .map((one) => one.outerHTML.slice(0, 80))"""
"""What a finger is to hit and is narrower or lower than 24 px (WCAG 2.2, 2.5.8; links amid words are not meant)."""

PATIENCE_MS = 300_000
"""A busy machine must not fail a test. [ms]"""

MOUSE, TOUCH, KEYS = "mouse", "touch", "keyboard"
STEP_PX, FINE_PX = 8, 1
"""An arrow key moves the cross of a map so far; with Shift so far. [px]"""


class Visit:
    """One window on the page, with what went wrong or was asked for while it stood open."""

    def __init__(self, browser, width, hand=MOUSE, **wishes):
        more = PLAIN if browser.browser_type.name == "firefox" else {"reduced_motion": "reduce", "locale": "en-GB"}
        size = {"width": width, "height": wishes.pop("height", 844)}
        self.context = browser.new_context(viewport=size, has_touch=hand == TOUCH, **{**more, **wishes})
        self.page, self.hand = self.context.new_page(), hand
        self.crosses = {}  # where the cross of each map stands [px]
        self.page.set_default_timeout(PATIENCE_MS)
        self.faults, self.hosts = [], set()
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", lambda line: self.faults.append(line.text) if line.type == "error" else None)
        self.page.on("request", lambda request: self.hosts.add(request.url.split("/")[2]))

    # --- what hands do --------------------------------------------------------------------------

    def go_to(self, selector):
        """Tab to an element, forwards from where the focus is."""
        for _ in range(400):
            if self.page.evaluate("(place) => document.activeElement.matches(place)", selector):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"no tab leads to {selector}")

    def press(self, selector):
        """Press a button, open a summary, change a tick."""
        if self.hand == KEYS:
            expect(self.page.locator(selector).first).to_be_visible()
            self.go_to(selector)
            self.page.keyboard.press("Space")
        elif self.hand == TOUCH:
            self.page.locator(selector).first.tap()
        else:
            self.page.locator(selector).first.click()

    def write(self, selector, text):
        """Write into a field and leave it."""
        if self.hand == KEYS:
            self.go_to(selector)
            self.page.keyboard.press("Control+a")
        else:
            self.press(selector)
            self.page.locator(selector).fill("")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Tab")

    def choose(self, selector, text):
        """Choose one of a list, by what stands there."""
        if self.hand == KEYS:
            self.go_to(selector)
            self.page.keyboard.type(text)
            self.page.keyboard.press("Tab")
        else:
            self.page.select_option(selector, label=text)

    def tap(self, canvas, x, y):
        """Tap a place of the drive's plane; by keyboard the cross is moved there."""
        place = self.page.locator(f'[data-map="{canvas}"] canvas')
        if self.hand == KEYS:
            self._cross(canvas, x, y)
            return
        at = self._at(place, x, y)
        (place.tap if self.hand == TOUCH else place.click)(position={"x": at[0], "y": at[1]})

    def _cross(self, canvas, x, y):
        selector = f'[data-map="{canvas}"] canvas'
        self.go_to(selector)
        place = self.page.locator(selector)
        at = self._at(place, x, y)
        box = place.bounding_box()
        cross = self.crosses.setdefault(canvas, [box["width"] / 2, box["height"] / 2])
        for k, (less, more) in enumerate((("ArrowLeft", "ArrowRight"), ("ArrowUp", "ArrowDown"))):
            way = round(at[k] - cross[k])
            coarse, fine = divmod(abs(way), STEP_PX)
            key = more if way > 0 else less
            for press in [key] * coarse + [f"Shift+{key}"] * fine:
                self.page.keyboard.press(press)
            cross[k] += way
        self.page.keyboard.press("Enter")

    def drag(self, canvas, points):
        """Drag along points of the drive's plane."""
        place = self.page.locator(f'[data-map="{canvas}"] canvas')
        where = [self._at(place, *point) for point in points]
        box = place.bounding_box()
        spots = [(box["x"] + x, box["y"] + y) for x, y in where]
        if self.hand == TOUCH:
            driver = self.context.new_cdp_session(self.page)
            for k, (x, y) in enumerate(spots):
                kind = "touchMove" if k else "touchStart"
                driver.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
            driver.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
            return
        self.page.mouse.move(*spots[0])
        self.page.mouse.down()
        for spot in spots[1:]:
            self.page.mouse.move(*spot)
        self.page.mouse.up()

    def _at(self, place, x, y):
        """Where on its canvas a place of the plane is shown. [px]"""
        self._into_view(place)
        expect(place).to_have_attribute("data-view", re.compile(r"\d"))
        middle_x, middle_y, scale = map(float, place.get_attribute("data-view").split())
        box = place.bounding_box()
        return (x - middle_x) * scale + box["width"] / 2, (middle_y - y) * scale + box["height"] / 2

    def _into_view(self, place):
        """Scroll to it, again if the page was just drawn anew under it."""
        for _ in range(9):
            try:
                return place.evaluate("(one) => one.scrollIntoView({ block: 'center' })")
            except Error as error:
                if "not attached" not in error.message:
                    raise
        return None

    # --- the way --------------------------------------------------------------------------------

    def enter(self, address):
        """Open the first address."""
        self.page.goto(address)
        expect(self.page.locator("h1")).to_have_text("Before the first job")
        assert "/enter/" not in self.page.url

    def begin(self, root, kept=KEPT):
        """Make the farm folder; *kept* is put into it as an earlier job would have."""
        self.write("#farm-name", "Larch Hollow")
        self.choose("#farm-units", "feet, acres, US gallons")
        self.write("#farm-zone", "America/Boise")
        self.press('button[type="submit"]')
        expect(self.page.locator("h1")).to_have_text("Larch Hollow")
        self.page.wait_for_load_state("load")  # its script takes files from then on
        with (root / "farm.toml").open("a", encoding="utf-8") as file:
            file.write(kept)

    def drop(self, path):
        """Give the page a log; the system's own window for choosing a file cannot be driven, its input can."""
        self.page.set_input_files("#files", path)
        self.page.wait_for_url("**/job/**")
        expect(self.page.locator("#part-logs")).to_contain_text("driven, one place a second")

    def draw_field(self, root):
        """Draw the field by its corners."""
        for number, corner in enumerate(corners(root), start=1):
            self.tap("draw", *corner)
            expect(self.page.locator("#draw-area")).to_contain_text(f"{number} ")

    def answered(self):
        """Wait for the answer to what stands there now."""
        expect(self.page.locator(".headline")).to_be_visible()
        expect(self.page.locator("#bar")).to_be_hidden()
        expect(self.page.locator(".old")).to_have_count(0)

    def fits(self):
        """Whether nothing is wider than the window."""
        return self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0

    @property
    def own_faults(self):
        """Faults of the page itself: the driver's own style for taking a picture is not the page's."""
        return [line for line in self.faults if "inline style" not in line]


def found_by_axe(page):
    """What axe-core finds, in words short enough to read."""
    results = Axe().run(page).response
    return [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in results["violations"]]


def corners(root):
    """The field's true corners in the plane of the latest job."""
    desk = Desk(root)
    sketch = desk.job(desk.jobs()[0]).notes["sketch"]
    lon, lat = PLACE.to_degrees(*np.array(LOG.corners).T)
    return np.column_stack(Plane(PlaneOrigin(sketch["lon"], sketch["lat"])).to_metres(lon, lat)).tolist()


def same_as_check(root, tmp_path, job=None):
    """Whether a job's report is what the command makes of it."""
    folder = root / "jobs" / (job or Desk(root).jobs()[0])
    out = tmp_path / f"out-{folder.name}"
    assert cli.main(["check", str(folder / "job.toml"), "-o", str(out), "--quiet"]) == 0
    names = [path.name for path in out.iterdir()]
    return all((folder / "report" / name).read_bytes() == (out / name).read_bytes() for name in names)
