"""Places above the label's most on a few cells, by hand: which cells belong together, their outline, their cause."""

import dataclasses

import numpy as np
import pytest
import shapely
from scipy import ndimage

from coverage_audit.drive.model import Timeline
from coverage_audit.rate import places as rate_places
from coverage_audit.rate.model import RateCells
from coverage_audit.rate.places import cell_outline, connected, places_above
from coverage_audit.rate.quads import Laid
from coverage_audit.rate.steps import SprayLines, Steps
from coverage_audit.units import HECTARE_M2


def in_order(mask, south=0, west=0):
    row, column = np.nonzero(mask)
    return row + south, column + west


# --- which cells belong together --------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.35, 0.5, 0.6, 0.75])
def test_cells_that_share_a_side_belong_together(share):
    """As SciPy labels them, on random ground; a corner joins nothing."""
    for seed in range(8):
        mask = np.random.default_rng(seed).random((23, 31)) < share
        row, column = in_order(mask, -7, -40)
        found = connected(row, column)
        truth = ndimage.label(mask)[0][mask]
        assert len({*zip(found.tolist(), truth.tolist(), strict=True)}) == truth.max() == found.max() + 1
        assert found.min() == 0


def test_a_spiral_is_one_place():
    """A way that winds inwards, one cell wide: its runs touch only at their ends."""
    lap = [
        "#########",
        "........#",
        "#######.#",
        "#.....#.#",
        "#.###.#.#",
        "#.#...#.#",
        "#.#####.#",
        "#.......#",
        "#########",
    ]
    row, column = in_order(np.array([[one == "#" for one in line] for line in lap]))
    assert set(connected(row, column).tolist()) == {0}


# --- outlines ---------------------------------------------------------------------------------------


BLOCKS = {
    "box": [(0, 0, 8, 6)],
    "corner": [(0, 0, 12, 6), (0, 6, 5, 14)],
    "ring": [(0, 0, 20, 5), (0, 15, 20, 20), (0, 5, 5, 15), (15, 5, 20, 15)],
    "two rings": [(0, 0, 40, 5), (0, 15, 40, 20), (0, 5, 5, 15), (15, 5, 20, 15), (35, 5, 40, 15)],
}


@pytest.mark.parametrize("most", [50_000_000, 1])
@pytest.mark.parametrize("blocks", BLOCKS.values(), ids=BLOCKS)
def test_the_outline_of_blocks_is_that_of_their_boxes(monkeypatch, blocks, most):
    """By GEOS, from a picture and run by run, wherever the cells lie; sides of 5 cells are kept as they are."""
    monkeypatch.setattr(rate_places, "MOST_PLACE_CELLS", most)
    mask = np.zeros((20, 40), bool)
    for west, south, east, north in blocks:
        mask[south:north, west:east] = True
    found = cell_outline(*in_order(mask, -13, 100), 0.5)
    exact = shapely.union_all([shapely.box(*block) for block in blocks])
    exact = shapely.transform(exact, lambda xy: (xy + np.array([100, -13])) * 0.5)
    assert found.symmetric_difference(exact).area < 1e-9
    assert found.is_valid


def test_staircases_are_drawn_as_slanted_lines():
    """Half a square of 20 cells along its diagonal: steps of a cell lie within three quarters of one of the slant."""
    mask = np.tri(20, dtype=bool)
    found = cell_outline(*in_order(mask), 2.0)
    assert shapely.get_num_coordinates(found) < 10
    assert found.area == pytest.approx(210 * 4, rel=0.1)
    low = np.arange(400) // 100  # steps of a cell up in a hundred: a slant too
    stairs = np.zeros((5, 400), bool)
    for row in range(5):
        stairs[row, low >= row - 1] = True
    assert shapely.get_num_coordinates(cell_outline(*in_order(stairs), 1.0)) < 12


@pytest.mark.parametrize(("most", "pictured"), [(4 * 5, True), (4 * 5 - 1, False)])
def test_places_of_wide_bounds_are_drawn_without_a_picture(monkeypatch, most, pictured):
    """2 x 3 cells with a margin of one all round are 4 x 5."""
    monkeypatch.setattr(rate_places, "MOST_PLACE_CELLS", most)
    drawn = []
    monkeypatch.setattr(rate_places, "_run_by_run", lambda *given: drawn.append(given) or shapely.box(0, 0, 1, 1))
    cell_outline(*in_order(np.ones((2, 3), bool)), 1.0)
    assert len(drawn) == (not pictured)


