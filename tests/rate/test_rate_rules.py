"""Rules of tank, nozzles, product, flow and touch-up terms, each with figures by hand, so that a small slip shows."""

import dataclasses
import datetime as dt
import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from coverage_audit.drive.model import Timeline
from coverage_audit.jobs.settings import (
    Amount,
    BoomSettings,
    JobSettings,
    NozzleSettings,
    ProductSettings,
    RateSettings,
    TankSettings,
    TouchupSettings,
)
from coverage_audit.papers.words.cautions import texts
from coverage_audit.rate.flow import Flow, boom_flow
from coverage_audit.rate.model import ONE_LOAD, Load, RateCells, TankResult
from coverage_audit.rate.nozzles import caught, disagreements
from coverage_audit.rate.product import product_use
from coverage_audit.rate.tank import LetOut, Stop, loads, long_stops, refill_moments
from coverage_audit.rate.volume import job_volume, joined
from coverage_audit.read.records import Series
from coverage_audit.touchup.model import BOOM, LEAVE, SPOT, Limit, Option, Terms
from coverage_audit.touchup.rules import (
    boom_option,
    broken_limits,
    dates_of,
    mix_to_prepare,
    pays_above,
    spot_option,
    terms_of,
)

EVEN = LetOut(np.array([0.0, 1000.0]), np.array([0.0, 100.0]))
"""100 L in 1000 s."""


# --- tank -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("tank_l", "dry_s"), [(100.5, None), (99.5, None), (98.0, 980.0)])
def test_a_load_is_dry_only_beyond_a_hundredth(tank_l, dry_s):
    (load,) = loads(TankSettings(tank_l=tank_l), (), EVEN, lambda time: time)
    assert load.dry_s == (None if dry_s is None else pytest.approx(dry_s))
    assert load.left_l == pytest.approx(max(0.0, tank_l - 100))


def test_loads_add_to_what_is_left_and_a_filled_tank_holds_its_size():
    """60 L, of which 50 are used; 45 L more make 55. A tank of 60 L is filled up by 50."""
    first, second = loads(TankSettings(loads_l=(60.0, 45.0)), (500.0,), EVEN, lambda time: 2 * time)
    assert (first.left_l, second.volume_l, second.added_l, second.left_l) == pytest.approx((10.0, 55.0, 45.0, 5.0))
    assert (first.swept_m2, second.swept_m2) == pytest.approx((1000.0, 1000.0))
    first, second = loads(TankSettings(tank_l=60.0), (500.0,), EVEN, lambda time: time)
    assert (first.added_l, second.volume_l, second.added_l, second.left_l) == pytest.approx((60.0, 60.0, 50.0, 10.0))


def test_loads_without_a_refill_count_with_the_last():
    first, second = loads(TankSettings(loads_l=(60.0, 20.0, 30.0)), (500.0,), EVEN, lambda time: time)
    assert (first.volume_l, second.added_l, second.volume_l) == pytest.approx((60.0, 50.0, 60.0))


STOPS = (Stop(100.0, 150.0), Stop(300.0, 900.0), Stop(600.0, 130.0), Stop(800.0, 500.0))


def test_loads_take_the_longest_stops():
    assert refill_moments(TankSettings(loads_l=(1.0, 1.0, 1.0)), STOPS, EVEN) == (
        (300.0, 800.0),
        (STOPS[1], STOPS[3]),
        0,
    )
    moments, taken, missing = refill_moments(TankSettings(loads_l=(1.0,) * 7), STOPS, EVEN)
    assert (len(moments), len(taken), missing) == (4, 4, 2)


def test_a_tank_that_ran_dry_before_any_stop_was_filled_at_the_next():
    """5 L last 50 s: the first stop after that is at 100 s, not the last one of the day."""
    moments, _, missing = refill_moments(TankSettings(tank_l=5.0), STOPS, EVEN)
    assert moments == (100.0, 300.0, 600.0, 800.0)
    assert missing == 1  # and dry again after the last stop


