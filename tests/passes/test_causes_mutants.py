"""Where findings lie and what made them, one at a time on passes of a boom of 10 m, worked by hand."""

import dataclasses
import math

import numpy as np
import pytest
import shapely

from coverage_audit.ground.model import Strip
from coverage_audit.passes.causes import Record, find_causes
from coverage_audit.passes.left_out import left_out
from coverage_audit.passes.model import Pass
from coverage_audit.passes.strip_places import lie, surroundings

WIDTH_M = 10.0
FIELD = shapely.box(0, 0, 200, 100)
NOTHING = np.empty((0, 2, 2))


def strip(west, south, east, north, *, id_="M1", visits=0):
    """A finding as wide as its shorter side, with its middle line along the longer one."""
    box = shapely.box(west, south, east, north)
    wide, long = sorted((east - west, north - south))
    x, y = (west + east) / 2, (south + north) / 2
    line = shapely.LineString([(x, south), (x, north)] if north - south >= east - west else [(west, y), (east, y)])
    return Strip(id_, box.area, long, wide, wide, 0.0, "", box, line, shapely.Point(x, y), visits)


def driven(n, *corners, kind="straight", start_s=None, on_m=None, **more):
    """A pass at 1 m/s, begun at n hundreds of seconds, sprayed all along."""
    line = shapely.LineString(corners)
    start = 1000.0 * n if start_s is None else start_s
    on = line.length if on_m is None else on_m
    return Pass(n, kind, start, start + line.length, line.length, 0.0, 1.0, line, line.length, on_m=on, **more)


def north(n, x_m, **more):
    return driven(n, (x_m, 10), (x_m, 90), **more)


def south(n, x_m, **more):
    return driven(n, (x_m, 90), (x_m, 10), **more)


def record_of(passes, on_off=None, **more):
    """The way of the passes, a place a second; sprayed during every pass unless told otherwise."""
    time, xy = [], []
    for one in passes:
        at = np.arange(0, one.line.length + 0.5)
        time.append(one.start_s + at)
        xy.append(shapely.get_coordinates(shapely.line_interpolate_point(one.line, at)))
    spans = [(one.start_s, one.end_s) for one in passes] if on_off is None else on_off
    settings = {"gaps": np.empty(0, dtype=object), "logged": True, "width_m": WIDTH_M, "sections": 1} | more
    return Record(np.concatenate(time), np.concatenate(xy), np.array(spans, float).reshape(-1, 2), **settings)


def around(headland=(), no_spray=None, late=NOTHING, early=NOTHING, field=FIELD):
    swaths = np.array(list(headland), dtype=object)
    return surroundings(field, no_spray or shapely.Polygon(), swaths, (late, early), WIDTH_M)


def cause(finding, passes, places=None, **record):
    return find_causes([finding], passes, places or around(), record_of(passes, **record))[finding.id]


def told(one):
    return one.kind, one.where, one.passes, one.amount_m, one.length_m, one.time_s


# --- between two passes ------------------------------------------------------------------------------


def test_passes_too_far_apart_leave_a_skip_between_them():
    """12 m apart: 2 m are left, 60 m long; the second pass was at its middle, y = 50, after 40 s."""
    passes = [north(1, 50), south(2, 62), north(3, 90)]
    found = cause(strip(55, 20, 57, 80), passes)
    assert told(found) == ("spacing", "between passes", (1, 2), 2.0, 60.0, 2040.0)


def test_passes_too_close_spray_twice_between_them():
    passes = [north(1, 50), north(2, 58)]
    found = cause(strip(53, 20, 55, 80, visits=2), passes)
    assert told(found) == ("overlap", "between passes", (1, 2), 2.0, 60.0, 2040.0)


def test_a_lap_beside_a_pass_is_the_headland():
    passes = [driven(1, (50, 10), (50, 90), kind="headland"), north(2, 62)]
    assert cause(strip(55, 20, 57, 80), passes).where == "headland"


@pytest.mark.parametrize(
    ("second", "spaced"),
    [
        (north(2, 62.4), True),  # by 0.4 m more than it is wide: half of it and 0.25 m are allowed
        (north(2, 63.3), False),
        (north(2, 60.7), False),
        (north(2, 61.0), True),
        (driven(2, (62, 10), (62 + 80 * math.tan(math.radians(15)), 90)), None),  # askew: not by the simplest rule
        (north(1, 62), False),  # the same pass
        (driven(2, (62, 10), (62, 90), kind="turn"), False),
    ],
)
def test_a_pair_lies_as_far_apart_as_the_skip_is_wide(second, spaced):
    found = cause(strip(55, 20, 57, 80), [north(1, 50), second])
    if spaced is not None:
        assert (found.kind == "spacing") == spaced


