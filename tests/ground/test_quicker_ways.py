"""Quick ways held against the plain ones that they stand for: the same figures to the last bit."""

import numpy as np
import pytest
import shapely

from coverage_audit.drive import standing
from coverage_audit.edges import edges_of, most_pairs, near_pairs
from coverage_audit.ground import boom_lines, middle_line
from coverage_audit.ground.model import BoomLines, Piece
from coverage_audit.ground.partition import travel_of
from coverage_audit.ground.pieces import travel_at
from coverage_audit.ground.two_sides import between_sides


def near_by_hand(edges):
    """Pairs of edges whose boxes meet, each looked at."""
    low, high = edges.min(axis=1), edges.max(axis=1)
    meet = ((low[:, None] <= high) & (low <= high[:, None])).all(axis=2)
    return int(np.triu(meet, 1).sum())


@pytest.mark.parametrize("seed", range(30))
def test_there_are_no_more_near_pairs_than_told(seed):
    rng = np.random.default_rng(seed)
    reach = 10.0 ** rng.uniform(-1, 2.5)
    begin = rng.uniform(-300, 300, (rng.integers(2, 200), 1, 2))
    lines = shapely.linestrings(np.hstack([begin, begin + rng.normal(0, reach, begin.shape)]))
    assert near_pairs(lines, 10**9) <= near_by_hand(edges_of(lines)) <= most_pairs(lines)


def test_few_edges_far_apart_have_few_pairs_and_an_unknown_way_any_number():
    apart = shapely.linestrings([[(1000 * k, 0), (1000 * k + 1, 0)] for k in range(50)])
    assert most_pairs(apart) < 50
    assert most_pairs(np.array([shapely.LineString()], object)) == 0
    assert most_pairs(shapely.linestrings([[(0, 0), (np.inf, 0)]])) == np.inf
    long = [[(0, k), (1000, k + 1000)] for k in range(3)] + [[(0, k / 100), (0.1, k / 100)] for k in range(60)]
    assert most_pairs(shapely.linestrings(long)) == np.inf  # three edges would lie in thousands of squares each


@pytest.mark.parametrize("seed", range(10))
def test_a_stand_is_told_by_the_box_of_all_its_places(seed):
    rng = np.random.default_rng(seed)
    x, y = rng.normal(0, 1, (2, 300)).cumsum(axis=1)
    first = np.sort(rng.integers(0, 290, 200))
    last = np.minimum(first + rng.integers(0, 40, 200), 299)
    boxes = [(np.ptp(x[a : b + 1]), np.ptp(y[a : b + 1])) for a, b in zip(first, last, strict=True)]
    across = rng.uniform(0, 12, 200)
    close = np.array([np.hypot(*box) for box in boxes]) <= across
    assert 0 < close.sum() < 200
    assert standing.places_close(x, y, first, last, across).tolist() == close.tolist()


def test_moments_among_others():
    moments, chosen = np.array([0.0, 1.0, 1.5, 2.0, 9.0]), np.array([1.0, 2.0, 3.0])
    assert boom_lines.among(moments, chosen).tolist() == np.isin(moments, chosen).tolist()
    assert not boom_lines.among(moments, np.empty(0)).any()


@pytest.mark.parametrize("seed", range(10))
def test_points_are_numbered_as_sorted_rows_are(seed):
    points = np.random.default_rng(seed).integers(-3, 3, (60, 2)) / 7.0
    different, number = middle_line.numbered(points)
    rows, index = np.unique(points, axis=0, return_inverse=True)
    assert different.tolist() == rows.tolist()
    assert number.tolist() == index.ravel().tolist()


def bent(count):
    """Boom lines along a bend."""
    at = np.arange(count, dtype=np.float64)
    none = np.zeros(count, bool)
    return BoomLines(at, at**2 / 20, np.pi / 2 - at / 10, 1.5 * at, none, none, none, ((-3.0, 3.0),), 0)


@pytest.mark.parametrize(("first", "last"), [(0, 1), (3, 4), (2, 6)])
def test_the_travel_at_a_boom_line_is_its_own(first, last):
    """Points across the boom line where the boom's centre stood were swept when it stood there."""
    lines = bent(8)
    piece = Piece(shapely.Point(0, 0).buffer(1), lines, first, last, bridged=False)
    tips = lines.tips(1.25)[first : last + 1]
    np.testing.assert_allclose(travel_at(piece, *tips.T), lines.travel_m[first : last + 1], rtol=0, atol=1e-9)  # [m]
    half = (tips[:-1] + tips[1:]) / 2
    between = travel_at(piece, *half.T)
    assert ((between > lines.travel_m[first:last]) & (between < lines.travel_m[first + 1 : last + 1])).all()


