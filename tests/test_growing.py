"""The house grows in few places: a new form of track log and a new job key are one file each."""

import datetime as dt
import gzip
import re
from pathlib import Path

import numpy as np
import pytest
from nmea_text import epochs, log_of
from toy_key import REPORT, ToySettings
from toy_track import TOY

from coverage_audit.errors import InputError
from coverage_audit.jobs.keys import TABLES, key_rows
from coverage_audit.jobs.read import job_from_options, read_job, read_job_from
from coverage_audit.read.packed import Memory
from coverage_audit.read.tracks import form as words
from coverage_audit.read.tracks import registry
from coverage_audit.read.tracks.gpx import GPX
from coverage_audit.read.tracks.nmea import NMEA
from coverage_audit.recipe.audit import audit_job

PACKAGE = Path(__file__).parents[1] / "coverage_audit"


# --- a form of track log ------------------------------------------------------------------------


@pytest.fixture
def toy_job(small_job):
    """The small job with its track and its boom-on times in one toy log, and its figures as GPX and CSV."""
    expected = audit_job(read_job(small_job.path)).area_m2
    fixes, intervals = small_job.drive()
    lines = []
    for seconds, east, north in fixes:
        lon, lat = small_job.place(east, north)
        time = dt.datetime.fromisoformat(small_job.stamp(seconds)).timestamp()
        on = any(start <= seconds < end for start, end in intervals)
        lines.append(f"{time} {lat:.9f} {lon:.9f} {on:d}\n")
    small_job.write("track.gpx", "toy log\n" + "".join(lines))  # the name does not tell the form
    small_job.change("intervals", '"log"', "boom")
    return small_job, expected


def test_without_its_reader_a_toy_log_is_refused(toy_job):
    with pytest.raises(InputError, match=r"^track\.gpx: is neither GPX nor NMEA 0183 nor .*; export the log"):
        read_job(toy_job[0].path)


@pytest.mark.parametrize(("date", "told"), [("2026-05-30", 0), ("2026-05-31", 0), ("2026-06-03", 1), ("2020-05-30", 1)])
def test_a_gpx_log_of_another_day_than_the_job_is_told(small_job, date, told):
    """30 May 2026; local and UTC dates may differ by one."""
    small_job.change("date", f'"{date}"', "job")
    found = [one for one in read_job(small_job.path).logs[0].cautions if one.code == "job date differs"]
    assert [dict(one.values)["logged"] for one in found] == ["2026-05-30"] * told


def test_one_fix_before_the_clock_was_set_makes_no_log_of_another_day(small_job):
    text = small_job.read("track.gpx")
    small_job.write("track.gpx", text.replace("2026-05-30T13:00:00", "1980-01-06T00:00:00", 1))
    small_job.change("date", '"2026-05-30"', "job")
    log = read_job(small_job.path).logs[0]
    assert log.fixes.time_s.min() < 1e9
    assert "job date differs" not in [one.code for one in log.cautions]


def test_a_packed_log_is_told_to_be_unpacked(toy_job):
    job = toy_job[0]
    job.write("track.gpx", gzip.compress(b"<gpx/>"))
    with pytest.raises(InputError, match=r"^track\.gpx: is packed \(gzip\); unpack it"):
        read_job(job.path)


def test_a_toy_log_is_audited_once_its_form_is_registered(toy_job, check, monkeypatch):
    small_job, expected = toy_job
    monkeypatch.setattr(registry, "FORMS", (*registry.FORMS, TOY))
    found = audit_job(read_job(small_job.path))
    assert found.area_m2 == expected
    assert found.inputs[0].form == "toy log"
    code, err, out = check()
    assert (code, err) == (0, "")
    assert "toy log" in (out / "report.html").read_text(encoding="utf-8")


def test_a_damaged_toy_log_is_refused_in_one_line(toy_job, check, monkeypatch):
    small_job, _ = toy_job
    monkeypatch.setattr(registry, "FORMS", (*registry.FORMS, TOY))
    small_job.write("track.gpx", "toy log\n1 2\n")
    code, err, _ = check()
    assert (code, err.count("\n")) == (2, 1)
    assert "track.gpx: a line of it is not four numbers" in err


