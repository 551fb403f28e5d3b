"""Boom lines from switching on to switching off, thinned, and an outline moved outward: worked by hand."""

import numpy as np
import pytest
import shapely

from coverage_audit.drive.model import BoomPath, Timeline
from coverage_audit.ground.boom_lines import among, on_lines, thin
from coverage_audit.ground.model import BoomLines
from coverage_audit.ground.target import grown


def north(count, gap_after=(), bridged_after=()):
    """A second and 2 m from place to place, due north from (7, 0), turning by a thousandth a place."""
    time = np.arange(count) * 1.0
    no = np.zeros(count, bool)
    gap, bridged = no.copy(), no.copy()
    gap[list(gap_after)] = True
    bridged[list(bridged_after)] = True
    return BoomPath(100 + time, np.full(count, 7.0), 2 * time, time / 1000, 2 * time, gap, bridged, no)


def slots(*spans, on=None):
    on = np.ones((len(spans), 1), bool) if on is None else np.array(on, bool)
    start, end = np.array(spans, float).T
    return Timeline(100 + start, 100 + end, on, np.arange(len(spans)) + 5)


def test_lines_begin_and_end_at_the_moments_of_switching():
    first, second = on_lines(north(9), slots((1.5, 4.0), (5.0, 6.25)), (3.0,))
    assert first.y_m == pytest.approx([3, 4, 6, 8])
    assert second.y_m == pytest.approx([10, 12, 12.5])
    assert first.heading_rad == pytest.approx([0.0015, 0.002, 0.003, 0.004])
    assert (first.travel_m.tolist(), first.x_m.tolist()) == (first.y_m.tolist(), [7.0] * 4)
    assert (first.stretch, second.stretch) == (5, 6)


@pytest.mark.parametrize(
    ("on_s", "off_s", "after"),
    [
        (1.0, 6.0, [0, 0, 1, 0, 0, 0]),  # between the fixes at 3 and 4 s nothing is known
        (3.0, 6.0, [1, 0, 0, 0]),
        (3.5, 6.0, [1, 0, 0, 0]),
        (4.0, 6.0, [0, 0, 0]),
        (1.0, 3.0, [0, 0, 0]),
        (1.0, 3.5, [0, 0, 1, 0]),
        (0.0, 8.0, [0, 0, 0, 1, 0, 0, 0, 0, 0]),
    ],
)
def test_a_gap_is_after_the_fix_that_it_begins_at(on_s, off_s, after):
    for name in ("gap_after", "bridged_after"):
        (found,) = on_lines(north(9, **{name: [3]}), slots((on_s, off_s)), (3.0,))
        assert getattr(found, name).astype(int).tolist() == after
        (other,) = {"gap_after", "bridged_after"} - {name}
        assert not getattr(found, other).any()


def test_open_sections_that_touch_are_one_part():
    """2, 1, 1 and 4 m: offsets from the middle of 8 m."""
    states = [[1, 1, 1, 1], [1, 0, 0, 1], [0, 1, 1, 0], [0, 0, 0, 1]]
    found = on_lines(north(9), slots((0, 1), (1, 2), (2, 3), (3, 4), on=states), (2.0, 1.0, 1.0, 4.0))
    assert [one.offsets_m for one in found] == [
        ((-4.0, 4.0),), ((-4.0, -2.0), (0.0, 4.0)), ((-2.0, 0.0),), ((0.0, 4.0),),
    ]  # fmt: skip


def test_which_moments_are_among_others():
    assert among(np.array([1.0, 2.0, 5.0, 9.0]), np.array([2.0, 9.0])).tolist() == [False, True, False, True]
    assert among(np.array([1.0, 2.0]), np.empty(0)).tolist() == [False, False]


def lines(x, y, heading, gap=()):
    x, y, heading = (np.zeros(len(y)) + one for one in (x, np.asarray(y, float), heading))
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    no = np.zeros(len(y), bool)
    after = no.copy()
    after[list(gap)] = True
    return BoomLines(x, y, heading, travel, after, no, no, ((-2.0, 2.0),), 0)


def test_lines_on_a_straight_way_are_thinned_to_its_ends():
    (found,) = thin([lines(0.0, [0, 1, 2.5, 3, 7, 10], 0.0)], 0.01)
    assert found.y_m.tolist() == [0.0, 10.0]
    first, second = thin([lines(0.0, [0, 1, 2], 0.0), lines(9.0, [0, 1, 2, 3], 0.0, gap=[1])], 0.01)
    assert (first.y_m.tolist(), second.y_m.tolist()) == ([0.0, 2.0], [0.0, 1.0, 2.0, 3.0])


@pytest.mark.parametrize(("off_m", "kept"), [(0.009, False), (0.011, True)])
@pytest.mark.parametrize("how", ["aside", "turned", "turned back", "ahead"])
def test_a_line_stays_when_a_tip_is_off_by_more_than_asked(off_m, kept, how):
    """A centimetre asked for; half a boom of 2 m turned by a two-hundredth moves its tips by as much."""
    x, heading, y = np.zeros(5), np.zeros(5), np.arange(5.0)
    if how == "aside":
        x[2] = off_m
    else:
        heading[2] = {"turned": 1, "turned back": -1, "ahead": 0}[how] * off_m / 2
    one = lines(x, y, heading)
    if how == "ahead":
        one = BoomLines(**{**vars(one), "y_m": y + off_m * (np.arange(5) == 2)})
    (found,) = thin([one], 0.01)
    assert (len(found.y_m) > 2) == kept


def test_the_worst_line_stays_and_the_others_are_held_to_it():
    """A roof: its ridge is kept, and between eaves and ridge nothing."""
    y = np.arange(11.0)
    (found,) = thin([lines(0.5 - np.abs(y - 4) / 10, y, 0.0)], 0.01)
    assert found.y_m.tolist() == [0.0, 4.0, 10.0]


@pytest.mark.parametrize("by_m", [0.25, 1.0, 3.0])
def test_an_outline_moved_outward_keeps_its_corners(by_m):
    """A rectangle of 20 x 10 m with a hole of 8 x 4 m, which keeps its size."""
    field = shapely.box(0, 0, 20, 10).difference(shapely.box(6, 3, 14, 7))
    found = grown(field, by_m)
    assert found.area == pytest.approx((20 + 2 * by_m) * (10 + 2 * by_m) - 8 * 4)
    assert found.bounds == pytest.approx((-by_m, -by_m, 20 + by_m, 10 + by_m))
