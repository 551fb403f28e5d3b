"""The simulator: closed forms of its path, its chance and its faults, and the files it writes."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime

import gpxpy
import numpy as np
import pynmea2
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pynmeagps import NMEAReader

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from simulator.files import sentence, spraying, to_boom_csv, to_geojson_text, to_gpx_text, to_nmea_text
from simulator.jobs import (
    Faults,
    GnssError,
    Scenario,
    Steering,
    Stop,
    SwitchHabit,
    benchmark_scenario,
    gauss_markov,
    simulate,
)
from simulator.route import (
    Leg,
    Pose,
    Route,
    RouteBuilder,
    advance,
    detour,
    merged,
    rounded_polyline,
    shortest_turn,
    without,
)

ROUNDING_M = 1e-6  # plane metres over a kilometre of legs, in double precision
BOX = shapely.box(0.0, 0.0, 100.0, 60.0)
# The worked figure: six 10 m passes of a 100 x 60 m field, driven east and west, no headland.
WORKED = Scenario(field=BOX, heading_deg=90.0, sections_m=(10.0,), headland_laps=0.0, speed_m_s=2.0, hz=10.0)
MEADOW = Scenario(
    field=shapely.Polygon([(0, 0), (180, -10), (200, 110), (15, 120)]),
    heading_deg=87.0,
    headland_laps=2.0,
    antenna_ahead_m=1.5,
    antenna_right_m=0.4,
)
PLANE = Plane(PlaneOrigin(lon_deg=-71.25, lat_deg=-45.5))


def swept(job, stretch):
    """Return the ground of one stretch as a polygon [m]; right for straight stretches."""
    left, right = job.true_sweeps[stretch]
    return shapely.Polygon(np.concatenate((left, right[::-1])))


# --- path ---------------------------------------------------------------------------------


def test_a_full_circle_comes_back_to_where_it_began():
    start = Pose(3.0, 4.0, 0.7)
    end = advance(start, 1 / 5.0, 2 * math.pi * 5.0)
    assert (end.x_m, end.y_m) == pytest.approx((3.0, 4.0), abs=1e-12)  # rounding


def test_a_quarter_turn_right_from_north_ends_east_and_ahead():
    """Centre of the circle is one radius to the right."""
    end = advance(Pose(0.0, 0.0, 0.0), 1 / 7.0, 7.0 * math.pi / 2)
    assert (end.x_m, end.y_m, end.heading_rad) == pytest.approx((7.0, 7.0, math.pi / 2), abs=1e-12)


def test_a_route_is_evaluated_exactly_inside_its_legs():
    arc = Leg(Pose(0.0, 0.0, 0.0), -0.25, 10.0, "turn")
    route = Route((Leg(Pose(0.0, -5.0, 0.0), 0.0, 5.0, "straight"), arc), ())
    x, y, heading, curvature = route.at(np.array([2.0, 9.0, 15.0]))
    middle, end = advance(arc.start, -0.25, 4.0), advance(arc.start, -0.25, 10.0)
    assert x == pytest.approx([0.0, middle.x_m, end.x_m], abs=1e-12)
    assert y == pytest.approx([-3.0, middle.y_m, end.y_m], abs=1e-12)
    assert heading == pytest.approx([0.0, -1.0, -2.5])
    assert curvature == pytest.approx([0.0, -0.25, -0.25])


@given(st.floats(-30, 30), st.floats(-30, 30), st.floats(-math.pi, math.pi), st.floats(-math.pi, math.pi))
def test_the_shortest_turn_arrives_at_any_goal(x, y, first, last):
    goal = Pose(x, y, last)
    pose = Pose(0.0, 0.0, first)
    legs = shortest_turn(pose, goal, 4.0)
    for curvature, length in legs:
        assert abs(curvature) in {0.0, 1 / 4.0}
        assert length >= 0
        pose = advance(pose, curvature, length)
    # 4 m times the 1e-9 rad that count as no turn, and square roots near zero
    assert math.hypot(pose.x_m - x, pose.y_m - y) < ROUNDING_M
    assert math.cos(pose.heading_rad - last) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("apart", "length"),
    [
        (10.0, math.pi * 4 + 2.0),  # two quarter turns and what is left of the spacing
        (8.0, math.pi * 4),  # a half circle
        (6.0, 4 * (math.pi + 4 * math.acos((6.0 + 8.0) / 16.0))),  # bulb: out, round, in
    ],
)
def test_turn_to_the_next_pass_has_its_closed_form_length(apart, length):
    legs = shortest_turn(Pose(0.0, 0.0, 0.0), Pose(apart, 0.0, math.pi), 4.0)
    assert sum(piece for _, piece in legs) == pytest.approx(length, abs=1e-9)


def test_a_rounded_corner_shortens_the_way_by_two_radii_less_a_quarter_circle():
    start, legs = rounded_polyline([(0, 0), (0, 50), (30, 50), (30, 0)], 5.0)
    assert start == Pose(0.0, 0.0, 0.0)
    assert sum(length for _, length in legs) == pytest.approx(130.0 - 2 * (2 - math.pi / 2) * 5.0)


def test_a_side_too_short_for_the_turning_radius_is_refused():
    with pytest.raises(ValueError, match="side 2 is too short for a turning radius of 5 m"):
        rounded_polyline([(0, 0), (0, 50), (8, 50), (8, 0)], 5.0)


@pytest.mark.parametrize("right", [-7.0, 0.0, 5.0])
@pytest.mark.parametrize("laps", [0, 1])
def test_a_detour_keeps_its_distance_and_takes_the_line_up_again(right, laps):
    leave, turns = detour(right, 12.0, 4.0, laps)
    builder = RouteBuilder(Pose(0.0, -leave, 0.0))
    for curvature, length in turns:
        builder.drive(curvature, length, "transport")
    assert (builder.pose.x_m, builder.pose.y_m) == pytest.approx((0.0, leave), abs=1e-9)
    assert math.cos(builder.pose.heading_rad) == pytest.approx(1.0)
    x, y, _, _ = builder.route().at(np.linspace(0.0, builder.distance_m, 2000))
    assert np.hypot(x - right, y).min() == pytest.approx(12.0, abs=1e-9)
    assert sum(length for _, length in turns) > 2 * leave + laps * 2 * math.pi * 12.0


def test_spans_are_joined_and_cut():
    assert merged([(5, 6), (0, 2), (2, 3)]) == [(0, 3), (5, 6)]
    assert without([(0, 10)], [(2, 3), (9, 12)]) == [(0, 2), (3, 9)]


# --- a whole job ----------------------------------------------------------------------------


def test_the_worked_figure_misses_and_doubles_what_the_arithmetic_says():
    """100 x 60 m, six 10 m passes, the third 1 m off: 1 m x 100 m missed, the same double."""
    job = simulate(replace(WORKED, faults=Faults(offset_m={3: 1.0})))
    strips = [swept(job, k) for k in range(6)]
    covered = shapely.union_all(strips)
    assert len(job.on_intervals) == 6
    assert sum(strip.area for strip in strips) == pytest.approx(6000.0, abs=1e-3)
    assert BOX.intersection(covered).area == pytest.approx(5900.0, abs=1e-3)
    assert strips[2].intersection(strips[3]).area == pytest.approx(100.0, abs=1e-3)


def test_without_errors_the_speed_and_the_steps_are_constant_on_the_passes():
    job = simulate(WORKED)
    straight = np.array(job.label) == "straight"
    both = straight[1:] & straight[:-1] & (job.pass_number[1:] == job.pass_number[:-1])
    steps = np.hypot(*np.diff(job.boom_m, axis=0).T)[both]
    assert steps == pytest.approx(np.full(both.sum(), 0.2), abs=ROUNDING_M)  # 2 m/s at 10 Hz
    assert set(job.heading_deg[straight].round(9)) == {90.0, 270.0}


def test_slow_turns_take_longer():
    fast, slow = simulate(WORKED), simulate(replace(WORKED, turn_speed_m_s=1.0))
    turning = np.sum([label == "turn" for label in fast.label])
    assert np.sum([label == "turn" for label in slow.label]) == pytest.approx(2 * turning, abs=len(fast.on_intervals))


def test_the_antenna_stands_ahead_and_to_the_right():
    job = simulate(MEADOW)
    heading = np.radians(job.heading_deg)
    aside = job.antenna_m - job.boom_m
    ahead = aside[:, 0] * np.sin(heading) + aside[:, 1] * np.cos(heading)
    right = aside[:, 0] * np.cos(heading) - aside[:, 1] * np.sin(heading)
    assert ahead == pytest.approx(np.full(len(ahead), 1.5))
    assert right == pytest.approx(np.full(len(right), 0.4))
    assert np.array_equal(job.logged_m, job.antenna_m)


def test_the_axle_never_slips_sideways():
    """The vehicle's fixed axle moves along the heading, also where the driver wanders."""
    job = simulate(replace(MEADOW, axle_behind_antenna_m=1.1, steering=Steering(sd_m=0.25), hz=50.0))
    heading = np.radians(job.heading_deg)
    forward = np.column_stack((np.sin(heading), np.cos(heading)))
    # the axle is on the boom's centre line, 1.5 - 1.1 m ahead of the boom
    axle = job.boom_m + 0.4 * forward
    step = axle[2:] - axle[:-2]
    slip = step[:, 0] * np.cos(heading[1:-1]) - step[:, 1] * np.sin(heading[1:-1])
    # 0.1 m steps: central differences of a path whose curvature jumps at the ends of arcs
    assert np.abs(slip / np.hypot(*step.T)).max() < 0.01


