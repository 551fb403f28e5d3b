"""Touch-up plans of whole jobs from files, against figures worked out by hand in each fixture's HOW.md."""

import datetime as dt
import json
from pathlib import Path

import make_touchup_fixtures
import pytest

from coverage_audit.cli import main

FIXTURES = Path(__file__).parents[2] / "fixtures" / "touchup"
NAMES = sorted(path.name for path in FIXTURES.iterdir())
AREA_M2 = 0.05
"""Outlines from fixes once a second: each strip's edges are known to a few tenths of a millimetre."""


@pytest.fixture(scope="module")
def plans(tmp_path_factory):
    made = {}
    for name in NAMES:
        out = tmp_path_factory.mktemp(name)
        assert main(["touchup", str(FIXTURES / name / "job.toml"), "-o", str(out), "--quiet"]) == 0
        made[name] = json.loads((out / "touchup.json").read_text(encoding="utf-8"))
    return made


def expected_of(name):
    return json.loads((FIXTURES / name / "expected.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", NAMES)
def test_advice_and_areas_are_those_worked_out_by_hand(name, plans):
    found = {strip["id"]: strip for strip in plans[name]["strips"]}
    wanted = expected_of(name)["strips"]
    assert found.keys() == wanted.keys()
    for strip, values in wanted.items():
        for key, value in values.items():
            near = pytest.approx(value, abs=AREA_M2) if key.endswith("_m2") else value
            assert found[strip][key] == near, (strip, key)


@pytest.mark.parametrize("name", NAMES)
def test_costs_are_those_worked_out_by_hand(name, plans):
    found = {strip["id"]: strip for strip in plans[name]["strips"]}
    for strip, costs in expected_of(name).get("own_cost", {}).items():
        options = {option["advice"]: option["own_cost"] for option in found[strip]["options"]}
        for advice, cost in costs.items():
            assert options[advice] == pytest.approx(cost, abs=0.005), (strip, advice)  # half a cent: shown to the cent


@pytest.mark.parametrize("name", NAMES)
def test_order_way_mix_dates_and_what_is_left(name, plans):
    found, wanted = plans[name], expected_of(name)
    assert found["exact"]
    assert found["order"] == wanted.get("order", found["order"])
    low, high = wanted.get("path_m", (0, 1e9))
    assert low <= found["path_m"] <= high
    if "mix_l" in wanted:
        assert found["mix_l"] == pytest.approx(wanted["mix_l"], abs=0.01)  # 0.1 % of the smallest mix
    for key, value in wanted.get("after", {}).items():
        assert found["after"][key] == pytest.approx(value, abs=AREA_M2), key
    assert found["after"]["missed_m2"] < wanted.get("after_missed_below_m2", 1e9)
    on = dt.date.fromisoformat(found["dates"]["on"])
    for key in ("earliest_cut", "earliest_grazing"):
        if f"{key}_days" in wanted:
            assert dt.date.fromisoformat(found["dates"][key]) - on == dt.timedelta(days=wanted[f"{key}_days"])


def test_leaving_everything_is_said_plainly(plans):
    assert plans["tie"]["headline"].startswith("Leave everything")
    assert plans["tie"]["order"] == []


def test_forbidden_pass_names_the_limit_and_the_dose(plans):
    strip = plans["label_forbids"]["strips"][0]
    assert "not allowed by the figures you gave" in strip["reason"]
    boom = strip["options"][2]
    assert boom["broken"] == [{"name": "max_per_season of Sorrelane 30", "dose_per_ha": pytest.approx(2.0, rel=1e-6)}]


def test_width_above_which_a_boom_pass_pays(plans):
    """By hand: boom 2.40 and its way w; 100 m at 0.05 /m2 pay from (2.40 + w) / 5 m, or where the wand stops."""
    strip = plans["strip_without_sections"]["strips"][0]
    spot, boom = strip["options"][1:]
    against_leaving = (2.40 + boom["way_cost"]) / (100 * 0.05)
    against_wand = (2.40 + boom["way_cost"] - spot["way_cost"]) / (100 * 0.042)
    assert strip["boom_pays_above_m"] == pytest.approx(max(against_leaving, against_wand), rel=1e-4)


def test_touchup_fixtures_are_what_their_script_writes(tmp_path, monkeypatch):
    monkeypatch.setattr(make_touchup_fixtures, "FIXTURES", tmp_path)
    for make in make_touchup_fixtures.ALL:
        make()
    assert sorted(path.name for path in tmp_path.iterdir()) == NAMES
    for path in FIXTURES.glob("*/*"):
        assert path.read_bytes() == (tmp_path / path.relative_to(FIXTURES)).read_bytes(), path.name
