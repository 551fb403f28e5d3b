"""Assumed boom states on a handful of units: their areas, draws, memories and weights by hand and by closed forms."""

import math

import numpy as np
import pytest
from scipy import integrate, stats
from work_units import units

from coverage_audit.drive.model import Recall
from coverage_audit.passes import state_draws
from coverage_audit.passes.model import LEG, TAIL, TURN
from coverage_audit.passes.state_draws import (
    Tried,
    drawn,
    likeliest,
    noise_shown,
    quantile,
    recalled,
    switched,
    volume_weights,
)
from coverage_audit.passes.work_ground import Units
from coverage_audit.passes.work_state import Segment

# --- areas of one state -----------------------------------------------------------------------------


def test_areas_of_a_state_by_hand():
    """Four cells of 4 m2; unit 1 comes over cell 1 again in a visit of its own, unit 2 over cell 2 in the same."""
    given = units([[0, 1], [1, 2], [2]], 4, length_m=[1.0, 2.0, 3.0], inside=[1, 0.5, 0.25], beyond=[0, 0.25, 0.5],
                  apart=[(1, 1)])  # fmt: skip
    on = np.ones(3, bool)
    assert given.visits(on).tolist() == [1, 2, 1, 0]
    found = Tried.of(given, on)
    assert found.by_visits == (4.0, 8.0, 4.0)
    assert found.outside == pytest.approx(20 * 0.25 + 30 * 0.5)
    assert found.excluded == pytest.approx(20 * 0.25 + 30 * 0.25)
    assert found.swept == pytest.approx(8 + 2 * 4 + 20 + 12.5)
    assert found.figures() == pytest.approx({
        "missed": 4.0, "double": 4.0, "covered": 12.0, "outside": 20.0, "excluded_sprayed": 12.5, "swept": 48.5,
        "swept_net": 44.5,
    })  # fmt: skip
    assert Tried.of(given, np.array([True, False, False])).by_visits == (8.0, 8.0)
    assert Tried.of(given, on, np.array([0, 3, 1, 0])).by_visits == (8.0, 4.0, 0.0, 4.0)


def test_a_cell_is_swept_when_half_of_it_is():
    """Two places of four in one visit, of one unit or of two, are enough; one is not."""
    given = units([[0, 1, 2], [2]], 3)
    given = Units(**{**vars(given), "hits": np.array([1, 2, 1, 1])})  # cells 0, 1, 2, 2
    assert given.visits(np.array([True, True])).tolist() == [0, 1, 1]
    assert given.visits(np.array([True, False])).tolist() == [0, 1, 0]
    assert units([[], []], 3).visits(np.ones(2, bool)).tolist() == [0, 0, 0]


# --- draws -------------------------------------------------------------------------------------------


def test_likeliest_is_more_likely_than_not():
    found = [Segment(0, 2, LEG, 0.51), Segment(2, 3, TURN, 0.5), Segment(4, 5, TAIL, 0.9)]
    assert likeliest(units([[]] * 6, 1), found).tolist() == [True, True, False, False, True, False]


def test_segments_of_one_kind_are_drawn_partly_alike(monkeypatch):
    """Two normals of correlation r are both below their means in 1/4 + asin(r) / 2 pi of draws (Sheppard 1899)."""
    monkeypatch.setattr(state_draws, "switched", lambda _units, on, *_: on)
    monkeypatch.setattr(state_draws, "THROUGH_CHANCE", 0.0)
    found = [Segment(k, k + 1, kind, 0.5) for k, kind in enumerate((TAIL, TAIL, LEG, LEG, TURN, TURN))]
    given, rng = units([[]] * 6, 1), np.random.default_rng(3)
    on = np.array([drawn(given, found, 2.0, rng) for _ in range(3000)])
    assert on.mean(axis=0) == pytest.approx([0.5] * 6, abs=0.03)  # three standard errors are 0.027
    for pair, alike in (((0, 1), 0.5), ((2, 3), 0.2), ((4, 5), 0.3), ((1, 2), 0.0)):
        both = on[:, pair[0]] & on[:, pair[1]]
        assert both.mean() == pytest.approx(0.25 + math.asin(alike) / (2 * math.pi), abs=0.025)