@pytest.mark.parametrize(("x_m", "kind"), [(62, "spacing"), (48, "beside")])
def test_a_pair_lies_on_either_side(x_m, kind):
    """Two passes on one side of a skip made it no more than one did."""
    assert cause(strip(55, 20, 57, 80), [north(1, 50), north(2, x_m)]).kind == kind


@pytest.mark.parametrize(("angle_deg", "kind"), [(24, "spacing"), (26, "beside")])
def test_a_long_finding_runs_along_its_passes(angle_deg, kind):
    """12 m long and 2 m wide, turned against two passes; one about as wide as long runs any way."""
    passes = [north(1, 50), north(2, 62)]
    turned = strip(55, 44, 57, 56)
    turned = dataclasses.replace(
        turned,
        polygon=shapely.affinity.rotate(turned.polygon, angle_deg),
        line=shapely.affinity.rotate(turned.line, angle_deg),
    )
    assert cause(turned, passes).kind == kind
    stub = dataclasses.replace(turned, length_m=3.9)
    assert cause(stub, passes).kind == "spacing"


@pytest.mark.parametrize(
    ("askew_deg", "other", "kind"),
    [(9, "straight", "spacing"), (9, "headland", "beside"), (7, "headland", "spacing")],
)
def test_a_lap_and_a_pass_run_more_alike_than_two_passes(askew_deg, other, kind):
    """Askew by 8 degrees at the most, where two passes may be by 25."""
    shift = 40 * math.tan(math.radians(askew_deg))
    second = driven(2, (62 - shift, 10), (62 + shift, 90), kind=other)
    assert cause(strip(55, 48, 57, 52.5), [north(1, 50), second]).kind == kind


def test_only_the_nearest_passes_within_reach_count():
    """1.6 booms off is out of reach; a fifth pass is not looked at."""
    assert told(cause(strip(55, 20, 57, 80), [north(1, 40.1)]))[2] == (1,)
    assert told(cause(strip(55, 20, 57, 80), [north(1, 39.9)])) == ("beside", "between passes", (), 2.0, 60.0, None)
    near = [north(k, 51.1 - k / 10) for k in range(1, 5)]
    assert cause(strip(55, 20, 57, 80), [*near, north(9, 63)]).kind == "beside"  # 7 m off, the fifth
    assert cause(strip(55, 20, 57, 80), [*near[1:], north(9, 63)]).passes == (2, 9)


# --- gaps and switching ----------------------------------------------------------------------------------


def line_at(x, low, high):
    return shapely.LineString([(x, low), (x, high)])


@pytest.mark.parametrize(("inside_m", "gap"), [(2.1, True), (1.9, False)])
def test_a_gap_of_the_log_over_half_a_width_made_the_skip(inside_m, gap):
    """4 m wide: 2 m of the gap's chord lie on it; of several gaps the longest counts."""
    gaps = np.array([line_at(50, 40, 40.5), line_at(51, 30, 40 + inside_m), line_at(90, 0, 90)], dtype=object)
    found = cause(strip(48, 40, 52, 60), [north(1, 50)], gaps=gaps, on_off=[(1000, 1020), (1060, 1080)])
    assert (found.kind == "gap") == gap
    if gap:
        assert (found.passes, found.amount_m, found.length_m) == ((1,), pytest.approx(2.1), pytest.approx(2.1))


CROSSED = strip(45, 30, 55, 40)
"""Ten metres of a pass at x = 50, driven from 20 to 30 s after its begin."""