def test_a_load_within_its_hundredth_needs_no_refill():
    assert refill_moments(TankSettings(tank_l=99.5), STOPS, EVEN) == ((), (), 0)
    assert refill_moments(TankSettings(tank_l=98.0), STOPS, EVEN)[0] == (800.0,)


@pytest.mark.parametrize(("stood_s", "count"), [(119.0, 0), (121.0, 1)])
def test_two_minutes_make_a_long_stop(stood_s, count):
    path = SimpleNamespace(
        time_s=np.array([0.0, 10.0, 10.0 + stood_s, 50.0 + stood_s]), travel_m=np.array([0, 25, 25, 125.0])
    )
    timeline = Timeline(
        np.array([0.0, 10.0 + stood_s]), np.array([10.0, 50.0 + stood_s]), np.ones((2, 1), bool), np.arange(2)
    )
    assert len(long_stops(path, timeline)) == count


# --- nozzles --------------------------------------------------------------------------------------


def test_a_catch_names_nozzles_by_number_from_the_left():
    """Mean 1.0: 0.94 and 1.06 are 6 % off, 0.89 and 1.11 are 11 %; 0.95 and 1.05 are just within 5 %."""
    flows = (0.94, 1.06, 0.89, 1.11, 0.95, 1.05, 1.0)
    found = caught(flows, NozzleSettings(flow_l_min=1.0, at_bar=2.0, pressure_bar=2.0))
    assert found.off_average == (1, 2, 3, 4)
    assert found.far_off_average == found.off_rating == (3, 4)
    assert found.spread == pytest.approx(0.22)
    assert caught(flows, None).off_rating == ()


def test_a_rating_is_taken_at_the_spraying_pressure():
    assert caught((1.0,), NozzleSettings(flow_l_min=1.0, at_bar=2.0, pressure_bar=8.0)).rating_l_min == pytest.approx(
        2.0
    )


@pytest.mark.parametrize(
    ("other_l", "told"), [(104.9, None), (95.1, None), (106.0, "6.0 % more"), (94.0, "6.0 % less")]
)
def test_sources_that_differ_by_more_than_a_twentieth_are_told(other_l, told):
    sentences = texts(disagreements({"flow": 100.0, "applied": other_l}, "flow"), "metric")
    assert [told in one for one in sentences] == ([] if told is None else [True])
    if told:
        assert ("worn nozzles" in sentences[0]) == (other_l > 100)
        assert ("plugged" in sentences[0]) == (other_l < 100)


def test_a_measured_source_that_is_used_is_the_measured_one():
    """The meter tells 90 L where 100 L were computed: less measured than computed."""
    (sentence,) = texts(disagreements({"logged flow": 90.0, "flow": 100.0}, "logged flow"), "metric")
    assert "11.1 % more" in sentence
    assert "plugged" in sentence


# --- product --------------------------------------------------------------------------------------


def use_of(rate, most_l_ha, cells_l_ha):
    amount = Amount(rate, "L", "ha", "L/ha", 1.0)
    most = Amount(most_l_ha, "L", "ha", "L/ha", 1.0)
    swept = np.ones(len(cells_l_ha))
    cells = RateCells(0.25, np.zeros(1), np.zeros(1), np.array(cells_l_ha), swept, swept)
    load = Load(0, 1, 80.0, 30.0, 70.0, 10.0, 0, None)
    volume = SimpleNamespace(target_l_ha=100.0, applied_l=70.0, over_covered_l_ha=140.0, over_swept_l_ha=116.0)
    areas = SimpleNamespace(target=6000.0, covered=5000.0, swept=6100.0, swept_net=5500.0)
    return product_use(
        ProductSettings("a", rate=amount, max_per_application=most),
        volume,
        areas,
        cells,
        TankResult((load,), (), ONE_LOAD, 10.0),
    )


def test_product_by_hand():
    """2 L/ha in 100 L/ha of mix: 0.02 L/L; a quarter of the swept 5 500 m2 above 2 L/ha."""
    use = use_of(2.0, 2.0, [101.0, 100.00001, 99.0, 100.0])
    assert use.per_l == pytest.approx(0.02)
    assert (use.used, use.intended, use.left) == pytest.approx((1.4, 1.2, 0.2))
    assert use.per_load == pytest.approx((0.6,))  # what was added, not what was in the tank
    assert (use.mean_per_ha, use.most_per_ha) == pytest.approx((2.8, 2.02))
    assert use.above_max_m2 == pytest.approx(5500 * 0.25)


