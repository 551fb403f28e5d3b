"""What a drive without a boom log probably sprayed: cells, order, legs and turns on small drives, worked by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from work_units import units

from coverage_audit.drive.model import BoomPath
from coverage_audit.errors import InputError
from coverage_audit.passes import work_ground
from coverage_audit.passes.model import AMID, BACK, LEG, TAIL, TURN
from coverage_audit.passes.work_ground import BEYOND, NO_TARGET, Grid, Units, units_of
from coverage_audit.passes.work_order import in_order
from coverage_audit.passes.work_state import (
    Segment,
    _best_prefix,
    _between,
    _Board,
    _handicap,
    _kept,
    _odds,
    _Part,
    _parts,
    _swing_deg,
    _trimmed,
    _worked,
)

# --- cells ------------------------------------------------------------------------------------------


def test_cells_of_the_target_are_numbered_those_of_the_field_known():
    """A boom of 16 m has cells of 1 m; of the field of 4 x 3 m the east half is target."""
    grid = Grid.over(shapely.box(2, 0, 4, 3), shapely.box(0, 0, 4, 3), 16.0, 100.0)
    assert (grid.side_m, grid.count) == (1.0, 6)
    x, y = (
        np.array([0.5, 2.5, 3.5, 2.5, 4.5, -0.5, 2.5, 2.5, 60.0]),
        np.array([0.5, 0.5, 0.5, 2.5, 0.5, 1.0, 3.5, -0.5, 1.0]),
    )
    assert grid.cells_at(x, y).tolist() == [NO_TARGET, 0, 1, 4, BEYOND, BEYOND, BEYOND, BEYOND, BEYOND]


def test_cells_are_as_large_as_their_number_asks(monkeypatch):
    monkeypatch.setattr(work_ground, "MOST_CELLS", 100)
    assert Grid.over(shapely.box(0, 0, 80, 20), shapely.box(0, 0, 80, 20), 16.0, 100.0).side_m == pytest.approx(4.0)


def path(x, y, heading, time=None, reverse=(), gap_after=()):
    x, y, heading = (np.asarray(one, float) for one in (x, y, heading))
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    no = np.zeros(len(x), bool)
    back, gap = no.copy(), no.copy()
    back[list(reverse)] = True
    gap[list(gap_after)] = True
    return BoomPath(np.arange(len(x)) * 1.0 if time is None else time, x, y, heading, travel, gap, no, back)


def way(time_s, standing=()):
    still = np.zeros(len(time_s), bool)
    still[list(standing)] = True
    return SimpleNamespace(time_s=time_s, standing=still)


FIELD = shapely.box(-30, -10, 50, 110)


@pytest.mark.parametrize("at_once", [1_000_000, 200])
def test_a_straight_drive_sweeps_its_swath_once(monkeypatch, at_once):
    """100 m north with 9.6 m: units of 1.6 m, cells of 0.6 m; 960 m2, of which a tenth is beyond the target."""
    monkeypatch.setattr(work_ground, "SAMPLES_AT_ONCE", at_once)
    target = shapely.box(-30, 10, 50, 110)
    drive = path(np.zeros(51), np.arange(0, 101, 2.0), np.zeros(51))
    found = units_of(drive, way(drive.time_s), target, FIELD, 9.6)
    assert len(found.length_m) == 63  # 100 / 1.6 and the rest
    assert found.length_m.sum() == pytest.approx(100.0)
    assert found.swath_m2.sum() == pytest.approx(960.0)
    assert found.swath_m2 @ found.inside == pytest.approx(864.0, abs=6.0)  # a row of cells
    assert (found.beyond.max(), found.reverse.any()) == (0.0, False)
    assert found.cell_m2 == pytest.approx(0.36)
    assert found.time_s[0, 0] < 0.2
    assert found.time_s[-1, 1] > 49.8
    assert (found.time_s[1:, 0] >= found.time_s[:-1, 1]).all()
    visits = found.visits(np.ones(63, bool))
    assert visits.max() == 1
    assert visits.sum() * 0.36 == pytest.approx(864.0, rel=0.02)


def test_the_swath_beyond_the_field_is_told():
    """The east tips of a pass along the field's edge: a quarter of 8 m beyond x = 50."""
    drive = path(np.full(51, 48.0), np.arange(0, 101, 2.0), np.zeros(51))
    found = units_of(drive, way(drive.time_s), FIELD, FIELD, 8.0)
    assert found.beyond == pytest.approx(np.full(len(found.beyond), 0.25), abs=0.07)
    assert found.inside == pytest.approx(1 - found.beyond)


