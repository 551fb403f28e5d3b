"""Exact unit conversions, and quantities written as text ("9 m", "12 gal/ac").

Everything inside the package is in SI units or in the units that a field name
ends with (``flow_l_min``, ``rate_l_ha``); this module is the door.
The constants are exact by definition: NIST Handbook 44, Appendix C (from memory);
``tests/test_units.py`` compares them with pyproj's own unit table where it has them.
"""

from __future__ import annotations

import math
import re

from .errors import InputError

MAX_QUANTITY_CHARACTERS = 100
"""Longest quantity, price or place as text: a number of 17 digits, a unit and blanks need far less. [1]"""

FOOT_M = 0.3048
INCH_M = 0.0254
MILE_M = 1609.344
ACRE_M2 = 4046.8564224
HECTARE_M2 = 10_000.0
US_GALLON_L = 3.785411784
US_FLUID_OUNCE_L = US_GALLON_L / 128
IMPERIAL_GALLON_L = 4.54609
POUND_KG = 0.45359237
PSI_BAR = 0.0689475729316836
KNOT_M_S = 1852 / 3600
MPH_M_S = MILE_M / 3600
DAY_S = 86_400.0

LENGTH_M = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": FOOT_M, "in": INCH_M, "km": 1000.0, "mi": MILE_M}
TIME_S = {"s": 1.0, "min": 60.0, "h": 3600.0}
VOLUME_L = {
    "L": 1.0,
    "mL": 0.001,
    "gal": US_GALLON_L,
    "qt": US_GALLON_L / 4,
    "pt": US_GALLON_L / 8,
    "oz": US_FLUID_OUNCE_L,
    "imp gal": IMPERIAL_GALLON_L,
}
MASS_KG = {"kg": 1.0, "g": 0.001, "lb": POUND_KG}
AREA_M2 = {"m2": 1.0, "ha": HECTARE_M2, "ac": ACRE_M2}
PRESSURE_BAR = {"bar": 1.0, "kPa": 0.01, "psi": PSI_BAR}
SPEED_M_S = {"m/s": 1.0, "km/h": 1 / 3.6, "mph": MPH_M_S}
DURATION_DAYS = {"days": 1.0, "day": 1.0}
INTERVAL_DAYS = {**DURATION_DAYS, "h": 1 / 24}
FLOW_L_MIN = {f"{unit}/min": litres for unit, litres in VOLUME_L.items()}
RATE_L_HA = {
    f"{unit}/{area}": litres * HECTARE_M2 / AREA_M2[area] for unit, litres in VOLUME_L.items() for area in ("ha", "ac")
}
MASS_RATE_KG_HA = {
    f"{unit}/{area}": kilos * HECTARE_M2 / AREA_M2[area] for unit, kilos in MASS_KG.items() for area in ("ha", "ac")
}

USUAL_SPELLINGS = {
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("foot", "feet", "'"), "ft"),
    **dict.fromkeys(("inch", "inches", '"'), "in"),
    **dict.fromkeys(("mile", "miles"), "mi"),
    **dict.fromkeys(("sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("hour", "hours", "hr", "hrs"), "h"),
    **dict.fromkeys(("gpa", "gal/acre", "gallons/acre"), "gal/ac"),
    **dict.fromkeys(("gpm", "gallons/min"), "gal/min"),
    **dict.fromkeys(("l", "litre", "litres", "liter", "liters"), "L"),
    **dict.fromkeys(("gallon", "gallons", "gals"), "gal"),
    **dict.fromkeys(("fl oz", "ounce", "ounces"), "oz"),
    "l/min": "L/min",
    "lpm": "L/min",
    "l/ha": "L/ha",
    "bars": "bar",
    "kpa": "kPa",
    "acre": "ac",
    "acres": "ac",
    "hectare": "ha",
    "hectares": "ha",
}
"""Other spellings that people write, to tell them the one that is read."""

PRODUCT_PER_HA = {"L": RATE_L_HA, "kg": MASS_RATE_KG_HA}
PRODUCT_PER_L = {
    kind: {
        f"{unit}/{many}{mix}": size / (litres * (float(many) if many else 1.0))
        for unit, size in sizes.items()
        for mix, litres in VOLUME_L.items()
        for many in ("", "100 ")
    }
    for kind, sizes in (("L", VOLUME_L), ("kg", MASS_KG))
}
"""Product per litre of mix, by L or kg: "1.6 oz/gal", "200 mL/100 L"."""

_NUMBER = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)(.*)", re.DOTALL)


def number_and_unit(text: str) -> tuple[str, str]:
    """Number and unit of a quantity such as "9 m", as they were written; ("", "") when it starts with no number."""
    match = _NUMBER.match(text.strip())
    return (match[1], match[2].strip()) if match else ("", "")


def refuse_long(text: str, place: str) -> None:
    """Raise when *text* is longer than any quantity is."""
    if len(text) > MAX_QUANTITY_CHARACTERS:
        raise InputError(
            f"this has {len(text)} characters, more than any number with its unit; shorten it to at most "
            f"{MAX_QUANTITY_CHARACTERS}",
            place,
        )


def parse_quantity(
    text: object,
    table: dict[str, float],
    place: str,
    *,
    minimum: float = 0.0,
    maximum: float = math.inf,
    above: bool = False,
) -> float:
    """Number of base units that *text* ("9 m", "30ft") states.

    Parameters
    ----------
    text : object
        The value as read from a job file or the command line.
    table : dict of str to float
        Unit name to number of base units: one of the tables of this module.
    place : str
        Job-file key or option, for the message.
    minimum, maximum : float
        Least and greatest allowed value. [base units]
    above : bool
        Whether *minimum* itself is refused.

    Raises
    ------
    InputError
        Not text, no number, no unit, an unknown unit, not finite, or out of range.
    """
    wanted = ", ".join(table)
    if not isinstance(text, str):
        raise InputError(f"{text!r} is not a quantity; write a number and a unit in quotes (units: {wanted})", place)
    refuse_long(text, place)
    digits, unit = number_and_unit(text)
    if not digits:
        raise InputError(
            f'"{text}" does not start with a plain number; write for example "9 {next(iter(table))}"', place
        )
    if unit.startswith(",") and unit[1:2].isdigit():
        raise InputError(f'"{text}" has a decimal comma; write the decimal point as a dot', place)
    meant = USUAL_SPELLINGS.get(unit.casefold().rstrip("."))
    if unit not in table and meant in table:
        raise InputError(f'"{text}" has the unit "{unit}"; write it as "{digits} {meant}"', place)
    if unit not in table:
        problem = "has no unit" if not unit else f'has the unit "{unit}", which does not fit here'
        raise InputError(f'"{text}" {problem}; use one of: {wanted}', place)
    value = float(digits) * table[unit]
    if not math.isfinite(value) or value < minimum or value > maximum or (above and value == minimum):
        base, factor = next(((name, one) for name, one in table.items() if one == 1.0), next(iter(table.items())))
        bound = f"more than {minimum / factor:g}" if above else f"at least {minimum / factor:g}"
        limit = f" and at most {maximum / factor:g}" if math.isfinite(maximum) else ""
        raise InputError(f'"{text}" is out of range; it must be {bound}{limit} {base}', place)
    return value
