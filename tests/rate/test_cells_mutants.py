"""The rate surface on a few outlines: cells against GEOS, quadrilaterals by hand, bounds at their edges."""

import numpy as np
import pytest
import shapely

from coverage_audit.errors import TooFineError
from coverage_audit.rate import cells as rate_cells_room
from coverage_audit.rate import surface as rate_surface_room
from coverage_audit.rate.cells import grid_over, pieces_about, spread, spread_sloped
from coverage_audit.rate.quads import Laid, density, uncrossed
from coverage_audit.rate.surface import laid_by_cell, rate_cells, rate_surface
from coverage_audit.units import HECTARE_M2

OUTLINES = (
    shapely.Polygon([(-10.3, -5.1), (40.2, 3.7), (-3.4, 33.9)]),  # over many tiles, on both sides of the origin
    shapely.Polygon([(2, 3), (5, 3), (5, 7), (2, 7)]),  # along lines of the grid
    shapely.Polygon([(30.2, 10.25), (36.9, 10.3), (36.8, 10.6), (30.3, 10.4)]),  # within one row, across two tiles
    shapely.Polygon([(-0.5, 20.25), (-0.25, 20.25), (-0.25, 29.5), (-0.5, 29.5)]),  # within one column
)


def rings(shapes, *, turned=False):
    """Edges of the outlines, anticlockwise unless *turned*, and the number of each edge's outline."""
    found = [shapely.get_coordinates(shape)[:-1] for shape in shapely.orient_polygons(np.array(shapes))]
    found = [ring[::-1] if turned else ring for ring in found]
    begin = np.concatenate(found)
    end = np.concatenate([np.roll(ring, -1, axis=0) for ring in found])
    return begin, end, np.repeat(np.arange(len(found)), [len(ring) for ring in found])


def grid_of(shapes):
    bounds = np.floor([shape.bounds for shape in shapes]).astype(int)
    return grid_over(bounds[:, [1, 0]], bounds[:, [3, 2]])


def boxes(grid):
    row, column = (one.astype(int) for one in grid.place(np.arange(grid.size)))
    return shapely.box(column, row, column + 1, row + 1)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("at_once", [200_000, 40])
def test_cells_get_their_share_of_every_outline(monkeypatch, turned, at_once):
    """Amounts 2, 3, 0 and 5 a cell, by GEOS cell by cell; clockwise outlines count the other way round."""
    monkeypatch.setattr(rate_cells_room, "CUTS_AT_ONCE", at_once)
    grid = grid_of(OUTLINES)
    amount = np.array([2.0, 3.0, 0.0, 5.0])
    begin, end, owner = rings(OUTLINES, turned=turned)
    sense = -1.0 if turned else 1.0
    found = spread(grid, begin, end, sense * amount[owner])
    cell = boxes(grid)
    exact = sum(
        one * shapely.area(shapely.intersection(cell, shape)) for one, shape in zip(amount, OUTLINES, strict=True)
    )
    assert found == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("at_once", [200_000, 40])
def test_cells_get_the_integral_of_a_slope_over_every_outline(monkeypatch, at_once):
    """A linear density integrates to area times its value at the centroid; by GEOS, cell by cell."""
    monkeypatch.setattr(rate_cells_room, "CUTS_AT_ONCE", at_once)
    grid = grid_of(OUTLINES)
    level = np.array([[1.0, 0.5, -0.25], [2.0, -1.0, 0.0], [0.0, 0.0, 3.0], [4.0, 0.5, 0.5]])
    begin, end, owner = rings(OUTLINES)
    litres, sweeps = spread_sloped(grid, begin, end, level[owner].T, np.array([1.0, 1.0, 2.0, 0.0])[owner])
    cell = boxes(grid)
    exact = np.zeros((2, grid.size))
    for (even, east, north), swept, shape in zip(level, (1.0, 1.0, 2.0, 0.0), OUTLINES, strict=True):
        parts = shapely.intersection(cell, shape)
        middle = shapely.centroid(parts)
        there = np.zeros((grid.size, 2))
        there[~shapely.is_empty(middle)] = shapely.get_coordinates(middle)
        value = even + there @ [east, north]
        exact += shapely.area(parts) * np.array([value, np.full(grid.size, swept)])
    assert litres == pytest.approx(exact[0], abs=1e-8)
    assert sweeps == pytest.approx(exact[1], abs=1e-9)


