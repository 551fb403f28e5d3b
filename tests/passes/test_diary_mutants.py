"""The rules by which the diary tells laps, passes, blocks and their ends, one by one on ways given by hand."""

import dataclasses
import math

import numpy as np
import pytest
import shapely

from coverage_audit.passes import diary, legs
from coverage_audit.passes.diary import _Job
from coverage_audit.passes.legs import Leg, leg_between
from coverage_audit.passes.model import Fixed
from coverage_audit.passes.spans import Cell
from coverage_audit.passes.way import Way

FIELD = shapely.box(0, 0, 200, 100)
WIDTH_M = 10.0


def way_of(corners, noise_m=0.0, reach=2):
    """A place every half metre along *corners*, headed along them."""
    line = shapely.LineString(corners)
    at = np.arange(0, line.length + 1e-9, 0.5)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    ahead = np.gradient(xy, axis=0)
    heading = np.unwrap(np.arctan2(ahead[:, 0], ahead[:, 1]))
    return Way(at / 2, xy[:, 0], xy[:, 1], heading, at, np.zeros(len(at), bool), 0.25, reach, noise_m)


def job(corners, ends, on=None, back=(), field=FIELD, noise_m=0.0):
    """A job of legs between pairs of distances *ends* along *corners*, sprayed over *on*, backed up over *back*. [m]"""
    way = way_of(corners, noise_m)
    found = [leg_between(way, int(2 * a), int(2 * b)) for a, b in ends]
    sprayed = (
        None
        if on is None
        else np.any([(way.along_m >= a) & (way.along_m < b) for a, b in on] or [way.along_m < 0], axis=0)
    )
    backed = np.zeros(len(way.along_m) - 1, bool)
    for a, b in back:
        backed[int(2 * a) : int(2 * b)] = True
    return _Job(way, found, sprayed, backed, field, WIDTH_M)


RING = [(5, 5), (5, 95), (195, 95), (195, 5), (5, 5)]
SIDES = [(2, 88), (92, 278), (282, 368), (372, 558)]


def lines_of(one):
    return [diary._line(one.way, leg) for leg in one.legs]  # noqa: SLF001


# --- what a leg is -----------------------------------------------------------------------------------


def test_a_leg_by_hand():
    """North for 20 m, then a bow of headings: the ends are read a reach within, the chord from end to end."""
    way = way_of([(3, 0), (3, 20)])
    bowed = Way(**{**vars(way), "heading_rad": np.arange(41) / 100})
    found = leg_between(bowed, 4, 36)
    assert (found.first, found.last, found.length_m) == (4, 36, 16.0)
    assert (found.begin_rad, found.end_rad, found.direction_rad) == pytest.approx((0.06, 0.34, 0.0))
    short = leg_between(bowed, 4, 8)  # within a quarter of it
    assert (short.begin_rad, short.end_rad) == pytest.approx((0.05, 0.07))
    east = leg_between(way_of([(0, 0), (-20, 0)]), 0, 40)
    assert east.direction_rad == pytest.approx(-math.pi / 2)


def test_what_runs_leave_of_the_grid():
    told = legs._between  # noqa: SLF001
    assert list(told([[3, 5], [8, 9]], 12)) == [(0, 3), (5, 8), (9, 11)]
    assert list(told([[0, 5], [5, 11]], 12)) == []
    assert list(told([], 12)) == [(0, 11)]


@pytest.mark.parametrize(
    ("off", "begin", "inner", "wanted"),
    [
        ([0, 0, 0, 1, 1, 1], 0, 1, 3),
        ([0, 0, 0, 0], 0, 1, None),
        ([1, 1, 0, 0, 1, 1], 0, 2, 4),  # what lies before the fitted part's end does not count
        ([0, 0, 1, 0, 1, 1, 1, 1], 0, 1, 4),  # off for a moment, then back
        ([0, 0, 1, 1, 0, 1, 1], 0, 1, 5),
        ([0, 0, 1, 1, 1, 0, 1], 0, 1, 2),  # off for three is off
        ([0, 0, 1, 0, 0, 0], 0, 1, 2),
        ([0, 0, 1, 1], 5, 6, 7),
    ],
)
def test_where_a_way_leaves_its_line_for_good(off, begin, inner, wanted):
    assert legs._lasting(np.array(off, bool), begin, inner) == wanted  # noqa: SLF001


