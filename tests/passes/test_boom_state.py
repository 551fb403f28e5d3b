"""What was on, told from the drive alone: single rules on small drives, and whole days of odd shapes."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from jobs import START_S, boom, job, log, parallel_passes
from odd_days import judged, odd_day

from coverage_audit.jobs.read import read_job
from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.papers.summary import summary_dict
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.passes.state_draws import Tried, drawn, likeliest, quantile, volume_weights
from coverage_audit.recipe.assumed import make_proposal
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.drive import job_plane

DAYS = Path(__file__).parents[3] / "shared" / "days"
FIELD = shapely.box(-4.5, 0, 67.5, 150)
LINES = [9.0 * k for k in range(8)]


def proposal(times, points, field=FIELD, width_m=9.0):
    one = job(log(times, points), (), field, boom=boom(width_m, intervals="assume"))
    return make_proposal(one, job_plane(one))


def on_at(told, moments):
    return np.searchsorted(told.on_off_s().ravel(), np.asarray(moments) + START_S, side="right") % 2 == 1


def way_of(corners, speed_m_s=2.0):
    """Fixes a second apart along *corners*."""
    line = shapely.LineString(corners)
    times = np.arange(0.0, line.length / speed_m_s)
    return times, shapely.get_coordinates(shapely.line_interpolate_point(line, times * speed_m_s))


def test_passes_are_on_and_turns_off():
    times, points, given = parallel_passes(LINES, 0.0, 150.0)
    told = proposal(times, points)
    fine = np.arange(0.0, times[-1], 0.5)
    truth = np.searchsorted(np.ravel(given), fine, side="right") % 2 == 1
    assert (on_at(told, fine) == truth).mean() >= 0.98


def test_a_way_across_the_field_is_no_work():
    """First across all that is to be done, slantwise and no quicker than work."""
    times, points, given = parallel_passes(LINES, 0.0, 150.0)
    first, across = way_of([(70, 160), (-12, -15), (0, -25), (0, points[0, 1])])
    told = proposal(np.concatenate([first, times + first[-1] + 1.0]), np.vstack([across, points]))
    assert not on_at(told, first[first < 90]).any()
    assert on_at(told, [first[-1] + 1 + (a + b) / 2 for a, b in given]).all()


def test_a_pass_that_fills_a_narrow_strip_is_work():
    """The last pass has 3 m left of its 9 all along: needed, though two thirds are done."""
    lines = [*LINES[:-1], 57.0]
    times, points, given = parallel_passes(lines, 0.0, 150.0)
    told = proposal(times, points, shapely.box(-4.5, 0, 61.5, 150))
    assert on_at(told, [(a + b) / 2 for a, b in given]).all()


def test_the_corners_of_a_lap_are_on_and_the_passes_stop_at_it():
    ring = [(0, -4.5), (63, -4.5), (63, 154.5), (0, 154.5), (0, -4.5)]
    lap = shapely.buffer(shapely.buffer(shapely.Polygon(ring), -4.5), 4.5).exterior
    first, round_it = way_of(shapely.get_coordinates(lap))
    times, points, _ = parallel_passes(LINES[1:-1], 0.0, 150.0, run_in_m=4.0)
    told = proposal(
        np.concatenate([first, times + first[-1] + 40.0]),
        np.vstack([round_it, points]),
        shapely.box(-4.5, -9, 67.5, 159),
    )
    assert on_at(told, first[2:-2]).mean() >= 0.97
    middle = times[np.argmin(np.abs(points[:, 1] - 75))] + first[-1] + 40
    assert on_at(told, [middle]).all()


@pytest.mark.parametrize(("last", "run_in_m"), [(True, 5.0), (False, 4.0)])
def test_who_comes_to_the_headland_first_does_it(last, run_in_m):
    """Passes to the edge are on over the headland when it is gone round last; off in their tails when it was done."""
    ring = [(0, -4.5), (63, -4.5), (63, 154.5), (0, 154.5), (0, -4.5)]
    lap_s, lap = way_of(
        shapely.get_coordinates(shapely.buffer(shapely.buffer(shapely.Polygon(ring), -4.5), 4.5).exterior)
    )
    times, points, _ = parallel_passes(LINES[1:-1], 0.0, 150.0, run_in_m=run_in_m)
    parts = [(times, points), (lap_s, lap)] if last else [(lap_s, lap), (times, points)]
    later = parts[0][0][-1] + 40.0
    told = proposal(
        np.concatenate([parts[0][0], parts[1][0] + later]),
        np.vstack([parts[0][1], parts[1][1]]),
        shapely.box(-4.5, -9, 67.5, 159),
    )
    beyond = (np.abs(points[:, 1] - 75) > 76) & (np.abs(points[:, 1] - 75) < 75 + run_in_m - 1)
    straight = np.isin(points[:, 0], LINES)
    share = on_at(told, times[beyond & straight] + (0.0 if last else later)).mean()
    assert share >= 0.8 if last else share <= 0.2


def test_standing_is_never_on_and_costs_nothing():
    """An hour of jitter amid a pass: no cells of its own, and never on."""
    times, points, given = parallel_passes(LINES, 0.0, 150.0, hz=1.0)
    at = int(np.searchsorted(times, np.mean(given[2])))
    stand = np.arange(1.0, 3600.0)
    rng = np.random.default_rng(1)
    jitter = points[at] + rng.normal(0, 0.02, (len(stand), 2))
    told = proposal(
        np.concatenate([times[: at + 1], times[at] + stand, times[at + 1 :] + 3600.0]),
        np.vstack([points[: at + 1], jitter, points[at + 1 :]]),
    )
    plain = proposal(times, points)
    assert not on_at(told, times[at] + stand[10:-10]).any()
    assert sum(one.last - one.first for one in told.found) <= 1.05 * sum(one.last - one.first for one in plain.found)


def test_cells_count_what_was_swept():
    """Eight passes of 9 x 150 m cover 72 x 150 m once; cells of 0.56 m err by their edges, 1 %."""
    times, points, given = parallel_passes(LINES, 0.0, 150.0)
    told = proposal(times, points)
    units = told.units
    middle = units.time_s.mean(axis=1) - START_S
    on = np.searchsorted(np.ravel(given), middle, side="right") % 2 == 1
    found = Tried.of(units, on)
    assert found.by_visits[1] == pytest.approx(72 * 150, rel=0.01)
    every = np.ones(len(on), bool)
    assert Tried.of(units, every).swept == pytest.approx(float(units.swath_m2.sum()), rel=0.03)


def test_draws_differ_in_switching_and_in_segments():
    times, points, _ = parallel_passes(LINES, 0.0, 150.0)
    told = proposal(times, points)
    rng = np.random.default_rng(2)
    base = likeliest(told.units, told.found)
    tried = [drawn(told.units, told.found, told.usual_m_s, rng) for _ in range(50)]
    share = np.mean(tried, axis=0)
    middle = told.units.time_s.mean(axis=1) - START_S
    amid = np.abs(np.interp(middle, times, points[:, 1]) - 75) < 40
    assert (share[amid] >= 0.9).all()  # a pass is hardly ever off
    assert 0.0 < share[~amid & base].min() < 0.9  # its ends are, now and then


def test_the_volume_used_picks_among_the_draws():
    swept = np.array([8000.0] * 40 + [10_000.0] * 40)
    weight = volume_weights(swept, 10_000.0)
    assert weight[40:].sum() > 0.9
    assert quantile(swept, 0.5, weight) == pytest.approx(10_000.0, abs=200)
    assert volume_weights(swept, None) is None
    assert volume_weights(swept, 30_000.0) is None  # nothing fits: the volume is not what it seems


@pytest.fixture(scope="module")
def with_receiver():
    """A day along contours whose accuracy is asked for."""
    day = odd_day(1006)
    return audit_job(day.job(assumed=True, accuracy=AccuracySettings(steering="hand", sigma_m=1.0, replicates=40)))


def test_ranges_hold_the_boom_state_and_the_receiver(with_receiver):
    """Wider than by the boom's state alone; the accuracy tells the same ranges as the assumption."""
    plain = audit_job(odd_day(1006).job(assumed=True))
    told, alone = (one.assumed.ranges["missed"] for one in (with_receiver, plain))
    assert told.high - told.low > alone.high - alone.low
    for name in ("missed", "double", "covered"):
        figure, found = getattr(with_receiver.accuracy, f"{name}_m2"), with_receiver.assumed.ranges[name]
        assert (figure.low90, figure.high90) == pytest.approx((found.low, found.high))
        assert figure.low90 - 1e-6 <= figure.observed <= figure.high90 + 1e-6
    summary = summary_dict(with_receiver)
    assert summary["accuracy"]["missed_m2"]["low90"] == summary["assumed_ranges_m2"]["missed"]["low"]
    assert "with the receiver's error" in terminal_text(with_receiver)


