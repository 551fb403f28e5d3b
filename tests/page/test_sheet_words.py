"""What is said on the sheet: kept products and loads, yes or no where the log leaves it open, worth, question marks."""

from __future__ import annotations

import datetime as dt
import json
import re
import threading
from importlib import resources
from zoneinfo import ZoneInfo

import pytest
from page_house import open_house
from page_jobs import LOG, finished, job_of

from coverage_audit.jobs.keys import TABLES
from coverage_audit.page.changes import SET_KEYS
from coverage_audit.page.desk import Desk
from coverage_audit.page.together import SEASON
from coverage_audit.papers.manual import chapter_text
from coverage_audit.papers.words import screens
from coverage_audit.sheet.draft import draft_of, with_products

PAUSE_S = (80.0, 110.0)
"""From when to when of its drive the phone logged nothing. [s]"""


@pytest.fixture
def farm(tmp_path):
    with open_house(tmp_path / "farm") as opened:
        yield opened


def mark_of(house, job):
    return Desk(house.root).job(job).mark


def draft(house, job):
    return Desk(house.root).job(job).draft


def set_keys(house, job, **keys):
    return house.post(
        f"/job/{job}/set", mark=mark_of(house, job), keys={k.replace("__", "."): v for k, v in keys.items()}
    )


def part(house, job, name):
    return json.loads(house.get(f"/job/{job}/parts").body)["parts"][name]


# --- what was in the tank ---------------------------------------------------------------------------


def test_a_product_is_kept_and_is_one_tap_in_the_next_job(farm):
    job, _ = job_of(farm)
    set_keys(
        farm, job, **{"product.0.name": "Larkmoor 200 SL", "product.0.phi": "14 days", "product.0.rate": "1.2 L/ha"}
    )
    assert farm.post(f"/job/{job}/product", mark=mark_of(farm, job), number=0, keep="")["status"] == 200
    assert draft(farm, job).values["product"] == [{"from": "Larkmoor 200 SL", "rate": "1.2 L/ha"}]
    kept = {"name": "Larkmoor 200 SL", "phi": "14 days"}
    assert Desk(farm.root).farm().products["Larkmoor 200 SL"] == kept
    other, _ = job_of(farm)
    assert farm.post(f"/job/{other}/product", mark=mark_of(farm, other), use="Larkmoor 200 SL")["status"] == 200
    assert draft(farm, other).values["product"] == [{"from": "Larkmoor 200 SL"}]
    assert 'value="14"' in part(farm, other, "tank")
    farm.post(f"/job/{other}/product", mark=mark_of(farm, other), use="Larkmoor 200 SL")
    assert "product" not in draft(farm, other).values


def test_two_products_stand_side_by_side_and_one_written_by_hand_stays(farm):
    job, _ = job_of(farm)
    path = farm.root / "jobs" / job / "job.toml"
    path.write_text(path.read_text() + '[[product]]\nname = "By hand"  # from the drum\nrate = "16 mL/L"\n')
    assert set_keys(farm, job, **{"product.1.name": "Larkmoor"})["status"] == 200
    assert [row["name"] for row in draft(farm, job).values["product"]] == ["By hand", "Larkmoor"]
    assert "# from the drum" in path.read_text()
    assert set_keys(farm, job, **{"product.1.name": ""})["status"] == 200
    assert [row["name"] for row in draft(farm, job).values["product"]] == ["By hand"]


@pytest.mark.parametrize("key", ["product.99.name", "product.0.from", "product.x.name", "product.0.name.x", "product."])
def test_keys_of_products_that_the_page_never_makes_are_refused(key, farm):
    job, _ = job_of(farm)
    assert set_keys(farm, job, **{key: "x"})["status"] == 422


def test_products_taken_out_leave_no_table_behind():
    before = draft_of('[job]\nname = "x"\n[[product]]\nname = "a"\n')
    assert with_products(before, []).values == {"job": {"name": "x"}}


@pytest.mark.parametrize(
    ("typed", "loads"),
    [
        ("50 + 50 + 30 gal", ["50 gal", "50 gal", "30 gal"]),
        ("50+30.5 gal", ["50 gal", "30.5 gal"]),
        ("200;180 L", ["200 L", "180 L"]),
        ("400 L", ["400 L"]),
    ],
)
def test_loads_are_typed_in_one_line(typed, loads, farm):
    job, _ = job_of(farm)
    assert set_keys(farm, job, rate__loads=typed)["status"] == 200
    assert draft(farm, job).get("rate.loads") == loads
    assert " ".join(screens.loads_words(loads)) == re.sub(r"\s*[;+]\s*", " + ", typed)
    assert set_keys(farm, job, rate__loads="")["status"] == 200
    assert draft(farm, job).get("rate.loads") is None


def test_what_is_no_load_is_refused_at_its_place(farm):
    job, _ = job_of(farm)
    found = set_keys(farm, job, rate__loads="two tanks gal")
    assert (found["status"], found["place"].split("[")[0]) == (422, "rate.loads")


# --- yes, no, nobody knows --------------------------------------------------------------------------


def paused():
    """The log with a pause in the middle of the drive."""
    text = LOG.gpx.decode()
    points = re.findall(r"\s*<trkpt.*?</trkpt>", text, re.DOTALL)
    for k, one in enumerate(points):
        if PAUSE_S[0] < k < PAUSE_S[1]:
            text = text.replace(one, "", 1)
    return text.encode()


def doubts(house, job):
    return re.findall(r'<li data-from="([\d.]+)" data-to="([\d.]+)">.*?</li>', part(house, job, "boom"), re.DOTALL)


