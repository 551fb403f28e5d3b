"""Ground at the edge of what can be laid out and counted: huge, hair-thin, crossing, at the end of the plane."""

import dataclasses

import numpy as np
import pytest
import shapely
from jobs import boom, drive, job, log
from shapely import affinity

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.edges import near_pairs
from coverage_audit.errors import InputError
from coverage_audit.ground import partition as coverage
from coverage_audit.ground import second_count as raster
from coverage_audit.ground import second_steps
from coverage_audit.ground import target as ground_target
from coverage_audit.ground.model import BoomLines, Ground, Partition, Piece
from coverage_audit.ground.partition import closed_partition
from coverage_audit.ground.second_count import raster_count
from coverage_audit.ground.target import grown, lay_out, sound, sprayed_fields
from coverage_audit.jobs.settings import FieldSettings
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.drive import drive_of, ground_of, job_plane

WIDTH_M = 10.0


def lines(x, y, stretch=0):
    x, y = np.asarray(x, float), np.asarray(y, float)
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    heading = np.unwrap(np.arctan2(np.gradient(x), np.gradient(y)))
    no = np.zeros(len(x), bool)
    return BoomLines(x, y, heading, travel, no, no, no, ((-WIDTH_M / 2, WIDTH_M / 2),), stretch)


def straight(x, y0, y1, stretch=0):
    y = np.linspace(y0, y1, 400)
    return lines(np.full(400, float(x)), y, stretch)


# --- the second count -------------------------------------------------------------------------


def tiles_laid_out(monkeypatch, target, all_lines):
    """Figures of the count, and the cells that were laid out for it."""
    cells = []
    count = raster._count_tile  # noqa: SLF001 - what is counted is the work, not the result

    def counted(steps, near, edges, frame, visit_m):
        cells.append(frame[2] * frame[3])
        return count(steps, near, edges, frame, visit_m)

    with monkeypatch.context() as patch:
        patch.setattr(raster, "_count_tile", counted)
        return raster_count(all_lines, target, WIDTH_M), sum(cells)


def test_cells_laid_out_grow_with_the_ground_swept_and_not_with_the_field(monkeypatch):
    """A pass of 200 m in fields 1, 10 and 60 km square: 2 000 m2 covered, the rest missed."""
    swept = [straight(0, 0, 200), straight(5, 0, 200, 1)]
    most = []
    for km in (1, 10, 60):
        half = km * 500.0
        found, cells = tiles_laid_out(monkeypatch, shapely.box(-half, -half, half, half), swept)
        most.append(cells)
        assert found.covered_m2 == pytest.approx(3000, abs=3)
        assert found.double_m2 == pytest.approx(1000, abs=3)
        assert found.covered_m2 + found.missed_m2 == pytest.approx(4 * half**2, rel=1e-6)
    assert max(most) <= 16 * 1024**2


def test_a_boom_narrower_than_a_cell_is_counted_on_finer_cells():
    """Three passes of a hand's breadth in a plot of 10 x 10 m: 3 x 0.05 x 10 m2."""
    narrow = ((-0.025, 0.025),)
    swept = [dataclasses.replace(straight(x, -1, 11, k), offsets_m=narrow) for k, x in enumerate((3, 5, 7))]
    found = raster_count(swept, shapely.box(0, 0, 10, 10), 0.05)
    assert found.covered_m2 == pytest.approx(1.5, abs=5e-4 * 100)
    assert found.covered_m2 == pytest.approx(1.5, rel=2e-3)
    assert found.covered_m2 + found.missed_m2 == pytest.approx(100, rel=1e-4)


def test_a_garden_is_counted_on_finer_cells():
    """A pass from -1.97 to 8.03 m in 12 x 10 m: cells of 0.1 m would round by more than 5e-4 of it."""
    found = raster_count([straight(3.03, -5, 15)], shapely.box(0, 0, 12, 10), WIDTH_M)
    assert found.covered_m2 == pytest.approx(80.3, abs=1e-4 * 120)
    assert found.covered_m2 + found.missed_m2 == pytest.approx(120, rel=1e-4)


def test_ground_seamed_by_tiles_is_counted_once(monkeypatch):
    """A pass of 700 m crosses tiles of 102.4 m; with other tiles the very same cells are counted."""
    swept = [straight(0, -50, 650), straight(9, 650, -50, 1), lines([-40, 60, 160], [300, 310, 300], 2)]
    target = shapely.box(-30, -30, 200, 600).difference(shapely.Point(0, 300).buffer(20))
    found, _ = tiles_laid_out(monkeypatch, target, swept)
    monkeypatch.setattr(raster, "RASTER_TILE_CELLS", 97)
    again, _ = tiles_laid_out(monkeypatch, target, swept)
    monkeypatch.setattr(raster, "RASTER_TILE_CELLS", 100_000)
    whole, _ = tiles_laid_out(monkeypatch, target, swept)
    assert found == again == whole


