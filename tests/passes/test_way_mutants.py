"""The smoothed way, its legs and the diary's spans on small drives, worked by hand and by closed forms."""

import dataclasses
import math

import numpy as np
import pytest
import shapely

from coverage_audit.passes import way as way_room
from coverage_audit.passes.diary import keep_diary
from coverage_audit.passes.legs import find_legs
from coverage_audit.passes.model import Fixed, Span
from coverage_audit.passes.spans import Cell, as_spans, backing_up, broken, laid_out, standing_s, with_laps
from coverage_audit.passes.way import Way, smooth_way, usual_speed_m_s, white_noise_m

# --- noise --------------------------------------------------------------------------------------------


def noisy(across_m, along_m, *, count=4000, heading=0.7, seed=2):
    """A drive at 2.5 m/s and 10 Hz with white noise along and across; its heading at each fix."""
    rng = np.random.default_rng(seed)
    time = np.arange(count) / 10
    along, across = 2.5 * time + along_m * rng.standard_normal(count), across_m * rng.standard_normal(count)
    sin, cos = math.sin(heading), math.cos(heading)
    return time, along * sin + across * cos, along * cos - across * sin, np.full(count, heading)


def test_white_noise_is_found_from_third_differences():
    """Of a straight drive: that of one coordinate, to 5 % of 4 000 fixes; what is not straight is left out."""
    time, x, y, heading = noisy(0.1, 0.1)
    assert white_noise_m(time, x, y) == pytest.approx(0.1, rel=0.05)
    assert white_noise_m(time, x, y, heading) == pytest.approx(0.1, rel=0.05)
    straight = np.arange(4000) < 2000
    wild = np.where(straight, 0.0, np.random.default_rng(1).standard_normal(4000))
    assert white_noise_m(time, x + wild, y + wild, heading, straight) == pytest.approx(0.1, rel=0.05)
    assert white_noise_m(time, x, y, heading, np.arange(4000) % 4 > 0) == 0.0  # never four in a row
    assert white_noise_m(time[:3], x[:3], y[:3]) == 0.0


def test_the_smaller_scatter_is_the_noise_unless_both_are_alike():
    """Steering across and speed along look like noise at 1 Hz: the smaller of the two is nearer to it."""
    time, x, y, heading = noisy(0.3, 0.1)
    assert white_noise_m(time, x, y, heading) == pytest.approx(0.1, rel=0.05)
    time, x, y, heading = noisy(0.1, 0.3)
    assert white_noise_m(time, x, y, heading) == pytest.approx(0.1, rel=0.05)
    assert white_noise_m(time, x, y) == pytest.approx(math.sqrt((0.1**2 + 0.3**2) / 2), rel=0.05)


@pytest.mark.parametrize(("count", "known"), [(11, True), (10, False)])
def test_noise_needs_eight_differences(count, known):
    time, x, y, _ = noisy(0.1, 0.1, count=count)
    assert (white_noise_m(time, x, y) > 0) == known


def test_stands_and_uneven_steps_tell_no_noise():
    """A stand of jitter and fixes at uneven times have no say."""
    time, x, y, _ = noisy(0.1, 0.1)
    still = np.random.default_rng(3).standard_normal((2, 1900)) * 0.001
    x[2100:], y[2100:] = x[2100] + still[0], y[2100] + still[1]
    assert white_noise_m(time, x, y) == pytest.approx(0.1, rel=0.07)
    uneven = time.copy()
    uneven[1:2000:2] += 0.03
    x2, y2 = x + np.where(np.arange(4000) < 2000, np.random.default_rng(4).standard_normal(4000), 0), y
    assert white_noise_m(uneven[:2080], x2[:2080], y2[:2080]) < 0.15


# --- the way ----------------------------------------------------------------------------------------------


def drive(corners, speed_m_s=2.0, hz=10.0, noise_m=0.01, on=None):
    """Fixes along *corners* at one speed."""
    line = shapely.LineString(corners)
    time = np.arange(0, line.length / speed_m_s, 1 / hz)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, time * speed_m_s))
    return Fixed(1000.0 + time, xy[:, 0], xy[:, 1], noise_m, None if on is None else on(time))


