"""What a drive tells of a clock that is off and of a log that is missing: found with its figure, never corrected."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
import shapely.affinity
from jobs import boom, job, log, parallel_passes
from odd_days import odd_day

from coverage_audit.drive import clock
from coverage_audit.drive.clock import clock_shift_s
from coverage_audit.facts import Caution
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.papers.words.answer import notices
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.decision import CANNOT_TELL, GO_BACK, OUTLINE
from coverage_audit.recipe.drive import drive_of, job_plane
from coverage_audit.recipe.outline_place import better_place

LINES = [9.0 * k for k in range(12)]
FIELD = shapely.box(-4.5, 0, 103.5, 150)
TIMES, POINTS, GIVEN = parallel_passes(LINES, 0.0, 150.0, hz=1.0)


def codes(audit):
    return [one.code for one in audit.cautions]


@pytest.mark.parametrize("off_s", [0, 300, -420, 40])
def test_passes_all_alike_tell_nothing_of_a_clock(off_s):
    """Passes of 68 s with turns of 12 s: on-times fit as well one pass later, so none is told."""
    given = [(a + off_s, b + off_s) for a, b in GIVEN if a + off_s > 0 and b + off_s < TIMES[-1]]
    assert "clock off" not in codes(audit_job(job(log(TIMES, POINTS), given, FIELD, boom=boom(9.0))))


@pytest.mark.parametrize(("days", "told"), [(0.0, []), (1.5, []), (40.0, [40 * 86_400.0])])
def test_a_pause_of_days_may_part_two_treatments(days, told):
    """The same field again some time later, in the same log: all of it double, and why."""
    later = TIMES[-1] + 60.0 + 86_400.0 * days
    times, points = np.append(TIMES, later + np.array(TIMES)), np.concatenate([POINTS, POINTS])
    given = [*GIVEN, *((later + a, later + b) for a, b in GIVEN)]
    found = audit_job(job(log(times, points), given, FIELD, boom=boom(9.0)))
    pauses = [dict(one.values)["pause_s"] for one in found.cautions if one.code == "long pause"]
    assert pauses == [pytest.approx(one + 60.0) for one in told]


def test_a_clock_that_is_off_is_told_in_the_papers_and_nothing_is_moved():
    day = odd_day(2019)
    wrong = replace(day, on_s=day.on_s + 900.0)
    found = audit_job(wrong.job(assumed=False))
    assert [dict(one.values)["shift_s"] for one in found.cautions if one.code == "clock off"] == [-900.0]
    assert 'track.clock_offset = "900 s"' in terminal_text(found)
    assert found.on_intervals[0][0] - day.job(assumed=False).intervals[0].on_s == pytest.approx(900.0, abs=1.0)


def shift_of(seed, off_s, pause_s=0.0):
    """What is told of an odd day whose on-times are *off_s* late; None, too, where none of them meets the drive.

    *pause_s*: so long does the whole day stop between its first and its second half.
    """
    one = odd_day(seed).job(assumed=False)
    plane = job_plane(one)
    drive = drive_of(one, plane)
    field = plane.geometry_to_metres(one.boundary[0].geometry)
    inside = shapely.contains_xy(field, drive.path.x_m, drive.path.y_m)
    half = drive.path.time_s[len(drive.path.time_s) // 2]
    moved = [one + off_s + pause_s * (one > half) for one in (drive.timeline.start_s, drive.timeline.end_s)]
    timeline = replace(drive.timeline, start_s=moved[0], end_s=moved[1])
    time_s = drive.path.time_s + pause_s * (drive.path.time_s > half)
    return clock_shift_s(replace(drive.path, time_s=time_s), timeline, inside)


@pytest.mark.parametrize("seed", range(2016, 2024))
def test_a_right_clock_is_never_doubted_and_a_wrong_one_never_told_amiss(seed):
    assert shift_of(seed, 0.0) is None
    assert shift_of(seed, 900.0) in (None, -900.0)


def test_most_clocks_off_by_a_quarter_are_found():
    """Spirals, round and round and turns sprayed through leave nothing to tell by."""
    told = [shift_of(seed, 900.0) for seed in (2016, 2017, 2018, 2019, 2023)]
    assert sum(one == -900.0 for one in told) >= 3


@pytest.mark.parametrize("pause_s", [3e4, 1e9])
def test_a_night_or_thirty_years_in_mid_job_hide_no_clock_and_cost_nothing(pause_s):
    assert [shift_of(2019, off_s, pause_s) for off_s in (0.0, 900.0)] == [None, -900.0]


def test_of_too_long_a_drive_no_clock_is_told(monkeypatch):
    monkeypatch.setattr(clock, "CLOCK_MOST_S", 600.0)
    assert shift_of(2019, 900.0) is None


def test_half_a_field_that_was_never_driven_is_told_first():
    half = len(GIVEN) // 2
    last = GIVEN[half - 1][1]
    kept = last + 2 >= TIMES
    found = audit_job(job(log(TIMES[kept], POINTS[kept]), GIVEN[:half], FIELD, boom=boom(9.0)))
    assert codes(found)[0] == "never driven"
    # six of twelve passes, less the boom width beside the last one that counts as driven over
    share = dict(found.cautions[0].values)["share"]
    assert share == pytest.approx((6 * 9 - 4.5) / 108, abs=0.02)
    assert "Is another log of this job missing" in terminal_text(found)


def test_a_field_driven_over_with_the_boom_off_has_no_log_missing():
    found = audit_job(job(log(TIMES, POINTS), GIVEN[:6], FIELD, boom=boom(9.0)))
    assert "never driven" not in codes(found)
    assert found.area_m2.missed > 0.4 * found.area_m2.target


@pytest.mark.parametrize(("east_m", "north_m", "heading_deg"), [(40.0, 0.0, 270.0), (30.0, -40.0, 323.1)])
def test_an_outline_in_another_place_is_told_as_that_and_sends_nobody_out(east_m, north_m, heading_deg):
    """The whole field was sprayed; the outline lies 40 and 50 m beside it, told to two cells of 1.6 m."""
    field = shapely.affinity.translate(FIELD, east_m, north_m)
    found = audit_job(job(log(TIMES, POINTS), GIVEN, field, boom=boom(9.0)))
    assert found.area_m2.missed > 0.2 * found.area_m2.target
    (told,) = [dict(one.values) for one in found.cautions if one.code == "outline elsewhere"]
    assert told["shift_m"] == pytest.approx(np.hypot(east_m, north_m), abs=3.2)
    assert told["heading_deg"] == pytest.approx(heading_deg, abs=5.0)  # two cells in 40 m
    assert told["share"] > 0.97
    assert not {"never driven", "other field", "sprayed elsewhere"} & set(codes(found))
    assert (found.answer.decision.kind, found.answer.decision.why) == (CANNOT_TELL, OUTLINE)
    assert found.answer.surely.best == 0
    assert "This log cannot say: the outline lies elsewhere than the drive." in terminal_text(found)


def test_a_third_left_undone_beside_another_field_in_the_log_is_no_matter_of_the_outline():
    """Ten passes of the neighbour's field and eight of twelve here: it would be full elsewhere, yet holds not all."""
    times, points, given = parallel_passes([9.0 * k for k in range(-10, 8)], 0.0, 150.0, hz=1.0)
    found = audit_job(job(log(times, points), given, FIELD, boom=boom(9.0)))
    assert "outline elsewhere" not in codes(found)
    assert "never driven" in codes(found)
    assert found.answer.decision.kind == GO_BACK


def test_beside_an_outline_in_another_place_no_pass_is_called_left_out():
    found = audit_job(odd_day(2019).job(assumed=True))
    moved = Caution("outline elsewhere", shift_m=60.0, heading_deg=0.0, share=0.9)
    for audit, told in ((found, True), (replace(found, cautions=(moved,)), False)):
        assert any("left" in line for line in notices(audit)) == told


def test_what_fits_where_it_lies_has_no_better_place():
    assert better_place(FIELD, shapely.Polygon(), 9.0) is None
    assert better_place(FIELD, FIELD, 9.0) is None
