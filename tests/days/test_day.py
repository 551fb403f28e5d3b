"""Days that are awkward to cut: several loggers, neighbours, ground done again, what cannot be used."""

import dataclasses
import datetime as dt
import errno
import json
import os
import zipfile
import zoneinfo
from itertools import pairwise

import numpy as np
import pytest
import shapely
from cautions_of_files import sentences
from contractor_week import FIELDS, Day, at, gpx_text, ground, lay_out, nmea_text, text_of
from simulator.files import sentence
from simulator.jobs import Stop

from coverage_audit import run
from coverage_audit.cli import command as cli
from coverage_audit.errors import InputError
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.day_files import local_text

ONE = {"Long acre": FIELDS["Long acre"]}
PAIR = {name: FIELDS[name] for name in ("Sorrel flat", "Sorrel flat, far side")}


def day_of(machine="tractor", kind="switch", clock_s=None, seed=900):
    return Day(machine, kind, at(1, 8) if clock_s is None else clock_s, seed)


@pytest.fixture
def cut(tmp_path):
    """Facts of the days of a farm, whose folder is the temporary one."""

    def run_it(days, fields=ONE, **more):
        lay_out(tmp_path, days, fields)
        return run.day_cut(tmp_path, **more).facts

    return run_it


def spans(facts):
    return [(job["field"], *(dt.datetime.fromisoformat(job[key]).timestamp() for key in ("start", "end")))
            for job in facts["jobs"]]  # fmt: skip


def near(facts, *truths):
    """Whether the jobs are those of these truths, each within 5 s (requirement)."""
    found = spans(facts)
    assert [one[0] for one in found] == [one.name for one in truths]
    for (_, start, end), one in zip(found, truths, strict=True):
        assert start == pytest.approx(one.start_s, abs=5)
        assert end == pytest.approx(one.end_s, abs=5)


# --- what is one job ------------------------------------------------------------------------------


def test_a_long_refill_does_not_part_a_job(cut):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"], stops=(Stop(2, 0.5, 5000.0),))
    day.drive_to((0, 0))
    near(cut({"logs/tractor/a.nmea": day}), *day.truth())


def test_another_day_parts_a_job_and_midnight_alone_does_not(cut):
    night = day_of(clock_s=at(2, 23, 46))
    night.spray("Long acre", FIELDS["Long acre"], stops=(Stop(2, 0.5, 900.0),))
    (truth,) = night.truth()
    places, inside = truth.job.antenna_m, FIELDS["Long acre"].buffer(10)
    away = truth.job.times_s[~shapely.contains_xy(inside, *places.T)]
    assert away[0] < at(3, 0) < away[-1]  # midnight falls into the refill
    near(cut({"logs/tractor/a.nmea": night}), truth)
    left, right = (shapely.box(-500 + 80 * k, -400, -420 + 80 * k, -330) for k in range(2))
    days = [day_of(clock_s=at(3, 18)), day_of(clock_s=at(4, 7), seed=901)]
    for one, half in zip(days, (left, right), strict=True):
        one.spray("Long acre", half)
        one.drive_to((0, 0))
    facts = cut(
        {"logs/tractor/a.nmea": days[0], "logs/tractor/b.nmea": days[1]},
        logs=["logs/tractor/a.nmea", "logs/tractor/b.nmea"],
    )
    near(facts, *(one.truth()[0] for one in days))


def test_morning_and_evening_on_new_ground_are_one_job(cut):
    left, right = (shapely.box(-500 + 80 * k, -400, -420 + 80 * k, -330) for k in range(2))
    day = day_of()
    day.spray("Long acre", left)
    day.drive_to((0, 0))
    day.stand(4 * 3600)
    day.spray("Long acre", right)
    truth = day.truth()
    near(cut({"logs/tractor/a.nmea": day}), dataclasses.replace(truth[0], end_s=truth[1].end_s))


