"""Steps of the boom's way worked by hand: lines, speeds, open parts, where steps end, what each part lays where."""

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from coverage_audit.drive.model import BoomPath, Timeline
from coverage_audit.errors import TooFineError
from coverage_audit.rate import steps as rate_steps
from coverage_audit.rate.flow import Flow, section_share
from coverage_audit.rate.places import standing_places
from coverage_audit.rate.steps import (
    OpenParts,
    Scale,
    SprayLines,
    Steps,
    lay,
    open_parts,
    speeds,
    spray_lines,
    steps_between,
)

DEGREE = math.pi / 180


def path(time_s, travel_m, heading_rad=0.0, gap_after=()):
    """A way straight north from (3, 0), or one that turns on the spot."""
    time, travel = np.asarray(time_s, float), np.asarray(travel_m, float)
    no = np.zeros(len(time), bool)
    gap = no.copy()
    gap[list(gap_after)] = True
    return BoomPath(time, np.full(len(time), 3.0), travel, np.zeros(len(time)) + heading_rad, travel, gap, no, no)


def lines(time_s, y_m, heading_rad=0.0, x_m=0.0, speed_m_s=0.0, turn_rad_s=0.0, slot=None, broken=()):
    """Boom lines on a way straight north; the last one is always broken."""
    time = np.asarray(time_s, float)
    zero = np.zeros(len(time))
    y = zero + y_m
    broken_after = np.zeros(len(time), bool)
    broken_after[[*broken, -1]] = True
    slots = zero.astype(int) if slot is None else np.asarray(slot)
    return SprayLines(
        time, zero + x_m, y, zero + heading_rad, y.copy(), zero + speed_m_s, zero + turn_rad_s, slots, broken_after
    )


def parts(*rows):
    columns = np.array(rows, float).T
    return OpenParts(columns[0].astype(int), *columns[1:])


NINE = parts((0, -4.5, 4.5, 1.0))
STEADY = Flow(np.array([0.0, 1000.0]), np.array([12.0, 12.0]), whole_boom=True)  # 0.2 L/s
FINE = Scale(2.0, 0.5, 0.0)


# --- lines and speeds -----------------------------------------------------------------------------


def test_lines_run_from_switching_on_to_switching_off():
    """2 m/s north, logged every second; on from 1.5 to 3 s and from 4.25 s on, a gap of the log from 5 to 6 s."""
    times = Timeline(np.array([1.5, 4.25]), np.array([3.0, 6.5]), np.ones((2, 1), bool), np.arange(2))
    found = spray_lines(path(np.arange(9.0), 2 * np.arange(9.0), 0.1 * np.arange(9.0), gap_after=[5]), times, 0.5)
    assert found.time_s.tolist() == [1.5, 2.0, 3.0, 4.25, 5.0, 6.0, 6.5]
    assert found.slot.tolist() == [0, 0, 0, 1, 1, 1, 1]
    assert found.broken_after.tolist() == [False, False, True, False, True, False, True]
    assert found.x_m.tolist() == [3.0] * 7
    assert found.y_m == pytest.approx(2 * found.time_s)
    assert found.travel_m == pytest.approx(2 * found.time_s)
    assert found.heading_rad == pytest.approx(0.1 * found.time_s)
    assert found.speed_m_s == pytest.approx(np.full(7, 2.0))
    assert found.turn_rad_s == pytest.approx(np.full(7, 0.1))


def test_a_slot_may_begin_and_end_with_the_log_and_in_a_gap():
    times = Timeline(np.array([0.0]), np.array([3.0]), np.ones((1, 1), bool), np.zeros(1, int))
    found = spray_lines(path(np.arange(4.0), np.arange(4.0), gap_after=[2]), times, 0.5)
    assert found.time_s.tolist() == [0.0, 1.0, 2.0, 3.0]
    assert found.broken_after.tolist() == [False, False, True, True]
    assert spray_lines(path(np.arange(4.0), np.arange(4.0), gap_after=[0]), times, 0.5).broken_after.tolist() == [
        True,
        False,
        False,
        True,
    ]
    later = dataclasses.replace(times, start_s=np.array([1.5]))
    assert spray_lines(path(np.arange(4.0), np.arange(4.0), gap_after=[1]), later, 0.5).broken_after.tolist() == [
        True,
        False,
        True,
    ]