def test_each_point_is_asked_of_its_own_piece():
    pieces = [Piece(shapely.Point(0, 0).buffer(1), bent(8), k, k + 1, bridged=False) for k in range(6)]
    which = np.array([5, 0, 3, 0, 5, 1])
    points = shapely.points(np.column_stack([which + 0.5, which / 10.0]))
    one_by_one = [
        travel_at(pieces[k], shapely.get_x(p)[None], shapely.get_y(p)[None])[0]
        for k, p in zip(which, points, strict=True)
    ]
    assert travel_of(which, pieces, points, travel_at).tolist() == one_by_one
    assert travel_of(which[:0], pieces, points[:0], travel_at).tolist() == []


def strips(seed):
    """Strips of all shapes: bent sides, wedges, triangles, crooked ones, some that turn back and some with a hole."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(12):
        along = np.sort(rng.uniform(0, rng.uniform(2, 300), rng.integers(3, 60)))
        half = rng.uniform(0.05, 6) * rng.uniform(0.2, 1, len(along))
        bend = rng.uniform(0, 3) * np.sin(along / rng.uniform(3, 60))
        sides = np.concatenate([np.column_stack([along, bend + half]), np.column_stack([along, bend - half])[::-1]])
        turn, place = rng.uniform(0, 2 * np.pi), rng.uniform(-500, 500, 2)
        east = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        found.append(shapely.make_valid(shapely.Polygon(sides @ east + place)))
    found += [shapely.Polygon([(0, 0), (9, 0), (4, 3)]), shapely.box(0, 0, 30, 9) - shapely.box(3, 3, 6, 6)]
    found = [one for one in found if one.geom_type == "Polygon" and one.area > 0.05]
    return np.array([found[k] for k in rng.permutation(len(found))], dtype=object)


def between_by_hand(polygon):
    """Greatest width and middle line of one strip, cut by cut; every centre against every cut end."""
    box = shapely.get_coordinates(shapely.oriented_envelope(polygon))
    sides = np.diff(box[:3], axis=0)
    long = max(sides, key=lambda side: np.hypot(*side))
    ahead, length = long / np.hypot(*long), np.hypot(*long)
    ring = shapely.get_coordinates(polygon.exterior)[:-1]
    along, across = ring @ ahead, ring @ np.array([-ahead[1], ahead[0]])
    first, last = int(np.argmin(along)), int(np.argmax(along))
    there = [(first + k) % len(ring) for k in range((last - first) % len(ring) + 1)]
    back = [(first - k) % len(ring) for k in range((first - last) % len(ring) + 1)]
    count = int(min(max(6 * length**2 / polygon.area, 24), 2000))
    reach = along[last] - along[first]
    x = along[first] + (np.arange(count) + 0.5) * reach / count
    ends = np.array([np.interp(x, np.maximum.accumulate(along[side]), across[side]) for side in (there, back)])
    middle = ends.mean(axis=0)
    clear = np.hypot(x[:, None] - x, np.minimum(*np.abs(middle[:, None] - ends[:, None]))).min(axis=1)
    from_end = np.minimum(x - along[first], along[last] - x)
    return 2 * np.minimum(clear, from_end).max()


@pytest.mark.parametrize("seed", range(12))
def test_strips_all_at_once_have_the_middles_that_each_has_alone(seed):
    polygons = strips(seed)
    together = middle_line.middles(polygons)
    for polygon, one in zip(polygons, together, strict=True):
        (alone,) = middle_line.middles(np.array([polygon], object))
        assert one.max_width_m == pytest.approx(alone.max_width_m, rel=1e-9)
        assert shapely.hausdorff_distance(one.line, alone.line) < 1e-8  # strips laid end to end lose digits [m]


@pytest.mark.parametrize("seed", range(12))
def test_the_greatest_width_is_that_of_every_centre_against_every_cut(seed):
    polygons = strips(seed)
    two, lines, widths = between_sides(polygons)
    assert two.any()
    assert lines.shape == (two.sum(), 26, 2)
    for polygon, width in zip(polygons[two], widths, strict=True):
        assert width == pytest.approx(between_by_hand(polygon), rel=1e-9)


def test_what_has_no_two_sides_is_told_apart():
    ring = shapely.Point(0, 0).buffer(20) - shapely.Point(0, 0).buffer(18)
    hook = shapely.Polygon([(0, 0), (30, 0), (30, 20), (29, 20), (29, 1), (0, 1)])
    two, lines, widths = between_sides(np.array([ring, hook], object))
    assert not two.any()
    assert not len(lines)
    assert not len(widths)