def test_driving_back_over_ground_is_a_visit_when_far_enough():
    """60 m north and back in reverse: within pi/4 booms of the turning point it is one visit, further on two."""
    y = np.concatenate([np.arange(0, 60.0), np.arange(60.0, -1, -1)])
    drive = path(np.zeros(len(y)), y, np.zeros(len(y)), reverse=range(60, len(y)))
    found = units_of(drive, way(drive.time_s), FIELD, FIELD, 9.6)
    assert found.length_m[found.reverse].sum() == pytest.approx(60.0, abs=1.7)
    visits = found.visits(np.ones(len(found.length_m), bool))
    again = (visits == 2).sum() * found.cell_m2
    assert again == pytest.approx(9.6 * (60 - math.pi / 4 * 9.6), rel=0.05)


def test_stands_and_gaps_are_no_units():
    """Of 60 s at 1 m/s the way stands in ten, the log has a gap of 15 m, and a stop of 30 s parts what is beside it."""
    time = np.concatenate([np.arange(31.0), np.arange(60.0, 91.0)])
    drive = path(
        np.zeros(62), np.concatenate([np.arange(31.0), np.arange(31.0, 62.0)]), np.zeros(62), time, gap_after=[30]
    )
    found = units_of(drive, way(time, range(10, 20)), FIELD, FIELD, 48.0)
    assert found.length_m.sum() == pytest.approx(61 - 10 - 1)
    assert found.length_m == pytest.approx([8, 2, 4, 7, 1, 8, 8, 8, 5][: len(found.length_m)], abs=8.1)
    gaps = found.time_s[1:, 0] - found.time_s[:-1, 1]
    assert (gaps > 9).sum() == 2
    with pytest.raises(InputError):
        units_of(drive, way(time, range(62)), FIELD, FIELD, 9.6)


# --- who came first ----------------------------------------------------------------------------------


def ordered(kind, chance, before=(), after=(), inside=1.0):
    """The chance of a part over six cells, of which the leg before it covers *before*, the one after it *after*."""
    swept = [list(before)] * 12 + [[0, 1, 2, 3, 4, 5]] * 8 + [list(after)] * 12
    apart = {(cell, unit) for unit, own in enumerate(swept) for cell in own}
    found = [Segment(0, 12, LEG, 0.9), Segment(12, 20, kind, chance), Segment(20, 32, LEG, 0.9)]
    given = units(swept, 6, inside=inside, apart=apart)
    return [(one.first, one.last, one.chance) for one in in_order(given, found) if one.kind == kind]


@pytest.mark.parametrize(
    ("kind", "chance", "before", "after", "wanted"),
    [
        (TAIL, 0.15, [], [], 0.65),  # fresh: done on the way
        (TAIL, 0.15, [0, 1], [3, 4, 5], 0.65),
        (TAIL, 0.15, [0, 1, 2], [], 0.15),  # half of it done before
        (TAIL, 0.9, [], [], 0.9),
        (TAIL, 0.9, [0, 1, 2, 3, 4, 5], [], 0.9),  # a tail is not held back
        (TURN, 0.3, [0], [1], 0.65),
        (TURN, 0.3, [0, 1], [], 0.3),
        (TURN, 0.3, [], [0, 1], 0.3),  # done later
        (TURN, 0.8, [0, 1, 2, 3, 4, 5], [], 0.15),  # done before
        (TURN, 0.1, [0, 1, 2, 3, 4, 5], [], 0.1),
        (TURN, 0.8, [0, 1, 2, 3, 4], [], 0.8),
        (BACK, 0.3, [], [], 0.3),
    ],
)
def test_who_comes_first_sprays(kind, chance, before, after, wanted):
    """The middle of a part, which its neighbours' smoothing does not reach."""
    found = ordered(kind, chance, before, after)
    middle = [one for first, last, one in found if first <= 15 < last]
    assert middle == [wanted]
    assert (found[0][0], found[-1][1]) == (12, 20)