def test_speed_is_taken_over_the_window_to_both_sides():
    """From rest at 1 m/s2, straight between quarters of a second: over half a second to both sides (t+h)^2/2."""
    time = np.arange(0, 4.01, 0.25)
    speed, turn = speeds(path(time, time**2 / 2, -0.2 * time), np.array([0.0, 0.25, 2.0, 4.0]), 0.5)
    assert speed == pytest.approx([0.25, (0.75**2 / 2) / 0.75, 2.0, 3.75])
    assert turn == pytest.approx(np.full(4, -0.2))
    # a log slower than the window: over one of its own steps
    seconds = np.arange(5.0)
    assert speeds(path(seconds, seconds**2 / 2), np.array([0.0, 2.0]), 0.5)[0] == pytest.approx([0.5, 2.0])


def test_tips_lie_square_to_the_heading():
    """Heading east, the right tip lies south; heading north, east."""
    found = lines([0, 1], 5.0, np.array([math.pi / 2, 0.0]), x_m=1.0).tips(np.array([0, 1]), np.array([2.0, -3.0]))
    assert found.ravel() == pytest.approx([1.0, 3.0, -2.0, 5.0])


# --- open parts -------------------------------------------------------------------------------------


def test_runs_of_open_sections_are_split_where_the_flow_per_metre_differs():
    """1, 2, 2 and 3 m with 1, 2, 4 and 6 of 13 nozzles: one a metre on the first two, two on the last two."""
    share = np.array([1, 2, 4, 6]) / 13
    on = np.array([[1, 1, 1, 1], [0, 1, 0, 1], [1, 0, 0, 0], [0, 0, 1, 1]], bool)
    found = open_parts((1.0, 2.0, 2.0, 3.0), share, on, whole_boom=True)
    assert found.slot.tolist() == [0, 0, 1, 1, 2, 3]
    assert found.left_m == pytest.approx([-4.0, -1.0, -3.0, 1.0, -4.0, -1.0])
    assert found.right_m == pytest.approx([-1.0, 4.0, -1.0, 4.0, -3.0, 4.0])
    assert found.share * 13 == pytest.approx([3, 10, 2, 6, 1, 10])
    metered = open_parts((1.0, 2.0, 2.0, 3.0), share, on, whole_boom=False)
    assert metered.share == pytest.approx([3 / 13, 10 / 13, 2 / 8, 6 / 8, 1.0, 1.0])


def test_a_section_s_share_is_by_nozzles_or_else_by_width():
    assert section_share(SimpleNamespace(section_nozzles=(12, 4), sections_m=(1.0, 1.0))) == pytest.approx([0.75, 0.25])
    assert section_share(SimpleNamespace(section_nozzles=None, sections_m=(1.0, 4.0))) == pytest.approx([0.2, 0.8])


# --- where steps end ----------------------------------------------------------------------------------


def ends(lines_, parts_=NINE, flow=STEADY, scale=FINE):
    found = steps_between(lines_, flow, parts_, scale)
    return list(zip(found.first.tolist(), found.last.tolist(), strict=True))


def test_steps_are_as_long_as_the_scale_allows():
    """2.5 m/s at 4 Hz is 0.625 m a line: the fourth line is the first beyond 2 m, the seventh beyond 4 m."""
    time = np.arange(0, 2.6, 0.25)
    way = lines(time, 2.5 * time, speed_m_s=2.5)
    found = steps_between(way, STEADY, NINE, FINE)
    assert (found.first.tolist(), found.last.tolist()) == ([0, 4, 7], [4, 7, 10])
    assert found.litres == pytest.approx([0.2, 0.15, 0.15])  # 0.2 L/s for 1, 0.75 and 0.75 s
    assert not found.standing.any()
    assert ends(way, scale=Scale(4.0, 0.5, 0.0)) == [(0, 7), (7, 10)]
    back = lines(time, -2.5 * time, speed_m_s=-2.5)
    assert ends(back) == [(0, 4), (4, 7), (7, 10)]


