"""Whole audits against areas that can be written down.

Tolerances are those asked of the audit: 0.01 % of the field at 10 Hz and 0.1 % at 1 Hz,
where nothing finer is stated. Shape formulas: check-values of elementary geometry (crossing
strips, annuli, lenses of two discs), computed here from their textbook forms.
"""

import math

import numpy as np
import pytest
import shapely
from jobs import PLACE, boom, drive, job, log, parallel_passes, worked_job

from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.settings import BoomSettings
from coverage_audit.recipe.audit import audit_job

SHARE = {10.0: 1e-4, 1.0: 1e-3}
both_rates = pytest.mark.parametrize("hz", [10.0, 1.0])


def tolerance(audit, hz):
    return SHARE[hz] * audit.area_m2.field


def assert_closes(audit):
    areas = audit.area_m2
    assert sum(areas.by_visits) == pytest.approx(areas.target, rel=1e-6)
    assert audit.checks.closure_rel < 1e-6
    assert audit.checks.ok


@both_rates
def test_third_of_six_passes_one_metre_off(hz):
    """100 m2 missed on one side, 100 m2 double on the other, 5 900 covered, 6 000 swept."""
    audit = audit_job(worked_job(hz))
    areas, near = audit.area_m2, tolerance(audit, hz)
    assert areas.field == pytest.approx(6000, rel=1e-6)
    assert areas.missed == pytest.approx(100, abs=near)
    assert areas.double == pytest.approx(100, abs=near)
    assert areas.covered == pytest.approx(5900, abs=near)
    assert areas.swept == pytest.approx(6000, abs=near)
    assert_closes(audit)
    (strip,) = audit.missed_strips
    assert (strip.where, strip.area_m2) == ("between passes", pytest.approx(100, abs=near))
    assert strip.length_m == pytest.approx(100, rel=0.01)  # a hundredth: the middle line is sliced
    assert strip.mean_width_m == pytest.approx(1, rel=0.01)
    assert strip.max_width_m == pytest.approx(1, abs=0.03)  # inscribed circles are found to 2 cm
    assert min(strip.orientation_deg, 180 - strip.orientation_deg) < 0.1
    (patch,) = audit.double_patches
    assert (patch.area_m2, patch.max_visits) == (pytest.approx(100, abs=near), 2)


@pytest.mark.parametrize("angle_deg", [15, 40, 90, 160])
def test_crossing_swaths_overlap_by_width_squared_over_sine(angle_deg):
    width = 9.0
    angle = math.radians(angle_deg)

    def path(t):
        if t <= 40:
            return np.array([0.0, -50 + 2.5 * t])
        if t < 100:  # back round outside the field, boom off
            return np.array([0.0, 50.0]) + (t - 40) / 60 * (
                -50 * np.array([np.sin(angle), np.cos(angle)]) - [0.0, 50.0]
            )
        return (2.5 * (t - 100) - 50) * np.array([np.sin(angle), np.cos(angle)])

    times, points = drive(path, 140, 10)
    field = shapely.Point(0, 0).buffer(48)
    audit = audit_job(job(log(times, points), [(2, 38), (102, 138)], field, boom=boom(width)))
    assert audit.area_m2.double == pytest.approx(width**2 / math.sin(angle), abs=tolerance(audit, 10.0))
    assert_closes(audit)


def circling(radius_m, laps, hz, centre=(0.0, 0.0)):
    speed = 2.5
    lap_s = 2 * math.pi * radius_m / speed

    def path(t):
        angle = (t - 4) * speed / radius_m
        return np.array(centre) + radius_m * np.array([math.sin(angle), math.cos(angle)])

    times, points = drive(path, laps * lap_s + 8, hz)
    return times, points, (4.0, 4.0 + laps * lap_s)


@both_rates
@pytest.mark.parametrize("radius", [6.0, 10.0, 25.0])
def test_circle_sweeps_two_pi_r_w(hz, radius):
    times, points, on = circling(radius, 1, hz)
    field = shapely.box(-40, -40, 40, 40)
    audit = audit_job(job(log(times, points), [on], field, boom=boom(9.0)))
    assert audit.area_m2.covered == pytest.approx(2 * math.pi * radius * 9.0, abs=tolerance(audit, hz))
    assert audit.area_m2.double == pytest.approx(0, abs=tolerance(audit, hz))
    assert_closes(audit)


