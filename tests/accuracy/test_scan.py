"""Ground counted along lines, against the exact partition and against areas that can be written down.

Tolerance: a line stands for the ground half a step to either side, so an edge that crosses the
lines is off by at most a triangle at each end; 2e-5 of the target leaves room for forty of them.
"""

import dataclasses

import calibrate_accuracy
import numpy as np
import pytest
import shapely
from jobs import boom, job, log, worked_job
from shapely import affinity

from coverage_audit.accuracy import scan
from coverage_audit.accuracy.scan import Cuts, Scan
from coverage_audit.accuracy.swept import Steps, steps_of
from coverage_audit.ground.model import BoomLines
from coverage_audit.ground.partition import partition
from coverage_audit.ground.pieces import pieces_of, quad_area, travel_at
from coverage_audit.ground.target import lay_out
from coverage_audit.jobs.settings import FieldSettings
from coverage_audit.recipe.drive import drive_of, ground_of, job_plane

WIDTH_M = 9.0
NEAR = 2e-5


def boom_lines(x, y, heading=None, stretch=0, offsets=((-WIDTH_M / 2, WIDTH_M / 2),), travel0=0.0):
    x, y = np.asarray(x, float), np.asarray(y, float)
    if heading is None:
        heading = np.unwrap(np.arctan2(np.gradient(x), np.gradient(y)))
    travel = travel0 + np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    no = np.zeros(len(x), bool)
    return BoomLines(x, y, heading, travel, no, no, no, offsets, stretch)


def both(lines, field):
    """Missed and double by lines, and by the exact partition of *field*."""
    ground = lay_out([field], [], FieldSettings())
    steps = steps_of(lines)
    parts = partition([piece for one in lines for piece in pieces_of(one)], ground, WIDTH_M, travel_at)
    scanned = Scan.over(ground.target, steps, WIDTH_M).areas(steps)
    return scanned, np.array(calibrate_accuracy.areas_of(parts)[:2])


def simulated_lines(seed, steering):
    one, _ = calibrate_accuracy.simulated(seed, 1, steering, 1.0)
    whole = job(log(one.times_s, one.logged_m), one.on_intervals, one.scenario.field, boom=boom(WIDTH_M))
    plane = job_plane(whole)
    drive = drive_of(whole, plane)
    return drive.thinned, ground_of(whole, plane, drive)[0]


@pytest.mark.parametrize(("seed", "steering"), [(2100, "hand"), (2101, "hand"), (2102, "guided")])
def test_whole_jobs_are_counted_like_the_exact_partition_does(seed, steering):
    lines, ground = simulated_lines(seed, steering)
    scanned, exact = both(lines, ground.field)
    assert scanned == pytest.approx(exact, abs=NEAR * ground.target.area)


def test_moved_steps_are_counted_like_moved_lines():
    lines, ground = simulated_lines(2103, "hand")
    count = sum(len(one.x_m) for one in lines)
    shift = 0.4 * np.column_stack([np.sin(np.arange(count) / 30), np.cos(np.arange(count) / 70)])
    steps = steps_of(lines)
    shifted = calibrate_accuracy.moved(lines, shift)
    parts = partition([piece for one in shifted for piece in pieces_of(one)], ground, WIDTH_M, travel_at)
    found = Scan.over(ground.target, steps, WIDTH_M).areas(steps.moved(shift))
    assert found == pytest.approx(np.array(calibrate_accuracy.areas_of(parts)[:2]), abs=NEAR * ground.target.area)


def test_worked_job_has_a_hundred_square_metres_missed_and_double():
    whole = worked_job(10.0)
    plane = job_plane(whole)
    drive = drive_of(whole, plane)
    steps = steps_of(drive.thinned)
    ground = ground_of(whole, plane, drive)[0]
    assert Scan.over(ground.target, steps, 10.0).areas(steps) == pytest.approx([100, 100], abs=0.6)  # 1e-4


def test_lines_that_run_along_edges_are_not_chosen():
    """A field and passes at 30 degrees: lines along or across them would miss or take whole strips."""
    field = affinity.rotate(shapely.box(0, 0, 60, 60), 30, origin=(0, 0))
    turn = np.array([[np.cos(np.pi / 6), -np.sin(np.pi / 6)], [np.sin(np.pi / 6), np.cos(np.pi / 6)]])
    lines = []
    for k in range(6):
        ends = turn @ np.array([[10.0 * k + 4.6, 10.0 * k + 4.6], [0.03, 59.97]])
        lines.append(boom_lines(*ends, stretch=k, travel0=200.0 * k))
    scanned, exact = both(lines, field)
    assert exact == pytest.approx([3600 - 54 * 59.94, 0], abs=1e-6)
    assert scanned == pytest.approx(exact, abs=NEAR * 3600)


