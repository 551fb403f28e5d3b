"""Every key of the job file is told with its default, and the default is the one that is taken."""

import dataclasses

import pytest

from coverage_audit.jobs.keys import TABLES, key_rows
from coverage_audit.jobs.rows import PAIR
from coverage_audit.touchup import tolerances as touchup

ROWS = key_rows()


def written(key):
    """A default as the job file has it: a whole number or true and false without quotes."""
    return {"true": True, "false": False}.get(key.default, int(key.default) if key.default.isdigit() else key.default)


def test_every_key_is_told_once_in_words_on_one_line():
    assert len({(row.table, row.key) for row in ROWS}) == len(ROWS)
    for row in ROWS:
        assert len(row.words) > 3
        assert "\n" not in row.words + row.default + row.unit
        assert not row.words.endswith(".")
        assert not (row.required and row.default)


def test_keys_inside_others_are_told_behind_them():
    names = [row.key for row in ROWS if row.table == "boom"]
    assert names[2:5] == ["nozzles", "nozzles.count", "nozzles.spacing"]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.table}.{row.key}")
def test_the_default_told_is_the_default_taken(row):
    table = TABLES[row.table]
    key = table.keys.get(row.key)
    setting = next((one for one in dataclasses.fields(table.settings) if key and one.name == key.setting), None)
    if setting is None or setting.default in (None, "", (), dataclasses.MISSING):
        return
    assert key(written(row), "here") == setting.default


def test_every_setting_that_a_key_fills_is_a_field():
    for table in TABLES.values():
        fields = {one.name for one in dataclasses.fields(table.settings)}
        assert {key.setting for key in table.keys.values()} - {"", PAIR} <= fields


def test_defaults_of_the_touch_up_are_those_of_its_room():
    keys = TABLES["touchup"].keys
    taken = {
        "value": touchup.VALUE_DEFAULT_M2,
        "labour": touchup.LABOUR_DEFAULT_S,
        "mix_cost": touchup.MIX_COST_DEFAULT_L,
        "spot_work": touchup.SPOT_DEFAULT_M2_S,
        "turning_radius": touchup.TURNING_RADIUS_DEFAULT_M,
        "reserve": ("reserve_share", touchup.RESERVE_DEFAULT),
    }
    for name, value in taken.items():
        assert keys[name](keys[name].default, "here") == (value if name == "reserve" else pytest.approx(value))


def test_defaults_of_the_job_file_contract():
    """The figures of the job-file contract, written out once more."""
    told = {f"{row.table}.{row.key}": row.default for row in ROWS}
    assert {key: told[key] for key in told if told[key].startswith("0 ")} == dict.fromkeys(
        ["field.setback", "field.exclude_setback", "field.grow", "boom.antenna_right", "boom.towed"], "0 m"
    ) | dict.fromkeys(["track.clock_offset", "boom.on_delay", "boom.off_delay", "touchup.setup"], "0 s") | {
        "accuracy.boundary": "0 m",
        "boom.antenna_ahead": "0 m, with a caution",
    }
    assert (told["job.timezone"], told["track.max_gap"]) == ("UTC", "5 s")
    assert (told["boom.axle_behind_antenna"], told["boom.towed_axle"]) == ("unknown", "as towed")
    assert (told["boom.invert_switch"], told["report.units"], told["report.min_width"]) == ("false", "metric", "0.3 m")
    assert (told["accuracy.steering"], told["accuracy.replicates"], told["proof.max_bridged"]) == (
        "unknown",
        "200",
        "1 %",
    )