@pytest.mark.parametrize(
    ("on_off", "more", "wanted"),
    [
        ([(1030, 1080)], {"on_late_m": 12.0}, ("late on", "late on", 12.0, 10.0)),
        (
            [(1030, 1080)],
            {"on_late_m": 4.9},
            ("late on", "late on", 10.0, 10.0),
        ),  # less than half of it is another matter
        ([(1030, 1080)], {}, ("late on", "late on", 10.0, 10.0)),
        ([(1000, 1020)], {"off_early_m": 9.0}, ("early off", "early off", 9.0, 10.0)),
        ([(1000, 1020), (1030, 1080)], {"on_late_m": 9.0, "off_early_m": 9.0}, ("boom off", "early off", 10.0, 10.0)),
        ([(1000, 1080)], {}, ("beside", "between passes", 10.0, 10.0)),  # it was on: a corner of its way
        ([(1060, 1080)], {"on_m": 11.9}, ("boom off", "between passes", 10.0, 10.0)),
        ([(1060, 1080)], {"on_m": 12.1}, ("late on", "late on", 10.0, 10.0)),  # 15 % of 80 m
    ],
)
def test_ground_passed_over_unsprayed_is_a_matter_of_switching(on_off, more, wanted):
    found = cause(CROSSED, [north(1, 50, **more)], on_off=on_off)
    assert (found.kind, found.where, found.amount_m, found.length_m) == wanted
    assert (found.passes, found.time_s) == ((1,), 1025.0)


def test_a_section_may_have_been_shut():
    passes = [north(1, 50)]
    found = cause(strip(51, 30, 53, 40), passes, sections=3)
    assert told(found) == ("section off", "between passes", (1,), 10.0, 10.0, 1025.0)
    assert cause(strip(51, 30, 53, 40), passes, sections=1).kind == "beside"
    assert cause(strip(53.4, 30, 55.4, 40), passes, sections=3).kind == "section off"  # 4.4 m off
    assert cause(strip(53.6, 30, 55.6, 40), passes, sections=3).kind == "beside"
    assert cause(CROSSED, passes, sections=3).kind == "section off"


def test_nobody_logged_the_boom():
    passes = [north(1, 50)]
    assert told(cause(CROSSED, passes, on_off=[(1030, 1080)], logged=False))[:4] == (
        "assumed off",
        "between passes",
        (1,),
        10.0,
    )


@pytest.mark.parametrize(("on_m", "crossed"), [(5.1, True), (4.9, False)])
def test_a_pass_runs_over_a_finding_by_half_its_width(on_m, crossed):
    """Ten metres wide; the pass ends on it."""
    one = driven(1, (50, 10), (50, 30 + on_m))
    found = cause(CROSSED, [one], on_off=[(1000, 1020)])
    assert (found.kind == "early off") == crossed


def test_several_passes_over_it_had_the_boom_off():
    """Two passes cross ground of 30 x 10 m: off before the end of the first."""
    wide = strip(40, 40, 70, 50)
    passes = [north(1, 48), south(2, 58), north(3, 90)]
    off = [(1000, 1029), (1041, 1080), (2000, 2039), (2051, 2080)]
    found = cause(wide, passes, on_off=off)
    assert told(found) == ("boom off across", "early off", (1, 2), 10.0, 30.0, 2045.0)
    assert cause(wide, passes, on_off=off, logged=False).kind == "assumed off"
    assert cause(wide, passes[:1] + passes[2:], on_off=off).kind == "boom off"
    twice = [passes[0], dataclasses.replace(passes[1], n=1)]
    assert cause(wide, twice, on_off=off).kind == "boom off"  # one pass, there and back
    lap = [passes[0], driven(2, (58, 90), (58, 10), kind="headland")]
    assert cause(wide, lap, on_off=off).kind == "boom off"


# --- at edges and ends -----------------------------------------------------------------------------------


def across(y, low=45.0, high=55.0):
    return np.array([[[low, y], [high, y]]])


@pytest.mark.parametrize(
    ("place", "where", "finding", "line_m"),
    [("late", "late on", strip(45, 12, 55, 20), 19.9), ("early", "early off", strip(45, 80, 55, 88), 80.1)],
)
def test_ground_straight_beyond_a_switching(place, where, finding, line_m):
    """The pass was driven from y = 20 to 80, and 7 of 8 m are told of it; without a pass it is beyond all the same."""
    one = driven(1, (50, 20), (50, 80), on_late_m=7.0, off_early_m=7.0)
    ends = around(**{place: across(line_m)})
    found = cause(finding, [one], ends, on_off=[(1000.5, 1058.5)])
    assert told(found)[:5] == (where, where, (1,), 7.0, 10.0)
    far = dataclasses.replace(one, line=shapely.transform(one.line, lambda xy: xy + np.array([100, 0])))
    assert told(cause(finding, [far], ends)) == (where, where, (), 0.0, 10.0, None)
    assert cause(finding, [one], on_off=[(1000.5, 1058.5)]).kind == "beside"  # but not when no switching was logged