# --- flow -----------------------------------------------------------------------------------------


def test_a_flow_is_straight_between_its_knots_and_steady_beyond():
    """6 L/min falling from 12 in a minute, by hand: 9 L between, 12 before and 6 after in a minute."""
    flow = Flow(np.array([0.0, 60.0]), np.array([12.0, 6.0]), whole_boom=True)
    assert flow.litres_until(np.array([-60.0, 0.0, 30.0, 60.0, 120.0])) == pytest.approx([-12.0, 0.0, 5.25, 9.0, 15.0])


TIMELINE = Timeline(
    np.array([0.0, 100.0]), np.array([60.0, 160.0]), np.array([[True, True], [True, False]]), np.arange(2)
)
TWO = BoomSettings((3.0, 6.0), "csv", section_nozzles=(12, 6), nozzle_count=18)


def test_a_volume_typed_in_is_spread_over_the_time_outside_gaps():
    """Slot two has one section of 12 of 18 nozzles, and a gap of 30 s: 1 + 2/3 x 1/2 minutes of the whole boom."""
    flow = boom_flow("applied", RateSettings(applied_l=8.0), TWO, TIMELINE, np.array([60.0, 30.0]), (), 0.0)
    assert flow.flow_l_min == pytest.approx([6.0, 6.0])


def test_what_went_out_in_gaps_is_told_apart():
    """18 L/min: 18 L and 12 L in the two minutes, of which half the second is lost in a gap."""
    volume = job_volume(RateSettings(flow_l_min=18.0), TWO, TIMELINE, ((130.0, 400.0),), (), 0.0)
    assert (volume.applied_l, volume.in_gaps_l) == pytest.approx((24.0, 6.0))


def test_a_clock_offset_is_added_to_logged_times_and_their_order_kept():
    times, values = joined(
        [Series(np.array([5.0, 6.0]), np.array([1.0, 2.0])), None, Series(np.array([1.0]), np.array([3.0]))], 10.0
    )
    assert times.tolist() == [11.0, 15.0, 16.0]
    assert values.tolist() == [3.0, 1.0, 2.0]


def test_a_pressure_below_nothing_lets_nothing_out():
    log = SimpleNamespace(flow=None, pressure=Series(np.array([0.0, 160.0]), np.array([-4.0, -4.0])))
    nozzles = NozzleSettings(flow_l_min=1.0, at_bar=1.0, count=18)
    assert job_volume(RateSettings(nozzles=nozzles), TWO, TIMELINE, (), (log,), 0.0).by_source["logged pressure"] == 0.0


# --- touch-up -------------------------------------------------------------------------------------

TERMS = Terms(0.05, 0.01, 0.2, 100.0, 0.25, 4.5, 0.0, 0.1, 2.0, 600.0, 100.0, 100.0, (("a", 0.02, "L"),))
DAY = dt.date(2026, 5, 30)


def test_the_longest_re_entry_counts_and_one_day_is_one_application():
    products = [ProductSettings("a", rei_days=0.5), ProductSettings("b", rei_days=2.0), ProductSettings("c")]
    dates = dates_of(products, DAY, DAY, None)
    assert (dates.rei_days, dates.same_day) == (2.0, True)
    assert not dates_of(products, DAY + dt.timedelta(days=1), DAY, None).same_day


@pytest.mark.parametrize(("before", "new"), [(None, 10.0), (10.0, None), (None, None)])
def test_a_dose_that_is_not_known_breaks_a_limit_on_the_sum(before, new):
    (excess,) = broken_limits([Limit("a", "season", 99.0, 1.0, "L")], before, new, same_day=False)
    assert excess.dose is None


