"""What a person remembers: read, placed along the drive, laid over what was logged or assumed, never told as seen."""

import json
from dataclasses import replace

import numpy as np
import pytest
from jobs import FIELD_100_X_60, PLACE, START_S, WORKED_X, boom, job, log, parallel_passes, worked_job

from coverage_audit import run
from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.jobs.job import boom_state
from coverage_audit.jobs.places import Places
from coverage_audit.jobs.remembered import remembered_rows, row
from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.papers.proof.record import refuse
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.read.boom_times import parse_boom
from coverage_audit.recipe.audit import audit_job

TIMES, POINTS, GIVEN = parallel_passes(WORKED_X, 0.0, 100.0)
# the drive runs from 20:26:40 to 20:31:40 UTC on 2026-05-28 (START_S); 2.5 m/s, passes of 100 m, 10 m of run-in
SECOND_PASS_S = GIVEN[1][0]


def clock(seconds):
    """UTC time of day of a moment of the drive, to the second."""
    return np.datetime_as_string(np.datetime64(round(START_S + seconds), "s"))[11:]


def remembered(*rows, how="csv", timezone="UTC", **more):
    """The worked job with *rows* remembered."""
    one = worked_job(**more)
    checked = [row(each, "job.toml, boom.remembered") for each in rows]
    rows = remembered_rows({"remembered": checked}, one.logs, 0.0, timezone, Places("job.toml, "))
    settings = replace(one.settings, boom=replace(one.settings.boom, intervals=how))
    return replace(one, settings=settings, remembered=rows)


LOGGED = audit_job(worked_job())


def test_off_for_a_distance_takes_as_much_off():
    """40 m of a 10 m boom, amid the second pass, of which the third leaves 1 m bare beside it: 400 m2 more missed."""
    found = audit_job(remembered({"at": clock(SECOND_PASS_S + 12), "off_for": "40 m"}))
    assert found.area_m2.missed == pytest.approx(LOGGED.area_m2.missed + 400, abs=0.1)
    assert boom_state(found.job) == "remembered"


@pytest.mark.parametrize(
    ("end", "seconds"), [({"off_for": "10 s"}, 10.0), ({"off_until": clock(SECOND_PASS_S + 22)}, 10.0)]
)
def test_off_for_a_time_or_until_another(end, seconds):
    found = audit_job(remembered({"at": clock(SECOND_PASS_S + 12), **end}))
    assert found.time_on_s == pytest.approx(LOGGED.time_on_s - seconds, abs=0.01)


def test_on_where_the_log_says_off():
    turn = GIVEN[0][1] + 5
    found = audit_job(remembered({"at": clock(turn), "on_for": "4 s"}))
    assert found.time_on_s == pytest.approx(LOGGED.time_on_s + 4, abs=0.01)


def test_a_place_is_the_nearest_of_the_drive_or_the_nearest_at_that_time():
    lon, lat = Plane(PLACE).to_degrees(np.array([16.0]), np.array([50.0]))
    spot = {"lat": float(lat[0]), "lon": float(lon[0]), "off_for": "20 m"}
    found = audit_job(remembered(spot))
    (one,) = found.remembered.recalls
    assert one.start_s - START_S == pytest.approx(np.mean(GIVEN[1]), abs=0.2)  # middle of the second pass
    assert one.end_s - one.start_s == pytest.approx(8.0, abs=0.2)
    far = Plane(PLACE).to_degrees(np.array([16.0]), np.array([700.0]))
    with pytest.raises(InputError, match=r"came no nearer than 5\d\d m"):
        audit_job(remembered(spot | {"lat": float(far[1][0])}))


def test_local_times_are_of_the_jobs_zone_and_must_lie_in_the_log():
    """America/Denver is six hours behind UTC in May (IANA time zone database, from memory)."""
    here = remembered({"at": "14:27:30", "off_for": "5 s"}, timezone="America/Denver").remembered
    assert here[0].at_s == pytest.approx(START_S + 50)  # 20:27:30 UTC
    with pytest.raises(InputError, match=r'nothing was logged at "14:27:30".*20:26 to'):
        remembered({"at": "14:27:30", "off_for": "5 s"})


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"at": "20:27"}, "how long"),
        ({"off_for": "5 s"}, "from when or where"),
        ({"at": "20:27", "lat": 1.0, "off_for": "5 s"}, "both lat and lon"),
        ({"at": "20:27", "off_for": "5 s", "on_for": "5 s"}, "off_for and on_for"),
        ({"at": "20:27:30", "off_until": "20:27"}, "is not after"),
        ({"at": "25:00", "off_for": "5 s"}, "no time of a day"),
        ({"at": "20:27", "off_for": "5 L"}, "does not fit here"),
        ({"at": "20:27", "off": "5 s"}, "no such key"),
    ],
)
def test_rows_that_say_too_little_or_too_much(given, says):
    with pytest.raises(InputError, match=says) as caught:
        remembered(given)
    assert "boom.remembered" in caught.value.place


