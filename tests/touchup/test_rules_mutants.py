"""Options of one strip worked by hand: what each wets, takes and costs, and which options together break a limit."""

import dataclasses

import numpy as np
import pytest
import shapely
from audit_builder import box_strip

from coverage_audit.jobs.settings import (
    Amount,
    BoomSettings,
    JobSettings,
    ProductSettings,
    RateSettings,
    TouchupSettings,
)
from coverage_audit.touchup.model import BOOM, LEAVE, NO_PLACE, SPOT, DrivenLine, Limit, Option, StripPlan, Terms
from coverage_audit.touchup.rules import (
    boom_option,
    conflict,
    leave_option,
    mix_to_prepare,
    no_boom,
    pays_above,
    spot_option,
    terms_of,
    worth_m2,
)

TERMS = Terms(
    value_m2=0.05,
    labour_s=0.01,
    mix_cost_l=0.3,
    spot_rate_l_ha=150.0,
    spot_m2_s=0.25,
    turning_radius_m=5.0,
    reserve_l=0.0,
    reserve_share=0.1,
    speed_m_s=2.0,
    setup_s=60.0,
    rate_l_ha=120.0,
    first_l_ha=100.0,
    strengths=(("a", 0.01, "L"),),
)
STRIP = box_strip("M1", (0, 0, 20, 2))  # 40 m2
BY_VISITS = (STRIP.polygon, shapely.box(0, -10, 20, 0) | shapely.box(0, 2, 20, 10), shapely.box(0, 10, 20, 11))
MIX = Limit("", "mix", 219.0, 1.0, "L")


def way(y=1.0, length_m=20.0):
    return DrivenLine(np.array([[0.0, y], [length_m, y]]), length_m)


def by_boom(*swaths, terms=TERMS, limits=(), same_day=False):
    return boom_option(STRIP, (way(),), swaths, (1,), BY_VISITS, terms, limits, same_day=same_day)


def test_leaving_a_strip_costs_what_it_is_worth():
    assert leave_option(STRIP, TERMS) == Option(LEAVE, possible=True, own_cost=2.0)  # 40 m2 at 0.05
    doubtful = dataclasses.replace(STRIP, probability=0.25)
    assert worth_m2(doubtful, TERMS) == 0.0125
    assert leave_option(doubtful, TERMS).own_cost == pytest.approx(0.5)


def test_a_boom_pass_four_metres_wide_over_a_strip_of_two():
    found = by_boom(shapely.box(0, -1, 20, 3), limits=[MIX])
    assert (found.method, found.possible, found.sections) == (BOOM, True, (1,))
    assert (found.cured_m2, found.sprayed_m2, found.resprayed_m2) == pytest.approx((40.0, 80.0, 40.0))
    assert (found.time_s, found.distance_m) == (10.0, 20.0)
    assert found.mix_l == pytest.approx(0.96)  # 80 m2 at 120 L/ha
    assert found.product == (("a", pytest.approx(0.0096), "L"),)
    assert found.own_cost == pytest.approx(10 * 0.01 + 0.96 * 0.3)  # nothing is left uncured
    assert found.highest_l_ha == pytest.approx(220.0)  # ground that had 100 gets 120 more
    assert [(one.limit, one.dose) for one in found.broken] == [(MIX, pytest.approx(220.0))]
    assert not found.allowed


def test_a_boom_pass_that_leaves_half_the_strip_counts_what_that_is_worth():
    found = by_boom(shapely.box(0, 1, 20, 2))
    assert (found.cured_m2, found.sprayed_m2, found.resprayed_m2) == pytest.approx((20.0, 20.0, 0.0))
    assert found.highest_l_ha is None  # no ground is sprayed again
    assert found.own_cost == pytest.approx(0.1 + 0.24 * 0.3 + 20 * 0.05)


def test_of_swaths_that_cross_the_highest_dose_is_told():
    """Twice in this pass on ground that was sprayed once: 100 + 2 x 120; on missed ground only 240."""
    found = by_boom(shapely.box(0, -1, 20, 2), shapely.box(10, -1, 20, 3), limits=[MIX])
    assert found.sprayed_m2 == pytest.approx(60 + 40)
    assert found.resprayed_m2 == pytest.approx(100 - 40)
    assert found.highest_l_ha == pytest.approx(340.0)
    assert [one.dose for one in found.broken] == [pytest.approx(340.0)]


def test_rates_that_are_not_known_cost_no_mix_and_break_every_limit():
    found = by_boom(shapely.box(0, -1, 20, 3), terms=dataclasses.replace(TERMS, rate_l_ha=None), limits=[MIX])
    assert (found.mix_l, found.product, found.highest_l_ha) == (None, (), None)
    assert [one.dose for one in found.broken] == [None]
    found = by_boom(shapely.box(0, -1, 20, 3), terms=dataclasses.replace(TERMS, first_l_ha=None), limits=[MIX])
    assert found.highest_l_ha is None
    assert [one.dose for one in found.broken] == [None]  # on ground sprayed before; on missed ground 120 is fine


