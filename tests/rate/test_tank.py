"""Tank loads: refills, area per load, and the moment a load would have run dry.

Closed forms unless a source stands beside.
"""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from jobs import boom, job, log, worked_job

from coverage_audit.jobs.settings import RateSettings, TankSettings
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.rate.model import BY_STOPS, TYPED_IN
from coverage_audit.rate.tank import LetOut, Stop, loads, refill_moments
from coverage_audit.recipe import rate
from coverage_audit.recipe.audit import audit_job
from coverage_audit.units import ACRE_M2, HECTARE_M2, RATE_L_HA, US_GALLON_L

FLOW = 15.0


def tanked(tank, **rate):
    return audit_job(worked_job(10.0, rate=RateSettings(100.0, flow_l_min=FLOW, tank=tank, **rate)))


def test_a_tank_that_runs_dry_in_the_third_pass():
    """Six passes of 10 L. A tank of 25 L is empty half-way up the third pass: 500 + 3 000 m2 come after it."""
    audit = tanked(TankSettings(tank_l=25.0))
    tank = audit.rate.tank
    (load,) = tank.loads
    assert (load.volume_l, load.used_l, load.left_l) == (25.0, pytest.approx(60.0, rel=1e-6), 0.0)
    first_on = audit.on_intervals[2][0]
    assert load.dry_s - first_on == pytest.approx(20.0, abs=0.01)
    (dry,) = tank.dry
    # the third pass is 1 m off: 400 m2 beside the fourth are its own, and 100 m2 lie under the fourth one too
    assert dry.area_m2 == pytest.approx(50 * 10 + 30 * 100 - 50, abs=0.6 + 50)
    assert dry.in_target.area == pytest.approx(dry.in_target_m2)
    assert audit.area_m2.perhaps_dry == pytest.approx(dry.in_target_m2)
    assert audit.area_m2.proven == pytest.approx(audit.area_m2.covered - dry.in_target_m2)
    assert "may have run dry" in " ".join(caution_texts(audit))


def test_no_more_ground_may_have_been_sprayed_dry_than_was_sprayed():
    """Swept ground drawn by other corners may be a hair larger: what is proven is never less than nothing."""
    tank = SimpleNamespace(dry=[SimpleNamespace(in_target=shapely.box(0, 0, 10, 1.0001))])
    areas = SimpleNamespace(covered=10.0, bridged=2.0)
    found = rate._perhaps_dry(tank, shapely.box(0, 0, 2, 1), areas)  # noqa: SLF001 - no whole job is known to show it
    assert found == 8.0


def test_ground_that_a_full_tank_sprayed_too_is_not_called_dry():
    """The third pass (10 m at 21 to 31 m) dry from its middle on, the fourth (30 to 40 m) after a refill: 9 x 50 m2."""
    start = worked_job(10.0)
    audit0 = audit_job(start)
    refill = (audit0.on_intervals[2][1] + audit0.on_intervals[3][0]) / 2
    audit = tanked(TankSettings(loads_l=(25.0, 40.0), refills_s=(refill,)))
    (dry,) = audit.rate.tank.dry
    assert dry.area_m2 == pytest.approx(450, abs=0.6)  # 0.01 % of the field
    first, second = audit.rate.tank.loads
    assert (first.used_l, second.used_l, second.left_l) == pytest.approx((30.0, 30.0, 10.0), rel=1e-6)
    assert first.swept_m2 == pytest.approx(3000, abs=1)
    assert second.swept_m2 == pytest.approx(3000, abs=1)
    assert audit.rate.tank.refills == TYPED_IN


def stopping_job(tank):
    """Two passes of 100 m side by side with a stand of five minutes between them."""
    legs = [(0.0, 0.0, 0.0), (60.0, 0.0, 150.0), (360.0, 0.0, 150.0), (380.0, 10.0, 150.0), (440.0, 10.0, 0.0)]
    knots = np.array(legs)
    times = np.arange(0, 440.01, 0.1)
    points = np.column_stack([np.interp(times, knots[:, 0], knots[:, axis]) for axis in (1, 2)])
    on = [(10.0, 50.0), (390.0, 430.0)]
    rate = RateSettings(100.0, flow_l_min=FLOW, tank=tank)
    return audit_job(job(log(times, points), on, shapely.box(-5, 0, 15, 150), boom=boom(10.0), rate=rate))


def test_refills_are_found_from_long_stops_and_said():
    audit = stopping_job(TankSettings(loads_l=(12.0, 12.0)))
    tank = audit.rate.tank
    assert [load.used_l for load in tank.loads] == pytest.approx([10.0, 10.0], rel=1e-6)
    assert [load.left_l for load in tank.loads] == pytest.approx([2.0, 4.0], rel=1e-6)
    assert tank.refills == BY_STOPS
    assert tank.dry == ()
    assert any("long stop(s) with the boom off were taken for refills" in caution for caution in caution_texts(audit))


