"""Whole jobs from files, against figures worked out by hand in each fixture's HOW.md."""

import json
from pathlib import Path

import make_fixtures
import pytest

from coverage_audit.cli import main

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAMES = sorted(path.parent.name for path in FIXTURES.glob("*/expected.json"))


@pytest.mark.parametrize("name", NAMES)
def test_figures_are_those_worked_out_by_hand(name, tmp_path, capsys):
    folder = FIXTURES / name
    expected = json.loads((folder / "expected.json").read_text(encoding="utf-8"))
    assert main(["check", str(folder / "job.toml"), "-o", str(tmp_path / "out"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found == json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))
    near = 1e-3 * expected["area_m2"]["field"]  # 0.1 % of the field at 1 Hz
    for group in ("area_m2", "volume_l", "rate_l_ha", "time_s"):
        for key, value in expected.get(group, {}).items():
            assert found[group][key] == pytest.approx(value, abs=near if group == "area_m2" else 1e-3 * value), key
    strips = found["missed_strips"]
    assert len(strips) == expected["strips"]
    assert strips[0]["where"] == expected.get("where", strips[0]["where"])
    assert found["checks"]["ok"]


def test_fixtures_are_what_their_script_writes(tmp_path, monkeypatch):
    monkeypatch.setattr(make_fixtures, "FIXTURES", tmp_path)
    for write in (
        make_fixtures.one_pass_off,
        make_fixtures.sections_by_log,
        make_fixtures.late_on_by_marks,
        make_fixtures.forgotten_pass_by_segments,
    ):
        write()
    assert sorted(path.name for path in tmp_path.iterdir()) == NAMES
    for path in (path for name in NAMES for path in (FIXTURES / name).iterdir()):
        assert path.read_bytes() == (tmp_path / path.relative_to(FIXTURES)).read_bytes(), path.name