def test_two_neighbours_worked_in_turns_are_two_jobs_each_with_its_own_boom_times(tmp_path):
    """Half of one, the other, then the rest of the first: the log was on elsewhere in between."""
    west, east = PAIR.values()
    x0, y0, x1, y1 = west.bounds
    low, high = shapely.box(x0, y0, x1, 245.0), shapely.box(x0, 245.0, x1, y1)
    day = day_of("hired", "marks")
    for name, part in (("Sorrel flat", low), ("Sorrel flat, far side", east), ("Sorrel flat", high)):
        day.spray(name, part)
        day.drive_to((360, 150))
    lay_out(tmp_path, {"logs/hired/a.gpx": day}, PAIR)
    result = run.day_cut(tmp_path)
    first, other, last = day.truth()
    near(result.facts, dataclasses.replace(first, end_s=last.end_s), other)
    assert [job["intervals"] for job in result.facts["jobs"]] == ["boom.csv", "marks"]
    assert cli.main(["day", str(tmp_path), "--quiet"]) == 0
    intervals = read_job(tmp_path / result.facts["jobs"][0]["job"] / "job.toml").intervals
    assert {one.how for one in intervals} == {"marked"}  # as in the log they come from
    on = sum(one.off_s - one.on_s for one in intervals)
    true = sum(b - a for one in (first, last) for a, b in one.job.on_intervals)
    # each of some twenty portions may lose up to half a second at either end, between two fixes
    assert on == pytest.approx(true, abs=0.5 * 2 * len(intervals))


def test_a_swath_over_the_shared_edge_makes_no_job_of_the_neighbour_and_is_told(cut):
    day = day_of()
    x0, y0, x1, y1 = FIELDS["Sorrel flat"].bounds
    day.spray("Sorrel flat", shapely.box(x0, y0, x1 + 6, y1))  # six metres of it lie on the neighbour
    facts = cut({"logs/tractor/a.nmea": day}, PAIR)
    assert [job["field"] for job in facts["jobs"]] == ["Sorrel flat"]
    ((over,),) = [job["over_edge"] for job in facts["jobs"]]
    assert over["field"] == "Sorrel flat, far side"
    # 6 m x 90 m sprayed beyond; corners are rounded and swaths end square
    assert over["area_m2"] == pytest.approx(540, rel=0.1)


def test_ground_sprayed_again_is_another_job_even_without_leaving_the_field(cut):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    day.stand(600)
    day.spray("Long acre", FIELDS["Long acre"], heading_deg=90.0)
    facts = cut({"logs/tractor/a.nmea": day})
    assert len(facts["jobs"]) == 2
    (_, start, parted), (_, again, end) = spans(facts)
    first, second = (one.job for one in day.truth())
    assert first.times_s[-1] <= parted <= again <= second.times_s[0] + 60
    assert (start, end) == (pytest.approx(first.times_s[0], abs=5), pytest.approx(second.times_s[-1], abs=5))


# --- loggers --------------------------------------------------------------------------------------


def test_of_two_loggers_of_one_machine_the_one_that_knows_the_boom_is_taken(cut, tmp_path):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    phone = dataclasses.replace(day, kind="plain", seed=77)
    facts = cut({"logs/tractor/a.nmea": day, "logs/tractor/phone.gpx": phone})
    near(facts, *day.truth())
    assert facts["jobs"][0]["logs"] == ["logs/tractor/a.nmea"]
    assert {one["log"]: one["replaced_fixes"] > 100 for one in facts["logs"]} == {
        "logs/tractor/a.nmea": False,
        "logs/tractor/phone.gpx": True,
    }
    assert "another log of tractor has their time" in run.day_cut(tmp_path).text()


