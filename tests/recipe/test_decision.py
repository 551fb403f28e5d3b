"""Go back or not: the rule from facts alone, and the ground that nobody can speak for."""

import dataclasses
import datetime as dt

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from jobs import FIELD_100_X_60, WORKED_X, job, log, parallel_passes
from phone_log import FORGOTTEN_PASS, phone_log

from coverage_audit import run
from coverage_audit.ground.unlogged import Break, reachable
from coverage_audit.jobs.job import ASSUMED
from coverage_audit.read.records import LOGGED, MARKED, REMEMBERED
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.decision import (
    CANNOT_TELL,
    DOUBTFUL,
    GO_BACK,
    LEAVE,
    SURE,
    Facts,
    Place,
    decide,
)

HOLE = Place("M1", 360.0, 9.0, 1.0)
SLIVER = Place("M2", 140.0, 1.0, 0.2)
FACTS = Facts(
    places=(HOLE, SLIVER),
    target_m2=22_000.0,
    missed_m2=560.0,
    unknown_m2=0.0,
    state=LOGGED,
    switch_m=0.0,
    narrowest_m=1.2,
    wander_m=0.9,
    counts_agree=True,
)


def changed(**facts):
    return decide(dataclasses.replace(FACTS, **facts))


def test_a_certain_hole_is_gone_back_for_and_a_sliver_is_not():
    found = decide(FACTS)
    assert (found.kind, found.strips) == (GO_BACK, ("M1",))
    assert found.standing == {"M1": SURE, "M2": DOUBTFUL}
    assert (found.sure_m2, found.cannot_tell_m2, found.unknown_m2) == (360.0, 200.0, 0.0)


def test_slivers_that_error_can_make_are_left():
    assert changed(places=(SLIVER,)).kind == LEAVE


@pytest.mark.parametrize(
    "facts",
    [
        {"places": (dataclasses.replace(HOLE, chance=0.8),)},  # likelier missed than not
        {"places": (), "state": ASSUMED},
        {"places": (), "narrowest_m": None},
        {"places": (), "unknown_m2": 300.0},
        {"counts_agree": False},
    ],
    ids=["doubtful hole", "assumed", "no skip can be told", "log paused", "counts differ"],
)
def test_what_cannot_be_told_is_neither_left_nor_gone_back_for(facts):
    found = changed(**facts)
    assert (found.kind, found.strips) == (CANNOT_TELL, ())


@pytest.mark.parametrize(
    ("state", "switch_m", "length_m", "kind"),
    [
        (MARKED, 7.5, 40.0, GO_BACK),
        (MARKED, 7.5, 12.0, CANNOT_TELL),
        (REMEMBERED, 0.0, 40.0, GO_BACK),
        (ASSUMED, float("inf"), 40.0, CANNOT_TELL),
    ],
)
def test_ground_that_switching_made_is_as_sure_as_its_moments(state, switch_m, length_m, kind):
    place = dataclasses.replace(HOLE, by_switch_m=length_m)
    assert changed(places=(place,), state=state, switch_m=switch_m).kind == kind


def test_a_plan_says_what_pays():
    assert changed(paying=frozenset({"M1"})).strips == ("M1",)
    assert changed(paying=frozenset()).kind == LEAVE
    assert changed(paying=frozenset({"M2"})).kind == LEAVE  # a plan cannot make doubtful ground sure


def test_what_the_log_shows_is_not_passed_over_because_nobody_worked_out_its_chance():
    places = (dataclasses.replace(HOLE, chance=None, mean_width_m=1.0),)
    assert changed(places=places).kind == CANNOT_TELL


def test_without_draws_only_what_is_wider_than_the_usual_error_is_sure():
    places = (dataclasses.replace(HOLE, chance=None), dataclasses.replace(SLIVER, chance=None))
    assert changed(places=places).standing == {"M1": SURE, "M2": DOUBTFUL}
    for state in (ASSUMED, REMEMBERED):  # nobody drove over it, or somebody did with the boom off as it is thought
        assert changed(places=places, state=state).standing == {"M1": SURE, "M2": DOUBTFUL}
        driven = (dataclasses.replace(places[0], by_switch_m=40.0), places[1])
        assert changed(places=driven, state=state).standing == {"M1": DOUBTFUL, "M2": DOUBTFUL}