def test_nothing_is_laid_beyond_the_last_column():
    """A square cut along a line of the grid: its right edge counts into the column before the line."""
    begin, end, _ = rings([shapely.box(28.5, 0.25, 32.0, 2.0)])
    grid = grid_over(np.array([[0, 28]]), np.array([[1, 31]]))
    found = spread(grid, begin, end, np.ones(4), np.full(4, 31))
    row, column = grid.place(np.arange(grid.size))
    told = np.zeros((2, 5))
    np.add.at(told, (row[found > 0], column[found > 0] - 28), found[found > 0])
    assert told.tolist() == [[0.375, 0.75, 0.75, 0.75, 0], [0.5, 1, 1, 1, 0]]


def test_an_edge_is_cut_at_every_line_it_crosses_and_no_more():
    """3.5 cells east and 2.5 south: 6 lengths of a cell and three for its ends."""
    assert pieces_about(np.array([[3.5, -2.5], [-0.25, 0.0]])).tolist() == [9.0, 3.25]


# --- grid -----------------------------------------------------------------------------------------


def test_a_grid_holds_the_tiles_touched_and_finds_each_cell():
    """Boxes of 2 x 3 tiles and of one tile, far apart, one of them south-west of the origin."""
    grid = grid_over(np.array([[-40, -70], [64, 31], [64, 31]]), np.array([[-1, -1], [95, 32], [70, 31]]))
    assert grid.tiles.tolist() == [[-2, -3], [-2, -2], [-2, -1], [-1, -3], [-1, -2], [-1, -1], [2, 0], [2, 1]]
    assert grid.size == 8 * 32 * 32
    row, column = (one.astype(int) for one in grid.place(np.arange(grid.size)))
    assert len({*zip(row.tolist(), column.tolist(), strict=True)}) == grid.size
    assert {*zip((row // 32).tolist(), (column // 32).tolist(), strict=True)} == {*map(tuple, grid.tiles.tolist())}
    assert grid.index(row, column).tolist() == list(range(grid.size))
    some = np.array([5000, 3, 8191, 2500])
    assert grid.index(*(one.astype(int) for one in grid.place(some))).tolist() == some.tolist()
    ones = np.ones(grid.size)
    grid.times_middle(ones)
    assert ones == pytest.approx(column + 0.5)


@pytest.mark.parametrize(
    ("limit", "most", "high"),
    [
        ("MOST_RATE_CELLS", 6 * 1024, (63, 95)),  # 2 x 3 tiles
        ("MOST_TILE_PLACES", 12, (127, 95)),  # 4 x 3 tiles in the box
        ("MOST_TILE_PLACES", 6, (63, 95)),
    ],
)
def test_a_grid_may_just_fill_its_bounds(monkeypatch, limit, most, high):
    low, high = np.zeros((1, 2), int), np.array([high])
    monkeypatch.setattr(rate_cells_room, limit, most)
    assert grid_over(low, high).size == (high[0, 0] + 1) * (high[0, 1] + 1)
    monkeypatch.setattr(rate_cells_room, limit, most - 1)
    with pytest.raises(TooFineError):
        grid_over(low, high)


@pytest.mark.parametrize(
    ("far", "most"),
    [((0, 20 * 32), 20), ((20 * 32, 0), 20), ((5 * 32, 5 * 32), 5)],  # the tables reach to the farthest tile
)
def test_the_tables_of_a_grid_are_bounded_too(monkeypatch, far, most):
    corners = np.array([(0, 0), far])
    monkeypatch.setattr(rate_cells_room, "MOST_TILE_PLACES", most)
    assert grid_over(corners, corners).size == 2 * 1024
    monkeypatch.setattr(rate_cells_room, "MOST_TILE_PLACES", most - 1)
    with pytest.raises(TooFineError):
        grid_over(corners, corners)


# --- cells ------------------------------------------------------------------------------------------


def laid(corners, litres=1.0, cell_m=0.5, point=None):
    corners = np.array(corners, float)
    count = len(corners)
    no = np.zeros(count, bool) if point is None else np.array(point)
    area = shapely.area(shapely.polygons(corners))
    return Laid(corners, np.zeros(count) + litres, area, no, np.arange(count), np.arange(count) + 1.0, cell_m)


def rectangle(west, south, east, north):
    return [(west, south), (west, north), (east, north), (east, south)]


def test_cells_by_hand():
    """Cells of 0.5 m; 2 L on 1 m2, 1 L on 0.5 m2 of which 0.25 m2 lie on the first, 0.5 L on a line in a cell."""
    one, two = rectangle(0, 0, 1, 1), rectangle(0.5, 0.5, 1.5, 1.0)
    line = rectangle(-2.0, -2.0, -1.8, -2.0)
    target = shapely.box(0.25, 0, 10, 0.75)
    cells, litres = rate_cells(laid([one, two, line], [2.0, 1.0, 0.5], point=[False, False, True]), target)
    assert litres == pytest.approx(3.5)
    where = dict(zip(zip(cells.row.tolist(), cells.column.tolist(), strict=True), range(len(cells.row)), strict=True))
    assert set(where) == {(0, 0), (0, 1), (1, 0), (1, 1), (1, 2), (-4, -4)}
    at = [where[spot] for spot in ((0, 0), (1, 1), (1, 2), (-4, -4))]
    assert cells.rate_l_ha[at] / HECTARE_M2 == pytest.approx([2.0, 4.0, 2.0, 2.0])  # 0.5 L in a cell of 0.25 m2
    assert cells.sweeps[at] == pytest.approx([1.0, 2.0, 1.0, 1.0])
    assert cells.swept[at] == pytest.approx([1.0, 1.0, 1.0, 1.0])
    assert cells.in_target[at] == pytest.approx([0.5, 0.5, 0.5, 0.0])
    assert cells.cell_m == 0.5
    assert cells.area_m2(cells.swept[at]) == pytest.approx([0.25] * 4)


def test_part_of_a_cell_has_the_rate_of_that_part():
    """1 L on the half of a cell of 1 m2 is 2 L/m2 there; of the target it is no more than what was swept."""
    cells, _ = rate_cells(laid([rectangle(0, 0, 0.5, 1)], cell_m=1.0), shapely.box(0, 0, 0.8, 1))
    assert cells.rate_l_ha.tolist() == pytest.approx([2 * HECTARE_M2])
    assert (cells.swept.tolist(), cells.in_target.tolist()) == ([0.5], [0.5])
    assert rate_cells(laid([rectangle(0, 0, 5e-7, 1)], cell_m=1.0), shapely.box(0, 0, 1, 1)) == (None, pytest.approx(1))


def test_litres_of_some_quadrilaterals_by_cell():
    row, column, litres = laid_by_cell(laid([rectangle(0, 0, 1, 1)] * 2, [1.0, 4.0]), np.array([False, True]))
    assert sorted(zip(row.tolist(), column.tolist(), strict=True)) == [(0, 0), (0, 1), (1, 0), (1, 1)]
    assert litres == pytest.approx([1.0] * 4)


TARGETS = {
    "hole": shapely.box(-30, -30, 30, 30).difference(shapely.box(2.1, 1.2, 5.3, 4.4)),
    "two fields": shapely.union(shapely.box(-7.3, -3, 2.2, 9), shapely.Polygon([(5, 0), (14.7, 0.3), (9, 12.2)])),
    "two holes": shapely.box(-9.9, -9.9, 9.9, 9.9).difference(
        shapely.union(shapely.Point(0, 0).buffer(2), shapely.box(4, 4, 5, 5))
    ),
    "away": shapely.box(100, 100, 101, 101),
}


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("target", TARGETS.values(), ids=TARGETS)
def test_each_cell_knows_its_part_in_the_target(target, turned):
    """By GEOS, cell by cell, however the rings of the target run."""
    wound = shapely.orient_polygons(target, exterior_cw=turned)
    cells, _ = rate_cells(laid([rectangle(-20, -18, 17, 16)]), wound)
    cell = shapely.box(cells.column / 2, cells.row / 2, (cells.column + 1) / 2, (cells.row + 1) / 2)
    assert len(cell) == 4 * 37 * 34
    assert cells.in_target == pytest.approx(shapely.area(shapely.intersection(cell, target)) * 4, abs=1e-9)


@pytest.mark.parametrize(("most", "fits"), [(4 * 4 + 12, True), (4 * 4 + 11, False)])
def test_cuts_are_bounded(monkeypatch, most, fits):
    """A square of 4 x 4 cells: 4 lengths of a cell on each edge, and 3 for the ends of each."""
    monkeypatch.setattr(rate_surface_room, "MOST_CUTS", most)
    shape = laid([rectangle(0, 0, 2, 2)])
    if fits:
        assert rate_cells(shape, shapely.box(0, 0, 2, 2))[1] == pytest.approx(1.0)
    else:
        with pytest.raises(TooFineError):
            rate_cells(shape, shapely.box(0, 0, 2, 2))


@pytest.mark.parametrize("enough_m", [0.25, 1.0, 4.0, 8.0])
def test_cells_are_doubled_until_they_do(monkeypatch, enough_m):
    tried = []

    def some(steps, parts, cell_m):
        tried.append((steps, parts, cell_m))
        if cell_m < enough_m:
            raise TooFineError
        return laid([rectangle(0, 0, 4, 4)], cell_m=cell_m)

    monkeypatch.setattr(rate_surface_room, "lay", some)
    found = rate_surface("steps", "parts", shapely.box(0, 0, 4, 4))
    assert tried == [("steps", "parts", side) for side in (0.25, 0.5, 1.0, 2.0, 4.0) if side <= enough_m]
    if enough_m > 4:
        assert found is None
    else:
        assert (found[0].cell_m, found[1].cell_m, found[2]) == (enough_m, enough_m, pytest.approx(1.0))


# --- quadrilaterals -----------------------------------------------------------------------------------


def test_the_lobes_of_a_bow_tie_keep_its_step_and_its_speed():
    """Sides that cross half-way: lobes of 1.5 m2 with half each; boom lines that cross: 4 and 9 of 13 L."""
    square = rectangle(5, 5, 7, 7)
    sides = [(0, 0), (3, 2), (0, 2), (3, 0)]
    bars = [(0, 0), (0, 2), (2, 0), (2, 3)]  # the begin runs from (0, 0) to (2, 3), the end from (0, 2) to (2, 0)
    found = uncrossed(laid([sides, square, bars], [6.0, 1.0, 13.0]))
    assert found.step.tolist() == [1, 0, 0, 2, 2]
    assert found.speed_m_s.tolist() == [2.0, 1.0, 1.0, 3.0, 3.0]
    assert found.litres == pytest.approx([1.0, 3.0, 3.0, *sorted(found.litres[3:])])
    assert found.area_m2[1:3] == pytest.approx([1.5, 1.5])
    # they meet where 1.5 x = 2 - x: at 0.8, lobes of 2 x 0.8 / 2 and 3 x 1.2 / 2
    assert sorted(found.area_m2[3:]) == pytest.approx([0.8, 1.8])
    assert sorted(found.litres[3:]) == pytest.approx([4.0, 9.0])
    assert (found.point.any(), found.cell_m) == (False, 0.5)
    whole = shapely.union_all(shapely.polygons(found.corners))
    exact = shapely.union_all(shapely.make_valid(shapely.polygons(np.array([sides, square, bars], float))))
    assert whole.symmetric_difference(exact).area < 1e-9


@pytest.mark.parametrize(("back_m", "line"), [(0.0001, True), (0.00019, True), (0.00021, False), (0.0003, False)])
def test_a_lobe_that_is_but_a_line_is_a_point(back_m, line):
    """A boom of 2 m whose right end goes e back: a lobe e by e, of e^2 / 2, is 0.1 mm of its length at 0.2 mm."""
    found = uncrossed(laid([[(0, 0), (0, 2), (2, -back_m), (2, 0)]]))
    assert found.point.tolist() == [area < 1.0 and line for area in found.area_m2]
    assert sorted(found.area_m2) == pytest.approx([back_m**2 / 2, 2.0], rel=1e-3)


def test_points_are_never_split():
    bow_tie = [(0, 0), (3, 2), (0, 2), (3, 0)]
    assert len(uncrossed(laid([bow_tie], point=[True])).litres) == 1


def test_density_keeps_its_mean_at_the_centroid_wherever_it_lies():
    """Ways of 2 and 3 m, 1 m apart, about any middle and turned: 0.4 of 5 L less for each cell outwards."""
    shape = np.array([(0, 0), (0, 2.0), (1, 2.5), (1, -0.5)])
    for angle in (0.0, 0.7, 2.0, 4.0):
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        corners = shape @ turn.T + [30.0, -20.0]
        ((level, east, north),) = density(corners[None], np.array([5.0]))
        assert np.array([east, north]) == pytest.approx(turn @ [-2.0, 0.0], abs=1e-12)
        centre = shapely.Polygon(corners).centroid
        assert level + east * centre.x + north * centre.y == pytest.approx(5.0)


@pytest.mark.parametrize(("width", "slope"), [(0.11, True), (0.09, False)])
def test_narrow_parts_have_one_rate(width, slope):
    corners = np.array([[(0, 0), (0, 1.0), (width, 1.01), (width, 0)]])
    ((_, east, _),) = density(corners, np.ones(1))
    assert (abs(east) > 1e-6) == slope


def test_a_steep_slope_ends_at_nothing():
    """Some quadrilaterals at random would lay less than nothing in a corner: it is nothing, and their mean stays."""
    corners = np.random.default_rng(8).uniform(-9, 9, (400, 4, 2))
    corners = corners[shapely.is_valid(shapely.polygons(corners))]
    told = density(corners, np.ones(len(corners)))
    least = (told[:, :1] + np.einsum("nkx,nx->nk", corners, told[:, 1:])).min(axis=1)
    assert least.min() > -1e-9
    assert 5 < (least < 1e-9).sum() < len(corners) / 2
    middle = shapely.get_coordinates(shapely.centroid(shapely.polygons(corners)))
    assert told[:, 0] + (middle * told[:, 1:]).sum(axis=1) == pytest.approx(np.ones(len(corners)))


@pytest.mark.parametrize("turn", [0.0, 0.3, 2.0])
def test_parts_that_follow_one_another_share_their_line(turn):
    """Ten in a row, each 1 m and with its own litres: in all, and about the middle of each, as if laid alone."""
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    row = np.array([rectangle(0, 10 * k, 20, 10 * k + 10) for k in range(10)]) @ turned
    cells, litres = rate_cells(laid(row, 100 * np.arange(10.0) + 100, cell_m=1.0), shapely.box(-200, -200, 200, 200))
    assert litres == pytest.approx(5500.0)
    assert cells.sweeps.sum() == pytest.approx(2000.0)
    middles = np.floor(row.mean(axis=1)).astype(int)
    spots = zip(cells.row.tolist(), cells.column.tolist(), strict=True)
    rate = dict(zip(spots, cells.rate_l_ha.tolist(), strict=True))
    told = [rate[north, east] / HECTARE_M2 for east, north in middles.tolist()]
    assert told == pytest.approx(np.arange(10) / 2 + 0.5)