def test_a_machine_whose_log_comes_a_day_later_is_joined_to_the_one_before(tmp_path):
    """Its job names the other; that one is never written again, so the person is told what to add there."""
    x0, y0, x1, y1 = FIELDS["Long acre"].bounds
    halves = (shapely.box(x0, y0, x1, (y0 + y1) / 2), shapely.box(x0, (y0 + y1) / 2, x1, y1))
    days = [day_of(), day_of("hired", "marks")]
    for day, half in zip(days, halves, strict=True):
        day.spray("Long acre", half)
    lay_out(tmp_path, {"logs/tractor/a.nmea": days[0], "logs/hired/a.gpx": days[1]})
    later = (tmp_path / "logs/hired/a.gpx").rename(tmp_path / "kept.gpx")
    assert cli.main(["day", str(tmp_path), "--quiet"]) == 0
    later.rename(tmp_path / "logs/hired/a.gpx")
    first = run.day_cut(tmp_path, [tmp_path / "logs/tractor/a.nmea"]).facts["jobs"][0]["job"]
    before = (tmp_path / first / "job.toml").read_bytes()
    found = run.day_cut(tmp_path)
    (job,) = found.facts["jobs"]
    assert job["beside"] == [first]
    name = first.removeprefix("jobs/")
    assert f'together = ["../{name}/job.toml"]' in found.files[f"{job['job']}/job.toml"]
    own = job["job"].removeprefix("jobs/")
    assert f'write together = ["../{own}/job.toml"] under [job] in it' in found.text()
    assert cli.main(["day", str(tmp_path), "--quiet"]) == 0
    assert (tmp_path / first / "job.toml").read_bytes() == before


def test_a_log_in_two_parts_is_one_job_of_both(cut):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    parts = [dataclasses.replace(day), dataclasses.replace(day)]
    times, places, on = (np.concatenate(column) for column in (day.times, day.places, day.on))
    half = len(times) // 2
    for one, part in zip(parts, (slice(0, half), slice(half, None)), strict=True):
        one.times, one.places, one.on = [times[part]], [places[part]], [on[part]]
    facts = cut({"logs/tractor/a.nmea": parts[0], "logs/tractor/b.nmea": parts[1]})
    near(facts, *day.truth())
    assert facts["jobs"][0]["logs"] == ["logs/tractor/a.nmea", "logs/tractor/b.nmea"]


def in_parts(day, cuts):
    """The day's log in parts, each with its share of the times."""
    times, places, on = (np.concatenate(column) for column in (day.times, day.places, day.on))
    edges = [0, *(round(len(times) * cut) for cut in cuts), len(times)]
    return [
        dataclasses.replace(day, times=[times[a:b]], places=[places[a:b]], on=[on[a:b]]) for a, b in pairwise(edges)
    ]


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1)])
def test_a_zip_file_of_several_logs_is_cut_as_the_one_log_that_they_are(tmp_path, order):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    parts = in_parts(day, (0.3, 0.6))
    lay_out(tmp_path, {"logs/tractor/a.nmea": day}, ONE)
    whole = run.day_cut(tmp_path).facts
    (tmp_path / "logs" / "tractor" / "a.nmea").unlink()
    with zipfile.ZipFile(tmp_path / "logs" / "tractor" / "day.zip", "w") as archive:
        for number, k in enumerate(order):
            archive.writestr(f"part {number}.nmea", text_of(parts[k]))
    found = run.day_cut(tmp_path)
    assert spans(found.facts) == spans(whole)
    (made,) = found.facts["jobs"]
    assert made["logs"] == ["logs/tractor/day.zip"]
    for name, text in found.files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    job = read_job(tmp_path / made["job"] / "job.toml")
    assert sum(len(log.fixes) > 0 for log in job.logs) == 3


def test_a_job_in_one_log_of_a_zip_file_leaves_the_others_aside_and_says_so(tmp_path):
    day = day_of()
    for name, field in PAIR.items():
        day.spray(name, field)
    lay_out(tmp_path, {}, PAIR)
    edge = (np.searchsorted(np.concatenate(day.times), day.truth()[1].start_s) - 20) / len(np.concatenate(day.times))
    (tmp_path / "logs" / "tractor").mkdir()
    with zipfile.ZipFile(tmp_path / "logs" / "tractor" / "day.zip", "w") as archive:
        for number, part in enumerate(in_parts(day, (edge,))):
            archive.writestr(f"part {number}.nmea", text_of(part))
    found = run.day_cut(tmp_path)
    near(found.facts, *day.truth())
    for name, text in found.files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    last = read_job(tmp_path / found.facts["jobs"][1]["job"] / "job.toml")
    assert [log.file for log in last.logs] == ["day.zip, part 1.nmea"]
    assert any("day.zip, part 0.nmea: none of its" in text for text in sentences(last))


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        (lambda day: [day, day], "tell of the same time; unpack them, and keep one"),
        (lambda day: [*in_parts(day, (0.5,))[:1], dataclasses.replace(in_parts(day, (0.5,))[1], kind="plain")],
         "some of its logs tell when the boom was on and some do not"),
    ],
)  # fmt: skip
def test_logs_in_a_zip_file_that_are_no_parts_of_one_are_told(tmp_path, parts, said):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    lay_out(tmp_path, {}, ONE)
    (tmp_path / "logs" / "tractor").mkdir()
    with zipfile.ZipFile(tmp_path / "logs" / "tractor" / "day.zip", "w") as archive:
        for number, part in enumerate(parts(day)):
            archive.writestr(f"part {number}.log", text_of(part))
    with pytest.raises(InputError, match=said):
        run.day_cut(tmp_path)


