"""Drives that leap, turn back or slide sideways: work stays bounded by the fixes, and both counts still agree."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import boom, job, log

from coverage_audit.drive.model import BoomPath, PlaneOrigin, Timeline
from coverage_audit.drive.plane import Plane
from coverage_audit.edges import crossing_pairs
from coverage_audit.errors import InputError
from coverage_audit.ground import second_count, second_steps
from coverage_audit.ground.boom_lines import thin, thinning_m
from coverage_audit.ground.cuts import cut_times, fine_step_m
from coverage_audit.ground.findings import find_strips
from coverage_audit.ground.model import BoomLines
from coverage_audit.ground.pieces import pieces_of, quad_area
from coverage_audit.ground.second_count import raster_count
from coverage_audit.papers.shapes import degree_shapes
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.drive import drive_of, job_plane


def boom_lines(x, y, heading_rad, width_m=10.0):
    x, y, heading = (np.asarray(one, float) for one in (x, y, heading_rad))
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    no = np.zeros(len(x), bool)
    return BoomLines(x, y, heading, travel, no, no, no, ((-width_m / 2, width_m / 2),), 0)


def leaping_path(count, fixes):
    """A path of *count* points made from *fixes* fixes that leap about within 12 m, the boom on all along."""
    rng = np.random.default_rng(11)
    x, y = rng.uniform(-6, 6, (2, count))
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    heading = np.unwrap(rng.uniform(-np.pi, np.pi, count))
    no = np.zeros(count, bool)
    path = BoomPath(np.arange(count, dtype=float), x, y, heading, travel, no, no, no, fixes)
    return path, Timeline(np.array([0.0]), np.array([count - 1.0]), np.ones((1, 1), bool), np.zeros(1, int))


@pytest.mark.parametrize(("fixes", "most"), [(20, 4_000), (300, 9_000), (5_000, 30_000)])
def test_cuts_are_no_more_than_the_fixes_can_tell(fixes, most):
    path, on = leaping_path(1500, fixes)
    assert 0.9 * most < len(cut_times(path, on, 24.0)) <= most + 3 * 1500


def test_a_path_tells_from_how_many_fixes_it_was_made():
    angle = np.linspace(0, 4 * np.pi, 60)
    fixes = np.column_stack([20 * np.cos(angle), 20 * np.sin(angle)])
    read = job(log(np.arange(60.0), fixes), [(1, 58)], shapely.box(-50, -50, 50, 50))
    path = drive_of(read, job_plane(read)).path
    assert len(path.time_s) > 60
    assert path.fixes == 60


def test_the_second_count_goes_as_far_as_the_boom_before_it_backs():
    """Ahead 10.3 m and back to 5 m with one heading: 10 x 10.3 m2, though no line of the half metre lies there."""
    y = np.concatenate([np.linspace(0, 10.3, 42), np.linspace(10.3, 5, 30)[1:]])
    found = raster_count([boom_lines(np.zeros(71), y, np.zeros(71))], shapely.box(-20, -5, 20, 20), 10.0)
    assert found.covered_m2 == pytest.approx(103, abs=0.2)


def test_the_second_count_sees_a_wide_boom_wag_by_less_than_a_step_of_its_own():
    """Tips of a boom of 100 m that turns about its middle by half a degree sweep two sectors, 50 m long: 21.8 m2."""
    heading = np.radians([0.05, 0.3, 0.55, 0.3, 0.05])
    found = raster_count([boom_lines(np.zeros(5), np.zeros(5), heading, 100.0)], shapely.box(-60, -5, 60, 5), 100.0)
    assert found.covered_m2 == pytest.approx(50**2 * np.radians(0.5), rel=0.02)  # cells of 0.1 m on edges of 50 m


def test_a_narrow_boom_is_thinned_by_no_more_than_its_width_bears():
    """Once round at 2 m with half a metre, by the closed form of the ring 6.283 m2; 3 mm off cost 7e-4 of it."""
    angle = np.linspace(0, 2 * np.pi, 401)
    lines = boom_lines(2 * np.sin(angle), -2 * np.cos(angle), np.pi / 2 - angle, 0.5)
    (kept,) = thin([lines], thinning_m(0.0, 0.5))
    assert len(kept.x_m) < 250
    assert quad_area(kept) == pytest.approx(2 * np.pi * 2 * 0.5, rel=4e-4)  # 0.5 mm: a chord is 0.045 rad long


def test_the_second_count_knows_when_within_a_long_step_ground_was_swept():
    """20 m ahead and 20 m back, one step each: ground at y is swept again 2 (20 - y) m on, as one visit up to 5 pi."""
    lines = boom_lines([0, 0, 0], [0, 20, 0], [0, 0, 0])
    found = raster_count([lines], shapely.box(-20, -5, 20, 25), 10.0)
    assert found.covered_m2 == pytest.approx(200, abs=0.5)  # half a row of cells at each end
    assert found.double_m2 == pytest.approx(10 * (20 - 2.5 * np.pi), abs=10 * 10 * np.pi / 2 / 16)  # half a part


def test_a_bow_tie_over_ground_swept_before_is_its_two_triangles_too():
    """A boom of 10 m turns by a radian, 2 m aside: lines across sweep 20.67 m2, its outline, by GEOS, holds 19.94."""
    lines = boom_lines([0, 2], [0, 0], [-0.5, 0.5])
    (a, b), (d, c) = lines.tips(-5.0), lines.tips(5.0)
    whole = second_steps.Steps(np.array([[a, b, c, d]]), np.zeros(1, int), np.array([[0.0, 2.0]]), np.zeros(1, bool))
    # a whole drive with such a step would hide how much it is
    laid = second_steps.in_short_steps(second_steps.without_ties(whole), 0.1)
    swept = shapely.union_all([shapely.make_valid(shapely.Polygon(one)) for one in laid.corners])
    outline = shapely.make_valid(shapely.Polygon([a, b, c, d]))
    assert not shapely.Polygon([a, b, c, d]).is_valid
    assert swept.area == pytest.approx(outline.area, rel=1e-9)


@pytest.mark.parametrize("inwards", range(4))
def test_a_step_with_a_corner_turned_inwards_is_no_more_than_its_outline(inwards):
    """Found by fuzzing: cut across as it is, its parts folded over each other and 0.06 m2 beyond it."""
    corners = np.roll([[0.0, 0.0], [4.0, 3.0], [0.0, 10.0], [10.0, 0.0]], inwards, axis=0)
    whole = second_steps.Steps(corners[None], np.zeros(1, int), np.array([[0.0, 8.0]]), np.zeros(1, bool))
    laid = second_steps.in_short_steps(second_steps.without_darts(whole), 0.1)
    swept = shapely.polygons(laid.corners)
    outline_m2 = 15 + 15  # of two triangles, by base and height
    assert shapely.union_all(shapely.make_valid(swept)).area == pytest.approx(outline_m2, rel=1e-9)
    assert shapely.area(swept).sum() == pytest.approx(outline_m2, rel=1e-9)  # none over another
    assert (np.diff(laid.travel_m, axis=1) > 0).all()
    assert laid.travel_m[[0, -1], [0, -1]].tolist() == [0.0, 8.0]


@pytest.mark.parametrize("most", [700, 100_000])
def test_parts_of_steps_have_a_most_and_count_the_same(monkeypatch, most):
    """500 m there and back with a boom of 0.05 m: 16 parts to a visit of 0.079 m would be 204 000 of them."""
    laid = []
    cut = second_steps.in_short_steps  # what is counted is the work, not the result

    def counted(*given):
        laid.append(cut(*given))
        return laid[-1]

    monkeypatch.setattr(second_steps, "in_short_steps", counted)
    monkeypatch.setattr(second_steps, "RASTER_MOST_PARTS", most)
    narrow = boom_lines([0, 0, 0], [0, 500, 0], [0, 0, 0], 0.05)
    found = raster_count([narrow], shapely.box(-1, -5, 1, 505), 0.05)
    assert len(laid[0].corners) <= most + 2  # rounded up for each of two steps
    assert found.covered_m2 == pytest.approx(0.05 * 500, rel=0.01)


def test_long_steps_in_many_tiles_are_refused_before_they_are_laid_out(monkeypatch):
    monkeypatch.setattr(second_count, "RASTER_MOST_TILED", 50)
    y = np.tile([0.0, 2000.0], 3)  # 1.94 km along the rows, which lie 14 degrees off
    with pytest.raises(InputError, match=r"spans 1\.94 km, over more ground than one job can"):
        raster_count([boom_lines(np.zeros(6), y, np.zeros(6))], shapely.box(-20, -5, 20, 2005), 10.0)


def test_the_second_count_lays_a_bow_tie_out_as_its_two_triangles():
    """A boom of 40 m in one step whose tips go either way: between its triangles nothing is swept.

    After a long pass north the rows of cells lie 14 degrees off the boom, here between its two lines.
    """
    straight = boom_lines([0, 0], [0, 300], [0, 0], 1.0)
    tie = boom_lines([100, 100], [100, 100.2], np.radians(14) + np.array([-0.25, 0.25]), 40.0)
    found = raster_count([straight, tie], shapely.box(-10, -10, 200, 310), 40.0)
    assert quad_area(tie) == pytest.approx(400 * np.sin(0.5), rel=0.01)  # two triangles, 20 by 20 m; 0.2 m ahead
    assert found.covered_m2 == pytest.approx(300 + quad_area(tie), rel=0.01)  # half a cell along 40 m of edges


@pytest.mark.parametrize("backing", [False, True])
def test_a_track_that_slides_back_with_one_heading_is_cut_where_it_turns(backing):
    """20 m ahead, 8 m back, no reversal told, or all of it: cuts lie half a visit before and after where it turned."""
    y = np.concatenate([np.linspace(0, 20, 21), np.linspace(19, 12, 8)])
    no = np.zeros(len(y), bool)
    path = BoomPath(np.arange(29.0), np.zeros(29), y, np.zeros(29), np.arange(29.0), no | backing, no, no, 29)
    on = Timeline(np.array([0.0]), np.array([28.0]), np.ones((1, 1), bool), np.zeros(1, int))
    cuts = cut_times(path, on, 10.0)
    assert np.abs(cuts - (20 - 2.5 * np.pi)).min() < 0.01  # travel and seconds are one here
    assert np.abs(cuts - (20 + 2.5 * np.pi)).min() < 0.01


def test_the_end_of_a_long_step_before_a_sharp_turn_is_cut_finely():
    """From 30 m straight on into 150 degrees: what lies within 5 pi m before the end of the turn may be met again."""
    y = np.array([0.0, 30.0, 30.5, 31.0, 20.0])
    heading = np.radians([0.0, 0.0, 75.0, 150.0, 150.0])
    travel = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(y)))])
    no = np.zeros(5, bool)
    path = BoomPath(np.arange(5.0), np.zeros(5), y, heading, travel, no, no, no, 5)
    on = Timeline(np.array([0.0]), np.array([4.0]), np.ones((1, 1), bool), np.zeros(1, int))
    within = cut_times(path, on, 10.0) * 30.0  # the first second is the straight step
    assert within.min() == pytest.approx(31.0 - 5 * np.pi, abs=5 * np.pi / 16 + 0.2)


def test_the_second_count_follows_the_tips_of_a_long_boom():
    """A boom of 100 m swings by 1.8 degrees and back, six times over 12 m: its tips go 1.6 m to and fro each time."""
    turned = np.radians(np.tile(np.concatenate([np.linspace(0.1, 1.9, 20), np.linspace(1.9, 0.1, 20)]), 6))
    lines = boom_lines(np.zeros(240), np.linspace(0, 12, 240), turned, 100.0)
    swept = shapely.union_all([piece.polygon for piece in pieces_of(lines)])
    found = raster_count([lines], shapely.box(-60, -20, 60, 40), 100.0)
    assert found.covered_m2 == pytest.approx(swept.area, rel=5e-4)


def test_a_hair_thin_boom_in_a_wide_field_is_counted_in_few_rows(monkeypatch):
    """A millionth of a millimetre in 6 by 6 km: rows of a millimetre would be crossed 16 million times."""
    rows = []
    count = second_count._fill_outline  # noqa: SLF001 - what is counted is the work, not the result

    def counted(edges, frame):
        rows.append(frame[3])
        return count(edges[:0], frame)

    monkeypatch.setattr(second_count, "_fill_outline", counted)
    y = np.linspace(0, 70, 50)
    raster_count([boom_lines(np.zeros(50), y, np.zeros(50), 1e-9)], shapely.box(-3000, -3000, 3000, 3000), 1e-9)
    assert sum(rows) < 5_000_000


def test_a_step_whose_tips_change_sides_counts_as_its_two_triangles():
    """10 m on with the boom turned about: the tips' ways cross half-way, 2 x (10 x 5 / 2) = 50 m2."""
    lines = boom_lines([0, 0], [0, 10], [0, np.pi])
    assert quad_area(lines) == pytest.approx(50, abs=1e-9)
    assert sum(piece.polygon.area for piece in pieces_of(lines)) == pytest.approx(50, abs=1e-9)