def test_one_driver_in_ten_sprays_through_his_turns(monkeypatch):
    """A chance of 0.2 is 0.9 for one in ten: 0.27 in turns and tails, and still 0.2 in legs; 0 and 1 are certain."""
    monkeypatch.setattr(state_draws, "switched", lambda _units, on, *_: on)
    chances = [(TURN, 0.2), (TAIL, 0.2), (LEG, 0.2), (LEG, 0.0), (LEG, 1.0), (TURN, 0.95)]
    found = [Segment(k, k + 1, *one) for k, one in enumerate(chances)]
    given, rng = units([[]] * 6, 1), np.random.default_rng(4)
    on = np.mean([drawn(given, found, 2.0, rng) for _ in range(4000)], axis=0)
    assert on == pytest.approx([0.27, 0.27, 0.2, 0.0, 1.0, 0.95], abs=0.022)  # three standard errors


def moments(on, count):
    return np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int))).tolist()[:count]


@pytest.mark.parametrize(
    ("late_s", "wanted"),
    [
        (1.0, [(22, 28), (42, 58)]),
        (-1.0, [(18, 32), (38, 62)]),
        (2.5, [(45, 55)]),  # what would end before it began is not
        (-2.5, [(15, 65)]),  # what overlaps is one
        (0.0, [(20, 30), (40, 60)]),
    ],
)
def test_every_switch_comes_as_late_as_the_driver_s_habit(monkeypatch, late_s, wanted):
    """2 m/s over units of 1 m: a second late is two units less at either end."""
    monkeypatch.setattr(state_draws, "HABIT_MEAN_S", late_s)
    monkeypatch.setattr(state_draws, "HABIT_SD_S", 0.0)
    monkeypatch.setattr(state_draws, "SCATTER_SD_S", 0.0)
    on = np.zeros(100, bool)
    on[20:30] = on[40:60] = True
    found = switched(units([[]] * 100, 1), on, 2.0, np.random.default_rng(0))
    edges = moments(found, 9)
    assert list(zip(edges[::2], edges[1::2], strict=True)) == wanted


def test_switches_scatter_as_a_habit_and_each_by_itself():
    """Late by 0.2 s on average; habit 1.4 s and scatter 0.6 s add by squares; two starts share the habit alone."""
    given = units([[]] * 1500, 1, length_m=0.1)
    on = np.zeros(1500, bool)
    on[250:600] = on[850:1200] = True
    rng = np.random.default_rng(6)
    edges = np.array([moments(switched(given, on, 1.0, rng), 4) for _ in range(1000)]) * 0.1
    shift = (edges - np.array([25, 60, 85, 120])) * np.array([1, -1, 1, -1])
    # three standard errors of 1000 draws, and half a unit
    assert shift.mean(axis=0) == pytest.approx([0.2] * 4, abs=0.2)
    assert shift.std(axis=0) == pytest.approx([math.hypot(1.4, 0.6)] * 4, rel=0.07)
    alike = np.corrcoef(shift.T)
    assert alike[0, 2] == pytest.approx(1.96 / 2.32, abs=0.05)
    assert alike[1, 3] == pytest.approx(1.96 / 2.32, abs=0.05)
    assert alike[0, 1] == pytest.approx(0.0, abs=0.1)


# --- what was remembered -------------------------------------------------------------------------------


def recall(on, start_s, end_s, **more):
    return Recall("", "", on, start_s, end_s, 1.645, 3.29, **more)


class Luck:
    """In place of a generator: the same three numbers."""

    def __init__(self, *luck):
        self.luck = np.array(luck)

    def standard_normal(self, count):
        """The first *count* of them."""
        return self.luck[:count]


def test_memories_are_laid_over_in_order():
    """Units of 1 s and 2 m; their middles lie at half seconds."""
    given, on = units([[]] * 20, 1, length_m=2.0), np.zeros(20, bool)
    found = recalled(given, on, [recall(True, 5.0, 9.0), recall(False, 7.0, 8.0)])
    assert np.flatnonzero(found).tolist() == [5, 6, 8]
    assert not on.any()
    as_told = recalled(given, on, [recall(True, 5.0, 9.0, length_m=6.0)])
    assert np.flatnonzero(as_told).tolist() == [5, 6, 7]  # 6 m from where it began
    assert not recalled(given, on, [recall(True, 30.0, 40.0, length_m=6.0)]).any()


