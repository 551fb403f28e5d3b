"""Touch-up plans of odd strips, odd days and booms of many sections: bounded, and never a traceback."""

import datetime as dt

import numpy as np
import pytest
import shapely
from jobs import FIELD_100_X_60, boom, job, log, parallel_passes
from scipy.spatial import cKDTree

from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import ProductSettings, RateSettings, TouchupSettings
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.touchup import plan_touchup
from coverage_audit.touchup import lanes as touchup_passes
from coverage_audit.touchup import ways
from coverage_audit.touchup.lanes import lay_boom
from coverage_audit.touchup.rules import dates_of
from coverage_audit.touchup.tolerances import LEAST_RUNS_TRIED, MOST_RUNS_TRIED, MOST_SECTIONS_TRIED, WIDTH_SLACK_M

DAY = dt.date(2026, 5, 30)


@pytest.mark.parametrize("interval", [{"phi_days": 14.0}, {"grazing_days": 1e300}, {"phi_days": float("inf")}])
def test_a_day_that_no_calendar_holds_is_refused(interval):
    """Never told as "no interval": that would allow cutting at once."""
    last = dt.date(9999, 12, 31)
    with pytest.raises(InputError, match="no calendar holds"):
        dates_of([ProductSettings("a", **interval)], last, last, None)


@pytest.mark.parametrize(("days", "whole"), [(0.5, 1), (14.0, 14), (13.01, 14), (0.0, 0)])
def test_part_of_a_day_counts_as_a_whole_one(days, whole):
    """An interval is over only when all of it has passed."""
    dates = dates_of([ProductSettings("a", phi_days=days, grazing_days=days)], DAY, DAY, None)
    assert dates.cut == dates.graze == DAY + dt.timedelta(days=whole)


def runs(sections_m, wide_m):
    edges = np.concatenate([[0.0], np.cumsum(sections_m)]) - sum(sections_m) / 2
    return edges, touchup_passes.runs_tried(edges, wide_m)


@pytest.mark.parametrize(
    ("sections_m", "wide_m", "expected"),
    [
        ((3, 4, 3), 2.0, [(0, 0), (1, 1), (2, 2)]),
        ((3, 4, 3), 3.5, [(0, 1), (1, 1), (2, 2)][:2]),
        ((3, 4, 3), 3.0 + WIDTH_SLACK_M / 2, [(0, 0), (1, 1), (2, 2)]),  # a hair wider than a section
        ((3, 4, 3), 9.9, [(0, 2)]),
        ((3, 4, 3), 10.5, []),
        ((1,) * 24, 0.5, [(k, k) for k in range(24)]),
    ],
)
def test_every_run_of_sections_that_is_wide_enough_is_tried(sections_m, wide_m, expected):
    assert runs(sections_m, wide_m)[1] == expected


@pytest.mark.parametrize("wide_m", [0.04, 1.2, 5.0, 9.0])
def test_of_many_runs_some_over_the_whole_boom_are_tried(wide_m):
    edges, tried = runs((0.05,) * 200, wide_m)
    assert LEAST_RUNS_TRIED <= len(tried) <= MOST_RUNS_TRIED
    assert sum(last - first + 1 for first, last in tried) <= max(MOST_SECTIONS_TRIED, LEAST_RUNS_TRIED * 200)
    assert tried[0][0] == 0
    assert tried[-1][1] == 199
    for first, last in tried:
        assert edges[last + 1] - edges[first] >= wide_m - WIDTH_SLACK_M