@pytest.mark.parametrize(
    ("finding", "switched"),
    [
        (strip(45, 10, 55, 20), "late on"),
        (strip(49.9, 10, 55.2, 20), "late on"),  # 5.1 m of the line lie on it
        (strip(50.1, 10, 55.2, 20), ""),
        (strip(45, 10, 64.7, 20), "late on"),  # 99 of 197 m2 lie straight beyond
        (strip(45, 10, 65.1, 20), ""),
        (dataclasses.replace(strip(45, 10, 55, 20), max_visits=2), ""),
        (strip(45, 21, 55, 30), ""),
    ],
)
def test_what_lies_straight_beyond_a_switching(finding, switched):
    assert lie([finding], around(late=across(19.9)))[0].switched == switched


def test_of_two_switchings_the_one_with_more_ground_beyond_it():
    finding = strip(45, 10, 55, 30)
    both = around(late=across(26.0), early=across(12.0))
    assert lie([finding], both)[0].switched == "early off"  # 18 of 20 m ahead, against 16 behind
    assert lie([finding], around(late=across(28.0), early=across(14.0)))[0].switched == "late on"
    assert lie([finding], around(late=across(25.0), early=across(15.0)))[0].switched == "late on"
    two = np.concatenate([across(29.9), across(10.5)])
    assert lie([finding], around(early=two))[0].switched == "early off"


POND = shapely.box(100, 40, 120, 60)


@pytest.mark.parametrize(
    ("finding", "at"),
    [
        (strip(0, 20, 2, 80), "field edge"),  # 60 of 124 m of its outline
        (strip(0, 20, 60, 80), "between passes"),  # 60 of 240 m are 25 %
        (strip(0, 20, 39, 80), "field edge"),  # 60 of 198 m are 30.3 %
        (strip(98, 42, 100, 58), "no-spray area"),
        (strip(0.1, 20, 2, 80), "headland"),
        (strip(60, 20, 62, 80), "between passes"),
        (strip(12, 30, 14, 70), "headland"),
        (strip(18, 30, 19.9, 70), "headland"),  # in the rim of 20 m
        (strip(20.1, 30, 22, 70), "between passes"),
    ],
)
def test_where_a_finding_lies(finding, at):
    """Field 200 x 100 m with a pond; the laps' swath is 15 m wide, the headland's rim two booms."""
    swath = shapely.difference(FIELD, shapely.box(15, 15, 185, 85))
    other = shapely.box(18, 25, 20.5, 75)
    (found,) = lie([finding], around([swath, other], POND))
    assert found.at == at
    assert found.edge == (at in {"field edge", "no-spray area"})


def test_a_headland_that_is_not_near_is_none():
    """In the rim, but three hundredths of a metre from the lap's swath."""
    for away, at in ((0.01, "headland"), (0.03, "between passes")):
        (found,) = lie([strip(5, 20, 7, 80)], around([shapely.box(7 + away, 0, 12, 100)]))
        assert found.at == at


def test_ground_along_an_edge_is_the_edge_s():
    passes = [north(1, 8.0)]
    assert told(cause(strip(0, 20, 2, 80), passes)) == ("field edge", "field edge", (1,), 2.0, 60.0, 1040.0)
    found = cause(strip(98, 42, 100, 58), [north(1, 90)], around(no_spray=POND))
    assert told(found)[:5] == ("no-spray area", "no-spray area", (1,), 2.0, 16.0)


# --- double ground --------------------------------------------------------------------------------------


LAP = driven(1, (0, 15), (200, 15), kind="headland")


def overlapping(*, entering=True, high=20.0, **more):
    one = north(2, 50, **more) if entering else south(2, 50, **more)
    finding = strip(45, 16, 55, high, visits=2)
    return finding, [LAP, one]