def test_two_headland_laps_are_one_stretch_at_half_and_one_and_a_half_widths():
    job = simulate(MEADOW)
    assert job.stretch_label.count("headland") == 1
    on, off = job.on_intervals[0]
    lap = job.boom_m[(job.times_s > on) & (job.times_s < off)]
    depth = shapely.distance(shapely.points(lap), MEADOW.field.exterior)
    # the first side is driven at 4.5 m twice over: once per lap, four sides each
    assert np.isclose(depth, 4.5, atol=1e-6).sum() == pytest.approx(np.isclose(depth, 13.5, atol=1e-6).sum(), rel=0.2)
    # a corner of up to 100 degrees, rounded at 4 m, lies this much deeper than its sides
    assert depth.max() < 13.5 + 4.0 * (1 - math.cos(math.radians(50)))


def test_one_and_a_half_laps_go_round_half_the_sides_twice():
    lengths = [np.diff(simulate(replace(MEADOW, headland_laps=laps)).on_intervals[0]) for laps in (1.0, 1.5, 2.0)]
    assert lengths[0] < lengths[1] < lengths[2]


def test_the_pond_is_gone_round_and_never_sprayed():
    pond = shapely.Point(95.0, 55.0).buffer(6.0)
    job = simulate(replace(MEADOW, pond=pond, pond_margin_m=0.5))
    lines = [shapely.linestrings(np.stack(pair, axis=1)) for pair in job.true_sweeps]
    assert min(shapely.distance(line, pond).min() for line in lines) == pytest.approx(0.5, abs=0.01)  # a 32-gon
    assert min(shapely.distance(shapely.points(job.boom_m), pond)) > 4.5
    assert job.stretch_label.count("headland") == 2  # the field's and the pond's