def test_what_is_no_strip_is_never_less_than_nothing():
    """Strips that are the whole ground leave nothing, not the rounding of their sum (-2e-9 m2 here)."""
    corners = [(4857.756658403091, 2877.8096434697404), (1647.477907439461, 5093.701377721341)]
    corners += [(-647.6233641032113, 1768.6676093944302), (2562.6553868604187, -447.22412485716933)]
    assert find_strips(shapely.Polygon(corners), 0.3, "M")[1] == 0


def test_ground_thinner_than_the_grid_of_degrees_still_has_a_place():
    (found,) = degree_shapes([shapely.box(0, 0, 50, 2e-6)], Plane(PlaneOrigin(100.0, 60.0)))
    assert found.is_valid
    assert not found.is_empty
    assert found.bounds == pytest.approx((100.0, 60.0, 100.0009, 60.0), abs=1e-4)


def test_only_edges_that_cross_within_both_are_counted():
    """Ten lines by ten: 100 crossings. Lines that touch at an end, or end before the other, do not cross."""
    level = [shapely.LineString([(-1, k), (10, k)]) for k in range(10)]
    upright = [shapely.LineString([(k, -1), (k, 10)]) for k in range(10)]
    touching = [shapely.LineString([(0.5, 3), (0.5, 3.5)]), shapely.LineString([(20, 0), (30, 10), (30, 0)])]
    assert crossing_pairs(np.array([*level, *touching, *upright]), 1000) == 100
    assert crossing_pairs(np.array([*level, *upright]), 5) > 5