places = st.lists(
    st.builds(
        Place,
        st.uuids().map(str),
        st.floats(0.1, 500),
        st.floats(0.3, 9),
        st.none() | st.floats(0, 1),
        st.none() | st.floats(0, 100),
    ),
    max_size=6,
)


@given(places, st.floats(0, 1000), st.sampled_from([LOGGED, MARKED, REMEMBERED, ASSUMED]), st.none() | st.floats(0, 9))
def test_the_parts_add_up_and_no_doubtful_strip_is_gone_back_for(found_places, unknown_m2, state, narrowest_m):
    missed = sum(place.area_m2 for place in found_places) + unknown_m2 + 3.0
    facts = dataclasses.replace(
        FACTS, places=tuple(found_places), missed_m2=missed, unknown_m2=unknown_m2, state=state, narrowest_m=narrowest_m
    )
    found = decide(facts)
    assert found.sure_m2 + found.cannot_tell_m2 + found.unknown_m2 == pytest.approx(missed)
    assert set(found.strips) <= set(found.sure)
    assert (found.kind == GO_BACK) == bool(found.strips)
    likely = [place.area_m2 for place in found_places if place.chance is None or place.chance >= 0.5]
    assert found.kind != LEAVE or sum(likely) < 200.0  # no more than is worth going for, sure or not


# --- ground that nobody can speak for --------------------------------------------------------------------


def paused(lost_s, **settings):
    """The job of six 10 m passes of which the log paused between two moments [s]; the boom is on from 0 to 100 m."""
    times, points, intervals = parallel_passes(WORKED_X, 0.0, 100.0, hz=1.0)
    kept = (times <= lost_s[0]) | (times >= lost_s[1])
    return job(log(times[kept], points[kept]), intervals, FIELD_100_X_60, **settings)


def test_ground_where_the_log_paused_amid_a_pass_is_unknown_not_missed():
    """60 m of the first pass of 10 m: 600 m2; the skip of 100 m2 beside the third stays missed."""
    audit = audit_job(paused((14.0, 38.0)))
    assert audit.area_m2.unknown == pytest.approx(600.0, rel=0.01)
    assert audit.area_m2.missed == pytest.approx(700.0, rel=0.01)
    assert [strip.area_m2 for strip in audit.missed_strips] == pytest.approx([100.0], rel=0.02)
    found = audit.answer.decision
    assert found.sure_m2 + found.cannot_tell_m2 + found.unknown_m2 == pytest.approx(audit.area_m2.missed)
    assert found.unknown_m2 == audit.area_m2.unknown


def test_a_pause_with_the_boom_off_makes_nothing_unknown():
    times, points, intervals = parallel_passes((5.0, 15.0), 0.0, 100.0, hz=1.0)
    kept = (times <= 46.0) | (times >= 58.0)  # the turn
    audit = audit_job(job(log(times[kept], points[kept]), intervals, shapely.box(0, 0, 30, 100)))
    assert audit.area_m2.unknown == 0.0
    assert audit.area_m2.missed == pytest.approx(1000.0, rel=0.01)


def test_work_left_where_the_log_was_cut_is_unknown():
    """The log ends 50 m into the third of six passes: the rest of the field may have been sprayed."""
    times, points, intervals = parallel_passes(WORKED_X, 0.0, 100.0, hz=1.0)
    kept = times <= intervals[2][0] + 20.0
    rows = [one for one in intervals if one[0] < times[kept][-1]]
    audit = audit_job(job(log(times[kept], points[kept]), rows, FIELD_100_X_60))
    assert audit.missed_strips == () or max(strip.area_m2 for strip in audit.missed_strips) < 101.0
    assert audit.area_m2.unknown == pytest.approx(audit.area_m2.missed, rel=0.05)
    assert audit.answer.decision.kind == CANNOT_TELL


def test_a_job_that_ends_with_its_pass_was_not_cut():
    times, points, intervals = parallel_passes((5.0, 15.0), 0.0, 100.0, hz=1.0)
    kept = times <= intervals[1][1]
    audit = audit_job(job(log(times[kept], points[kept]), intervals, FIELD_100_X_60))
    assert audit.area_m2.unknown == 0.0
    assert audit.answer.decision.kind == GO_BACK  # 40 m of 60 were never driven