def test_a_wand_wets_the_missed_ground_alone_and_takes_the_longer_of_work_and_way():
    limit = Limit("a", "season", 1.4, 0.01, "L")  # 150 L/ha of mix hold 1.5 L/ha
    found = spot_option(STRIP, (way(),), TERMS, [limit], same_day=False)
    assert (found.method, found.cured_m2, found.sprayed_m2, found.resprayed_m2) == (SPOT, 40.0, 40.0, 0.0)
    assert found.spray.equals(STRIP.polygon)
    assert (found.time_s, found.distance_m) == (160.0, 20.0)  # 40 m2 at 0.25 m2/s; the way takes 10 s
    assert found.mix_l == pytest.approx(0.6)  # 40 m2 at 150 L/ha
    assert found.own_cost == pytest.approx(1.6 + 0.18)
    assert [one.dose for one in found.broken] == [pytest.approx(1.5)]
    far = spot_option(STRIP, (way(length_m=400.0),), TERMS, [], same_day=False)
    assert (far.time_s, far.possible, far.why_not) == (200.0, True, "")
    none = spot_option(STRIP, (), TERMS, [], same_day=False)
    assert not none.possible
    assert none.why_not == NO_PLACE


def sprays(*boxes):
    return [Option(BOOM, possible=True, spray=shapely.box(*one)) for one in boxes]


GROUND = (shapely.box(0, 0, 100, 100), shapely.Polygon())


@pytest.mark.parametrize(
    ("most", "found"),
    [
        (121.0, (1, 2)),  # two passes of 120 on one spot
        (241.0, (1, 2, 3)),  # all three
        (361.0, ()),
    ],
)
def test_passes_that_overlap_break_a_limit_together(most, found):
    """Three passes cross in one square, one is left out by the first option and one lies apart."""
    leave = Option(LEAVE, possible=True)
    booms = sprays((0, 0, 10, 10), (5, 0, 15, 10), (8, 0, 18, 10), (50, 50, 60, 60))
    limit = Limit("", "mix", most, 1.0, "L")
    assert conflict([leave, *booms], GROUND, TERMS, [limit], same_day=False) == found


def test_overlap_on_ground_sprayed_before_counts_what_it_had():
    """Missed ground west of 7 m, sprayed once east of it: 100 + 2 x 120 = 340 where the passes meet."""
    grounds = (shapely.box(0, 0, 7, 10), shapely.box(7, 0, 20, 10))
    booms = sprays((0, 0, 10, 10), (6, 0, 15, 10))
    found = [
        conflict(booms, grounds, TERMS, [Limit("", "mix", most, 1.0, "L")], same_day=False) for most in (339.0, 341.0)
    ]
    assert found == [(0, 1), ()]


def test_passes_that_only_touch_or_overlap_by_a_hand_s_breadth_break_nothing():
    limit = Limit("", "mix", 121.0, 1.0, "L")
    touching = sprays((0, 0, 10, 10), (10, 0, 20, 10))
    hair = sprays((0, 0, 10, 10), (9.991, 0, 20, 10))  # 0.09 m2
    more = sprays((0, 0, 10, 10), (9.989, 0, 20, 10))  # 0.11 m2
    assert conflict(touching, GROUND, TERMS, [limit], same_day=False) == ()
    assert conflict(hair, GROUND, TERMS, [limit], same_day=False) == ()
    assert conflict(more, GROUND, TERMS, [limit], same_day=False) == (0, 1)


def test_without_passes_rate_or_limits_there_is_no_conflict():
    limit = Limit("", "mix", 1.0, 1.0, "L")
    booms = sprays((0, 0, 10, 10), (5, 0, 15, 10))
    assert conflict([Option(LEAVE, possible=True)], GROUND, TERMS, [limit], same_day=False) == ()
    assert conflict(booms, GROUND, dataclasses.replace(TERMS, rate_l_ha=None), [limit], same_day=False) == ()
    assert conflict(booms, GROUND, TERMS, [], same_day=False) == ()


# --- mix ------------------------------------------------------------------------------------------


def test_mix_is_what_is_needed_and_the_reserve_rounded_up():
    options = [
        Option(BOOM, possible=True, mix_l=10.0),
        Option(SPOT, possible=True, mix_l=2.0),
        Option(LEAVE, possible=True),
    ]
    found = mix_to_prepare(options, TERMS, us=False)
    # 12 L and a tenth more: 13.2 L, measured in steps of 0.5 L; 0.01 L of product in a litre
    assert (found.needed_l, found.reserve_l, found.prepare_l) == pytest.approx((12.0, 1.2, 13.5))
    assert found.product == (("a", pytest.approx(0.135), "L"),)
    litres = mix_to_prepare(options, dataclasses.replace(TERMS, reserve_l=3.0), us=False)
    assert (litres.reserve_l, litres.prepare_l) == (3.0, 15.0)


