"""Nozzle catch and sources of the volume, and the published worked examples of calibration and capacity."""

import math

import pytest
from jobs import worked_job

from coverage_audit.jobs.settings import NozzleSettings, RateSettings
from coverage_audit.papers.words.cautions import caution_texts, texts
from coverage_audit.rate.nozzles import caught, disagreements
from coverage_audit.rate.volume import litres_per_hectare, nozzle_flow
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.rate import field_capacity_ha_h
from coverage_audit.units import ACRE_M2, FOOT_M, HECTARE_M2, INCH_M, MPH_M_S, RATE_L_HA, US_FLUID_OUNCE_L, US_GALLON_L

GAL_AC = RATE_L_HA["gal/ac"]


# --- calibration (check-values 1) ---------------------------------------------------------------


def test_same_boom_by_gallons_and_feet():
    """3.75 gal/min, 18.5 ft, 5 mph: 20 gal/ac printed, 20.065 exact (Albany County (WY) Weed & Pest)."""
    rate = litres_per_hectare(3.75 * US_GALLON_L, 5 * MPH_M_S, 18.5 * FOOT_M)
    assert rate / GAL_AC == pytest.approx(20.0685, rel=1e-4)
    assert rate / GAL_AC == pytest.approx(20, rel=0.005)


@pytest.mark.parametrize(("gpm", "inches", "feet"), [(0.4, 20, None), (0.4, None, 20 / 12)])
def test_the_two_constants_5940_and_495(gpm, inches, feet):
    """Mesa County CO, stationary method: GPA = 5940 gpm / (mph in) = 495 gpm / (mph ft)."""
    width = inches * INCH_M if inches else feet * FOOT_M
    expected = 5940 * gpm / (5 * inches) if inches else 495 * gpm / (5 * feet)
    assert litres_per_hectare(gpm * US_GALLON_L, 5 * MPH_M_S, width) / GAL_AC == pytest.approx(expected, rel=1e-12)


def test_size_02_nozzle_at_40_psi_sprays_40_litres_per_acre():
    """11002 at 275 kPa, 9 km/h, 0.5 m: 40 L/ac, right between 0.71 and 0.79 L/min (Alberta Agdex 606-1, p. 11)."""
    assert litres_per_hectare(0.75, 9 / 3.6, 0.5) * ACRE_M2 / HECTARE_M2 == pytest.approx(40.47, abs=0.005)
    assert 0.71 < nozzle_flow(0.8, 3.0, 2.75) < 0.79  # 0.8 L/min at 3 bar: ISO 10625, from memory


@pytest.mark.parametrize(
    ("gallons", "feet", "swath_ft", "gpa"),
    [
        (12, 660, 10, 79.2),  # Florida exam preparation, p. 213, method II
        (4, 436, 10, 39.96),  # Good Fruit Grower, "Calibration steps"; printed 40
    ],
)
def test_volume_over_a_course(gallons, feet, swath_ft, gpa):
    area = feet * swath_ft * FOOT_M**2
    assert gallons * US_GALLON_L / area * HECTARE_M2 / GAL_AC == pytest.approx(gpa, rel=2e-4)


def test_millilitres_over_fifty_metres():
    """L/ha = mL / spacing x 0.2 (UFA, Alberta): an identity of units."""
    assert litres_per_hectare(0.500 / (50 / 2.5 / 60), 2.5, 0.5) == pytest.approx(500 / 0.5 * 0.2, rel=1e-12)


def test_nozzle_spacing_typed_round_is_1_6_per_cent_off():
    """0.508 m typed as 0.50 m (GRDC Spray Application Manual, module 8.3)."""
    assert litres_per_hectare(1, 2, 0.50) / litres_per_hectare(1, 2, 0.508) - 1 == pytest.approx(0.016, abs=1e-9)


@pytest.mark.parametrize(
    ("inches", "feet"),
    [(18, 227), (20, 204), (22, 185), (24, 170), (26, 157), (28, 146), (30, 136), (32, 127), (34, 120), (36, 113),
     (38, 107), (40, 102)],
)  # fmt: skip
def test_ounces_caught_over_a_128th_of_an_acre_are_gallons_an_acre(inches, feet):
    """Ohio State Bulletin 817-00, table 1; some printed values are cut off, so to a foot."""
    exact = ACRE_M2 / 128 / (inches * INCH_M) / FOOT_M
    assert exact == pytest.approx(feet, abs=1.0)
    caught_l = US_FLUID_OUNCE_L
    assert caught_l / (exact * FOOT_M * inches * INCH_M) * HECTARE_M2 / GAL_AC == pytest.approx(1.0, rel=1e-12)


# --- nozzles (check-values 2) ---------------------------------------------------------------------


def test_a_quarter_faster_needs_56_per_cent_more_pressure():
    """12 to 15 mph from 40 psi: 63 psi printed, 62.5 exact (Iowa State University Crop News 844)."""
    assert nozzle_flow(1.0, 40.0, 62.5) == pytest.approx(1.25, rel=1e-12)


@pytest.mark.parametrize(
    ("flow", "rate"), [(0.49, 98), (0.65, 131), (0.98, 196), (1.31, 261), (1.63, 327), (1.96, 392), (2.61, 523)]
)
def test_supplier_table_at_2_bar(flow, rate):
    """6 km/h and 0.5 m; printed rates are rounded from flows with more digits, so to 1 L/ha."""
    assert litres_per_hectare(flow, 6 / 3.6, 0.5) == pytest.approx(rate, abs=1.0 + 1e-9)


