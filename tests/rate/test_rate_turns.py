"""The rate in turns, cells that slope, odd boom lines, and bounds: closed forms and GEOS as truth."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import boom, drive, job, log, worked_job

from coverage_audit.errors import TooFineError
from coverage_audit.jobs.settings import RateSettings, TankSettings
from coverage_audit.papers.page import report_html
from coverage_audit.papers.rate_files import rate_files
from coverage_audit.papers.summary import summary_dict
from coverage_audit.papers.words.cautions import texts
from coverage_audit.rate import cells as rate_cells
from coverage_audit.rate import places as rate_places
from coverage_audit.rate import steps as rate_steps
from coverage_audit.rate import surface as rate_surface
from coverage_audit.rate.cells import grid_over, spread_sloped
from coverage_audit.rate.classes import CLASS_EDGES, class_edges, class_of
from coverage_audit.rate.quads import Laid, cross, density, uncrossed
from coverage_audit.recipe import rate as audit_rate
from coverage_audit.recipe.audit import audit_job
from coverage_audit.units import HECTARE_M2

BIG = shapely.box(-300, -300, 300, 300)


def lap_of(radius_m, width_m, hz, speed_m_s=2.5, rate_l_ha=100.0):
    """One whole lap of a circle with the flow that is right at the boom's centre."""
    lap_s = 2 * math.pi * radius_m / speed_m_s
    turn = speed_m_s / radius_m
    times, points = drive(lambda t: radius_m * np.array([math.sin(t * turn), math.cos(t * turn)]), lap_s + 2, hz)
    flow = rate_l_ha * speed_m_s * width_m * 60 / HECTARE_M2
    on = [(1.0, 1.0 + lap_s)]
    return audit_job(job(log(times, points), on, BIG, boom=boom(width_m), rate=RateSettings(rate_l_ha, flow)))


@pytest.mark.parametrize("hz", [1, 10, 50])
@pytest.mark.parametrize(("radius_m", "width_m"), [(20.0, 12.0), (30.0, 9.0), (15.0, 18.0)])
def test_ground_off_the_rate_on_a_circle(radius_m, width_m, hz):
    """The rate at r from the middle is R / r of the centre's: above 110 % within R / 1.1, below 90 % beyond R / 0.9."""
    bands = lap_of(radius_m, width_m, hz).rate.bands
    above = math.pi * ((radius_m / 1.1) ** 2 - (radius_m - width_m / 2) ** 2)
    below = math.pi * ((radius_m + width_m / 2) ** 2 - (radius_m / 0.9) ** 2)
    assert bands.over_110pct_m2 == pytest.approx(above, abs=3.0)
    assert bands.under_90pct_m2 == pytest.approx(below, abs=3.0)


def test_every_cell_of_a_circle_has_the_rate_of_its_place():
    """R / r to half a per cent, where parts of one rate each would be 2.5 % off at their edges."""
    audit = lap_of(20.0, 12.0, 10)
    assert audit.rate.closure == pytest.approx(1.0, abs=1e-9)
    cells = audit.rate.cells
    x, y = (cells.column + 0.5) * cells.cell_m, (cells.row + 0.5) * cells.cell_m
    whole = cells.sweeps > 0.999
    x, y = x - np.average(x[whole]), y - np.average(y[whole])
    inner = whole & (cells.sweeps < 1.001)
    assert inner.sum() > 20_000
    assert cells.rate_l_ha[inner] == pytest.approx(100 * 20 / np.hypot(x, y)[inner], rel=5e-3)