# --- visits -----------------------------------------------------------------------------------------


def around(turns, radius_m=12.0, count=400):
    angle = np.linspace(0, 2 * np.pi * turns, count)
    return boom_lines(radius_m * np.sin(angle), radius_m * np.cos(angle), np.pi / 2 + angle)


@pytest.mark.parametrize("turns", [0.9, 1.0, 1.25, 2.0])
def test_second_lap_of_one_stretch_is_another_visit(turns):
    scanned, exact = both([around(turns)], shapely.box(-20, -20, 20, 20))
    ring = np.pi * (16.5**2 - 7.5**2)
    assert scanned[1] == pytest.approx(max(turns - 1, 0) * ring, abs=0.3)  # the circle is a polygon of 400
    assert scanned == pytest.approx(exact, abs=0.1)


def test_inside_of_a_tight_turn_is_one_visit():
    """The boom's inner tip goes backwards; ground swept again within pi/2 widths of travel counts once."""
    lines = [around(0.5, radius_m=2.0, count=61)]
    scanned, exact = both(lines, shapely.box(-20, -20, 20, 20))
    assert exact[1] == 0
    assert scanned[1] < 0.05
    assert scanned == pytest.approx(exact, abs=0.1)


def test_two_stretches_are_two_visits_however_close():
    first, second = boom_lines([0, 0], [0, 50]), boom_lines([0, 0], [40, 90], stretch=1, travel0=40.0)
    scanned, exact = both([first, second], shapely.box(-10, -7, 11, 97))
    assert exact[1] == pytest.approx(90)
    assert scanned == pytest.approx(exact, abs=NEAR * 21 * 104)


def test_sections_are_swept_apart():
    lines = [boom_lines([0, 0], [0, 50], offsets=((-4.5, -1.5), (1.5, 4.5)))]
    scanned, exact = both(lines, shapely.box(-6, -1, 6, 51))
    assert exact[0] == pytest.approx(12 * 52 - 300)
    assert scanned == pytest.approx(exact, abs=0.02)


def test_holes_of_the_target_are_left_out():
    field = shapely.box(-6, -1, 6, 51) - shapely.Point(0.0, 20.0).buffer(3.0)
    scanned, exact = both([boom_lines([0, 0], [0, 50])], field)
    assert exact[0] == pytest.approx(12 * 52 - 450)  # the hole lies within the swath
    assert scanned == pytest.approx(exact, abs=0.02)


# --- steps and cuts ---------------------------------------------------------------------------------


def test_steps_leave_out_gaps_of_the_log():
    gap = dataclasses.replace(boom_lines([0, 0, 0], [0, 10, 30]), gap_after=np.array([False, True, False]))
    steps = steps_of([gap])
    assert len(steps.stretch) == 1
    assert shapely.Polygon(steps.corner_m[0]).area == pytest.approx(90)


def test_steps_add_up_to_what_the_boom_swept():
    lines, _ = simulated_lines(2104, "hand")
    steps = steps_of(lines)
    whole = shapely.area(shapely.polygons(steps.corner_m)).sum()
    # bow-ties apart, which a polygon's signed area counts as their difference
    assert whole == pytest.approx(sum(quad_area(one) for one in lines), rel=1e-4)


def test_cuts_see_what_is_missed_across_a_strip():
    field = shapely.box(0, 0, 21, 50)
    passes = [boom_lines([4.5, 4.5], [0, 50]), boom_lines([15.0, 15.0], [0, 50], stretch=1, travel0=100.0)]
    cuts = np.array([shapely.LineString([(5, 25), (16, 25)]), shapely.LineString([(18, 10), (23, 20)])])
    steps = steps_of(passes)
    found = Cuts.of(cuts, field, steps, 2.0, WIDTH_M)
    beyond = np.hypot(1.5, 3.0)  # from the second pass's edge at 19.5 m to the field's at 21 m
    assert found.missed_m(steps) == pytest.approx([1.5, beyond])
    shift = np.repeat([[0.5, 0.0], [0.0, 0.0]], 2, axis=0)
    assert found.missed_m(steps.moved(shift)) == pytest.approx([1.0, beyond])


