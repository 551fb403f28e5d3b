"""A contractor's week: every job is found at its time, none is invented, and each is as if a hand had cut it."""

import dataclasses
import datetime as dt
import json

import pytest
from contractor_week import FARM_TOML, FIELDS, PLANE, UNKNOWN, gpx_text, lay_out, nmea_text, week

from coverage_audit import run
from coverage_audit.cli import command as cli
from coverage_audit.read.outlines.registry import read_field

WITHIN_S = 5.0
"""Start and end of every job. [s] (requirement)"""

AS_BY_HAND = 1e-4
"""Areas against those of a log cut by hand, as a share of the field. [1] (requirement)"""


@pytest.fixture(scope="module")
def days():
    return week()


@pytest.fixture(scope="module")
def farm(tmp_path_factory, days):
    folder = tmp_path_factory.mktemp("week") / "Wren"
    lay_out(folder, days)
    return folder


@pytest.fixture(scope="module")
def found(farm):
    """What ``day --json`` prints; its files are written."""
    with pytest.MonkeyPatch.context() as patch:
        printed = []
        patch.setattr("coverage_audit.cli.terminal.show_json", printed.append)
        assert cli.main(["day", str(farm), "--json"]) == 0
    return json.loads(printed[0])


def seconds(text):
    return dt.datetime.fromisoformat(text).timestamp()


def truths(days):
    return sorted((one for day in days.values() for one in day.truth() if one.name), key=lambda one: one.start_s)


def test_every_job_is_found_at_its_time_and_none_is_invented(days, found):
    truth = truths(days)
    assert len(truth) == 10
    assert [(job["field"], job["machine"]) for job in found["jobs"]] == [(one.name, one.machine) for one in truth]
    for job, one in zip(found["jobs"], truth, strict=True):
        assert seconds(job["start"]) == pytest.approx(one.start_s, abs=WITHIN_S), job
        assert seconds(job["end"]) == pytest.approx(one.end_s, abs=WITHIN_S), job


def test_folders_are_named_by_local_day_and_field(found):
    assert [job["job"].removeprefix("jobs/") for job in found["jobs"]] == [
        *("2026-06-01-kiln-piece", "2026-06-01-tarn-side", "2026-06-01-sorrel-flat", "2026-06-01-sorrel-flat-far-side"),
        *("2026-06-01-kiln-piece-2", "2026-06-02-long-acre", "2026-06-02-two-trees", "2026-06-02-two-trees-2"),
        *("2026-06-02-hollow", "2026-06-03-night-meadow"),  # the last ends after midnight of the day it began on
    ]
    assert all(job["made"] for job in found["jobs"])


def test_boom_state_is_taken_from_what_each_log_holds(found):
    told = {job["logs"][0]: job["intervals"] for job in found["jobs"]}
    assert told == {
        "logs/quad/monday.gpx": "assume",
        "logs/quad/tuesday.gpx": "assume",
        "logs/tractor/monday.nmea": "log",
        "logs/tractor/tuesday.nmea": "log",
        "logs/hired/tuesday.gpx": "segments",
        "logs/hired/wednesday.gpx": "marks",
    }


def test_a_visit_for_scouting_is_told_as_none(found):
    (visit,) = found["not_jobs"]
    assert (visit["field"], visit["why"]) == ("Goat hill", "nothing looks like passes")


def test_ground_of_no_field_is_offered_with_its_driven_edge(found, farm):
    (ground,) = found["unknown"]
    (draft,) = read_field(farm / ground["draft"]).areas
    true = UNKNOWN.intersection(PLANE.geometry_to_metres(draft.geometry)).area
    # a draft: the headland was driven half a boom inside the edge and corners were rounded
    assert true / UNKNOWN.area > 0.95
    assert ground["area_m2"] / UNKNOWN.area < 1.05
    x, y = PLANE.to_metres(ground["lon"], ground["lat"])
    assert UNKNOWN.contains_properly(PLANE.geometry_to_metres(draft.geometry).representative_point())
    assert 900 < x < 990
    assert 700 < y < 780
    assert read_field(farm / ground["draft"]).derived


