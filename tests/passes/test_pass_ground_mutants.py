"""Whose ground is it: exact areas of two and three passes side by side."""

import numpy as np
import pytest
import shapely

from coverage_audit.passes.pass_ground import pass_cells
from coverage_audit.passes.steering import Driven, Neighbours

WIDTH_M = 10.0


def northward(number, x_m):
    """A pass 100 m to the north."""
    y = np.arange(101.0)
    return Driven(number, 0, 0.0, y, np.column_stack([np.full(101, x_m), y]), y)


@pytest.mark.parametrize("apart_m", [9.0, 10.0, 12.0])
def test_ground_of_a_pass_ends_half_way_to_its_neighbour(apart_m):
    """A boom width on the free side, half the spacing on the other, a quarter boom beyond either end: 105 m long."""
    passes = [northward(0, 0.0), northward(1, apart_m)]
    west, east = pass_cells(passes, [Neighbours(0, 1, apart_m)], WIDTH_M)
    assert west.bounds == pytest.approx((-10.0, -2.5, apart_m / 2, 102.5))
    assert east.bounds == pytest.approx((apart_m / 2, -2.5, apart_m + 10.0, 102.5))
    assert west.area == pytest.approx((10.0 + apart_m / 2) * 105.0)
    assert shapely.intersection(west, east).area == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("direction_deg", [0.0, 30.0])
def test_ground_of_a_slanting_pass_slants(direction_deg):
    """Passes that run apart by a tenth, whichever way the AB line runs: half-way between them all along."""
    angle = np.radians(direction_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    y = np.arange(101.0)
    west, east = (
        Driven(k, 0, angle, y, np.column_stack([x + lean * y, y]) @ turn, y) for k, x, lean in ((0, 0, 0), (1, 9, 0.05))
    )
    cells = pass_cells([west, east], [Neighbours(0, 1, 11.5)], WIDTH_M)
    # to half of 9 m growing to 14 m, level over the 2.5 m beyond either end; and a boom width on the free side
    between = (4.5 + 7.0) / 2 * 100 + 2.5 * (4.5 + 7.0)
    assert shapely.area(cells) == pytest.approx([10.0 * 105 + between] * 2, rel=0.002)  # thirteen places along it
    rims = shapely.transform(cells, lambda xy: xy @ turn.T)
    places = shapely.points([(6.6, 99), (6.6, 50), (23.5, 99), (23.5, 50)])
    assert shapely.contains(rims[[0, 0, 1, 1]], places).tolist() == [True, False, True, False]
    assert shapely.intersection(*cells).area == pytest.approx(0.0, abs=1e-6)


def test_a_pass_too_far_off_is_no_neighbour():
    """Wider apart than 1.6 booms another pass was left out: each reaches its own boom width."""
    west, east = pass_cells([northward(0, 0.0), northward(1, 16.1)], [Neighbours(0, 1, 16.1)], WIDTH_M)
    assert west.bounds == pytest.approx((-10.0, -2.5, 10.0, 102.5))
    assert east.bounds == pytest.approx((6.1, -2.5, 26.1, 102.5))