@pytest.mark.parametrize(
    ("sagitta_m", "span_m", "noise_m", "degree"),
    [(0.45, 24.0, 0.0, 2), (0.35, 24.0, 0.0, 1), (0.45, 12.0, 0.0, 1), (0.6, 24.0, 0.12, 1), (0.7, 24.0, 0.12, 2)],
)
def test_the_end_of_a_leg_is_a_line_or_a_parabola(sagitta_m, span_m, noise_m, degree):
    """A bow of more than 0.4 m, or four times the noise, over at least 12.5 m; else the line of least squares."""
    along = np.linspace(30, 30 + span_m, 49)
    across = sagitta_m * (1 - (2 * (along - 30) / span_m - 1) ** 2) + 0.1 * along
    found = legs._end_fit(way_of([(0, 0), (0, 9)], noise_m), along, across)  # noqa: SLF001
    assert len(found) == degree + 1
    assert found == pytest.approx(np.polyfit(along, across, degree))


def test_a_parabola_fits_a_smooth_leg_and_not_a_swing():
    """Root mean square off it: nothing of a parabola, 1 / sqrt 2 of a quick swing; short legs are smooth."""
    told = legs._curve_residual  # noqa: SLF001
    y = np.arange(0, 101, 0.5)
    bow = way_of([(0, 0), (0, 100)])
    bow = Way(**{**vars(bow), "x_m": y * (100 - y) / 500})
    assert told(bow, 0, 200) == pytest.approx(0.0, abs=1e-9)
    swing = Way(**{**vars(bow), "x_m": 2.0 * np.sin(2 * math.pi * y / 10)})
    assert told(swing, 0, 200) == pytest.approx(math.sqrt(2), rel=0.02)
    assert (told(swing, 0, 11), told(swing, 0, 6)) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("angle_deg", "radius_m", "least_m", "least_deg", "count"),
    [(90, 10, 20, 35, 1), (90, 19, 20, 35, 1), (90, 21, 20, 35, 0), (34, 10, 20, 35, 0), (36, 10, 20, 35, 1),
     (20, 50, 60, 15, 1)],
)  # fmt: skip
def test_bends_are_tight_and_turn_far(angle_deg, radius_m, least_m, least_deg, count):
    at = np.arange(0, 200, 0.5)
    heading = np.radians(angle_deg) * np.clip((at - 80) / (radius_m * math.radians(angle_deg)), 0, 1)
    way = Way(at, at, at, heading, at, at < 0, 0.25, 6, 0.0)
    found = legs._bends(way, least_m, least_deg)  # noqa: SLF001
    assert len(found) == count
    if count:
        assert at[found[0][0]] == pytest.approx(80, abs=3.1)
        assert at[found[0][1]] == pytest.approx(80 + radius_m * math.radians(angle_deg), abs=3.1)
    assert legs._bends(Way(**{**vars(way), "heading_rad": -heading}), least_m, least_deg) == found  # noqa: SLF001


@pytest.mark.parametrize(("apart_m", "count"), [(1.0, 1), (9.0, 2)])
def test_bends_close_to_one_another_are_one(apart_m, count):
    """Each of 45 degrees over 8 m; less than 3 m between them."""
    at = np.arange(0, 200, 0.5)
    heading = np.radians(45) * (np.clip((at - 80) / 8, 0, 1) + np.clip((at - 88 - apart_m) / 8, 0, 1))
    way = Way(at, at, at, heading, at, at < 0, 0.25, 4, 0.0)
    assert len(legs._bends(way, 20.0, 35.0)) == count  # noqa: SLF001