PLACES = st.integers(-40_000, 40_000).map(lambda thousandth: thousandth / 1000)
SLOPES = st.integers(-300, 300).map(lambda hundredth: hundredth / 100)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(PLACES, PLACES), min_size=3, max_size=3), SLOPES, SLOPES, SLOPES)
def test_cells_get_the_integral_of_a_sloping_density_over_a_triangle(points, level, east, north):
    """Over a polygon a linear density integrates to the area times its value at the centroid; by GEOS, cell by cell."""
    ring = np.array(points)
    triangle = shapely.Polygon(ring)
    if triangle.area < 1e-3:
        return
    low, high = (np.floor(edge).astype(int)[None, ::-1] for edge in (ring.min(axis=0), ring.max(axis=0)))
    grid = grid_over(low, high)
    sense = 1.0 if triangle.exterior.is_ccw else -1.0
    laid = np.repeat([[level], [east], [north]], 3, axis=1) * sense
    litres, sweeps = spread_sloped(grid, ring, np.roll(ring, -1, axis=0), laid, np.full(3, sense))
    row, column = grid.place(np.arange(grid.size))
    parts = shapely.intersection(shapely.box(column, row, column + 1, row + 1), triangle)
    middle = np.nan_to_num(shapely.get_coordinates(shapely.centroid(parts), include_z=False))
    there = np.zeros((grid.size, 2))
    there[~shapely.is_empty(parts)] = middle
    exact = shapely.area(parts) * (level + there @ [east, north])
    assert sweeps == pytest.approx(shapely.area(parts), abs=1e-9)
    assert litres == pytest.approx(exact, abs=1e-8)


def test_edges_cut_in_many_goes_give_the_same(monkeypatch):
    """Memory is bounded by working on some edges at a time."""
    whole = audit_job(worked_job(10.0, rate=RateSettings(100.0, 15.0))).rate
    monkeypatch.setattr(rate_cells, "CUTS_AT_ONCE", 5_000)
    parts = audit_job(worked_job(10.0, rate=RateSettings(100.0, 15.0))).rate
    assert parts.cells.rate_l_ha == pytest.approx(whole.cells.rate_l_ha, rel=1e-9)
    assert parts.closure == pytest.approx(1.0, abs=1e-9)


# --- quadrilaterals ---------------------------------------------------------------------------------


def laid(*corners, litres=1.0):
    corners = np.array(corners, float)
    diagonals = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    area = np.abs(cross(*diagonals)) / 2
    count = len(corners)
    return Laid(corners, np.full(count, litres), area, np.zeros(count, bool), np.arange(count), np.ones(count), 0.25)


SQUARE = [(0, 0), (0, 2), (2, 2), (2, 0)]
DENTED = [(0, 0), (0, 2), (0.5, 0.5), (2, 0)]
SIDES_CROSS = [(0, 0), (3, 2), (0, 2), (2, 0)]
LINES_CROSS = [(0, 0), (0, 2), (2, 0), (2, 3)]


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("bow_tie", [SIDES_CROSS, LINES_CROSS])
def test_a_bow_tie_is_laid_as_its_two_lobes(bow_tie, turned):
    """Both lobes as GEOS noded them, litres by area; what does not cross itself stays as it is."""
    shape = bow_tie[::-1] if turned else bow_tie
    found = uncrossed(laid(SQUARE, shape, DENTED, litres=3.0))
    assert found.litres.sum() == pytest.approx(9.0, rel=1e-12)
    assert found.corners[:2].tolist() == np.array([SQUARE, DENTED], float).tolist()
    lobes = [shapely.Polygon(ring) for ring in found.corners[2:]]
    exact = shapely.get_parts(shapely.make_valid(shapely.Polygon(shape)))
    assert sorted(one.area for one in lobes) == pytest.approx(sorted(one.area for one in exact), rel=1e-12)
    assert shapely.union_all(lobes).symmetric_difference(shapely.union_all(exact)).area < 1e-12
    assert found.litres[2:] / found.area_m2[2:] == pytest.approx(3.0 / found.area_m2[2:].sum(), rel=1e-12)
    assert found.step.tolist() == [0, 2, 1, 1]


def test_the_rate_of_a_part_falls_as_its_way_grows_and_keeps_its_mean():
    """1 m of boom, one end driven 2 m and the other 3 m: mean in the middle, falling by 0.4 of it per metre."""
    corners = np.array([[(0, 0), (0, 2.0), (1, 2.5), (1, -0.5)]])
    ((level, east, north),) = density(corners, np.array([1.0]))
    assert (east, north) == (pytest.approx(-0.4), pytest.approx(0.0, abs=1e-12))
    centre = shapely.Polygon(corners[0]).centroid
    assert level + east * centre.x + north * centre.y == pytest.approx(1.0, rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(PLACES, PLACES), min_size=4, max_size=4))