def test_no_step_leads_over_a_break():
    """A slot that ends after the third line, and a gap after the fifth."""
    time = np.arange(0, 2.6, 0.25)
    way = lines(time, 2.5 * time, speed_m_s=2.5, slot=[0] * 3 + [1] * 8, broken=[2, 4])
    two = parts((0, -4.5, 4.5, 1.0), (1, -4.5, 4.5, 1.0))
    assert ends(way, two) == [(0, 2), (3, 4), (5, 7), (7, 10)]


def test_a_step_turns_by_two_and_a_half_degrees_at_most():
    """0.9 degrees a line pass 2.5 at the third, 5 at the sixth; noise of 0.01 rad allows 5.7, passed at the seventh."""
    time = np.arange(13.0)
    turn = 0.9 * DEGREE
    way = lines(time, 0.15 * time, turn * time, speed_m_s=0.15, turn_rad_s=turn)
    assert ends(way) == [(0, 3), (3, 6), (6, 9), (9, 12)]
    assert ends(way, scale=Scale(2.0, 0.5, 0.01)) == [(0, 7), (7, 12)]
    left_about = lines(time, 0.15 * time, -turn * time, speed_m_s=0.15, turn_rad_s=-turn)
    assert ends(left_about) == ends(way)


def test_a_step_changes_its_speed_by_a_twenty_fifth_at_most():
    """e^(0.0155 t) m/s: its logarithm passes 0.04, 0.08 and 0.12 at the third, sixth and eighth line."""
    time = np.arange(10.0)
    pace = np.exp(0.0155 * time)
    way = lines(time, 0.15 * time, speed_m_s=pace)
    assert ends(way) == [(0, 3), (3, 6), (6, 8), (8, 9)]
    assert ends(dataclasses.replace(way, speed_m_s=-pace)) == ends(way)
    assert ends(way, scale=Scale(2.0, 0.5, 0.02)) == [(0, 6), (6, 9)]  # 0.04 + 2 x 0.02 at once


def test_a_step_changes_its_tips_speed_by_a_twenty_fifth_at_most():
    """The tip 4.5 m out gains 0.0155 of the centre's 2 m/s a line; of an uneven boom the far end counts."""
    time = np.arange(10) / 10
    turn = 0.0155 * 2 / 4.5 * (np.arange(10) - 4.5)  # less than a degree in all
    way = lines(time, 2 * time, speed_m_s=2.0, turn_rad_s=turn)
    for ends_m in ((-4.5, 1.0), (-1.0, 4.5), (3.0, 4.5)):
        assert ends(way, parts((0, *ends_m, 1.0)), scale=Scale(2.0, 0.05, 0.0)) == [(0, 3), (3, 6), (6, 8), (8, 9)]
    # 2 x 0.01 x 4.5 m / 2.25 m of noise more: 0.08 at once
    assert ends(way, scale=Scale(2.25, 0.05, 0.01)) == [(0, 6), (6, 9)]


def test_changes_of_speed_are_seen_from_window_to_window():
    """Speeds that only flicker within a window of 2 s make no step; two slots never share a window."""
    time = np.arange(0, 8, 0.5)
    flicker = np.where(np.arange(16) % 4 == 2, 2.0, 1.0)
    way = lines(time, 0.15 * time, speed_m_s=flicker)
    assert ends(way, scale=Scale(2.0, 2.0, 0.0)) == [(0, 15)]
    assert len(ends(way)) > 5
    slots = lines(time, 0.15 * time, speed_m_s=np.where(time < 2.75, 1.0, 2.0), slot=[0] * 6 + [1] * 10, broken=[5])
    two = parts((0, -4.5, 4.5, 1.0), (1, -4.5, 4.5, 1.0))
    assert ends(slots, two, scale=Scale(2.0, 20.0, 0.0)) == [(0, 5), (6, 15)]


def test_no_step_is_half_a_stand():
    """Three seconds at 0.05 m/s between ways of 1 m/s; 0.2 L/s."""
    pace = np.array([1, 1, 0.05, 0.05, 0.05, 1, 1, 1])
    way = lines(np.arange(8.0), [0, 1, 1.05, 1.1, 1.15, 2.15, 3.15, 4.15], speed_m_s=pace)
    found = steps_between(way, STEADY, NINE, Scale(10.0, 0.5, 10.0))
    stands = found.take(found.standing)
    assert (stands.first[0], stands.last[-1], stands.litres.sum()) == (1, 4, pytest.approx(0.6))
    moves = found.take(~found.standing)
    assert (moves.first.tolist(), moves.last.tolist()) == ([0, 4], [1, 7])
    assert moves.litres == pytest.approx([0.2, 0.6])


