"""Headland laps, passes, turns, transport and standing told from the driven way."""

import itertools
from pathlib import Path

import numpy as np
import pytest
import shapely
from pass_jobs import audited, curved_job, field_job, fixed_of, labelled_right, two_block_job
from simulator.jobs import Stop

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.passes.diary import keep_diary
from coverage_audit.passes.model import Fixed
from coverage_audit.passes.steering import driven_passes, find_neighbours, spacings
from coverage_audit.passes.way import smooth_way, white_noise_m
from coverage_audit.read.tracks.registry import read_track

BORDER_DONE_S = 200.0
"""The mower has gone along the border and begins its passes after this. [s]"""

LAWNMOWER = Path(__file__).parents[3] / "shared" / "corpus" / "field" / "lawnmower_plaza1_5hz.nmea"

JOBS = {
    "straight passes along two edges": lambda hz, noise: field_job(hz, noise, heading_deg=-1.5, headland_laps=1.0),
    "two laps of headland in one spiral": lambda hz, noise: field_job(hz, noise, heading_deg=-1.5),
    "three laps, point rows": lambda hz, noise: field_job(hz, noise, heading_deg=25.0, headland_laps=3.0),
    "curved passes": curved_job,
    "two blocks": two_block_job,
}
NOMINAL_DEG = {
    "straight passes along two edges": [178.5],
    "two laps of headland in one spiral": [178.5],
    "three laps, point rows": [25.0],
    "two blocks": [0.0, 60.0],
}


def off_deg(found, wanted):
    return [abs((a - b + 90) % 180 - 90) for a, b in zip(found, wanted, strict=True)]


def kept(name, hz, noise, *, on=True):
    scenario, one = JOBS[name](hz, noise)
    return one, keep_diary(fixed_of(one, on=on), scenario.field, scenario.width_m)


# The shares are the issue's own: 98 % of pass metres at 10 Hz and 5 cm, 95 % at 1 Hz and 30 cm.


@pytest.mark.parametrize("on", [True, False], ids=["boom state logged", "no boom state"])
@pytest.mark.parametrize(("hz", "noise", "least"), [(10, 0.05, 0.98), (1, 0.3, 0.95)])
@pytest.mark.parametrize("name", JOBS)
def test_metres_are_labelled_right(name, hz, noise, least, on):
    one, diary = kept(name, hz, noise, on=on)
    passes, every = labelled_right(one, diary)
    assert passes >= least
    assert every >= least


@pytest.mark.slow
@pytest.mark.parametrize("on", [True, False], ids=["boom state logged", "no boom state"])
@pytest.mark.parametrize("noise", [0.03, 0.05, 0.3, 1.0])
@pytest.mark.parametrize("hz", [1, 5, 10])
@pytest.mark.parametrize("name", JOBS)
def test_metres_and_directions_at_every_rate_and_noise(name, hz, noise, on):
    one, diary = kept(name, hz, noise, on=on)
    least = 0.98 if hz == 10 and noise <= 0.05 else 0.95 if noise <= 0.3 else 0.9
    assert labelled_right(one, diary)[0] >= least
    most = 0.3 if noise > 0.3 else 0.1
    if name in NOMINAL_DEG:
        assert max(off_deg(diary.directions_deg, NOMINAL_DEG[name])) <= most


@pytest.mark.parametrize(("noise", "most"), [(0.3, 0.1), (1.0, 0.3)])
@pytest.mark.parametrize("name", NOMINAL_DEG)
def test_ab_direction(name, noise, most):
    """Tolerances [degree] are the issue's own."""
    _, diary = kept(name, 5, noise)
    assert max(off_deg(diary.directions_deg, NOMINAL_DEG[name])) <= most


@pytest.mark.parametrize("on", [True, False])
def test_blocks_are_told_apart(on):
    _, diary = kept("two blocks", 5, 0.05, on=on)
    blocks = [span.block for span in diary.spans if span.kind == "straight"]
    assert blocks == [1] * 10 + [2] * 10


def test_spans_touch_from_the_first_fix_to_the_last():
    one, diary = kept("three laps, point rows", 5, 0.05)
    ends = [(span.start_s, span.end_s) for span in diary.spans]
    assert ends[0][0] == one.times_s[0]
    assert ends[-1][1] == pytest.approx(one.times_s[-1], abs=diary.way.step_s)  # a grid step of the way
    assert all(a[1] == b[0] for a, b in itertools.pairwise(ends))


def test_a_stop_amid_a_pass_is_standing_and_parts_no_pass():
    scenario, one = field_job(5, 0.05, stops=(Stop(4, 0.5, 25.0),))
    diary = keep_diary(fixed_of(one), scenario.field, scenario.width_m)
    true_s = np.diff(one.times_s[np.array(one.label) == "standing"][[0, -1]])[0]
    (stop,) = diary.within
    assert stop.end_s - stop.start_s == pytest.approx(true_s, abs=2.0)  # the smoothing window's two ends [s]
    assert sum(span.kind == "straight" for span in diary.spans) == len(set(one.pass_number.tolist()) - {0})


