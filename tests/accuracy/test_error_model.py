"""The receiver's error: closed forms of the Gauss-Markov process, classes, HDOP and GST."""

import dataclasses

import numpy as np
import pytest
from jobs import START_S
from scipy.signal import lfilter

from coverage_audit.accuracy.error import (
    decayed_sums,
    difference_sd,
    error_model,
    gauss_markov,
    jitter_of,
    kept_share,
    noise_across,
    without_jitter,
)
from coverage_audit.accuracy.model import ErrorModel
from coverage_audit.accuracy.tolerances import (
    CLASS_NOISE_M,
    CLASS_SHORT_M,
    CLASS_SIGMA_LOG_SD,
    CLASS_SIGMA_M,
    CLASS_TIME_S,
    CLASSES,
    STATED_LOG_SD,
)
from coverage_audit.drive.model import Track
from coverage_audit.jobs.settings import AccuracySettings

# sigma_diff / sigma = sqrt(2 (1 - exp(-t / T))): the check values computed for the project from the
# closed form (Gelb 1974, from memory), to the three decimals given there.
RATIOS = {
    100: {1: 0.141, 60: 0.950, 120: 1.182, 900: 1.414},
    600: {1: 0.058, 60: 0.436, 120: 0.602, 900: 1.246},
    3600: {1: 0.024, 60: 0.182, 120: 0.256, 900: 0.665},
}
CASES = [(memory, apart, ratio) for memory, row in RATIOS.items() for apart, ratio in row.items()]


def track(quality, hdop=np.nan, gst=np.nan, count=50, y=None):
    times = START_S + np.arange(float(count))
    none, zero = np.full(count, np.nan), np.zeros(count, int)
    north = 2.5 * np.arange(count) if y is None else y
    columns = (none, none, np.full(count, quality), np.full(count, hdop), np.full(count, gst))
    return Track(times, np.zeros(count), north, *columns, zero, zero, np.zeros(count, bool), 1.0)


@pytest.mark.parametrize(("memory", "apart", "ratio"), CASES)
def test_difference_between_passes_is_the_closed_form(memory, apart, ratio):
    assert difference_sd(1.0, apart, memory) == pytest.approx(ratio, abs=5e-4)  # three decimals are given


@pytest.mark.parametrize(("memory", "apart", "ratio"), CASES)
def test_generator_has_the_closed_form_between_passes(memory, apart, ratio):
    values = gauss_markov(np.array([0.0, float(apart)]), memory, 40_000, np.random.default_rng(1000))
    # the standard deviation of n values is known to 1 / sqrt(2 n) = 0.35 %; 4 of these, and the rounding given
    assert np.diff(values, axis=0).std() == pytest.approx(ratio, rel=0.015, abs=5e-4)


def test_generator_keeps_its_variance_at_uneven_moments():
    at = np.cumsum(np.random.default_rng(1001).exponential(40.0, 60))
    values = gauss_markov(at, 100.0, 20_000, np.random.default_rng(1002))
    assert values.std(axis=1) == pytest.approx(np.ones(60), rel=0.02)  # four times 1 / sqrt(2 n) = 0.5 %
    assert values.mean() == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("memory", [0.3, 15.0, 600.0])
def test_sums_that_decay_are_those_added_one_by_one(memory):
    rng = np.random.default_rng(1004)
    at = np.cumsum(rng.exponential(2.0, 900)) + 1.7e9
    values = rng.standard_normal((900, 2, 3))
    sums = decayed_sums(at, memory, values)
    expected = values.copy()
    for k in range(1, len(at)):
        expected[k] += np.exp((at[k - 1] - at[k]) / memory) * expected[k - 1]
    assert sums == pytest.approx(expected, rel=1e-9, abs=1e-9)  # rounding; sums are of order 1 to 20


def test_generator_forgets_exponentially():
    at = np.array([0.0, 100.0, 200.0])
    values = gauss_markov(at, 100.0, 40_000, np.random.default_rng(1003))
    correlation = np.corrcoef(values)
    # standard error of a correlation 1 / sqrt(n) = 0.005; four of these
    assert correlation[0, 1:] == pytest.approx([np.exp(-1), np.exp(-2)], abs=0.02)


@pytest.mark.parametrize(("quality", "number"), [(1, 0), (2, 1), (3, 1), (5, 2), (4, 3), (6, 0), (-1, 0)])
def test_class_gives_the_defaults(quality, number):
    found = error_model(track(quality), AccuracySettings())
    assert (found.sigma_m[0], found.noise_m) == (CLASS_SIGMA_M[number], CLASS_NOISE_M[number])
    assert found.time_constant_s == CLASS_TIME_S[number]