@pytest.mark.parametrize("east", [25.0, 173.0])
def test_a_well_at_either_end_of_a_pass_is_refused(east):
    """So small that one pass alone meets it, at its beginning or at its end."""
    with pytest.raises(ValueError, match="too near the end of a pass"):
        simulate(replace(MEADOW, pond=shapely.Point(east, 55.0).buffer(0.3)))


def test_a_field_smaller_than_its_headland_is_refused():
    with pytest.raises(ValueError, match="nothing is left inside the headland"):
        simulate(Scenario(field=shapely.box(0, 0, 60, 30), headland_laps=2.0))


# --- switching, faults, stops ----------------------------------------------------------------


def test_habits_move_every_switching_by_distance_and_time():
    plain = np.array(simulate(WORKED).on_intervals)
    late = SwitchHabit(late_on_m=1.0, late_on_s=0.5, early_off_m=2.0, early_off_s=-0.25)
    moved = np.array(simulate(replace(WORKED, habit=late)).on_intervals)
    assert moved[:, 0] - plain[:, 0] == pytest.approx(np.full(6, 1.0), abs=ROUNDING_M)  # 1 m at 2 m/s + 0.5 s
    assert plain[:, 1] - moved[:, 1] == pytest.approx(np.full(6, 0.75), abs=ROUNDING_M)