# --- the boom on the grid ----------------------------------------------------------------------------


def test_the_boom_s_state_at_each_moment_is_that_of_the_fix_before():
    way = way_of([(0, 0), (0, 4)])  # a place every quarter of a second
    fixed = Fixed(np.array([0.0, 1.0, 2.0]), *np.zeros((2, 3)), 0.0, np.array([True, False, True]))
    told = diary._on_grid  # noqa: SLF001
    assert told(fixed, way).astype(int).tolist() == [1, 1, 1, 1, 0, 0, 0, 0, 1]
    assert told(dataclasses.replace(fixed, on=None), way) is None


def test_the_share_sprayed_is_by_distance():
    one = job([(0, 0), (0, 100)], [(0, 100)], on=[(20, 50)])
    assert one.on_share(0, 200) == pytest.approx(0.3)
    assert one.on_share(40, 100) == pytest.approx(1.0)
    assert one.on_share(7, 7) == 0.0
    assert job([(0, 0), (0, 100)], [(0, 100)]).on_share(0, 200) is None


@pytest.mark.parametrize(
    ("sprayed", "ends"),
    [
        ((70, 120), (65, 120)),  # 70 m before it, more than half of 120: 5 m are left
        ((59, 120), (0, 120)),
        ((0, 50), (0, 55)),
        ((0, 61), (0, 120)),
        ((0, 0), (0, 120)),
    ],
)
def test_a_long_approach_is_no_part_of_the_pass(sprayed, ends):
    one = job([(0, 0), (0, 200)], [(0, 120)], on=[sprayed])
    found = diary._without_approach(one.way, one.legs[0], one.on)  # noqa: SLF001
    assert (one.way.along_m[found.first], one.way.along_m[found.last]) == pytest.approx(ends, abs=1.0)
    beyond = job([(0, 0), (0, 200)], [(0, 60)], on=[(60.5, 120)])  # from the very next place on
    assert diary._without_approach(beyond.way, beyond.legs[0], beyond.on) is beyond.legs[0]  # noqa: SLF001
    short = job([(0, 0), (0, 200)], [(0, 20)], on=[(14, 20)])
    assert diary._without_approach(short.way, short.legs[0], short.on) is short.legs[0]  # noqa: SLF001 - 15 m are a run-in


# --- the headland --------------------------------------------------------------------------------------


def test_depth_is_how_far_in_a_leg_runs_along_the_edge():
    """5 m in, a diagonal, 41 m in (more than four booms), 39 m in, askew by 3 and by 7 degrees; a hole is no edge."""

    def depth(*corners, field=FIELD, low=30, high=80):
        return float(diary._depths(job(corners, [(low, high)], field=field))[0])  # noqa: SLF001

    assert depth(*RING[:2], low=2, high=85) == pytest.approx(5.0)
    assert depth((20, 39), (180, 39)) == pytest.approx(39.0)
    assert math.isinf(depth((20, 41), (180, 41)))
    assert math.isinf(depth((20, 20), (180, 80)))
    assert math.isfinite(depth((20, 10), (180, 10 + 160 * math.tan(math.radians(3)))))
    assert math.isinf(depth((20, 10), (180, 10 + 160 * math.tan(math.radians(7)))))
    assert math.isinf(depth((20, 10), (180, 10), field=shapely.Polygon()))
    holed = shapely.difference(shapely.box(-200, -200, 400, 300), shapely.box(60, 40, 140, 60))
    assert math.isinf(depth((60, 62), (140, 62), field=holed, low=2, high=78))


def headland(one):
    return diary._headland_legs(one).tolist()  # noqa: SLF001