def test_cuts_agree_with_the_exact_partition():
    lines, ground = simulated_lines(2105, "hand")
    steps = steps_of(lines)
    parts = partition([piece for one in lines for piece in pieces_of(one)], ground, WIDTH_M, travel_at)
    faces = parts.faces[parts.in_target & (parts.visits == 0) & (parts.area_m2 > 1.0)]
    middle = shapely.get_coordinates(shapely.point_on_surface(faces))
    cuts = shapely.linestrings(middle[:, None] + np.array([[-2.0, -3.0], [2.0, 3.0]]))
    found = Cuts.of(cuts, ground.target, steps, 1.0, WIDTH_M).missed_m(steps)
    assert len(cuts) > 10
    assert found == pytest.approx(calibrate_accuracy.missed_across(parts, cuts), abs=1e-6)


def test_rounding_at_the_end_of_the_last_cut_makes_no_further_one():
    """Cuts of one length whose ends are swept, at two hundred angles."""
    for angle in 0.01 * np.arange(200):
        along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
        ends = [np.stack([s * 5 * along - 60 * across, s * 5 * along + 60 * across]) for s in (-1, 1)]
        steps = steps_of([boom_lines(*one.T, stretch=k, travel0=200.0 * k) for k, one in enumerate(ends)])
        cut = np.array([shapely.LineString([-along, along])])
        missed = Cuts.of(cut, shapely.box(-99, -99, 99, 99), steps, 1.0, WIDTH_M).missed_m(steps)
        assert missed == pytest.approx([1.0])  # between swaths of 9 m, ten apart


@pytest.mark.parametrize("order", [[0, 1], [1, 0]])
def test_cuts_outside_the_target_have_nothing_to_miss(order):
    steps = steps_of([boom_lines([0, 0], [0, 50])])
    cuts = np.array([shapely.LineString([(8, 2), (8, 6)]), shapely.LineString([(90, 0), (90, 5)])])[order]
    found = Cuts.of(cuts, shapely.box(0, 0, 10, 10), steps, 1.0, WIDTH_M).missed_m(steps)
    assert found == pytest.approx(np.array([4.0, 0.0])[order])


def test_pairs_are_worked_off_in_parts(monkeypatch):
    lines, ground = simulated_lines(2106, "hand")
    steps = steps_of(lines)
    west, south, east, north = ground.target.bounds
    cuts = np.array([shapely.LineString([(west, y), (east, y)]) for y in np.linspace(south + 1, north - 1, 20)])
    whole = Cuts.of(cuts, ground.target, steps, 1.0, WIDTH_M)
    once = whole.missed_m(steps)
    monkeypatch.setattr(scan, "MOST_PAIRS", 100)
    assert whole.missed_m(steps) == pytest.approx(once, abs=1e-9)
    assert once.sum() > 1.0


def test_no_cuts_and_nothing_near_are_no_trouble():
    steps = steps_of([boom_lines([0, 0], [0, 50])])
    assert isinstance(steps, Steps)
    none = Cuts.of(np.empty(0, dtype=object), shapely.box(0, 0, 10, 10), steps, 2.0, WIDTH_M)
    assert len(none.missed_m(steps)) == 0
    far = Cuts.of(np.array([shapely.LineString([(90, 0), (90, 5)])]), shapely.box(80, 0, 99, 5), steps, 2.0, WIDTH_M)
    assert far.missed_m(steps) == pytest.approx([5.0])


# --- runs -------------------------------------------------------------------------------------------


def odd_drives(seed, count=300):
    """A drive that wanders, backs, stands and turns about within a few metres."""
    rng = np.random.default_rng(seed)
    heading = np.cumsum(rng.normal(0, 0.15, count))
    on = rng.uniform(0, 1.5, count) * rng.choice([1, 1, 1, 1, 1, 1, 0, -1], count)
    return boom_lines(np.cumsum(on * np.sin(heading)), np.cumsum(on * np.cos(heading)), heading)


