"""Whole audits of situations: gaps, several fields, no-spray areas, setbacks, places of strips."""

import dataclasses

import numpy as np
import pytest
import shapely
from jobs import FIELD_100_X_60, WORKED_X, boom, drive, job, log, parallel_passes, worked_job

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import FieldSettings
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.read.records import NamedArea
from coverage_audit.recipe.audit import audit_job


def northward(seconds=100, hz=10.0, lost=()):
    """2.5 m/s due north, without the fixes whose times lie strictly inside *lost* spans."""
    times, points = drive(lambda t: np.array([0.0, 2.5 * t]), seconds, hz)
    keep = np.ones(len(times), bool)
    for first, last in lost:
        keep &= ~((times > first) & (times < last))
    return times[keep], points[keep]


STRIP = shapely.box(-4.5, 0, 4.5, 250)


def test_short_straight_gap_is_bridged_and_told_apart():
    times, points = northward(lost=[(40, 52)])
    audit = audit_job(job(log(times, points), [(0, 100)], STRIP, boom=boom(9.0)))
    assert audit.area_m2.covered == pytest.approx(9 * 250, abs=0.2)
    assert audit.area_m2.bridged == pytest.approx(9 * 30, abs=0.2)
    assert audit.area_m2.proven == pytest.approx(9 * 220, abs=0.2)
    assert audit.time_gap_s == 0
    assert any("bridging" in caution for caution in caution_texts(audit))


def test_long_gap_is_not_bridged():
    times, points = northward(lost=[(40, 60)])  # 50 m, more than five booms
    audit = audit_job(job(log(times, points), [(0, 100)], STRIP, boom=boom(9.0)))
    assert audit.area_m2.missed == pytest.approx(9 * 50, abs=0.2)
    assert audit.area_m2.bridged == 0
    assert (audit.time_gap_s, audit.time_on_s) == (pytest.approx(20), pytest.approx(80))
    assert any("gap(s) while the boom was on, 20 s" in caution for caution in caution_texts(audit))


def test_gap_round_a_corner_is_not_bridged():
    times, points = drive(lambda t: np.array([0.0, 2.5 * t]) if t < 46 else np.array([2.5 * (t - 46), 115.0]), 80, 10)
    keep = ~((times > 42) & (times < 50))
    field = shapely.box(-5, 0, 90, 125)
    audit = audit_job(job(log(times[keep], points[keep]), [(0, 80)], field, boom=boom(9.0)))
    assert audit.area_m2.bridged == 0
    assert audit.time_gap_s == pytest.approx(8)


def test_second_visit_on_a_bridge_is_told_apart():
    out = northward(60)
    back_t, back = drive(lambda t: np.array([0.0, 150.0 - 2.5 * (t - 90)]), 60, 10, start_s=90.0)
    lost = (back_t > 100) & (back_t < 110)
    times = np.concatenate([out[0], back_t[~lost]])
    points = np.concatenate([out[1], back[~lost]])
    audit = audit_job(job(log(times, points), [(0, 60), (90, 150)], shapely.box(-4.5, 0, 4.5, 150), boom=boom(9.0)))
    assert audit.area_m2.double == pytest.approx(9 * 150, abs=0.5)
    assert audit.area_m2.double_bridged == pytest.approx(9 * 25, abs=0.5)
    assert audit.area_m2.bridged == pytest.approx(0, abs=0.5)


def two_fields(select=()):
    base = worked_job(field=FieldSettings(select=select))
    plane = Plane(PlaneOrigin(-70.5, -41.2))
    beside = plane.geometry_to_degrees(shapely.box(59.5, 0, 120, 100))  # the last pass reaches half a metre into it
    return dataclasses.replace(base, boundary=(base.boundary[0], NamedArea("neighbour", beside)))


def test_field_that_caught_only_the_tip_of_the_boom_is_named_not_missed():
    audit = audit_job(two_fields())
    assert audit.sprayed_fields == ("field",)
    assert audit.area_m2.target == pytest.approx(6000, rel=1e-5)
    assert any("neighbour" in caution for caution in caution_texts(audit))


def test_selected_fields_are_one_field():
    audit = audit_job(two_fields(select=("Field", "NEIGHBOUR")))
    assert audit.area_m2.target == pytest.approx(120 * 100, rel=1e-5)
    assert audit.area_m2.missed == pytest.approx(100 + 6000, abs=1)


def test_no_spray_area_hole_and_setback_are_taken_off_the_target():
    pond = shapely.box(20, 40, 30, 60)
    hole = shapely.box(40, 20, 45, 30)
    field = shapely.difference(FIELD_100_X_60, hole)
    times, points, intervals = parallel_passes(WORKED_X, 0.0, 100.0)
    settings = FieldSettings(setback_m=2.0)
    audit = audit_job(job(log(times, points), intervals, field, exclude=(pond,), field=settings))
    assert audit.area_m2.field == pytest.approx(6000 - 50, abs=0.1)
    assert audit.area_m2.target == pytest.approx(56 * 96 - 200 - 50, abs=0.1)
    # everything inside was sprayed but the skip from x = 20 to 21, of which the pond holds 20 m
    assert audit.area_m2.excluded_sprayed == pytest.approx(6000 - 56 * 96 - 4 + 200 - 20 + 50, abs=0.6)
    assert audit.area_m2.missed == pytest.approx(96 - 20, abs=0.6)