def test_two_hundred_sections_lay_no_more_ways_than_a_bound(monkeypatch):
    """Frames of ways laid on trial are counted: five a run, seven positions at most, and one for the strip."""
    laid = []
    plain = touchup_passes.Frame
    monkeypatch.setattr(touchup_passes, "Frame", lambda *given: (laid.append(1), plain(*given))[1])
    times, points, intervals = parallel_passes([5, 15, 26.2, 35, 45, 55], 0.0, 100.0, hz=2.0)
    many = boom(10.0, sections_m=(0.05,) * 200)
    given = TouchupSettings(value_m2=0.5)
    spray = job(log(times, points), intervals, FIELD_100_X_60, boom=many, rate=RateSettings(100.0, 15.0), touchup=given)
    plan = plan_touchup(audit_job(spray))
    assert 0 < len(laid) <= 5 * MOST_RUNS_TRIED * 7 + 1
    assert [one.advice for one in plan.strips] == ["boom"]
    assert plan.after.missed_m2 < 0.1


FIELD = shapely.box(-50, -50, 50, 50)


def test_beside_a_jagged_outline_fewer_ways_are_tried_and_one_is_found(monkeypatch):
    """Ways tried times corners are bounded: with 4 000 corners 15 ways of the 25 to each of seven positions."""
    laid = []
    plain = touchup_passes.Frame
    monkeypatch.setattr(touchup_passes, "Frame", lambda *given: (laid.append(1), plain(*given))[1])
    teeth = [(-20 - (k % 2), -30 + 60 * k / 4000) for k in range(4000)]
    target = shapely.Polygon([*teeth, (20, 30), (20, -30)])
    part, strip = np.array([(0, -20), (0, 20)], float), shapely.box(-0.4, -20, 0.4, 20)
    track = shapely.LineString([(0, -50), (0, 50)])
    passes = lay_boom(part, strip, target, FIELD, track, (2.0,) * 5, 60_000)
    assert 0 < len(laid) - 1 <= 60_000 // 4000
    assert len(passes) == 1


@pytest.mark.parametrize(
    "part",
    [
        [(0, 0), (0, 0)],
        [(0, 0), (0, 0), (0, 10)],
        [(0, 0), (0, 10), (0, 10)],
        [(0, 0), (0, 10), (0, 0)],
        [(0, 0), (0, 10), (1e-9, 10), (0, 0), (0, 10)],
        [(np.nan, 0), (0, 10)],
    ],
)
def test_a_degenerate_strip_is_laid_or_not_but_never_breaks(part):
    strip = shapely.box(-0.5, 0, 0.5, 10)
    passes = lay_boom(np.array(part, float), strip, FIELD, FIELD, shapely.LineString([(0, -50), (0, 50)]), (3.0, 3.0))
    for one in passes:
        assert np.isfinite(one.line).all()


def test_a_way_that_cannot_be_moved_aside_is_left_out(monkeypatch):
    def fails(*_given, **_more):
        raise shapely.errors.GEOSException("TopologyException")

    monkeypatch.setattr(shapely, "offset_curve", fails)
    bent = np.array([(0, 0), (3, 10), (0, 20)], float)
    strip = shapely.buffer(shapely.LineString(bent), 0.5)
    assert lay_boom(bent, strip, FIELD, FIELD, shapely.LineString([(0, -50), (0, 50)]), (3.0, 3.0)) == []


def test_near_places_are_found_a_part_at_a_time(monkeypatch):
    """Pairs by SciPy's tree; those of a place with itself are none."""
    rng = np.random.default_rng(5)
    pose = np.column_stack([rng.uniform(0, 100, (60, 2)), np.zeros(60)])
    tails, heads = np.arange(40), np.arange(20, 60)
    monkeypatch.setattr(ways, "PAIRS_AT_ONCE", 100)
    found = ways._near_pairs(pose, tails, heads, 30.0)  # noqa: SLF001 - a whole network tells which pairs have ways only
    near = cKDTree(pose[heads, :2]).query_ball_point(pose[tails, :2], 30.0)
    wanted = {(tail, int(heads[k])) for tail, close in enumerate(near) for k in close} - {(k, k) for k in range(60)}
    assert set(zip(*(one.tolist() for one in found), strict=True)) == wanted
    assert len(found[0]) == len(wanted) > 300
    assert not len(ways._near_pairs(pose, tails[:0], heads, 30.0)[0])  # noqa: SLF001