def test_sides_joined_by_sprayed_corners_are_headland():
    assert headland(job(RING, SIDES, on=[(0, 560)])) == [True] * 4
    assert headland(job(RING, SIDES, on=[(0, 88), (92, 278), (282, 368), (372, 560)])) == [False] * 4
    assert headland(job(RING, SIDES, on=[(0, 88), (92, 368), (372, 560)])) == [False, True, True, False]
    assert headland(job(RING, SIDES)) == [True] * 4  # not logged: they run along the edge
    assert headland(job(RING, SIDES, on=[(0, 88), (92, 560)], back=[(88, 90)])) == [True] * 4  # backed up at a corner


@pytest.mark.parametrize(("angle_deg", "corner"), [(19, False), (21, True), (149, True), (151, False)])
def test_a_corner_is_neither_slight_nor_a_turn_round(angle_deg, corner):
    turn = math.radians(angle_deg)
    one = job(
        [(50, 0), (50, 60), (50 + 60 * math.sin(turn), 60 + 60 * math.cos(turn))], [(2, 58), (62, 118)], on=[(0, 120)]
    )
    assert one.swing_deg(0) == pytest.approx(angle_deg, abs=0.1)
    assert headland(one) == [corner] * 2


@pytest.mark.parametrize(("apart_m", "corner"), [(38, True), (42, False)])
def test_a_corner_is_driven_within_four_booms(apart_m, corner):
    one = job([(50, 0), (50, 60), (150, 60)], [(2, 58), (58 + apart_m, 158)], on=[(0, 160)])
    assert one.joint_m(0) == apart_m
    assert headland(one) == [corner] * 2


def test_ground_done_by_an_earlier_side_is_driven_elsewhere():
    """Not logged: along the first side once more, within half a boom."""
    one = job([*RING, (9, 5), (9, 95)], [*SIDES, (566, 650)])
    again = diary._over_earlier(one, np.ones(5, bool))  # noqa: SLF001
    assert again.tolist() == [False] * 4 + [True]
    far = job([*RING, (11, 5), (11, 95)], [*SIDES, (568, 652)])
    assert diary._over_earlier(far, np.ones(5, bool)).tolist() == [False] * 5  # noqa: SLF001
    assert diary._over_earlier(one, np.array([False, True, True, True, True])).tolist() == [False] * 5  # noqa: SLF001


# --- kinds ---------------------------------------------------------------------------------------------


def kinds(one, family, sides=None):
    return diary._kinds(one, np.zeros(len(family), bool) if sides is None else np.array(sides), family, lines_of(one))  # noqa: SLF001


UP_AND_DOWN = [(50, 0), (50, 100), (60, 100), (60, 0), (70, 0), (70, 100)]
THREE = [(2, 98), (112, 208), (222, 318)]


@pytest.mark.parametrize(
    ("on", "family", "wanted"),
    [
        ([(0, 320)], [0, 0, 0], ["straight"] * 3),
        ([(0, 98), (112, 159), (222, 320)], [0, 0, 0], ["straight"] * 3),  # less than half of the second
        ([(0, 98), (112, 128), (222, 320)], [0, -1, 0], ["straight"] * 3),  # a sixth
        ([(0, 98), (112, 125), (222, 320)], [0, -1, 0], ["straight", "", "straight"]),  # an eighth, and no AB line
        ([(0, 98), (222, 320)], [0, 0, 0], ["straight"] * 3),  # forgotten
        ([(0, 98), (222, 320)], [0, -1, 0], ["straight", "", "straight"]),
        (None, [0, 0, -1], ["straight", "straight", ""]),
    ],
)
def test_legs_are_passes_by_their_spray_and_their_line(on, family, wanted):
    assert kinds(job(UP_AND_DOWN, THREE, on=on), family) == wanted


def test_legs_outside_the_field_are_no_passes_unless_sprayed():
    for west, wanted in ((49.0, "straight"), (56.0, "")):
        field = shapely.box(west, 0, 200, 100)
        assert kinds(job(UP_AND_DOWN, THREE, field=field), [0, 0, 0])[0] == wanted
    assert kinds(job(UP_AND_DOWN, THREE, on=[(0, 320)], field=shapely.box(56, 0, 200, 100)), [0, 0, 0])[0] == "straight"