def whirling(seconds, drift_m_s=0.0):
    """A figure of eight in 4 by 2 m every 6 s, 9 m of boom on all along, over a field of 4 m square."""
    times = np.arange(float(seconds))
    turn = times / 19 * 6 * np.pi
    fixes = np.column_stack([2 * np.sin(turn) + drift_m_s * times, 2 * np.sin(turn) * np.cos(turn)])
    return job(log(times, fixes), [(0, seconds - 1)], shapely.box(-2, -2, 2, 2), boom=boom(9.0))


def test_whirling_on_the_spot_is_refused_before_it_is_noded():
    """For five minutes, a tenth of a metre on each second: a machine that stands is taken as standing."""
    with pytest.raises(InputError, match=r"swept the same ground over and over.* worst about -41\.\d+, -70\.\d+ \(lat"):
        audit_job(whirling(300, drift_m_s=0.1))


def test_a_boom_that_turns_about_a_place_within_it_is_counted():
    """Three figures of eight: each step's own triangles were 0.9 million crossings."""
    checks = audit_job(whirling(19)).checks
    assert checks.ok
    assert checks.raster_covered_m2 == pytest.approx(16.0, abs=1e-3)  # all of it, however often


def test_a_way_of_no_length_is_no_line_that_map_programs_refuse():
    (found,) = degree_shapes([shapely.LineString([(0, 0), (1e-9, 0), (0, 0)])], Plane(PlaneOrigin(-70.5, -41.2)))
    assert (found.geom_type, found.is_empty) == ("Point", False)  # a standing machine has a place, and no way
    assert found.is_valid