def test_beyond_the_field_nobody_comes_first():
    assert ordered(TAIL, 0.15, inside=0.5) == [(12, 20, 0.15)]
    assert ordered(TAIL, 0.15, inside=0.51) == [(12, 20, 0.65)]


def test_segments_that_were_off_did_nothing_before():
    found = in_order(
        units([[0]] * 12 + [[0]] * 8, 1, apart={(0, k) for k in range(20)}),
        [Segment(0, 12, LEG, 0.5), Segment(12, 20, TAIL, 0.15)],
    )
    assert [(one.kind, one.chance) for one in found] == [(LEG, 0.5), (TAIL, 0.65)]


# --- legs and what lies between -------------------------------------------------------------------------


def test_the_longest_best_prefix():
    assert [_best_prefix(np.array(gain)) for gain in ([1, -2, 3, -1], [-1.0, -2], [1, 0], [], [0.5])] == [
        3,
        0,
        2,
        0,
        1,
    ]


def test_odds_are_even_where_they_are_said_to_be():
    """Logistic: e^-1 off by one step; -7 rises; far off it stays a number."""
    assert _odds(20.0, 0.85, 0.85) == 0.5
    assert _odds(20.0, 0.85, 0.9) == pytest.approx(1 / (1 + math.e))
    assert _odds(-7.0, 0.75, 1.0) == pytest.approx(1 / (1 + math.exp(-1.75)))
    assert 0 < _odds(-1000.0, 0.0, -5.0) < 1e-12


def test_a_leg_is_trimmed_to_what_is_fresh():
    """Ten units at either end, of which seven and eight are done; amid it nine that are, and eight that are too few."""
    fresh = np.ones(80)
    fresh[:7] = fresh[72:] = 0.0
    fresh[20:29] = fresh[40:48] = 0.05
    found = _trimmed(fresh, 100, 0.9)
    assert [(one.first, one.last, one.kind) for one in found] == [
        (100, 107, TAIL), (107, 120, LEG), (120, 129, AMID), (129, 172, LEG), (172, 180, TAIL),
    ]  # fmt: skip
    assert [one.chance for one in found] == pytest.approx([0.15, 0.9, 0.85 * 0.9, 0.9, 0.15])
    assert _trimmed(np.full(30, 0.1), 5, 0.9) == [Segment(5, 35, TAIL, 0.15)]
    assert _trimmed(np.full(30, 0.2), 5, 0.9) == [Segment(5, 35, LEG, 0.9)]


class Fresh:
    """In place of a board: what is fresh of each unit from the tenth on."""

    def __init__(self, fresh):
        self.fresh = lambda first, last: np.array(fresh, float)[first - 10 : last - 10]


def between(fresh, kind=TURN, beside=(True, True), swing_deg=180.0):
    return _between(Fresh(fresh), _Part(10, 10 + len(fresh), kind), beside, swing_deg)


def test_backing_up_is_on_where_it_is_fresh():
    (found,) = between([0.0, 0.5], BACK)
    assert found == Segment(10, 12, BACK, 0.5)  # even at a quarter
    assert between([1.0], BACK)[0].chance == pytest.approx(1 / (1 + math.exp(-7.5)))


@pytest.mark.parametrize(
    ("beside", "swing_deg", "count", "corner"),
    [((True, True), 120.0, 24, True), ((True, True), 121.0, 24, False), ((True, True), 120.0, 25, False),
     ((True, False), 90.0, 24, False)],
)  # fmt: skip
def test_a_corner_goes_with_its_sides(beside, swing_deg, count, corner):
    found = between([0.0] * count, beside=beside, swing_deg=swing_deg)
    assert ([one.chance for one in found] == [0.97]) == corner


