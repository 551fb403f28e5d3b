"""Jumps sideways: found where no vehicle makes them, and carried through as an error that is another one afterwards."""

import dataclasses

import numpy as np
import pytest
from jobs import START_S

from coverage_audit.accuracy.error import difference_sd, error_model
from coverage_audit.accuracy.jumps import clock_s, jumps_of, with_jumps
from coverage_audit.drive.model import Track
from coverage_audit.jobs.settings import AccuracySettings

RNG = np.random.default_rng(1016)


def driven(aside_m, hz=1.0, quality=1, turn_rad=0.0):
    """A log northwards at 2.5 m/s, *aside_m* (n,) off its line, that turns by *turn_rad* a second."""
    count = len(aside_m)
    seconds = np.arange(count) / hz
    angle = turn_rad * seconds
    x, y = np.cumsum(np.sin(angle)) * 2.5 / hz, np.cumsum(np.cos(angle)) * 2.5 / hz
    none, zero = np.full(count, np.nan), np.zeros(count, int)
    columns = (none, none, np.full(count, quality), none, none, zero, zero, np.zeros(count, bool), 1 / hz)
    return Track(START_S + seconds, x + aside_m * np.cos(angle), y - aside_m * np.sin(angle), *columns)


@pytest.mark.parametrize("hz", [1.0, 5.0, 10.0])
@pytest.mark.parametrize("size", [0.2, -0.4])
def test_a_jump_is_found_where_it_is_and_as_large_as_it_is(hz, size):
    count = int(200 * hz)
    aside = np.where(np.arange(count) > count // 2, size, 0.0) + 0.005 * RNG.standard_normal(count)
    found = jumps_of(driven(aside, hz))
    assert found.before.tolist() == [count // 2]
    # (J, -2 J, J) of four fixes with 5 mm of noise each: sd 5 mm * sqrt(20) / 2 = 11 mm; four of these
    assert found.size_m[0] == pytest.approx(abs(size), abs=0.045)
    assert found.fixed_m == 0.0


@pytest.mark.parametrize("hz", [1.0, 10.0])
def test_what_a_vehicle_does_is_no_jump(hz):
    """Swings of 0.2 m in eight seconds, a lane changed within four seconds, an arc of 5 m at a walking pace."""
    seconds = np.arange(0, 200, 1 / hz)
    noise = 0.005 * RNG.standard_normal(len(seconds))
    changed = 3.0 / (1 + np.exp(-(seconds - 100) / 0.8))
    for aside, turn in ((0.2 * np.sin(2 * np.pi * seconds / 8), 0.0), (changed, 0.0), (0.0 * seconds, 0.5)):
        assert len(jumps_of(driven(aside + noise, hz, turn_rad=turn)).before) == 0


def test_fixes_far_apart_or_few_show_no_jump():
    aside = np.where(np.arange(100) > 50, 0.5, 0.0)
    assert len(jumps_of(driven(aside, hz=0.5)).before) == 0
    assert len(jumps_of(driven(aside[45:56])).before) == 0


def test_jump_between_fixed_positions_is_told_apart():
    aside = np.where(np.arange(100) > 50, 0.5, 0.0)
    track = driven(aside, quality=4)
    assert jumps_of(track).fixed_m == pytest.approx(0.5)
    floating = dataclasses.replace(track, quality=np.where(np.arange(100) > 50, 5, 4))
    assert jumps_of(floating).fixed_m == 0.0


def test_across_a_jump_the_error_differs_by_so_much():
    track = driven(np.where(np.arange(100) > 50, 0.5, 0.0))
    error = error_model(track, AccuracySettings(0.7, 600.0))
    moved = with_jumps(error, jumps_of(track))
    apart = clock_s(track.time_s[50:52], track, moved)
    # the step of a second itself is in it: 0.7 sqrt(2 / 600) = 0.04 m, in squares
    assert difference_sd(0.7, float(np.diff(apart)[0]), 600.0) == pytest.approx(np.hypot(0.5, 0.04), abs=0.005)
    assert np.diff(moved.time_s)[:50] == pytest.approx(1.0)
    assert with_jumps(error, jumps_of(driven(np.zeros(100)))) is error
