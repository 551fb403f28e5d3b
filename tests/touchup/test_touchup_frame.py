"""Ground seen along a way: a straight way turns it, a bend folds what lies beyond its middle."""

import numpy as np
import pytest
import shapely

from coverage_audit.touchup.frame import Frame
from coverage_audit.touchup.tolerances import CURVE_STEP_M, ROUND_SLACK

BEYOND_M = 10.0


def test_a_fence_along_a_straight_way_stays_beside_it_past_both_ends():
    """A way of 20 m due east, and a fence 3 m to its left that runs on for a kilometre: no skew, nothing folded."""
    frame = Frame(np.array([(0.0, 0.0), (20.0, 0.0)]), BEYOND_M)
    seen = frame.flat(shapely.box(-500, -8, 500, 3))
    assert seen.equals_exact(shapely.box(-BEYOND_M, -3, 20 + BEYOND_M, 8).normalize(), 1e-9, normalize=True)
    assert frame.flat(shapely.Polygon()).is_empty
    assert frame.flat(shapely.box(40, -8, 50, 3)).is_empty


def test_along_and_across_agree_with_the_turned_ground():
    frame = Frame(np.array([(1.0, 2.0), (9.0, 8.0)]), BEYOND_M)
    ground = shapely.Polygon([(2, 1), (5, 9), (8, 4)])
    assert shapely.get_coordinates(frame.flat(ground)) == pytest.approx(
        frame.along_across(shapely.get_coordinates(ground)), abs=1e-9
    )


def test_round_a_bend_ground_far_aside_is_left_out_and_what_is_near_stays():
    """A fence of 400 teeth beside a bend of 24 degrees, on its inner side: 4 m to either side nothing changes."""
    frame = Frame(np.array([(0.0, -20.0), (0.0, 0.0), (8.0, 18.0)]), BEYOND_M)
    teeth = [(40.0 if k % 2 else 3.0 + k % 3, 40.0 - k / 10) for k in range(800)]
    ground = shapely.Polygon([(-20, -40), (-20, 40), *teeth])
    whole, near = frame.flat(ground), frame.flat(ground, 4.0)
    lane = shapely.box(0, -4, 20, 4)
    assert (lane & near).area < lane.area - 0.05
    assert shapely.symmetric_difference(lane & whole, lane & near).area < 1e-9
    assert shapely.get_num_coordinates(near) < shapely.get_num_coordinates(whole) / 4
    farthest = np.abs(shapely.get_coordinates(near)[:, 1]).max()
    assert farthest <= 4 * ROUND_SLACK + CURVE_STEP_M / 2 + 1e-9  # rounding [m]


def test_ground_whose_hole_touches_its_edge_is_still_ground_however_it_is_turned():
    """Turned, the touching corner lies beside the edge by the last digit, on either side of it."""
    ground = shapely.Polygon([(0, 0), (3, 1), (2, 4), (-1, 3)], [[(1.5, 0.5), (1.7, 1.5), (1.0, 1.5)]])
    start = np.array([7.3, 1.1])
    angles = np.linspace(0.1, 3, 50)
    ways = [start + np.outer([0.0, 30.0], [np.sin(angle), np.cos(angle)]) for angle in angles]
    seen = [Frame(way, BEYOND_M).flat(ground) for way in ways]
    assert all(one.is_valid for one in seen)
    assert [one.area for one in seen] == pytest.approx([ground.area] * 50, abs=1e-9)


def test_ground_that_folds_over_itself_within_a_bend_is_made_valid_by_its_structure(monkeypatch):
    """By its lines alone that takes twenty seconds for these 200 corners: they cross each other by the ten thousand."""
    mended, how = shapely.make_valid, []

    def seen(shape, *, method="linework", **style):
        how.append(method)
        return mended(shape, method="structure", **style)

    monkeypatch.setattr(shapely, "make_valid", seen)
    frame = Frame(np.array([(0.0, -20.0), (0.0, 0.0), (20.0, 0.0)]), BEYOND_M)
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    reach = 9.0 + np.where(np.arange(200) % 2, 2.0, 0.0)
    ground = shapely.Polygon(np.column_stack([12 + reach * np.cos(angle), -12 + reach * np.sin(angle)]))
    flat = frame.flat(ground)
    x, y = np.meshgrid(np.arange(0.5, 24), np.arange(-24.5, 0))
    inside = shapely.contains_xy(shapely.buffer(ground, -0.5), x, y)
    places = frame.along_across(np.column_stack([x[inside], y[inside]]))
    assert "linework" not in how
    assert flat.is_valid
    assert shapely.distance(flat, shapely.points(places)).max() < 0.05  # between two corners a side is bent
