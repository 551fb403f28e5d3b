"""The best line through passes of few points."""

import numpy as np
import pytest
import shapely

from coverage_audit.passes.cross_track import best_line


@pytest.mark.parametrize("count", [2, 3])
def test_a_pass_of_few_points_has_a_straight_line(count):
    """Any warning of the fit is a failure here; the line reaches beyond both points and runs through them."""
    points = np.column_stack([np.linspace(0, 30, count), np.linspace(0, 40, count)])
    line, curved = best_line(points)
    assert not curved
    assert line.length > 50
    ends = np.array(line.coords)[[0, -1]]
    assert ends[:, 0] * 4 == pytest.approx(ends[:, 1] * 3, abs=1e-9)


@pytest.mark.parametrize("count", [2, 40])
def test_a_pass_without_a_way_has_a_line_through_its_place(count):
    """Fixes that all fall on one place: a line there, with coordinates, and no direction to be had."""
    line, curved = best_line(np.tile([3.0, 4.0], (count, 1)))
    assert not curved
    assert np.isfinite(np.array(line.coords)).all()
    assert line.distance(shapely.Point(3, 4)) < 1e-3
