"""Strips: opening, splitting at necks, middle lines and widths of shapes with known sizes."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.ground.findings import find_strips, holes_apart, open_and_split
from coverage_audit.ground.middle_line import middles
from coverage_audit.solid import overlap, without


def strips_of(ground, least=0.3):
    return find_strips(ground, least, "M")


def middle_of(polygon):
    (one,) = middles(np.array([polygon], dtype=object))
    return one


@settings(max_examples=40, deadline=None)
@given(st.floats(4, 300), st.floats(0.35, 3.0), st.floats(0, 180))
def test_straight_strip_has_its_length_and_width_at_any_angle(length, width, angle):
    strip = shapely.affinity.rotate(shapely.box(0, 0, length, width), angle, origin=(0, 0))
    if length < 2 * width:
        return
    (found,), rest = strips_of(strip)
    assert found.area_m2 == pytest.approx(length * width, rel=1e-6)
    assert rest == pytest.approx(0, abs=1e-6 * length * width)
    assert found.length_m == pytest.approx(length, rel=0.02)
    assert found.max_width_m == pytest.approx(width, rel=0.02)
    wanted = (90 - angle) % 180
    assert min(abs(found.orientation_deg - wanted), 180 - abs(found.orientation_deg - wanted)) < 1


def test_wedge():
    """A triangle 60 m long that tapers from 2 m: inscribed circle of diameter 4 A / perimeter."""
    wedge = shapely.Polygon([(0, -1), (60, 0), (0, 1)])
    perimeter = 2 + 2 * math.hypot(60, 1)
    found = middle_of(wedge)
    assert found.max_width_m == pytest.approx(4 * wedge.area / perimeter, rel=0.03)
    assert found.line.length == pytest.approx(60, rel=0.01)


@pytest.mark.parametrize("radius", [6.0, 15.0])
def test_crooked_strip_is_as_long_as_its_middle_line(radius):
    """Three quarters of a ring, 0.8 m wide: 1.5 pi R long."""
    arc = np.linspace(0, 1.5 * math.pi, 200)
    line = shapely.LineString(radius * np.column_stack([np.cos(arc), np.sin(arc)]))
    ring = line.buffer(0.4, cap_style="flat")
    found = middle_of(ring)
    assert found.line.length == pytest.approx(1.5 * math.pi * radius, rel=0.02)
    assert found.max_width_m == pytest.approx(0.8, abs=0.03)
    assert shapely.hausdorff_distance(found.line, line) < 0.45  # half a width, the ends lie at corners


def test_corner_strip():
    """An L of 30 + 20 m, 1 m wide: its middle line is 29.5 + 19.5 m long, give or take the bend."""
    corner = shapely.union(shapely.box(0, 0, 30, 1), shapely.box(0, 0, 1, 20))
    found = middle_of(corner)
    assert found.line.length == pytest.approx(49, abs=1.0)
    assert found.max_width_m == pytest.approx(4 - 2 * math.sqrt(2), abs=0.03)  # circle in the bend: 2 (2 - sqrt 2)


def test_neck_narrower_than_the_least_width_splits():
    left, right = shapely.box(0, 0, 10, 1), shapely.box(12, 0, 22, 1)
    for neck, parts in ((0.2, 2), (0.5, 1)):
        ground = shapely.union_all([left, right, shapely.box(9, 0.5 - neck / 2, 13, 0.5 + neck / 2)])
        found, rest = strips_of(ground)
        assert len(found) == parts
        assert sum(one.area_m2 for one in found) + rest == pytest.approx(ground.area, rel=1e-9)


def test_opening_keeps_rectangles_whole_and_drops_slivers():
    kept = open_and_split(shapely.MultiPolygon([shapely.box(0, 0, 9, 1), shapely.box(0, 5, 90, 5.25)]), 0.3)
    assert len(kept) == 1
    assert kept[0].area == pytest.approx(9, rel=1e-9)


def test_opening_agrees_with_a_round_one_but_for_corners():
    """A disc of the least width rolled inside (the design's opening) leaves at most its corners out."""
    rng = np.random.default_rng(2)
    blob = shapely.Point(0, 0).buffer(3).union(shapely.box(0, -0.5, 20, 0.5))
    ground = shapely.union_all([blob, *shapely.points(rng.normal(0, 4, (12, 2))).tolist()]).buffer(0)
    rolled = ground.buffer(-0.15, quad_segs=64).buffer(0.15, quad_segs=64)
    kept = shapely.union_all(open_and_split(ground, 0.3))
    assert kept.area == pytest.approx(rolled.area, abs=8 * 0.15**2)  # each corner: (1 - pi / 4) r^2 and less


def test_strips_are_numbered_by_falling_area():
    ground = shapely.MultiPolygon([shapely.box(0, k * 3, 5 + k, k * 3 + 1) for k in range(4)])
    found, _ = strips_of(ground)
    assert [one.id for one in found] == ["M1", "M2", "M3", "M4"]
    assert [one.area_m2 for one in found] == pytest.approx([8, 7, 6, 5])


def test_place_lies_on_the_middle_line():
    (found,), _ = strips_of(shapely.box(10, 0, 11, 40))
    assert shapely.distance(found.line, found.label_point) < 1e-9
    assert (found.label_point.x, found.label_point.y) == pytest.approx((10.5, 20), abs=0.1)


def test_widths_agree_with_the_geometry_librarys_inscribed_circle():
    """GEOS MaximumInscribedCircle on ragged strips, within 3 cm or 5 %."""
    rng = np.random.default_rng(8)
    for _ in range(20):
        x = np.linspace(0, rng.uniform(10, 80), 40)
        low = 0.3 * np.sin(x / 7) + rng.normal(0, 0.02, 40)
        high = low + 0.4 + 0.5 * np.abs(np.sin(x / 11 + rng.uniform(0, 3)))
        strip = shapely.Polygon(np.concatenate([np.column_stack([x, low]), np.column_stack([x, high])[::-1]]))
        circle = 2 * shapely.maximum_inscribed_circle(strip, tolerance=0.002).length
        assert middle_of(strip).max_width_m == pytest.approx(circle, rel=0.05, abs=0.03)


def test_ground_with_a_spike_is_cut_where_the_exact_way_fails(monkeypatch):
    """A 4 x 4 m piece with a spike of no width: made valid it is an area and a line, of which only the area counts."""
    exact, calls = shapely.intersection, []

    def fails_once(*arguments, **more):
        calls.append(arguments)
        if len(calls) == 1:
            raise shapely.GEOSException("found non-noded intersection")
        return exact(*arguments, **more)

    monkeypatch.setattr(shapely, "intersection", fails_once)
    spiked = shapely.Polygon([(0, 0), (4, 0), (4, 4), (4, 6), (4, 4), (0, 4)])
    (common,) = overlap(np.array([spiked]), np.array([shapely.box(1, 1, 9, 9)]))
    assert common.area == pytest.approx(9, abs=1e-9)


def test_a_pond_in_missed_ground_is_no_missed_ground_though_the_geometry_library_loses_it(monkeypatch):
    """A hole as wide as the boom round a pond, with a tail along a pass: 1500 and 36 m2, or 1536 m2 in one."""
    pond = shapely.box(10, 10, 20, 20)
    ground = shapely.union(shapely.difference(shapely.box(0, 0, 40, 40), pond), shapely.box(40, 20, 100, 20.6))
    real = shapely.difference

    def found():
        return sorted(shapely.area(holes_apart(np.array([ground], object), 10.0, 0.3)).tolist())

    assert found() == pytest.approx([36, 1500], abs=0.01)

    def filled(one, other):
        left = real(one, other)
        return shapely.Polygon(left.exterior) if left.geom_type == "Polygon" and left.interiors else left

    monkeypatch.setattr(shapely, "difference", filled)
    assert found() == pytest.approx([1536], abs=0.01)


def test_ground_is_taken_off_where_the_exact_way_fails():
    """A hole's outline that GEOS widened to one that meets itself by the last digit (seen with GEOS 3.14.1)."""
    ground = shapely.Polygon(
        [
            (32.088592363278586, 47.41646225313334),
            (32.089860195998696, -70.916123550336),
            (-31.988748042400474, -70.9161264208699),
            (-31.987490813053327, 47.416459382511704),
        ]
    )
    hole = shapely.from_wkt(
        "MULTIPOLYGON (((-9.502883946821688 37.470951828883855, -16.52995941432505 41.155744990683296, "
        "-14.9880548461289 47.41646014408991, -5.378311690716048 47.41646057460837, "
        "-9.502883946821688 37.470951828883855)), ((-5.378311690716048 47.41646057460837, "
        "32.088592363278586 47.41646225313334, 32.089860195998696 -70.916123550336, "
        "-31.988748042400474 -70.9161264208699, -31.987490813053324 47.416459382511704, "
        "-5.378311690716047 47.41646057460837, -5.378311690716048 47.41646057460837)))"
    )
    with pytest.raises(shapely.GEOSException):
        shapely.difference(ground, hole)
    assert without(ground, hole).area < 1e-3  # of 7 580 m2: all but the last digits


@pytest.mark.parametrize(
    ("ring", "length_m", "width_m"),
    [
        # the headland of a square field of 110 m: its middle line is a square of 104 m
        (shapely.box(0, 0, 110, 110) - shapely.box(6, 6, 104, 104), 416.0, 7.03),
        (shapely.Point(0, 0).buffer(30, 64) - shapely.Point(0, 0).buffer(25, 64), 2 * np.pi * 27.5, 5.0),
    ],
    ids=["headland", "round"],
)
def test_the_way_along_a_ring_goes_all_round_it(ring, length_m, width_m):
    """Half a ring would be half as long and, by its area, twice as wide.

    In a corner of 6 m a circle of 6 * 2 / (1 + 1 / sqrt(2)) = 7.03 m touches both outer sides and the inner corner.
    """
    (one,) = middles(np.array([ring], dtype=object))
    assert one.line.length == pytest.approx(length_m, rel=0.02)  # corners are cut, joints zigzag
    assert one.max_width_m == pytest.approx(width_m, abs=0.05)


def test_a_small_hole_in_wide_ground_is_no_ring():
    whole = shapely.box(0, 0, 40, 40)
    (one,) = middles(np.array([whole - shapely.box(18, 18, 20, 20)], dtype=object))
    assert one.line.length < 75  # from corner to corner 57 m, round the hole; cut open there it were 98 m
