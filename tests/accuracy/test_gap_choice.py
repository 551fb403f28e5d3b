"""Which measured gaps are of the kind that a driver aims at."""

import dataclasses

import numpy as np
import pytest
import shapely
from jobs import straight_lines

from coverage_audit.accuracy.gaps.choice import pick, usual
from coverage_audit.accuracy.gaps.probes import find_gaps
from coverage_audit.accuracy.model import Gaps
from coverage_audit.drive.model import BoomPath

AHEAD = 2
BOOM_M = 10.0


def path_of(lines):
    travel = np.concatenate([one.travel_m for one in lines])
    none = np.zeros(len(travel), bool)
    return BoomPath(travel, *np.zeros((3, len(travel))), travel, none, none, none)


def edge_run(gap_m, own_travel_m, *, kind=1, stretch=1, normal=(1.0, 0.0)):
    """Gaps of one tip along one side."""
    count = len(gap_m)
    many = np.ones(count)
    nothing = np.full(count, np.nan)
    travel = np.asarray(own_travel_m, float)
    same = np.full(count, stretch)
    return Gaps(
        np.asarray(gap_m, float),
        np.tile(normal, (count, 1)),
        np.full(count, kind),
        travel,
        nothing if kind == 1 else travel - 500,
        travel,
        nothing if kind == 1 else travel - 1000,
        many,
        0 * many if kind == 1 else many,
        same,
        np.full(count, -1) if kind == 1 else same - 1,
    )


def joined(*runs):
    return Gaps(**{name: np.concatenate([getattr(one, name) for one in runs]) for name in vars(runs[0])})


ALONG = np.arange(0.0, 100.0, 5.0)
EVEN = 0.1 * np.sin(ALONG)


def test_pass_along_the_edge_counts_and_one_askew_to_it_does_not():
    askew = edge_run(1.5 - 0.05 * (ALONG - 50), 2000 + ALONG, stretch=2)  # 3 degrees, 4.75 m in all
    keep = usual(joined(edge_run(EVEN, ALONG), askew))
    assert keep[:20].all()
    assert not keep[20:].any()


def test_driver_who_drifts_by_half_a_metre_was_aiming():
    drift = 0.5 * (ALONG - 50) / 100  # 0.3 degrees
    assert usual(edge_run(drift, ALONG)).all()


def test_steep_but_tiny_change_is_no_slant():
    short = edge_run([0.0, 0.3, 0.6], [0.0, 5.0, 10.0])  # 3.4 degrees, 0.6 m in all
    assert usual(joined(edge_run(4 * EVEN, 2000 + ALONG, stretch=2), short))[20:].all()


def test_edge_that_turns_ends_the_run():
    """Falling along one side and rising along the next is askew to both, though level over all."""
    first = edge_run(2.0 - 0.06 * ALONG[:10], ALONG[:10])
    second = edge_run(-0.9 + 0.06 * ALONG[:10], 50 + ALONG[:10], normal=(0.9, 0.436))
    keep = usual(joined(edge_run(EVEN, 2000 + ALONG, stretch=2), first, second))
    assert keep[:20].all()
    assert not keep[20:].any()


def test_edge_left_and_met_again_is_another_run():
    first = edge_run(2.0 - 0.06 * ALONG[:10], ALONG[:10])
    second = edge_run(-0.9 + 0.06 * ALONG[:10], 110 + ALONG[:10])
    keep = usual(joined(edge_run(EVEN, 2000 + ALONG, stretch=2), first, second))
    assert keep[:20].all()
    assert not keep[20:].any()


def test_touching_an_edge_once_or_twice_is_chance():
    keep = usual(joined(edge_run(EVEN, ALONG), edge_run([0.2, 0.1], [3000.0, 3005.0], stretch=3)))
    assert keep.tolist() == [True] * 20 + [False] * 2


def test_field_edge_beside_a_pass_that_was_set_by_another_is_what_was_left():
    """The last pass was aimed at the one before; what is left or sprayed beyond the edge was not aimed at."""
    between = edge_run(EVEN, ALONG, kind=0)
    edge = dataclasses.replace(edge_run(EVEN + 0.8, ALONG), own_lean=-np.ones(20))
    first = edge_run(EVEN, 3000 + ALONG, stretch=4)
    assert usual(joined(between, edge, first)).tolist() == [True] * 20 + [False] * 20 + [True] * 20


def slanted_end(slope, beyond_m):
    """A pass to the north whose left tip begins *beyond_m* past the edge of a headland lap that rises by *slope*."""
    lap = straight_lines(0.0, 0, 0, 200.0)
    turned, along = np.arctan2(1.0, slope), np.arange(201.0) - 100
    # its upper edge goes through x = y = 0 and rises to the east
    place = along[:, None] * [np.sin(turned), np.cos(turned)] - [0.0, 5.0 * np.hypot(1.0, slope)]
    lap = dataclasses.replace(lap, x_m=place[:, 0], y_m=place[:, 1], heading_rad=np.full(201, turned))
    own = straight_lines(0.0, 1, 1)
    own = dataclasses.replace(own, y_m=own.y_m - 5.0 * slope + beyond_m)  # the left tip is over the lower edge
    return [lap, own]


@pytest.mark.parametrize("slope", [0.0, 0.3, 0.8, 1.2])
@pytest.mark.parametrize("gap_m", [-0.5, 0.4, 1.5])
def test_gap_ahead_is_that_of_the_tip_that_leads(slope, gap_m):
    """Worked by hand: under the left tip the edge is 5 m * slope lower than under the middle."""
    lines = slanted_end(slope, gap_m)
    found = find_gaps(lines, path_of(lines), shapely.box(-500, -500, 500, 500), BOOM_M, 5.0)
    own = pick(found, (found.kind == AHEAD) & (found.own_stretch == 1))
    assert len(own) == 1
    assert own.gap_m[0] == pytest.approx(gap_m, abs=0.1 * 2 * slope + 1e-6)  # probes stand 2 % of the boom inside


def test_tip_that_leads_past_the_end_of_the_edge_is_told_from_the_others():
    lap, own = slanted_end(0.6, 0.4)
    east = lap.x_m > -2.0
    columns = {name: value[east] for name, value in vars(lap).items() if isinstance(value, np.ndarray)}
    lines = [dataclasses.replace(lap, **columns), own]
    found = find_gaps(lines, path_of(lines), shapely.box(-500, -500, 500, 500), BOOM_M, 5.0)
    assert found.gap_m[(found.kind == AHEAD) & (found.own_stretch == 1)] == pytest.approx([0.4], abs=0.121)  # as above


def test_edge_beyond_the_reach_of_the_tip_that_leads_is_another_one():
    """Its other tip lies near that edge, and is long over ground done by another lap."""
    lines = slanted_end(1.2, 8.0)
    found = find_gaps(lines, path_of(lines), shapely.box(-500, -500, 500, 500), BOOM_M, 5.0)
    assert not ((found.kind == AHEAD) & (found.own_stretch == 1)).any()