def test_a_straight_drive_stays_where_it_was():
    """North-east at 2 m/s: every place, heading and distance, to its very ends; a grid of half a metre."""
    fixed = drive([(3, 4), (3 + 70, 4 + 70)])
    found = smooth_way(fixed)
    assert found.step_s == pytest.approx(0.25)
    assert found.x_m == pytest.approx(3 + math.sqrt(2) * (found.time_s - 1000), abs=1e-6)
    assert found.y_m == pytest.approx(found.x_m + 1.0, abs=1e-6)
    assert found.heading_rad == pytest.approx(np.full(len(found.x_m), math.pi / 4))
    assert found.along_m == pytest.approx(2 * (found.time_s - 1000), abs=1e-6)
    assert not found.standing.any()
    assert found.speed_m_s == pytest.approx(2.0)
    assert (found.time_s[0], found.time_s[-1]) == (1000.0, pytest.approx(fixed.time_s[-1], abs=0.25))


@pytest.mark.parametrize(("noise_m", "window_m"), [(0.001, 1.2), (0.3, None), (3.0, 7.0)])
def test_the_window_is_as_wide_as_the_noise_asks_for(noise_m, window_m):
    """Direction between means of half a window each: noise x sqrt(2 dt / h) / (v h) is 0.04 rad; 1.2 to 7 m."""
    fixed = drive([(0, 0), (0, 300)], noise_m=noise_m)
    found = smooth_way(fixed)
    half_s = found.reach * found.step_s
    if window_m is not None:
        assert half_s * 2.0 == pytest.approx(window_m, abs=0.26)
    else:
        assert noise_m * math.sqrt(2 * 0.1 / half_s) / (2.0 * half_s) == pytest.approx(0.04, rel=0.2)
    assert found.noise_m == pytest.approx(noise_m * math.sqrt(0.1 / half_s))


def test_a_bend_is_rounded_by_the_mean_over_its_window():
    """On a circle of 20 m, means over the window h lie inwards by (v h)^2 / 24 R and heading turns evenly."""
    angle = np.linspace(0, 2 * math.pi, 2000)
    fixed = drive(np.column_stack([20 * np.sin(angle), 20 * np.cos(angle)]), noise_m=0.05)
    found = smooth_way(fixed)
    window = 2.0 * found.reach * found.step_s
    inner = slice(10, -10)
    radius = np.hypot(found.x_m, found.y_m)[inner]
    assert 20 - radius == pytest.approx(np.full(len(radius), window**2 / 24 / 20), rel=0.1)
    assert np.diff(found.heading_rad)[inner] == pytest.approx(np.full(len(radius) - 1, 0.5 / 20), rel=0.02)
    assert found.along_m[-1] == pytest.approx(40 * math.pi, rel=0.01)


def with_stop(seconds, jitter_m=0.0):
    rng = np.random.default_rng(1)
    before, after = np.arange(0, 30, 0.5), np.arange(30, 60, 0.5)
    stand = np.arange(0.5, seconds, 0.5)
    time = np.concatenate([before, 30 + stand, 30 + seconds + after - 30])
    y = np.concatenate([2 * before, 60 + jitter_m * rng.standard_normal(len(stand)), 60 + 2 * (after - 30)])
    return Fixed(time, jitter_m * rng.standard_normal(len(time)), y, jitter_m, None)


def test_a_stop_is_no_way():
    """A minute on the spot between two ways of 60 m."""
    found = smooth_way(with_stop(60.0))
    assert found.along_m[-1] == pytest.approx(119, abs=1.5)
    still = found.time_s[found.standing]
    assert (still[0], still[-1]) == (pytest.approx(30, abs=1), pytest.approx(90, abs=1))
    assert found.heading_rad == pytest.approx(np.zeros(len(found.heading_rad)), abs=1e-6)


def test_jitter_at_a_stop_is_no_way_either():
    found = smooth_way(with_stop(60.0, jitter_m=0.05))
    amid = (found.time_s > 33) & (found.time_s < 87)
    assert found.standing[amid].all()
    assert np.ptp(found.along_m[amid]) == 0.0


def test_usual_speed_is_that_while_moving():
    assert usual_speed_m_s(with_stop(300.0)) == pytest.approx(2.0)
    assert usual_speed_m_s(Fixed(np.arange(60.0), np.zeros(60), np.arange(60.0) * 0.2, 0.0, None)) == 0.3
    assert usual_speed_m_s(Fixed(np.arange(60.0), np.zeros(60), np.zeros(60), 0.0, None)) == 1.0


