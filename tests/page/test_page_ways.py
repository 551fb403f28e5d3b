"""The whole way on the landed package: from an empty folder and a phone's log to report, touch-up and proof."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from page_jobs import LOG, PLACE
from page_visit import KEYS, MOUSE, SMALL, TOUCH, Visit, found_by_axe, same_as_check
from playwright.sync_api import expect
from simulator.files import to_nmea_text

from coverage_audit.cli import command as cli
from coverage_audit.page.desk import Desk

WAYS = [
    ("chromium", 1280, MOUSE),
    ("chromium", 390, MOUSE),
    ("chromium", 1280, TOUCH),
    ("chromium", 390, TOUCH),
    ("chromium", 1280, KEYS),
    ("chromium", 390, KEYS),
    ("firefox", 1280, MOUSE),
    ("firefox", 390, MOUSE),
]
"""Under this driver Firefox has no finger, and its fields of a time take no typing."""

FEW = "replicates = 4\n"
"""Few draws: how they come out is not asked here."""

OFF_SHARE = (0.25, 0.75)
"""The part of a pass that he remembers as forgotten. [1]"""

CLOCK = "(at) => new Date(at * 1000).toLocaleTimeString('en-GB', { timeZone: 'America/Boise' })"


@pytest.mark.parametrize(("name", "width", "hand"), WAYS)
def test_from_an_empty_folder_to_report_touch_up_and_proof(name, width, hand, served, dropped, request, tmp_path):
    address, root, program = served
    visit = Visit(request.getfixturevalue(name), width, hand)
    visit.enter(address)
    visit.begin(root, kept="")
    visit.drop(dropped)
    say_field_and_machine(visit, root)
    say_forgotten(visit, root)
    first = Desk(root).jobs()[0]
    assert same_as_check(root, tmp_path)
    plan_going_back(visit, root / "jobs" / first, tmp_path)
    second = prove_another(visit, root, address, tmp_path)
    assert second != first
    assert same_as_check(root, tmp_path, second)
    assert found_by_axe(visit.page) == []
    assert visit.fits()
    assert visit.page.evaluate(SMALL) == []
    assert visit.hosts == {address.split("/")[2]}
    assert visit.own_faults == []
    visit.press("#end")
    expect(visit.page.locator("body")).to_contain_text("The program has ended")
    assert program.wait(60) == 0


def say_field_and_machine(visit, root):
    """From the dropped log to the first answer."""
    page = visit.page
    (folder,) = (root / "jobs").iterdir()
    (folder / "job.toml").write_text((folder / "job.toml").read_text() + f"[accuracy]\n{FEW}")
    page.reload()
    expect(page.locator('[data-map="draw"] canvas')).to_have_attribute("data-view", re.compile(r"\d"))
    visit.draw_field(root)
    visit.write("#field-name", "Long meadow")
    visit.press('[data-draws="field"] [data-draw="keep"]')
    expect(page.locator("#part-field")).to_contain_text("Long meadow, ")
    visit.write('[id="boom.width"]', "29.5")
    visit.write('[id="boom.antenna_ahead"]', "4.6")
    visit.choose('[id="accuracy.steering"]', "Steered by eye")
    visit.answered()


def say_forgotten(visit, root):
    """Say that half of a pass was off: dragged along, or by its row in the list."""
    page = visit.page
    found = json.loads(page.request.get(f"{page.url}/map").text())
    one = next(one for one in found["stretches"] if one["pass"] and one["number"] == 6)
    first, last = (np.array(one["way"][k][:2]) for k in (0, -1))
    if visit.hand == KEYS:
        visit.press(".passes summary")
        visit.press("#on-6")
        expect(page.locator("#part-boom")).to_contain_text("1 stretch as you remember it")
        for which, share in zip(("from", "to"), OFF_SHARE, strict=True):
            visit.go_to(f"#{which}-6")
            turn_to(page, f"#{which}-6", page.evaluate(CLOCK, one["from"] + share * (one["to"] - one["from"])))
            expect(page.locator("#part-boom")).to_contain_text("remembered, off ")
            expect(page.locator("#part-boom")).to_contain_text("1 stretch as you remember it")
    else:
        visit.drag("boom", [first + share * (last - first) for share in np.linspace(*OFF_SHARE, 5)])
        expect(page.locator("#pick")).to_contain_text("off, as you remember it")
    expect(page.locator("#part-boom")).to_contain_text("1 stretch as you remember it")
    visit.answered()
    desk = Desk(root)
    (row,) = desk.job(desk.jobs()[0]).draft.get("boom.remembered")
    off_s = np.ptp([np.datetime64(row[key][:19]) for key in ("at", "off_until")]) / np.timedelta64(1, "s")
    # two moments, each told to the second and to a pixel of the map: half a metre, a fifth of a second
    assert off_s == pytest.approx((one["to"] - one["from"]) * (OFF_SHARE[1] - OFF_SHARE[0]), abs=3)
    assert re.match("Go back|This log cannot", page.locator(".headline").text_content())
    expect(page.locator("#part-answer")).to_contain_text("No proof can be made of this job")


def turn_to(page, selector, clock):
    """Turn a field of a time to *clock* by the arrow keys, which every language has alike; the focus stands in it."""
    now = page.locator(selector).input_value().split(":")
    for was, wanted in zip(now, clock.split(":"), strict=True):
        turns = int(wanted) - int(was)
        for _ in range(abs(turns)):
            page.keyboard.press("ArrowUp" if turns > 0 else "ArrowDown")
        page.keyboard.press("ArrowRight")
    assert page.locator(selector).input_value() == clock
    page.keyboard.press("Enter")


def plan_going_back(visit, folder, tmp_path):
    """Plan it, look at its sheet, and hold it against the command's."""
    page, sheet = visit.page, 'a[href$="/paper/plan/touchup_sheet.html"]'
    visit.press('[data-work="plan"]')
    expect(page.locator(sheet)).to_be_visible()
    with page.expect_popup() as opened:
        if visit.hand == KEYS:
            visit.go_to(sheet)
            page.keyboard.press("Enter")
        else:
            visit.press(sheet)
    expect(opened.value.locator("h1").first).to_be_visible()
    opened.value.close()
    assert cli.main(["touchup", str(folder / "job.toml"), "-o", str(tmp_path / "plan"), "--quiet"]) == 0
    for path in (tmp_path / "plan").iterdir():
        assert (folder / "plan" / path.name).read_bytes() == path.read_bytes(), path.name


def prove_another(visit, root, address, tmp_path):
    """A second job whose log has its switch: field and machine are known, and it can be proven; its id."""
    page, farm = visit.page, root / "farm.toml"
    visit.write("#machine-name", "Quad")
    visit.press('[data-keep="machine"]')
    expect(page.locator("[data-machine]")).to_have_attribute("aria-pressed", "true")
    visit.answered()
    farm.write_text(farm.read_text().replace("accuracy = {", "accuracy = {replicates = 4, "))
    assert "replicates" in farm.read_text()
    switched = tmp_path / "switched.nmea"
    switched.write_text(to_nmea_text(LOG.job, PLACE))
    page.goto(address.split("/enter")[0])
    page.wait_for_load_state("load")
    visit.drop(switched)
    visit.answered()
    visit.press('[data-work="proof"]')
    expect(page.locator('a[href$="/paper/proof/proof.pdf"]')).to_be_visible()
    job = page.url.rpartition("/")[2]
    proof, key = root / "jobs" / job / "proof" / "proof.pdf", root / "keys" / "seller.public"
    assert cli.main(["proof", "check", str(proof), "--public-key", str(key), "--quiet"]) == 0
    return job