@pytest.mark.parametrize(("aside_m", "wanted"), [(3.4, ""), (3.6, "straight")])
def test_a_leg_over_another_pass_is_transport(aside_m, wanted):
    """Within 0.35 booms of it over 0.7 of its length; not logged."""
    corners = [(50, 0), (50, 100), (50 + aside_m, 100), (50 + aside_m, 0)]
    one = job(corners, [(2, 98), (102 + aside_m, 198 + aside_m)])
    assert kinds(one, [0, 0]) == ["straight", wanted]
    sprayed = job(corners, [(2, 98), (102 + aside_m, 198 + aside_m)], on=[(0, 300)])
    assert kinds(sprayed, [0, 0]) == ["straight"] * 2
    dry_first = job(corners, [(2, 98), (102 + aside_m, 198 + aside_m)], on=[(100, 300)])
    assert kinds(dry_first, [0, 0]) == [wanted, "straight"]  # a later one counts, too, for one without spray


@pytest.mark.parametrize(("length_m", "wanted"), [(135, ""), (150, "straight")])
def test_seven_tenths_over_another_pass_are_again(length_m, wanted):
    """Nine places from a tenth to nine tenths of a leg, of which the first 100 m lie beside the other pass."""
    field = shapely.box(0, -100, 200, 200)
    corners = [(50, 0), (50, 100), (51, 100), (51, 100 - length_m)]
    assert kinds(job(corners, [(0, 100), (101, 101 + length_m)], field=field), [0, 0])[1] == wanted


def test_a_sprayed_leg_across_the_passes_along_the_edge_is_headland():
    """The far end's side runs across the passes; one of a block of its own that goes inward does not count."""
    corners = [*UP_AND_DOWN, (70, 95), (180, 95)]
    ends = [*THREE, (330, 430)]
    one = job(corners, ends, on=[(0, 500)])
    assert kinds(one, [0, 0, 0, 1]) == ["straight"] * 3 + ["headland"]
    assert kinds(one, [0, 0, 0, 0])[3] == "straight"
    assert kinds(one, [0, 0, 0, -1])[3] == "headland"
    inward = job([*corners, (180, 50), (80, 50)], [*ends, (482, 575)], on=[(0, 600)])
    assert kinds(inward, [0, 0, 0, 1, 1])[3] == "straight"
    assert kinds(inward, [0, 0, 0, 1, -1])[3] == "headland"


# --- blocks, runs of headland and what lies between -------------------------------------------------------


def test_passes_of_one_direction_near_each_other_are_a_block():
    lines = [shapely.LineString([(x, 0), (x, 50)]) for x in (0, 60, 25.9, 86.1, 30, 40)]
    told = diary._blocks(["straight"] * 6, [0, 0, 0, 0, 1, -1], lines, WIDTH_M)  # noqa: SLF001
    assert told == [1, 2, 1, 3, 4, 5]
    assert diary._blocks(["", "straight", "headland", "straight"], [0] * 4, lines[:4], WIDTH_M) == [0, 1, 0, 2]  # noqa: SLF001
    chain = [shapely.LineString([(x, 0), (x, 50)]) for x in (0, 40, 20, 60)]
    assert diary._blocks(["straight"] * 4, [0] * 4, chain, WIDTH_M) == [1] * 4  # noqa: SLF001


@pytest.mark.parametrize(
    ("on", "apart_m", "joined"),
    [(None, 38, True), (None, 42, False), ([(0, 200)], 38, True), ([(0, 62), (140, 200)], 9, True),
     ([(0, 62), (140, 200)], 11, False), ([(0, 68), (140, 200)], 11, True)],
)  # fmt: skip
def test_sides_are_one_run_across_a_corner(on, apart_m, joined):
    """Within four booms and sprayed by half, or within one boom, whatever was sprayed."""
    one = job([(50, 0), (50, 200)], [(0, 60)], on=on)
    assert diary._joined(one, 124, 124 + 2 * apart_m) == joined  # noqa: SLF001