def test_a_boom_whose_every_step_is_a_gap_swept_nothing():
    lines = boom_lines([0.0, 0.0, 0.0], [0.0, 5.0, 10.0], np.zeros(3))
    field = shapely.box(-20, -5, 20, 20)
    found = raster_count([replace(lines, gap_after=np.array([True, True, False]))], field, 10.0)
    # cells of 0.05 m or less along the outline: the field's 1000 m2 within one row of them
    assert (found.covered_m2, found.double_m2) == (0.0, 0.0)
    assert found.missed_m2 == pytest.approx(1000.0, abs=0.05 * field.length)


def spiral(step_m, growth_m=0.3, first_m=13.95, laps=1.5):
    """Boom lines of 60 m along a spiral whose lap grows past the travel of one visit, 94.2 m, within its second lap."""
    angle = np.linspace(0, laps * 2 * np.pi, round(laps * 2 * np.pi * first_m / step_m) + 1)
    radius = first_m + growth_m * angle
    lines = boom_lines(radius * np.sin(angle), radius * np.cos(angle), angle + np.pi / 2, 60.0)
    # of the spiral itself, so that chords are no shorter: with so slow a growth its radius is what is driven a radian
    return replace(lines, travel_m=first_m * angle + growth_m * angle**2 / 2)