def test_no_quadrilateral_lays_less_than_nothing_anywhere(points):
    found = uncrossed(laid(points))
    flat = found.area_m2 > 1e-3
    found = found.take(flat)
    if not len(found.litres):
        return
    told = density(found.corners, np.ones(len(found.litres)))
    at_corners = told[:, :1] + np.einsum("nkx,nx->nk", found.corners, told[:, 1:])
    assert at_corners.min() > -1e-6
    cells, litres = rate_surface.rate_cells(found, BIG)
    assert litres == pytest.approx(found.litres.sum(), rel=1e-6)
    assert cells.rate_l_ha.min() >= 0
    assert cells.sweeps.min() > 0


# --- bounds -----------------------------------------------------------------------------------------


def closing(audit):
    cells = audit.rate.cells
    litres = float(cells.rate_l_ha @ cells.area_m2(cells.swept)) / HECTARE_M2
    assert litres == pytest.approx(audit.volume.applied_l, rel=1e-6)
    return audit.rate


def test_ground_too_large_for_fine_cells_is_told_by_coarser_ones(monkeypatch):
    """0.6 ha are 96 000 cells of a quarter of a metre: with 60 000 allowed, 0.5 m; the bands stay what they were."""
    fine = closing(audit_job(worked_job(10.0, rate=RateSettings(100.0, 15.0))))
    monkeypatch.setattr(rate_cells, "MOST_RATE_CELLS", 60_000)
    found = closing(audit_job(worked_job(10.0, rate=RateSettings(100.0, 15.0))))
    assert (fine.cells.cell_m, found.cells.cell_m) == (0.25, 0.5)
    assert found.bands.over_110pct_m2 == pytest.approx(fine.bands.over_110pct_m2, abs=1.0)
    assert [one for one in texts(found.cautions, "metric") if "cells of 0.5 m" in one]
    assert not fine.cautions


@pytest.mark.parametrize(
    ("room", "limit", "most"),
    [(rate_cells, "MOST_RATE_CELLS", 500), (rate_steps, "MOST_QUADS", 5), (rate_surface, "MOST_CUTS", 50)],
)
def test_ground_too_large_for_any_cell_has_no_surface_and_says_so(monkeypatch, room, limit, most):
    monkeypatch.setattr(room, limit, most)
    limits = RateSettings(100.0, 15.0, label_max_l_ha=90.0, tank=TankSettings(tank_l=20.0))
    audit = audit_job(worked_job(10.0, rate=limits))
    found = audit.rate
    assert (found.cells, found.max_l_ha, found.closure, found.tank, found.places) == (None, None, None, None, ())
    assert found.bands.over_110pct_m2 is None
    assert audit.volume.over_swept_l_ha == pytest.approx(100.0, rel=1e-3)
    assert audit_rate.NO_SURFACE in audit.cautions


@pytest.mark.parametrize(
    "boxes",
    [
        ([(0, 0)], [(40_000_000, 40_000_000)]),  # one box of ten thousand kilometres
        ([(0, 0), (400_000, 0)] * 2, [(1, 1), (400_001, 400_000_000)] * 2),
        ([(k * 64, k * 64) for k in range(9000)], [(k * 64, k * 64) for k in range(9000)]),  # far apart on a slant
    ],
)
def test_a_grid_that_would_not_fit_is_refused_before_it_is_made(boxes):
    with pytest.raises(TooFineError):
        grid_over(*(np.array(corner) for corner in boxes))


def test_nothing_swept_is_no_surface():
    nothing = laid(SQUARE).take(np.zeros(1, bool))
    assert rate_surface.rate_cells(nothing, BIG) == (None, 0.0)


def test_spray_along_lines_alone_keeps_its_litres():
    """A boom that only points lay: ground of no width."""
    line = dataclasses.replace(laid([(0, 0), (0, 2), (0, 2), (0, 0)]), point=np.ones(1, bool))
    cells, litres = rate_surface.rate_cells(line, BIG)
    assert litres == 1.0
    assert cells.rate_l_ha.tolist() == [HECTARE_M2 / 0.0625]