def test_a_strip_is_no_surer_than_that_the_boom_was_off_there(with_receiver):
    job_alone = odd_day(1006).job(assumed=False, accuracy=AccuracySettings(steering="hand", sigma_m=1.0, replicates=40))
    logged = audit_job(job_alone)
    assert all(0.0 <= strip.probability <= 1.0 for strip in with_receiver.missed_strips)
    assert np.mean([one.probability for one in with_receiver.missed_strips]) <= np.mean(
        [one.probability for one in logged.missed_strips]
    )


# --- whole days -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seed", "shape"), [(1005, None), (1006, None), (1014, None), (3001, "point rows"), (3000, "ditch")]
)
def test_a_day_of_odd_shape(seed, shape):
    """A spiral, two days along contours, point rows, two sides of a ditch; the share of the seconds told right."""
    areas, right, told = judged(odd_day(seed, shape))
    assert right >= 0.85
    for low, truth, high in areas.values():
        assert low <= truth <= high
    assert summary_dict(told)["assumed"] is True


@pytest.mark.slow
def test_sixty_days_of_odd_shapes():
    """Seeds that nothing was built on: nine in ten held of each figure."""
    days = [judged(odd_day(seed))[:2] for seed in range(1000, 1060)]
    for name in ("missed", "double"):
        held = [low <= truth <= high for low, truth, high in (areas[name] for areas, _ in days)]
        assert sum(held) >= 54
    assert np.mean([right for _, right in days]) >= 0.92


@pytest.mark.slow
@pytest.mark.skipif(not DAYS.exists(), reason="the real days do not lie beside the checkout")
@pytest.mark.parametrize("name", ["harvest08", "harvest21", "harvest22"])
def test_a_real_day(name):
    """Nothing is claimed to be left out (the logged work state shows no such strip), and the ranges hold."""
    told = audit_job(read_job(DAYS / name / "assume.toml"))
    true = audit_job(read_job(DAYS / name / "job.toml")).area_m2
    assert told.passes.gaps == ()
    for figure in ("missed", "double"):
        found = told.assumed.ranges[figure]
        assert found.low <= getattr(true, figure) <= found.high