def test_a_phone_that_wanders_and_loses_its_track_now_and_then_is_no_boom_state(tmp_path):
    """1 Hz, 0.9 m of wandering error (autonomous class of the audit), segments cut by lost satellites."""
    day = day_of("quad", "plain")
    day.spray("Long acre", FIELDS["Long acre"])
    day.drive_to((0, 0))
    times, places, _ = day.logged(white_m=0.05, drift_m=0.9)
    text = gpx_text(
        times, places, [(times[k], times[min(k + 180, len(times) - 1)]) for k in range(0, len(times), 200)], "segments"
    )
    lay_out(tmp_path, {}, ONE)
    (tmp_path / "logs" / "quad").mkdir()
    (tmp_path / "logs" / "quad" / "phone.gpx").write_text(text)
    facts = run.day_cut(tmp_path).facts
    near(facts, *day.truth())
    assert facts["jobs"][0]["intervals"] == "assume"


def test_a_boom_that_was_never_on_makes_no_job(cut):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    day.on = [np.zeros_like(one) for one in day.on]
    facts = cut({"logs/tractor/a.nmea": day})
    assert facts["jobs"] == []
    ((field, why),) = [(one["field"], one["why"]) for one in facts["not_jobs"]]
    assert (field, why) == ("Long acre", "the boom was off")


def test_what_the_farm_says_of_the_state_counts_where_the_log_holds_it(cut, tmp_path):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    phone = dataclasses.replace(day, kind="plain", seed=77)
    lay_out(tmp_path, {"logs/tractor/phone.gpx": phone}, ONE)
    farm = tmp_path / "farm.toml"
    for word, wanted in (("log", "assume"), ("marks", "assume"), ("assume", "assume")):
        farm.write_text(f'[machine.tractor]\nboom.width = "12 m"\nboom.intervals = "{word}"\n')
        facts = run.day_cut(tmp_path).facts
        near(facts, *day.truth())
        assert facts["jobs"][0]["intervals"] == wanted
    facts = cut({"logs/tractor/a.nmea": day}, logs=["logs/tractor/a.nmea"])
    assert facts["jobs"][0]["intervals"] == "log"


def test_sections_that_the_farm_does_not_know_are_no_hindrance(tmp_path):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    lay_out(tmp_path, {"logs/tractor/a.nmea": day}, ONE)
    path = tmp_path / "logs" / "tractor" / "a.nmea"
    lines = []
    for line in path.read_text().splitlines(keepends=True):
        state = line.split(",")[2] if "XDR" in line else None
        lines += [line] if state is None else [sentence(f"IIXDR,S,{state},,BOOM{k}") for k in (1, 2, 3)]
    path.write_text("".join(lines))
    facts = run.day_cut(tmp_path).facts
    near(facts, *day.truth())
    assert facts["jobs"][0]["intervals"] == "log"


def test_driving_by_on_the_road_is_no_visit(cut):
    day = day_of()
    day.drive_to((-520, -326))  # the field's edge lies at -330: within reach of the boom
    day.drive_to((-320, -326), 2.0)
    facts = cut({"logs/tractor/a.nmea": day})
    assert (facts["jobs"], facts["not_jobs"], facts["unknown"]) == ([], [], [])


def test_the_way_to_the_yard_and_back_is_no_unknown_ground(cut):
    day = day_of("quad", "plain")
    for _ in range(6):  # each way on its own side of the road, a boom's width apart
        day.drive_to((-300, 0), 5.0)
        day.drive_to((-300, 6), 5.0)
        day.drive_to((0, 6), 5.0)
        day.drive_to((0, 0), 5.0)
    assert cut({"logs/quad/a.gpx": day})["unknown"] == []