def told(house, job, number):
    """Which answer is pressed."""
    html = re.findall(r"<li data-from=.*?</li>", part(house, job, "boom"), re.DOTALL)[number]
    return re.findall(r'data-doubt="(\w+)" class="near" aria-pressed="true"', html)


def ground(house, job):
    assert house.facts(job).stage == "done", house.facts(job)
    return json.loads((house.root / "jobs" / job / "report" / "summary.json").read_text())["missed_ground"]


def test_a_pause_is_asked_for_and_no_makes_its_ground_missed(farm):
    job = finished(farm, paused())
    before = ground(farm, job)
    assert before["unknown_m2"] > 0
    (start, end), *_ = (each for each in doubts(farm, job) if float(each[1]) - float(each[0]) > 25)
    number = doubts(farm, job).index((start, end))
    assert "The log paused" in part(farm, job, "boom")
    time = {"from": float(start), "to": float(end)}
    assert farm.post(f"/job/{job}/said", mark=mark_of(farm, job), **time, unsure=True)["status"] == 200
    assert told(farm, job, number) == ["unsure"]
    assert draft(farm, job).get("boom.remembered") is None
    assert farm.post(f"/job/{job}/said", mark=mark_of(farm, job), **time, on=False)["status"] == 200
    assert told(farm, job, number) == ["no"]
    after = ground(farm, job)
    assert after["unknown_m2"] < before["unknown_m2"] / 10
    assert farm.post(f"/job/{job}/said", mark=mark_of(farm, job), **time, on=True)["status"] == 200
    assert told(farm, job, number) == ["yes"]
    assert ground(farm, job)["unknown_m2"] == pytest.approx(before["unknown_m2"], rel=0.05)  # where, nobody knows
    farm.post(f"/job/{job}/said", mark=mark_of(farm, job), **time, unsure=True)
    assert (told(farm, job, number), draft(farm, job).get("boom.remembered")) == (["unsure"], None)


def test_two_times_of_a_pass_lie_within_it_and_part_of_it_is_told_by_them(farm):
    job = finished(farm)
    rows = re.findall(r'<tr data-from="([\d.]+)" data-to="([\d.]+)">', part(farm, job, "boom"))
    start, end = map(float, rows[2])
    zone = ZoneInfo("America/Boise")
    clocks = [f"{dt.datetime.fromtimestamp(start + share * (end - start), zone):%H:%M:%S}" for share in (0.3, 0.6)]

    def say(on, *times):
        times = dict(zip(("from", "to"), times, strict=False))
        return farm.post(f"/job/{job}/said", mark=mark_of(farm, job), **{"pass": 2, "on": on, **times})

    assert say(False)["status"] == 200
    assert say(False, *clocks)["status"] == 200
    (row,) = draft(farm, job).get("boom.remembered")
    assert [row[key][11:19] for key in ("at", "off_until")] == clocks
    assert f"remembered, off {clocks[0]} to {clocks[1]}" in part(farm, job, "boom")
    for wrong in (("03:00:00", clocks[1]), (clocks[1], clocks[0]), (clocks[0], "23:59:00")):
        assert say(False, *wrong)["status"] == 422
    assert len(draft(farm, job).get("boom.remembered")) == 1


# --- worth, stopping, question marks ----------------------------------------------------------------


def test_worth_is_typed_and_what_is_taken_otherwise_stands_beside_it(farm):
    job, _ = job_of(farm)
    assert set_keys(farm, job, touchup__value="250 /ac", touchup__labour="40 /h")["status"] == 200
    assert draft(farm, job).get("touchup.value") == "250 /ac"
    assert set_keys(farm, job, touchup__value="much /ac")["status"] == 422
    # defaults of the job file's reference: 500 /ha, 30 /h, 0.30 /L, 5 m; an acre is 4046.856 m2, a gallon 3.785412 L
    assert screens.fallbacks("us") == {"value": "202", "labour": "30", "mix_cost": "1.14", "turning_radius": "16.4"}
    assert screens.fallbacks("metric") == {"value": "500", "labour": "30", "mix_cost": "0.30", "turning_radius": "5"}


def test_the_season_is_stopped_when_asked(farm, monkeypatch):
    def added(_root, _wanted, _limits, _workers, tell):
        for _ in range(500):
            tell(0, 9, 0)
            begun.wait(0.01)

    begun = threading.Event()
    monkeypatch.setattr("coverage_audit.page.together.run_season", added)
    farm.post("/season")
    assert farm.post("/season", do="stop")["stage"] == "stopped"
    assert farm.facts(SEASON).stage == "stopped"


TEMPLATES = resources.files("coverage_audit.papers") / "templates"


def test_every_question_has_its_paragraph_and_every_paragraph_its_question(farm):
    headings = [
        re.sub(r"[^a-z0-9]+", "-", one.lower()).strip("-")
        for one in re.findall(r"^## (.*)$", chapter_text("questions"), re.MULTILINE)
    ]
    job, _ = job_of(farm)
    texts = " ".join(file.read_text() for file in TEMPLATES.iterdir() if file.name.startswith("page_"))
    asked = {one for one in headings if f'"{one}"' in texts}
    assert asked == set(headings)
    shown = set(re.findall(r'data-why="questions-([a-z0-9-]+)"', farm.get(f"/job/{job}").body.decode()))
    assert shown <= set(headings)
    assert len(shown) > 15
    for one in headings:
        words = json.loads(farm.get(f"/manual/questions-{one}").body)["words"]
        assert words.startswith("<h3>")
        assert words.count("<h3") == 1
        assert len(words.split()) < 120  # one paragraph, not a chapter
    assert farm.get("/manual/questions-nothing").status == 404


def test_keys_that_the_page_sets_are_keys_of_a_job_file():
    for key in SET_KEYS:
        table, _, name = key.partition(".")
        assert name in TABLES[table].keys, key