def test_a_turn_is_on_by_what_is_fresh_and_who_is_beside_it():
    """Even at 0.75, 0.68 and 0.42 with none, one and both of the legs on; turning round the second does not count."""
    told = {
        (False, False): 0.75, (True, False): 0.68, (False, True): 0.68, (True, True): 0.42,
    }  # fmt: skip
    for beside, even in told.items():
        (found,) = between([0.45] * 30, beside=beside, swing_deg=140.0)
        assert (found.first, found.last) == (10, 40)
        steep = 10.0 if all(beside) else 7.0
        assert found.chance == pytest.approx(1 / (1 + math.exp(-steep * (0.45 - even))))
    (found,) = between([0.45] * 30, swing_deg=151.0)
    assert found.chance == pytest.approx(1 / (1 + math.exp(-7 * (0.45 - 0.68))))


def test_a_turn_is_cut_where_its_fresh_ends_stop():
    found = between([1, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1], beside=(True, False), swing_deg=180.0)
    assert [(one.first, one.last) for one in found] == [(10, 12), (12, 18), (18, 21)]
    odds = [1 / (1 + math.exp(-7 * (share - even))) for share, even in ((1, 0.68), (0, 0.75), (1, 0.75))]
    assert [one.chance for one in found] == pytest.approx(odds)


def test_quick_legs_and_those_outside_are_held_back():
    """Usual pace 1 m/s by most of the length; 1.5 m/s is ln 1.5 / ln 2 of 0.3, twice and more all of it."""
    given = units(
        [[]] * 40, 1, length_m=np.repeat([1.0, 1.5, 4.0, 0.5], 10), inside=np.repeat([1.0, 0.9, 0.5, 0.8], 10)
    )
    legs = [_Part(10 * k, 10 * k + 10, LEG) for k in range(4)] + [_Part(0, 10, LEG)] * 3
    found = _handicap(given, legs)
    assert found[:4] == pytest.approx([0.0, 0.3 * math.log2(1.5) + 0.03, 0.3 + 0.15, 0.06])
    assert _handicap(units([[]] * 2, 1, inside=0.0), [_Part(0, 2, LEG)]).tolist() == [1.0]


def test_the_needless_leg_is_taken_off_and_then_the_others_are_needed():
    """Legs over the same ten cells twice and others over their own: the quicker of the two goes."""
    swept = [[k] for k in range(10)] + [[k] for k in range(10)] + [[10 + k] for k in range(10)]
    apart = {(cell, unit) for unit, own in enumerate(swept) for cell in own}
    given = units(swept, 20, length_m=np.repeat([1.0, 1.2, 1.0], 10), apart=apart)
    legs = [_Part(0, 10, LEG), _Part(10, 20, LEG), _Part(20, 30, LEG)]
    board = _Board.of(given)
    kept, needless = _kept(board, legs)
    assert kept.tolist() == [True, False, True]
    assert needless == pytest.approx([0.0, 1.0 + 0.3 * math.log2(1.2), 0.0])
    assert board.count.tolist() == [1] * 20


def test_how_needless_a_leg_is_by_length_and_by_ground():
    """2 of 8 m idle, half of the cells covered: 0.7 and 0.3 of it; legs without ground are wholly needless."""
    swept = [[0], [1], [2], [3], [0], [1], []]
    given = units(swept, 4, length_m=[1, 1, 3, 3, 1, 1, 1], apart={(0, 4), (1, 5)})
    board = _Board.of(given)
    kept, needless = _kept(board, [_Part(0, 4, LEG), _Part(4, 6, LEG), _Part(6, 7, LEG)])
    assert kept.tolist() == [True, False, False]
    assert needless[0] == pytest.approx(0.0)
    assert needless[1:] == pytest.approx([1.0, 1.0])
    board = _Board.of(given)
    board.count[:2] += 1  # as though another were on there for good
    _, needless = _kept(board, [_Part(0, 4, LEG)])
    assert needless == pytest.approx([0.7 * 2 / 8 + 0.3 * 0.5])