@both_rates
def test_second_lap_in_the_same_stretch_doubles_all_of_it(hz):
    times, points, on = circling(12.0, 2, hz)
    audit = audit_job(job(log(times, points), [on], shapely.box(-40, -40, 40, 40), boom=boom(9.0)))
    once = 2 * math.pi * 12.0 * 9.0
    assert audit.area_m2.covered == pytest.approx(once, abs=tolerance(audit, hz))
    assert audit.area_m2.double == pytest.approx(once, abs=tolerance(audit, hz))
    assert audit.area_m2.swept == pytest.approx(2 * once, abs=2 * tolerance(audit, hz))
    assert_closes(audit)


def lens(first_m, second_m, apart_m):
    """Area common to two discs (textbook: two circular segments, or the smaller disc)."""
    if apart_m <= abs(first_m - second_m):
        return math.pi * min(first_m, second_m) ** 2
    if apart_m >= first_m + second_m:
        return 0.0
    total = 0.0
    for one, other in ((first_m, second_m), (second_m, first_m)):
        half = math.acos((apart_m**2 + one**2 - other**2) / (2 * apart_m * one))
        total += one**2 * (half - math.sin(2 * half) / 2)
    return total


@both_rates
@pytest.mark.parametrize("inner", [17.0, 20.0, 23.0])
def test_spiral_of_two_laps_in_one_stretch(hz, inner):
    """A lap of 25 m radius runs on into a smaller one that touches it: two annuli with a known overlap."""
    outer, width, speed = 25.0, 9.0, 2.5
    lap = 2 * math.pi * outer / speed
    second = 2 * math.pi * inner / speed

    def path(t):
        if t <= 4 + lap:
            angle = (t - 4) * speed / outer
            return outer * np.array([math.sin(angle), math.cos(angle)])
        angle = (t - 4 - lap) * speed / inner
        return np.array([0.0, outer - inner]) + inner * np.array([math.sin(angle), math.cos(angle)])

    times, points = drive(path, lap + second + 8, hz)
    audit = audit_job(job(log(times, points), [(4, 4 + lap + second)], shapely.box(-40, -40, 40, 40), boom=boom(width)))
    apart, half = outer - inner, width / 2
    overlap = sum(
        sign * lens(outer + a * half, inner + b * half, apart)
        for a, b, sign in ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))
    )
    near = tolerance(audit, hz)
    assert audit.area_m2.double == pytest.approx(overlap, abs=near)
    assert audit.area_m2.covered == pytest.approx(2 * math.pi * width * (outer + inner) - overlap, abs=near)
    assert_closes(audit)


@both_rates
@pytest.mark.parametrize(("spacing", "passes"), [(8.1, 6), (8.8, 4), (9.0, 5)])
def test_regular_passes_gross_over_net(hz, spacing, passes):
    """Gross / net = n W / (W + (n - 1) s); 6 passes of 18 m at 16.2 m give 1.0909 (check by hand)."""
    width, length = 9.0, 120.0
    middles = [4.5 + k * spacing for k in range(passes)]
    times, points, intervals = parallel_passes(middles, 0.0, length, hz=hz)
    field = shapely.box(0, 0, width + (passes - 1) * spacing, length)
    audit = audit_job(job(log(times, points), intervals, field, boom=boom(width)))
    near = tolerance(audit, hz)
    assert audit.area_m2.swept == pytest.approx(passes * width * length, abs=near)
    assert audit.area_m2.covered == pytest.approx(field.area, abs=near)
    assert audit.area_m2.swept / audit.area_m2.swept_net == pytest.approx(
        passes * width / (width + (passes - 1) * spacing), abs=2 * near / field.area
    )


@both_rates
@pytest.mark.parametrize(("on", "off"), [(10.0, 30.0), (10.37, 29.81), (11.5, 11.9)])
def test_switching_between_fixes(hz, on, off):
    """Switching moments are interpolated: 2.5 m/s times the on-time, to a millimetre of travel."""
    times, points = drive(lambda t: np.array([0.0, 2.5 * t]), 60, hz)
    audit = audit_job(job(log(times, points), [(on, off)], shapely.box(-20, 0, 20, 150), boom=boom(9.0)))
    assert audit.area_m2.covered == pytest.approx(9.0 * 2.5 * (off - on), abs=0.009)
    assert audit.distance_on_m == pytest.approx(2.5 * (off - on), abs=0.001)
    assert audit.time_on_s == pytest.approx(off - on, abs=1e-5)  # times near 2e9 s hold 2e-7 s