@pytest.mark.parametrize("step_m", [2.5, 0.5])
def test_the_border_of_a_second_visit_is_as_sharp_in_a_garden_under_a_wide_boom(step_m):
    """Swept again after more or less than 94.2 m: the border lies within the garden, wherever fixes happen to lie.

    The boom pivots about a place within it, so that every step is a bow-tie. A lap that begins at an angle a from north
    is 2 pi 13.95 + 0.3 (2 pi a + 2 pi^2) long, the travel of a visit 30 pi: a = 0.359.
    """
    garden = shapely.box(-20, 20, 20, 38)
    angle = (30 - 2 * 13.95 - 0.6 * np.pi) / 0.6
    swept_again = 18 * 20 - np.tan(angle) * (38**2 - 20**2) / 2  # east of that line through the middle
    # a part sweeps 1e-3 of the garden; without parts a step of half a metre is 4 m2 off
    assert raster_count([spiral(step_m)], garden, 60.0).double_m2 == pytest.approx(swept_again, abs=1e-3 * garden.area)


def test_a_narrow_boom_that_sways_is_counted_as_it_goes():
    """Half a metre of boom, 5 cm to either side each 20 cm: beside its middle way it sweeps triangles."""
    along = 0.05 * np.arange(600)
    lines = boom_lines(0.05 * np.sin(np.pi / 2 * np.arange(600)), along, np.zeros(600), 0.5)
    beside = shapely.box(0.25, -1, 1, along[-1] + 1)
    swept = 0.1 * 0.05 / 2 * 150
    found = raster_count([lines], beside, 0.5)
    assert found.covered_m2 == pytest.approx(swept, abs=1e-4 * beside.area)  # half a metre at a time 0.022 m2 less


@pytest.mark.parametrize(
    ("noise_m", "width_m", "within_m"),
    [(0.0, 9.0, 0.003), (0.02, 9.0, 0.02), (0.5, 9.0, 0.02), (0.02, 3.0, 0.0075), (0.02, 0.5, 0.00125)],
)
def test_noise_allows_no_more_thinning_than_the_boom_bears(noise_m, width_m, within_m):
    assert thinning_m(noise_m, width_m) == pytest.approx(within_m)


@pytest.mark.parametrize(("field_m2", "apart_m"), [(10_000.0, 0.15), (1000.0, 0.05), (40.0, 12.4 / 300)])
def test_cuts_lie_as_close_as_a_small_field_asks_up_to_so_many(field_m2, apart_m):
    """Ahead and back with 3 m: 12.4 m of it about the turn are cut, more than the travel of a visit to either side."""
    y = np.concatenate([np.linspace(0, 20, 81), np.linspace(20, 12, 33)[1:]])
    travel = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(y)))])
    no = np.zeros(len(y), bool)
    path = BoomPath(travel, np.zeros(len(y)), y, np.zeros(len(y)), travel, no, no, no, len(y))
    on = Timeline(np.array([0.0]), travel[-1:], np.ones((1, 1), bool), np.zeros(1, int))
    cuts = cut_times(path, on, 3.0, fine_step_m(field_m2, 3.0))
    assert np.median(np.diff(cuts)) == pytest.approx(apart_m, rel=0.06)  # half a visit is a whole number of them


def test_the_smallest_field_of_a_job_says_how_close_cuts_lie(monkeypatch):
    """A garden of 20 by 20 m beside a large field, sprayed there and back with 3 m: as for the garden alone."""
    y = np.concatenate([np.linspace(1, 19, 73), np.linspace(19, 5, 57)[1:]])
    points = np.column_stack([np.full(len(y), 10.0), y])
    asked = []

    def seen(path, timeline, width_m, fine_m, coarser, cut=cut_times):
        asked.append(fine_m)
        return cut(path, timeline, width_m, fine_m, coarser)

    monkeypatch.setattr("coverage_audit.ground.boom_lines.cut_times", seen)
    whole = job(log(np.arange(len(y)), points), [(0, len(y) - 1)], shapely.box(0, 0, 20, 20), boom=boom(3.0))
    other = job(log(np.arange(len(y)), points), [(0, len(y) - 1)], shapely.box(30, 0, 230, 100)).boundary
    assert audit_job(replace(whole, boundary=(*other, *whole.boundary))).checks.ok
    assert asked[0] == pytest.approx(1.5e-4 * 400 / 3.0, rel=1e-4)
