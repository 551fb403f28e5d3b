"""Touch-up plans of audited jobs: what must hold for every plan."""

import dataclasses
import datetime as dt
import json
import sys

import numpy as np
import pytest
import shapely
from audit_builder import ORIGIN, box_strip, make_audit
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from jobs import FIELD_100_X_60, boom, job, log, parallel_passes, worked_job

from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import (
    Amount,
    BoomSettings,
    FieldSettings,
    JobSettings,
    ProductSettings,
    RateSettings,
    TouchupSettings,
)
from coverage_audit.papers.touchup_files import touchup_json
from coverage_audit.papers.words.touchup import cautions, date_words
from coverage_audit.recipe import touchup as audit_touchup
from coverage_audit.recipe import touchup_field
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.tolerances import TIE_SHARE
from coverage_audit.recipe.touchup import plan_touchup
from coverage_audit.recipe.touchup_field import option_of
from coverage_audit.touchup.model import BOOM, LEAVE, SPOT, TOO_BENT, TOO_MUCH
from coverage_audit.touchup.order import Choice, exact_order
from coverage_audit.touchup.turns import tightest_radius

RATE = RateSettings(target_l_ha=100.0, flow_l_min=15.0)
NEAR_M2 = 1e-3
"""A hand's width square is ten times as much; outlines are arranged in micrometres. [m2]"""

PRODUCT = ProductSettings("Sorrelane 30", rate=Amount(1.0, "L", "ha", "L/ha", 1.0))


def limited(per_application=None, per_season=None):
    def amount(value):
        return None if value is None else Amount(value, "L", "ha", "L/ha", 1.0)

    return dataclasses.replace(
        PRODUCT, max_per_application=amount(per_application), max_per_season=amount(per_season), phi_days=14.0
    )


SPRAY_JOBS = st.fixed_dictionaries(
    {
        "offset_m": st.lists(st.sampled_from([-1.2, -0.5, 0.0, 0.4, 1.0]), min_size=6, max_size=6),
        "shut": st.dictionaries(st.integers(0, 5), st.sampled_from([(0, 8), (10, 16), (30, 40)]), max_size=2),
        "pond": st.sampled_from([None, "round", "at the fence"]),
        "sections": st.sampled_from([(10.0,), (3.0, 4.0, 3.0), (2.0,) * 5]),
        "most": st.sampled_from([None, (1.2, 1.5), (1.2, 2.5), (0.8, None)]),
        "setback_m": st.sampled_from([0.0, 2.0]),
        "value_m2": st.sampled_from([0.01, 0.05, 0.5]),
        "turning_radius_m": st.sampled_from([2.0, 5.0]),
        "spot_m2_s": st.sampled_from([0.1, 0.5]),
    }
)
PONDS = {None: (), "round": (shapely.Point(30, 55).buffer(7),), "at the fence": (shapely.box(0, 40, 12, 52),)}


def spray_job(given):
    """Six passes set aside a little, with times when the boom was shut, perhaps a pond and limits."""
    middles = [5.0 + 10 * number + off for number, off in enumerate(given["offset_m"])]
    times, points, intervals = parallel_passes(middles, 0.0, 100.0, hz=2.0)
    for number, (low, high) in given["shut"].items():
        on, off = intervals[number]
        pieces = [(on, on + low), (on + high, off)]
        intervals[number : number + 1] = [piece for piece in pieces[:1] if low]
        intervals += [piece for piece in pieces[1:] if on + high < off]
        intervals.sort()
    return job(
        log(times, points),
        intervals,
        FIELD_100_X_60,
        boom=boom(10.0, sections_m=given["sections"]),
        exclude=PONDS[given["pond"]],
        rate=RATE,
        products=(limited(*given["most"]),) if given["most"] else (),
        field=FieldSettings(setback_m=given["setback_m"]),
        touchup=TouchupSettings(**{key: given[key] for key in ("value_m2", "turning_radius_m", "spot_m2_s")}),
    )