def test_named_sizes():
    """Size "8003" is 0.3 US gal/min at 40 psi (Wisconsin slides); ISO size 03 is 1.2 L/min at 3 bar (from memory)."""
    assert nozzle_flow(1.2, 3.0, 2.7579) == pytest.approx(0.3 * US_GALLON_L, rel=0.015)  # both are round names


# --- speed and capacity (check-values 3 and 4) ------------------------------------------------------


@pytest.mark.parametrize(("seconds", "mph"), [(45, 3.030), (27, 5.051)])
def test_speed_over_two_hundred_feet(seconds, mph):
    """Oklahoma State turf page: 3 and 5 mph printed."""
    assert 200 * FOOT_M / seconds / MPH_M_S == pytest.approx(mph, abs=5e-4)


@pytest.mark.parametrize(("kmh", "seconds"), [(8, 360), (9, 320), (10, 288), (11, 262), (12, 240)])
def test_time_for_eight_hundred_metres(kmh, seconds):
    """Alberta Agdex 606-1 (its row for 7 km/h is a slip and left out)."""
    assert 800 / (kmh / 3.6) == pytest.approx(seconds, abs=0.5)


@pytest.mark.parametrize(
    ("feet", "mph", "percent", "acres_h"),
    [(40, 6, 70, 20.4), (50, 6, 70, 25.5), (60, 6, 68, 29.7), (60, 12, 68, 59.3), (80, 6, 68, 39.6), (80, 12, 68, 79.1),
     (10, 5, 63, 3.8), (15, 6, 63, 6.9), (20, 6, 63, 9.2), (30, 6, 60, 13.1), (45, 5, 60, 16.4)],
)  # fmt: skip
def test_field_capacity(feet, mph, percent, acres_h):
    """Iowa State Ag Decision Maker A3-24 and PM 696; printed to one decimal."""
    found = field_capacity_ha_h(mph * MPH_M_S, feet * FOOT_M, percent / 100) * HECTARE_M2 / ACRE_M2
    assert found == pytest.approx(acres_h, abs=0.05 + 1e-9)
    assert found == pytest.approx(mph * feet * percent / 100 / 8.25, rel=1e-12)


def test_thirty_feet_at_six_miles_an_hour():
    """21.8 ac/h in theory: common practice, no source."""
    assert field_capacity_ha_h(6 * MPH_M_S, 30 * FOOT_M) * HECTARE_M2 / ACRE_M2 == pytest.approx(21.8, abs=0.05)


# --- a catch -------------------------------------------------------------------------------------------


def test_a_worn_and_a_plugged_nozzle_are_named():
    """Within 10 % of the rating, 5 % of the average (Klein, Univ. Nebraska; Agdex 606-1); 10 % of it (Florida)."""
    flows = (0.80, 0.81, 0.79, 0.80, 0.90, 0.80, 0.68, 0.80, 0.80, 0.80)
    found = caught(flows, NozzleSettings(0.8, 3.0))
    assert found.mean_l_min == pytest.approx(0.798)
    assert found.spread == pytest.approx(0.22 / 0.798)
    assert (found.off_rating, found.off_average, found.far_off_average) == ((5, 7), (5, 7), (5, 7))
    milder = caught((0.80, 0.80, 0.80, 0.86, 0.80), None)
    assert (milder.rating_l_min, milder.off_average, milder.far_off_average) == (None, (4,), ())


def test_limits_of_the_catch_are_inclusive():
    """11002 at 275 kPa: 0.7125 to 0.7875 L/min is 5 % about 0.75 (Agdex 606-1)."""
    assert caught((0.7125, 0.7875, 0.75), None).off_average == ()
    assert caught((0.70, 0.80, 0.75), None).off_average == (1, 2)


def test_the_rating_is_taken_at_the_spraying_pressure():
    assert caught((1.2,), NozzleSettings(1.2, 3.0, 2.0)).rating_l_min == pytest.approx(1.2 * math.sqrt(2 / 3))


# --- sources against one another -------------------------------------------------------------------------


def test_sources_within_five_per_cent_are_not_told():
    assert disagreements({"flow": 100.0, "applied": 105.0}, "flow") == ()


def test_more_left_the_tank_than_the_nozzles_explain():
    (told,) = texts(disagreements({"nozzles": 100.0, "applied": 112.0}, "nozzles"), "metric")
    assert "12.0 % more" in told
    assert "worn nozzles" in told


def test_less_through_the_meter_than_the_nozzles_explain():
    (told,) = texts(disagreements({"logged flow": 90.0, "nozzles": 100.0}, "logged flow"), "metric")
    assert "11.1 % more than the flow meter" in told
    assert "plugged" in told


def test_two_computed_sources_point_to_what_was_typed():
    (told,) = texts(disagreements({"nozzles": 100.0, "flow": 80.0}, "nozzles"), "metric")
    assert "pressure gauge" in told


def test_a_catch_is_set_against_the_flow():
    """Twenty nozzles of 0.9 L/min caught, 15 L/min typed in: 18 against 15 is 20 % more."""
    rate = RateSettings(100.0, flow_l_min=15.0, catch_l_min=(0.9,) * 20)
    audit = audit_job(worked_job(1.0, rate=rate))
    assert audit.rate.by_source_share["catch"] == pytest.approx(1.2, rel=1e-6)
    assert any("the nozzle catch gives 20.0 % more" in caution for caution in caution_texts(audit))


def test_a_catch_is_read(small_job, check):
    small_job.change("catch", '["0.79 L/min", "27 oz/min"]', "rate")
    code, error, out = check()
    assert (code, error) == (0, "")
    assert '"off_average": []' in (out / "summary.json").read_text(encoding="utf-8").replace("\n      ", "")
