"""The rules of the touch-up plan one by one, and the keys of the job file."""

import datetime as dt
import math
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely

from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import (
    Amount,
    BoomSettings,
    JobSettings,
    ProductSettings,
    RateSettings,
    TouchupSettings,
)
from coverage_audit.jobs.touchup import TABLE, TOUCHUP
from coverage_audit.touchup import tolerances as tol
from coverage_audit.touchup.lanes import lay_boom, strip_parts
from coverage_audit.touchup.model import Limit
from coverage_audit.touchup.rules import broken_limits, dates_of, limits_of, measured_l, terms_of
from coverage_audit.touchup.turns import tightest_radius
from coverage_audit.units import ACRE_M2, US_GALLON_L

EACH = Limit("a", "application", 1.2, 0.01, "L")
SEASON = Limit("a", "season", 1.5, 0.01, "L")
MIX = Limit("", "mix", 150.0, 1.0, "L")


@pytest.mark.parametrize(
    ("limit", "before", "new", "same_day", "dose"),
    [
        (EACH, 100.0, 100.0, False, None),  # 1.0 each: fine
        (EACH, 0.0, 130.0, False, 1.3),  # the second alone is too much
        (EACH, 100.0, 100.0, True, 2.0),  # on one day both are one application
        (SEASON, 100.0, 100.0, False, 2.0),
        (SEASON, 50.0, 100.0, False, None),  # exactly the most
        (MIX, 100.0, 100.0, False, 200.0),
        (MIX, 0.0, 150.0, False, None),
    ],
)
def test_limits_bind_each_application_or_the_sum(limit, before, new, same_day, dose):
    broken = broken_limits([limit], before, new, same_day=same_day)
    assert [one.dose for one in broken] == ([] if dose is None else [pytest.approx(dose)])


def test_limits_are_in_product_and_label_max_in_mix():
    """1 L/ha of product in 100 L/ha of mix: 0.01 L in a litre."""
    amount = Amount(1.0, "L", "ha", "L/ha", 1.0)
    product = ProductSettings("a", rate=amount, max_per_application=amount)
    assert limits_of([product], 100.0, 150.0) == (MIX, Limit("a", "application", 1.0, 0.01, "L"))
    assert limits_of([product], None, None)[0].per_l is None


def test_of_several_products_the_longest_interval_counts():
    """A tank mix: the most restrictive interval governs (SDSU Extension ExEx 8140)."""
    products = [ProductSettings("a", phi_days=14, rei_days=0.5), ProductSettings("b", phi_days=30, grazing_days=7)]
    day = dt.date(2026, 5, 30)
    dates = dates_of(products, day + dt.timedelta(days=3), day, dt.date(2026, 7, 2))
    assert dates.cut == dt.date(2026, 7, 2)
    assert dates.graze == dt.date(2026, 6, 9)
    assert dates.rei_days == 0.5
    assert not dates.too_late
    assert dates_of(products, day + dt.timedelta(days=4), day, dt.date(2026, 7, 2)).too_late


@pytest.mark.parametrize(
    ("litres", "us", "measured"),
    [(11.0, False, 11.0), (11.01, False, 11.5), (0.83, False, 0.9), (212.3, False, 220.0), (33.2, False, 34.0)],
)
def test_mix_is_rounded_up_as_a_person_measures(litres, us, measured):
    assert measured_l(litres, us=us) == pytest.approx(measured)


def test_mix_in_us_units_is_rounded_in_gallons():
    assert measured_l(2.9 * US_GALLON_L, us=True) / US_GALLON_L == pytest.approx(2.9)
    assert measured_l(12.1 * US_GALLON_L, us=True) / US_GALLON_L == pytest.approx(12.25)


def test_defaults_are_filled_in_and_named():
    terms = terms_of(JobSettings(boom=BoomSettings((9.0,), "csv")), None, None)
    assert set(terms.assumed) >= {"value", "labour", "mix_cost", "spot_rate", "turning_radius", "entry", "reserve"}
    assert terms.rate_l_ha is None
    given = TouchupSettings(value_m2=0.2, reserve_l=5.0)
    terms = terms_of(JobSettings(boom=BoomSettings((9.0,), "csv"), rate=RateSettings(140.0), touchup=given), 120.0, 2.2)
    assert (terms.value_m2, terms.reserve_l, terms.reserve_share) == (0.2, 5.0, 0.0)
    assert (terms.rate_l_ha, terms.first_l_ha, terms.spot_rate_l_ha, terms.speed_m_s) == (140.0, 120.0, 140.0, 2.2)