def test_a_night_in_the_log_makes_no_long_grid(monkeypatch):
    """A pause of ten hours is pressed to ten minutes, and told at its own time."""
    fixed = drive([(0, 0), (0, 400)], hz=1.0)
    time = fixed.time_s + np.where(fixed.y_m > 200, 36_000.0, 0.0)
    found = smooth_way(dataclasses.replace(fixed, time_s=time))
    assert len(found.time_s) == pytest.approx((198 + 600) / 0.25, abs=3)
    assert (found.time_s[0], found.time_s[-1]) == (time[0], pytest.approx(time[-1], abs=0.3))
    late = found.time_s > 36_000 + 1000
    assert found.y_m[late][8:] == pytest.approx(2 * (found.time_s[late][8:] - 37_000), abs=0.05)
    monkeypatch.setattr(way_room, "MOST_WAY_STEPS", 400 * len(time))  # of 0.25 s: 100 s at the most for each fix
    assert len(smooth_way(dataclasses.replace(fixed, time_s=time)).time_s) == pytest.approx((198 + 100) / 0.25, abs=3)


# --- legs -------------------------------------------------------------------------------------------------


def u_turn(radius_m, length_m=100.0, passes=3):
    """Passes north and south joined by half circles: corners of the way and where along it they begin and end."""
    corners, ends, along = [], [], 0.0
    for k in range(passes):
        x, up = 2 * radius_m * k, k % 2 == 0
        ends.append((along, along + length_m))
        corners += [(x, 0.0), (x, length_m)] if up else [(x, length_m), (x, 0.0)]
        angle = np.linspace(0, math.pi, 60)[1:-1]
        high = length_m if up else 0.0
        corners += [
            (x + radius_m * (1 - math.cos(a)), high + (1 if up else -1) * radius_m * math.sin(a)) for a in angle
        ]
        along += length_m + math.pi * radius_m
    return corners, ends


@pytest.mark.parametrize("radius_m", [4.5, 6.0])
@pytest.mark.parametrize("noise_m", [0.0, 0.05])
def test_legs_end_where_the_turns_begin(radius_m, noise_m):
    """Half circles between passes of 100 m; to two metres, half a second of driving and the smoothing window."""
    corners, ends = u_turn(radius_m)
    fixed = drive(corners, noise_m=noise_m)
    shake = np.random.default_rng(9).normal(0, noise_m, (2, len(fixed.time_s)))
    driven = smooth_way(dataclasses.replace(fixed, x_m=fixed.x_m + shake[0], y_m=fixed.y_m + shake[1]))
    legs = find_legs(driven)
    assert len(legs) == 3
    for k, (leg, (begin, end)) in enumerate(zip(legs, ends, strict=True)):
        first, last = 2 * (driven.time_s[[leg.first, leg.last]] - 1000)
        assert (first, last) == (pytest.approx(begin, abs=2.0), pytest.approx(end, abs=2.0))
        assert leg.length_m == pytest.approx(100, abs=3)
        ahead = math.cos(leg.direction_rad)
        assert ahead == pytest.approx(1 if k % 2 == 0 else -1, abs=1e-3)
        assert math.cos(leg.begin_rad - leg.direction_rad) == pytest.approx(1.0, abs=5e-3)
        assert math.cos(leg.end_rad - leg.direction_rad) == pytest.approx(1.0, abs=5e-3)


def bent(angle_deg, radius_m, length_m=80.0):
    """Two straights joined by an arc."""
    arc = radius_m * math.radians(angle_deg)
    at = np.arange(0, 2 * length_m + arc, 0.5)
    turned = np.clip((at - length_m) / radius_m, 0, math.radians(angle_deg))
    return np.column_stack([np.cumsum(np.sin(turned)) * 0.5, np.cumsum(np.cos(turned)) * 0.5])


@pytest.mark.parametrize(
    ("angle_deg", "radius_m", "count"),
    [(90, 10, 2), (90, 40, 1), (40, 8, 2), (10, 8, 1)],
)
def test_a_turn_is_tight_and_turns_far(angle_deg, radius_m, count):
    """Tighter than 20 m and by 35 degrees at least; a gentle bend goes on as one curve."""
    assert len(find_legs(smooth_way(drive(bent(angle_deg, radius_m))))) == count


def test_a_leg_that_swings_round_something_is_cut_there():
    """Round a pond of 15 m by bends of 30 m, with 80 m of straight before and behind: no smooth curve fits it."""
    swing = [np.linspace(0, 0.6, 36), np.linspace(0.6, -0.6, 72), np.linspace(-0.6, 0, 36)]
    turned = np.concatenate([np.zeros(160), *swing, np.zeros(160)])
    way = np.column_stack([np.cumsum(np.sin(turned)), np.cumsum(np.cos(turned))]) * 0.5
    legs = find_legs(smooth_way(drive(way)))
    assert len(legs) >= 2
    assert legs[0].length_m == pytest.approx(80, abs=12)
    assert legs[-1].length_m == pytest.approx(80, abs=12)