def test_a_tanks_size_alone_explains_the_job_by_the_fewest_refills():
    assert len(stopping_job(TankSettings(tank_l=12.0)).rate.tank.loads) == 2
    assert len(stopping_job(TankSettings(tank_l=30.0)).rate.tank.loads) == 1


def test_refills_without_a_stop_are_said():
    audit = tanked(TankSettings(loads_l=(30.0, 30.0)))
    assert any("could not be placed" in caution for caution in caution_texts(audit))
    (load,) = audit.rate.tank.loads
    assert (load.volume_l, load.dry_s) == (60.0, None)


def test_the_last_stop_before_it_ran_dry_is_the_refill():
    flow = LetOut(np.array([0.0, 1000.0]), np.array([0.0, 100.0]))
    stops = (Stop(100.0, 300.0), Stop(300.0, 200.0), Stop(500.0, 400.0), Stop(900.0, 130.0))
    moments, taken, missing = refill_moments(TankSettings(tank_l=40.0), stops, flow)
    assert moments == (300.0, 500.0, 900.0)
    assert (len(taken), missing) == (3, 0)


@pytest.mark.parametrize(
    ("tank", "rate", "area_m2"),
    [
        (100 * US_GALLON_L, 15 * RATE_L_HA["gal/ac"], 100 / 15 * ACRE_M2),  # common practice: 6.7 ac per tank
        (1000.0, 200.0, 5 * HECTARE_M2),  # docslib 1861139: 200 L/ha x 20 ha is four loads of 1000 L
        (2000.0, 40 / ACRE_M2 * HECTARE_M2, 50 * ACRE_M2),  # Alberta Agdex 606-1: 30 ac x 40 L/ac = 1200 L fit in
    ],
)
def test_ground_per_tank_is_tank_over_rate(tank, rate, area_m2):
    """Ohio State FABE-530: acres per tank = tank / rate. The load is dry just there."""
    ground_per_s = 25.0  # 10 m at 2.5 m/s
    hours = 1.5 * area_m2 / ground_per_s
    flow = LetOut(np.array([0.0, hours]), np.array([0.0, 1.5 * area_m2 * rate / HECTARE_M2]))
    (load,) = loads(TankSettings(tank_l=tank), (), flow, lambda time: time * ground_per_s)
    assert load.dry_s * ground_per_s == pytest.approx(area_m2, rel=1e-9)


def test_published_totals():
    """15 gal/ac x 3.5 ac = 52.5 gal (handbook "Agrochemical and Pesticide Safety", ex. 4)."""
    assert 15 * RATE_L_HA["gal/ac"] * 3.5 * ACRE_M2 / HECTARE_M2 / US_GALLON_L == pytest.approx(52.5, rel=1e-12)


def test_loads_and_refills_are_read(small_job, check):
    small_job.change("flow", '"15 L/min"', "rate")
    small_job.change("loads", '["60 L", "30 L"]', "rate")
    small_job.change("refills", f'["{small_job.stamp(400)}"]', "rate")
    code, error, out = check()
    assert (code, error) == (0, "")
    assert '"refills": "typed in"' in (out / "summary.json").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("key", "value", "wanted"),
    [
        ("loads", '["60 L", "400 L"]', "does not go into a tank of 380 L"),
        ("refills", '["2026-05-30T14:00:00Z", "2026-05-30T13:30:00Z"]', "must follow one another"),
        ("refills", '["noon"]', "is not a date with a time"),
        ("loads", '["60"]', "has no unit"),
        ("tank", '"-5 L"', "out of range"),
    ],
)
def test_what_does_not_fit_is_refused(small_job, check, key, value, wanted):
    small_job.change("tank", '"380 L"', "rate")
    small_job.change(key, value, "rate")
    code, error, _ = check()
    assert code == 2
    assert wanted in error


def test_refills_alone_are_refused(small_job, check):
    small_job.change("refills", '["2026-05-30T14:00:00Z"]', "rate")
    code, error, _ = check()
    assert (code, "need rate.tank or rate.loads" in error) == (2, True)


def test_a_dry_tank_is_a_finding(small_job, check):
    small_job.change("flow", '"15 L/min"', "rate")
    small_job.change("tank", '"60 L"', "rate")
    code, _, out = check()
    assert code == 0
    text = (out / "findings.geojson").read_text(encoding="utf-8")
    assert '"kind": "perhaps dry"' in text
    assert "perhaps dry from" in (out / "report.html").read_text(encoding="utf-8").lower()
