"""The best line through passes of few points."""

import numpy as np
import pytest

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