@pytest.mark.parametrize(
    ("entering", "more", "kind", "amount"),
    [
        (True, {"on_late_m": -4.0}, "on early", 4.0),
        (False, {"off_early_m": -4.0}, "off late", 4.0),
        (True, {"off_early_m": -4.0}, "on early", 4.0),  # as long as the patch, when it is not told
        (True, {"on_late_m": -0.51}, "on early", 0.51),
        (True, {"on_late_m": -0.49}, "slanted end", 4.0),
        (True, {"on_late_m": 2.0}, "slanted end", 4.0),
    ],
)
def test_overlap_with_the_headland(entering, more, kind, amount):
    """4 x 10 m between the lap at y = 15 and the pass from y = 10 on."""
    found = cause(*overlapping(entering=entering, **more))
    assert (found.kind, found.where, found.passes) == (kind, "headland", (2,))
    assert (found.amount_m, found.length_m) == pytest.approx((amount, 10.0))


def test_overlap_at_a_pond_or_unlogged():
    finding, passes = overlapping(on_late_m=-4.0)
    at_pond = around(no_spray=shapely.box(44, 10, 56, 16))
    assert cause(finding, passes, at_pond).where == "no-spray area"
    assert cause(finding, passes, logged=False).kind == "slanted end"


def test_what_crosses_is_told_by_the_two_nearest():
    """Sides of laps over one spot, of which the nearest two count, within 0.55 booms of its middle."""
    finding = strip(45, 16, 55, 20, visits=2)
    sides = [driven(n, (x, 0), (x, 100), kind="headland") for n, x in ((4, 53.0), (2, 49.5), (3, 50.8))]
    found = cause(finding, sides)
    assert (found.kind, found.passes, found.amount_m, found.length_m) == ("crossing", (2, 3), 4.0, 10.0)
    assert cause(finding, [LAP, sides[0]]).passes == (1, 4)
    away = driven(3, (0, 23.6), (200, 23.6), kind="headland")
    assert cause(finding, [sides[0], away]).passes == (4,)
    assert told(cause(finding, [away]))[:3] == ("beside", "between passes", (3,))


# --- passes left out --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("missed", "wanted"),
    [
        (shapely.box(55, 0, 65, 100), [((1, 2), 20.0)]),
        (shapely.box(57, 0, 63.1, 100), [((1, 2), 20.0)]),  # 6.1 m: 0.6 of the boom
        (shapely.box(57, 0, 62.9, 100), []),
        (shapely.box(57, 40, 63.1, 61.5), [((1, 2), 20.0)]),  # two booms long; corners are cut
        (shapely.box(57, 40, 63.1, 59.5), []),
        (shapely.box(45, 0, 55, 100), []),  # driven over by the first
        (shapely.box(30, 0, 45, 100), [((1,), None)]),
        (shapely.union(shapely.box(55, 0, 65, 40), shapely.box(55, 60, 65, 100)), [((1, 2), 20.0)]),  # told once
        (shapely.box(100, 0, 110, 100), [((2,), None)]),  # 35 m off: the nearest, if not near
        (shapely.Polygon(), []),
    ],
)
def test_a_pass_left_out_lies_on_bare_ground_as_wide_as_a_boom(missed, wanted):
    passes = [north(1, 50), south(2, 70), driven(3, (150, 10), (150, 90), kind="turn")]
    assert list(left_out(missed, passes, WIDTH_M)) == [
        (beside, apart and pytest.approx(apart)) for beside, apart in wanted
    ]


def test_what_was_driven_over_in_a_turn_is_not_left_out():
    ground = shapely.box(145, 0, 155, 100)
    assert left_out(ground, [north(1, 130)], WIDTH_M) == (((1,), None),)
    assert left_out(ground, [north(1, 130), driven(2, (150, 0), (150, 100), kind="turn")], WIDTH_M) == ()
    assert left_out(ground, [driven(2, (110, 0), (110, 100), kind="turn")], WIDTH_M) == ()


def test_the_passes_beside_it_run_along_it():
    """A lap across the end of the ground is nearer to its middle than passes 26 m off, and no neighbour of it."""
    ground = shapely.box(55, 30, 65, 70)
    lap = driven(1, (0, 78), (200, 78), kind="headland")
    passes = [lap, north(2, 48), north(3, 72)]
    assert left_out(ground, passes, WIDTH_M) == (((2, 3), pytest.approx(24.0)),)
    assert left_out(ground, [lap, north(2, 33.9), north(3, 85)], WIDTH_M) == (((3,), None),)
    assert left_out(ground, [north(2, 34.1), north(3, 85)], WIDTH_M) == (((2, 3), pytest.approx(50.9)),)
