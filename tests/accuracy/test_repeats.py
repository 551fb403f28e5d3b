"""Lines driven twice: found along the way, and telling the size of the receiver's error."""

import numpy as np
import pytest
from scipy.stats import norm

from coverage_audit.accuracy.gaps.particles import Known, draw_particles
from coverage_audit.accuracy.model import ErrorModel
from coverage_audit.accuracy.repeats import Repeats, repeats_of
from coverage_audit.accuracy.tolerances import REPEAT_M
from coverage_audit.drive.model import BoomPath


def path(legs):
    """Straight legs ((x, y) to (x, y)) one after the other, at 2.5 m/s, with what joins them."""
    corners = np.array([point for leg in legs for point in leg], float)
    step = np.hypot(*np.diff(corners, axis=0).T)
    travel = np.concatenate([[0.0], np.cumsum(step)])
    fine = np.arange(0.0, travel[-1], 1.0)
    x, y = (np.interp(fine, travel, column) for column in corners.T)
    heading = np.arctan2(np.gradient(x), np.gradient(y))
    none = np.zeros(len(fine), bool)
    return BoomPath(fine / 2.5, x, y, heading, fine, none, none, none)


def test_a_line_driven_there_and_back_is_found_with_its_distance_and_time():
    found = repeats_of(path([((0, 0), (0, 200)), ((40, 200), (40, 100)), ((0.6, 200), (0.6, 0))]), 10.0)
    assert len(found) == 1
    assert abs(found.off_m[0]) == pytest.approx(0.6, abs=0.02)
    # out 200 m, 40, 100 and back to the line 107: middle of the second drive after 547 m, of the first 100 m
    assert found.apart_s[0] == pytest.approx(447 / 2.5, rel=0.02)


def test_passes_side_by_side_and_short_crossings_are_none():
    beside = path([((k * 9.5, 200.0 * (k % 2)), (k * 9.5, 200.0 * (1 - k % 2))) for k in range(8)])
    assert len(repeats_of(beside, 10.0)) == 0
    crossing = path([((0, 0), (0, 200)), ((50, 100), (-50, 100)), ((-50, 0), (50, 200))])
    assert len(repeats_of(crossing, 10.0)) == 0
    assert len(repeats_of(path([((0, 0), (0, 30))]), 10.0)) == 0


def test_likelihood_is_the_normal_law_cut_off_with_a_share_of_chance():
    """Held against SciPy's normal law: two errors forgotten long ago differ by sqrt(2) of one."""
    one = Repeats(np.array([0.3]), np.array([1e6]), 1.5)
    spread = np.sqrt(2 * (0.4**2 + 0.02**2 + REPEAT_M**2))
    expected = 0.5 * norm.pdf(0.3, scale=spread) / (norm.cdf(1.5 / spread) - norm.cdf(-1.5 / spread)) + 0.5 / 3.0
    assert np.exp(one.log_likelihood(*np.array([[0.4], [600.0], [0.02]]))) == pytest.approx([expected])


def test_lines_driven_again_tell_the_scale():
    """Twenty lines an hour apart, by a receiver of 0.3 m: of three sizes the right one is the likeliest."""
    rng = np.random.default_rng(1016)
    off = np.sqrt(2 * (0.3**2 + REPEAT_M**2)) * rng.standard_normal(20)
    found = Repeats(off[np.abs(off) < 1.5], np.full(int((np.abs(off) < 1.5).sum()), 3600.0), 1.5)
    fits = found.log_likelihood(np.array([0.02, 0.3, 3.0]), np.full(3, 600.0), np.full(3, 0.01))
    assert int(fits.argmax()) == 1


@pytest.mark.parametrize(("off_m", "way"), [(1.0, 1), (0.02, -1)])
def test_repeats_alone_move_the_scale_of_the_error(off_m, way):
    """By hand with nothing else seen: lines a metre aside call for a large error, close ones for a small."""
    error = ErrorModel(np.array([0.0, 7200.0]), np.full(2, 0.3), 0.0, 600.0, 0.0, "", "", sigma_log_sd=0.9)
    found = Repeats(np.full(12, off_m), np.full(12, 3600.0), 1.5)
    _, moved = draw_particles(Known.of(None, error, 0.0, (), found), 12, np.random.default_rng(1016))
    assert way * moved > 0.5
