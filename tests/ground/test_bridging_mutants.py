"""Bridging at its limits, as the contract has it: under 10 degrees and under five boom widths."""

import math

import numpy as np
import pytest
from jobs import boom

from coverage_audit.drive.model import Motion
from coverage_audit.ground.boom_lines import boom_path

WIDTH_M = 9.0


def across_a_gap(turn_deg, apart_m):
    """Two fixes before a gap and two after it, *apart_m* farther north, headed *turn_deg* farther east."""
    y = np.array([0.0, 1.0, 1.0 + apart_m, 2.0 + apart_m])
    zero, no = np.zeros(4), np.zeros(4, bool)
    heading = np.radians([0.0, 0.0, turn_deg, turn_deg])
    gap = np.array([False, True, False, False])
    times = np.array([0.0, 1.0, 11.0, 12.0])
    return boom_path(Motion(times, zero, y, zero, zero, heading, no, gap, math.nan), boom(WIDTH_M))


@pytest.mark.parametrize(
    ("turn_deg", "apart_m", "bridged"),
    [
        (9.99, 10.0, True),
        (10.01, 10.0, False),
        (-9.99, 10.0, True),
        (-10.01, 10.0, False),
        (0.0, 44.99, True),  # five booms of 9 m
        (0.0, 45.01, False),
    ],
)
def test_a_gap_is_bridged_under_ten_degrees_and_five_boom_widths(turn_deg, apart_m, bridged):
    path = across_a_gap(turn_deg, apart_m)
    assert path.bridged_after.tolist() == [False, bridged, False, False]
    assert path.gap_after.tolist() == [False, not bridged, False, False]