def test_the_refusal_names_every_form(toy_job, monkeypatch):
    monkeypatch.setattr(registry, "FORMS", (*registry.FORMS, TOY))
    toy_job[0].write("track.gpx", "nothing\n")
    with pytest.raises(InputError, match=r"is neither GPX nor NMEA 0183 nor .* nor toy log;"):
        read_job(toy_job[0].path)


GPX_TEXT = (
    b'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
    b'<wpt lat="43.6" lon="-116.2"><time>2026-05-30T13:00:00Z</time><name>boom on</name></wpt><trk>'
    b'<trkseg><trkpt lat="43.6" lon="-116.2"><time>2026-05-30T13:00:00Z</time><fix>dgps</fix></trkpt></trkseg>'
    b'<trkseg><trkpt lat="43.6" lon="-116.2"><time>2026-05-30T13:00:01Z</time></trkpt></trkseg></trk></gpx>'
)
XDR = ("PNONE,", "IIXDR,S,1,,BOOM,R,0.2,l,FLOW,P,3.0,B,PRESSURE")
NMEA_TEXT = log_of(*epochs(3), XDR[1], *epochs(3, 3)).encode()


@pytest.mark.parametrize(("form", "data"), [(GPX, GPX_TEXT), (NMEA, NMEA_TEXT)], ids=["GPX", "NMEA"])
def test_a_reader_finds_all_that_its_form_can_know_and_nothing_else(form, data):
    log = form.read(data, "track", words.Asked())
    found = {
        words.SWITCH: log.has_switch,
        words.FLOW: log.flow is not None,
        words.PRESSURE: log.pressure is not None,
        words.SEGMENTS: len(np.unique(log.fixes.segment)) > 1,
        words.MARKS: bool(log.marks),
        words.QUALITY: bool(np.any(log.fixes.quality >= 0)),
    }
    assert form.recognises(data)
    assert form.knows == {word for word, there in found.items() if there}


def test_no_form_is_asked_for_by_its_name():
    """What a form can know, or a fact of the log, decides: never what it is called."""
    asked = re.compile(r"\bform\b\s*(==|!=)\s*['\"][A-Z]|\.form\s*(==|!=|not in\b|in\b)|(==|!=)\s*[\w.]*\.form\b")
    lines = [(path, line) for path in PACKAGE.rglob("*.py") for line in path.read_text(encoding="utf-8").splitlines()]
    assert [f"{path.name}: {line.strip()}" for path, line in lines if asked.search(line)] == []


# --- a key of the job file ----------------------------------------------------------------------


def test_without_its_row_a_toy_key_is_refused(small_job):
    small_job.change("ink", '"blue"', "report")
    with pytest.raises(InputError, match=r"^job\.toml, report\.ink: there is no such key; known here: units"):
        read_job(small_job.path)


def test_a_toy_key_is_checked_kept_and_told_once_its_row_is_there(small_job, monkeypatch):
    monkeypatch.setitem(TABLES, "report", REPORT)
    assert read_job(small_job.path).settings.report == ToySettings(ink="black")
    small_job.change("ink", '"blue"', "report")
    assert read_job(small_job.path).settings.report == ToySettings(ink="blue")
    files = {path.name: path.read_bytes() for path in small_job.folder.iterdir()}
    assert read_job_from(Memory(files)).settings.report.ink == "blue"
    (row,) = (row for row in key_rows() if row.key == "ink")
    assert (row.table, row.default, row.unit, row.words) == ("report", "black", "", "colour of the print")


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("ink", '"red"', 'report.ink: "red" is not one of black, blue'),
        ("inc", '"blue"', 'report.inc: there is no such key; did you mean "ink"?'),
    ],
)
def test_a_slip_in_a_toy_key_is_told_like_any_other(small_job, monkeypatch, key, value, said):
    monkeypatch.setitem(TABLES, "report", REPORT)
    small_job.change(key, value, "report")
    with pytest.raises(InputError) as caught:
        read_job(small_job.path)
    assert str(caught.value) == f"job.toml, {said}"


def test_a_toy_key_has_its_default_where_options_stand_for_the_job_file(small_job, monkeypatch):
    monkeypatch.chdir(small_job.folder)
    monkeypatch.setitem(TABLES, "report", REPORT)
    job = job_from_options(["track.gpx"], "boundary.geojson", "10 m", "boom.csv", units="us")
    assert job.settings.report == ToySettings("us", ink="black")
