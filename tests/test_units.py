"""The unit table against outside tables, and quantities written as text."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj.database import get_units_map

from coverage_audit import units
from coverage_audit.errors import InputError

TABLES = [
    units.LENGTH_M,
    units.TIME_S,
    units.VOLUME_L,
    units.MASS_KG,
    units.AREA_M2,
    units.PRESSURE_BAR,
    units.SPEED_M_S,
    units.DURATION_DAYS,
    units.FLOW_L_MIN,
    units.RATE_L_HA,
    units.MASS_RATE_KG_HA,
]


@pytest.mark.parametrize(
    ("unit", "epsg_name"),
    [
        ("m", "metre"),
        ("cm", "centimetre"),
        ("mm", "millimetre"),
        ("ft", "foot"),
        ("in", "inch"),
        ("km", "kilometre"),
        ("mi", "Statute mile"),
    ],
)
def test_lengths_are_those_of_the_epsg_registry(unit, epsg_name):
    """Source: EPSG geodetic registry through pyproj; these conversions are exact, so are the floats to 1 ulp."""
    assert units.LENGTH_M[unit] == pytest.approx(get_units_map(category="linear")[epsg_name].conv_factor, rel=2e-16)


def test_knot_is_the_registry_nautical_mile_in_an_hour():
    nautical_mile_m = get_units_map(category="linear")["nautical mile"].conv_factor
    assert nautical_mile_m / units.TIME_S["h"] == units.KNOT_M_S


def test_acre_is_a_chain_by_a_furlong():
    """43 560 ft2 = 4 046.8564224 m2: exact definition (NIST Handbook 44 App. C, from memory)."""
    assert pytest.approx(43_560 * 0.3048**2, rel=4e-16) == units.ACRE_M2
    # rod and chain from the EPSG registry's statute mile: 1 mile = 80 chains, 1 acre = 10 square chains
    chain_m = get_units_map(category="linear")["Statute mile"].conv_factor / 80
    assert pytest.approx(10 * chain_m**2, rel=4e-16) == units.ACRE_M2


def test_quarter_section_is_160_acres():
    """2 640 ft square = 647 497.027584 m2 = 160 ac (computed from the exact foot)."""
    side_m = units.parse_quantity("2640 ft", units.LENGTH_M, "side")
    assert side_m**2 == pytest.approx(647_497.027584, rel=1e-12)
    assert side_m**2 / units.ACRE_M2 == pytest.approx(160.0, rel=1e-12)


def test_us_gallon_is_231_cubic_inches():
    """Exact definition (NIST Handbook 44 App. C, from memory); litres hold 1 000 cm3."""
    assert pytest.approx(231 * 2.54**3 / 1000, rel=4e-16) == units.VOLUME_L["gal"]
    assert units.VOLUME_L["oz"] * 128 == pytest.approx(units.VOLUME_L["gal"], rel=4e-16)
    assert units.VOLUME_L["imp gal"] == 4.54609  # exact, Weights and Measures Act 1985 (from memory)


def test_psi_follows_from_pound_inch_and_standard_gravity():
    """1 psi = 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)2, all exact (from memory); 1 bar = 100 kPa."""
    assert pytest.approx(0.45359237 * 9.80665 / 0.0254**2 / 1e5, rel=1e-14) == units.PRESSURE_BAR["psi"]
    # and so the pound and the inch of this table are those
    assert pytest.approx(units.PRESSURE_BAR["psi"] * 1e5 / 9.80665 * units.INCH_M**2, rel=1e-14) == units.MASS_KG["lb"]


def test_us_rate_in_litres_a_hectare():
    """1 gal/ac = 9.353956 L/ha (exact from the definitions, to the 7 figures printed)."""
    assert units.RATE_L_HA["gal/ac"] == pytest.approx(9.353956, abs=5e-7)


def test_gallon_kinds_differ_as_in_the_table():
    """L/ha x 0.106907 = US gpa, x 0.089018 = imperial gpa, x 0.404686 = L/ac (computed from the definitions)."""
    assert 1 / units.RATE_L_HA["gal/ac"] == pytest.approx(0.106907, abs=5e-7)
    assert 1 / units.RATE_L_HA["imp gal/ac"] == pytest.approx(0.089018, abs=5e-7)
    assert 1 / units.RATE_L_HA["L/ac"] == pytest.approx(0.404686, abs=5e-7)


def _rate_l_ha(flow, speed, width):
    """Litres a hectare of a flow, a speed and a width, all as text."""
    flow_l_min = units.parse_quantity(flow, units.FLOW_L_MIN, "flow")
    speed_m_s = units.parse_quantity(speed, units.SPEED_M_S, "speed")
    width_m = units.parse_quantity(width, units.LENGTH_M, "width")
    return flow_l_min / 60 / (speed_m_s * width_m) * units.HECTARE_M2


@pytest.mark.parametrize(
    ("flow", "speed", "width", "published", "unit", "within"),
    [
        # Albany County (WY) Weed & Pest, "Calibrating your sprayer": 20 gpa; 20.068 unrounded
        ("480 oz/min", "5 mph", "222 in", 20.068, "gal/ac", 5e-4),
        # Oklahoma State Univ. turf fact sheet: the page prints 88 gpa, its own figures give 86.80 (0.789 gpm)
        ("101 oz/min", "3 mph", "18 in", 86.80, "gal/ac", 5e-3),
        # Countryco Training (AU), "Useful Tools": 24 L/min, 200 m/min = 12 km/h, 12 m: 100 L/ha
        ("24 L/min", "12 km/h", "12 m", 100.0, "L/ha", 1e-9),
        # Alberta Agriculture, Agdex 606-1, p. 11: 0.75 L/min, 9 km/h (0.50 m implied): 100 L/ha = 40.47 L/ac
        ("0.75 L/min", "9 km/h", "0.50 m", 40.47, "L/ac", 5e-3),
    ],
)
def test_published_calibrations(flow, speed, width, published, unit, within):
    rate = _rate_l_ha(flow, speed, width) / units.RATE_L_HA[unit]
    assert rate == pytest.approx(published, abs=within)


def test_calibration_constants_of_the_trade():
    """5 940 and 495 (Mesa County CO; UF/IFAS WG013; Univ. Missouri G1270a) and 600: exact by the definitions."""
    assert _rate_l_ha("1 gal/min", "1 mph", "1 in") / units.RATE_L_HA["gal/ac"] == pytest.approx(5940, rel=1e-12)
    assert _rate_l_ha("1 gal/min", "1 mph", "1 ft") / units.RATE_L_HA["gal/ac"] == pytest.approx(495, rel=1e-12)
    assert _rate_l_ha("1 L/min", "1 km/h", "1 m") == pytest.approx(600, rel=1e-12)


def test_one_mile_an_hour_is_88_feet_a_minute():
    """Exact: 5 280 ft / 60 min (also Oklahoma State turf page and Univ. Wisconsin slides, as 0.6818)."""
    assert units.SPEED_M_S["mph"] * 60 / units.FOOT_M == pytest.approx(88, rel=1e-14)


# --- quantities as text -------------------------------------------------------------------


@given(
    st.sampled_from(TABLES).flatmap(lambda table: st.tuples(st.just(table), st.sampled_from(sorted(table)))),
    st.floats(0, 1e9, allow_nan=False),
    st.sampled_from(["", " ", "  "]),
)
def test_what_is_written_is_what_is_read(table_unit, number, space):
    table, unit = table_unit
    assert units.parse_quantity(f"{number!r}{space}{unit}", table, "key") == number * table[unit]


@given(st.text(max_size=30))
def test_any_text_is_a_finite_number_or_an_input_error(text):
    try:
        value = units.parse_quantity(text, units.LENGTH_M, "key")
    except InputError as error:
        assert error.place == "key"  # noqa: PT017 - either outcome is right, each with its own condition
    else:
        assert math.isfinite(value)
        assert value >= 0


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("9", "has no unit"),
        ("9 furlong", "furlong"),
        ("9 L", "does not fit here"),
        ("nan m", "plain number"),
        ("inf m", "plain number"),
        ("1e400 m", "out of range"),
        ("-1 m", "out of range"),
        ("9,5 m", "decimal comma"),
        ("9 metres", 'write it as "9 m"'),
        ("", "plain number"),
        (9, "not a quantity"),
        (True, "not a quantity"),
        (None, "not a quantity"),
        (["9 m"], "not a quantity"),
    ],
)
def test_what_is_no_length_is_refused_with_a_reason(value, said):
    with pytest.raises(InputError, match=said) as caught:
        units.parse_quantity(value, units.LENGTH_M, "job.toml, boom.width")
    assert str(caught.value).startswith("job.toml, boom.width: ")


def test_gallons_and_ounces_are_us_unless_imperial_is_said():
    assert units.parse_quantity("1 gal", units.VOLUME_L, "key") == 3.785411784
    assert units.parse_quantity("1 imp gal", units.VOLUME_L, "key") == 4.54609
    assert units.parse_quantity("1 oz", units.VOLUME_L, "key") == pytest.approx(0.0295735295625, rel=1e-15)