@pytest.mark.parametrize(
    ("luck", "more", "wanted"),
    [
        ((2.0, 0.0, 0.0), {}, range(7, 9)),  # nine in ten within 1.645 s is one second of standard deviation
        ((-1.0, 0.0, 1.0), {}, range(4, 11)),  # the end's is two
        ((1.0, 0.0, 5.0), {"tied": True}, range(6, 10)),  # the end goes with the start
        ((0.0, 1.0, 0.0), {}, range(5, 9)),  # its length is not what is remembered
    ],
)
def test_memories_are_drawn_as_loosely_as_they_were_said(luck, more, wanted):
    given = units([[]] * 20, 1, length_m=2.0)
    found = recalled(given, np.zeros(20, bool), [recall(True, 5.0, 9.0, **more)], Luck(*luck))
    assert np.flatnonzero(found).tolist() == list(wanted)


def test_a_remembered_length_is_drawn_by_its_logarithm(monkeypatch):
    """Twice as long at ln 2 standard deviations of a spread of one."""
    monkeypatch.setattr(state_draws, "LENGTH_WITHIN", 1.645)
    given, luck = units([[]] * 40, 1, length_m=2.0), Luck(0.0, math.log(2), 0.0)
    tied = recalled(given, np.zeros(40, bool), [recall(True, 5.0, 9.0, tied=True)], luck)
    assert np.flatnonzero(tied).tolist() == list(range(5, 13))
    far = recalled(given, np.zeros(40, bool), [recall(True, 5.0, 9.0, tied=True, length_m=9.9)], luck)
    assert np.flatnonzero(far).tolist() == list(range(5, 15))


# --- weights and quantiles ----------------------------------------------------------------------------


def test_draws_weigh_by_how_well_their_ground_fits_the_volume():
    """8 % off is one standard deviation: e^-1/2; the weights add up to one."""
    swept = np.repeat([10_000.0, 10_800.0, 9_200.0, 11_600.0], 20)
    weight = volume_weights(swept, 10_000.0)
    assert weight.sum() == pytest.approx(1.0)
    assert weight[[20, 40, 60]] / weight[0] == pytest.approx([math.exp(-0.5)] * 2 + [math.exp(-2)])


@pytest.mark.parametrize(
    ("count", "off", "weighed"),
    [(21, 1.15, True), (19, 1.15, False), (40, 1.17, False), (40, 0.85, True), (40, 0.83, False)],
)
def test_draws_that_hardly_fit_are_not_weighed(count, off, weighed):
    """One within two standard deviations of 8 %, and twenty that count (Kish 1965: sum squared over squares)."""
    assert (volume_weights(np.full(count, 10_000.0 * off), 10_000.0) is not None) == weighed


def test_quantiles_lie_at_the_middles_of_the_weights():
    values = np.array([4.0, 1.0, 2.0, 3.0])
    assert [quantile(values, share, None) for share in (0.0, 0.125, 0.5, 0.875, 1.0)] == pytest.approx(
        [1, 1, 2.5, 4, 4]
    )
    heavy = np.array([0.1, 0.1, 0.2, 0.6])
    # middles at 0.05 (1), 0.2 (2), 0.6 (3), 0.95 (4)
    assert [quantile(values, share, heavy) for share in (0.05, 0.2, 0.4, 0.6, 0.95)] == pytest.approx([1, 2, 2.5, 3, 4])


@pytest.mark.parametrize(("mean", "logged", "sd"), [(9.1, 0.5, 0.3), (8.7, 0.4, 0.1), (9.0, 0.3, 0.0), (9.4, 0.2, 0.0)])
def test_ground_that_noise_alone_shows(mean, logged, sd):
    """Mean above zero of a normal gap, by quadrature, with the noise and without it; 200 m side by side."""

    def above(gap, spread):
        if spread == 0:
            return max(gap, 0.0)
        return integrate.quad(lambda x: x * stats.norm.pdf(x, gap, spread), 0, abs(gap) + 12 * spread)[0]

    gap = mean - 9.0
    missed, double = noise_shown(mean, logged, sd, 9.0, 200.0)
    assert missed == pytest.approx(200 * (above(gap, logged) - above(gap, sd)), rel=1e-6)
    assert double == pytest.approx(200 * (above(-gap, logged) - above(-gap, sd)), rel=1e-6)