def test_valve_delays_move_both_ends_and_join_what_they_close():
    times, points = drive(lambda t: np.array([0.0, 2.5 * t]), 60, 10)
    slow = boom(9.0, on_delay_s=0.5, off_delay_s=2.0)
    audit = audit_job(job(log(times, points), [(10, 20), (21.5, 30)], shapely.box(-20, 0, 20, 150), boom=slow))
    assert audit.time_on_s == pytest.approx(32 - 10.5, abs=1e-5)
    assert len(audit.on_intervals) == 1


@both_rates
def test_lever_arm_ahead_and_to_the_side(hz):
    """Antenna 1.4 m ahead and 0.6 m right of the boom: the swath lies 1.4 m behind and 0.6 m left."""
    times, points = drive(lambda t: np.array([10.0, 2.5 * t]), 60, hz)
    settings = boom(9.0, antenna_ahead_m=1.4, antenna_right_m=0.6)
    audit = audit_job(job(log(times, points), [(10, 40)], shapely.box(-20, 0, 40, 150), boom=settings))
    swath = shapely.union_all(audit.layers.by_visits[1:])
    # corners within 1 cm: the plane is centred on the track, not on the origin of these numbers
    middle = audit_plane_shift(audit)
    expected = np.array([10 - 0.6 - 4.5, 25 - 1.4, 10 - 0.6 + 4.5, 100 - 1.4]) - np.tile(middle, 2)
    assert np.array(swath.bounds) == pytest.approx(expected, abs=0.01)


def audit_plane_shift(audit):
    """Where the audit's plane has its origin in the plane that the job was built in. [m]"""
    x, y = Plane(PLACE).to_metres([audit.origin.lon_deg], [audit.origin.lat_deg])
    return np.array([x[0], y[0]])


@both_rates
def test_axle_behind_antenna_on_a_circle(hz):
    """The boom sits on the axle, which follows the antenna's circle at radius sqrt(R^2 - a^2)."""
    radius, axle = 8.0, 1.4
    times, points, on = circling(radius, 1, hz)
    settings = boom(9.0, antenna_ahead_m=axle, axle_behind_antenna_m=axle)
    audit = audit_job(job(log(times, points), [on], shapely.box(-30, -30, 30, 30), boom=settings))
    expected = 2 * math.pi * math.sqrt(radius**2 - axle**2) * 9.0
    assert audit.area_m2.covered == pytest.approx(expected, abs=tolerance(audit, hz))


@both_rates
def test_towed_boom_on_a_circle(hz):
    """Drawbar of 3 m from the antenna's foot to the wheels under the boom: radius sqrt(R^2 - 9)."""
    radius, bar = 12.0, 3.0
    times, points, on = circling(radius, 2, hz)
    half = (on[0] + on[1]) / 2  # the first lap lets the bar settle
    settings = boom(9.0, antenna_ahead_m=bar, towed_m=bar)
    audit = audit_job(job(log(times, points), [(half, on[1])], shapely.box(-30, -30, 30, 30), boom=settings))
    expected = 2 * math.pi * math.sqrt(radius**2 - bar**2) * 9.0
    assert audit.area_m2.covered == pytest.approx(expected, abs=tolerance(audit, hz))


def there_and_back(t, forward_m=60.0, back_m=25.0, stop_s=2.0, speed=2.5):
    """Along y: forward, a stop, backward, a stop, forward again, with 1 m/s2 of braking and starting."""
    legs = [forward_m, -back_m, forward_m]
    position = 0.0
    for leg in legs:
        ramp = speed  # seconds to reach speed at 1 m/s2
        cruise = abs(leg) / speed - ramp
        total = cruise + 2 * ramp
        sign = math.copysign(1.0, leg)
        if t <= total:
            done = min(t, ramp) ** 2 / 2 + speed * min(max(t - ramp, 0), cruise)
            rest = max(t - ramp - cruise, 0)
            return np.array([0.0, position + sign * (done + speed * rest - rest**2 / 2)])
        position += leg
        t -= total
        if t <= stop_s:
            return np.array([0.0, position])
        t -= stop_s
    return np.array([0.0, position])


