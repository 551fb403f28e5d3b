"""Two machines in one log: it is in two places at the same times, and is refused with how far apart they are."""

from dataclasses import replace

import numpy as np
import pytest
from jobs import log, parallel_passes
from track_jobs import clean

from coverage_audit.drive.machines import refuse_two_machines
from coverage_audit.errors import InputError

TIMES, ONE = (np.asarray(part) for part in parallel_passes([9.0 * k for k in range(6)], 0.0, 150.0, hz=1.0)[:2])
# 54 m to the east, which the stand-in for the plane takes for 64 m
OTHER = ONE + np.array([54.0, 0.0])
SAID = "two places at the same times, usually 64 m apart: two machines are in it, or its clock was set back"


def both(other, apart_s, *, in_time):
    """A log of both drives, the second *apart_s* later: one after the other, or every fix in the order of time."""
    times, places = np.concatenate([TIMES, TIMES + apart_s]), np.vstack([ONE, other])
    segment = np.repeat([0, 1], len(TIMES))
    if in_time:
        order = np.argsort(times, kind="stable")
        times, places, segment = times[order], places[order], segment * 0
    one = log(times, places)
    return replace(one, fixes=replace(one.fixes, segment=segment))


@pytest.mark.parametrize("apart_s", [0.0, 0.5, -0.3])
@pytest.mark.parametrize("in_time", [False, True])
def test_two_machines_in_one_log_are_refused(apart_s, in_time):
    with pytest.raises(InputError, match=SAID):
        clean(both(OTHER, apart_s, in_time=in_time))


@pytest.mark.parametrize("in_time", [False, True])
def test_two_loggers_on_one_machine_are_one_drive(in_time):
    """A phone in the cab, 3 m from the receiver and 2 m off: no second machine."""
    track, _ = clean(both(ONE + np.array([3.0, 2.0]), 0.0, in_time=in_time))
    assert len(track.time_s) >= len(TIMES)


def test_one_drive_after_the_other_is_one_drive():
    track, (dropped,) = clean(both(OTHER, TIMES[-1] + 60.0, in_time=False))
    assert len(track.time_s) == 2 * len(TIMES)
    assert dropped == {}


def test_a_phone_that_falls_back_to_a_mast_is_no_second_machine():
    """Every sixth fix stands at the same place 400 m off: jumps, dropped and counted."""
    places = ONE.copy()
    places[5::6] = [400.0, 75.0]
    _, (dropped,) = clean(log(TIMES, places))
    assert dropped["jump"] == len(places[5::6])


def test_one_jump_there_and_back_and_there_again_is_no_second_machine():
    """Two jumps side by side leave the other place a single fix, which has no pace; warnings are errors here."""
    count = 100
    east, north = np.zeros(count), 2.0 * np.arange(count)
    east[50], east[52:] = 400.0, 400.0
    every = np.arange(count)
    refuse_two_machines(np.arange(count, dtype=float), east, north, (every, every), "track.gpx")