def test_mix_for_nothing_is_nothing_and_for_an_unknown_rate_is_not_known():
    nothing = mix_to_prepare([Option(LEAVE, possible=True)], dataclasses.replace(TERMS, reserve_l=3.0), us=False)
    assert (nothing.needed_l, nothing.reserve_l, nothing.prepare_l) == (0.0, 0.0, 0.0)
    assert mix_to_prepare([Option(BOOM, possible=True)], TERMS, us=False) is None


# --- from how wide on a pass pays -----------------------------------------------------------------


def plan_of(boom, spot, way_cost=(0.0, 1.0, 0.5)):
    """A strip 20 m long and 2 m wide, worth 2."""
    leave = leave_option(STRIP, TERMS)
    return StripPlan("M1", 20.0, 2.0, 2.0, (leave, spot, boom), BOOM, way_cost)


def test_width_from_which_a_boom_pass_pays_is_where_it_costs_what_the_others_do():
    boom = Option(BOOM, possible=True, cured_m2=40.0, own_cost=0.9)
    # with its way the pass costs 1.4; left alone a strip 20 m long costs 20 m x 0.05 a metre of width
    assert pays_above(plan_of(boom, Option(SPOT, possible=False)), 10.0) == pytest.approx(1.4)
    # a wand costs 0.8 for 40 m2, so 0.4 a metre of width, and 1.0 for its way: dearer only from 1.0 m
    spot = Option(SPOT, possible=True, cured_m2=40.0, own_cost=0.8)
    assert pays_above(plan_of(boom, spot, (0.0, 0.2, 0.5)), 10.0) == pytest.approx(1.2 / 0.4)
    assert pays_above(plan_of(boom, spot, (0.0, 0.2, 0.5)), 2.9) is None  # wider than the boom
    assert pays_above(plan_of(boom, spot, (0.0, np.inf, 0.5)), 10.0) == pytest.approx(1.4)
    half = Option(BOOM, possible=True, cured_m2=20.0, own_cost=0.9)  # of its cost 1.0 is what stays uncured
    assert pays_above(plan_of(half, Option(SPOT, possible=False), (0.0, 1.0, 0.6)), 10.0) == pytest.approx(0.5)
    assert pays_above(plan_of(no_boom("no room"), spot), 10.0) is None
    assert pays_above(plan_of(boom, spot, (0.0, 0.2, np.inf)), 10.0) is None


# --- terms ----------------------------------------------------------------------------------------

BARE = JobSettings(boom=BoomSettings((9.0,), "csv"))


def test_terms_that_nobody_gave_are_the_usual_ones_and_named():
    found = terms_of(BARE, None, None)
    assert (found.value_m2, found.labour_s, found.mix_cost_l, found.spot_m2_s) == (0.05, 30 / 3600, 0.3, 0.25)
    assert (found.turning_radius_m, found.reserve_l, found.reserve_share) == (5.0, 0.0, 0.1)
    assert (found.rate_l_ha, found.first_l_ha, found.spot_rate_l_ha, found.strengths) == (None, None, None, ())
    assert found.assumed == (
        "value", "labour", "mix_cost", "spot_rate", "spot_work", "turning_radius", "entry", "reserve", "speed"
    )  # fmt: skip


def test_the_intended_rate_goes_before_the_audited_one_and_the_job_s_speed_before_the_usual():
    found = terms_of(BARE, 110.0, 1.7)
    assert (found.rate_l_ha, found.first_l_ha, found.spot_rate_l_ha, found.speed_m_s) == (110.0, 110.0, 110.0, 1.7)
    amount = Amount(1.4, "L", "ha", "L/ha", 1.0)
    rated = dataclasses.replace(
        BARE, rate=RateSettings(target_l_ha=140.0), products=(ProductSettings("a", rate=amount),)
    )
    found = terms_of(rated, 110.0, 1.7)
    assert (found.rate_l_ha, found.first_l_ha, found.spot_rate_l_ha) == (140.0, 110.0, 140.0)
    assert found.strengths == (("a", pytest.approx(0.01), "L"),)
    assert terms_of(rated, None, 1.7).first_l_ha == 140.0


def test_terms_that_were_given_count_zero_too():
    given = TouchupSettings(
        value_m2=0.0, labour_s=0.0, mix_cost_l=0.0, spot_rate_l_ha=90.0, spot_m2_s=1.0, turning_radius_m=4.0,
        reserve_l=0.0, speed_m_s=1.0, entry_deg=(0.0, 0.0),
    )  # fmt: skip
    found = terms_of(dataclasses.replace(BARE, touchup=given), 110.0, 1.7)
    assert (found.value_m2, found.labour_s, found.mix_cost_l, found.spot_rate_l_ha) == (0.0, 0.0, 0.0, 90.0)
    assert (found.reserve_l, found.reserve_share, found.speed_m_s, found.assumed) == (0.0, 0.0, 1.0, ())
