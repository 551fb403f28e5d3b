"""Ground swept again by one stretch: one visit or two, by the partition and by the second count, worked by hand."""

import math

import numpy as np
import pytest
import shapely

from coverage_audit.ground.model import BoomLines, Ground
from coverage_audit.ground.partition import closed_partition
from coverage_audit.ground.pieces import pieces_of, quad_area, travel_at
from coverage_audit.ground.second_count import raster_count

WIDTH_M = 4.0
FIELD = shapely.box(-25, -25, 25, 25)


def lines(x, y, heading):
    """One stretch of a boom of 4 m; every step is a piece of its own."""
    x, y, heading = (np.asarray(one, float) for one in (x, y, heading))
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    no = np.zeros(len(x), bool)
    return BoomLines(x, y, heading, travel, no, no, ~no, ((-WIDTH_M / 2, WIDTH_M / 2),), 0)


def both_counts(driven):
    """Covered and double ground by the partition, and by the second count. [m2]"""
    ground = Ground(FIELD, FIELD, FIELD, shapely.Polygon())
    parts = closed_partition(pieces_of(driven), ground, WIDTH_M, travel_at, quad_area(driven))
    areas = [parts.area(parts.in_target & (parts.visits >= least)) for least in (1, 2)]
    second = raster_count([driven], FIELD, WIDTH_M)
    return areas, [second.covered_m2, second.double_m2]


def test_a_ring_driven_twice_without_a_break_is_double():
    """Middle radius 20 m, 4 m wide: 2 pi 20 x 4 = 502.65 m2; a lap is longer than pi/2 boom widths."""
    angle = np.linspace(0, 4 * math.pi, 721)
    exact, second = both_counts(lines(-20 * np.cos(angle), 20 * np.sin(angle), angle))
    ring = 2 * math.pi * 20 * 4
    # chords of one degree cut 0.005 % off a disc; the raster rounds edges of 250 m by a hundredth of a cell
    assert exact == pytest.approx([ring, ring], rel=2e-4)
    assert second == pytest.approx([ring, ring], rel=2e-3)


@pytest.mark.parametrize("back_m", [3.0, 10.0])
def test_backing_over_ground_is_another_visit_from_a_quarter_turn_of_the_boom_on(back_m):
    """10 m north and back: within pi/4 boom widths of the turning point the two sweeps are one visit."""
    y = np.concatenate([np.arange(0, 10.0, 0.1), np.arange(10.0, 9.95 - back_m, -0.1)])
    exact, second = both_counts(lines(np.zeros(len(y)), y, np.zeros(len(y))))
    again = max(0.0, back_m - math.pi / 4 * WIDTH_M) * WIDTH_M
    assert exact == pytest.approx([40.0, again], abs=0.5)  # steps of 0.1 m, half a step off at most, 4 m wide
    assert second == pytest.approx([40.0, again], abs=2.5)  # its steps are 0.5 m


def test_turning_on_the_spot_sweeps_two_sectors_once():
    """Turned by 20 degrees, one at a time, a boom of 4 m sweeps two triangles a step: 2 x 2 x 2 sin 1 / 2."""
    exact, second = both_counts(lines(np.zeros(21), np.zeros(21), np.radians(np.arange(21))))
    swept = 20 * 4 * math.sin(math.radians(1))
    assert exact == pytest.approx([swept, 0.0], rel=1e-9)
    assert second == pytest.approx([swept, 0.0], abs=0.1)
