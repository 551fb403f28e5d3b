"""Shortest turns for many pairs at once."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simulator.route import Pose, shortest_turn

from coverage_audit.touchup.turns import turn_legs, way_points

poses = st.tuples(st.floats(-30, 30), st.floats(-30, 30), st.floats(-3.1, 3.1))


@given(poses, poses, st.floats(2, 12))
@settings(max_examples=150, deadline=None)
def test_same_length_as_the_route_simulator(start, goal, radius):
    """The simulator's own solution for one pair, written apart."""
    wanted = sum(length for _, length in shortest_turn(Pose(*start), Pose(*goal), radius))
    found = turn_legs(np.array([start]), np.array([goal]), radius).sum(axis=2).min()
    # a turn that is a hair short of a full circle may count as none in one and as whole in the other
    assert found == pytest.approx(wanted, abs=1e-5) or abs(abs(found - wanted) - 2 * np.pi * radius) < 1e-4


@given(st.integers(0, 1000), st.floats(2, 12))
@settings(max_examples=50, deadline=None)
def test_every_way_ends_at_its_goal_and_keeps_to_the_radius(seed, radius):
    rng = np.random.default_rng(seed)
    start, goal = rng.uniform(-30, 30, (2, 5, 3))
    legs = turn_legs(start, goal, radius)
    for word in range(6):
        good = np.isfinite(legs[word]).all(axis=1)
        points, way = way_points(start[good], np.full(good.sum(), word), legs[word, good], radius, 0.5)
        last = np.append(np.flatnonzero(np.diff(way)), len(way) - 1) if len(way) else []
        assert points[last, :2] == pytest.approx(goal[good, :2], abs=1e-5)  # metres: rounding through arcs
        turned, moved = np.abs(np.diff(points[:, 2])), np.hypot(*np.diff(points[:, :2], axis=0).T)
        same = np.diff(way) == 0
        # between two points on an arc the chord is shorter than the arc by less than 0.5 % at this step
        assert (turned[same] <= moved[same] / radius * 1.02 + 1e-6).all()


def test_half_turn_between_two_passes():
    """Two radii apart: half a circle, pi R."""
    legs = turn_legs(np.array([[0.0, 0.0, 0.0]]), np.array([[10.0, 0.0, np.pi]]), 5.0)
    assert legs.sum(axis=2).min() == pytest.approx(5 * np.pi, abs=1e-9)
