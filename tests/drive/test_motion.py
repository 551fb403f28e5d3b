"""Path and heading from fixes: noise, turns at 1 Hz, reversing, standing."""

import math

import numpy as np
import pytest
from jobs import drive, log

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.motion import build_motion, refine
from coverage_audit.drive.plane import Plane
from coverage_audit.drive.smoothing import _fitted, local_parabolas
from coverage_audit.drive.track import clean_track


def motion_of(times, points, half_boom_m=4.5):
    plane = Plane(PlaneOrigin(-70.5, -41.2))
    track, _ = clean_track((log(times, points),), plane.to_metres, 0.0, 5.0)
    return build_motion(track, half_boom_m)


def straight_with_noise(noise_m, hz=10.0, seconds=200.0):
    rng = np.random.default_rng(5)
    times, points = drive(lambda t: np.array([0.0, 2.7 * t]), seconds, hz)
    return times, points + rng.normal(0, noise_m, points.shape)


@pytest.mark.parametrize("noise", [0.01, 0.02, 0.05])
def test_white_noise_is_found_from_the_log(noise):
    times, points = straight_with_noise(noise)
    assert motion_of(times, points).noise_m == pytest.approx(noise, rel=0.1)  # 2 000 fixes: 2 % sampling error


@pytest.mark.parametrize("noise", [0.01, 0.02, 0.03])
def test_noise_swings_the_tip_by_centimetres_only(noise):
    """At 10 Hz raw successive fixes would swing a 4.5 m half-boom by half a metre (design, section 2)."""
    times, points = straight_with_noise(noise)
    motion = motion_of(times, points)
    swing = 4.5 * np.std(motion.heading_rad[20:-20])
    raw = 4.5 * np.std(np.arctan2(*np.diff(points, axis=0).T))
    assert swing < 0.035  # wanted: 2 cm; at 3 cm noise the widest window allowed gives 3.4 cm
    assert raw > 5 * swing


def test_smoothing_keeps_a_turn():
    """A 5 m radius at 10 Hz: position within 5 mm and heading within 0.2 degrees of the arc's, but at its ends."""
    radius, speed = 5.0, 2.7
    rng = np.random.default_rng(6)
    times, points = drive(
        lambda t: radius * np.array([math.sin(t * speed / radius), math.cos(t * speed / radius)]), 15, 10
    )
    motion = motion_of(times, points + rng.normal(0, 1e-4, points.shape))
    inner = slice(10, -10)
    heading = (times * speed / radius + math.pi / 2)[inner]
    off = (motion.heading_rad[inner] - heading + math.pi) % (2 * math.pi) - math.pi
    assert np.abs(np.degrees(off)).max() < 0.2
    plane = Plane(PlaneOrigin(-70.5, -41.2))
    assert np.hypot(motion.x_m, motion.y_m)[inner] == pytest.approx(radius, abs=0.005)
    assert plane.origin.lat_deg == -41.2


def test_turn_at_one_fix_a_second_is_curved_not_cut():
    """Between 1 Hz fixes on a 5 m circle the chord lies 18 cm inside; the path stays within 1 cm."""
    radius, speed = 5.0, 2.7
    times, points = drive(
        lambda t: radius * np.array([math.sin(t * speed / radius), math.cos(t * speed / radius)]), 30, 1
    )
    fine = refine(motion_of(times, points))
    assert np.hypot(fine.x_m, fine.y_m) == pytest.approx(radius, abs=0.01)
    assert np.degrees(np.abs(np.diff(fine.heading_rad))).max() <= 1.5 + 1e-9
    step = np.hypot(np.diff(fine.x_m), np.diff(fine.y_m)) / np.diff(fine.time_s)
    assert step[20:-20] == pytest.approx(speed, rel=0.01)


def test_logged_course_is_used_when_it_agrees_and_ignored_when_not():
    times, points = drive(lambda t: np.array([0.0, 2.7 * t]), 60, 1)
    plane = Plane(PlaneOrigin(-70.5, -41.2))
    track, _ = clean_track((log(times, points),), plane.to_metres, 0.0, 5.0)
    for course_deg, expected in ((1.0, 1.0), (40.0, 0.0)):
        course = np.full(len(times), math.radians(course_deg))
        motion = build_motion(type(track)(**{**vars(track), "course_rad": course}), 4.5)
        assert np.degrees(motion.heading_rad).mean() == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("hz", [1, 5, 10])
def test_reversing_keeps_the_heading(hz):
    """Forward 30 m, back 12 m, forward again: heading stays north, only the middle part is in reverse."""

    def path(t):
        legs = [(0, 12, 2.5, 0.0), (14, 18.8, -2.5, 30.0), (20.8, 40, 2.5, 18.0)]
        for begin, end, speed, start in legs:
            if t <= end:
                return np.array([0.0, start + speed * max(t - begin, 0)])
        return np.array([0.0, 66.0])

    times, points = drive(path, 40, hz)
    motion = motion_of(times, points)
    heading = (np.degrees(motion.heading_rad) + 180) % 360 - 180
    assert np.abs(heading).max() < 1
    middle = (times > 15) & (times < 18)
    assert motion.reverse[middle].all()
    assert not motion.reverse[(times < 11) | (times > 23)].any()


