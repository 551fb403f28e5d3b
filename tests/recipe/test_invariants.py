"""What must not change an audit: where the field lies, how it is turned, which way it was driven.

Areas may differ by the thinning limit along edges and by the choice of turn of the smoothing
windows; 0.005 % of the field is allowed, a twentieth of what an area may be off at 1 Hz.
"""

import dataclasses
import functools
import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import boom, job, log
from simulator.jobs import GnssError, Scenario, Steering, simulate

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.jobs.settings import BoomSettings
from coverage_audit.recipe.audit import audit_job

FIELD = shapely.Polygon([(0, 0), (95, -6), (110, 80), (40, 105), (-8, 70)])
SECTIONS = (2.0, 4.0, 3.0)
few = settings(max_examples=6, deadline=None)


@functools.cache
def driven():
    """A hand-steered job of 1 ha with a spiral headland, at 5 Hz, boom ahead and aside of nothing."""
    scenario = Scenario(
        field=FIELD,
        heading_deg=20.0,
        headland_laps=1.5,
        hz=5.0,
        steering=Steering(sd_m=0.3),
        gnss=GnssError(white_m=0.01),
        antenna_ahead_m=1.4,
        antenna_right_m=0.3,
        seed=4,
    )
    return simulate(scenario)


def arm(**more):
    base = BoomSettings(SECTIONS, "csv", antenna_ahead_m=1.4, antenna_right_m=0.3)
    return dataclasses.replace(base, **more)


def with_sections(intervals):
    """The middle section is opened two seconds late every time."""
    return [one for on, off in intervals for one in ((on, off, (1, 3)), (on + 2.0, off, (2,)))]


@functools.cache
def plain():
    return audit_job(
        job(log(driven().times_s, driven().logged_m), with_sections(driven().on_intervals), FIELD, boom=arm())
    )


def assert_same(audit, *, swap=False):
    for name in ("field", "target", "covered", "missed", "double", "outside", "swept", "swept_net"):
        expected, found = getattr(plain().area_m2, name), getattr(audit.area_m2, name)
        assert found == pytest.approx(expected, abs=5e-5 * plain().area_m2.field), name
    assert audit.checks.ok
    assert not swap or audit.missed_strips


@few
@given(st.floats(-180, 179.9), st.floats(-68, 68))
def test_translation_over_the_globe(lon, lat):
    one = driven()
    audit = audit_job(
        job(
            log(one.times_s, one.logged_m, origin=PlaneOrigin(lon, lat)),
            with_sections(one.on_intervals),
            FIELD,
            boom=arm(),
            origin=PlaneOrigin(lon, lat),
        )
    )
    assert_same(audit)


@few
@given(st.floats(0, 360))
def test_rotation(angle):
    turn = math.radians(angle)
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    one = driven()
    field = shapely.transform(FIELD, lambda xy: xy @ matrix.T)
    audit = audit_job(
        job(log(one.times_s, one.logged_m @ matrix.T), with_sections(one.on_intervals), field, boom=arm())
    )
    assert_same(audit)


def test_reversal_of_travel():
    """Driven backwards in time with the antenna and the sections mirrored, the same ground is swept."""
    one = driven()
    end = float(one.times_s[-1])
    mirrored = arm(sections_m=SECTIONS[::-1], antenna_ahead_m=-1.4, antenna_right_m=-0.3)
    intervals = [
        (end - off, end - on, tuple(4 - k for k in sections)) for on, off, sections in with_sections(one.on_intervals)
    ]
    audit = audit_job(job(log(end - one.times_s[::-1], one.logged_m[::-1]), intervals, FIELD, boom=mirrored))
    assert_same(audit, swap=True)


@few
@given(st.lists(st.floats(0.05, 0.95), min_size=1, max_size=3, unique=True), st.randoms())
def test_order_of_files(cuts, random):
    one = driven()
    count = len(one.times_s)
    edges = [0, *sorted({int(cut * count) for cut in cuts}), count]
    logs = [log(one.times_s[a:b], one.logged_m[a:b], name=f"part{k}.gpx") for k, (a, b) in enumerate(pairwise(edges))]
    random.shuffle(logs)
    audit = audit_job(job(tuple(logs), with_sections(one.on_intervals), FIELD, boom=arm()))
    assert audit.area_m2 == plain().area_m2


@few
@given(st.integers(0, 12), st.floats(0.02, 0.98))
def test_splitting_an_interval_in_two_that_touch(which, share):
    one = driven()
    intervals = with_sections(one.on_intervals)
    on, off, sections = intervals[which % len(intervals)]
    middle = on + share * (off - on)
    intervals[which % len(intervals) : which % len(intervals) + 1] = [(on, middle, sections), (middle, off, sections)]
    audit = audit_job(job(log(one.times_s, one.logged_m), intervals, FIELD, boom=arm()))
    assert audit.area_m2 == plain().area_m2


def test_covered_ground_is_the_union_of_true_sweeps():
    """Without noise the audit covers what the simulator's own true quadrilaterals cover.

    The truth is a plain shapely union of 20 Hz steps; the axle stands under the boom, so that
    the heading is the axle's tractrix and not the antenna's course.
    """
    one = simulate(dataclasses.replace(driven().scenario, gnss=GnssError(), hz=10.0))
    quads = [np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1) for left, right in one.true_sweeps]
    swept = shapely.union_all(shapely.make_valid(shapely.polygons(np.concatenate(quads))))
    truth = shapely.intersection(swept, FIELD).area
    settled = boom(9.0, antenna_ahead_m=1.4, antenna_right_m=0.3, axle_behind_antenna_m=1.4)
    audit = audit_job(job(log(one.times_s, one.logged_m), one.on_intervals, FIELD, boom=settled))
    assert audit.area_m2.covered == pytest.approx(truth, abs=1e-4 * FIELD.area)