def assert_drivable(plan):
    """No leg bends more tightly than the turning radius, and each goes on where and as the one before ended.

    Drawn arcs have their points at most a metre apart, so a chord is off their heading by half a
    metre's turn; two of them meet at most, and a way along a strip is drawn in chords itself. Backing
    up turns the course round, never the vehicle.
    """
    radius = plan.terms.turning_radius_m
    before = None
    for leg in plan.legs[1:]:
        points = leg.points[np.append([True], np.hypot(*np.diff(leg.points, axis=0).T) > 1e-6)]
        if len(points) < 2:
            continue
        assert tightest_radius(points) >= 0.99 * radius, leg
        step = np.diff(points, axis=0)
        heading = np.arctan2(step[:, 0], step[:, 1])
        if before is not None:
            assert np.hypot(*(points[0] - before[0])) < 1e-3
            turn = abs((heading[0] - before[1] + np.pi) % (2 * np.pi) - np.pi)
            turned = min(turn, np.pi - turn) if "back" in (leg.kind, before[2]) else turn
            assert turned <= 1.1 / radius + 0.08, (leg.kind, before[2], turn)
        before = (points[-1], heading[-1], leg.kind)


def ways_to_treat(audit, monkeypatch):
    """Choice among every way to treat the audited strips over their real field, by its way alone. [money]"""
    seen = []
    plain = audit_touchup.least_cost
    monkeypatch.setattr(
        audit_touchup, "least_cost", lambda setting, field: (seen.append((setting, field)), plain(setting, field))[1]
    )
    plan_touchup(audit)
    ((setting, field),) = seen
    taken = [option_of(field, mode) for mode in range(len(field.modes))]
    besides = [option.own_cost - option.distance_m * setting.way_cost_m for option in taken]
    return dataclasses.replace(field.choice, own=field.choice.own - besides)


@pytest.mark.parametrize("pond", ["round", "at the fence"])
def test_in_a_field_adding_a_strip_never_shortens_the_best_path(pond, monkeypatch):
    """Ways round ponds and along the headland, found in one network, keep to the triangle inequality too."""
    given_job = {
        "offset_m": [0.0, 0.4, -1.2, 1.0, -0.5, 0.0],
        "shut": {1: (10, 16), 4: (0, 8)},
        "pond": pond,
        "sections": (3.0, 4.0, 3.0),
        "most": None,
        "setback_m": 0.0,
        "value_m2": 0.5,
        "turning_radius_m": 5.0,
        "spot_m2_s": 0.1,
    }
    choice = ways_to_treat(audit_job(spray_job(given_job)), monkeypatch)
    least = []
    for strips in range(1, min(len(choice.leave), 7) + 1):
        modes = np.flatnonzero(choice.strip < strips)
        way = Choice(
            choice.strip[modes],
            choice.first[modes],
            choice.between[np.ix_(modes, modes)],
            choice.own[modes],
            np.full(strips, np.inf),
        )
        least.append(way.cost(exact_order(way)))
    assert len(least) >= 4
    assert np.isfinite(least).all()
    assert (np.diff(least) >= -1e-9).all()


@given(SPRAY_JOBS)
@settings(max_examples=5, deadline=None)
def test_a_strip_more_never_lowers_the_net_value(given_job):
    """The same job told of all its missed strips but one, and of all: a choice more does no harm."""
    audit = audit_job(spray_job(given_job))
    part = plan_touchup(dataclasses.replace(audit, missed_strips=audit.missed_strips[1:]))
    whole = plan_touchup(audit)
    assume(whole.exact and part.exact)
    assert whole.net_value >= part.net_value - TIE_SHARE * whole.leave_cost


PLAIN = {
    "shut": {},
    "pond": None,
    "sections": (10.0,),
    "most": None,
    "setback_m": 0.0,
    "value_m2": 0.05,
    "turning_radius_m": 2.0,
    "spot_m2_s": 0.1,
}