# --- what a person must put right -----------------------------------------------------------------


def told(tmp_path, capsys, *arguments):
    code = cli.main(["day", str(tmp_path), *arguments])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


@pytest.fixture
def simple(tmp_path):
    day = day_of()
    day.spray("Long acre", FIELDS["Long acre"])
    lay_out(tmp_path, {"logs/tractor/a.nmea": day}, ONE)
    return tmp_path


def test_a_dry_run_writes_nothing(simple, capsys):
    before = sorted(simple.rglob("*"))
    code, out, _ = told(simple, capsys, "--dry-run")
    assert code == 0
    assert "would be made" in out
    assert sorted(simple.rglob("*")) == before


def test_a_log_that_fits_no_field_is_told(simple, capsys):
    day = day_of("tractor", "plain", at(1, 20))
    day.drive_to((5000, 5000))
    (simple / "logs" / "tractor" / "far.gpx").write_text(text_of(day))
    code, out, _ = told(simple, capsys)
    assert code == 0
    assert "logs/tractor/far.gpx: it fits no field" in out


def test_a_log_that_cannot_be_read_stops_no_other(simple, capsys):
    (simple / "logs" / "tractor" / "b.gpx").write_text("<gpx")
    code, out, _ = told(simple, capsys)
    assert code == 0
    assert "1\xa0job found." in out
    assert "logs/tractor/b.gpx was not read" in out
    assert "b.gpx" not in (simple / "jobs" / "cut.json").read_text()
    code, _, err = told(simple, capsys, str(simple / "logs" / "tractor" / "b.gpx"))
    assert (code, err.count("\n")) == (2, 1)


def test_a_job_without_its_log_is_told(simple, capsys):
    assert told(simple, capsys)[0] == 0
    (simple / "logs" / "tractor" / "a.nmea").rename(simple / "logs" / "tractor" / "b.nmea")
    code, out, _ = told(simple, capsys)
    assert code == 0
    assert "jobs/2026-06-01-long-acre: its log logs/tractor/a.nmea is not there" in out


def test_a_job_file_that_cannot_be_read_is_told_and_left(simple, capsys):
    assert told(simple, capsys)[0] == 0
    job = simple / "jobs" / "2026-06-01-long-acre" / "job.toml"
    job.write_text("[job\n")
    code, out, _ = told(simple, capsys, "logs/tractor/a.nmea")
    assert code == 0
    assert "jobs/2026-06-01-long-acre (there already, left as it is" in out
    assert "jobs/2026-06-01-long-acre: its job file cannot be read: this is not TOML" in out
    assert job.read_text() == "[job\n"
    assert [path.name for path in (simple / "jobs").iterdir() if path.is_dir()] == ["2026-06-01-long-acre"]


def test_times_are_told_as_the_clock_on_the_farm_showed_them(simple, capsys):
    _, out, _ = told(simple, capsys)
    assert "Long acre, 2026-06-01 08:01 to 08:0" in out


@pytest.mark.parametrize(
    ("change", "arguments", "said"),
    [
        (lambda farm: (farm / "farm.toml").write_text("[farm]\n"), (), "it has no machine"),
        (lambda farm: (farm / "farm.toml").write_text("[farm]\nzone = 'UTC'\n"), (), "farm.toml, farm.zone"),
        (lambda farm: (farm / "farm.toml").write_text("[machine.tractor]\n"), (), "the boom has no width"),
        (lambda farm: (farm / "logs" / "tractor").rename(farm / "logs" / "other"), (), "say which machine made it"),
        (lambda _: None, ("--machine", "tracktor"), 'did you mean "tractor"?'),
        (lambda _: None, ("logs/nowhere.gpx",), "there is no such log"),
        (lambda farm: (farm / "logs" / "tractor" / "a.nmea").unlink(), (), "there is no log to cut"),
        (
            lambda farm: (farm / "fields" / "g.geojson").write_text((farm / "fields" / "f0.geojson").read_text()),
            (),
            'two fields are named "Long acre"',
        ),
    ],
)
def test_what_is_wrong_is_told_in_one_line_and_nothing_is_written(simple, capsys, change, arguments, said):
    change(simple)
    before = sorted(path for path in simple.rglob("*") if path.is_file())
    code, _, err = told(simple, capsys, *arguments)
    assert code == 2
    assert said in err
    assert err.count("\n") == 1
    assert sorted(path for path in simple.rglob("*") if path.is_file()) == before


