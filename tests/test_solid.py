"""Ground that crosses itself by rounding keeps its area."""

import numpy as np
import pytest
import shapely

from coverage_audit import solid as solid_room
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.papers.shapes import degree_shapes
from coverage_audit.solid import JAGGED_FOLDS, near_ways, overlap, shrunk, solid, widened, without

CROSSED_BY_ROUNDING = shapely.Polygon(
    [
        (160.89159337382978, -13.431721843653305),
        (160.8915933749507, -13.431721888143935),
        (160.8915933749507, -13.431721888143898),
        (160.89157122274364, -13.432401888477441),
        (160.8915774300248, -13.432408414179381),
    ]
)
"""A strip of 75 m by 0.6 m whose ring turns back on itself by 4e-14 degrees. [deg]"""


def test_a_ring_that_crosses_itself_in_the_last_digit_loses_no_ground():
    assert not CROSSED_BY_ROUNDING.is_valid
    found = solid(CROSSED_BY_ROUNDING)
    assert found.is_valid
    assert found.area == pytest.approx(CROSSED_BY_ROUNDING.area, rel=1e-6)  # the shoelace formula of the ring


def test_a_hole_stays_a_hole_and_a_bow_tie_keeps_both_its_wings():
    square, hole = [(0, 0), (4, 0), (4, 4), (0, 4)], [(1, 1), (2, 1), (2, 2), (1, 2)]
    spike = [*square[:2], (4, 2), (5, 2), (4, 2), *square[2:]]
    assert solid(shapely.Polygon(spike, [hole])).area == pytest.approx(15.0)
    assert solid(shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])).area == pytest.approx(2.0)


def test_a_strip_told_in_degrees_is_never_empty():
    plane = Plane(PlaneOrigin(160.89, -13.43))
    strip = plane.geometry_to_metres(CROSSED_BY_ROUNDING)
    (shape,) = degree_shapes([strip], plane)
    assert shape.is_valid
    assert plane.geometry_to_metres(shape).area == pytest.approx(strip.area, rel=1e-3)  # corners on a grid of 1 mm


def jagged(corners=1200):
    """A star of *corners* with a hole, and ground beside it that is nearer to it than 12 m."""
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    reach = 50 + 20 * np.random.default_rng(3).random(corners)
    spikes = shapely.Polygon(
        np.column_stack([reach * np.cos(angle), reach * np.sin(angle)]), [[(-9, 0), (9, 0), (0, 9)]]
    )
    assert shapely.length(spikes) * 12.0 > JAGGED_FOLDS * spikes.area
    return shapely.union(spikes, shapely.box(70.5, -40, 110, 40))


@pytest.mark.parametrize("style", [{"join_style": "mitre"}, {"quad_segs": 16}])
def test_jagged_ground_made_smaller_is_what_one_curve_leaves(style):
    """GEOS's own erosion of the whole outline, on spikes few enough for it, is the reference."""
    once = shapely.buffer(jagged(), -12.0, **style)
    found = shapely.symmetric_difference(shrunk(jagged(), 12.0, **style), once)
    assert found.area < 2e-3 * once.area  # GEOS first smooths the curve that it moves by a hundredth of 12 m


def test_jagged_ground_made_larger_is_what_one_curve_makes():
    once = shapely.buffer(jagged(), 12.0, quad_segs=16)
    found = shapely.symmetric_difference(widened(jagged(), 12.0, quad_segs=16), once)
    assert found.area < 2e-3 * once.area


@pytest.mark.parametrize("by_m", [-12.0, 12.0])
def test_jagged_ground_is_never_moved_as_one_curve(by_m, monkeypatch):
    """A pond of 20 000 corners with 20 m round it took more than 20 GB."""
    moved, sizes = shapely.buffer, []

    def seen(lines, *given, **style):
        sizes.extend(np.atleast_1d(shapely.get_num_coordinates(lines)).tolist())
        return moved(lines, *given, **style)

    monkeypatch.setattr(shapely, "buffer", seen)
    (widened if by_m > 0 else shrunk)(jagged(3000), abs(by_m))
    assert max(sizes) < 100
    assert sum(sizes) < 4 * 3000


@pytest.mark.parametrize("style", [{"join_style": "mitre"}, {"quad_segs": 2}])
def test_nothing_is_left_of_a_sliver_with_a_short_side(style):
    """40 cm of ground lie all within 2.25 m of their outline; where a run ends with 2 mm, a flat end faces anywhere."""
    sliver = shapely.Polygon([(0.03766, 0.08825), (0.03729, 0.08608), (-0.3278, -0.00938), (-0.36412, -0.00813)])
    passed = solid_room._passed_over(sliver, 2.25, style)  # noqa: SLF001 - so small it is not shrunk by runs
    assert shapely.difference(sliver, passed).area == 0


def test_ground_that_is_not_jagged_is_made_smaller_as_ever():
    ground = shapely.Point(0, 0).buffer(50, quad_segs=300)
    assert shrunk(ground, 5.0).equals(shapely.buffer(ground, -5.0))


def test_ground_near_a_tangle_of_ways_is_what_one_curve_leaves_a_run_at_a_time(monkeypatch):
    """GEOS takes over a minute for the 9 000 corners of a way that crosses itself by the thousand."""
    rng = np.random.default_rng(27)
    ways = [shapely.LineString(np.cumsum(rng.uniform(-4, 4, (300, 2)), axis=0)) for _ in range(2)]
    wanted = shapely.buffer(shapely.union_all(ways), 1.0)
    moved, sizes = shapely.buffer, []

    def seen(lines, *given):
        sizes.extend(shapely.get_num_coordinates(lines).tolist())
        return moved(lines, *given)

    monkeypatch.setattr(shapely, "buffer", seen)
    found = near_ways(ways, 1.0)
    # circles of 32 corners, begun elsewhere
    assert shapely.symmetric_difference(found, wanted).area < 1e-3 * wanted.area
    assert (len(sizes), max(sizes)) == (20, 33)
    assert near_ways([], 1.0).is_empty


def test_ground_is_overlaid_though_the_last_digit_has_put_a_hole_outside_it():
    """A headland's swath cut a notch and a hole beside it whose common side differs by 1e-15 m (GEOS 3.14.1)."""
    swath = shapely.box(-2.0, -23.6, 1.9, 44.7)
    shell = [(-0.56, 21.62), (1.7, 21.62), (1.7, -23.5), (-2.81, -23.5), (-2.810374353299047, -9.964668963872422)]
    shell += [(-1.0077594911463281, -9.964668604779687), (-1.0077613584662666, 3.572208866754684)]
    shell += [(-2.810379560758278, 3.5722085076621686), (-2.81, 21.62)]
    hole = [(-1.0077613584662666, 3.5722088667546834), (-1.9090704596186225, 3.572208687208426)]
    hole += [(-1.9090669222282435, -9.964668784326054), (-1.0077594911463281, -9.964668604779687)]
    ground = shapely.Polygon(shell, [hole])
    with pytest.raises(shapely.errors.GEOSException):
        shapely.intersection(swath, ground)
    notched = shapely.Polygon(shell)
    assert overlap(swath, ground).area == pytest.approx(shapely.intersection(swath, notched).area, abs=1e-3)
    assert without(swath, ground).area == pytest.approx(shapely.difference(swath, notched).area, abs=1e-3)