def test_the_mix_to_prepare_is_what_is_needed_and_the_reserve():
    """33 L and a tenth are 36.3: rounded up to half litres, 36.5 L, with 0.02 L/L in it."""
    options = [Option(BOOM, possible=True, mix_l=33.0), Option(LEAVE, possible=True)]
    mix = mix_to_prepare(options, TERMS, us=False)
    assert (mix.needed_l, mix.reserve_l) == pytest.approx((33.0, 3.3))
    assert 36.3 <= mix.prepare_l <= 38.0
    assert mix.product[0][1] == pytest.approx(0.02 * mix.prepare_l)
    fixed = mix_to_prepare(options, dataclasses.replace(TERMS, reserve_l=5.0), us=False)
    assert fixed.reserve_l == 5.0
    assert mix_to_prepare([Option(BOOM, possible=True)], TERMS, us=False) is None


def test_a_wand_takes_as_long_as_spraying_or_walking_whichever_is_longer():
    """100 m2 at 0.25 m2/s are 400 s; 50 m at 2 m/s are 25 s. Mix 1 L, product 0.02 L; 4 of labour and 0.2 of mix."""
    strip = SimpleNamespace(area_m2=100.0, polygon=shapely.box(0, 0, 2, 50), probability=None)
    way = SimpleNamespace(length_m=50.0)
    option = spot_option(strip, (way,), TERMS, [Limit("", "mix", 150.0, 1.0, "L")], same_day=False)
    assert (option.time_s, option.mix_l, option.own_cost) == pytest.approx((400.0, 1.0, 4.2))
    assert option.product == (("a", pytest.approx(0.02), "L"),)
    assert option.broken == ()  # missed ground had nothing before
    far = spot_option(strip, (SimpleNamespace(length_m=2000.0),), TERMS, [], same_day=False)
    assert far.time_s == pytest.approx(1000.0)


def test_terms_keep_what_was_audited_and_typed():
    settings = JobSettings(
        boom=BoomSettings((9.0,), "csv"),
        rate=RateSettings(100.0),
        touchup=TouchupSettings(spot_rate_l_ha=300.0, reserve_share=0.2),
    )
    terms = terms_of(settings, 120.0, None)
    assert (terms.spot_rate_l_ha, terms.first_l_ha, terms.rate_l_ha) == (300.0, 120.0, 100.0)
    assert (terms.reserve_l, terms.reserve_share) == (0.0, 0.2)
    assert terms_of(settings, None, None).first_l_ha == 100.0


def test_a_boom_pass_is_charged_for_all_it_sprays():
    """A strip of 1 m x 100 m gone over by 4 m: 400 m2 of mix (4 L), 100 m2 cured, 300 m2 sprayed again."""
    strip = SimpleNamespace(area_m2=100.0, polygon=shapely.box(0, 0, 1, 100), probability=None)
    swath = shapely.box(0, 0, 4, 100)
    layers = [strip.polygon, shapely.box(1, 0, 4, 100)]
    option = boom_option(strip, (SimpleNamespace(length_m=100.0),), (swath,), (1,), layers, TERMS, [], same_day=False)
    assert (option.cured_m2, option.sprayed_m2, option.resprayed_m2) == pytest.approx((100.0, 400.0, 300.0))
    assert (option.mix_l, option.time_s, option.highest_l_ha) == pytest.approx((4.0, 50.0, 200.0))
    assert option.own_cost == pytest.approx(0.5 + 0.8)  # 50 s of labour and 4 L of mix


@pytest.mark.parametrize(("boom_m", "width_m"), [(9.0, 0.4), (0.3, None)])
def test_a_width_from_which_a_boom_pass_pays_is_told_below_the_booms_own(boom_m, width_m):
    """100 m of strip worth 0.05 a m2 pay 2.0 of cost from 0.4 m on; a boom of 0.3 m would not do."""
    strip = SimpleNamespace(
        options=(
            Option(LEAVE, possible=True),
            Option(SPOT, possible=False),
            Option(BOOM, possible=True, cured_m2=50.0, own_cost=1.5),
        ),
        way_cost=(0.0, math.inf, 0.5),
        length_m=100.0,
        mean_width_m=0.5,
        worth=2.5,
    )
    assert pays_above(strip, boom_m) == (None if width_m is None else pytest.approx(width_m))