# --- the job file -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("value", "450 /ha", 0.045),
        ("value", "$180/ac", 180 / ACRE_M2),
        ("value", "450 EUR / ha", 0.045),
        ("labour", "36 /h", 0.01),
        ("mix_cost", "0.20 /L", 0.2),
        ("mix_cost", "1.10 USD/gal", 1.10 / US_GALLON_L),
        ("turning_radius", "4.5 m", 4.5),
        ("entry", "43.6021, -116.2034", (43.6021, -116.2034)),
        ("entry", [43.6021, -116.2034], (43.6021, -116.2034)),
        ("reserve", "10 %", ("reserve_share", 0.1)),
        ("reserve", "5 L", ("reserve_l", 5.0)),
        ("spot_rate", "300 L/ha", ("spot_rate_l_ha", 300.0)),
        ("spot_rate", "900 m2/h", ("spot_m2_s", 0.25)),
        ("spot_work", "0.09 ha/h", 0.25),
        ("setup", "10 min", 600.0),
    ],
)
def test_keys_of_the_job_file(key, text, value):
    found = TOUCHUP[key](text, f"job.toml, touchup.{key}")
    if isinstance(value, tuple) and isinstance(value[0], str):
        assert (found[0], found[1]) == (value[0], pytest.approx(value[1]))
    else:
        assert found == pytest.approx(value)


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("value", 450),
        ("value", "450"),
        ("value", "450 /h"),
        ("value", "-3 /ha"),
        ("labour", "cheap"),
        ("entry", "43.6"),
        ("entry", "north, west"),
        ("entry", "116.2, 43.6"),
        ("entry", 7),
        ("reserve", "some"),
        ("turning_radius", "0 m"),
        ("turning_radius", "400 m"),
        ("spot_rate", "300"),
    ],
)
def test_mistakes_in_the_job_file_are_told_with_their_place(key, text):
    with pytest.raises(InputError) as told:
        TOUCHUP[key](text, f"job.toml, touchup.{key}")
    assert told.value.place == f"job.toml, touchup.{key}"


def test_settings_of_the_job_file():
    cut = dt.date(2026, 6, 20)
    values = {"value": 0.05, "reserve": ("reserve_l", 5.0), "spot_rate": ("spot_m2_s", 0.25)}
    found = TABLE.settings(**TABLE.values(values), planned_cut=cut)
    assert found == TouchupSettings(value_m2=0.05, reserve_l=5.0, spot_m2_s=0.25, planned_cut=cut)


def test_manual_tells_every_key_with_its_default():
    chapter = Path(__file__).parents[2] / "coverage_audit" / "manual" / "touchup.md"
    block = re.search(r"```toml\n(\[job\].*?)```", chapter.read_text(encoding="utf-8"), re.DOTALL)[1]
    told = tomllib.loads(block)["touchup"]
    assert told.keys() == TOUCHUP.keys()
    values = {key: TOUCHUP[key](text, key) for key, text in told.items()}
    assert values["value"] == pytest.approx(tol.VALUE_DEFAULT_M2)
    assert values["labour"] == pytest.approx(tol.LABOUR_DEFAULT_S)
    assert values["mix_cost"] == pytest.approx(tol.MIX_COST_DEFAULT_L)
    assert values["spot_work"] == pytest.approx(tol.SPOT_DEFAULT_M2_S)
    assert values["turning_radius"] == pytest.approx(tol.TURNING_RADIUS_DEFAULT_M)
    assert values["reserve"] == ("reserve_share", pytest.approx(tol.RESERVE_DEFAULT))
    assert values["setup"] == TouchupSettings().setup_s


# --- laying the boom ----------------------------------------------------------------------------

FIELD = shapely.box(0, 0, 100, 100)
NO_TRACKS = shapely.LineString([(0, 0), (0, 100)])


def laid(strip, line, sections, target=FIELD):
    return lay_boom(np.array(line, float), strip, target, FIELD, NO_TRACKS, sections)


def test_strip_wider_than_the_boom_takes_two_passes():
    passes = laid(shapely.box(40, 10, 56, 90), [(48, 10), (48, 90)], (10.0,))
    assert len(passes) == 2
    assert [one.span for one in passes] == [pytest.approx((10.0, 90.0)), pytest.approx((10.0, 90.0))]


def test_sections_open_only_where_the_strip_is_in_their_lane():
    """A wedge from 0 to 4 m wide: the outer sections open later along it."""
    wedge = shapely.Polygon([(46, 10), (54, 90), (46, 90)])
    (only,) = laid(wedge, [(48, 10), (48, 90)], (2.0,) * 6)
    begins = sorted(ranges[0][0] for ranges in only.open_m.values())
    assert len(begins) == 4
    assert np.diff(begins) == pytest.approx(20.0, abs=0.5)  # 2 m of width every 20 m


def test_section_shuts_where_its_lane_leaves_the_target():
    target = shapely.difference(FIELD, shapely.box(40, 40, 60, 50))
    (only,) = laid(shapely.box(48, 10, 49, 90) - shapely.box(40, 40, 60, 50), [(48.5, 10), (48.5, 90)], (10.0,), target)
    low, high = only.open_m[1]
    offset = low[0] - 10.0
    assert (low[1] - offset, high[0] - offset) == (pytest.approx(40.0), pytest.approx(50.0))


def test_edge_strip_is_reached_from_inside_without_spraying_beyond():
    """A strip of 1 m along the fence: the boom stands with its tip at the fence."""
    (only,) = laid(shapely.box(99, 10, 100, 90), [(99.5, 10), (99.5, 90)], (10.0,))
    assert only.line[1:-1, 0] == pytest.approx(95.0, abs=1e-6)


def test_corner_of_a_lap_is_two_parts():
    parts = strip_parts(shapely.LineString([(0, 0), (0, 50), (50, 50)]))
    assert [len(part) for part in parts] == [2, 2]


def test_tightest_radius_of_a_circle():
    angle = np.linspace(0, np.pi, 12)
    circle = 8 * np.column_stack([np.cos(angle), np.sin(angle)])
    assert tightest_radius(circle) == pytest.approx(8.0)
    assert tightest_radius(circle[:2]) == math.inf
