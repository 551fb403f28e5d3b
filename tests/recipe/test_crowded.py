"""A spot gone round over and over with the boom on, as a job of passes with circles amid one of them."""

import numpy as np
import pytest
from jobs import FIELD_100_X_60, boom, job, log, parallel_passes

from coverage_audit.errors import InputError
from coverage_audit.ground.crowded import crowded_spot, rounds_left_out
from coverage_audit.ground.pieces import pieces_of, quad_area
from coverage_audit.ground.tolerances import COARSER, FINE_SHARE
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.recipe import crowded
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.crowded import countable
from coverage_audit.recipe.drive import drive_of, job_plane

RADIUS_M, SPEED_M_S = 4.0, 2.5


def with_circles(laps, hz=1.0, drift_m_s=0.0, noise_m=0.0):
    """Six passes of 10 m, and amid the third so many circles of 4 m: the inner tip of the boom goes backwards."""
    times, points, on = parallel_passes((5.0, 15.0, 25.0, 35.0, 45.0, 55.0), 0.0, 100.0, hz=hz)
    amid = int(np.searchsorted(times, np.mean(on[2])))
    passed = np.arange(1, round(laps * 2 * np.pi * RADIUS_M / SPEED_M_S * hz) + 1) / hz
    angle = SPEED_M_S / RADIUS_M * passed
    round_it = points[amid] + RADIUS_M * np.column_stack([1 - np.cos(angle), np.sin(angle)])
    round_it[:, 0] += drift_m_s * passed
    round_it += np.random.default_rng(0).normal(0, noise_m, round_it.shape)
    later = len(passed) / hz
    on = [tuple(time + later * (time > times[amid]) for time in pair) for pair in on]
    points = np.concatenate([points[: amid + 1], round_it, points[amid + 1 :]])
    return job(log(np.arange(len(points)) / hz, points), on, FIELD_100_X_60, boom=boom(10.0))


def test_a_spot_of_tight_circles_does_not_cost_the_job():
    """Three of them: the disc of 9 m is double, pi 81 = 254.5 m2, less the chords of a log at 1 Hz: 251.3 by cells."""
    audit = audit_job(with_circles(3))
    assert audit.checks.ok
    assert audit.area_m2.covered == pytest.approx(6000.0, abs=0.1)
    assert audit.area_m2.double == pytest.approx(np.pi * 81, abs=4.0)
    assert audit.area_m2.double == pytest.approx(audit.checks.raster_double_m2, abs=0.5)
    (told,) = (text for text in caution_texts(audit) if "round and round" in text)
    # the third pass is 25 m from the west, its middle 50 m up: 50 / 111.1 km and 29 / 83.9 km off -41.2, -70.5
    assert "about -41.1995" in told
    assert "-70.4996" in told


def test_circles_that_can_be_counted_as_they_are_stay_so():
    read = with_circles(0.5)
    drive = drive_of(read, job_plane(read))
    assert countable(drive, read, job_plane(read)) is drive


def test_of_more_rounds_than_can_be_counted_the_first_and_the_last_are(monkeypatch):
    """20 laps that drift 2 m east: between the two rounds kept nothing is missed, and all else is as it was."""
    monkeypatch.setattr(crowded, "COARSER", ((32.0, 0.02),))
    read = with_circles(20, drift_m_s=0.01)
    audit = audit_job(read)
    assert audit.checks.ok
    assert audit.area_m2.missed < 0.5
    assert len(audit.area_m2.by_visits) <= 6
    (told,) = (text for text in caution_texts(audit) if "round and round" in text)
    assert "between a first and a last round that time was left out" in told


def test_a_job_that_is_mostly_such_a_spot_is_refused_with_place_and_time():
    with pytest.raises(InputError, match=r"worst about -41\.1995\d+, -70\.4996\d+ \(lat, lon\), from 2026-05-28 20:2"):
        audit_job(with_circles(120))


def test_rounds_are_left_out_between_a_first_and_a_last_one():
    read = with_circles(10)
    drive = drive_of(read, job_plane(read))
    spot = crowded_spot(drive.lines, 10.0)
    lap = 2 * np.pi * RADIUS_M
    assert spot.last_m - spot.first_m == pytest.approx(10 * lap + 2 * 15, abs=0.6 * lap)
    left, (first, last) = rounds_left_out(drive.lines, spot)
    assert last - first == pytest.approx(8 * lap, abs=0.6 * lap)
    ways = [np.diff(one.travel_m)[one.gap_after[:-1]] for one in left]
    assert np.concatenate(ways).sum() == pytest.approx(last - first, abs=1e-9)
    again, (first, last) = rounds_left_out(left, crowded_spot(left, 10.0)._replace(first_m=0.0, last_m=1.0))
    assert first == last  # nothing of the job lies there, and nothing is taken
    assert sum(len(one.x_m) for one in again) == sum(len(one.x_m) for one in left)


def test_one_pivot_for_all_changes_the_ground_by_no_more_than_it_may():
    read = with_circles(2)
    drive = drive_of(read, job_plane(read))
    most = 1e-6
    exact, joined = (
        [piece.polygon for one in drive.thinned for piece in pieces_of(one, most_m2)] for most_m2 in (0, most)
    )
    corners = [sum(len(one.exterior.coords) for one in pieces) for pieces in (exact, joined)]
    assert corners[1] < corners[0]
    swept = sum(quad_area(one) for one in drive.thinned)
    assert sum(one.area for one in joined) == pytest.approx(swept, abs=most * len(joined))


def test_room_is_left_for_the_outline_of_the_field():
    assert all(share <= FINE_SHARE < 1.0 for _, share in COARSER)
