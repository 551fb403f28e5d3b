"""Error processes of the second simulator against their formulas, and jobs against what they were drawn for."""

from pathlib import Path

import numpy as np
import pynmea2
import pyproj
import pytest
import shapely

import coverage_audit as ca
from second_simulator.cases import STRESSES, Case, play
from second_simulator.drivers import lagged, smooth_noise
from second_simulator.files import kept_job
from second_simulator.receivers import CLASSES, Receiver, draw_receiver, gauss_markov, wander


@pytest.mark.parametrize(("sigma_m", "constant_s"), [(0.8, 150.0), (0.02, 4.0)])
def test_gauss_markov_keeps_its_variance_and_forgets_exponentially(sigma_m, constant_s):
    """Autocovariance sigma^2 exp(-lag / T): Gelb (ed.), Applied Optimal Estimation, 1974, section 2.2, from memory."""
    error = gauss_markov(np.random.default_rng(1), 2_000_000, constant_s / 50, sigma_m, constant_s)
    for lag in (0, 25, 50, 100):
        covariance = np.mean(error[: len(error) - lag] * error[lag:])
        # 40 000 time constants: relative scatter of a covariance about sqrt(1 / 40 000)
        assert covariance == pytest.approx(sigma_m**2 * np.exp(-lag / 50), abs=0.03 * sigma_m**2)


def test_a_random_walk_grows_with_the_root_of_time():
    plain = Receiver("walk", 1, (), (1e-9, 1.0), 0.0, walk_m_rt_s=0.02)
    ends = np.array([wander(np.random.default_rng(s), plain, 600.0, 0.5).error_m[-1] for s in range(300)])
    assert np.sqrt(np.mean(ends**2)) == pytest.approx(0.02 * np.sqrt(600), rel=0.12)  # 600 values: 3 % scatter


def test_a_tone_has_its_amplitude_and_period():
    plain = Receiver("tone", 1, (), (1e-9, 1.0), 0.0, tones=((0.1, 50.0),))
    east = wander(np.random.default_rng(0), plain, 1000.0, 1.0).error_m[:, 0]
    assert np.abs(east).max() == pytest.approx(0.1, rel=0.01)
    assert east[50:] == pytest.approx(east[:-50], abs=1e-6)


def test_steps_jump_by_the_sizes_asked_for():
    plain = Receiver("steps", 1, (), (1e-9, 1.0), 0.0, steps_per_h=20.0, step_m=(0.2, 0.5))
    jumps = np.diff(wander(np.random.default_rng(3), plain, 3600.0, 1.0).error_m[:, 0])
    large = np.abs(jumps[np.abs(jumps) > 0.01])
    assert 8 < len(large) < 36  # Poisson with a mean of 20: within 3.5 of its own standard deviations
    assert large.min() > 0.199
    assert large.max() < 0.501


def test_sessions_of_a_class_spread_as_measured():
    """Open-sky sessions: 60 s differences of autonomous receivers lay between 0.05 and 1.1 m."""
    found = []
    for seed in range(120):
        rng = np.random.default_rng(seed)
        east = wander(rng, draw_receiver(rng, "autonomous"), 3600.0, 1.0).error_m[:, 0]
        found.append(np.sqrt(np.mean((east[60:] - east[:-60]) ** 2) / 2))
    assert 0.1 < np.median(found) < 0.4
    assert np.quantile(found, 0.05) > 0.04
    assert np.quantile(found, 0.95) < 1.3


def test_smooth_noise_has_unit_variance_and_a_lag_follows_a_step_by_its_reach():
    along = np.arange(0, 20_000, 0.1)
    assert smooth_noise(np.random.default_rng(2), along, 30.0).std() == pytest.approx(1.0, abs=0.1)  # 400 lengths
    step = np.where(along < 10, 0.0, 1.0)
    followed = lagged(step, along, 5.0)
    assert followed[np.searchsorted(along, 15.0)] == pytest.approx(1 - np.exp(-1), abs=0.01)


@pytest.mark.parametrize("stress", ["blunders", "wrong-fix", "sigma-double"])
def test_a_stress_changes_what_it_says_and_the_same_seed_gives_the_same_job(stress):
    assert stress in STRESSES
    one, again = (play(Case("rtk", "hand", 5, stress=stress)) for _ in range(2))
    assert one.truth.missed_m2 == again.truth.missed_m2
    assert (abs(one.driver.blunder_m) >= 0.6) == (stress == "blunders")
    assert (one.receiver.wrong_fix_m > 0) == (stress == "wrong-fix")
    assert one.stated_sigma_m == (2 * CLASSES["rtk"].slow_m if stress == "sigma-double" else None)


def test_guided_truth_goes_against_the_receiver_and_by_hand_it_does_not():
    """Log = truth + error. Guided, the log keeps to the line: across the passes truth and error are opposite."""
    for steering, sign in (("guided", -1), ("hand", 0)):
        played = play(Case("autonomous", steering, 4, stress="tc150"))
        drive, across = played.drive, played.field.heading_rad + np.pi / 2
        normal = np.array([np.cos(across), np.sin(across)])
        long_ones = drive.on_s[np.diff(drive.on_s, axis=1)[:, 0] > 25][2:]
        pairs = []
        for on, off in long_ones:
            times = np.linspace(on, off, 40)
            true, error = drive.pose(times)[0] @ normal, played.wander.at(times) @ normal
            pairs.append((np.ptp(true), np.corrcoef(true, error)[0, 1]))
        found = np.median([c for _, c in pairs])
        assert found < -0.7 if sign else abs(found) < 0.7


def test_the_files_are_read_as_they_were_meant(tmp_path):
    """NMEA by pynmea2, the area by geodesics (PROJ), the whole by the package."""
    case = Case("sbas", "hand", 6)
    job, kept = kept_job(tmp_path, case)
    names = {Path(name).name for name, _ in ca.read_job(job).sources}
    assert names >= {"job.toml", "boom.csv", "field.geojson"}
    outline, geod = shapely.from_geojson(job.with_name("field.geojson").read_text()), pyproj.Geod(ellps="WGS84")
    assert kept.truth.target_m2 == pytest.approx(abs(geod.geometry_area_perimeter(outline)[0]), rel=1e-5)
    parsed = [pynmea2.parse(x, check=True) for x in job.with_name("track.nmea").read_text().splitlines()]
    fixes = [x for x in parsed if x.sentence_type == "GGA"]
    centre = outline.centroid
    assert (
        max(geod.inv(x.longitude, x.latitude, centre.x, centre.y)[2] for x in fixes) < 250
    )  # m, half a field's diagonal
    assert {x.gps_qual for x in fixes} == {2}
    drawn = play(case).truth
    assert (kept.truth.missed_m2, kept.truth.double_m2) == (drawn.missed_m2, drawn.double_m2)
    again, _ = kept_job(tmp_path, case)
    assert again == job
