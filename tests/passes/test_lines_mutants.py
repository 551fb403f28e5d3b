"""Lines of passes by hand and by GEOS: distances, best lines, steering, directions, places of switching."""

import math

import numpy as np
import pytest
import shapely

from coverage_audit.passes.ab_lines import axial_mean, find_families, mean_directions
from coverage_audit.passes.cross_track import beside, best_line, cross_track_m
from coverage_audit.passes.legs import Leg
from coverage_audit.passes.model import Fixed, Spacing, Span
from coverage_audit.passes.pass_ground import area_in, lap_pieces
from coverage_audit.passes.steering import (
    Driven,
    Neighbours,
    deviations,
    driven_passes,
    find_neighbours,
    judge,
    spacings,
)
from coverage_audit.passes.switching import boom_over, inside_headland, place_at, switched

# --- distances -------------------------------------------------------------------------------------


@pytest.mark.parametrize("forward", [True, False])
def test_distances_and_feet_are_those_of_geos(forward):
    """Random lines that always go forward, and ones that turn back; places abreast of them and beyond their ends."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        corners = rng.uniform(-50, 50, (9, 2))
        corners = corners[np.argsort(corners[:, 0])] if forward else corners
        corners = np.insert(corners, 4, corners[4], axis=0)  # a place told twice is no segment
        # near the line: each place is abreast of the segment that it is nearest to, as places beside a pass are
        line = shapely.LineString(corners)
        at = rng.uniform(-0.05, 1.05, 30) * line.length
        places = shapely.get_coordinates(shapely.line_interpolate_point(line, np.clip(at, 0, line.length)))
        places = places + (rng.uniform(-0.2, 0.2, (30, 2)) if forward else rng.uniform(-30, 30, (30, 2)))
        away, along, side = beside(places, corners)
        points = shapely.points(places)
        assert away == pytest.approx(shapely.distance(line, points), abs=1e-9)
        if forward:
            assert along == pytest.approx(shapely.line_locate_point(line, points), abs=1e-6)
        assert set(side.tolist()) <= {-1.0, 0.0, 1.0}


def test_right_of_a_line_is_positive():
    line = shapely.LineString([(0, 0), (0, 10), (10, 20)])
    places = np.array([(2.0, 5.0), (-3.0, 5.0), (0.0, 7.0), (1.0, -1.0), (5.0, 17.0), (13.0, 20.0)])
    assert cross_track_m(places, line) == pytest.approx([2.0, -3.0, 0.0, math.sqrt(2), -math.sqrt(2), 3.0])
    assert beside(places, np.array(line.coords))[1] == pytest.approx(
        [5, 5, 7, 0, 10 + 6 * math.sqrt(2), 10 + 10 * 2**0.5]
    )


# --- best lines --------------------------------------------------------------------------------------


def test_a_straight_pass_has_the_line_of_least_squares():
    """Places swing evenly about a line that is askew to their ends; it reaches 25 m beyond both."""
    along = np.arange(0, 101.0)
    off = 0.3 * np.sin(along) + 0.01 * along
    angle = 0.6
    ahead, right = np.array([math.sin(angle), math.cos(angle)]), np.array([math.cos(angle), -math.sin(angle)])
    places = along[:, None] * ahead + off[:, None] * right + [7.0, -3.0]
    line, curved = best_line(places)
    slope, level = np.polyfit(along, off, 1)
    truth = [(s * ahead + (level + slope * s) * right + [7.0, -3.0]) for s in (-10.0, 50.0, 110.0)]
    assert cross_track_m(np.array(truth), line) == pytest.approx(np.zeros(3), abs=5e-3)  # squares about another chord
    assert (curved, line.length) == (False, pytest.approx(100 * math.hypot(1, slope) + 50, abs=0.02))
    ends = np.array(line.coords)
    assert (ends[-1] - ends[0]) @ ahead > 0


@pytest.mark.parametrize(
    ("sagitta", "wander", "count", "curved"),
    [(1.2, 0.0, 60, True), (0.95, 0.0, 60, False), (-1.2, 0.0, 60, True), (1.2, 0.0, 25, True), (1.2, 0.0, 24, False),
     (1.5, 0.65, 60, False), (1.5, 0.3, 60, True)],
)  # fmt: skip
def test_a_pass_is_curved_when_it_bows_by_a_metre_and_more_than_it_wanders(sagitta, wander, count, curved):
    """A parabola of that sagitta over 200 m has a scatter of 0.298 of it; the wander, a swing, is added by squares."""
    unit = np.linspace(-1, 1, count)
    swing = wander * math.sqrt(2) * np.sin(np.arange(count) * 2.5)
    places = np.column_stack([sagitta * (1 - unit**2) + swing, 100 * unit])
    line, told = best_line(places)
    assert told == curved
    if curved and not wander:
        assert np.abs(cross_track_m(places, line)).max() < 0.01  # chords of 2 m
        assert line.length == pytest.approx(250, abs=0.1)
        assert np.hypot(*np.diff(shapely.get_coordinates(line), axis=0).T)[1:-1].max() < 2.1


# --- steering ---------------------------------------------------------------------------------------


def northward(number, x_m, start_s=0.0, block=1, length_m=100.0, south_m=0.0, swing_m=0.0):
    """A pass driven north at 1 m/s, a place a metre."""
    at = np.arange(length_m + 1)
    x = x_m + swing_m * (-1.0) ** np.arange(len(at))
    return Driven(number, block, 0.0, start_s + at, np.column_stack([x, south_m + at]), at)


def test_passes_are_taken_where_they_sprayed():
    """10 Hz at 2.5 m/s: a place every 2 m is every eighth fix; sprayed from 4 s to 20 s."""
    time = np.arange(0, 30, 0.1)
    on = (time >= 3.95) & (time <= 20.05)
    spans = [Span("turn", 0.0, 2.0), Span("straight", 2.0, 24.0, 3, 90.0), Span("straight", 24.0, 24.15, 3, 90.0),
             Span("straight", 25.0, 28.0, 3, None)]  # fmt: skip
    (found,) = driven_passes(Fixed(time, 2.5 * time, 0 * time, 0.0, on), spans)
    assert (found.number, found.block, found.direction_rad) == (1, 3, pytest.approx(math.pi / 2))
    assert (found.time_s[0], found.time_s[-1]) == (pytest.approx(4.0), pytest.approx(20.0))
    assert np.diff(found.along_m) == pytest.approx(np.full(len(found.along_m) - 1, 2.0))
    assert found.along_m[0] == 0.0
    assert found.xy_m[:, 0] == pytest.approx(10 + found.along_m)
    (unlogged,) = driven_passes(Fixed(time, 2.5 * time, 0 * time, 0.0, None), spans)
    assert (unlogged.time_s[0], unlogged.time_s[-1]) == (pytest.approx(2.0), pytest.approx(23.6))
    never = driven_passes(Fixed(time, 2.5 * time, 0 * time, 0.0, np.zeros(len(time), bool)), spans)
    assert never[0].time_s[0] == pytest.approx(2.0)


def test_deviation_takes_the_noise_off_by_its_square():
    """A swing of 0.5 m about the line: mean 0, root mean square 0.5, of which 0.3 m are noise: 0.4 m."""
    ((found, curved, off),) = deviations([northward(0, 3.0, swing_m=0.5, length_m=1000)], 0.3)
    assert not curved
    assert (found.rms_logged_m, found.rms_m, found.sd_m, found.p95_m) == pytest.approx((0.5, 0.4, 0.4, 0.5), abs=2e-3)
    assert (found.mean_m, len(off)) == (pytest.approx(0.0, abs=1e-3), 1001)
    ((quiet, _, _),) = deviations([northward(0, 3.0, swing_m=0.2)], 0.3)
    assert (quiet.rms_m, quiet.sd_m) == (0.0, 0.0)


def test_neighbours_are_the_nearest_on_either_side():
    """Boom 10 m: at 0, 9, 19 and 30 m; 2 m beside another is the same pass again, 27 m off none, a block apart none."""
    passes = [northward(k, x) for k, x in enumerate((9.0, 30.0, 0.0, 19.0, 21.0, 57.0))]
    found = find_neighbours([*passes, northward(6, 40.0, block=2)], 10.0)
    assert [(one.left, one.right, round(one.apart_m, 6)) for one in found] == [
        (0, 3, 10.0), (0, 4, 12.0), (2, 0, 9.0), (3, 1, 11.0), (4, 1, 9.0),
    ]  # fmt: skip
    assert find_neighbours(passes[:1], 10.0) == []


@pytest.mark.parametrize(
    ("apart_m", "shift_m", "told"),
    [(3.1, 0, True), (2.9, 0, False), (25.9, 0, True), (26.1, 0, False), (9, 91.9, True), (9, 92.1, False),
     (9, -91.9, True)],
)  # fmt: skip
def test_neighbours_run_side_by_side_and_not_too_far_apart(apart_m, shift_m, told):
    """From 0.3 to 2.6 booms apart, and abreast for 8 m."""
    found = find_neighbours([northward(0, 0.0), northward(1, apart_m, south_m=shift_m)], 10.0)
    assert [(one.left, one.right) for one in found] == ([(0, 1)] if told else [])


def test_spacing_is_told_along_the_later_pass():
    """The later pass 9.5 m right of the one before, which is 20 m shorter at its end and begins 10 m later."""
    before = northward(4, 0.0, length_m=70, south_m=10)
    later = northward(7, 9.5, start_s=600.0)
    (found,) = spacings([later, before], [Neighbours(1, 0, 9.5)], 10.0, 0.3)
    assert (found.number, found.neighbour) == (7, 4)
    assert found.distance_m == pytest.approx(np.full(69, 9.5))
    assert found.at_m.tolist() == list(range(11, 80))
    assert found.apart_s == pytest.approx(np.full(69, 610.0))
    assert found.scatter_m == pytest.approx(0.3 * math.sqrt(1 + 2 / 3))
    assert len(spacings([later, before], [Neighbours(1, 0, 16.0)], 10.0, 0.3)) == 1
    assert spacings([later, before], [Neighbours(1, 0, 16.1)], 10.0, 0.3) == []


def test_where_a_pass_bends_away_it_is_no_neighbour():
    xy = northward(1, 9.0).xy_m.copy()
    xy[60:, 0] += np.arange(41) * 0.5  # beyond 16 m from the fifteenth place on
    bent = Driven(1, 1, 0.0, 600 + np.arange(101.0), xy, np.arange(101.0))
    (found,) = spacings([northward(0, 0.0), bent], [Neighbours(0, 1, 9.0)], 10.0, 0.0)
    assert found.distance_m.max() == pytest.approx(16.0)
    assert found.at_m[-1] == 74


def spaced(mean_m, sd_m, apart_s, count=4):
    swing = sd_m * (-1.0) ** np.arange(count)
    return Spacing(1, 0, np.arange(count), mean_m + swing, np.full(count, float(apart_s)), 0.3)


def test_steering_of_a_job_by_hand():
    """Spacings of 9, 9.2, 9.4 and 9.6 m an hour apart: 0.2 m an hour; half of them within a quarter of an hour."""
    found = [spaced(9.0, 0.5, 900), spaced(9.2, 0.5, 300), spaced(9.4, 0.5, 3600), spaced(9.6, 0.5, 7200)]
    told = judge([12.0], [np.array([0.5, -0.5]), np.array([0.1, 0.7])], found, np.arange(4) * 3600.0, 0.3)
    assert told.ab_heading_deg == (12.0,)
    assert told.spacing_mean_m == pytest.approx(9.3)
    assert told.spacing_sd_logged_m == pytest.approx(math.sqrt(0.25 + 0.05))
    assert told.spacing_sd_m == pytest.approx(math.sqrt(0.3 - 0.09))
    assert told.pass_to_pass_sd_m == pytest.approx(math.sqrt(0.25 + 0.01 - 0.09))
    assert told.long_term_sd_m == pytest.approx(math.sqrt(0.25 + 0.01 - 0.09))
    assert told.drift_m_h == pytest.approx(0.2)
    assert told.cross_track_mean_m == pytest.approx(0.2)
    assert told.cross_track_rms_logged_m == pytest.approx(0.5)
    assert told.cross_track_rms_m == pytest.approx(0.4)
    assert told.cross_track_sd_m == pytest.approx(math.sqrt(0.25 - 0.04 - 0.09))
    assert told.cross_track_p95_m == pytest.approx(0.67)  # 0.5, 0.5, 0.7 and 0.1: 0.85 of the way from 0.5 to 0.7
    assert told.noise_m == 0.3
    few = judge([], [], found[:3], np.arange(3) * 3600.0, 0.3)
    assert (few.drift_m_h, few.cross_track_mean_m, few.cross_track_sd_m, few.cross_track_p95_m) == (None,) * 4
    assert judge([], [], [spaced(9, 0.5, 1, count=2)], np.zeros(1), 0.3).spacing_mean_m is None
    assert judge([], [], [spaced(9, 0.5, 1, count=3)], np.zeros(1), 0.3).spacing_mean_m is not None
    assert judge([], [], found, np.zeros(4), 0.3).drift_m_h is None


# --- directions -----------------------------------------------------------------------------------------


def leg(direction_deg, length_m):
    return Leg(0, 1, 0.0, 0.0, math.radians(direction_deg), length_m)


def test_directions_are_the_same_both_ways():
    assert axial_mean(np.array([179.0, 1.0]), np.ones(2)) % 180 == pytest.approx(0.0, abs=1e-9)
    assert axial_mean(np.array([10.0, 40.0]), np.array([1.0, 0.0])) == pytest.approx(10.0)
    assert axial_mean(np.array([80.0, 100.0, 95.0]), np.array([1.0, 1.0, 0.0])) == pytest.approx(90.0)


def test_legs_fall_into_directions_the_most_driven_first():
    """Three at 30 degrees either way, two at 120, one at 70 of a fourteenth; the headland has none."""
    legs = [leg(120, 80), leg(30, 100), leg(-152, 100), leg(31, 100), leg(-57, 60), leg(70, 30), leg(30, 500)]
    family, directions = find_families(legs, np.array([False] * 6 + [True]))
    assert family == [1, 0, 0, 0, 1, -1, -1]
    assert directions[0] == pytest.approx(29.67, abs=0.01)
    assert directions[1] == pytest.approx((120 * 80 + 123 * 60) / 140, abs=0.01)


@pytest.mark.parametrize(("off_deg", "length_m", "family"), [(7.9, 5, 0), (8.1, 5, -1), (40, 87, 1), (40, 86, -1)])
def test_a_direction_takes_its_legs_within_eight_degrees_and_needs_its_share(off_deg, length_m, family):
    """1 000 m at 30 degrees; 87 m of 1 087 are 8.0 %."""
    found, _ = find_families([leg(30, 1000), leg(30 + off_deg, length_m)], np.zeros(2, bool))
    assert found == [0, family]


def drive_of(angles_deg, bent_deg=0.0):
    """Passes of 200 places one after the other, whose first and last twentieth bends."""
    time, x, y, spans = [], [], [], []
    for k, angle in enumerate(angles_deg):
        at = np.arange(200.0)
        turn = np.radians(angle + bent_deg * ((at < 10) | (at > 190)))
        time.append(1000.0 * k + at)
        x.append(np.cumsum(np.sin(turn)))
        y.append(np.cumsum(np.cos(turn)))
        spans.append(Span("straight", 1000.0 * k, 1000.0 * k + 200, 1, 30.0))
    return Fixed(*(np.concatenate(one) for one in (time, x, y)), 0.0, None), spans


def test_a_direction_is_told_by_the_fixes_without_ends_and_strays():
    """Four at 30 and one at 34 degrees, which has no say; ends that bend away have none either."""
    fixed, spans = drive_of([30, 30.01, 29.99, 30, 34], bent_deg=20)
    assert mean_directions(fixed, spans, [30.0]) == pytest.approx([30.0], abs=0.01)
    fixed, spans = drive_of([30, 31, 29, 30.5, 29.5])
    assert mean_directions(fixed, spans, [30.0]) == pytest.approx([30.0], abs=0.01)
    assert mean_directions(fixed, spans, [31.0]) == []


def test_the_direction_driven_longest_comes_first():
    fixed, spans = drive_of([100, 10, 10])
    spans = [
        Span("straight", one.start_s, one.end_s, 1, way) for one, way in zip(spans, (99.0, 11.0, 11.0), strict=True)
    ]
    assert mean_directions(fixed, spans, [99.0, 11.0]) == pytest.approx([10.0, 100.0])


# --- ground and pieces ----------------------------------------------------------------------------------


def test_ground_in_cells_by_hand():
    """Parts inside a cell, across two and beyond all."""
    cells = np.array([shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)])
    ground = shapely.MultiPolygon([shapely.box(1, 1, 3, 3), shapely.box(8, 4, 13, 6), shapely.box(30, 0, 40, 10)])
    assert area_in(cells, ground).tolist() == [8.0, 6.0]
    assert area_in(cells, shapely.Polygon()).tolist() == [0.0, 0.0]
    assert len(area_in(cells[:0], ground)) == 0


@pytest.mark.parametrize(("length_m", "count"), [(40, 1), (149, 1), (151, 2), (260, 3)])
def test_a_lap_is_cut_in_equal_pieces_of_about_a_hundred_metres(length_m, count):
    line = shapely.LineString([(0, 0), (0, 20), (length_m - 20, 20)])
    pieces = lap_pieces(line)
    assert [piece.length for piece in pieces] == pytest.approx([length_m / count] * count)
    assert shapely.line_merge(shapely.union_all(pieces)).equals(line)


# --- switching ------------------------------------------------------------------------------------------


def test_the_ground_of_passes_is_within_the_headland():
    """100 x 60 m with a lap 5 m in and a boom of 10 m: 80 x 40 m; a sliver of 4 m beyond is none of it."""
    lap = shapely.box(5, 5, 95, 55).exterior
    target = shapely.box(0, 0, 100, 60)
    inner = inside_headland(target, [lap], 10.0)
    assert inner.symmetric_difference(shapely.box(10, 10, 90, 50)).area < 1.0
    assert inside_headland(target, [], 10.0).equals(target)
    for wide, kept in ((4.9, False), (5.1, True)):
        ground = inside_headland(shapely.union(target, shapely.box(200, 0, 200 + wide, 100)), [], 10.0)
        assert (ground.bounds[2] > 150) == kept


def test_the_boom_is_asked_for_from_its_first_nozzle_s_crossing_to_its_last():
    """North along x = 0 over ground from y = 20 to a slanted edge; 5 % of 10 m is left out at the tips."""
    line = shapely.LineString([(0, 0), (0, 100)])
    slanted = shapely.Polygon([(-30, 20), (30, 20), (30, 90), (-30, 30)])  # its edge rises by one a metre: 60 at x = 0
    assert boom_over(line, slanted, 10.0) == pytest.approx(np.array([[20.0, 60 + 4.75]]))
    two = shapely.union(shapely.box(-30, 10, 30, 40), shapely.box(-30, 60, 30, 80))
    assert boom_over(line, two, 10.0) == pytest.approx(np.array([[10.0, 40.0], [60.0, 80.0]]))
    beside_it = shapely.union(shapely.box(-30, 10, -1, 40), shapely.box(1, 35, 30, 80))
    assert boom_over(line, beside_it, 10.0) == pytest.approx(np.array([[10.0, 80.0]]))
    apart = shapely.union(shapely.box(-30, 10, -1, 90), shapely.box(1, 35, 30, 80))
    assert boom_over(line, apart, 10.0) == pytest.approx(np.array([[10.0, 90.0]]))
    assert boom_over(line, shapely.box(20, 0, 30, 90), 10.0).shape == (0, 2)


@pytest.mark.parametrize(("long_m", "told"), [(1.04, False), (1.06, True)])
def test_a_bit_of_ground_below_the_boom_is_none(long_m, told):
    """Two metres of half a boom, 10 m2; the boom without its tips is 9.5 m: 1.05 m long."""
    line = shapely.LineString([(0, 0), (0, 100)])
    assert len(boom_over(line, shapely.box(-30, 50, 30, 50 + long_m), 10.0)) == told


@pytest.mark.parametrize(
    ("on_off", "wanted"),
    [
        ([(110, 190)], (110, 190)),
        ([(86, 214)], (86, 214)),  # within 15 s of the pass
        ([(85, 215)], (None, None)),
        ([(50, 120), (130, 150), (160, 190)], (None, 190)),
        ([(50, 100), (200, 250)], (None, None)),  # before and after it
        ([(100, 200)], (100, 200)),
    ],
)
def test_switchings_belong_to_the_pass_that_they_begin_or_end(on_off, wanted):
    fixed = Fixed(np.arange(0, 400.0), np.zeros(400), np.arange(0, 400.0), 0.0, None)
    assert switched(fixed, np.array(on_off, float), 100.0, 200.0) == wanted


def test_an_end_of_the_log_is_no_switching():
    fixed = Fixed(np.arange(95.0, 206.0), np.zeros(111), np.arange(111.0), 0.0, None)
    assert switched(fixed, np.array([[95.0, 205.0]]), 100.0, 200.0) == (None, None)
    assert switched(fixed, np.array([[96.0, 204.0]]), 100.0, 200.0) == (96.0, 204.0)
    assert place_at(fixed, shapely.LineString([(3, -10), (3, 200)]), 105.5) == pytest.approx(20.5)