# --- places and their causes --------------------------------------------------------------------------


def cells(rates, swept=1.0, row=0):
    """Cells of 1 m, from the rate of each place in a row; 0 is no cell."""
    rates = np.array(rates, float)
    column = np.flatnonzero(rates)
    part = np.zeros(len(column)) + swept
    return RateCells(1.0, np.full(len(column), row), column, rates[column], part, part)


def laid(*spans, point=False, speed_m_s=1.0):
    """Spray (west, east, L/ha[, row]) on rows 1 m high, each in a step of its own."""
    rows = [(west, east, sum(row)) for west, east, _, *row in spans]
    corners = np.array([[(west, y), (west, y + 1), (east, y + 1), (east, y)] for west, east, y in rows], float)
    area = corners[:, 2, 0] - corners[:, 0, 0]
    litres = area * [one[2] for one in spans] / HECTARE_M2
    count = len(spans)
    return Laid(corners, litres, area, np.full(count, point), np.arange(count), np.zeros(count) + speed_m_s, 1.0)


def steps(time_s, pace_m_s, slot=None):
    """Steps of 1 s from each time on, one after the other, at the centre's *pace_m_s*."""
    count = len(time_s)
    time = np.repeat(np.array(time_s, float), 2) + np.tile([0.0, 1.0], count)
    travel = np.repeat(np.arange(count) * 100.0, 2) + np.tile([0.0, 1.0], count) * np.repeat(pace_m_s, 2)
    zero = np.zeros(2 * count)
    slots = np.zeros(2 * count, int) if slot is None else np.repeat(slot, 2)
    lines = SprayLines(time, zero, zero, zero, travel, zero, zero, slots, zero > 1)
    first = np.arange(0, 2 * count, 2)
    return Steps(lines, first, first + 1, zero[:count], zero[:count] > 1)


TIMES = Timeline(np.array([0.0, 20.0, 40.0]), np.array([20.0, 30.0, 50.0]), np.ones((3, 1), bool), np.array([0, 0, 1]))


def above(cells_, laid_, limit_l_ha=100.0, time_s=None, pace_m_s=None, slot=None):
    count = len(laid_.litres)
    way = steps(time_s or [10.0] * count, np.full(count, 1.0) if pace_m_s is None else pace_m_s, slot)
    return places_above(cells_, limit_l_ha, laid_, way, TIMES)


def test_places_are_named_by_falling_area_and_small_ones_totalled():
    """1, 3 and 2 cells above 100 L/ha, of 0.9 m2 each: 0.9 m2 is too small to name; at the limit is not above it."""
    found, small = above(cells([150, 0, 200, 110, 140, 100, 300, 120.0, 100.00005], 0.9), laid((0, 9, 50.0)))
    assert [one.id for one in found] == ["A1", "A2"]
    assert [one.area_m2 for one in found] == pytest.approx([2.7, 1.8])
    assert [one.mean_l_ha for one in found] == pytest.approx([150.0, 210.0])
    assert [one.max_l_ha for one in found] == [200.0, 300.0]
    assert [one.cause for one in found] == ["overlap", "overlap"]
    assert [one.polygon.bounds for one in found] == [(2, 0, 5, 1), (6, 0, 8, 1)]
    assert small == pytest.approx(0.9)
    assert above(cells([100.0, 100.0]), laid((0, 2, 50.0))) == ((), 0.0)


def test_a_square_metre_is_named_and_so_many_places_only(monkeypatch):
    found, small = above(cells([150, 0, 150, 0, 150]), laid((0, 5, 50.0)))
    assert ([one.area_m2 for one in found], small) == ([1.0, 1.0, 1.0], 0.0)
    assert [one.polygon.bounds[0] for one in found] == [0, 2, 4]
    monkeypatch.setattr(rate_places, "MOST_RATE_PLACES", 2)
    found, small = above(cells([150, 0, 150, 0, 150]), laid((0, 5, 50.0)))
    assert (len(found), small) == (2, 1.0)


