"""Boom lines and pieces: the tractrix, bow-ties, thinning."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import boom

from coverage_audit.drive.model import Motion
from coverage_audit.ground.boom_lines import boom_path, thin
from coverage_audit.ground.model import BoomLines
from coverage_audit.ground.pieces import pieces_of, quad_area


def motion_along(points, heading, *, reverse=None):
    count = len(points)
    zero = np.zeros(count)
    none = np.zeros(count, bool)
    return Motion(
        np.arange(count, dtype=float),
        points[:, 0],
        points[:, 1],
        zero,
        zero,
        np.asarray(heading, float),
        none if reverse is None else reverse,
        none,
        0.0,
    )


def test_towed_boom_follows_the_classical_tractrix():
    """Drawbar L at a right angle to a straight way: tan(d / 2) = tan(45 deg) exp(-s / L).

    Textbook tractrix (Huygens, Leibniz 1693; any course in differential equations).
    """
    bar = 3.0
    north = np.column_stack([np.zeros(200), np.linspace(-40, 0, 200)])
    east = np.column_stack([np.linspace(0.1, 20, 200), np.zeros(200)])
    points = np.concatenate([north, east])
    heading = np.r_[np.zeros(200), np.full(200, math.pi / 2)]
    path = boom_path(motion_along(points, heading), boom(9.0, antenna_ahead_m=bar, towed_m=bar))
    lag = math.pi / 2 - path.heading_rad[200:]
    expected = 2 * np.arctan(np.tan(math.pi / 4) * np.exp(-east[:, 0] / bar))
    assert lag == pytest.approx(expected, abs=1e-6)
    # the curve itself: the boom's centre lies the bar's length behind the hitch, along the bar
    assert path.y_m[200:] == pytest.approx(-bar * np.sin(expected), abs=1e-5)


def test_towed_boom_in_reverse_returns_to_where_it_came_from():
    """Solved backwards in time, a way driven forwards and the same way back give the same headings."""
    angle = np.linspace(0, 1.2, 150)
    there = 10 * np.column_stack([1 - np.cos(angle), np.sin(angle)])
    points = np.concatenate([there, there[::-1][1:]])
    heading = np.r_[angle, angle[::-1][1:]]
    reverse = np.r_[np.zeros(150, bool), np.ones(149, bool)]
    path = boom_path(motion_along(points, heading, reverse=reverse), boom(9.0, antenna_ahead_m=1.0, towed_m=1.0))
    # the first 6 m, six bar lengths, are the way in: the forward solution still forgets its start
    assert path.heading_rad[75:150] == pytest.approx(path.heading_rad[::-1][74:149], abs=0.01)


def lines_through(poses, width=8.0):
    poses = np.asarray(poses, float)
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(poses[:, :2], axis=0).T))])
    none = np.zeros(len(poses), bool)
    return BoomLines(poses[:, 0], poses[:, 1], poses[:, 2], travel, none, none, none, ((-width / 2, width / 2),), 0)


def test_pivot_makes_two_triangles():
    """Turned 20 degrees about its centre a boom of 8 m sweeps two isosceles triangles: R^2 sin 20."""
    lines = lines_through([(0, 0, 0), (0, 0, math.radians(20))])
    pieces = pieces_of(lines)
    assert len(pieces) == 2
    expected = 16 * math.sin(math.radians(20))
    assert sum(piece.polygon.area for piece in pieces) == pytest.approx(expected, rel=1e-9)
    assert quad_area(lines) == pytest.approx(expected, rel=1e-9)


def test_pivot_about_a_tip_is_no_bow_tie():
    angle = math.radians(10)
    lines = lines_through([(0, 0, 0), (-4 + 4 * math.cos(angle), -4 * math.sin(angle), angle)])
    (piece,) = pieces_of(lines)
    assert piece.polygon.area == pytest.approx(32 * math.sin(angle), rel=1e-9)


def test_a_turn_tighter_than_half_the_boom_is_two_wings_not_a_fan_of_slivers():
    """About a pivot 3 m from its middle 8 m of boom sweep two sectors, of 7 m and of 1 m, one of them backwards."""
    step = math.radians(2)
    angle = np.arange(21) * step  # 40 degrees, within one piece
    poses = np.column_stack([3.0 * (1 - np.cos(angle)), 3.0 * np.sin(angle), angle])
    lines = lines_through(poses)
    pieces = pieces_of(lines)
    # each step is a triangle: r^2 sin(step) / 2
    sectors = [20 * reach**2 * math.sin(step) / 2 for reach in (7.0, 1.0)]
    assert [piece.polygon.area for piece in pieces] == pytest.approx(sectors, rel=1e-9)
    assert sum(sectors) == pytest.approx(quad_area(lines), rel=1e-9)
    # the sector beyond the pivot is swept from the last line to the first one's other side: both are told whole
    assert {(piece.first, piece.last) for piece in pieces} == {(0, 20)}


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(-1.0, 3.0), st.floats(-0.6, 0.6)),
        min_size=2,
        max_size=30,
    )
)
def test_pieces_add_up_to_the_steps_whatever_the_driving(moves):
    """Forward, backward, pivoting: pieces are valid, and their areas are those of the quadrilaterals."""
    poses = [(0.0, 0.0, 0.0)]
    for ahead, turn in moves:
        x, y, heading = poses[-1]
        heading += turn
        poses.append((x + ahead * math.sin(heading), y + ahead * math.cos(heading), heading))
    lines = lines_through(poses)
    pieces = pieces_of(lines)
    assert all(piece.polygon.is_valid for piece in pieces)
    total = sum(piece.polygon.area for piece in pieces)
    assert total == pytest.approx(quad_area(lines), abs=1e-6 * max(1.0, total))


def test_thinning_keeps_every_line_within_its_limit():
    rng = np.random.default_rng(3)
    y = np.arange(400) * 0.3
    x = 0.5 * np.sin(y / 9) + rng.normal(0, 1e-4, 400)
    heading = np.arctan2(np.gradient(x), np.gradient(y))
    lines = lines_through(np.column_stack([x, y, heading]))
    (thinned,) = thin([lines], 0.02)
    assert len(thinned.x_m) < 100
    for offset in (-4.0, 4.0):
        tips, kept = lines.tips(offset), thinned.tips(offset)
        at = np.column_stack([np.interp(lines.travel_m, thinned.travel_m, kept[:, k]) for k in (0, 1)])
        assert np.hypot(*(tips - at).T).max() <= 0.02 + 1e-6