def test_reach_of_a_pause_by_textbook_geometry():
    """40 s at 2.5 m/s between places 60 m apart: an ellipse of half axes 50 and 40 m, here without the boom's width."""
    pause = Break(0.0, 40.0, (0.0, 0.0), (60.0, 0.0))
    ground = reachable(pause, 2.5, 0.0)
    assert ground.area == pytest.approx(3.14159265 * 50 * 40, rel=2e-3)
    assert ground.bounds == pytest.approx((-20.0, -40.0, 80.0, 40.0), abs=0.1)
    straight = reachable(dataclasses.replace(pause, end_s=25.0), 2.5, 10.0)  # 62.5 m in the time: driven straight
    assert straight.area == pytest.approx(600.0)


def test_a_hole_is_parted_from_the_skip_it_touches():
    """Boom off for 40 m of the pass that lies 1 m off, and so 1 m over the next: 9 m x 40 m beside 1 m x 100 m."""
    times, points, intervals = parallel_passes(WORKED_X, 0.0, 100.0)
    on, off = intervals[2]
    rows = [*intervals[:2], (on, on + 12.0), (on + 28.0, off), *intervals[3:]]
    audit = audit_job(job(log(times, points), rows, FIELD_100_X_60))
    widths = sorted((round(strip.mean_width_m, 1), round(strip.length_m)) for strip in audit.missed_strips)
    assert [wide for wide, _ in widths] == pytest.approx([1.0, 1.0, 10.5], abs=0.5)
    causes = {strip.id: audit.passes.causes[strip.id].kind for strip in audit.missed_strips}
    assert causes == {"M1": "boom off", "M2": "spacing", "M3": "spacing"}
    assert sum(strip.area_m2 for strip in audit.missed_strips) == pytest.approx(460.0, rel=0.01)


def test_a_pass_that_he_says_was_off_is_gone_back_for_though_nobody_logged_the_boom():
    """What a person says of a pass is no guess of the program: draws carry how loosely he said it."""
    phone = phone_log()
    off = np.asarray(phone.job.times_s)[np.asarray(phone.job.pass_number) == FORGOTTEN_PASS]
    at, until = (dt.datetime.fromtimestamp(float(off[k]), dt.UTC).isoformat() for k in (0, -1))
    text = (
        '[field]\nboundary = "field.geojson"\n[track]\nfiles = ["track.gpx"]\n[accuracy]\nreplicates = 0\n'
        '[boom]\nintervals = "assume"\nwidth = "9 m"\nantenna_ahead = "1.4 m"\n'
        f'remembered = [{{at = "{at}", off_until = "{until}"}}]\n'
    )
    audit = run.audited(
        run.read_files({"job.toml": text, "track.gpx": phone.gpx, "field.geojson": phone.geojson}, "job.toml")
    )
    found = run.summary(audit)
    assert found["boom_state"] == "assumed"
    assert (found["decision"]["kind"], found["decision"]["strips"][0]) == ("go back", "M1")
    (strip,) = [one for one in found["missed_strips"] if one["id"] == "M1"]
    assert strip["cause"]["words"].startswith("the boom was off here, as remembered")


# --- what a touch-up plan makes of it -----------------------------------------------------------------------


def test_a_plan_that_weighed_a_doubtful_place_and_leaves_it_settles_the_doubt():
    places = (dataclasses.replace(HOLE, chance=0.8),)
    assert changed(places=places).kind == CANNOT_TELL
    assert changed(places=places, paying=frozenset(), weighed=frozenset({"M1"})).kind == LEAVE
    assert changed(places=places, paying=frozenset(), weighed=frozenset()).kind == CANNOT_TELL  # nobody looked


def test_a_plan_over_doubtful_ground_makes_it_no_surer():
    places = (dataclasses.replace(HOLE, chance=0.8),)
    found = changed(places=places, paying=frozenset({"M1"}), weighed=frozenset({"M1"}))
    assert (found.kind, found.strips, found.taken_along) == (CANNOT_TELL, (), ("M1",))
    both = changed(paying=frozenset({"M1", "M2"}), weighed=frozenset({"M1", "M2"}))
    assert (both.kind, both.strips, both.taken_along) == (GO_BACK, ("M1",), ("M2",))