@example(
    PLAIN | {"offset_m": [-1.2, -1.2, -1.2, 0.0, -1.2, -1.2], "pond": "round"}
)  # a bend swung the tip over the pond
@example(PLAIN | {"offset_m": [-0.5, -1.2, 1.0, 0.4, -1.2, -0.5], "value_m2": 0.01})  # slivers touched two layers
@example(PLAIN | {"offset_m": [-1.2, -1.2, -1.2, -0.5, -1.2, -1.2], "pond": "at the fence"})  # an outline was lost
@given(SPRAY_JOBS)
@settings(max_examples=8, deadline=None)
def test_what_must_hold_for_every_plan(given_job):
    audit = audit_job(spray_job(given_job))
    plan = plan_touchup(audit)
    layers = audit.layers
    spray = shapely.union_all([one.chosen.spray for one in plan.treated])
    assert shapely.difference(spray, layers.target).area < NEAR_M2
    assert plan.after.outside_m2 < NEAR_M2
    for one in plan.strips:
        assert one.chosen.possible
        assert one.chosen.allowed
    assert plan.after.missed_m2 <= audit.area_m2.missed + NEAR_M2
    cured = audit.area_m2.missed - plan.after.missed_m2
    assert cured >= max((one.chosen.cured_m2 for one in plan.strips), default=0) - NEAR_M2
    inside = shapely.buffer(shapely.difference(layers.field, layers.excluded), 1e-3)
    for leg in plan.legs[1:]:  # the first leads from the last fix, which may lie outside, into the field
        assert shapely.covers(inside, shapely.LineString(leg.points)), leg.kind
    assert_drivable(plan)
    assert plan.net_value >= -1e-9
    assert plan.cost <= plan.leave_cost + 1e-9 or not plan.treated


@given(SPRAY_JOBS)
@settings(max_examples=4, deadline=None)
def test_dose_of_the_whole_plan_keeps_to_the_limits(given_job):
    """Counted again from the planned swaths alone, wherever they overlap one another or the job's visits."""
    audit = audit_job(spray_job(given_job))
    plan = plan_touchup(audit)
    swaths = [swath for one in plan.treated if one.advice == BOOM for swath in one.chosen.swaths]
    first, rate = plan.terms.first_l_ha, plan.terms.rate_l_ha
    lines = shapely.union_all([shapely.boundary(shape) for shape in (*swaths, *audit.layers.by_visits)])
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    for face in faces[shapely.area(faces) > 0.2]:
        spot = face.representative_point()
        new = sum(swath.contains(spot) for swath in swaths)
        if not new:
            continue
        before = next((k for k, layer in enumerate(audit.layers.by_visits) if layer.contains(spot)), 0)
        for product in audit.job.settings.products:
            if product.max_per_season:
                assert (before * first + new * rate) / 100 <= product.max_per_season.value * (1 + 1e-6)
            assert new * rate / 100 <= product.max_per_application.value * (1 + 1e-6)


def test_after_state_is_what_a_full_audit_of_both_drives_finds():
    """The planned pass driven as a second log: the whole audit, tracks and all, agrees within its own 0.01 %."""
    made = worked_job(rate=RATE)
    audit = audit_job(made)
    plan = plan_touchup(audit)
    work = next(leg for leg in plan.legs if leg.kind == "work")
    run_in = 10.0
    step = (work.points[-1] - work.points[0]) / np.hypot(*(work.points[-1] - work.points[0]))
    length = float(np.hypot(*(work.points[-1] - work.points[0])))
    times = np.arange(0, (length + 2 * run_in) / 2.5 + 0.05, 0.1)
    points = work.points[0] + (times[:, None] * 2.5 - run_in) * step
    late = 2000.0
    second = log(times + late, points, origin=audit.origin, name="second.gpx")
    on = (late + run_in / 2.5, late + (run_in + length) / 2.5)
    start = made.logs[0].fixes.time_s[0]
    extra = dataclasses.replace(made.intervals[0], on_s=start + on[0], off_s=start + on[1])
    both = dataclasses.replace(made, logs=(*made.logs, second), intervals=(*made.intervals, extra))
    again = audit_job(both).area_m2
    assert plan.after.missed_m2 == pytest.approx(again.missed, abs=1e-4 * again.field)
    assert plan.after.double_m2 == pytest.approx(again.double, abs=1e-4 * again.field)
    assert again.double > audit.area_m2.double + 800