def test_tight_u_turns_are_not_taken_for_reversing():
    """Half circles of 3 m radius at 1.5 m/s, 1 Hz, and wide ones of 8 m logged every 4 s."""
    for radius, speed, step in ((3.0, 1.5, 1.0), (8.0, 2.7, 4.0)):
        times = np.arange(0, 200, step)
        angle = times * speed / radius
        points = radius * np.column_stack([np.sin(angle), np.cos(angle)])
        assert not motion_of(times, points).reverse.any()


def test_standing_with_jitter_goes_nowhere():
    rng = np.random.default_rng(7)

    def path(t):
        return np.array([0.0, 2.5 * min(t, 20) + 2.5 * max(t - 80, 0)])

    times, points = drive(path, 100, 10)
    motion = motion_of(times, points + rng.normal(0, 0.02, points.shape))
    stand = (times > 23) & (times < 77)
    travelled = np.hypot(np.diff(motion.x_m), np.diff(motion.y_m))[stand[1:]].sum()
    assert travelled < 0.1  # raw fixes would wander 54 s x 10 Hz x 3.5 cm = 19 m
    assert np.abs(np.degrees(motion.heading_rad)).max() < 8  # raw jitter would point anywhere


def test_even_and_uneven_steps_are_smoothed_alike():
    """The convolution for even times and the normal equations give the same, and both a parabola back."""
    rng = np.random.default_rng(9)
    time = np.arange(200) * 0.1
    x, y = 3.0 * time - 0.2 * time**2 + rng.normal(0, 0.02, 200), 0.5 * time**2
    part = np.repeat([0, 1], [120, 80])
    known, place, velocity = local_parabolas(time, x, y, part, 6)
    _, other_place, other_velocity = _fitted(time, np.stack([x, y]), part, 6, np.arange(200))
    assert known.all()
    assert place == pytest.approx(other_place, abs=1e-9)
    assert velocity == pytest.approx(other_velocity, abs=1e-8)
    assert place[1] == pytest.approx(y, abs=1e-9)
    assert velocity[1] == pytest.approx(time, abs=1e-8)


def test_smoothing_stops_at_a_break():
    time = np.arange(40) * 0.1
    x = np.r_[np.zeros(20), np.full(20, 5.0)]
    known, place, velocity = local_parabolas(time, x, np.zeros(40), np.repeat([0, 1], 20), 5)
    assert known.all()
    assert place[0] == pytest.approx(x, abs=1e-9)
    assert velocity[0] == pytest.approx(0, abs=1e-8)


@pytest.mark.parametrize("noise", [0.05, 0.3])
def test_stops_with_scatter_never_turn_the_vehicle_round(noise):
    """Ten minutes north at 1 Hz with a stop of 3 s every minute: sections must keep their side.

    Ten logs each; scatter while standing looks like short moves in every direction.
    """
    times = np.arange(600.0)
    speed = np.where(times % 60 < 3, 0.0, 2.5)
    driving = (times % 60 > 8) & (times % 60 < 55)
    for seed in range(10):
        scatter = np.random.default_rng(seed).normal(0, noise, (600, 2))
        motion = motion_of(times, np.column_stack([0 * times, np.cumsum(speed)]) + scatter)
        heading = (np.degrees(motion.heading_rad[driving]) + 180) % 360 - 180
        assert np.abs(heading).max() < 60
        assert not motion.reverse[driving].any()


@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_backing_up_is_seen_through_noise(noise):
    """40 m forward, 12 m back, 60 m forward at 1 Hz with stops of 3 s between."""
    way = np.concatenate([np.arange(0, 40, 2.0), [40] * 3, np.arange(40, 28, -2.0), [28] * 3, np.arange(28, 88, 2.0)])
    times = np.arange(len(way), dtype=float)
    for seed in range(10):
        scatter = np.random.default_rng(seed).normal(0, noise, (len(way), 2))
        motion = motion_of(times, np.column_stack([0 * way, way]) + scatter)
        assert motion.reverse[24:28].all()
        assert not motion.reverse[:18].any()
        assert not motion.reverse[34:].any()


def test_a_gap_in_a_pass_does_not_turn_the_vehicle_round():
    """At 1 Hz, 2 m/s: 100 m north, a gap of 7 s, 20 m north, a turn within one step, 90 m back beside it.

    What follows the gap alone reads more cheaply as 20 m backed up before 90 m driven south.
    """
    north = np.column_stack([np.zeros(68), np.arange(0, 136, 2.0)])
    south = np.column_stack([np.full(45, 0.5), np.arange(132, 42, -2.0)])
    points, times = np.concatenate([north, south]), np.arange(113.0)
    seen = (times <= 50) | (times >= 57)
    motion = motion_of(times[seen], points[seen])
    northward = motion.time_s - motion.time_s[0] < 66
    heading = (np.degrees(motion.heading_rad[northward]) + 180) % 360 - 180
    assert motion.gap_after.sum() == 1
    assert np.abs(heading).max() < 10
    assert not motion.reverse[northward].any()
