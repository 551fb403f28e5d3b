"""The page in a real browser: what a person's hands, eyes and accidents do to it."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

import numpy as np
import pytest
from page_jobs import LOG
from page_visit import Visit, corners
from playwright.sync_api import expect

from coverage_audit.page.desk import Desk


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


def test_address_without_its_token_shows_nothing(served, chromium):
    address, root, _ = served
    host = re.match(r"http://[^/]+", address)[0]
    page = chromium.new_context().new_page()
    assert page.goto(host).status == 403
    assert str(root) not in page.content()
    assert Path(root).exists() is False