def test_rows_between_tiles_are_counted_in_bands(monkeypatch):
    target = shapely.Point(0, 300).buffer(400, quad_segs=64)
    swept = [straight(0, 0, 200)]
    found = raster_count(swept, target, WIDTH_M)
    monkeypatch.setattr(raster, "RASTER_BAND_CROSSINGS", 50)
    assert raster_count(swept, target, WIDTH_M) == found
    assert found.covered_m2 + found.missed_m2 == pytest.approx(target.area, rel=1e-4)


def test_ground_visited_over_a_thousand_times_outside_the_target_is_not_taken_for_inside():
    swept = [straight(0, 0, 2, stretch) for stretch in range(1100)]
    found = raster_count(swept, shapely.box(20, -20, 40, 20), WIDTH_M)
    assert (found.covered_m2, found.double_m2) == (0, 0)


def test_boom_lines_over_more_ground_than_a_job_can_are_refused(monkeypatch):
    monkeypatch.setattr(raster, "RASTER_MAX_TILES", 3)
    with pytest.raises(InputError, match=r"spans 0\.585 km, over more ground than one job can"):
        raster_count([straight(0, 0, 600)], shapely.box(-100, 0, 100, 600), WIDTH_M)


@pytest.mark.parametrize("rise", [0.0, 0.5, 1 / 3, 0.25, 1.0])
def test_a_side_that_keeps_step_with_the_cells_is_not_rounded_one_way(rise):
    """A field of 0.5 ha whose sides go one column aside in so many rows: half a cell of 90 m would be 0.07 % of it."""
    way = shapely.LineString([(5, -10), (5, 100)])
    turn = np.degrees(np.arctan(rise)) - raster.RASTER_TURNS_DEG[0]
    field = affinity.rotate(shapely.box(0, 0, 60.09, 88.94), turn, origin=(0, 0))
    found = raster_count([straight(5, -10, 100)], field, WIDTH_M)
    swept = field.intersection(way.buffer(WIDTH_M / 2, cap_style="flat")).area
    assert found.covered_m2 == pytest.approx(swept, abs=0.5)
    assert found.covered_m2 + found.missed_m2 == pytest.approx(field.area, abs=0.5)  # 1e-4; may differ by 5e-4


# --- the field --------------------------------------------------------------------------------


def test_fields_too_far_apart_for_one_job_are_refused():
    fields = [shapely.box(0, 0, 100, 100), shapely.box(150_000, 0, 150_100, 100)]
    with pytest.raises(InputError, match=r"span 150 km, more than one job can \(limit 100 km\)"):
        lay_out(fields, [], FieldSettings())


def test_an_outline_that_runs_to_and_fro_is_refused():
    """A comb of 100 teeth, each 10 km long."""
    comb = shapely.union_all(
        [shapely.box(0, 0, 1000, 5), *[shapely.box(10 * tooth, 0, 10 * tooth + 5, 12_000) for tooth in range(100)]]
    )
    with pytest.raises(InputError, match=r"outline of the field is 2\d\d\d km long"):
        lay_out([comb], [], FieldSettings())


def zigzag(corners, deep_m):
    """A ground of 100 m by 100 m, its upper edge so many teeth."""
    x = np.linspace(100.0, 0.0, corners)
    return shapely.Polygon([(0, 0), (100, 0), *zip(x, 100 - deep_m * (np.arange(corners) % 2), strict=True)])


def test_a_jagged_outline_is_not_moved_outward_beyond_what_can_be_worked_out(monkeypatch):
    jagged = zigzag(2000, 1.0)
    assert grown(jagged, 0.0).equals(jagged)
    assert grown(jagged, 0.01).equals(shapely.buffer(jagged, 0.01, join_style="mitre"))
    assert grown(zigzag(2000, 1e-5), 30.0).area == pytest.approx(160 * 160, rel=1e-3)
    monkeypatch.setattr(shapely, "buffer", None)  # refused before it takes minutes and gigabytes
    with pytest.raises(InputError, match=r"2003 corners, so jagged .* outward by 30 m"):
        grown(jagged, 30.0)


def test_ground_that_crosses_itself_by_rounding_is_made_valid_in_the_plane():
    bow = shapely.Polygon([(0, 0), (100, 0), (100, 100), (50, 100), (50 + 1e-7, 0 - 1e-7), (50 - 1e-7, 100), (0, 100)])
    assert not bow.is_valid
    assert grown(bow, 0).is_valid
    assert grown(bow, 0).area == pytest.approx(bow.area, abs=1e-3)
    way = shapely.MultiLineString([[(10, 0), (10, 100)]])
    assert sprayed_fields([("a", grown(bow, 0))], way, (), 10.0)[0]