@pytest.mark.parametrize(("length_m", "count"), [(2.0, 2), (12.0, 3)])
def test_short_legs_are_part_of_a_turn(length_m, count):
    corners = [*u_turn(5.0, passes=1)[0], (10.0, 100.0 - length_m)]
    angle = np.linspace(0, math.pi, 40)[1:]
    corners += [(10 + 5 * (1 - math.cos(a)), 100 - length_m - 5 * math.sin(a)) for a in angle] + [(20.0, 180.0)]
    assert len(find_legs(smooth_way(drive(corners)))) == count


# --- spans ---------------------------------------------------------------------------------------------------


def grid(count, heading_deg=0.0, standing=(), step_s=1.0):
    zero = np.zeros(count)
    still = zero > 1
    still[list(standing)] = True
    return Way(np.arange(count) * step_s, zero, zero, np.radians(zero + heading_deg), zero, still, step_s, 1, 0.0)


def kinds(cells):
    return [(one.kind, one.first, one.last) for one in cells]


def test_what_lies_between_marks_is_laid_out():
    marks = [Cell(3, 8, "straight"), Cell(7, 12, "headland"), Cell(12, 15, "straight"), Cell(18, 20, "straight")]
    found = list(laid_out(grid(30), marks, lambda before, after: f"{before and before.first}-{after.first}", "after"))
    assert kinds(found) == [
        ("None-3", 0, 3), ("straight", 3, 8), ("headland", 8, 12), ("straight", 12, 15), ("12-18", 15, 18),
        ("straight", 18, 20), ("after", 20, 29),
    ]  # fmt: skip
    assert kinds(laid_out(grid(5), [Cell(0, 4, "straight")], lambda *_: "", "after")) == [("straight", 0, 4)]
    assert kinds(laid_out(grid(5), [], lambda *_: "", "after")) == [("after", 0, 4)]
    hidden = [Cell(0, 9, "straight"), Cell(4, 8, "headland"), Cell(9, 12, "straight")]
    assert kinds(laid_out(grid(13), hidden, lambda *_: "x", "y")) == [("straight", 0, 9), ("straight", 9, 12)]


def laps(heading_deg, *cells):
    return [(one.first, one.last, one.lap) for one in with_laps(grid(len(heading_deg), heading_deg), cells)]


@pytest.mark.parametrize("sense", [1, -1])
def test_laps_end_after_all_but_a_corner_of_a_full_turn(sense):
    """340 degrees: a lap ends on the side that it began on; two rounds and a half in one run."""
    assert laps(sense * np.arange(0, 340), Cell(0, 339, "headland")) == [(0, 339, 1)]
    found = laps(sense * np.arange(0, 901), Cell(0, 900, "headland"))
    assert [lap for *_, lap in found] == [1, 2, 3]
    assert [last - first for first, last, _ in found[:2]] == pytest.approx([340, 340], abs=2)


def test_sides_without_a_pass_between_them_are_one_lap():
    heading = np.repeat([0.0, 90.0, 180.0, 270.0, 360.0, 450.0], 10)
    sides = [Cell(10 * k, 10 * k + 9, "headland") for k in range(6)]
    assert [lap for *_, lap in laps(heading, *sides)] == [1, 1, 1, 1, 2, 2]
    passes = [sides[0], sides[1], Cell(20, 29, "straight"), sides[3], sides[4]]
    assert [lap for *_, lap in laps(heading, *passes)] == [1, 1, 0, 2, 2]
    turn = [sides[0], Cell(10, 19, "turn"), sides[2]]
    assert [lap for *_, lap in laps(heading, *turn)] == [1, 0, 1]


def test_laps_go_on_from_side_to_side():
    """Bows that turn by 100 degrees each, one after the other: 340 in the fourth, 680 in the seventh."""
    for sense in (1, -1):
        heading = sense * np.arange(0, 801.0)
        bows = [Cell(100 * k, 100 * k + 100, "headland") for k in range(8)]
        found = laps(heading, *bows)
        assert [lap for *_, lap in found] == [1, 1, 1, 1, 2, 2, 2, 2, 3, 3]
        assert [first for first, *_ in found] == pytest.approx([0, 100, 200, 300, 340, 400, 500, 600, 680, 700], abs=1)