@both_rates
def test_backing_up_on_the_same_line(hz):
    """Within pi/4 boom widths of a reversal the sweeps are one visit, beyond it two or three."""
    width = 4.0
    times, points = drive(there_and_back, 80, hz)
    field = shapely.box(-10, -5, 10, 120)
    audit = audit_job(job(log(times, points), [(0.0, 79.0)], field, boom=boom(width)))
    one_visit = math.pi / 4 * width
    near = tolerance(audit, hz)
    assert audit.area_m2.covered == pytest.approx(width * 95, abs=near)
    # from 60 - pi/4 W back to 35 + pi/4 W all three sweeps are apart; within it two of them merge
    assert audit.area_m2.by_visits[3] == pytest.approx(width * (25 - 2 * one_visit), abs=near)
    assert audit.area_m2.by_visits[2] == pytest.approx(width * 2 * one_visit, abs=near)
    assert audit.area_m2.swept + audit.area_m2.reswept == pytest.approx(width * (60 + 25 + 60), abs=2 * near)
    assert_closes(audit)


@both_rates
def test_three_point_turn(hz):
    """Right arc, back on a left arc, right arc: three times sixty degrees at 7 m, swept W L in all.

    With only the left section open the ground lies left of the vehicle all along: its radius is
    R + W/4 on the forward arcs and R - W/4 on the backward one.
    """
    radius, width, ramp = 7.0, 8.0, 4.0
    legs = [(1, 1), (-1, -1), (1, 1)]  # (sense of travel, side of the centre: right +1)
    arc = math.pi / 3

    def pose(t):
        x, y, heading = 0.0, 0.0, 0.0
        for sense, side in legs:
            share = min(max(t / (2 * ramp), 0.0), 1.0)
            eased = 2 * share**2 if share < 0.5 else 1 - 2 * (1 - share) ** 2
            angle = eased * arc
            cx, cy = x + side * radius * math.cos(heading), y - side * radius * math.sin(heading)
            # forwards on a right circle and backwards on a left one both turn the heading right
            turned = heading + sense * side * angle
            x, y = cx - side * radius * math.cos(turned), cy + side * radius * math.sin(turned)
            heading = turned
            t -= 2 * ramp
            if t <= 0:
                break
        return np.array([x, y])

    times, points = drive(pose, 6 * ramp, hz)
    field = shapely.box(-30, -30, 30, 30)
    audit = audit_job(job(log(times, points), [(0.0, 6 * ramp)], field, boom=boom(width)))
    total = 3 * arc * radius * width
    assert audit.area_m2.swept + audit.area_m2.reswept == pytest.approx(total, abs=tolerance(audit, hz))
    two = BoomSettings((width / 2, width / 2), "csv", antenna_ahead_m=0.0)
    left = audit_job(job(log(times, points), [(0.0, 6 * ramp, (1,))], field, boom=two))
    expected = arc * width / 2 * (2 * (radius + width / 4) + (radius - width / 4))
    assert left.area_m2.swept + left.area_m2.reswept == pytest.approx(expected, abs=tolerance(left, hz))


def test_pivot_about_the_boom_centre_is_one_visit_within_the_turning_zone():
    """A boom spun a full turn on the spot sweeps its disc; ground within is one visit (design, section 1)."""
    times, points, on = circling(0.5, 1, 10.0)
    audit = audit_job(
        job(log(times * 4, points), [(on[0] * 4, on[1] * 4)], shapely.box(-20, -20, 20, 20), boom=boom(9.0))
    )
    outer = 5.0
    assert audit.area_m2.covered == pytest.approx(math.pi * outer**2, rel=2e-3)  # straight steps of 1.5 degrees
    assert audit.area_m2.double == pytest.approx(0, abs=0.05)


def test_sections_of_unequal_width_switch_on_their_own():
    """Left 2 m, middle 4 m, right 3 m: the middle closed for 10 s leaves 4 x 25 m unsprayed."""
    times, points = drive(lambda t: np.array([0.0, 2.5 * t]), 60, 10)
    settings = BoomSettings((2.0, 4.0, 3.0), "csv", antenna_ahead_m=0.0)
    intervals = [(10, 40, (1, 3)), (10, 20, (2,)), (30, 40, (2,))]
    field = shapely.box(-4.5, 25, 4.5, 100)
    audit = audit_job(job(log(times, points), intervals, field, boom=settings))
    assert audit.area_m2.missed == pytest.approx(4 * 25, abs=tolerance(audit, 10.0))
    (strip,) = audit.missed_strips
    assert strip.mean_width_m == pytest.approx(4, rel=0.01)
    assert audit.time_on_s == pytest.approx(30, abs=1e-5)
    assert_closes(audit)