# --- classes ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("about", [5e-324, 1e-300, 1.0, 1e300])
def test_classes_of_rates_tiny_and_huge(about):
    edges = class_edges(about)
    rates = np.array([0.0, about * 0.6, about, about * 1.2, about * 2.5, 1.7e308])
    if about < 1e-320:
        rates = np.array([0.0, 1.7e308])
    found = class_of(rates, edges)
    assert found[0] == 0
    assert found[-1] == len(CLASS_EDGES) - 2
    if about > 1e-320:
        assert found.tolist() == [0, 1, 3, 4, 7, 7]


@pytest.mark.parametrize("about", [3.0, 100.0, 187.3])
def test_classes_begin_at_their_edges(about):
    """Just below an edge is the class below, at it (and a millionth under, by rounding) the class above."""
    edges = class_edges(about)
    for number, edge in enumerate(edges[1:-1], 1):
        assert class_of(np.array([edge * (1 - 1e-4), edge, edge * (1 + 1e-4)]), edges).tolist() == [
            number - 1,
            number,
            number,
        ]


# --- places and papers ------------------------------------------------------------------------------


def test_a_place_of_wide_bounds_is_drawn_the_same(monkeypatch):
    """Two passes and the overlap between them, drawn from a picture and run by run."""
    limits = RateSettings(100.0, 15.0, label_max_l_ha=150.0)
    plain = audit_job(worked_job(10.0, rate=limits)).rate.places
    monkeypatch.setattr(rate_places, "MOST_PLACE_CELLS", 10)
    other = audit_job(worked_job(10.0, rate=limits)).rate.places
    assert len(plain) == len(other) >= 1
    for one, two in zip(plain, other, strict=True):
        assert one.polygon.symmetric_difference(two.polygon).area < 0.05 * one.area_m2


@pytest.mark.parametrize("axle_m", [-0.5, -0.01, 5.0])
def test_no_dose_is_negative_however_the_boom_swings(axle_m):
    """An axle far from the antenna throws the boom about at every turn: bow-ties and all."""
    swung = boom(10.0, axle_behind_antenna_m=axle_m)
    audit = audit_job(worked_job(1.0, boom=swung, rate=RateSettings(100.0, 15.0, label_max_l_ha=90.0)))
    cells = audit.rate.cells
    assert cells.rate_l_ha.min() >= 0
    assert np.isfinite(cells.rate_l_ha).all()
    assert audit.rate.closure == pytest.approx(1.0, abs=1e-9)
    assert min(audit.area_m2.proven, audit.area_m2.covered, audit.rate.standing_l) >= 0


def test_every_paper_is_written_without_a_surface_too(monkeypatch):
    monkeypatch.setattr(rate_cells, "MOST_RATE_CELLS", 500)
    audit = audit_job(worked_job(1.0, rate=RateSettings(100.0, 15.0, label_max_l_ha=90.0)))
    told = summary_dict(audit)
    assert (told["rate_max_l_ha"], told["volume_l"]["closure"], told["rate_classes"]) == (None, None, [])
    assert told["volume_l"]["applied"] == pytest.approx(60.0, rel=1e-6)
    assert told["above_label_max_small_m2"] is None
    assert rate_files(audit) == {}
    assert "too large" in report_html(audit)


def test_the_page_tells_the_size_of_its_cells(monkeypatch):
    monkeypatch.setattr(rate_cells, "MOST_RATE_CELLS", 60_000)
    assert "Means over cells of 0.5\u00a0m." in report_html(audit_job(worked_job(1.0, rate=RateSettings(100.0, 15.0))))


def test_two_parts_that_end_on_one_line_both_keep_their_litres():
    """A boom that comes back to the line it left: the line is shared by one of the two alone."""
    second, third = [(-3, 0), (0, 2), (2, 2), (3, 0)], [(0, 2), (0, 5), (2, 5), (2, 2)]
    shapes = laid(SQUARE, second, third)
    cells, litres = rate_surface.rate_cells(shapes, BIG)
    assert litres == pytest.approx(3.0, rel=1e-12)
    assert cells.sweeps.sum() * 0.0625 == pytest.approx(shapes.area_m2.sum(), rel=1e-12)