@pytest.mark.parametrize("bad", [np.inf, np.nan])
def test_a_way_that_is_not_made_of_numbers_names_the_settings(bad):
    with np.errstate(invalid="ignore"):
        way = shapely.MultiLineString([[(0, 0), (bad, 10)]])
    with pytest.raises(InputError, match="check antenna_ahead"):
        sprayed_fields([("a", shapely.box(0, 0, 10, 10))], way, (), 10.0)


@pytest.mark.parametrize("bad", [np.inf, -np.inf])
def test_ground_where_the_plane_ends_is_none_of_this_job(bad):
    far = shapely.transform(shapely.box(0, 0, 1, 1), lambda xy: np.where(xy > 0, bad, xy))
    assert sound(far).is_empty
    assert grown(far, 2).is_empty


def test_an_invalid_no_spray_area_is_taken_off():
    cross = shapely.Polygon([(10, 10), (20, 20), (20, 10), (10, 20)])
    ground = lay_out([shapely.box(0, 0, 100, 100)], [cross], FieldSettings())
    assert ground.target.area == pytest.approx(10_000 - 50)


# --- the partition ----------------------------------------------------------------------------


def a_piece(polygon, stretch=0):
    return Piece(polygon, straight(0, 0, 10, stretch), 0, 1, bridged=False)


def whole(field):
    return Ground(field, field, field, shapely.Polygon())


def test_noding_that_fails_in_full_precision_is_done_on_a_grid(monkeypatch):
    grids = []
    real = shapely.union_all

    def failing(shapes, grid_size=None):
        grids.append(grid_size)
        if grid_size is None:
            raise shapely.errors.GEOSException("TopologyException")
        return real(shapes, grid_size=grid_size)

    monkeypatch.setattr(coverage.shapely, "union_all", failing)
    field = shapely.box(0, 0, 100, 100)
    parts = closed_partition([a_piece(shapely.box(0, 0, 10, 100))], whole(field), 10, lambda *_: np.zeros(1), 1000.0)
    assert grids == [None, 1e-6]
    assert parts.area(parts.visits > 0) == pytest.approx(1000)


def test_a_boom_that_sweeps_the_same_ground_over_and_over_is_refused_before_it_is_noded(monkeypatch):
    """45 strips of 100 x 20 m through one middle: each crosses every other four times; hypot(100, 20) = 102 m."""
    noded = []
    monkeypatch.setattr(coverage, "MAX_NEAR_PAIRS", 3000)
    monkeypatch.setattr(coverage.shapely, "union_all", lambda *_, **__: noded.append(1))
    strips = [a_piece(affinity.rotate(shapely.box(0, 40, 100, 60), angle)) for angle in range(0, 180, 4)]
    with pytest.raises(InputError, match=r"over and over \(all within 102 by 102 m\)"):
        closed_partition(strips, whole(shapely.box(0, 0, 100, 100)), 10, lambda *_: np.zeros(1), 1.0)
    assert noded == []


def test_near_pairs_of_a_grid_are_its_crossings():
    """10 lines by 10 lines cross 100 times; each line's own edge is no pair."""
    level = [shapely.LineString([(0, k), (11, k)]) for k in range(1, 11)]
    upright = [shapely.LineString([(k, 0), (k, 11)]) for k in range(1, 11)]
    # lines that stand in one list after another look like neighbours once: the last level and the first upright
    assert near_pairs(np.array(level + upright), 1000) == 99
    assert near_pairs(np.array(level + upright), 5) > 5


def test_pieces_too_thin_to_sweep_a_face_leave_the_field_missed():
    hair = shapely.Polygon([(200, 0), (200, 1), (200, 2), (200, 0)])
    field = shapely.box(0, 0, 100, 100)
    parts = closed_partition([a_piece(hair)], whole(field), 10, lambda *_: np.zeros(1), 0.0)
    assert parts.area(parts.in_target & (parts.visits == 0)) == pytest.approx(10_000)


def test_faces_that_overlap_by_rounding_are_united(monkeypatch):
    def failing(_):
        raise shapely.errors.GEOSException("TopologyException")

    monkeypatch.setattr(shapely, "coverage_union_all", failing)
    faces = np.array([shapely.box(0, 0, 10, 10), shapely.box(10 - 1e-9, 0, 20, 10)], dtype=object)
    one, yes = np.ones(2, int), np.ones(2, bool)
    parts = Partition(faces, np.full(2, 100.0), one, one, one, yes, yes)
    assert parts.union(yes).area == pytest.approx(200)
    assert parts.union(~yes).is_empty


# --- whole jobs -------------------------------------------------------------------------------


