"""Every second of the drive is of one kind, whatever the log looks like; what counts as a pass left out."""

import itertools
import warnings
from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import boom, job, log, parallel_passes
from pass_jobs import audited, field_job
from simulator.jobs import Faults, Stop

from coverage_audit.errors import InputError
from coverage_audit.papers.figures.passes import pass_summary
from coverage_audit.papers.summary import summary_dict
from coverage_audit.passes.diary import keep_diary
from coverage_audit.passes.model import KINDS, Fixed, Span
from coverage_audit.passes.way import white_noise_m
from coverage_audit.recipe.audit import audit_job

FIELD = shapely.box(-100, -100, 100, 100)


def odd_drive(seed):
    """Any drive: straights, bends, standing with jitter, backing up, gaps; the boom on and off at will."""
    rng = np.random.default_rng(seed)
    x = y = heading = clock = 0.0
    rows, breaks = [], []
    for _ in range(int(rng.integers(1, 25))):
        kind = rng.choice(["straight", "bend", "stand", "back", "gap"])
        seconds = int(rng.integers(1, 90 if kind == "straight" else 20))
        on = bool(rng.random() < 0.6)
        if kind == "gap":
            breaks.append(Span("gap", clock, clock + seconds))
            clock += seconds
            continue
        speed = {"stand": 0.0, "back": -1.0}.get(kind, 2.5)
        if kind == "back":
            breaks.append(Span("reversing", clock, clock + seconds))
        for _ in range(seconds):
            heading += rng.uniform(0.1, 0.5) if kind == "bend" else 0.0
            x, y, clock = x + speed * np.sin(heading), y + speed * np.cos(heading), clock + 1.0
            rows.append((clock, x + rng.normal(0, 0.3), y + rng.normal(0, 0.3), on))
    rows += [(clock + k, x + 2.5 * k, y, True) for k in range(1, 5)]
    time, x, y, on = (np.array(column) for column in zip(*rows, strict=True))
    return Fixed(time, x, y, white_noise_m(time, x, y), on), breaks


@pytest.mark.parametrize("logged", [True, False])
@pytest.mark.parametrize("seed", range(40))
def test_kinds_part_the_drive_whatever_it_looks_like(seed, logged):
    fixed, breaks = odd_drive(seed)
    on = fixed.on if logged else None
    fixed = Fixed(fixed.time_s, fixed.x_m, fixed.y_m, fixed.noise_m, on)
    diary = keep_diary(fixed, FIELD, 9.0, breaks)
    ends = [(span.start_s, span.end_s) for span in diary.spans]
    assert ends[0][0] == fixed.time_s[0]
    assert ends[-1][1] == fixed.time_s[-1]
    assert all(a[1] == b[0] for a, b in itertools.pairwise(ends))
    inner = sorted((span.start_s, span.end_s) for span in diary.within)
    assert all(a[1] <= b[0] for a, b in itertools.pairwise(inner))
    for start, end in inner:  # each lies within one pass or lap
        own = [span for span in diary.spans if span.start_s <= start and end <= span.end_s]
        assert [span.kind in ("headland", "straight") for span in own] == [True]


@pytest.mark.parametrize("seed", range(4))
def test_any_drive_is_audited_or_refused_without_a_boom_state(seed):
    """A headland run of a single fix, spans without any: nothing stops the audit but a plain refusal."""
    fixed, _ = odd_drive(seed)
    keep = np.append(True, np.diff(fixed.time_s) > 0)
    place = np.column_stack([fixed.x_m, fixed.y_m])[keep]
    one = job(log(fixed.time_s[keep], place), (), FIELD, boom=boom(9.0, intervals="assume"))
    try:
        audit = audit_job(one)
    except InputError as refusal:
        assert "list the times" in refusal.what or "never sprayed inside" in refusal.what  # noqa: PT017 - either is right
        return
    spent = audit.passes.time_by_kind_s()
    assert sum(spent.values()) == pytest.approx(audit.end_s - audit.start_s, abs=1e-6)


@pytest.fixture(scope="module")
def stopped():
    """Stops of half a minute in two passes."""
    scenario, one = field_job(1, 0.1, hectares=2.0, headland_laps=1.0, stops=(Stop(4, 0.5, 30.0), Stop(6, 0.2, 30.0)))
    return audited(scenario, one)


def test_the_seconds_of_all_kinds_are_the_drive(stopped):
    spent = summary_dict(stopped)["time_by_kind_s"]
    assert set(spent) == set(KINDS)
    assert sum(spent.values()) == pytest.approx(stopped.end_s - stopped.start_s, abs=1e-6)
    assert spent["standing"] == pytest.approx(60.0, abs=5.0)  # the smoothing window's ends at each stop [s]
    assert "2 times standing (5" in pass_summary(stopped).replace("\u00a0", " ")