def test_a_forgotten_switch_and_an_early_off_last_as_long_as_they_were_set():
    faults = Faults(early_off_m={2: 12.0}, forgotten_m={4: (30.0, 45.0)})
    job = simulate(replace(WORKED, faults=faults))
    metres = {}
    for (on, off), number in zip(job.on_intervals, job.stretch_pass, strict=True):
        metres.setdefault(number, []).append(2.0 * (off - on))
    assert metres[1] == pytest.approx([100.0], abs=1e-5)
    assert metres[2] == pytest.approx([88.0], abs=1e-5)
    assert metres[4] == pytest.approx([30.0, 55.0], abs=1e-5)


def test_a_stop_stands_still_with_the_boom_off():
    job = simulate(replace(WORKED, stops=(Stop(pass_number=5, share=0.25, seconds=30.0),)))
    standing = np.array(job.label) == "standing"
    assert standing.sum() == pytest.approx(300, abs=1)  # 30 s at 10 Hz
    assert np.ptp(job.boom_m[standing], axis=0) == pytest.approx([0.0, 0.0], abs=ROUNDING_M)
    assert job.boom_m[standing][0, 0] == pytest.approx(25.0, abs=1e-6)  # pass 5 is driven east
    assert not spraying(job, job.times_s[standing][1:-1]).any()
    assert len(job.on_intervals) == 7
    assert simulate(WORKED).times_s[-1] + 30.0 == pytest.approx(job.times_s[-1], abs=0.1)


# --- chance ------------------------------------------------------------------------------------

RATIO_TABLE = {1: 0.141, 60: 0.950, 120: 1.182, 900: 1.414}
"""sd of the difference over the lag [s] / sd, time constant 100 s: sqrt(2 (1 - exp(-lag / T))), the
autocorrelation of a first-order Gauss-Markov process; the four values worked out beforehand and apart."""


def test_gauss_markov_error_has_its_standard_deviation_and_its_differences():
    walk = gauss_markov(1_000_000, 0.3, 1.0, 100.0, np.random.default_rng(7))
    # about 5 000 independent values: standard error of a standard deviation 1 %, four of them allowed
    assert walk.std() == pytest.approx(0.3, rel=0.04)
    for lag, ratio in RATIO_TABLE.items():
        assert math.sqrt(2 * (1 - math.exp(-lag / 100))) == pytest.approx(ratio, abs=5e-4)
        assert (walk[lag:] - walk[:-lag]).std() / 0.3 == pytest.approx(ratio, rel=0.04)


def test_gauss_markov_is_stationary_from_its_first_value():
    firsts = [gauss_markov(1, 2.0, 1.0, 50.0, np.random.default_rng(seed))[0] for seed in range(2000)]
    assert np.std(firsts) == pytest.approx(2.0, rel=0.064)  # standard error 1.6 %, four of them


