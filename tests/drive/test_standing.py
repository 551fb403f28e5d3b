"""A standing machine whose fixes wander collapses to a place, whatever the boom does; creeping and pivoting do not."""

import math

import numpy as np
import pytest
from jobs import boom, drive, job, log
from shapely import box

from coverage_audit.ground.pieces import pieces_of
from coverage_audit.recipe.drive import drive_of, job_plane


def wander(rng, count, reach_m=0.4):
    """Places of a standing receiver a second apart: a random walk pulled back to the middle. [m]"""
    places = np.zeros((count, 2))
    for k in range(1, count):
        places[k] = 0.8 * places[k - 1] + rng.normal(0, 0.6 * reach_m, 2)
    return np.clip(places, -1.5 * reach_m, 1.5 * reach_m)


def stood(seed, stand_s=300, reach_m=0.15):
    """Drive north 60 m, stand with the boom on, drive on 60 m: times and points at 1 Hz, and when it stood."""
    rng = np.random.default_rng(seed)
    ahead = np.arange(0.0, 60.0, 2.0)
    y = np.concatenate([ahead, np.full(stand_s, 60.0), 60.0 + np.arange(2.0, 62.0, 2.0)])
    points = np.column_stack([np.zeros(len(y)), y])
    points[len(ahead) : len(ahead) + stand_s] += wander(rng, stand_s, reach_m)
    return np.arange(len(y), dtype=float), points, (len(ahead), len(ahead) + stand_s - 1)


def driven(times, points, width_m=9.0):
    read = job(log(times, points), [(5.0, times[-1] - 5.0)], box(-4.5, 0, 4.5, 120), boom=boom(width_m))
    return drive_of(read, job_plane(read))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("reach_m", [0.05, 0.1, 0.15])
def test_standing_with_the_boom_on_leaves_no_crossing_pieces(seed, reach_m):
    times, points, (first, last) = stood(seed, reach_m=reach_m)
    found = driven(times, points)
    inside = (found.path.time_s > found.track.time_s[first] + 5) & (found.path.time_s < found.track.time_s[last] - 5)
    travelled = np.ptp(found.path.travel_m[inside])
    assert travelled < 1.5  # the places wander over 15 m of way a minute or more
    turned = np.ptp(found.path.heading_rad)
    assert turned < math.radians(20)
    assert not found.path.reverse.any()
    assert sum(len(pieces_of(one)) for one in found.thinned) <= 50  # 60 fixes of driving; hundreds without


@pytest.mark.parametrize("speed_m_s", [0.15, 0.3])
def test_creeping_is_driven(speed_m_s):
    """Slower than a walk, with centimetres of noise: all of the way stays."""
    rng = np.random.default_rng(3)
    times, points = drive(lambda t: np.array([0.0, speed_m_s * t]), 200, 1)
    found = driven(times, points + rng.normal(0, 0.02, points.shape))
    away = found.path.y_m[-1] - found.path.y_m[0]
    assert away == pytest.approx(200 * speed_m_s, abs=0.2)
    middle = np.interp(found.track.time_s[100], found.path.time_s, found.path.y_m)
    assert middle - found.path.y_m[0] == pytest.approx(100 * speed_m_s, abs=0.1)


def test_pivoting_on_the_spot_is_no_scatter():
    """An antenna 0.5 m off the middle goes round it once in 10 s: as close together as jitter, but it goes on."""
    times, points = drive(
        lambda t: 0.5 * np.array([math.sin(2 * math.pi * t / 10), 1 - math.cos(2 * math.pi * t / 10)]), 40, 10
    )
    found = driven(times, points)
    assert found.path.travel_m[-1] == pytest.approx(4 * math.pi, rel=0.02)