@pytest.mark.parametrize(
    ("turn_rad_s", "left_m", "right_m", "stands"),
    [(0.02, -4.5, 4.5, True), (0.025, -4.5, 4.5, False), (0.025, -4.5, 1.0, False), (-0.025, -1.0, 4.5, False),
     (0.025, -3.5, 3.5, True)],
)  # fmt: skip
def test_a_boom_that_turns_on_the_spot_stands_until_a_tip_moves(turn_rad_s, left_m, right_m, stands):
    """0.1 m/s at the tip is standing's end: 4.5 m at 0.0222 rad/s."""
    time = np.arange(5.0)
    way = lines(time, 0.0, turn_rad_s * time, turn_rad_s=turn_rad_s)
    found = steps_between(way, STEADY, parts((0, left_m, right_m, 1.0)), FINE)
    assert found.standing.tolist() == [stands] * len(found.first)


@pytest.mark.parametrize(("logged_m_s", "smooth_m_s"), [(0.05, 1.0), (1.0, 0.05), (0.05, 0.05), (1.0, 1.0)])
def test_a_boom_stands_when_its_places_or_its_smoothed_speed_say_so(logged_m_s, smooth_m_s):
    """Noise makes places jump, and smoothing lends speed to a stand: the slower of the two counts."""
    time = np.arange(0, 3, 0.5)
    found = steps_between(lines(time, logged_m_s * time, speed_m_s=smooth_m_s), STEADY, NINE, FINE)
    assert set(found.standing.tolist()) == {min(logged_m_s, smooth_m_s) < 0.1}


# --- what each part lays where --------------------------------------------------------------------------


def steps_of(way, *pairs, litres=1.0):
    first, last = np.array(pairs).T
    return Steps(way, first, last, np.full(len(first), litres), np.zeros(len(first), bool))


def test_a_straight_step_is_laid_as_one_rectangle_a_part():
    """3 m north in 1.5 s, headed north, on the left 4 m and the right 1 m of five: 12 and 3 m2 at 2 m/s."""
    found = lay(
        steps_of(lines([100, 101.5], [1, 4], x_m=2.0), (0, 1)), parts((0, -2.5, 1.5, 0.75), (0, 1.5, 2.5, 0.25)), 1.0
    )
    assert found.corners.tolist() == [
        [[-0.5, 1], [-0.5, 4], [3.5, 4], [3.5, 1]],
        [[3.5, 1], [3.5, 4], [4.5, 4], [4.5, 1]],
    ]
    assert found.litres == pytest.approx([0.75, 0.25])
    assert found.area_m2 == pytest.approx([12.0, 3.0])
    assert found.speed_m_s == pytest.approx([2.0, 2.0])
    assert (found.point.tolist(), found.step.tolist(), found.cell_m) == ([False, False], [0, 0], 1.0)


def test_each_slot_has_its_own_parts():
    way = lines(np.arange(6.0), 2 * np.arange(6.0), slot=[0, 0, 1, 1, 2, 2], broken=[1, 3])
    three = parts((0, -2, 0, 0.5), (1, -2, -1, 0.2), (1, 0, 2, 0.6), (2, 1, 2, 0.25))
    found = lay(steps_of(way, (0, 1), (2, 3), (4, 5), litres=4.0), three, 0.5)
    assert found.step.tolist() == [0, 1, 1, 2]
    assert found.litres == pytest.approx([2.0, 0.8, 2.4, 1.0])
    assert found.corners[:, 0].tolist() == [[-2, 0], [-2, 4], [0, 4], [1, 8]]
    assert found.corners[:, 2].tolist() == [[0, 2], [-1, 6], [2, 6], [2, 10]]


def turned(pivot_m, left_m, right_m, cell_m=0.25, degrees=2.0):
    """A boom turned about a point *pivot_m* left of its centre, laid in cells of *cell_m*."""
    angle = np.array([-0.5, 0.5]) * degrees * DEGREE  # heading from west of north to east: the pivot lies right
    x, y = pivot_m * (1 - np.cos(angle)), pivot_m * np.sin(angle)
    return lay(steps_of(lines([50, 51], y, angle, x_m=x), (0, 1)), parts((0, left_m, right_m, 1.0)), cell_m)