def test_a_log_elsewhere_is_not_cut(simple, capsys, tmp_path_factory):
    outside = tmp_path_factory.mktemp("card") / "a.nmea"
    outside.write_bytes((simple / "logs" / "tractor" / "a.nmea").read_bytes())
    code, _, err = told(simple, capsys, str(outside))
    assert code == 2
    assert "is not in the farm's folder" in err


def test_a_full_disk_leaves_whole_jobs_and_the_next_run_makes_the_rest(tmp_path, capsys, monkeypatch):
    day = day_of()
    for name in ("Kiln piece", "Tarn side"):
        day.spray(name, FIELDS[name])
        day.drive_to((0, 0))
    lay_out(tmp_path, {"logs/tractor/a.nmea": day}, {name: FIELDS[name] for name in ("Kiln piece", "Tarn side")})
    real, count = os.open, []

    def full(path, flags, *rest, **more):
        if "tarn-side" in str(path) and flags & os.O_CREAT and not count:
            count.append(path)
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(path, flags, *rest, **more)

    monkeypatch.setattr(os, "open", full)
    code, _, err = told(tmp_path, capsys)
    assert (code, err.count("\n")) == (2, 1)
    assert "No space left on device" in err
    whole = tmp_path / "jobs" / "2026-06-01-kiln-piece" / "job.toml"
    before = whole.read_bytes()
    assert not (tmp_path / "jobs" / "2026-06-01-tarn-side").exists()
    code, out, _ = told(tmp_path, capsys, "--json")
    assert code == 0
    assert [(job["job"], job["made"]) for job in json.loads(out)["jobs"]] == [
        ("jobs/2026-06-01-kiln-piece", False),
        ("jobs/2026-06-01-tarn-side", True),
    ]
    assert whole.read_bytes() == before
    read_job(tmp_path / "jobs" / "2026-06-01-tarn-side" / "job.toml")


def test_a_draft_kept_as_a_field_is_cut_the_next_time(tmp_path, capsys):
    day = day_of("quad", "plain")
    day.spray("", FIELDS["Long acre"])
    lay_out(tmp_path, {"logs/quad/a.gpx": day}, {})
    assert told(tmp_path, capsys)[0] == 0
    draft = next((tmp_path / "drafts").iterdir())
    assert cli.main(["field", "add", str(tmp_path), str(draft), "--name", "Found", "--quiet"]) == 0
    code, out, _ = told(tmp_path, capsys, "--json")
    assert code == 0
    assert [job["field"] for job in json.loads(out)["jobs"]] == ["Found"]
    job = read_job(tmp_path / json.loads(out)["jobs"][0]["job"] / "job.toml")
    assert job.derived_outline


def test_an_hour_told_twice_is_written_so_that_it_is_read_back():
    zone = zoneinfo.ZoneInfo("America/Boise")
    for hour_utc, text in (
        (7, "2026-11-01T01:30:00"),
        (8, "2026-11-01T01:30:00-07:00"),
        (9, "2026-11-01T02:30:00"),
    ):
        moment = dt.datetime(2026, 11, 1, hour_utc, 30, tzinfo=dt.UTC).timestamp()
        assert local_text(moment, zone) == text
        read = dt.datetime.fromisoformat(text)
        assert (read if read.tzinfo else read.replace(tzinfo=zone)).timestamp() == moment


def test_fields_of_a_log_are_told_whatever_its_form():
    """The NMEA and GPX texts of one day hold the same fixes."""
    day = day_of()
    day.spray("Long acre", ground(-500, -400, 60, 60))
    times, places, on = day.logged()
    assert nmea_text(times, places, on).count("GGA") == gpx_text(times, places, [], "plain").count("<trkpt")