def test_two_passes_that_together_break_a_limit_are_not_both_advised():
    """Strips 1 m wide, 4 m apart: each pass alone gives 2.0 L/ha, on their overlap the two give 3.0, most is 2.5."""
    made = JobSettings(
        boom=BoomSettings((10.0,), "csv", antenna_ahead_m=0.0),
        rate=RATE,
        touchup=TouchupSettings(value_m2=0.5, spot_m2_s=0.02, entry_deg=(ORIGIN.lat_deg, ORIGIN.lon_deg)),
    )
    passes = [shapely.LineString([(0, y), (100, y)]) for y in (5, 23, 41, 55)]
    strips = [box_strip("M1", (10, 20, 90, 21)), box_strip("M2", (10, 25, 90, 26))]
    audit = make_audit(shapely.box(0, 0, 100, 60), passes, strips, [], settings=made, litres=60.0)
    free = plan_touchup(audit)
    bound = dataclasses.replace(made, products=(limited(None, 2.5),))
    held = plan_touchup(dataclasses.replace(audit, job=dataclasses.replace(audit.job, settings=bound)))
    assert [one.advice for one in free.strips] == [BOOM, BOOM]
    assert shapely.intersection(*(one.chosen.spray for one in free.strips)).area > 100
    assert all(one.boom.allowed for one in held.strips)
    assert sorted(one.advice for one in held.strips) == [BOOM, SPOT]
    assert held.cost > free.cost


def test_same_day_counts_as_one_application():
    """On the day of the job the two doses are one application of 2.0 L/ha, more than 1.2."""
    audit = audit_job(worked_job(rate=RATE, products=(limited(1.2),)))
    day = dt.datetime.fromtimestamp(audit.end_s, dt.UTC).date()
    later = plan_touchup(audit)
    same = plan_touchup(audit, day)
    assert later.strips[0].boom.allowed
    assert later.dates.on == day + dt.timedelta(days=1)
    assert not same.strips[0].boom.allowed
    assert same.strips[0].boom.broken[0].dose == pytest.approx(2.0, rel=1e-4)


def test_mix_limit_is_applied_to_the_sum():
    audit = audit_job(worked_job(rate=dataclasses.replace(RATE, label_max_l_ha=150.0)))
    strip = plan_touchup(audit).strips[0]
    assert not strip.boom.allowed
    assert strip.boom.broken[0].dose == pytest.approx(200.0, rel=1e-4)
    assert strip.advice in {SPOT, LEAVE}


def test_limit_that_cannot_be_checked_is_not_passed():
    product = dataclasses.replace(limited(1.2), rate=None)
    audit = audit_job(worked_job(rate=RATE, products=(product,)))
    strip = plan_touchup(audit).strips[0]
    assert not strip.boom.allowed
    assert strip.boom.broken[0].dose is None
    assert strip.advice == LEAVE


def test_day_before_the_job_is_refused():
    audit = audit_job(worked_job(rate=RATE))
    with pytest.raises(InputError, match="before the job"):
        plan_touchup(audit, dt.date(2020, 1, 1))


def test_late_cut_is_not_called_fine():
    planned = TouchupSettings(planned_cut=dt.date(2026, 6, 5))
    audit = audit_job(worked_job(rate=RATE, products=(limited(1.2),), touchup=planned))
    plan = plan_touchup(audit, dt.date(2026, 5, 30))
    found = json.loads(touchup_json(audit, plan))
    assert found["dates"]["earliest_cut"] == "2026-06-13"
    assert found["dates"]["fine"] is False
    assert found["headline"].startswith("Not fine")


@pytest.mark.parametrize(
    ("cut", "fine", "told"),
    [
        (dt.date(2026, 5, 29), False, "Not fine: the touch-up is meant for 30 May 2026"),
        (dt.date(2026, 6, 20), None, "Whether the cut on 20 Jun 2026 may stay cannot be told"),
    ],
)
def test_cut_without_a_known_interval_is_not_called_fine(cut, fine, told):
    audit = audit_job(worked_job(rate=RATE, touchup=TouchupSettings(planned_cut=cut)))
    plan = plan_touchup(audit, dt.date(2026, 5, 30))
    found = json.loads(touchup_json(audit, plan))
    assert found["dates"]["fine"] is fine
    assert any(told in text for text in (found["headline"], *date_words(plan)))


def test_entry_far_from_the_field_is_refused():
    """Latitude and longitude of the field swapped."""
    swapped = TouchupSettings(entry_deg=(-70.5, -41.2))
    with pytest.raises(InputError, match="km from the field") as told:
        plan_touchup(audit_job(worked_job(rate=RATE, touchup=swapped)))
    assert told.value.place == "touchup.entry"