def test_exclude_setback_widens_holes_and_no_spray_areas_round():
    pond = shapely.box(20, 40, 30, 60)
    audit = audit_job(worked_job_with(exclude=(pond,), field=FieldSettings(exclude_setback_m=3.0)))
    widened = 200 + 2 * 3 * 30 + np.pi * 9
    assert audit.area_m2.target == pytest.approx(6000 - widened, abs=0.05)


def worked_job_with(exclude=(), x=WORKED_X, y=(0.0, 100.0), **settings):
    times, points, intervals = parallel_passes(x, *y)
    return job(log(times, points), intervals, FIELD_100_X_60, exclude=exclude, **settings)


def test_spraying_beyond_the_boundary_is_outside():
    audit = audit_job(worked_job_with(y=(-5.0, 100.0)))
    assert audit.area_m2.outside == pytest.approx(5 * 59, abs=0.5)  # six swaths, the skip of 1 m between
    assert audit.area_m2.swept == pytest.approx(6 * 10 * 105, abs=0.5)


def test_grow_moves_a_driven_boundary_outward():
    audit = audit_job(worked_job(field=FieldSettings(grow_m=2.0)))
    assert audit.area_m2.field == pytest.approx(64 * 104, rel=1e-5)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"late": 6.0}, "late on"),
        ({"early": 6.0}, "early off"),
        ({"x": (5.0, 15.0, 25.0, 35.0, 45.0, 54.0)}, "field edge"),
    ],
)
def test_strips_are_named_by_what_they_lie_at(change, where):
    times, points, intervals = parallel_passes(change.get("x", (5.0, 15.0, 25.0, 35.0, 45.0, 55.0)), 0.0, 100.0)
    on, off = intervals[2]
    intervals[2] = (on + change.get("late", 0) / 2.5, off - change.get("early", 0) / 2.5)
    audit = audit_job(job(log(times, points), intervals, FIELD_100_X_60))
    assert audit.missed_strips[0].where == where


def test_strip_along_a_no_spray_area():
    pond = shapely.box(21, 0, 30, 100)
    audit = audit_job(worked_job_with(exclude=(pond,)))
    (strip,) = audit.missed_strips
    assert strip.where == "no-spray area"


def test_narrow_skips_are_totalled_not_listed():
    audit = audit_job(worked_job_with(x=(5.0, 15.0, 25.2, 35.0, 45.0, 55.0)))
    assert audit.missed_strips == ()
    assert audit.area_m2.missed_slivers == pytest.approx(20, abs=0.6)
    assert audit.area_m2.missed == pytest.approx(20, abs=0.6)


def test_job_elsewhere_says_how_far():
    times, points, intervals = parallel_passes(WORKED_X, 0.0, 100.0)
    with pytest.raises(InputError, match=r"never sprayed inside the field.*445 m away"):
        audit_job(job(log(times, points), intervals, shapely.box(500, 0, 600, 100)))


def test_boundary_with_swapped_axes_is_guessed():
    base = worked_job()
    swapped = shapely.transform(base.boundary[0].geometry, lambda xy: xy[:, ::-1])
    with pytest.raises(InputError, match=r"km from the track; with latitude and longitude swapped it would fit"):
        audit_job(dataclasses.replace(base, boundary=(NamedArea("field", swapped),)))


def test_every_fix_read_is_used_or_counted():
    base = worked_job(1.0)
    times = base.logs[0].fixes.time_s.copy()
    times[50] = times[49]
    logs = (dataclasses.replace(base.logs[0], fixes=dataclasses.replace(base.logs[0].fixes, time_s=times)),)
    (count,) = audit_job(dataclasses.replace(base, logs=logs)).inputs
    assert count.fixes_read == count.fixes_used + sum(count.dropped.values())
    assert count.dropped == {"duplicate_time": 1}


def test_unknown_place_of_the_antenna_is_a_caution():
    audit = audit_job(
        dataclasses.replace(
            worked_job(), settings=dataclasses.replace(worked_job().settings, boom=boom(10.0, antenna_ahead_m=None))
        )
    )
    assert any("antenna_ahead" in caution for caution in caution_texts(audit))


def test_a_notch_in_the_fence_that_the_boom_passed_over_stays_out_of_the_target():
    """Edges of pond, fence and passes within rounding of each other once lost a face; its sums then did not close.

    Worked by hand: field 6 000 m2 less a pond of 144 m2; passes 1.2 m (the fourth 0.5 m) off to one side leave
    1.2 x 100 m at the far fence and 0.7 x 100 m between passes; the pond was passed over whole.
    """
    offset = (-1.2, -1.2, -1.2, -0.5, -1.2, -1.2)
    middles = [5.0 + 10 * k + aside for k, aside in enumerate(offset)]
    times, points, intervals = parallel_passes(middles, 0.0, 100.0, hz=2.0)
    pond = shapely.box(0, 40, 12, 52)
    found = audit_job(job(log(times, points), intervals, FIELD_100_X_60, exclude=(pond,)))
    assert found.checks.ok
    assert found.area_m2.missed == pytest.approx(190, abs=0.6)  # 1e-4 of the field
    assert found.area_m2.excluded_sprayed == pytest.approx(144, abs=0.6)
    assert sum(found.area_m2.by_visits) == pytest.approx(6000 - 144, abs=0.006)
