"""Volume and mean rates against published calibration examples (check-values 1 and 2)."""

import dataclasses

import numpy as np
import pytest
from jobs import START_S, worked_job

from coverage_audit.jobs.settings import BoomSettings, NozzleSettings, RateSettings
from coverage_audit.papers.words.passes import verdict_of
from coverage_audit.rate.volume import litres_per_hectare, nozzle_flow
from coverage_audit.read.records import Series
from coverage_audit.recipe.audit import audit_job
from coverage_audit.units import INCH_M, MPH_M_S, RATE_L_HA, US_FLUID_OUNCE_L, US_GALLON_L


@pytest.mark.parametrize(
    ("ounces_min", "mph", "inches", "gallons_acre"),
    [
        (480, 5, 222, 20.068),  # Albany County (WY) Weed & Pest, "Calibrating your sprayer"; printed 20 gpa
        (101, 3, 18, 86.80),  # Oklahoma State turf sprayer page; printed 88, a known slip: exact 86.8
    ],
)
def test_rate_from_flow_speed_and_width_in_us_units(ounces_min, mph, inches, gallons_acre):
    rate = litres_per_hectare(ounces_min * US_FLUID_OUNCE_L, mph * MPH_M_S, inches * INCH_M)
    assert rate / RATE_L_HA["gal/ac"] == pytest.approx(gallons_acre, rel=5e-4)  # four digits given


def test_rate_in_metric_units():
    """24 L/min, 200 m/min, 12 m: 100 L/ha (Countryco Training, Useful Tools)."""
    assert litres_per_hectare(24.0, 200 / 60, 12.0) == pytest.approx(100.0, rel=1e-12)


@pytest.mark.parametrize(("at_2_bar", "at_3_bar"), [(0.65, 0.796), (0.98, 1.200), (1.31, 1.604), (2.61, 3.197)])
def test_nozzle_flow_grows_with_the_root_of_pressure(at_2_bar, at_3_bar):
    """2 bar to 3 bar by sqrt(1.5) (supplier's ISO 10625 table at 2 bar; 3 bar computed)."""
    assert nozzle_flow(at_2_bar, 2.0, 3.0) == pytest.approx(at_3_bar, abs=6e-4)  # printed to three decimals


def test_double_flow_needs_four_times_the_pressure():
    """University of Wisconsin PAT calibration slides, 2014."""
    assert nozzle_flow(1.0, 1.0, 4.0) == pytest.approx(2.0, rel=1e-12)


def test_gallon_and_ounce():
    assert pytest.approx(128 * US_FLUID_OUNCE_L, rel=1e-15) == US_GALLON_L


def rated(rate, boom=None, **logged):
    base = worked_job(1.0)
    settings = dataclasses.replace(base.settings, rate=rate, **({"boom": boom} if boom else {}))
    logs = (dataclasses.replace(base.logs[0], **logged),)
    return audit_job(dataclasses.replace(base, settings=settings, logs=logs))


def test_stated_flow_over_spraying_time():
    """15 L/min for six passes of 40 s is 60 L: on 6 000 m2 swept that is 100 L/ha."""
    volume = rated(RateSettings(flow_l_min=15.0, target_l_ha=100.0)).volume
    assert (volume.source, volume.applied_l) == ("flow", pytest.approx(60.0, rel=1e-6))
    assert volume.over_swept_l_ha == pytest.approx(100.0, rel=1e-3)  # areas at 1 Hz hold 0.1 %
    assert volume.over_covered_l_ha == pytest.approx(60 / 0.59, rel=1e-3)
    assert volume.over_target_area_l_ha == pytest.approx(100.0, rel=1e-3)
    assert volume.target_l_ha == 100.0


def test_first_source_present_is_used_and_all_are_kept():
    times = np.arange(0.0, 400.0) + START_S
    volume = rated(
        RateSettings(
            flow_l_min=15.0,
            applied_l=66.0,
            nozzles=NozzleSettings(flow_l_min=0.75, at_bar=2.0, pressure_bar=2.0, count=20),
        ),
        flow=Series(times, np.full(400, 12.0)),
        pressure=Series(times, np.full(400, 8.0)),
    ).volume
    assert volume.source == "logged flow"
    expected = {"logged flow": 48.0, "logged pressure": 120.0, "nozzles": 60.0, "flow": 60.0, "applied": 66.0}
    assert dict(volume.by_source) == pytest.approx(expected, rel=1e-6)


def test_closed_section_takes_its_share_of_the_flow_away():
    base = worked_job(1.0)
    boom = BoomSettings((6.0, 4.0), "csv", section_nozzles=(12, 8), nozzle_count=20, antenna_ahead_m=0.0)
    intervals = tuple(dataclasses.replace(one, sections=(1,)) for one in base.intervals)
    settings = dataclasses.replace(base.settings, boom=boom, rate=RateSettings(flow_l_min=15.0))
    volume = audit_job(dataclasses.replace(base, settings=settings, intervals=intervals)).volume
    assert volume.applied_l == pytest.approx(60.0 * 12 / 20, rel=1e-6)


def test_nothing_given_is_not_known_and_says_so():
    volume = rated(RateSettings()).volume
    assert (volume.applied_l, volume.source, volume.over_covered_l_ha) == (None, None, None)
    told = " ".join(verdict_of(rated(RateSettings())).sentences)
    assert "no rate could be computed" in told
