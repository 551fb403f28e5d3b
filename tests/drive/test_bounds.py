"""Work and memory are bounded by how many fixes there are, not by how far they leap or how often they cross."""

import numpy as np
import shapely
from jobs import boom, job, log

from coverage_audit.accuracy.scan import Scan, _crossings, most_crossings
from coverage_audit.accuracy.swept import steps_of
from coverage_audit.drive.model import BoomPath, Timeline
from coverage_audit.ground.cuts import cut_times
from coverage_audit.ground.model import BoomLines
from coverage_audit.ground.tolerances import MOST_LINE_CUTS
from coverage_audit.papers.words.cautions import texts
from coverage_audit.recipe.drive import drive_of, job_plane


def leaping(count, reach_m):
    """A path that leaps to and fro by *reach_m*, one leap a second, the boom on all along."""
    rng = np.random.default_rng(4)
    x, y = rng.uniform(-reach_m, reach_m, (2, count))
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    heading = np.unwrap(rng.uniform(-np.pi, np.pi, count))
    none = np.zeros(count, bool)
    path = BoomPath(np.arange(count, dtype=float), x, y, heading, travel, none, none, none)
    on = Timeline(np.array([0.0]), np.array([count - 1.0]), np.ones((1, 1), bool), np.zeros(1, int))
    return path, on


def test_cuts_have_a_most():
    path, on = leaping(2000, 100_000.0)
    assert len(cut_times(path, on, 1e-3)) <= MOST_LINE_CUTS + 3 * 2000
    assert len(cut_times(path, on, 100.0)) <= MOST_LINE_CUTS + 3 * 2000


def test_cuts_lie_as_close_as_ever_where_they_are_few():
    path, on = leaping(50, 10.0)
    times = cut_times(path, on, 9.0)
    assert np.median(np.diff(np.interp(times, path.time_s, path.travel_m))) < 0.15


def test_coarser_cuts_are_told():
    rng = np.random.default_rng(7)
    times = np.arange(1500.0)
    read = job(log(times, rng.normal(0, 5, (1500, 2))), [(1, 1498)], shapely.box(-50, -50, 50, 50), boom=boom(9.0))
    (told,) = (one for one in texts(drive_of(read, job_plane(read)).cautions, "us") if "more coarsely" in one)
    assert "leap about" in told


def test_lines_lie_farther_apart_where_steps_are_huge():
    """300 steps of 100 km across a field of 10 km: some 40 million crossings at a metre."""
    count = 300
    sign = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)
    none = np.zeros(count, bool)
    lines = BoomLines(
        sign * 50_000.0,
        sign * 50_000.0,
        np.zeros(count),
        np.arange(count) * 141_000.0,
        none,
        none,
        none,
        ((-50, 50),),
        0,
    )
    steps = steps_of([lines])
    scan = Scan.over(shapely.box(-5000, -5000, 5000, 5000), steps, 100.0)
    placed = scan.in_rows(steps.corner_m)
    edges = np.stack([placed, np.roll(placed, -1, axis=1)], axis=2).reshape(-1, 2, 2)
    at, _, _, _ = _crossings(edges, np.repeat(np.arange(len(placed)), 4), scan.count)
    assert len(at) <= 1.1 * most_crossings(len(steps.line))  # 1.1: a row is crossed at most once more


def test_ground_swept_hundreds_of_times_is_counted_the_same_in_blocks(monkeypatch):
    """Swept 40 times to and fro along one line, a stretch each time: all of it double, whatever the block."""
    lines = []
    for number in range(40):
        y = np.array([0.0, 100.0])
        none = np.zeros(2, bool)
        lines.append(BoomLines(np.zeros(2), y, np.zeros(2), y + 200 * number, none, none, none, ((-5.0, 5.0),), number))
    steps = steps_of(lines)
    scan = Scan.over(shapely.box(-5, 0, 5, 100), steps, 10.0)
    whole = scan.areas(steps)
    monkeypatch.setattr("coverage_audit.accuracy.scan.MOST_SWEEPS", 7)
    assert np.allclose(scan.areas(steps), whole, rtol=0, atol=1e-9)
    assert np.allclose(whole, [0.0, 1000.0], atol=1.0)
