"""Whatever a log looks like: kinds of seconds part the drive, and time and memory of an audit stay bounded."""

import resource
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import boom, job, log

from coverage_audit.errors import InputError
from coverage_audit.ground.pieces import pieces_of
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.drive import drive_of, job_plane

FIXES = 20_000
LONGEST_S, LARGEST_BYTES = 60.0, 1e9


def wandering(rng, count, step_m, kept):
    """A standing receiver: each fix keeps the share *kept* of how far the one before lay off. Shape (count, 2)."""
    places, steps = np.zeros((count, 2)), rng.normal(0, step_m, (count, 2))
    for k in range(1, count):
        places[k] = kept * places[k - 1] + steps[k]
    return places


def round_and_round(time, radius_m, speed_m_s):
    angle = time * speed_m_s / radius_m
    return radius_m * np.column_stack([np.cos(angle), np.sin(angle)])


def to_and_fro(time, length_m, speed_m_s, aside_m):
    """Passes of *length_m*, *aside_m* beside each other."""
    row, along = np.divmod(time * speed_m_s, length_m)
    return np.column_stack([row * aside_m, np.where(row % 2 == 0, along, length_m - along)])


SHAPES = {
    "scatter": lambda rng, time: rng.normal(0, 0.5, (len(time), 2)),
    "jitter": lambda rng, time: wandering(rng, len(time), 0.35, 0.8),
    "wide jitter": lambda rng, time: wandering(rng, len(time), 1.0, 0.9),
    "one place": lambda _rng, time: np.zeros((len(time), 2)),
    "tiny loops": lambda rng, time: round_and_round(time, 3.0, 2.0) + rng.normal(0, 0.05, (len(time), 2)),
    "donuts": lambda rng, time: (
        round_and_round(time, 8.0, 3.0) + 0.002 * time[:, None] + rng.normal(0, 0.05, (len(time), 2))
    ),
    "zigzag": lambda rng, time: to_and_fro(time, 20.0, 2.0, 0.06) + rng.normal(0, 0.05, (len(time), 2)),
    "passes": lambda rng, time: to_and_fro(time, 150.0, 2.0, 8.0) + rng.normal(0, 0.1, (len(time), 2)),
    "lost": lambda rng, time: np.cumsum(rng.normal(0, 1.0, (len(time), 2)), axis=0),
}


def odd_job(shape, count, seed=1, *, logged=True, twice=False):
    """Four passes, and then *count* fixes of a shape; the boom on all the time, or nobody knows."""
    rng = np.random.default_rng(seed)
    time = np.arange(count, dtype=float)
    places = SHAPES[shape](rng, time)
    passes = to_and_fro(np.arange(200.0), 100.0, 2.0, 9.0) - [60.0, 0.0]
    points = np.vstack([passes + places.min(axis=0), places])
    times = np.concatenate([np.arange(200.0), time + 260.0])
    if twice:  # the logger wrote every third time twice
        times = np.sort(times - (np.arange(len(times)) % 3 == 2))
    field = shapely.buffer(shapely.MultiPoint(points).envelope, 10.0, join_style="mitre")
    given_s = [(0.0, float(times[-1]))] if logged else []
    return job(log(times, points), given_s, field, boom=boom(9.0, intervals="csv" if logged else "assume"))


@settings(max_examples=8, deadline=None)
@given(
    shape=st.sampled_from(sorted(SHAPES)),
    count=st.integers(2, 90),
    seed=st.integers(0, 2**16),
    logged=st.booleans(),
    twice=st.booleans(),
)
def test_kinds_part_the_drive_or_the_job_is_refused(shape, count, seed, logged, twice):
    try:
        audit = audit_job(odd_job(shape, count, seed, logged=logged, twice=twice))
    except InputError as refusal:
        assert "over and over" in refusal.what or not logged  # noqa: PT017 - either is right
        return
    spent = audit.passes.time_by_kind_s()
    assert sum(spent.values()) == pytest.approx(audit.end_s - audit.start_s, abs=1e-6)
    assert min(spent.values()) >= 0


@pytest.mark.parametrize("shape", ["scatter", "jitter", "one place"])
def test_hours_of_standing_with_the_boom_on_are_a_place(shape):
    """Five and a half hours of jitter: no more pieces than the four passes before it make."""
    read = odd_job(shape, FIXES)
    found = drive_of(read, job_plane(read))
    stood = found.path.time_s > found.track.time_s[200] + 30
    assert np.ptp(found.path.travel_m[stood]) < 30.0  # its middle drifts; it jitters over 10 km and more
    assert sum(len(pieces_of(one)) for one in found.thinned) < 1500  # 1100 in the turns of the passes before it
    audit = audit_job(read)
    assert audit.time_on_s == pytest.approx(FIXES + 259, abs=61)  # the time on is kept, but for the gap before it
    assert audit.checks.ok


@pytest.mark.parametrize("shape", ["donuts", "tiny loops"])
def test_what_cannot_be_counted_is_refused_before_it_is_cut_up(shape, monkeypatch):
    def never(_lines):
        raise AssertionError

    monkeypatch.setattr("coverage_audit.recipe.count.pieces_of", never)
    with pytest.raises(InputError, match="over and over"):
        audit_job(odd_job(shape, 3_000))


@pytest.mark.slow
@pytest.mark.parametrize("logged", [True, False])
@pytest.mark.parametrize("shape", sorted(SHAPES))
def test_a_minute_and_a_gigabyte_are_enough_for_any_shape(shape, logged):
    """In a process of its own; what is asked for is its own time on a processor."""
    code = f"import test_any_shape as t; t.one({shape!r}, {logged})"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=Path(__file__).parent, capture_output=True, text=True, check=True
    )
    seconds, most = map(float, done.stdout.split())
    assert seconds < LONGEST_S
    assert most < LARGEST_BYTES


def one(shape, logged):
    """Audit twenty thousand fixes, and print the time and the memory it took."""
    try:
        audit_job(odd_job(shape, FIXES, logged=logged))
    except InputError as refusal:
        assert "over and over" in refusal.what or not logged  # noqa: PT017 - either is right
    used = resource.getrusage(resource.RUSAGE_SELF)
    print(used.ru_utime + used.ru_stime, used.ru_maxrss * 1024)  # noqa: T201 - read by the test above