@pytest.mark.parametrize("place", [(179.9995, -16.8), (-179.9995, 65.0), (0.0, 87.9)])
def test_a_job_at_the_180th_meridian_or_far_north_adds_up(place):
    """Two passes of 10 m side by side over 100 m in a field 20 x 100 m: all covered once."""
    origin = PlaneOrigin(*place)
    times, points = drive(lambda t: (5.0, 2.0 * t - 20), 70, 1)
    back_times, back = drive(lambda t: (15.0, 2.0 * (t - 100) - 20), 70, 1, start_s=100)
    times, points = np.append(times, back_times), np.vstack([points, back])
    field = shapely.box(0, 0, 20, 100)
    worked = job(log(times, points, origin=origin), [(10, 60), (110, 160)], field, boom=boom(10), origin=origin)
    audit = audit_job(worked)
    assert audit.checks.ok
    assert audit.area_m2.covered == pytest.approx(2000, abs=2)


def test_the_largest_field_is_audited():
    times, points = drive(lambda t: (5.0, 2.0 * t - 20), 70, 1)
    field = affinity.translate(shapely.box(0, 0, 40_000, 40_000), -20_000, -20_000)
    worked = job(log(times, points), [(10, 60)], field, boom=boom(10))
    plane = job_plane(worked)
    ground, _, _ = ground_of(worked, plane, drive_of(worked, plane))
    assert ground.field.area == pytest.approx(1.6e9, rel=1e-4)
    assert audit_job(worked).checks.ok


@pytest.mark.parametrize("wide_m", [1e-9, 1e-3, 0.019])
def test_ground_that_is_a_line_is_refused(wide_m):
    with pytest.raises(InputError, match=r"a strip 200 m long and less than 2 cm wide"):
        lay_out([shapely.box(0, 0, 200, wide_m)], [], FieldSettings())
    with pytest.raises(InputError, match=r"a strip 200 m long"):
        lay_out([shapely.box(0, 0, 200, 50)], [shapely.box(-1, wide_m, 201, 51)], FieldSettings())


def test_no_pieces_leave_all_ground_unvisited():
    """A touch-up that takes nothing is counted, too."""
    field = shapely.box(0, 0, 30, 20)
    parts = coverage.partition([], Ground(field, field, field, shapely.Polygon()), WIDTH_M, None)
    assert parts.area(parts.visits == 0) == pytest.approx(600.0)


def test_sides_of_an_outline_are_moved_outward_one_after_the_other():
    """Of 10 x 5 m by 2 m, against the clock from the west end of the south side: what crosses itself depends on it."""
    (way,) = ground_target._moved_sides(shapely.box(0, 0, 10, 5), 2.0)  # noqa: SLF001 - a count of crossings hides it
    south, east, north, west = [(0, -2), (10, -2)], [(12, 0), (12, 5)], [(10, 7), (0, 7)], [(-2, 5), (-2, 0)]
    found = shapely.get_coordinates(way).reshape(4, 2, 2)
    first = int(np.flatnonzero((found == np.array(south)).all(axis=(1, 2)))[0])
    np.testing.assert_allclose(np.roll(found, -first, axis=0), [south, east, north, west])


def test_a_straight_way_is_one_batch_of_steps_and_a_turn_begins_another_each_eighth():
    """Within an eighth of a circle no cell is swept twice."""
    way = lines(np.zeros(6), np.arange(6.0))
    batches = second_steps._batches  # noqa: SLF001 - more batches than needed change no count and cost time
    assert batches(way).tolist() == [0] * 5
    turning = dataclasses.replace(way, heading_rad=np.radians([0, 0, 90, 90, 180, 180]))
    assert batches(turning).tolist() == [0, 1, 2, 3, 4]  # headings amid the steps: 0, 45, 90, 135, 180 degrees


# --- setbacks and growth ----------------------------------------------------------------------


def test_an_island_in_a_hole_has_a_setback_of_its_own():
    """100 m square with a hole of 60 m square and in it an island of 20 m square, 2 m along every outer ring."""
    island = shapely.box(40, 40, 60, 60)
    field = shapely.box(0, 0, 100, 100).difference(shapely.box(20, 20, 80, 80)).union(island)
    assert lay_out([field], [], FieldSettings(setback_m=2.0)).target.area == pytest.approx(96**2 - 60**2 + 16**2)
    assert lay_out([field], [], FieldSettings()).target.area == pytest.approx(100**2 - 60**2 + 20**2)


def test_growth_moves_every_outer_ring_and_no_hole():
    """The same field grown by 3 m: an island of 26 m square in a hole of 60 m still."""
    field = shapely.MultiPolygon(
        [shapely.box(0, 0, 100, 100).difference(shapely.box(20, 20, 80, 80)), shapely.box(40, 40, 60, 60)]
    )
    assert grown(field, 3.0).area == pytest.approx(106**2 - 60**2 + 26**2)
    assert grown(field, 0.0).equals(field)
