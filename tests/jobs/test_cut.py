"""[track] from and to: the part of a longer log that is the job, as if it had been cut by hand."""

import datetime as dt

import numpy as np
import pytest

from coverage_audit.errors import InputError
from coverage_audit.jobs.read import read_job
from coverage_audit.recipe.audit import audit_job

NONE_LEFT = "no fix of track.gpx lies in this time"


def cut(small_job, start=None, end=None):
    for key, value in (("from", start), ("to", end)):
        if value is not None:
            small_job.change(key, value if value[0].isdigit() else f'"{value.strip()}"', "track")
    return read_job(small_job.path)


def times(job):
    """Times of the fixes, in seconds from the start of the small job (13:00 UTC, 07:00 in Denver)."""
    return job.logs[0].fixes.time_s - dt.datetime(2026, 5, 30, 13, tzinfo=dt.UTC).timestamp()


@pytest.mark.parametrize(
    ("start", "end", "span"),
    [
        (" 07:02", None, (120, 809)),
        (None, " 07:02:30", (0, 150)),
        (" 07:02", " 07:02:30.5", (120, 150)),
        (" 2026-05-30 07:02", " 2026-05-30T13:03:00Z", (120, 180)),
        (" 2026-05-29T20:00", " 07:05", (0, 300)),
        ("07:02:00", "2026-05-30T07:03:00", (120, 180)),  # times as TOML has them
    ],
)
def test_local_times_cut_the_log(small_job, start, end, span):
    found = times(cut(small_job, start, end))
    assert (found[0], found[-1]) == span
    assert len(found) == span[1] - span[0] + 1  # a fix a second


def test_what_is_cut_off_is_counted_and_the_sum_holds(small_job):
    (log,) = cut(small_job, " 07:02", " 07:05").logs
    assert log.dropped["outside_cut"] == 810 - 181
    assert log.fixes_read == len(log.fixes) + sum(log.dropped.values())
    assert len(log.fixes.segment) == len(log.fixes.quality) == len(log.fixes)


def test_times_are_compared_as_the_offset_puts_them_right(small_job):
    small_job.change("clock_offset", '"60 s"', "track")
    assert times(cut(small_job, " 07:02"))[0] == 60


def test_an_end_before_the_start_is_of_the_next_day(small_job):
    assert times(cut(small_job, " 07:02", " 06:00"))[-1] == 809


def test_a_job_past_midnight_is_cut_by_its_dates(small_job):
    small_job.change("timezone", '"Pacific/Noumea"', "job")  # 13:00 UTC is midnight there
    small_job.change("clock_offset", '"-5 min"', "track")
    found = times(cut(small_job, " 2026-05-31 00:01", " 00:02"))
    assert (found[0], found[-1]) == (360, 420)


@pytest.mark.parametrize(
    ("start", "end", "place", "what"),
    [
        (" 08:00", None, "job.toml, track.from", f"{NONE_LEFT}: it runs from 2026-05-30T13:00:00Z to"),
        (" 2026-05-30 07:05", " 2026-05-30 07:02", "job.toml, track.to", "end before it begins"),
        (" 7 o'clock", None, "job.toml, track.from", 'write it as "07:02"'),
        (" 07", None, "job.toml, track.from", 'write it as "07:02"'),
        (" 2026-05-30", None, "job.toml, track.from", 'write it as "07:02"'),
        ("7", None, "job.toml, track.from", "a time is wanted"),
        (" 1492-05-30 07:00", None, "job.toml, track.from", "the year must be"),
    ],
)
def test_times_that_cannot_be_are_refused(small_job, start, end, place, what):
    with pytest.raises(InputError) as caught:
        cut(small_job, start, end)
    assert caught.value.place == place
    assert what in caught.value.what


def test_a_cut_job_is_audited_like_one_whose_log_was_cut_by_hand(small_job):
    fixes, _ = small_job.drive()
    by_key = audit_job(cut(small_job, " 07:02", " 07:06:30"))
    small_job.write(
        "job.toml", small_job.read("job.toml").replace('from = "07:02"\n', "").replace('to = "07:06:30"\n', "")
    )
    small_job.write("track.gpx", small_job.gpx_of([fix for fix in fixes if 120 <= fix[0] <= 390]))
    by_hand = audit_job(read_job(small_job.path))
    assert by_key.area_m2 == by_hand.area_m2
    assert (by_key.start_s, by_key.end_s) == (by_hand.start_s, by_hand.end_s)
    assert by_key.inputs[0].fixes_read == by_key.inputs[0].fixes_used + 810 - 271
    assert np.isfinite(by_key.area_m2.covered)
    # what was cut off on purpose is not told as fixes that could not be used
    assert "dropped" not in {caution.code for caution in by_key.cautions}