def test_two_machines_in_one_field_are_told_of_each_other(found, farm):
    one, other = (job for job in found["jobs"] if job["field"] == "Two trees")
    assert (one["beside"], other["beside"]) == ([other["job"]], [one["job"]])
    for job, beside in ((one, other), (other, one)):
        name = beside["job"].removeprefix("jobs/")
        assert f'together = ["../{name}/job.toml"]' in (farm / job["job"] / "job.toml").read_text()
    areas = [
        run.audited(run.read(farm / job["job"] / "job.toml", replicates=0)).together.area_m2 for job in (one, other)
    ]
    # each has the other's log in a plane about its own track, and thins its own drive: 0.01 % of the field, 1.3 ha
    assert areas[0] == pytest.approx(areas[1], abs=1.3)
    assert areas[0]["covered"] > 0.97 * areas[0]["target"]


def test_what_fell_over_a_shared_edge_is_told_with_the_neighbour(found):
    told = {job["field"]: [one["field"] for one in job["over_edge"]] for job in found["jobs"]}
    assert set(told["Sorrel flat"]) <= {"Sorrel flat, far side"}
    assert not any(over for name, over in told.items() if not name.startswith("Sorrel"))


@pytest.mark.parametrize("number", [0, 1, 4, 6, 7, 8, 9])
def test_areas_of_a_job_are_as_if_a_hand_had_cut_its_log(number, found, farm, days, tmp_path):
    """Jobs with a logged boom state, from their file alone, each as if no other machine had been there."""
    told, truth = found["jobs"][number], truths(days)[number]
    alone = dataclasses.replace(run.read(farm / told["job"] / "job.toml", replicates=0), together=())
    made = run.summary(run.audited(alone))
    day = next(day for name, day in days.items() if name == told["logs"][0])
    times, places, on = day.logged()
    part = (times >= truth.job.times_s[0] - 1e-6) & (times <= truth.job.times_s[-1] + 1e-6)
    text = nmea_text(times[part], places[part], on[part])
    if day.kind != "switch":
        text = gpx_text(times[part], places[part], truth.job.on_intervals, day.kind)
    (tmp_path / "log").write_text(text)
    (tmp_path / "field.geojson").write_bytes((farm / "fields" / f"f{[*FIELDS].index(truth.name)}.geojson").read_bytes())
    (tmp_path / "farm.toml").write_text(FARM_TOML)
    (tmp_path / "job.toml").write_text(
        f'[job]\nfarm = "farm.toml"\nmachine = "{truth.machine}"\n[field]\nboundary = "field.geojson"\n'
        f'[track]\nfiles = "log"\n[boom]\nintervals = "{told["intervals"]}"\n'
    )
    by_hand = run.summary(run.audited(run.read(tmp_path / "job.toml", replicates=0)))
    field = by_hand["area_m2"]["field"]
    for name in ("field", "target", "covered", "missed", "double", "outside", "swept"):
        assert made["area_m2"][name] == pytest.approx(by_hand["area_m2"][name], abs=AS_BY_HAND * field), name


def test_a_second_run_makes_nothing_and_loses_nothing(found, farm, capsys):
    edited = farm / found["jobs"][0]["job"] / "job.toml"
    edited.write_text(edited.read_text() + '\n[rate]\ntarget = "140 L/ha"\n')
    before = {path: path.read_bytes() for path in (farm / "jobs").rglob("*") if path.is_file()}
    # only the log with unknown ground is looked at again
    assert cli.main(["day", str(farm), "--json"]) == 0
    assert [one["log"] for one in json.loads(capsys.readouterr().out)["logs"]] == ["logs/quad/wednesday.gpx"]
    assert cli.main(["day", str(farm), str(farm / "logs/tractor/monday.nmea"), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)["jobs"]
    assert [(job["job"], job["made"]) for job in again] == [
        (job["job"], False) for job in found["jobs"] if job["logs"] == ["logs/tractor/monday.nmea"]
    ]
    assert {path: path.read_bytes() for path in (farm / "jobs").rglob("*") if path.is_file()} == before
