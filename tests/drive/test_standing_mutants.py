"""Standing with the boom on, logged twice a second: too slow to be smoothed, so scatter must not look like driving."""

import numpy as np
import pytest
from jobs import boom, job, log
from shapely import box

from coverage_audit.ground.pieces import pieces_of
from coverage_audit.recipe.drive import drive_of, job_plane

STOOD = slice(60, 360)


@pytest.mark.parametrize("seed", range(3))
def test_a_restless_stand_at_two_fixes_a_second_leaves_no_crossing_pieces(seed):
    """60 m north at 2 m/s, two and a half minutes standing with places that wander by a decimetre, 60 m north."""
    rng = np.random.default_rng(seed)
    y = np.concatenate([np.arange(60.0), np.full(300, 60.0), 60.0 + np.arange(1.0, 61.0)])
    points = np.column_stack([np.zeros(len(y)), y])
    places = np.zeros((300, 2))
    for k in range(1, 300):
        places[k] = 0.8 * places[k - 1] + rng.normal(0, 0.06, 2)
    points[STOOD] += np.clip(places, -0.15, 0.15)
    times = np.arange(len(y)) / 2
    read = job(log(times, points), [(5.0, times[-1] - 5.0)], box(-4.5, 0, 4.5, 120), boom=boom(9.0))
    found = drive_of(read, job_plane(read))
    stood = found.track.time_s[STOOD]
    inside = (found.path.time_s > stood[0] + 5) & (found.path.time_s < stood[-1] - 5)
    assert np.ptp(found.path.travel_m[inside]) < 0.5
    assert np.degrees(np.ptp(found.path.heading_rad)) < 20
    assert sum(len(pieces_of(one)) for one in found.thinned) <= 50  # 120 fixes straight on; hundreds without