def slid_back():
    """Boom that slides to and fro along itself, tilted the way back each time: no step goes back, but the tips do."""
    tilt = np.radians(7)
    right, left = (np.array([np.cos(one), -np.sin(one)]) for one in (tilt, -tilt))
    ahead = np.array([0.0, 0.02])
    first = np.array([0.0, 0.0])
    second = first + 4 * right + ahead
    third = second - 4.5 * right + 4.5 * left + ahead  # about its left tip
    fourth = third - 4 * left + ahead
    x, y = np.array([first, second, third, fourth, fourth + np.array([0, 1])]).T
    return boom_lines(x, y, np.array([tilt, tilt, -tilt, -tilt, -tilt]))


def straight_on():
    return boom_lines(np.full(100, 40.0), np.linspace(0, 20, 100), stretch=1, travel0=100.0)


@pytest.mark.parametrize("shake_m", [0.0, 0.03, 0.5])
@pytest.mark.parametrize(
    "lines",
    [
        [around(1.25)],
        [around(0.5, 2.0, 61)],
        [odd_drives(1)],
        [odd_drives(2), around(3.0)],
        [slid_back(), straight_on()],
    ],
)
def test_runs_of_steps_are_counted_like_each_step_alone(lines, shake_m):
    steps = steps_of(lines)
    shake = np.random.default_rng(3).normal(0, shake_m, (sum(len(one.x_m) for one in lines), 2))
    moved = steps.moved(shake)
    count = Scan.over(shapely.box(*shapely.multipoints(steps.corner_m.reshape(-1, 2)).bounds), steps, WIDTH_M)
    alone = dataclasses.replace(moved, onward=np.zeros(len(steps.line), bool))
    assert count.areas(moved)[0] == pytest.approx(count.areas(alone)[0], abs=1e-6)
    # nearly all of it: how far was travelled at a place, which tells visits apart, is laid between other places
    assert count.areas(moved)[1] == pytest.approx(count.areas(alone)[1], abs=0.002 * count.areas(alone)[0])


@pytest.mark.parametrize("seed", [1, 6])
def test_visits_of_an_odd_drive_are_those_of_the_exact_partition(seed):
    lines = [odd_drives(seed)]
    scanned, exact = both(lines, shapely.box(*shapely.multipoints(steps_of(lines).corner_m.reshape(-1, 2)).bounds))
    assert scanned[0] == pytest.approx(exact[0], abs=NEAR * exact[0])
    assert scanned[1] == pytest.approx(exact[1], abs=0.3)  # of 10 and 4 m2; each step alone: 1.1 more


def test_passes_are_few_runs_whatever_way_they_go():
    lines, _ = simulated_lines(2101, "hand")
    starts = steps_of(lines).starts()
    assert starts.sum() < 0.25 * len(starts)


def test_parts_of_cuts_inside_are_those_of_the_intersection():
    rng = np.random.default_rng(4)
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 30 + 3 * rng.random(400)
    area = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    area -= shapely.Point(10, 0).buffer(5) | shapely.box(-20, -5, -10, 5)
    ends = np.vstack([rng.uniform(-40, 40, (300, 2, 2)), [[[-10, -9], [-10, 9]], [[10, 0], [11, 0]]]])
    cuts = shapely.linestrings(ends)  # the last but one along a side, the last in a hole
    of, at = scan._inside(cuts, shapely.length(cuts), area)  # noqa: SLF001 - what a cut has to miss
    found = np.bincount(of, weights=np.diff(at)[:, 0], minlength=len(cuts))
    assert found[:-2] == pytest.approx(shapely.length(shapely.intersection(cuts[:-2], area)), abs=1e-9)
    assert found[-2] >= 8 - 1e-9  # beside the hole on both sides; the outline itself is of the area
    assert found[-1] == 0


def test_an_outline_of_many_sides_is_looked_at_near_cuts_alone(monkeypatch):
    area = shapely.Point(0, 0).buffer(50, quad_segs=5000)
    cuts = shapely.linestrings([[[49.0, y], [51.0, y]] for y in np.linspace(-5, 5, 40)])
    looked_at = []

    def counting(one, other, whole=shapely.intersection):
        looked_at.append(shapely.get_num_coordinates(np.atleast_1d(other)).sum())
        return whole(one, other)

    monkeypatch.setattr(scan.shapely, "intersection", counting)
    scan._inside(cuts, shapely.length(cuts), area)  # noqa: SLF001 - what is counted is the work
    assert 40 < sum(looked_at) < 400  # 20 000 sides, forty times
