"""The truth and the drive of the second simulator against closed forms and against unions by Shapely (GEOS)."""

import numpy as np
import pytest
import shapely
from shapely.geometry import box

from second_simulator.cases import Case, play
from second_simulator.drivers import Machine
from second_simulator.driving import Drive
from second_simulator.truth import count_ground
from second_simulator.turns import WORDS, _lengths, _poses, shortest

MACHINE = Machine(8.0, 1.0, 0.5, 4.0, 2.0, axle_stated=True)
FLOAT_M2 = 1e-6  # sums of a few thousand products of floats


def straight_drive(starts, ends, on=None):
    """Passes at 2 m/s between the places given, the boom's way through them; on all along each, ends exact."""
    times, axle, heading, spans, now = [], [], [], [], 0.0
    for start, end in zip(np.array(starts, float), np.array(ends, float), strict=True):
        run = end - start
        length, angle = np.hypot(*run), np.arctan2(run[1], run[0])
        along = np.linspace(0, 1, int(length / 0.1) + 1)
        times.append(now + along * length / 2)
        axle.append(start + along[:, None] * run + np.array([np.cos(angle), np.sin(angle)]))
        heading.append(np.full(len(along), angle))
        spans.append((now, now + length / 2))
        now += length / 2 + 20
    spans = np.array(spans if on is None else on)
    return Drive(MACHINE, np.concatenate(times), np.concatenate(axle), np.concatenate(heading), spans)


def test_one_straight_pass_misses_what_it_does_not_sweep():
    drive = straight_drive([(0, 0)], [(100, 0)])
    truth = count_ground(drive, box(0, -10, 100, 10))
    assert truth.target_m2 == pytest.approx(2000, abs=0.02)  # ends of 0.1 m lines at four corners
    assert truth.missed_m2 == pytest.approx(100 * 20 - 100 * 8, abs=0.05)
    assert truth.double_m2 == 0


@pytest.mark.parametrize("spacing_m", [8.3, 7.4])
def test_a_gap_or_overlap_of_known_width_between_two_passes(spacing_m):
    drive = straight_drive([(0, 0), (100, spacing_m)], [(100, 0), (0, spacing_m)])
    truth = count_ground(drive, box(0, -4, 100, spacing_m + 4))
    assert truth.missed_m2 == pytest.approx(100 * max(0.0, spacing_m - 8), abs=0.05)
    assert truth.double_m2 == pytest.approx(100 * max(0.0, 8 - spacing_m), abs=0.05)


def test_a_strip_is_missed_where_the_gap_is():
    drive = straight_drive([(0, 0), (100, 9)], [(100, 0), (0, 9)])
    truth = count_ground(drive, box(0, -4, 100, 13))
    gap = box(10, 4, 90, 5)
    assert truth.missed_share(gap) > 0.97  # a line stands for its decimetre: the rim is blurred
    assert truth.missed_share(shapely.affinity.translate(gap, 0, 0.5)) == pytest.approx(0.5, abs=0.03)
    assert truth.missed_share(box(10, 6, 90, 7)) == 0


def test_going_round_in_one_stretch_is_another_visit_only_after_half_pi_widths():
    """Once and a quarter round; the whole circle is 11.9 or 13.2 m of travel, half pi widths of 8 m are 12.6 m."""
    double = []
    for radius in (1.9, 2.1):
        turns = np.linspace(0, 2.5 * np.pi, 2000)
        axle = radius * np.column_stack([np.sin(turns), 1 - np.cos(turns)])
        machine = Machine(8.0, 0.0, 0.0, 2.0, 2.0, axle_stated=True)
        drive = Drive(machine, turns * radius / 2, axle, turns, np.array([[0, turns[-1] * radius / 2]]))
        double.append(count_ground(drive, box(-7, -5, 7, 9)).double_m2)
    # a quarter of the ring of 6.1 m, less what the inner tips had swept half a turn before or after in any case
    assert double[0] == 0
    assert 5 < double[1] < np.pi * 6.1**2 / 2


@pytest.mark.parametrize("seed", [3, 4])
def test_missed_ground_of_a_whole_job_is_the_target_less_the_union_of_its_sweeps(seed):
    """By a second route: GEOS unions of convex quadrilaterals of 0.05 s."""
    played = play(Case("sbas", "hand", seed, stress="no-error"))
    drive, swept = played.drive, []
    for on, off in drive.on_s:
        times = np.append(np.arange(on, off, 0.05), off)
        left, right = drive.tips(times)
        corners = np.stack([left[:-1], right[:-1], right[1:], left[1:]], axis=1)
        swept.append(shapely.union_all(shapely.convex_hull(shapely.multipoints(corners))))
    missed = played.field.target.difference(shapely.union_all(swept)).area
    assert played.truth.target_m2 == pytest.approx(played.field.target.area, rel=1e-5)
    # convex hulls of bow-ties in tight corners cover a little more: some dm2 a corner
    assert played.truth.missed_m2 == pytest.approx(missed, abs=1.0)
    assert 1.5e4 <= played.field.outline.area <= 3.0e4


@pytest.mark.parametrize("word", WORDS)
def test_every_kind_of_turn_ends_where_it_should(word):
    rng, met = np.random.default_rng(5), 0
    for _ in range(200):
        start, end = np.array([0, 0, rng.uniform(-3, 3)]), np.array([*rng.uniform(-12, 12, 2), rng.uniform(-3, 3)])
        gap = end[:2] / 4.0
        bearing = np.arctan2(gap[1], gap[0])
        lengths = _lengths(word, start[2] - bearing, end[2] - bearing, np.hypot(*gap))
        if lengths is None:
            continue
        met += 1
        last = _poses(start, word, lengths, np.array([sum(lengths)]), 4.0)[-1]
        assert last[:2] == pytest.approx(end[:2], abs=FLOAT_M2)
        assert np.cos(last[2] - end[2]) == pytest.approx(1, abs=FLOAT_M2)
    assert met > 10


def test_the_shortest_turn_between_rows_four_radii_apart_is_two_quarters_and_a_straight():
    way = shortest(np.array([0, 0, 0.0]), np.array([0, 16, np.pi]), 4.0)
    assert len(way) * 0.1 == pytest.approx(np.pi * 4 + 8, abs=0.2)  # two quarter circles of 4 m and 8 m between them