def test_the_fresh_share_of_a_unit_counts_only_target():
    given = units([[0, 1], [1, 2], []], 3, inside=[1.0, 0.5, 0.25], apart={(1, 1)})
    board = _Board.of(given)
    board.count[:] = [1, 0, 0]
    assert board.fresh(0, 3).tolist() == [0.5, 0.5, 0.0]
    single = _Board.of(units([[0], [1]], 2))
    assert single.fresh(0, 2).tolist() == [1.0, 1.0]
    board.count[:] = [1, 2, 1]
    assert board.fresh(0, 2, 1).tolist() == [0.5, 0.25]
    assert board.fresh(1, 2).tolist() == [0.0]
    assert board.cells(0, 2).tolist() == [0, 1, 2]


def test_inner_legs_are_trimmed_before_the_lap():
    """A lap of ten cells; a pass runs over its last three. The pass is shut there, the lap goes on."""
    swept = [[k] for k in range(10)] + [[20 + k] for k in range(17)] + [[7], [8], [9]]
    apart = {(k, 20 + k) for k in (7, 8, 9)}
    board = _Board.of(units(swept, 40, apart=apart))
    found = _worked(board, [_Part(0, 10, LEG), _Part(10, 30, LEG)])
    assert sorted((one.first, one.last, one.kind) for one in found) == [(0, 10, LEG), (10, 27, LEG), (27, 30, TAIL)]
    assert board.count[:10].tolist() == [1] * 10


def test_the_swing_is_from_before_a_part_to_behind_it():
    """A turn of 170 degrees in ten seconds, a reach of one second to either side."""
    time = np.arange(40.0)
    heading = np.radians(np.interp(time, [10, 20], [0.0, 170.0]))
    driven = SimpleNamespace(time_s=time, heading_rad=heading, reach=2, step_s=0.5)
    given = units([[]] * 40, 1)
    assert _swing_deg(given, driven, _Part(12, 18, TURN)) == pytest.approx(17 * 8)
    assert _swing_deg(given, driven, _Part(11, 19, TURN)) == pytest.approx(170.0)
    driven.heading_rad = -heading
    assert _swing_deg(given, driven, _Part(12, 18, TURN)) == pytest.approx(17 * 8)


def test_the_drive_in_legs_turns_and_backing_up(monkeypatch):
    """Legs from the way, backing up by the units, a stop parts a turn but no leg."""
    monkeypatch.setattr(
        "coverage_audit.passes.work_state.find_legs",
        lambda _: [
            SimpleNamespace(first=0, last=10),
            SimpleNamespace(first=10, last=16),
            SimpleNamespace(first=24, last=30),
        ],
    )
    given = units([[]] * 30, 1, reverse=[20, 21])
    times = given.time_s.copy()
    times[4:] += 5.0  # a stop amid the first leg
    times[18:] += 5.0  # and one in the turn
    driven = SimpleNamespace(time_s=np.append(times[:, 0], times[-1, 1]))
    found = _parts(Units(**{**vars(given), "time_s": times}), driven)
    assert [tuple(one) for one in found] == [
        (0, 10, LEG), (10, 16, LEG), (16, 18, TURN), (18, 20, TURN), (20, 22, BACK), (22, 24, TURN), (24, 30, LEG),
    ]  # fmt: skip


@pytest.mark.parametrize(("way_m", "side_m"), [(1_000.0, 0.01), (40_000.0, 0.08)])
def test_cells_are_no_finer_than_a_long_way_with_a_narrow_boom_allows(way_m, side_m):
    """Four million cells in 400 m2, or 40 km at two places a cell and a million places."""
    field = shapely.box(0, 0, 20, 20)
    assert Grid.over(field, field, 0.05, way_m).side_m == pytest.approx(side_m)