def test_wand_is_walked_where_the_vehicle_cannot_follow():
    """A ring of missed ground 3 m about the field's middle: the vehicle of 5 m radius stops beside it."""
    ring = shapely.Point(50, 30).buffer(4) - shapely.Point(50, 30).buffer(3)
    strip = dataclasses.replace(
        box_strip("M1", (46, 26, 54, 34)),
        polygon=ring,
        area_m2=ring.area,
        length_m=22.0,
        line=shapely.Point(50, 30).buffer(3.5).exterior,
    )
    passes = [shapely.LineString([(0, y), (100, y)]) for y in (5, 15, 25, 35, 45, 55)]
    entry = (ORIGIN.lat_deg, ORIGIN.lon_deg)
    made = JobSettings(
        boom=BoomSettings((10.0,), "csv"), rate=RATE, touchup=TouchupSettings(value_m2=0.5, entry_deg=entry)
    )
    plan = plan_touchup(make_audit(shapely.box(0, 0, 100, 60), passes, [strip], [], settings=made))
    assert plan.strips[0].advice == SPOT
    assert plan.strips[0].boom.why_not == TOO_BENT
    assert plan.stops[0].length_m == 22.0
    assert plan.strips[0].chosen.distance_m == pytest.approx(1.0, abs=0.05)  # a chord of a metre's arc
    assert_drivable(plan)


def test_setting_up_may_make_it_best_to_leave_everything():
    """The worked strip saves 1.47 at the default prices; 10 min of setting up cost 5.00."""
    free = audit_job(worked_job(rate=RATE))
    assert plan_touchup(free).treated
    dear = audit_job(worked_job(rate=RATE, touchup=TouchupSettings(setup_s=600.0)))
    plan = plan_touchup(dear)
    assert not plan.treated
    assert plan.cost == 0
    assert plan.after.missed_m2 == pytest.approx(100, abs=0.1)


def with_probability(strip, probability):
    """*strip* with how likely it is real, whether or not strips have that figure already."""
    known = {one.name: getattr(strip, one.name) for one in dataclasses.fields(strip)}
    kind = dataclasses.make_dataclass("LikelyStrip", [(name, object) for name in {**known, "probability": 0}])
    return kind(**{**known, "probability": probability})


def test_strip_that_may_not_be_real_is_worth_less():
    audit = audit_job(worked_job(rate=RATE))
    half = with_probability(audit.missed_strips[0], 0.5)
    assert plan_touchup(audit).strips[0].worth == pytest.approx(5.0, rel=1e-4)
    assert plan_touchup(dataclasses.replace(audit, missed_strips=(half,))).strips[0].worth == pytest.approx(
        2.5, rel=1e-4
    )


def test_old_wheel_tracks_are_preferred_to_standing_crop():
    """A strip of 1 m beside a boom of 10 m can be reached from 1.3 m (with slack) beside an old pass."""
    audit = audit_job(worked_job(rate=RATE))
    plan = plan_touchup(audit)
    work = shapely.LineString(next(leg for leg in plan.legs if leg.kind == "work").points)
    off = shapely.distance(work.centroid, shapely.union_all(list(audit.layers.passes)))
    assert off == pytest.approx(1.3, abs=0.02)  # the strip's edges are found within a centimetre or two


def late_job(**touchup):
    """Six passes, the boom on 2 s (5 m) late in the third."""
    times, points, intervals = parallel_passes([5.0, 15.0, 25.0, 35.0, 45.0, 55.0], 0.0, 100.0, hz=2.0)
    intervals[2] = (intervals[2][0] + 2.0, intervals[2][1])
    return job(log(times, points), intervals, FIELD_100_X_60, rate=RATE, touchup=TouchupSettings(**touchup))


def test_strip_along_the_boom_is_crossed_as_the_old_pass_ran():
    """10 m wide and 5 m long: along its middle line the boom would spray 10 x 10 m, square to it only the 50 m2."""
    plan = plan_touchup(audit_job(late_job()))
    (strip,) = plan.strips
    assert strip.advice == BOOM
    assert strip.chosen.cured_m2 == pytest.approx(50, abs=0.1)
    assert strip.chosen.resprayed_m2 < 0.1
    assert strip.chosen.distance_m == pytest.approx(5, abs=0.01)  # the switching moment is known to a millimetre


