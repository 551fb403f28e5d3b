"""What a standing receiver shows: figures that the error was drawn with lie in their ranges nine times in ten."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from coverage_audit.accuracy.standing import Stand, log_likelihood, standing, stands_of
from coverage_audit.drive.model import Track


def process(times, sigma, memory, rng):
    """First-order Gauss-Markov process, drawn from its whole covariance: shares no code with the program."""
    covariance = sigma**2 * np.exp(-np.abs(times[:, None] - times) / memory)
    return rng.multivariate_normal(np.zeros(len(times)), covariance, 2, method="cholesky").T


def stand(seconds, sigma, memory, noise, seed, step=5.0):
    rng = np.random.default_rng(seed)
    times = np.arange(0, seconds, step)
    wander = process(times, sigma, memory, rng)
    return Stand(times, wander + noise * rng.standard_normal(wander.shape))


def track(times, places):
    count = len(times)
    none, no, zero = np.full(count, np.nan), np.zeros(count, bool), np.zeros(count, int)
    return Track(times, *places.T, none, none, zero, none, none, zero, zero, no, float(np.median(np.diff(times))))


def test_likelihood_is_that_of_the_whole_covariance():
    """Against SciPy's normal law with the unknown place as a wide prior; up to one constant for all figures."""
    one = stand(300, 0.5, 200, 0.05, 3, step=7.0)
    figures = np.array([[0.5, 200, 0.05], [0.2, 60, 0.1], [2.0, 900, 0.01]])
    lag = np.abs(one.time_s[:, None] - one.time_s)
    size = len(one.time_s)
    wanted = [
        sum(
            multivariate_normal.logpdf(
                column - column[0],
                np.zeros(size),
                s**2 * np.exp(-lag / t) + n**2 * np.eye(size) + 100 * np.ones((size, size)),
            )
            for column in one.place_m.T
        )
        for s, t, n in figures
    ]
    found = log_likelihood(one, *figures.T)
    # a prior 10 m wide differs from a flat one by the place's variance over its own, here up to 0.04
    assert np.diff(found) == pytest.approx(np.diff(wanted), abs=0.05)


@pytest.mark.parametrize(
    ("sigma", "memory", "noise", "seconds"),
    [(0.9, 600.0, 0.05, 3600.0), (0.0143, 100.0, 0.005, 1800.0), (0.35, 150.0, 0.06, 1800.0)],
)
def test_ranges_hold_what_was_drawn(sigma, memory, noise, seconds):
    """Of 20 logs at least 14 hold each figure: at 90 % fewer come once in 400 times (binomial)."""
    found = [standing([stand(seconds, sigma, memory, noise, seed, step=8.0)]) for seed in range(20)]
    for name, true in (("sigma_m", sigma), ("time_constant_s", memory), ("noise_m", noise)):
        spreads = [getattr(one, name) for one in found]
        assert sum(one.low90 <= true <= one.high90 for one in spreads) >= 14, name
    assert all(one.enough for one in found)


def test_five_minutes_are_too_short():
    found = standing([stand(300, 0.9, 600, 0.05, 1)])
    assert not found.enough
    assert found.sigma_m.high90 > 5 * found.sigma_m.low90


def test_pinned_positions_tell_nothing():
    found = standing([Stand(np.arange(3600.0), np.ones((3600, 2)))])
    assert (found.pinned, found.enough, found.sigma_m) == (True, False, None)


def test_stops_of_a_day_are_found():
    times = np.arange(3000.0)
    speed = np.where((times < 600) | ((times >= 1500) & (times < 2000)), 2.5, 0.0)
    found = stands_of(track(times, np.column_stack([np.cumsum(speed), 0 * times])))
    ends = [(one.time_s[0], one.time_s[-1]) for one in found]
    # the last yards of driving are left out: a quarter of a minute either side, and what 3 m of the way take
    assert ends == [(pytest.approx(615, abs=16), pytest.approx(1484, abs=16)), (pytest.approx(2015, abs=16), 2999)]
    assert all(np.ptp(one.place_m[:, 0]) == 0 for one in found)


def test_a_jump_on_a_post_is_part_of_the_error():
    times = np.arange(2000.0)
    place = np.column_stack([np.where(times > 1000, 5.0, 0.0), 0 * times])
    assert len(stands_of(track(times, place))) == 1


def test_a_drive_never_stands():
    times = np.arange(600.0)
    assert stands_of(track(times, np.column_stack([0.5 * times, 0 * times]))) == []
    assert standing([]).sigma_m is None
