"""One way to read a time as text: the log, the boom CSV and the job file take and refuse the same."""

import math

import pytest

from coverage_audit.errors import InputError
from coverage_audit.jobs.checks import moment
from coverage_audit.read.boom_times import parse_time
from coverage_audit.read.tracks.gpx import read_gpx

GPX = (
    '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    '<trkpt lat="43.6" lon="-116.2"><time>{}</time></trkpt></trkseg></trk></gpx>'
)


def of_gpx(text):
    return read_gpx(GPX.format(text).encode(), "track.gpx").fixes.time_s[0]


def of_csv(text):
    return parse_time(text, "boom.csv, line 2")


def of_job(text):
    return moment(text, "job.toml, rate.refills[1]")


DOORS = pytest.mark.parametrize("door", [of_gpx, of_csv, of_job])
HALF_PAST = 1_780_147_800.0  # 2026-05-30T13:30:00Z, by the calendar of POSIX: 20 603 days and 13.5 h


@DOORS
@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("2026-05-30T13:30:00Z", HALF_PAST),
        ("2026-05-30T13:30:00", HALF_PAST),  # UTC when no zone is written
        ("2026-05-30 13:30", HALF_PAST),
        ("20260530T133000Z", HALF_PAST),
        ("2026-05-30t13:30:00z", HALF_PAST),
        ("2026-05-30T13:30:00 Z", HALF_PAST),
        ("2026-05-30T07:30:00-06:00", HALF_PAST),
        ("2026-05-30T15:30:00+0200", HALF_PAST),
        ("2026-05-30T19:15:00+05:45", HALF_PAST),
        ("2026-05-30T13:30:00.25Z", HALF_PAST + 0.25),
        ("2026-05-30T13:30:00,25Z", HALF_PAST + 0.25),
    ],
)
def test_a_time_is_the_same_by_every_door(door, text, seconds):
    assert door(text) == seconds == 20_603 * 86_400 + 13.5 * 3600 + math.modf(seconds)[0]


@DOORS
@pytest.mark.parametrize(
    "text",
    [
        "2026-05-30",  # a date alone is no time: midnight would be a guess
        "2026-05-30T13",
        "2026-W22-6T13:30:00Z",
        "2026-05-30_13:30:00Z",
        "2026-02-30T13:30:00Z",
        "2026-05-30T25:30:00Z",
        "2026-05-30T13:30:00+25:00",
        "30.05.2026 13:30",
        "13:30:00",
        "now",
        "",
    ],
)
def test_what_is_no_time_is_refused_by_every_door(door, text):
    with pytest.raises(InputError):
        door(text)