def test_an_approach_in_the_line_of_a_pass_is_transport():
    """A way of 80 m, unsprayed, that runs straight on into a pass of 60 m."""
    y = np.arange(0, 140, 0.5)
    time = y / 2.5
    fixed = Fixed(time, np.zeros(len(y)), y, 0.0, y > 80)
    diary = keep_diary(fixed, shapely.box(-20, 70, 20, 150), 9.0)
    assert [span.kind for span in diary.spans] == ["transport", "straight"]


def test_noise_is_estimated_at_any_rate():
    """White noise of 10 cm, within 10 % (three standard errors); at 1 Hz turns may look like a fifth more."""
    for hz, low, high in ((1, 0.09, 0.12), (5, 0.09, 0.11), (10, 0.09, 0.11)):
        _, one = field_job(hz, 0.1)
        x, y = one.logged_m.T
        assert low <= white_noise_m(one.times_s, x, y) <= high


def test_length_does_not_grow_with_noise():
    lengths = []
    for noise in (0.0, 0.3):
        scenario, one = field_job(10, noise)
        x, y = one.logged_m.T
        way = smooth_way(Fixed(one.times_s, x, y, white_noise_m(one.times_s, x, y), None))
        lengths.append(way.along_m[-1])
        assert scenario.hz == 10
    assert lengths[1] == pytest.approx(lengths[0], rel=0.01)  # raw steps of 0.3 m of noise would double it


def test_summary_numbers_passes_in_driving_order():
    scenario, one = field_job(1, 0.03)
    result = audited(scenario, one).passes
    numbered = [each for each in result.passes if each.kind in ("headland", "straight")]
    assert [each.n for each in numbered] == list(range(1, len(numbered) + 1))
    others = [each.n for each in result.passes if each.kind not in ("headland", "straight")]
    assert sorted(others) == list(range(len(numbered) + 1, len(result.passes) + 1))
    straight = [each for each in numbered if each.kind == "straight"]
    assert all(each.left or each.right for each in straight)
    for each in straight:
        for beside in (each.left, each.right):
            other = next((k for k in straight if k.n == beside), None)
            assert other is None or each.n in (other.left, other.right)


def test_ground_of_the_passes_adds_up():
    scenario, one = field_job(1, 0.03)
    audit = audited(scenario, one)
    passes = audit.passes.passes
    # exact sums, split by geometry: rounding only [m2]
    assert sum(each.missed_m2 for each in passes) == pytest.approx(audit.area_m2.missed, abs=0.1)
    assert sum(each.double_m2 for each in passes) == pytest.approx(audit.area_m2.double, abs=0.1)
    assert sum(each.outside_m2 for each in passes) == pytest.approx(audit.area_m2.outside, abs=0.1)
    for each in passes:
        if each.pieces:
            assert sum(piece.missed_m2 for piece in each.pieces) == pytest.approx(each.missed_m2, abs=1e-6)


@pytest.mark.skipif(not LAWNMOWER.exists(), reason="the corpus of real logs does not lie beside the checkout")
def test_real_lawnmower_track():
    """A real mower at 5 Hz: 37 passes about 1.3 m apart by the corpus's own description.

    One more is driven in part, broken off and driven again (17 of 32 m), and two lead along the border before.
    """
    fixes = read_track(LAWNMOWER).fixes
    plane = Plane(PlaneOrigin(float(np.nanmedian(fixes.lon_deg)), float(np.nanmedian(fixes.lat_deg))))
    good = np.isfinite(fixes.time_s) & np.isfinite(fixes.lat_deg)
    x, y = plane.to_metres(fixes.lon_deg[good], fixes.lat_deg[good])
    time = fixes.time_s[good]
    fixed = Fixed(time, x, y, white_noise_m(time, x, y), None)
    diary = keep_diary(fixed, shapely.Polygon(), 1.3)
    driven = driven_passes(fixed, diary.spans)
    length = np.array([one.along_m[-1] for one in driven])
    assert off_deg(diary.directions_deg[:1], [114.3])[0] < 0.5  # read off a plot of the track [degree]
    mowing = [one for one in driven if one.time_s[0] - time[0] > BORDER_DONE_S]
    assert len(mowing) == 37 + 1
    gaps = spacings(mowing, find_neighbours(mowing, 1.3), 1.3, 0.0)
    assert np.median(np.concatenate([one.distance_m for one in gaps])) == pytest.approx(1.3, abs=0.05)
    assert length.max() < 40  # the plot of grass is about 35 m long [m]
