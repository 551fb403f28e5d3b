"""Boom state from every source of the contract, in time."""

import dataclasses

import numpy as np
import pytest
from jobs import START_S, boom, log

from coverage_audit.drive.boom import boom_timeline
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import BoomSettings
from coverage_audit.papers.words.cautions import texts
from coverage_audit.read.records import Interval, Mark, SwitchChange

THREE = BoomSettings((3.0, 3.0, 3.0), "log", antenna_ahead_m=0.0)


def straight(count=101, **more):
    times = np.arange(count, dtype=float)
    return log(times, np.column_stack([np.zeros(count), 2.0 * times]), **more)


def timeline(settings, one=None, intervals=None, offset_s=0.0):
    one = one or straight()
    plane = Plane(PlaneOrigin(-70.5, -41.2))
    track, _ = clean_track((one,), plane.to_metres, offset_s, 5.0)
    found, cautions = boom_timeline(settings, (one,), track, intervals, offset_s)
    slots = [
        (a - START_S, b - START_S, tuple(np.flatnonzero(on) + 1), int(stretch))
        for a, b, on, stretch in zip(found.start_s, found.end_s, found.on, found.stretch, strict=True)
    ]
    return slots, texts(cautions, "metric")


def at(seconds, section, on):
    return SwitchChange(START_S + seconds, section, on)


def with_switch(*changes):
    return dataclasses.replace(straight(), switch=changes, has_switch=True)


def marks(*named):
    return dataclasses.replace(straight(), marks=tuple(Mark(START_S + t, text, "") for t, text in named))


def spans(*pairs):
    return tuple(Interval(START_S + a, START_S + b, *rest) for a, b, *rest in pairs)


def test_intervals_that_touch_are_one_stretch():
    slots, _ = timeline(boom(9.0), intervals=spans((10, 20), (20, 30), (40, 50)))
    assert slots == [(10, 30, (1,), 0), (40, 50, (1,), 1)]


def test_sections_overlap_in_time_and_split_into_slots():
    slots, _ = timeline(
        dataclasses.replace(THREE, intervals="csv"), intervals=spans((10, 30, (1, 2)), (20, 40, (3,)), (60, 70, ()))
    )
    assert slots == [(10, 20, (1, 2), 0), (20, 30, (1, 2, 3), 0), (30, 40, (3,), 0), (60, 70, (1, 2, 3), 1)]


def test_section_is_on_when_every_switch_that_concerns_it_is_on():
    one = with_switch(
        at(5, 1, True), at(10, 0, True), at(20, 2, True), at(30, 1, False), at(40, 0, False), at(45, 0, True)
    )
    slots, _ = timeline(THREE, one)
    # section 3 has no switch of its own, so only BOOM concerns it
    assert slots == [
        (10, 20, (1, 3), 0),
        (20, 30, (1, 2, 3), 0),
        (30, 40, (2, 3), 0),
        (45, 100, (2, 3), 1),
    ]


def test_inverted_switch_is_off_before_its_first_sentence():
    one = with_switch(at(10, 0, True), at(20, 0, False), at(30, 0, True))
    slots, _ = timeline(dataclasses.replace(THREE, sections_m=(9.0,), invert_switch=True), one)
    assert slots == [(20, 30, (1,), 0)]


def test_clock_offset_moves_the_switch_with_the_track():
    slots, _ = timeline(
        dataclasses.replace(THREE, sections_m=(9.0,)), with_switch(at(10, 0, True), at(20, 0, False)), offset_s=3.0
    )
    assert slots == [(13, 23, (1,), 0)]


def test_clock_offset_leaves_the_csv_alone():
    slots, _ = timeline(boom(9.0), intervals=spans((10, 20)), offset_s=3.0)
    assert slots == [(10, 20, (1,), 0)]


def test_switch_for_a_section_that_the_job_does_not_have():
    with pytest.raises(InputError, match=r"switch of section 4.*3 section"):
        timeline(THREE, with_switch(at(10, 4, True)))


def test_log_without_a_switch_says_what_to_do():
    with pytest.raises(InputError, match=r"XDR.*CSV"):
        timeline(THREE)


def test_each_segment_is_on_from_its_first_to_its_last_fix():
    one = straight()
    segment = np.repeat([0, 1, 2], [40, 1, 60])
    one = dataclasses.replace(one, fixes=dataclasses.replace(one.fixes, segment=segment))
    slots, _ = timeline(dataclasses.replace(boom(9.0), intervals="segments"), one)
    assert slots == [(0, 39, (1,), 0), (41, 100, (1,), 1)]


def test_marks_by_time_in_any_case_and_order():
    one = marks((50, "Boom ON"), (10, "boom  on"), (12, "boom on"), (30, "BOOM OFF"), (70, "boom off"), (80, "gate"))
    slots, cautions = timeline(dataclasses.replace(boom(9.0), intervals="marks"), one)
    assert [slot[:2] for slot in slots] == [(10, 30), (50, 70)]
    assert len(cautions) == 1
    assert "1 boom mark(s) repeat" in cautions[0]
    assert "20:26:52 UTC" in cautions[0]  # START_S + 12 s


def test_marks_that_begin_with_off_and_end_with_on_reach_to_the_ends():
    slots, cautions = timeline(
        dataclasses.replace(boom(9.0), intervals="marks"), marks((20, "boom off"), (60, "boom on"))
    )
    assert [slot[:2] for slot in slots] == [(0, 20), (60, 100)]
    assert len(cautions) == 2


def test_no_marks_is_said():
    with pytest.raises(InputError, match=r"boom on"):
        timeline(dataclasses.replace(boom(9.0), intervals="marks"), marks((20, "gate")))


def test_assume_is_refused_clearly():
    with pytest.raises(InputError, match=r"assume"):
        timeline(dataclasses.replace(boom(9.0), intervals="assume"))


@pytest.mark.parametrize(("shift", "words"), [(86_400, "after.*1 whole day"), (-7200, "before"), (500, "after")])
def test_times_that_miss_the_track_say_by_how_much(shift, words):
    with pytest.raises(InputError, match=words):
        timeline(boom(9.0), intervals=spans((10 + shift, 20 + shift)))


def test_delays_shift_join_and_swallow():
    slow = boom(9.0, on_delay_s=1.0, off_delay_s=-1.0)
    slots, cautions = timeline(slow, intervals=spans((10, 20), (30, 31.5)))
    assert [slot[:2] for slot in slots] == [(11, 19)]
    assert "1 boom-on times vanish" in cautions[0]


def test_part_of_an_interval_beyond_the_track_is_left_out_and_said():
    slots, cautions = timeline(boom(9.0), intervals=spans((90, 130)))
    assert [slot[:2] for slot in slots] == [(90, 100)]
    assert "beyond the track" in cautions[0]
