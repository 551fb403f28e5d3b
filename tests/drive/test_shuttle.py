"""Ways driven to and fro over one line: which of them were driven in reverse, and when nobody can tell."""

from dataclasses import replace

import numpy as np
import pytest
from jobs import START_S, boom, job, log
from shapely import box

from coverage_audit.drive.motion import build_motion
from coverage_audit.drive.shuttle import _read_anew, _Way
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.drive import drive_of, job_plane

WIDTH_M, AHEAD_M, RUN_IN_M = 6.0, 2.0, 20.0


def shuttle(count=4, length_m=50.0, *, first=1, hz=1.0, ahead_m_s=2.0, back_m_s=2.0, jitter_m=0.0, more=()):
    """Times, antenna, sense (1 forwards, -1 in reverse) and boom's place along y of *count* lines, driven both ways.

    The vehicle goes over to the next line in the run-in of a way into the field, forwards or (*first* -1) in reverse,
    and stands for 2 s where it turns back. *more*: further ways (y from, y to, sense) on the last line.
    """
    far_m = length_m + 4
    legs = [leg for k in range(count) for leg in ((k, -RUN_IN_M, far_m, first), (k, far_m, -RUN_IN_M, -first))]
    x, y, sense = [], [], []
    for number, (k, begin, end, own) in enumerate([*legs, *((count - 1, *one) for one in more)]):
        speed = (ahead_m_s if own > 0 else back_m_s) / hz
        at = np.concatenate([np.arange(begin, end, speed * np.sign(end - begin)), [end] * round(2 * hz)])
        crosses = 0 < number < len(legs) and number % 2 == 0
        over = np.clip((at + RUN_IN_M) / (RUN_IN_M - 4), 0, 1) if crosses else np.ones(len(at))
        x += ((k - 1 + over**2 * (3 - 2 * over)) * WIDTH_M).tolist()
        y += at.tolist()
        sense += [own] * len(at)
    antenna = np.column_stack([x, y]) + np.random.default_rng(3).normal(0, jitter_m, (len(x), 2))
    return np.arange(len(x)) / hz, antenna, np.array(sense), np.array(y) - AHEAD_M * first