def test_a_turning_step_is_cut_so_that_speeds_in_a_part_differ_little():
    """About a point 20 m to the right: ends at 21 and 19 m differ by 3 twentieths of 19, at 25 and 15 m by 14."""
    found = turned(20.0, -1.0, 1.0)
    assert len(found.litres) == 3
    assert found.litres == pytest.approx([1 / 3] * 3)
    # rings of a sector: chords cut off 2 sin(a/2) of a
    assert found.area_m2.sum() == pytest.approx(2 * 20 * 2 * math.sin(DEGREE) * math.cos(0), rel=1e-3)
    assert found.speed_m_s == pytest.approx(2 * math.sin(DEGREE) * np.array([20 + 2 / 3, 20, 20 - 2 / 3]), rel=1e-3)
    assert found.corners[:-1, 2:] == pytest.approx(found.corners[1:, 1::-1])  # each begins where the last one ends
    assert len(turned(20.0, -5.0, 5.0).litres) == 14
    assert len(turned(-20.0, -5.0, 5.0).litres) == 14
    assert len(turned(20.0, -5.0, 5.0, cell_m=2.0).litres) == 5  # never narrower than a cell


def test_about_a_pivot_within_the_boom_parts_are_a_cell_wide():
    assert len(turned(0.0, -1.0, 1.0).litres) == 8
    assert len(turned(0.5, -1.0, 1.0, cell_m=0.3).litres) == 7
    assert len(turned(1.0, -2.0, 1.0).litres) == 12  # one end stands


def test_a_part_that_wets_a_line_is_a_point():
    """A part of less than a tenth of a millimetre, and the one about the pivot, whose ends go opposite ways."""
    still = lay(steps_of(lines([0, 1, 2], [0, 0.00009, 0.00021]), (0, 1), (1, 2)), parts((0, -1, 2, 1.0)), 3.0)
    assert still.point.tolist() == [True, False]
    assert still.area_m2 == pytest.approx([0.00027, 0.00036])
    about = turned(0.0, -1.25, 1.0, cell_m=0.75)  # -1.25 to -0.5, to 0.25, to 1
    assert about.point.tolist() == [False, True, False]


@pytest.mark.parametrize(("most", "fits"), [(12, True), (11, False)])
def test_parts_are_bounded(monkeypatch, most, fits):
    monkeypatch.setattr(rate_steps, "MOST_QUADS", most)
    if fits:
        assert len(turned(1.0, -2.0, 1.0).litres) == most
    else:
        with pytest.raises(TooFineError):
            turned(1.0, -2.0, 1.0)


# --- stands ------------------------------------------------------------------------------------------


def test_stands_of_a_second_and_more_are_told_with_their_boom():
    """Stands of 0.9, 1 and 3 s, the last of two steps: by falling volume, each across what was open then."""
    way = lines([0, 0.9, 2, 3, 4, 5.5, 7], [0, 0, 2, 2, 4, 4, 4], slot=[0, 0, 0, 0, 1, 1, 1], broken=[3])
    every = Steps(
        way, np.array([0, 1, 2, 4, 5]), np.array([1, 2, 3, 5, 6]), np.array([9.0, 1.0, 0.5, 1.0, 1.25]),
        np.array([True, False, True, True, True]),
    )  # fmt: skip
    open_ = parts((0, -3, -1, 0.3), (0, 0, 3, 0.3), (1, 1, 3, 0.2))
    first, second = standing_places(every, open_, np.array([0.6, 0.2]))
    assert (first.id, second.id) == ("S1", "S2")
    assert (first.start_s, first.seconds, first.volume_l) == pytest.approx((4.0, 3.0, 2.25 * 0.2))
    assert (second.start_s, second.seconds, second.volume_l) == pytest.approx((2.0, 1.0, 0.3))
    assert first.line.equals(shapely.LineString([(1, 4), (3, 4)]))
    assert second.line.equals(shapely.LineString([(-3, 2), (3, 2)]))


def test_no_stand_is_none():
    way = lines([0, 1], [0, 2])
    assert standing_places(steps_of(way, (0, 1)), NINE, np.ones(1)) == ()