def test_steering_keeps_its_standard_deviation_after_smoothing():
    steering = Steering(0.25, length_m=10.0, smooth_m=10.0)  # smoothing alone would leave 65 % of it
    wander = simulate(replace(benchmark_scenario(), steering=steering)).path.wander_m
    # 15 km, forgotten over about 2 x 20 m: 380 independent values, standard error 3.6 %, three of them
    assert wander.std() == pytest.approx(0.25, rel=0.11)
    assert np.abs(np.diff(wander)).max() < 0.1  # over 0.5 m: a swing of the heading by 11 degrees is no driving


def test_steering_and_receiver_draw_from_separate_chance():
    """A walk with no memory and no smoothing is the bare draws; the receiver's must be others."""
    job = simulate(replace(MEADOW, steering=Steering(1.0, 1e-6, 1e-6), gnss=GnssError(white_m=1.0)))
    white = (job.logged_m - job.antenna_m).ravel()
    count = min(len(white), len(job.path.wander_m)) - 1
    likeness = [np.corrcoef(job.path.wander_m[:count], white[shift : shift + count])[0, 1] for shift in (0, 1)]
    assert np.abs(likeness).max() < 4 / math.sqrt(count)  # four standard errors of a correlation of nothing


def test_receiver_error_is_white_noise_plus_drift():
    job = simulate(replace(benchmark_scenario(), gnss=GnssError(white_m=0.02)))
    error = job.logged_m - job.antenna_m
    assert error.std(axis=0) == pytest.approx([0.02, 0.02], rel=0.013)  # 53 000 values: 0.3 %, four of them
    drifting = simulate(replace(benchmark_scenario(), gnss=GnssError(drift_m=0.5, drift_time_s=60.0)))
    drift = drifting.logged_m - drifting.antenna_m
    assert drift.std(axis=0) == pytest.approx([0.5, 0.5], rel=0.3)  # about 45 independent values: 10 %, three of them
    assert np.abs(np.diff(drift, axis=0)).max() < 0.2  # sd of one step 0.5 sqrt(2 x 0.1 / 60) = 0.03 m, six of them


def test_the_same_seed_gives_the_same_job_and_chance_has_separate_streams():
    scenario = replace(MEADOW, steering=Steering(0.2), habit=SwitchHabit(sd_s=0.3), gnss=GnssError(white_m=0.1))
    job, again, other = simulate(scenario), simulate(scenario), simulate(replace(scenario, seed=1))
    quiet = simulate(replace(scenario, gnss=GnssError()))
    assert np.array_equal(job.logged_m, again.logged_m)
    assert job.on_intervals == again.on_intervals
    assert job.on_intervals != other.on_intervals
    assert np.array_equal(job.boom_m, quiet.boom_m)


def test_the_benchmark_is_the_job_that_it_says():
    job = simulate(benchmark_scenario())
    assert job.scenario.field.area == pytest.approx(124_000.0)
    assert len(job.times_s) == pytest.approx(53_000, rel=0.01)
    assert job.stretch_label.count("headland") == 1
    assert 44 <= job.pass_number.max() <= 46
    assert len(simulate(benchmark_scenario(hectares=1.24, hz=1.0)).times_s) < 1000


# --- files ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def logged():
    """Return a job with every kind of error, west and south of the origin of longitudes and latitudes."""
    return simulate(replace(MEADOW, hz=5.0, gnss=GnssError(white_m=0.05), habit=SwitchHabit(sd_s=0.2)))


def offsets_m(job, lon, lat):
    """Distance of each read place from the logged one [m].

    Nine decimals of a degree or seven of a minute are 0.2 mm; the projection's way to degrees
    and back adds 0.6 mm (a series in the library's inverse, measured).
    """
    x, y = PLANE.to_metres(np.array(lon), np.array(lat))
    return np.hypot(x - job.logged_m[:, 0], y - job.logged_m[:, 1])