def test_headland_reaches_as_far_as_it_was_sprayed():
    """On from 20 to 90 m; the leg from 30 to 100 m; what lies before 25 m is another part's."""
    one = job([(50, 0), (50, 200)], [(0, 60)], on=[(20, 90)])
    mark = Cell(60, 200, "headland")
    assert (diary._trimmed(one, mark, 0, 400).first, diary._trimmed(one, mark, 0, 400).last) == (40, 179)  # noqa: SLF001
    assert diary._trimmed(one, mark, 50, 400).first == 50  # noqa: SLF001
    early = Cell(60, 150, "headland")
    assert diary._trimmed(one, early, 0, 400).last == 179  # noqa: SLF001
    assert diary._trimmed(one, early, 0, 160).last == 160  # noqa: SLF001
    assert diary._trimmed(one, Cell(60, 200, "straight"), 0, 400) == Cell(60, 200, "straight")  # noqa: SLF001
    for low, high in ((60, 120), (60, 80), (60, 81), (80, 120)):  # sprayed at one place alone, at an end of it or amid
        moment = job([(50, 0), (50, 200)], [(0, 60)], on=[(40, 40.5)])
        assert diary._trimmed(moment, Cell(low, high, "headland"), 0, 400) == Cell(80, 80, "headland")  # noqa: SLF001
    assert diary._trimmed(one, Cell(200, 300, "headland"), 0, 400) == Cell(200, 300, "headland")  # noqa: SLF001


@pytest.mark.parametrize(
    ("before", "after", "kind"),
    [
        (None, Cell(100, 200, "straight", 1), "transport"),
        (Cell(0, 20, "straight", 1), Cell(179, 200, "straight", 1), "turn"),  # 79.5 m: four booms and 40 m
        (Cell(0, 20, "straight", 1), Cell(181, 200, "straight", 1), "transport"),
        (Cell(0, 20, "straight", 1), Cell(60, 200, "straight", 2), "transport"),
        (Cell(0, 20, "headland"), Cell(60, 200, "straight", 0), "transport"),
        (Cell(0, 20, "headland"), Cell(60, 200, "headland"), "turn"),
    ],
)
def test_what_lies_between_two_parts(before, after, kind):
    assert diary._between(job([(50, 0), (50, 200)], [(0, 60)]), before, after) == kind  # noqa: SLF001


def test_marks_are_passes_and_runs_of_headland():
    one = job(RING, SIDES)
    told = diary._marks(one, ["headland", "headland", "straight", ""], [0, 0, 3, 0], [None, None, 40.0, None])  # noqa: SLF001
    assert told == [Cell(4, 556, "headland"), Cell(564, 736, "straight", 3, 40.0)]


def test_the_swing_at_a_corner_that_was_backed_up_is_by_the_legs_chords():
    one = job([(50, 0), (50, 60), (110, 60)], [(0, 60), (60, 120)])
    legs_ = [Leg(**{**vars(leg), "begin_rad": 0.1, "end_rad": 0.3}) for leg in one.legs]
    plain = _Job(one.way, legs_, None, one.back, FIELD, WIDTH_M)
    assert plain.swing_deg(0) == pytest.approx(math.degrees(0.2))
    backed = one.back.copy()
    backed[118:122] = True
    gap = [Leg(**{**vars(legs_[0]), "last": 116}), legs_[1]]
    assert _Job(one.way, gap, None, backed, FIELD, WIDTH_M).swing_deg(0) == pytest.approx(90.0)
    far = [Leg(**{**vars(legs_[0]), "end_rad": -3.0}), Leg(**{**vars(legs_[1]), "begin_rad": 3.0})]
    assert _Job(one.way, far, None, one.back, FIELD, WIDTH_M).swing_deg(0) == pytest.approx(
        math.degrees(2 * math.pi - 6)
    )
