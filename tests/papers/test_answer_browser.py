"""How long the answer is on a phone and on paper, that it stands without scripts, and that axe finds nothing in it."""

import io
import os

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser import ARGUMENTS, CHROMIUM
from playwright.sync_api import sync_playwright
from pypdf import PdfReader
from situations import Situation, audited

from coverage_audit.papers.page import report_html

PHONE = {"width": 390, "height": 844}
ANSWER_SCREENS, OPEN_SCREENS, PRINTED_PAGES = 2, 6, 4
LETTER_PT, A4_PT = (612, 792), (595, 842)
SITUATIONS = [
    Situation("phone", "assumed", "clean"),  # the commonest of all
    Situation("phone", "assumed", "left out", units="metric"),
    Situation("phone", "logged", "off"),
]


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    made = {}
    for one in SITUATIONS:
        path = folder / f"{one}.html"
        path.write_text(report_html(audited(one)), encoding="utf-8")
        made[one] = path.as_uri()
    return made


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


def bottom(page, part):
    return page.locator(part).evaluate("part => part.getBoundingClientRect().bottom + scrollY")


@pytest.mark.parametrize("one", SITUATIONS, ids=str)
def test_the_answer_is_two_screens_of_a_phone_and_all_that_is_open_six(browser, pages, one):
    page = browser.new_page(viewport=PHONE)
    page.goto(pages[one])
    page.locator(".leaflet-control-scale-line").wait_for()
    assert page.locator("#verdict .headline").bounding_box()["y"] < PHONE["height"] / 2  # seen at once
    assert bottom(page, "#figures") <= ANSWER_SCREENS * PHONE["height"]
    assert page.evaluate("document.documentElement.scrollHeight") <= OPEN_SCREENS * PHONE["height"]
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.close()


@pytest.mark.parametrize("one", SITUATIONS, ids=str)
def test_it_prints_on_four_pages_and_with_its_lists_on_more(browser, pages, one):
    page = browser.new_page()
    page.goto(pages[one])

    def printed():
        return PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages

    short = printed()
    assert len(short) <= PRINTED_PAGES
    size = short[0].mediabox
    wanted = LETTER_PT if one.units == "us" else A4_PT
    assert (float(size.width), float(size.height)) == pytest.approx(wanted, abs=1)
    page.evaluate("window.print = () => {}")
    page.locator("#print-all").click()
    assert page.locator("details:not([open])").count() == 0
    assert len(printed()) > len(short)
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert len(printed()) == len(short)
    page.close()


@pytest.mark.parametrize("unfolded", [False, True])
@pytest.mark.parametrize("one", SITUATIONS, ids=str)
def test_axe_finds_nothing(browser, pages, one, unfolded):
    page = browser.new_page(viewport=PHONE, reduced_motion="reduce")
    page.goto(pages[one])
    page.locator(".leaflet-control-scale-line").wait_for()
    if unfolded:
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    found = Axe().run(page).response["violations"]
    assert [(each["id"], each["nodes"][0]["html"][:120]) for each in found] == []
    page.close()


def test_first_line_picture_and_figures_stand_without_scripts(browser, pages):
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(pages[SITUATIONS[0]])
    assert page.locator("#verdict .headline").inner_text().startswith("This log cannot say")
    assert page.locator("svg.still").bounding_box()["height"] > 150
    figures = page.locator("#figures strong").all_inner_texts()
    assert len(figures) == 3
    assert all(one == "none" or one.endswith(("ft²", "ac")) for one in figures)
    assert page.locator("#figures strong").last.is_visible()
    assert not page.locator("#map_live").is_visible()
    context.close()