BREAKS = [Span("reversing", 4.0, 7.0), Span("gap", 6.0, 9.0)]


def test_stands_backing_up_and_gaps_cut_turns_and_lie_within_passes():
    """Steps of a second; a gap comes before standing, and standing before backing up."""
    driven = grid(21, standing=range(5, 12))
    whole, within = broken(driven, [Cell(0, 10, "turn"), Cell(10, 20, "straight", 2, 30.0)], BREAKS)
    assert kinds(whole) == [
        ("turn", 0, 4), ("reversing", 4, 5), ("standing", 5, 6), ("gap", 6, 9), ("standing", 9, 10),
        ("straight", 10, 20),
    ]  # fmt: skip
    assert kinds(within) == [("standing", 10, 12)]
    assert whole[-1].direction_deg == 30.0
    assert standing_s(driven, BREAKS) == 4.0  # 5 to 6 and 9 to 12 s
    assert standing_s(driven, BREAKS[:1]) == 7.0


def test_a_break_may_begin_and_end_with_the_drive():
    plain = grid(11)
    assert np.flatnonzero(backing_up(plain, [Span("reversing", 7.0, 20.0)])).tolist() == [7, 8, 9]
    assert np.flatnonzero(backing_up(plain, [Span("reversing", -5.0, 2.0)])).tolist() == [0, 1]
    whole, _ = broken(grid(11, standing=[10]), [Cell(0, 10, "turn")], [Span("gap", 0.0, 1.0), Span("gap", 9.0, 10.0)])
    assert kinds(whole) == [("gap", 0, 1), ("turn", 1, 9), ("gap", 9, 10)]
    assert standing_s(grid(11, standing=[9]), []) == 1.0


def test_backing_up_is_told_whatever_else_it_was():
    """By the middle of each step, with a gap or a stand in it or not."""
    plain = grid(21)
    assert np.flatnonzero(backing_up(plain, BREAKS)).tolist() == [4, 5, 6]
    assert backing_up(plain, BREAKS).shape == (20,)
    half = grid(41, step_s=0.5)
    assert np.flatnonzero(backing_up(half, BREAKS)).tolist() == [8, 9, 10, 11, 12, 13]


def test_spans_are_told_in_seconds_to_the_last_fix():
    (one, two) = as_spans(grid(11, step_s=2.0), [Cell(0, 4, "turn"), Cell(4, 10, "straight", 3, 40.0, 2)], 20.7)
    assert one == Span("turn", 0.0, 8.0)
    assert two == Span("straight", 8.0, 20.7, 3, 40.0, 2)


# --- the diary ---------------------------------------------------------------------------------------------


def test_the_diary_of_six_passes_by_hand():
    """Passes of 100 m, 10 m apart, in a field of 60 x 110 m: of one block, with turns between."""
    corners, ends = u_turn(5.0, passes=6)
    corners = [(0.0, -80.0), *corners]
    ends = [(begin + 80, end + 80) for begin, end in ends]

    def on(time):
        return np.any([(begin <= 2 * time) & (2 * time < end) for begin, end in ends], axis=0)

    for logged in (on, None):
        diary = keep_diary(drive(corners, hz=4.0, on=logged), shapely.box(-5, -5, 55, 105), 10.0)
        straight = [one for one in diary.spans if one.kind == "straight"]
        assert len(straight) == 6
        assert {one.block for one in straight} == {1}
        assert diary.directions_deg == pytest.approx((0.0,), abs=0.05) or diary.directions_deg[0] > 179.95
        starts = [2 * (one.start_s - 1000) for one in straight[1:]]
        assert starts == pytest.approx([begin for begin, _ in ends[1:]], abs=3.0)
        between = [one.kind for one in diary.spans if straight[0].end_s <= one.start_s < straight[-1].start_s]
        assert between == ["turn", "straight"] * 4 + ["turn"]


def test_a_long_way_in_line_with_the_pass_is_no_pass():
    """80 m unsprayed before 60 m sprayed: the pass keeps 5 m of it; 25 m before 60 m is all the pass's."""
    for before, kept in ((80.0, 5.0), (25.0, 25.0)):
        fixed = drive([(0, -before), (0, 60)], on=lambda time, before=before: 2 * time >= before)
        (span,) = [one for one in keep_diary(fixed, shapely.box(-5, 0, 5, 60), 10.0).spans if one.kind == "straight"]
        assert 2 * (span.start_s - 1000) == pytest.approx(before - kept, abs=1.1)