def test_gpx_text_reads_back_with_gpxpy(logged):
    points = gpxpy.parse(to_gpx_text(logged, PLANE, "<hay> & oats")).tracks[0].segments[0].points
    assert offsets_m(logged, [p.longitude for p in points], [p.latitude for p in points]).max() < 1e-3
    assert [p.time.timestamp() for p in points] == pytest.approx(logged.times_s.tolist(), abs=6e-4)  # ms
    assert gpxpy.parse(to_gpx_text(logged, PLANE, "<hay> & oats")).tracks[0].name == "<hay> & oats"


def test_gpx_segments_hold_the_fixes_with_the_boom_on(logged):
    segments = gpxpy.parse(to_gpx_text(logged, PLANE, segments=True)).tracks[0].segments
    assert len(segments) == len(logged.on_intervals)
    for segment, (on, off) in zip(segments, logged.on_intervals, strict=True):
        assert on - 6e-4 <= segment.points[0].time.timestamp() < on + 0.2 + 6e-4
        assert off - 0.2 - 6e-4 < segment.points[-1].time.timestamp() <= off + 6e-4


def test_gpx_marks_name_each_switching(logged):
    marks = gpxpy.parse(to_gpx_text(logged, PLANE, marks=True)).waypoints
    assert [mark.name for mark in marks] == ["boom on", "boom off"] * len(logged.on_intervals)
    assert [mark.time.timestamp() for mark in marks] == pytest.approx(np.ravel(logged.on_intervals).tolist(), abs=6e-4)


def test_nmea_text_reads_back_with_two_libraries(logged):
    text = to_nmea_text(logged, PLANE)
    lines = text.splitlines()
    assert max(len(line) + 2 for line in lines) <= 82  # longest sentence that NMEA 0183 allows, with its line end
    parsed = [pynmea2.parse(line, check=True) for line in lines]
    fixes = [one for one in parsed if one.sentence_type == "RMC"]
    assert offsets_m(logged, [f.longitude for f in fixes], [f.latitude for f in fixes]).max() < 1e-3
    stamps = [datetime.combine(f.datestamp, f.timestamp).replace(tzinfo=UTC).timestamp() for f in fixes]
    assert stamps == pytest.approx(logged.times_s.tolist(), abs=0.006)  # hundredths
    other = [NMEAReader.parse(line) for line in lines]
    heights = [one for one in other if one.msgID == "GGA"]
    assert offsets_m(logged, [g.lon for g in heights], [g.lat for g in heights]).max() < 2e-3  # rounds to 8 decimals
    states = [one.data[1] == "1" for one in parsed if one.sentence_type == "XDR"]
    assert states == spraying(logged, logged.times_s).tolist()
    straight = [fix for fix, label in zip(fixes, logged.label, strict=True) if label == "straight"]
    speeds = [fix.spd_over_grnd * 1852 / 3600 for fix in straight]
    assert np.median(speeds) == pytest.approx(2.5, abs=0.001)


def test_checksum_agrees_with_documented_sentences():
    """gpsd, www/NMEA.adoc: sentences with their sums."""
    assert sentence("GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A") == (
        "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B\r\n"
    )
    assert sentence("GPVTG,220.86,T,,M,2.550,N,4.724,K,A") == "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34\r\n"


def test_boom_csv_has_a_row_per_stretch(logged):
    head, *rows = to_boom_csv(logged).splitlines()
    assert head == "on,off"
    read = [[datetime.fromisoformat(cell).timestamp() for cell in row.split(",")] for row in rows]
    assert np.array(read) == pytest.approx(np.array(logged.on_intervals), abs=6e-4)  # ms


def test_geojson_ring_is_anticlockwise_and_in_place():
    found = json.loads(to_geojson_text(MEADOW.field, "Larch piece", PLANE))["features"][0]
    ring = shapely.Polygon(found["geometry"]["coordinates"][0])
    assert found["properties"]["name"] == "Larch piece"
    assert ring.exterior.is_ccw  # RFC 7946, section 3.1.6
    assert PLANE.geometry_to_metres(ring).symmetric_difference(MEADOW.field).area < 0.6  # 600 m of edge, 1 mm
