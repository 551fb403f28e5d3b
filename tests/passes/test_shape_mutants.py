"""What the shape of a drive tells: a shifted outline, the spacing of passes, laps and passes of the diary, by hand."""

import math

import numpy as np
import pytest
import shapely

from coverage_audit.passes.diary import keep_diary
from coverage_audit.passes.driven_spacing import driven_spacing_m
from coverage_audit.passes.edge_shift import Samples, Shift, find_shift, sample_lap
from coverage_audit.passes.model import Fixed, Span

# --- a shifted outline -----------------------------------------------------------------------------


def samples(gaps_of, blocks=24):
    """Blocks of two samples each on the four sides of a rectangle in turn; *gaps_of* block and normal."""
    number = np.repeat(np.arange(blocks), 2)
    normal = np.array([(1, 0), (0, 1), (-1, 0), (0, -1)], float)[number % 4]
    return Samples(np.array([gaps_of(*one) for one in zip(number, normal, strict=True)]), normal, number)


def test_a_shift_is_as_long_as_its_parts():
    assert Shift(3.0, -4.0, 0.1).length_m == 5.0


def test_the_shift_and_its_error_are_those_of_least_squares():
    """0.4 m left all round, 3 m east and 2 m south; swings of 0.3 m, alike on opposite sides: 6 blocks a side.

    Each of the two is the difference of two means of 6 over two: its variance is s^2 / 12, with s^2 = 24 x 0.09 / 21.
    """

    def gap(block, normal):
        return 0.4 + normal @ (3.0, -2.0) + 0.3 * (-1) ** (block // 4)

    found = find_shift(samples(gap), 1.0)
    assert (found.east_m, found.north_m) == pytest.approx((3.0, -2.0))
    assert found.error_m == pytest.approx(math.sqrt(2 * 24 * 0.09 / 21 / 12))
    assert find_shift(samples(gap), 3.6) is not None
    assert find_shift(samples(gap), 3.61) is None


@pytest.mark.parametrize(("swing_m", "told"), [(0.55, True), (0.6, False)])
def test_a_shift_explains_three_fifths_of_what_the_gaps_differ_by(swing_m, told):
    """1 m east: gaps of 1, 0, -1, 0 have a variance of 1/2; a swing of s adds s^2: three fifths are 1/2 at 0.577."""
    found = find_shift(samples(lambda block, normal: normal @ (1.0, 0.0) + swing_m * (-1) ** (block // 4)), 0.5)
    assert (found is not None) == told


def test_a_few_far_off_blocks_have_no_say():
    """One block in eight 6 m off is left out; more than three in ten are too many."""

    def gap(far):
        return lambda block, normal: normal @ (3.0, 2.0) + 0.01 * (-1) ** block + (6.0 if block < far else 0.0)

    found = find_shift(samples(gap(3)), 1.0)
    assert (found.east_m, found.north_m) == pytest.approx((3.0, 2.0), abs=0.02)
    assert find_shift(samples(gap(8)), 1.0) is None
    assert find_shift(samples(lambda _, normal: normal @ (3.0, 2.0), blocks=8), 1.0) is not None
    assert find_shift(samples(lambda _, normal: normal @ (3.0, 2.0), blocks=7), 1.0) is None
    assert find_shift(Samples(np.zeros(0), np.zeros((0, 2)), np.zeros(0, int)), 1.0) is None


def test_a_lap_is_sampled_every_four_metres_away_from_corners():
    """South side of 200 m, 7 m in, with a boom of 9 m: 2.5 m left; within 7 m of a corner the other side is nearer."""
    x = np.arange(0.0, 201.0)
    field = shapely.box(0, 0, 200, 100)
    found = sample_lap(x, np.full(201, 7.0), field, 9.0)
    assert found.gap_m == pytest.approx(np.full(46, 2.5))
    assert found.normal == pytest.approx(np.tile([0.0, -1.0], (46, 1)))
    assert found.block.tolist() == [int((2 + 4 * k) // 20) for k in range(2, 48)]
    assert len(sample_lap(x, np.full(201, 18.1), field, 9.0).gap_m) == 0  # farther in than two booms
    assert len(sample_lap(x, np.full(201, 17.9), field, 9.0).gap_m) == 42  # 18 and 182 are the first and last
    holed = shapely.difference(field, shapely.box(50, 50, 60, 60))
    assert len(sample_lap(x, np.full(201, 7.0), holed, 9.0).gap_m) == 0  # whose edge that is, is not told


@pytest.mark.parametrize(("askew_deg", "count"), [(19, 8), (21, 0)])
def test_a_lap_askew_to_the_side_is_not_sampled(askew_deg, count):
    at = np.arange(0, 33.0)
    x, y = 80 + at * math.cos(math.radians(askew_deg)), 4 + at * math.sin(math.radians(askew_deg))
    assert len(sample_lap(x, y, shapely.box(0, 0, 200, 100), 9.0).gap_m) == count


# --- spacing from the drive alone ------------------------------------------------------------------------


def to_and_fro(x_m, length_m=150.0):
    """One unbroken way over passes north and south at *x_m*."""
    rows = []
    for k, x in enumerate(x_m):
        y = np.arange(0, length_m + 1, 3.0)
        rows.append(np.column_stack([np.full(len(y), x), y if k % 2 == 0 else y[::-1]]))
    return np.vstack(rows)


@pytest.mark.parametrize(("passes", "told"), [(6, True), (5, False)])
def test_a_spacing_needs_six_passes(passes, told):
    found = driven_spacing_m([to_and_fro(9.0 * np.arange(passes))])
    assert found == (pytest.approx(9.0, abs=0.01) if told else None)


@pytest.mark.parametrize(("length_m", "told"), [(44, True), (24, False)])
def test_runs_of_thirty_metres_are_passes(length_m, told):
    assert (driven_spacing_m([to_and_fro(9.0 * np.arange(10), length_m)]) is not None) == told


def test_most_of_the_distances_must_be_alike():
    """Within 15 % of one another, six in ten: of ten, six of 9 to 10 m; ways less than half a metre apart count not."""
    even = np.cumsum([0, 9, 9.5, 9, 9.5, 9, 9.5, 20, 30, 20])
    assert driven_spacing_m([to_and_fro(even)]) == pytest.approx(9.25, abs=0.3)
    odd = np.cumsum([0, 9, 9.5, 9, 9.5, 9, 15, 20, 30, 20])
    assert driven_spacing_m([to_and_fro(odd)]) is None
    twice = np.sort(np.concatenate([9.0 * np.arange(8), 9.0 * np.arange(8) + 0.4]))
    assert driven_spacing_m([to_and_fro(twice)]) == pytest.approx(8.6, abs=0.05)


@pytest.mark.parametrize("angle_deg", [0, 35, 90, 128, 179])
def test_the_axis_is_the_direction_most_driven(angle_deg):
    """Ten passes and, across them, three; parts of the drive may be apart."""
    turn = np.radians(angle_deg)
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    across = to_and_fro([0, 40, 80])[:, ::-1]
    assert driven_spacing_m([to_and_fro(7.0 * np.arange(10)) @ turned, across @ turned]) == pytest.approx(7.0, abs=0.05)


# --- laps and passes --------------------------------------------------------------------------------------


FIELD = shapely.box(0, 0, 120, 100)


def along(corners, speed_m_s=2.0, hz=2.0):
    """Places along *corners*, rounded."""
    line = shapely.LineString(corners)
    at = np.arange(0, line.length, speed_m_s / hz)
    sharp = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    kernel = np.ones(7) / 7
    return np.column_stack([np.convolve(np.pad(one, 3, "edge"), kernel, "valid") for one in sharp.T])


LAP = [(5, 5), (5, 95), (115, 95), (115, 5), (7, 5)]


def lap_and_passes(x_m):
    """Once round, then passes north and south within the lap."""
    corners = list(LAP)
    for k, x in enumerate(x_m):
        corners += [(x, 10), (x, 90)] if k % 2 == 0 else [(x, 90), (x, 10)]
    return along(corners)


def diary(places, on=None, breaks=(), field=FIELD, width_m=10.0):
    time = 100 + np.arange(len(places)) / 2
    sprayed = None if on is None else on(places)
    return keep_diary(Fixed(time, places[:, 0], places[:, 1], 0.02, sprayed), field, width_m, breaks)


def within(places):
    """Sprayed on the lap, and between y = 10 and 90."""
    lap = len(along(LAP))
    return (np.arange(len(places)) < lap) | ((places[:, 1] > 11) & (places[:, 1] < 89))


@pytest.mark.parametrize("logged", [True, False])
def test_a_lap_and_its_passes(logged):
    """A lap of 400 m, then nine passes of 80 m, 10 m apart: one lap, one block."""
    x_m = np.arange(20.0, 101.0, 10)
    found = diary(lap_and_passes(x_m), within if logged else None)
    kinds = [one.kind for one in found.spans]
    assert kinds.count("straight") == 9
    head = [one for one in found.spans if one.kind == "headland"]
    if logged:
        assert {one.lap for one in head} == {1}
    assert sum(one.end_s - one.start_s for one in head) == pytest.approx(200, abs=14)
    assert {one.block for one in found.spans if one.kind == "straight"} == {1}
    assert {one.block for one in found.spans if one.kind != "straight"} == {0}
    assert {round(one.direction_deg) % 180 for one in found.spans if one.kind == "straight"} == {0}
    assert set(kinds[kinds.index("straight") :]) == {"straight", "turn"}


def test_far_groups_of_passes_are_blocks_of_their_own():
    """Four passes, and four more 40 m further on: more than 2.6 booms."""
    field = shapely.box(-10, -10, 200, 110)
    x_m = [0, 10, 20, 30, 70, 80, 90, 100]
    corners = [
        corner for k, x in enumerate(x_m) for corner in ([(x, 0), (x, 100)] if k % 2 == 0 else [(x, 100), (x, 0)])
    ]
    found = diary(along(corners), field=field)
    assert [one.block for one in found.spans if one.kind == "straight"] == [1] * 4 + [2] * 4
    near = [
        corner
        for k, x in enumerate([0, 10, 20, 30, 55, 65])
        for corner in ([(x, 0), (x, 100)] if k % 2 == 0 else [(x, 100), (x, 0)])
    ]
    found = diary(along(near), field=field)
    assert [one.block for one in found.spans if one.kind == "straight"] == [1] * 6


def test_a_pass_driven_again_unsprayed_is_transport():
    """Up the first, down the second, then back over the first without spray; with it, it is a pass again."""
    corners = [(0, 0), (0, 100), (10, 100), (10, 0), (0, 0), (0, 100)]
    places = along(corners)
    last = np.arange(len(places)) >= len(places) - 98
    field = shapely.box(-10, -10, 200, 110)
    dry = diary(places, lambda _: ~last, field=field)
    wet = diary(places, lambda places: np.ones(len(places), bool), field=field)
    unknown = diary(places, field=field)
    counts = [sum(one.kind == "straight" for one in told.spans) for told in (dry, wet, unknown)]
    assert counts == [2, 3, 2]


def test_a_forgotten_pass_is_a_pass():
    """Between two sprayed ones, along their line and on ground of its own, the boom was off."""
    corners = [
        corner
        for k, x in enumerate([0, 10, 20, 30])
        for corner in ([(x, 0), (x, 100)] if k % 2 == 0 else [(x, 100), (x, 0)])
    ]
    places = along(corners)
    field = shapely.box(-10, -10, 200, 110)
    found = diary(places, lambda places: np.abs(places[:, 0] - 20) > 4, field=field)
    assert sum(one.kind == "straight" for one in found.spans) == 4
    outside = diary(places, lambda places: np.abs(places[:, 0] - 20) > 4, field=shapely.box(-10, -10, 15, 110))
    assert sum(one.kind == "straight" for one in outside.spans) < 4 + 1


def test_a_leg_driven_backwards_is_no_pass():
    places = along([(0, 0), (0, 100), (10, 100), (10, 0)])
    time = 100 + np.arange(len(places)) / 2
    begin = time[np.argmax(places[:, 0] > 9)]
    back = [Span("reversing", begin, time[-1] + 1)]
    found = diary(places, breaks=back, field=shapely.box(-10, -10, 200, 110))
    assert sum(one.kind == "straight" for one in found.spans) == 1
    assert found.spans[-1].kind == "reversing"


def test_a_long_drive_between_passes_is_transport():
    """Four booms and 40 m: 66 m are a turn, and 106 m a way elsewhere."""
    for aside, kind in ((10, "turn"), (30, "transport")):
        corners = [(0, 0), (0, 100), (-aside, 105), (-aside, 120), (10, 120), (10, 100), (10, 0)]
        found = diary(along(corners), lambda places: places[:, 1] <= 90, field=shapely.box(-100, -10, 200, 101))
        kinds = [one.kind for one in found.spans]
        assert kinds == ["straight", kind, "straight"]