def sprayed(times, sense, boom_y, length_m=50.0, *, back=False):
    """On-times within the field: forwards, and where *back* in reverse as well. [s]"""
    on = (boom_y >= 0) & (boom_y <= length_m) & ((sense > 0) | back)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int)))
    return [(float(times[a]), float(times[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def shuttle_job(*, back=False, settings=None, length_m=50.0, **more):
    times, antenna, sense, boom_y = shuttle(length_m=length_m, **more)
    field = box(-WIDTH_M / 2, 0, 3.5 * WIDTH_M, length_m)
    settings = settings or boom(WIDTH_M, antenna_ahead_m=AHEAD_M)
    return job(log(times, antenna), sprayed(times, sense, boom_y, length_m, back=back), field, boom=settings), sense


def misread(read, sense):
    """Share of the fixes read the wrong way round, those near a turning point left out; and the doubts."""
    drive = drive_of(read, job_plane(read))
    motion = build_motion(drive.track, WIDTH_M / 2)
    hz = round(1 / drive.track.median_step_s)
    turn = np.convolve(np.abs(np.diff(sense, prepend=sense[0])), np.ones(6 * hz + 1), "same") > 0
    told = [dict(one.values) for one in drive.cautions if one.code == "direction unsure"]
    return float((motion.reverse != (sense < 0))[~turn].mean()), told


@pytest.mark.parametrize("jitter_m", [0.0, 0.02, 0.3])
@pytest.mark.parametrize("hz", [1.0, 10.0])
@pytest.mark.parametrize("first", [1, -1])
def test_the_sprayed_ways_are_those_driven_forwards(first, hz, jitter_m):
    """Whether the log begins with a way sprayed or with one back: by cost alone both readings are as cheap."""
    wrong, told = misread(*shuttle_job(first=first, hz=hz, jitter_m=jitter_m))
    assert wrong < 0.01
    assert bool(told) == (first < 0)  # a log that begins in reverse is odd enough to be told


@pytest.mark.parametrize("length_m", [50.0, 100.0, 160.0])
def test_a_way_back_that_is_slower_is_sure_even_if_the_log_begins_with_it(length_m):
    wrong, told = misread(*shuttle_job(first=-1, back_m_s=1.3, length_m=length_m))
    assert wrong < 0.01
    assert not told


@pytest.mark.parametrize("first", [1, -1])
def test_ways_sprayed_both_times_cannot_be_told_and_that_is_told(first):
    read, sense = shuttle_job(first=first, back=True)
    wrong, (told,) = misread(read, sense)
    assert wrong < 0.01 if first > 0 else wrong > 0.99
    assert not told["back"]
    assert told["mirrored_m"] == (-AHEAD_M, 0.0)
    assert told["apart_m"] == 2 * AHEAD_M
    assert told["on_m"] == pytest.approx(8 * 48, abs=20)
    ((begin, end),) = told["times_s"]
    assert (begin - START_S, end - START_S) == pytest.approx((0.0, len(sense) - 1.0), abs=2.0)


def test_what_the_caution_says_to_write_turns_the_reading_round():
    read, _ = shuttle_job(first=-1, back=True)
    read_amiss = audit_job(read)
    assert "direction unsure" in [one.code for one in read_amiss.cautions]
    mirrored = audit_job(shuttle_job(first=-1, back=True, settings=boom(WIDTH_M, antenna_ahead_m=-AHEAD_M))[0])
    assert read_amiss.area_m2.missed > 60
    assert mirrored.area_m2.missed < 10


def test_with_the_boom_under_the_antenna_it_does_not_matter_and_nothing_is_told():
    _, told = misread(*shuttle_job(back=True, settings=boom(WIDTH_M, antenna_ahead_m=0.0)))
    assert not told
    _, told = misread(*shuttle_job(back=True, settings=boom(WIDTH_M, antenna_ahead_m=0.0, antenna_right_m=0.5)))
    assert told


def test_a_log_that_goes_on_homewards_is_sure():
    wrong, told = misread(*shuttle_job(more=((-RUN_IN_M, 200.0, 1),)))
    assert wrong < 0.01
    assert not told


@pytest.mark.parametrize("first", [1, -1])
def test_a_stated_axle_fits_and_all_ground_is_covered(first):
    """Read back to front the boom lay 4 m off at both ends of four ways of 50 m: 8 % of the ground missed."""
    settings = boom(WIDTH_M, antenna_ahead_m=AHEAD_M, axle_behind_antenna_m=1.0)
    found = audit_job(shuttle_job(first=first, settings=settings, hz=10.0)[0])
    assert found.area_m2.missed < 0.01 * found.area_m2.target
    assert found.area_m2.outside < 0.01 * found.area_m2.target


def test_a_boom_state_that_nobody_noted_tells_nothing():
    read, _ = shuttle_job(first=1)
    codes = [[one.code for one in drive_of(read, job_plane(read), logged=logged).cautions] for logged in (True, False)]
    assert ["direction unsure" in one for one in codes] == [False, True]


@pytest.mark.parametrize("hz", [1.0, 10.0])
def test_backing_up_amid_a_job_is_read_as_it_was(hz):
    """Up 100 m, 12 m back over the same line, round a corner and away: no ways to and fro, and the same reading."""
    north, back = np.arange(0, 100, 2 / hz), np.arange(100, 88, -1.5 / hz)
    angle = np.arange(0, np.pi / 2, 2 / hz / 6)
    east = np.arange(6, 90, 2 / hz)
    points = np.concatenate(
        [
            np.column_stack([0 * north, north]),
            np.column_stack([0 * back, back]),
            np.column_stack([6 - 6 * np.cos(angle), 88 + 6 * np.sin(angle)]),
            np.column_stack([east, 94 + 0 * east]),
        ]
    )
    times = np.arange(len(points)) / hz
    read = job(log(times, points), [(1, times[-1] - 1)], box(0, 0, 90, 100), boom=boom(WIDTH_M, antenna_ahead_m=2.0))
    drive = drive_of(read, job_plane(read))
    backing = (times > 51) & (times < 57)
    for noted in (drive.track, replace(drive.track, noted_on_s=None)):
        motion = build_motion(noted, 3.0)
        assert motion.reverse[backing].all()
        assert not motion.reverse[(times < 49) | (times > 59)].any()
        assert not motion.unsure_s


@pytest.mark.parametrize(("sprayed_m", "told"), [(True, True), (False, False)])
def test_one_long_way_and_back_matters_where_both_were_sprayed(sprayed_m, told):
    """300 m on and back within a second: read as a turn on the spot, as it always was."""
    read, _ = shuttle_job(count=1, length_m=300.0, back=sprayed_m)
    assert bool([one for one in drive_of(read, job_plane(read)).cautions if one.code == "direction unsure"]) == told


def test_a_turn_that_passes_for_a_reversal_does_not_turn_the_ways_behind_it_round():
    """Sprayed, back, sprayed, back, sprayed, then sprayed again and back: not six ways by turns."""
    on = (0.9, 0.0, 0.9, 0.1, 0.8, 0.9, 0.0)
    ways = [_Way(50 * k, 50 * k + 50, 50.0, 1.0, share, 0.0) for k, share in enumerate(on)]
    assert _read_anew(ways, 5.0) == ((False, True, False, True, False, False, True), True)
    assert _read_anew(ways[:5], 5.0) == ((False, True, False, True, False), False)
