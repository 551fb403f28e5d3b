"""Cleaning: what is used, and that everything else is counted."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jobs import START_S, log
from track_jobs import changed, clean, straight

from coverage_audit.errors import InputError


def test_clean_log_is_used_whole():
    track, dropped = clean(straight())
    assert len(track.time_s) == 60
    assert dropped == ({},)
    assert track.median_step_s == 1.0


def test_duplicate_and_backward_times_are_dropped_and_told_apart():
    one = straight()
    times = one.fixes.time_s.copy()
    times[20] = times[19]
    times[40] = times[30] - 0.5
    track, dropped = clean(changed(one, time_s=times))
    assert dropped == ({"duplicate_time": 1, "backward_time": 1},)
    assert len(track.time_s) == 58


def test_one_fix_with_a_time_in_the_future_costs_only_itself():
    one = straight()
    times = one.fixes.time_s.copy()
    times[10] += 86_400
    track, dropped = clean(changed(one, time_s=times))
    assert dropped == ({"backward_time": 1},)
    assert len(track.time_s) == 59


@pytest.mark.parametrize("where", [0, 30, 59])
def test_jump_of_one_fix_is_dropped(where):
    one = straight()
    lat = one.fixes.lat_deg.copy()
    lat[where] += 80e-5  # 80 m north
    track, dropped = clean(changed(one, lat_deg=lat))
    assert dropped == ({"jump": 1},)
    assert len(track.time_s) == 59


def test_three_fixes_in_another_place_are_dropped():
    one = straight()
    lon = one.fixes.lon_deg.copy()
    lon[30:33] += 300e-5
    track, dropped = clean(changed(one, lon_deg=lon))
    assert dropped == ({"jump": 3},)
    assert len(track.time_s) == 57


def test_hard_but_possible_driving_is_kept():
    """Braking from 8 m/s to a stand in 2 s and a right-angled corner at 3 m/s are no jumps."""
    y = np.concatenate([np.arange(20) * 8.0, [158, 160, 160, 160], 160 + 0 * np.arange(10)])
    x = np.concatenate([np.zeros(24), np.arange(10) * 3.0])
    track, dropped = clean(log(np.arange(34.0), np.column_stack([x, y])))
    assert dropped == ({},)
    assert len(track.time_s) == 34


def test_gap_must_be_long_in_seconds_and_in_steps():
    one = straight(count=80, step_s=2.0)
    keep = np.r_[0:20, 23:40, 45:80]
    fixes = one.fixes
    part = dataclasses.replace(
        one,
        fixes=dataclasses.replace(fixes, **{f.name: getattr(fixes, f.name)[keep] for f in dataclasses.fields(fixes)}),
    )
    track, _ = clean(part)
    assert np.flatnonzero(track.gap_after).tolist() == [19, 36]  # 8 s and 12 s; three steps of 2 s are 6 s
    track, _ = clean(part, max_gap_s=10.0)
    assert np.flatnonzero(track.gap_after).tolist() == [36]


def test_files_are_joined_in_time_order_and_numbered():
    first, second = straight(30), straight(30)
    later = changed(second, time_s=second.fixes.time_s + 100)
    track, _ = clean(later, first)
    assert np.all(np.diff(track.time_s) > 0)
    assert track.file.tolist() == [1] * 30 + [0] * 30
    assert track.segment.tolist() == [0] * 30 + [1] * 30


def test_overlapping_files_are_refused():
    first, second = straight(30), straight(30)
    with pytest.raises(InputError, match=r"overlaps track.gpx in time by 19 s"):
        clean(first, changed(second, time_s=second.fixes.time_s + 10))


@pytest.mark.parametrize(("aside_m", "refused"), [(0.0, False), (0.5, False), (40.0, True)])
def test_a_fix_that_two_files_share_is_counted_once(aside_m, refused):
    """One file ends with the fix that the next begins with; another machine's lies elsewhere."""
    first, second = straight(30), straight(30)
    degrees = aside_m / 111_320
    later = changed(second, time_s=second.fixes.time_s + 29, lat_deg=second.fixes.lat_deg + degrees)
    last = first.fixes.lat_deg[-1], first.fixes.lon_deg[-1]
    later = changed(
        later,
        lat_deg=later.fixes.lat_deg + last[0] - second.fixes.lat_deg[0],
        lon_deg=later.fixes.lon_deg + last[1] - second.fixes.lon_deg[0],
    )
    if refused:
        with pytest.raises(InputError, match=r"overlaps track.gpx in time by 0 s"):
            clean(first, later)
        return
    track, dropped = clean(first, later)
    assert len(track.time_s) == 59
    assert np.diff(track.time_s) == pytest.approx(np.ones(58))
    assert dropped[1]["duplicate_time"] == dropped[0].get("duplicate_time", 0) + 1


def test_sparse_log_is_refused_with_what_to_set():
    with pytest.raises(InputError, match=r"median step is 10.0 s.*one fix a second"):
        clean(straight(step_s=10.0))


def test_clock_offset_moves_every_time():
    track, _ = clean(straight(), offset_s=-7.5)
    assert track.time_s[0] == START_S - 7.5


@given(st.lists(st.integers(0, 40), min_size=3, max_size=60))
def test_every_fix_is_used_or_counted_whatever_its_time(seconds):
    one = straight(len(seconds), speed_m_s=0.01)
    try:
        track, (dropped,) = clean(changed(one, time_s=START_S + np.array(seconds, float)), max_gap_s=1e9)
    except InputError:
        return
    assert len(track.time_s) + sum(dropped.values()) == len(seconds)
    assert np.all(np.diff(track.time_s) > 0)