@pytest.mark.parametrize(
    ("rate_l_ha", "part_m_s", "centre_m_s", "time_s", "slot", "cause"),
    [
        (150.0, 1.0, 1.0, 10.0, 0, "slow-down"),
        (150.0, 1.0, 1.49, 10.0, 0, "slow-down"),
        (150.0, 1.0, 1.51, 10.0, 0, "turn"),
        (150.0, 1.0, 1.5, 10.0, 0, "turn"),
        (150.0, 1.0, -1.51, 10.0, 0, "turn"),
        (150.0, 1.0, 1.0, 3.9, 0, "start"),
        (150.0, 1.0, 1.0, 4.0, 0, "slow-down"),
        (150.0, 1.0, 1.51, 3.9, 0, "turn"),
        (150.0, 1.0, 1.0, 23.0, 1, "slow-down"),  # the stretch began with the slot before
        (150.0, 1.0, 1.0, 43.0, 2, "start"),
        (100.0, 1.0, 1.0, 10.0, 0, "overlap"),  # one sweep alone is within the limit
        (100.1, 1.0, 1.0, 10.0, 0, "slow-down"),
    ],
)
def test_one_sweep_too_much_has_its_cause(rate_l_ha, part_m_s, centre_m_s, time_s, slot, cause):
    """150 L/ha where the part went 1 m/s would be 100 at the 1.5 m/s of the boom's centre: a turn from there on."""
    shape = laid((0, 3, rate_l_ha), speed_m_s=part_m_s)
    (found,), _ = above(
        cells([150.0] * 3), shape, time_s=[time_s], pace_m_s=np.array([centre_m_s]), slot=np.array([slot])
    )
    assert found.cause == cause


def test_spray_on_a_line_is_judged_by_the_cell_it_wets():
    """0.02 L on a line are 200 L/ha of a cell of 1 m2: a turn, as a part that stands lays nothing straight on."""
    line = laid((0, 1, 200.0), point=True)
    (found,), _ = above(cells([200.0]), line)
    assert found.cause == "turn"
    (found,), _ = above(cells([200.0]), line, limit_l_ha=199.0)
    assert found.cause == "turn"
    ((found,), _) = above(cells([500.0]), line, limit_l_ha=201.0)
    assert found.cause == "overlap"


def moved(cells_, laid_, row, column):
    """The same ground elsewhere."""
    there = RateCells(cells_.cell_m, cells_.row + row, cells_.column + column, cells_.rate_l_ha, *[cells_.swept] * 2)
    return there, dataclasses.replace(laid_, corners=laid_.corners + np.array([column, row]))


@pytest.mark.parametrize(("row", "column"), [(0, 0), (7, 100), (-7, -100), (-3, 5), (4, -2)])
def test_what_laid_most_is_the_cause_and_each_place_has_its_own(row, column):
    """Three cells: 120 by one slow sweep and 160 by two that are no excess; three cells: 160 of 280 by the slow one.

    Beside and above them lies a slow sweep on cells that are not above the limit, which counts for neither.
    """
    ground = cells([280.0] * 3 + [0] + [280.0] * 3)
    beside = [(7, 12, 110.0), (-5, 0, 110.0), *[(0, 3, 110.0, 1)] * 8]
    spray = laid(
        (0, 3, 120.0), (0, 3, 80.0), (0, 3, 80.0), (4, 7, 160.0), (4, 7, 60.0), (4, 7, 60.0), *beside
    )  # fmt: skip
    found, _ = above(*moved(ground, spray, row, column))
    assert [(one.polygon.bounds[:2], one.cause) for one in found] == [
        ((column, row), "overlap"),
        ((column + 4, row), "slow-down"),
    ]


def test_spray_beyond_the_place_does_not_count():
    """A slow sweep whose greater part lies on cells that are not above the limit, west, east and north of the place."""
    ground = cells([0, 0, 0, 300.0, 300.0], row=0)
    spray = laid((0, 3, 110.0), (5, 9, 110.0), (3, 5, 90.0))
    (found,), _ = above(ground, spray)
    assert found.cause == "overlap"
    (found,), _ = above(ground, laid((0, 9, 160.0)))
    assert found.cause == "slow-down"
    (found,), _ = above(cells([0, 0, 0, 300.0, 300.0], row=1), laid((0, 9, 160.0)))
    assert found.cause == "overlap"
