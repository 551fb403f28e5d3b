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


def test_a_pass_too_far_off_is_no_neighbour():
    """Wider apart than 1.6 booms another pass was left out: each reaches its own boom width."""
    west, east = pass_cells([northward(0, 0.0), northward(1, 16.1)], [Neighbours(0, 1, 16.1)], WIDTH_M)
    assert west.bounds == pytest.approx((-10.0, -2.5, 10.0, 102.5))
    assert east.bounds == pytest.approx((6.1, -2.5, 26.1, 102.5))
