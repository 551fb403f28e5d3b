"""The end of a log whose switch is still on, under a clock offset; the zone that is guessed from clocks that differ."""

import dataclasses
import re

import numpy as np
import pytest
from jobs import START_S, boom, log
from track_jobs import flat

from coverage_audit.drive.boom import boom_timeline
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.read.records import Interval, SwitchChange


@pytest.mark.parametrize("offset_s", [-7.0, 0.0, 7.0])
def test_a_switch_left_on_sprays_until_the_last_fix_whatever_the_clock_offset(offset_s):
    """Fixes 0 to 100 s, on at 10 s and never off; offset and track move together."""
    times = np.arange(101.0)
    one = log(times, np.column_stack([np.zeros(101), 2.0 * times]))
    one = dataclasses.replace(one, switch=(SwitchChange(START_S + 10.0, 0, on=True),), has_switch=True)
    track, _ = clean_track((one,), flat, offset_s, 5.0)
    found, _ = boom_timeline(boom(9.0, intervals="log"), (one,), track, None, offset_s)
    assert found.start_s.tolist() == [START_S + 10.0 + offset_s]
    assert found.end_s.tolist() == [START_S + 100.0 + offset_s]


@pytest.mark.parametrize(
    ("shift_h", "told"), [(5.5, "+05:30"), (-6.0, "-06:00"), (12.75, "+12:45"), (-9.5, "-09:30"), (14.0, "+14:00")]
)
def test_clocks_that_differ_by_a_time_zone_name_it(shift_h, told):
    """Zones in use: India, Mountain time in summer, the Chatham Islands, the Marquesas, the Line Islands."""
    times = np.arange(101.0)
    one = log(times, np.column_stack([np.zeros(101), 2.0 * times]))
    track, _ = clean_track((one,), flat, 0.0, 5.0)
    start = START_S + 3600 * shift_h
    with pytest.raises(InputError, match=re.escape(f"T08:05:00{told}")):
        boom_timeline(boom(9.0), (one,), track, (Interval(start + 10, start + 60),), 0.0)