def test_log_without_classes_says_that_the_worst_was_taken():
    assert "worst" in error_model(track(-1), AccuracySettings()).source


def test_sigma_grows_with_hdop():
    found = error_model(track(1, hdop=2.0), AccuracySettings())
    assert found.sigma_m[0] == pytest.approx(2 * CLASS_SIGMA_M[0])


def test_hdop_below_one_shrinks_nothing():
    assert error_model(track(1, hdop=0.6), AccuracySettings()).sigma_m[0] == CLASS_SIGMA_M[0]


def test_what_is_stated_is_surer_than_what_the_class_says_and_never_sure():
    by_class, stated = (error_model(track(1), AccuracySettings(one)) for one in (None, 0.2))
    assert (by_class.sigma_log_sd, stated.sigma_log_sd) == (CLASS_SIGMA_LOG_SD[0], STATED_LOG_SD)
    assert 0 < stated.sigma_log_sd < by_class.sigma_log_sd


def test_receiver_without_any_error_has_no_short_part_either():
    assert error_model(track(4), AccuracySettings(0.0, noise_m=0.0)).none


# Over so long each coordinate of standing receivers differs by so much, sqrt of half the mean square [m]: lowest and
# highest of the sessions of a class, static logs that anybody may have (statistics only), three lags [s]
MEASURED = {
    "autonomous": {10: (0.06, 0.14), 60: (0.05, 1.1), 240: (0.35, 0.60)},
    "RTK float": {10: (0.05, 0.26), 60: (0.10, 0.91), 240: (0.45, 1.7)},
}


@pytest.mark.parametrize("name", MEASURED)
def test_middle_of_a_class_lies_among_measured_receivers(name):
    number = CLASSES.index(name)
    for lag, (low, high) in MEASURED[name].items():
        shown = difference_sd(CLASS_SIGMA_M[number], lag, CLASS_TIME_S[number]) / np.sqrt(2)
        assert low <= np.hypot(shown, CLASS_SHORT_M[number] * np.sqrt(1 - np.exp(-lag / 15))) <= high


def test_gst_comes_before_class_and_is_shared_by_two_coordinates():
    found = error_model(track(1, hdop=2.0, gst=0.5), AccuracySettings())
    assert found.sigma_m[0] == pytest.approx(0.5 / np.sqrt(2))
    assert "GST" in found.source


def test_what_the_job_file_states_comes_first():
    found = error_model(track(1, gst=0.5), AccuracySettings(0.2, 50.0, 0.01))
    assert (found.sigma_m[0], found.time_constant_s, found.noise_m) == (0.2, 50.0, 0.01)


def test_satellite_class_agrees_with_the_static_test():
    # FAA WJHTC, WAAS Performance Analysis Report 10 (2004): 95 % horizontal 0.610 to 1.062 m by site;
    # a circular normal error has its 95 % at 2.448 standard deviations
    assert 0.610 <= 2.448 * CLASS_SIGMA_M[1] <= 1.062


def test_rtk_class_is_the_measured_one():
    # Carballido et al. 2014, Appl. Eng. Agric. 30(3):361-366: 1.43 cm between rows, of two passes
    assert CLASS_SIGMA_M[3] * np.sqrt(2) == pytest.approx(0.0143, abs=5e-5)  # as many digits as given


def test_white_noise_left_by_a_parabola_through_seven_fixes_is_a_third():
    # Savitzky & Golay 1964, Anal. Chem. 36:1627-1639, table I: 7 / 21 at the middle of seven points
    error = ErrorModel(np.zeros(1), np.zeros(1), 0.03, 600.0, 0.0, "", "")
    assert kept_share(3) == pytest.approx(7 / 21, rel=1e-12)
    assert kept_share(2) == pytest.approx(17 / 35, rel=1e-12)  # and at the middle of five
    assert noise_across(error, 1.0, 3) == pytest.approx(0.03 / np.sqrt(3), rel=1e-12)
    assert noise_across(error, 1.0, 0) == pytest.approx(0.03)
    assert noise_across(error, 0.25, 0) == pytest.approx(0.015)  # unsmoothed, the motion's own fit evens four fixes


def test_parabola_strays_from_a_random_walk_by_the_sum_of_its_kernel():
    """Another route: numpy's fit of unit impulses gives the kernel; steps of the walk before and after add up."""
    half, step_s, sigma, memory_s = 60, 0.05, 0.9, 600.0
    tau = np.arange(-half, half + 1)
    kernel = np.polyfit(tau, np.eye(2 * half + 1), 2)[-1]
    before = np.cumsum(kernel)[:half]
    strays = difference_sd(sigma, step_s, memory_s) * np.sqrt(2 * np.square(before).sum())
    error = ErrorModel(np.zeros(1), np.full(1, sigma), 0.0, memory_s, 0.0, "", "")
    # sums of 121 steps for an integral: within 1 / 60 of the variance; the walk forgets 3 s / 600 s
    assert noise_across(error, step_s, half) == pytest.approx(strays, rel=0.02)