def test_a_memory_that_changes_nothing_is_told():
    found = audit_job(remembered({"at": clock(SECOND_PASS_S + 12), "on_for": "4 s"}))
    assert found.area_m2 == LOGGED.area_m2
    assert [one.code for one in found.cautions if "remembered" in one.code] == ["remembered", "remembered idle"]


def test_ranges_are_as_loose_as_the_memory():
    """Told to the minute the 40 m may lie in a turn, where nothing was sprayed: hardly any of it is sure."""
    rows = {"off_for": "40 m"}, {"off_for": "40 m", "within": "2 s"}
    loose, close = (
        audit_job(remembered({"at": clock(SECOND_PASS_S + 12)[: 5 if k == 0 else 8], **one}))
        for k, one in enumerate(rows)
    )
    wide, narrow = (one.remembered.ranges["missed"] for one in (loose, close))
    assert wide.high - wide.low > 1.2 * (narrow.high - narrow.low)
    assert narrow.low <= close.area_m2.missed <= narrow.high
    told = terminal_text(close)
    assert "REMEMBERED" in told
    assert "proven covered" not in told


def test_no_paper_tells_a_memory_as_seen():
    found = audit_job(remembered({"at": clock(SECOND_PASS_S + 12), "off_for": "40 m"}))
    papers = run.papers(found)
    told = json.loads(papers["summary.json"])
    assert told["area_m2"]["proven"] is None
    assert told["remembered"]["rows"][0]["said"] == clock(SECOND_PASS_S + 12)
    assert told["remembered"]["rows"][0]["start_within_s"] == 10.0
    assert told["assumed"] is False
    strip = max(told["missed_strips"], key=lambda one: one["mean_width_m"])
    assert strip["cause"]["words"].endswith("as remembered")
    for name in ("report.html", "findings.geojson", "missed.gpx"):
        assert "remembered" in papers[name].casefold(), name
    with pytest.raises(InputError, match="remembered, so coverage cannot be proven"):
        refuse([found], found.job.settings.proof, "2026-06-01T08:00:00Z")


def test_rows_of_a_file_are_remembered_one_by_one():
    lines = [
        f"{np.datetime_as_string(np.datetime64(int((START_S + a) * 1000), 'ms'))}Z,"
        f"{np.datetime_as_string(np.datetime64(int((START_S + b) * 1000), 'ms'))}Z"
        for a, b in GIVEN
    ]
    text = "on,off,how,within\n" + "\n".join(
        f"{one},{'remembered,20 s' if k == 1 else 'marked,' if k == 2 else ','}" for k, one in enumerate(lines)
    )
    rows = parse_boom(text, "boom.csv", 1)
    assert [one.how for one in rows[:3]] == ["logged", "remembered", "marked"]
    found = audit_job(replace(worked_job(), intervals=rows))
    assert found.area_m2.missed == pytest.approx(LOGGED.area_m2.missed, abs=0.5)
    (one,) = found.remembered.recalls
    assert (one.place, one.start_within_s) == ("boom.csv, line 3", 20.0)
    told = found.remembered.ranges["missed"]
    # the ends of one pass of 10 m, 20 s of 2.5 m/s: up to 500 m2 at either end
    assert told.high > LOGGED.area_m2.missed + 200
    with pytest.raises(InputError, match="stands under how"):
        parse_boom(text.replace("marked", "guessed"), "boom.csv", 1)


def test_a_memory_over_an_assumed_state_stays_assumed():
    found = audit_job(remembered({"at": clock(SECOND_PASS_S + 12), "off_for": "40 m"}, how="assume"))
    plain = audit_job(remembered(how="assume"))
    assert boom_state(found.job) == "assumed"
    assert found.area_m2.missed == pytest.approx(plain.area_m2.missed + 400, abs=2.0)
    assert found.assumed.ranges["missed"].low > plain.assumed.ranges["missed"].low + 100
    assert len(found.remembered.recalls) == 1


@pytest.mark.parametrize(
    ("how", "source", "kind"),
    [
        (("logged",), "csv", "logged"),
        (("logged", "marked"), "csv", "marked"),
        (("marked", "remembered"), "csv", "remembered"),
        (("remembered", "proposed"), "csv", "assumed"),
        ((), "marks", "marked"),
        ((), "log", "logged"),
        ((), "segments", "logged"),
        ((), "assume", "assumed"),
    ],
)
def test_the_least_certain_row_names_the_kind(how, source, kind):
    one = job(log(TIMES, POINTS), GIVEN[: len(how)], FIELD_100_X_60, boom=boom(10.0, intervals=source))
    rows = tuple(replace(each, how=name) for each, name in zip(one.intervals, how, strict=True))
    assert boom_state(replace(one, intervals=rows)) == kind


def test_with_the_receivers_error_one_range_holds_both():
    stated = AccuracySettings(steering="hand", sigma_m=0.05, replicates=40)
    found = audit_job(remembered({"at": clock(SECOND_PASS_S + 12), "off_for": "40 m"}, accuracy=stated))
    plain = audit_job(worked_job(accuracy=stated))
    wide, narrow = (one.accuracy.missed_m2.high90 - one.accuracy.missed_m2.low90 for one in (found, plain))
    assert wide > narrow + 50