def test_way_starts_wherever_the_vehicle_stands_outside_the_fence():
    """Places 0 to 10 m off every side, some of them level with the edge of a cell of the grid."""
    audit = audit_job(late_job())
    plane = Plane(audit.origin)
    west, south, east, north = audit.layers.field.bounds
    for x, y in ((west, north), (east - 5, north + 10), (west - 3.3, south + 20), (west + 12.25, south - 0.5)):
        lon, lat = plane.to_degrees([x], [y])
        given_entry = TouchupSettings(entry_deg=(float(lat[0]), float(lon[0])))
        made = dataclasses.replace(audit.job.settings, touchup=given_entry)
        plan = plan_touchup(dataclasses.replace(audit, job=dataclasses.replace(audit.job, settings=made)))
        assert plan.treated, (x, y)
        assert_drivable(plan)


def test_pass_beside_a_bent_strip_keeps_to_the_radius_too():
    """A round field of 12 m: the strip along its fence bends at 11.5 m, the boom's centre 5 m inside at 7 m."""
    field = shapely.Point(50, 50).buffer(12, quad_segs=64)
    strip = shapely.difference(field, shapely.Point(50, 50).buffer(11, quad_segs=64)) & shapely.box(50, 50, 70, 70)
    angle = np.linspace(0.0, np.pi / 2, 40)
    middle = shapely.LineString(50 + 11.5 * np.column_stack([np.sin(angle), np.cos(angle)]))
    found = dataclasses.replace(box_strip("M1", (50, 50, 62, 62)), polygon=strip, area_m2=strip.area, line=middle)
    for radius, possible in ((6.5, True), (8.0, False)):
        given_radius = TouchupSettings(turning_radius_m=radius, entry_deg=(ORIGIN.lat_deg, ORIGIN.lon_deg))
        made = JobSettings(boom=BoomSettings((10.0,), "csv"), rate=RATE, touchup=given_radius)
        passes = [shapely.LineString([(45, 40), (45, 60)])]
        (one,) = plan_touchup(
            make_audit(field, passes, [dataclasses.replace(found, length_m=18.0)], [], settings=made)
        ).strips
        assert one.boom.possible is possible, one.boom.why_not


def test_ground_for_hours_of_driving_is_a_job_and_no_touchup(monkeypatch):
    """600 m square under a boom of 10 m: 36 km of way. Laying passes over it took minutes."""
    monkeypatch.setattr(audit_touchup, "lay_boom", None)
    field = shapely.box(0, 0, 620, 600)
    passes = [shapely.LineString([(615, 0), (615, 600)])]
    entry = (ORIGIN.lat_deg, ORIGIN.lon_deg)
    made = JobSettings(
        boom=BoomSettings((10.0,), "csv"), rate=RATE, touchup=TouchupSettings(value_m2=0.5, entry_deg=entry)
    )
    plan = plan_touchup(make_audit(field, passes, [box_strip("M1", (0, 0, 600, 600))], [], settings=made))
    assert plan.strips[0].boom.why_not == TOO_MUCH


def test_where_no_way_leads_free_driving_buys_none():
    found = touchup_field._priced(np.array([3.0, np.inf]), 0.0)  # noqa: SLF001 - its errors are what a plan hides
    assert found.tolist() == [0.0, np.inf]


def test_without_the_library_the_strips_worth_most_are_planned_and_the_rest_named(monkeypatch):
    """Fifteen passes 11 m apart with a boom of 10 m: fourteen strips a metre wide, twelve of which can be ordered."""
    times, points, given_on = parallel_passes([11.0 * k for k in range(15)], 0.0, 60.0)
    touchup = TouchupSettings(value_m2=1.0, labour_s=0.001)
    one = job(log(times, points), given_on, shapely.box(-5, 0, 159, 60), boom=boom(10.0), rate=RATE, touchup=touchup)
    audit = audit_job(one)
    assert len(audit.missed_strips) == 14
    monkeypatch.setitem(sys.modules, "ortools", None)
    plan = plan_touchup(audit)
    assert (plan.unordered, plan.exact, len(plan.treated)) == (2, False, 12)
    assert any("2 more strips may be worth a visit" in text for text in cautions(plan, "metric"))
