"""The page in a real browser: what a person's hands, eyes and accidents do to it."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

import numpy as np
import pytest
from page_jobs import LOG
from page_visit import KEYS, SMALL, Visit, corners, found_by_axe
from playwright.sync_api import expect

from coverage_audit.page.desk import Desk

SAY_AND_WATCH = """(tick) => {
  const told = () => { document.body.dataset.anew = "yes"; };
  new MutationObserver(told).observe(document.getElementById("part-answer"), { childList: true });
  document.querySelector(tick).click();
}"""
"""Say something without leaving the field one types in; the body is marked once the parts it changed are shown."""


CUT_OFF = """() => {
  const ask = window.fetch;
  window.fetch = async (...asked) => {
    const answer = await ask(...asked);
    answer.json = () => Promise.reject(new DOMException("The operation was aborted.", "AbortError"));
    return answer;
  };
}"""
"""From now on every answer ends in its midst."""


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
    found = json.loads(page.request.get(f"{page.url}/map").text())
    one = next(one for one in found["stretches"] if one["pass"] and one["number"] == 6)
    first, last = (np.array(one["way"][k][:2]) for k in (0, -1))
    visit.drag("boom", [first + share * (last - first) for share in (0.25, 0.4, 0.6, 0.75)])
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


def test_a_time_half_turned_is_not_said_when_the_sheet_is_drawn_anew(served, dropped, chromium):
    address, root, _ = served
    visit = Visit(chromium, 390, KEYS)
    visit.enter(address)
    visit.begin(root)
    (root / "fields" / "long-meadow.geojson").write_text(LOG.geojson)
    visit.drop(dropped)
    visit.answered()
    page = visit.page
    visit.press(".passes summary")
    visit.go_to("#to-6")
    was = page.locator("#to-6").input_value()
    for key in ("ArrowRight", "ArrowUp"):  # a minute on: past the end of the pass, were it said now
        page.keyboard.press(key)
    half = page.locator("#to-6").input_value()
    page.evaluate(SAY_AND_WATCH, "#on-2")
    expect(page.locator("body")).to_have_attribute("data-anew", "yes")
    assert page.evaluate("document.activeElement.id") == "to-6"
    assert page.locator("#to-6").input_value() == half
    page.keyboard.press("ArrowDown")  # still the minutes
    assert page.locator("#to-6").input_value() == was
    page.keyboard.press("Enter")
    expect(page.locator("#part-boom")).to_contain_text("1 stretch as you remember it")
    desk = Desk(root)
    assert len(desk.job(desk.jobs()[0]).draft.get("boom.remembered")) == 1
    assert visit.own_faults == []


def test_an_answer_that_is_cut_off_is_told_and_is_no_fault_of_the_page(served, dropped, chromium):
    """As when the program ends, or the page is left, while the answer is being read."""
    address, root, _ = served
    visit = Visit(chromium, 1280)
    visit.enter(address)
    visit.begin(root)
    visit.drop(dropped)
    visit.page.evaluate(CUT_OFF)
    visit.page.fill('[data-key="job.name"]', "Creek side")
    visit.page.keyboard.press("Tab")
    expect(visit.page.locator("#notice")).to_contain_text("The program has ended")
    assert visit.own_faults == []


def test_a_file_that_is_not_taken_is_named_though_the_others_make_a_job(served, dropped, chromium, tmp_path):
    """On the way to the new job, and when files are added to it."""
    address, root, _ = served
    visit = Visit(chromium, 1280)
    visit.enter(address)
    visit.begin(root)
    empty = tmp_path / "afternoon.gpx"
    empty.write_bytes(b"")
    notice = visit.page.locator("#notice")
    visit.drop([str(dropped), str(empty)])
    expect(notice).to_contain_text("afternoon.gpx: the file is empty")
    visit.page.reload()
    expect(visit.page.locator("#part-logs")).to_contain_text("driven, one place a second")
    expect(notice).to_be_hidden()  # said once
    visit.page.set_input_files("#files", [str(dropped), str(empty)])
    expect(notice).to_contain_text("afternoon.gpx: the file is empty")
    assert [one for one in visit.own_faults if "422" not in one] == []  # the refusals themselves


def test_address_without_its_token_shows_nothing(served, chromium):
    address, root, _ = served
    host = re.match(r"http://[^/]+", address)[0]
    page = chromium.new_context().new_page()
    assert page.goto(host).status == 403
    assert str(root) not in page.content()
    assert Path(root).exists() is False


def all_open(page):
    """Every part of the screen opened, and the first question mark answered."""
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    mark = page.locator("[data-why]")
    if mark.count():
        mark.first.click()
        expect(page.locator(".told").first).to_contain_text("In the manual")


def test_axe_finds_nothing_on_any_screen_wide_narrow_or_with_letters_twice_as_large(served, dropped, chromium):
    """Web Content Accessibility Guidelines 2.2: resize text 1.4.4, reflow at 320 px 1.4.10, target size 2.5.8."""
    address, root, _ = served
    visit = Visit(chromium, 1280)
    page = visit.page
    visit.enter(address)
    assert found_by_axe(page) == []
    visit.begin(root)
    home = page.url
    (root / "fields" / "long-meadow.geojson").write_text(LOG.geojson)
    visit.drop(dropped)
    sheet = page.url
    visit.answered()
    page.goto(home)
    dropped.write_bytes(LOG.gpx.replace(b"2026-05-21", b"2026-05-23"))
    page.set_input_files("#files", str(dropped))  # another day's job, which goes into the bin
    page.wait_for_url("**/job/**")
    page.goto(home)
    page.locator('[data-bin^="2026-05-22"]').click()
    expect(page.locator("summary")).to_contain_text("In the bin (1)")
    screens = (home, sheet, f"{home}job/none", f"{home}manual")
    for url in screens:
        page.goto(url)
        expect(page.locator("h1").first).to_be_visible()
        if url == sheet:
            expect(page.locator('[data-map="boom"] canvas')).to_have_attribute("data-view", re.compile(r"\d"))
        if url != screens[-1]:
            all_open(page)
            faulted = visit.own_faults  # a job that is not there is told with its number, which the browser notes
            assert [line for line in faulted if "404" not in line] == []
        assert found_by_axe(page) == [], url
        for width in (1280, 640, 390, 320):  # 640 is 1280 at twice the size
            page.set_viewport_size({"width": width, "height": 844})
            assert visit.fits(), (url, width)
            assert url == screens[-1] or page.evaluate(SMALL) == [], (url, width)
        page.set_viewport_size({"width": 1280, "height": 844})
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert visit.fits(), url
        assert page.evaluate(MOVING) == []


MOVING = """[...document.querySelectorAll("*")].filter((one) => {
  const style = getComputedStyle(one);
  return parseFloat(style.animationDuration) > 0 || parseFloat(style.transitionDuration) > 0;
}).map((one) => one.outerHTML.slice(0, 80))"""
"""What would move although the person asked for less motion."""


def test_every_canvas_has_its_words_or_its_list(served, dropped, chromium):
    """What axe cannot see."""
    address, root, _ = served
    visit = Visit(chromium, 390)
    visit.context.add_init_script(SHARES)
    visit.enter(address)
    visit.begin(root)
    (root / "fields" / "long-meadow.geojson").write_text(LOG.geojson)
    visit.drop(dropped)
    visit.answered()
    page = visit.page
    assert page.evaluate(
        "[...document.querySelectorAll('canvas')].every((one) => one.getAttribute('aria-label').length > 20)"
    )
    drawn = json.loads(page.request.get(f"{page.url}/map").text())
    assert page.locator(".passes tbody tr").count() == sum(one["pass"] for one in drawn["stretches"])
    listed = page.locator("#part-answer details", has_text="as a list").locator("li").all_text_contents()
    assert {line.split(",")[0] for line in listed} == {one["id"] for one in drawn["found"]}
    # where the computer can hand a file on, each paper has a button for it
    page.get_by_role("button", name="Send: The whole report, with the map").click()
    size = (root / "jobs" / Desk(root).jobs()[0] / "report" / "report.html").stat().st_size
    expect(page.locator("body")).to_have_attribute("data-shared", f"report.html {size} text/html; charset=utf-8")


SHARES = """
navigator.canShare = () => true;
navigator.share = async ({ files: [one] }) => {
  document.body.dataset.shared = `${one.name} ${one.size} ${one.type}`;
};
"""
"""What a phone's browser has (Web Share, W3C), and this one on Linux has not."""
