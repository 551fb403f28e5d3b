"""What a drive tells of its machine: an antenna to one side, switches that lag, another field in the log."""

import numpy as np
import pytest
import shapely
from jobs import boom, job, log, parallel_passes

from coverage_audit.recipe.audit import audit_job

LINES = [9.0 * k for k in range(12)]
FIELD = shapely.box(-4.5, 0, 103.5, 80)
TIMES, POINTS, GIVEN = parallel_passes(LINES, 0.0, 80.0, hz=1.0, turn_s=20.0)


def steered(seed, beside_m=0.0):
    """The drive with a driver who wanders by decimetres, the antenna *beside_m* to the right of the boom's middle."""
    rng = np.random.default_rng(seed)
    way = np.gradient(POINTS, axis=0)
    right = np.column_stack([way[:, 1], -way[:, 0]]) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    off = np.repeat(rng.normal(0, 0.15, len(LINES) + 1), len(POINTS) // len(LINES) + 1)[: len(POINTS)]
    return POINTS + beside_m * right + np.column_stack([off, np.zeros(len(off))])


def told(audit, code):
    return [dict(one.values) for one in audit.cautions if one.code == code]


def audited(points, given=GIVEN, times=TIMES, field=FIELD):
    return audit_job(job(log(times, points), given, field, boom=boom(9.0)))


@pytest.mark.parametrize("beside_m", [0.6, -0.6])
def test_an_antenna_to_one_side_is_told_with_its_figure_and_not_moved(beside_m):
    found = audited(steered(1, beside_m))
    (one,) = told(found, "antenna beside")
    assert one["beside_m"] == pytest.approx(beside_m, abs=4 * one["error_m"])
    assert found.job.settings.boom.antenna_right_m == 0.0


@pytest.mark.parametrize("seed", range(3))
def test_an_even_driver_has_his_antenna_amid_the_boom(seed):
    assert not told(audited(steered(seed)), "antenna beside")


@pytest.mark.parametrize("lag_s", [2.5, -2.5])
def test_switches_that_lag_are_told_in_metres_and_seconds(lag_s):
    found = audited(steered(1), [(a + lag_s, b + lag_s) for a, b in GIVEN])
    (one,) = told(found, "switches lag")
    assert one["lag_s"] == pytest.approx(lag_s, abs=0.3)  # a fix a second [s]
    assert one["lag_m"] == pytest.approx(2.5 * lag_s, abs=0.7)


def test_a_driver_late_on_and_early_off_has_no_lag():
    assert not told(audited(steered(1), [(a + 2.0, b - 2.0) for a, b in GIVEN]), "switches lag")


def test_another_field_in_the_log_is_told_with_its_size():
    """The same passes again, 400 m to the east, the boom on there or not."""
    gone = np.column_stack([np.linspace(POINTS[-1, 0], 400.0, 120), np.full(120, POINTS[-1, 1])])
    times = np.concatenate([TIMES, TIMES[-1] + np.arange(1.0, 121.0), TIMES[-1] + 121.0 + TIMES])
    points = np.vstack([POINTS, gone, POINTS + np.array([400.0, 0.0])])
    later = [(a + TIMES[-1] + 121.0, b + TIMES[-1] + 121.0) for a, b in GIVEN]
    for given in (GIVEN, [*GIVEN, *later]):
        found = audited(points, given, times)
        (one,) = told(found, "other field")
        assert one["area_m2"] == pytest.approx(108 * 100, rel=0.2)  # with the run-in of 10 m at either end
        assert not told(found, "sprayed elsewhere")
    assert not told(audited(POINTS), "other field")