def test_jitter_is_taken_out_of_straights_and_turns_are_left():
    noise = 0.03 * np.random.default_rng(1004).standard_normal(60)
    rough = dataclasses.replace(track(1, count=60), x_m=noise)
    smooth = without_jitter(rough, 3)
    # a parabola through seven even fixes leaves sqrt(1 / 3) of white noise (Savitzky & Golay 1964: 7 / 21)
    assert smooth.x_m[3:-3].std() == pytest.approx(noise.std() / np.sqrt(3), rel=0.25)  # 54 fixes: 10 % a deviation
    angle = np.clip(np.arange(60) - 30, 0, 6) * np.pi / 6
    corner = np.cumsum(np.column_stack([np.sin(angle), np.cos(angle)]) * 2.5, axis=0)
    turning = dataclasses.replace(track(1, count=60), x_m=corner[:, 0], y_m=corner[:, 1])
    kept = without_jitter(turning, 3)
    assert np.abs(kept.x_m - turning.x_m)[28:40].max() == 0.0


def drive(noise_m, cycle_m, period_s, count=1500, hz=1.0):
    """A straight drive whose steering swings, with white noise on both coordinates."""
    times = np.arange(count) / hz
    noise = noise_m * np.random.default_rng(1012).standard_normal((2, count))
    swing = cycle_m * np.sin(2 * np.pi * times / period_s)
    shape = track(1, count=count)
    return dataclasses.replace(
        shape, time_s=START_S + times, x_m=swing + noise[0], y_m=2.5 * times + noise[1], median_step_s=1 / hz
    )


@pytest.mark.parametrize("noise_m", [0.003, 0.02, 0.1])
def test_noise_is_told_from_the_log(noise_m):
    # 3 000 third differences, a median: 2.2 %, correlated; four of these
    assert jitter_of(drive(noise_m, 0.0, 10.0)).noise_m == pytest.approx(noise_m, rel=0.1)


def test_swings_of_the_steering_stay_and_jitter_goes():
    """Wider windows would erase a swing of ten seconds: more than there is noise, so it stays within 2 %."""
    swinging = drive(0.005, 0.15, 10.0)
    assert without_jitter(swinging, jitter_of(swinging).half).x_m.std() == pytest.approx(0.15 / np.sqrt(2), rel=0.02)
    assert without_jitter(swinging, 3).x_m.std() < 0.98 * 0.15 / np.sqrt(2)
    assert jitter_of(drive(0.05, 0.0, 10.0)).half == 3
    assert jitter_of(drive(0.05, 0.0, 10.0, hz=10.0)).half >= 20


def test_what_is_forgotten_within_seconds_is_noise_however_dense_the_log():
    """An error of 4 cm forgotten over 2 s goes from fix to fix, at 10 Hz, by 1.2 cm, and is 4 cm from gap to gap.

    Differences of third order a second apart of a Gauss-Markov error have 20 - 30 r + 12 r^2 - 2 r^3 of its variance,
    r = exp(-1 s / 2 s), where white noise has 20 of its own.
    """
    still = drive(0.0, 0.0, 10.0, count=30_000, hz=10.0)
    rng, keep = np.random.default_rng(1022), np.exp(-0.1 / 2.0)
    steps = 0.04 * np.sqrt(1 - keep**2) * rng.standard_normal((2, 30_000))
    steps[:, 0] = 0.04 * rng.standard_normal(2)
    error = lfilter([1.0], [1.0, -keep], steps)
    found = jitter_of(dataclasses.replace(still, x_m=still.x_m + error[0], y_m=still.y_m + error[1]))
    r = np.exp(-0.5)
    share = (20 - 30 * r + 12 * r**2 - 2 * r**3) / 20
    # 6 000 third differences, correlated, a median: 2 %; four of these
    assert found.noise_m == pytest.approx(0.04 * np.sqrt(share), rel=0.08)
    assert found.every == 10
    assert found.half >= 20


def test_stated_noise_counts_where_it_is_stated():
    assert jitter_of(drive(0.05, 0.0, 10.0), 0.0).half == 0


def test_a_few_fixes_show_no_noise():
    found = jitter_of(track(1, count=10))
    assert np.isnan(found.noise_m)
    assert found.half == 0
