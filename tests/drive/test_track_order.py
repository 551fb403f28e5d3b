"""Wrong clocks, wrong places and tracks in the wrong order cost what they must and no more, in fixes and in memory."""

import dataclasses

import numpy as np
import pytest
from jobs import log
from track_jobs import changed, clean, straight

from coverage_audit.drive.motion import build_motion
from coverage_audit.drive.reversals import _chords
from coverage_audit.drive.track import order_cautions
from coverage_audit.papers.words.cautions import texts
from coverage_audit.passes.model import Fixed
from coverage_audit.passes.tolerances import MOST_WAY_STEPS
from coverage_audit.passes.way import smooth_way, usual_speed_m_s

YEAR_S = 365 * 86_400.0


@pytest.mark.parametrize("away_s", [-40 * YEAR_S, -30 * 86_400.0, 30 * 86_400.0, 40 * YEAR_S])
@pytest.mark.parametrize("where", [0, 1, 30, 58, 59])
def test_one_wrong_clock_costs_one_fix(where, away_s):
    one = straight()
    times = one.fixes.time_s.copy()
    times[where] += away_s
    track, (dropped,) = clean(changed(one, time_s=times))
    assert len(track.time_s) == 59
    assert sum(dropped.values()) == 1
    assert np.ptp(track.time_s) < 60


def test_a_few_fixes_before_the_clock_is_set_are_dropped_and_counted():
    one = straight()
    times = one.fixes.time_s.copy()
    times[:5] -= 20 * YEAR_S
    track, dropped = clean(changed(one, time_s=times))
    assert dropped == ({"wrong_time": 5},)
    assert len(track.time_s) == 55


def test_a_second_day_is_kept():
    """Two halves of half a minute with a night between them: no clock is wrong."""
    one = straight()
    times = one.fixes.time_s.copy()
    times[30:] += 86_400
    track, dropped = clean(changed(one, time_s=times))
    assert dropped == ({},)
    assert track.gap_after.sum() == 1


def test_nothing_grows_with_the_span_of_times():
    """Half a log dated ten years before the rest: chords, way and speeds stay as many as fixes and pauses allow."""
    one = straight()
    times = one.fixes.time_s.copy()
    times[:30] -= 10 * YEAR_S
    track, _ = clean(changed(one, time_s=times))
    run = np.concatenate([[0], np.cumsum(track.gap_after[:-1])])
    assert len(_chords(track.time_s, track.x_m, track.y_m, run).start) < 60
    assert len(build_motion(track, 5.0).time_s) == 60
    fixed = Fixed(track.time_s, track.x_m, track.y_m, 0.0, np.ones(60, bool))
    assert usual_speed_m_s(fixed) == pytest.approx(2.5, rel=0.15)
    way = smooth_way(fixed)
    assert len(way.time_s) < 10_000
    assert way.time_s[0] == track.time_s[0]
    assert way.time_s[-1] == pytest.approx(track.time_s[-1], abs=2)


def test_the_grid_of_the_way_has_a_most():
    """20 000 fixes a quarter of an hour apart would need ten times the steps."""
    times = np.arange(20_000) * 900.0
    fixed = Fixed(times, times * 0.05, np.zeros(len(times)), 0.0, np.ones(len(times), bool))
    assert len(smooth_way(fixed).time_s) <= MOST_WAY_STEPS + 2


@pytest.mark.parametrize("count", [1, 5, 25])
def test_places_far_away_are_dropped_and_counted(count):
    """Thousands of kilometres off for as long as you like: no field, no swath, no memory."""
    one = straight()
    lat = one.fixes.lat_deg.copy()
    lat[20 : 20 + count] += 30.0
    track, (dropped,) = clean(changed(one, lat_deg=lat))
    assert len(track.time_s) == 60 - count
    assert sum(dropped.values()) == count
    assert np.ptp(track.y_m) < 1000


def test_a_step_nobody_can_drive_is_a_gap():
    """Half of the log lies 2 km away: both parts stay, and nothing is swept between them."""
    one = straight()
    lat = one.fixes.lat_deg.copy()
    lat[30:] += 0.02
    track, dropped = clean(changed(one, lat_deg=lat))
    assert dropped == ({},)
    assert np.flatnonzero(track.gap_after).tolist() == [29]


def test_clock_jitter_at_23_hz_costs_no_fix():
    """A good receiver whose log is stamped 1 to 7 ms early or late, some fixes a millisecond apart."""
    rng = np.random.default_rng(2)
    even = np.arange(2000) / 23
    times = np.sort(even + rng.choice([-1, 1], 2000) * rng.uniform(0.001, 0.007, 2000))
    times[500:1500:50] = times[499:1499:50] + 0.001
    points = np.column_stack([rng.normal(0, 0.01, 2000), 3.0 * even + rng.normal(0, 0.01, 2000)])
    track, dropped = clean(log(times, points))
    assert dropped == ({},)
    assert len(track.time_s) == 2000
    assert not track.gap_after.any()


def out_of_order(order, size=30, *, segments=True):
    """Tracks of *size* fixes each, standing in the file in *order*."""
    count = size * len(order)
    times = np.arange(count, dtype=float)
    read = log(times, np.column_stack([np.zeros(count), 2.5 * times]))
    index = np.concatenate([np.arange(size) + size * k for k in order])
    columns = {one.name: getattr(read.fixes, one.name)[index] for one in dataclasses.fields(read.fixes)}
    columns["segment"] = np.repeat(np.arange(len(order)), size) if segments else np.zeros(count, int)
    return dataclasses.replace(read, fixes=dataclasses.replace(read.fixes, **columns))


@pytest.mark.parametrize("segments", [True, False])
@pytest.mark.parametrize("order", [(1, 0), (2, 0, 1), (3, 2, 1, 0), (0, 2, 1, 3)])
def test_tracks_out_of_time_order_are_sorted_and_told(order, segments):
    one = out_of_order(order, segments=segments)
    track, dropped = clean(one)
    assert dropped == ({},)
    assert len(track.time_s) == 30 * len(order)
    assert np.all(np.diff(track.time_s) == 1)
    assert np.allclose(np.diff(track.y_m), track.y_m[1] - track.y_m[0], rtol=1e-3)
    (told,) = texts(order_cautions((one,)), "metric")
    assert "not in time order" in told


def test_one_wrong_clock_in_tracks_out_of_order_costs_one_fix():
    one = out_of_order((1, 0))
    times = one.fixes.time_s.copy()
    times[0] -= 5000  # the first fix of the later track
    track, (dropped,) = clean(changed(one, time_s=times))
    assert len(track.time_s) == 59
    assert sum(dropped.values()) == 1


def test_a_log_in_order_is_not_said_to_be_sorted():
    assert order_cautions((straight(),)) == []
    one = straight()
    times = one.fixes.time_s.copy()
    times[40] = times[30] - 0.5
    assert order_cautions((changed(one, time_s=times),)) == []