def test_a_sprayed_headland_run_ends_where_the_next_pass_begins():
    """Never switched off: the headland went on over all the passes behind it."""
    scenario, one = field_job(1, 0.05, hectares=2.0, headland_laps=1.0)
    given = [(float(one.times_s[0]), float(one.times_s[-1]))]
    settings = boom(scenario.width_m)
    found = audit_job(job(log(one.times_s, one.logged_m), given, scenario.field, boom=settings)).passes
    headland = [each for each in found.passes if each.kind == "headland"]
    straight = [each for each in found.passes if each.kind == "straight"]
    assert len(straight) >= 10
    for a, b in itertools.product(headland, straight):
        assert a.end_s <= b.start_s or b.end_s <= a.start_s


def test_a_leg_that_is_all_approach_is_no_leg(monkeypatch):
    """Nothing is left of one, so that no mean of it can be taken (a warning is an error here)."""
    time = np.arange(120.0)
    monkeypatch.setattr(
        "coverage_audit.passes.diary._without_approach", lambda _way, leg, _on: replace(leg, last=leg.first)
    )
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        diary = keep_diary(Fixed(time, 0.0 * time, 2.0 * time, 0.0, time > 0), FIELD, 9.0, [])
    assert not [span for span in diary.spans if span.kind == "straight"]


def test_sides_of_a_lap_are_one_lap():
    """At each corner the machine backs up for 20 m, so that no side joins the next one."""
    corners = [(-90, -90), (-90, 90), (90, 90), (90, -90), (-81, -90)]
    way, clock, rows, back = np.array(corners, float), 0.0, [], []
    for a, b in itertools.pairwise(way):
        ahead = (b - a) / np.hypot(*(b - a))
        for m in np.arange(0.0, np.hypot(*(b - a)) + 18.0, 2.0):
            clock += 1.0
            rows.append((clock, *(a + m * ahead), m < np.hypot(*(b - a))))
        back.append(Span("reversing", clock, clock + 9.0))
        for _ in range(9):
            clock += 1.0
            rows.append((clock, *(np.array(rows[-1][1:3]) - 2.0 * ahead), False))
    time, x, y, on = (np.array(column) for column in zip(*rows, strict=True))
    diary = keep_diary(Fixed(time, x, y, 0.0, on), FIELD, 9.0, back)
    sides = [span for span in diary.spans if span.kind == "headland"]
    assert len(sides) >= 4
    assert {span.lap for span in sides} == {1}
    between = [span.kind for span in diary.spans if sides[0].end_s <= span.start_s < sides[-1].start_s]
    assert set(between) <= {"headland", "turn", "reversing", "standing"}  # a corner, however driven, is no transport


# --- passes left out ----------------------------------------------------------------------------


def passes_job(x_m, boom_on=None):
    """Passes of 9 m from south to north at *x_m*; *boom_on* (one a pass) says which of them spray."""
    times, points, given = parallel_passes(x_m, 0.0, 150.0)
    chosen = [one for k, one in enumerate(given) if boom_on is None or boom_on[k]]
    return job(log(times, points), chosen, shapely.box(-4.5, 0, 67.5, 150), boom=boom(9.0))


def test_a_pass_left_out_is_told_by_its_neighbours():
    found = audit_job(passes_job([0, 9, 18, 36, 45, 54, 63])).passes
    assert found.gaps == (((3, 4), pytest.approx(18.0, abs=0.1)),)


def test_a_pass_left_out_at_the_edge_has_one_neighbour():
    assert audit_job(passes_job([0, 9, 18, 27, 36, 45, 54])).passes.gaps == (((7,), None),)


def test_ground_that_was_driven_over_is_not_left_out():
    """The fourth pass was driven with the boom off: missed, but nobody forgot to drive it."""
    audit = audit_job(passes_job([0, 9, 18, 27, 36, 45, 54, 63], [True] * 3 + [False] + [True] * 4))
    assert audit.area_m2.missed == pytest.approx(9.0 * 150, rel=0.01)
    assert audit.passes.gaps == ()


def test_a_wide_spacing_is_no_pass_left_out():
    """Passes 14 m apart leave 5 m, 0.56 of the boom: no room for a pass of its own."""
    assert audit_job(passes_job([0, 9, 18, 32, 41, 50, 59, 63])).passes.gaps == ()


def test_a_forgotten_pass_of_a_simulated_job_is_the_only_one_told():
    faults = Faults(offset_m=dict.fromkeys(range(8, 40), 9.0))
    scenario, one = field_job(1, 0.1, hectares=4.0, faults=faults, headland_laps=1.0)
    assert [beside for beside, _ in audited(scenario, one).passes.gaps] == [(8, 9)]
