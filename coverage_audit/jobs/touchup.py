"""[touchup] of the job file: its keys, and their values as settings."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from coverage_audit import units
from coverage_audit.errors import InputError

from . import tolerances as tol
from .checks import quantity
from .rows import PAIR, Key, Table, keys
from .settings import TouchupSettings

if TYPE_CHECKING:
    from .checks import Check

_MONEY_AREA = {f"/{unit}": 1 / size for unit, size in units.AREA_M2.items()}
_MONEY_TIME = {f"/{unit}": 1 / size for unit, size in units.TIME_S.items()}
_MONEY_VOLUME = {f"/{unit}": 1 / size for unit, size in units.VOLUME_L.items()}
_WORK_M2_S = {f"{area}/{unit}": m2 / s for area, m2 in units.AREA_M2.items() for unit, s in units.TIME_S.items()}
_SHARE = {"%": 0.01}
_CURRENCY = re.compile(r"[^\d\s.+-]{0,3} ?([+-]?[\d.]+(?:[eE][+-]?\d+)?) ?(?:[^\d\s/]{1,3})? ?(/.*)")
"""A number with or without a currency sign or code, then what it is per; the currency is the person's own."""


def _money(table: dict[str, float]) -> Check:
    """Money per something, such as "450 /ha" or "$30/h"."""
    plain = quantity(table, most=tol.MAX_MONEY)

    def check(value: object, place: str) -> float:
        match = None
        if isinstance(value, str):
            units.refuse_long(value, place)
            match = _CURRENCY.fullmatch(" ".join(value.split()))
        per = match[2].replace(" ", "") if match and "imp" not in match[2] else match[2] if match else ""
        return float(plain(f"{match[1]} {per}" if match else value, place))

    return check


def _either(first: tuple[str, Check], second: tuple[str, Check], first_table: dict[str, float]) -> Check:
    """A quantity of one of two kinds, told apart by its unit; returns the field it fills, and the value."""

    def check(value: object, place: str) -> tuple[str, float]:
        unit = units.number_and_unit(value)[1] if isinstance(value, str) else ""
        name, chosen = first if unit in first_table else second
        return name, chosen(value, place)

    return check


def _entry(value: object, place: str) -> tuple[float, float]:
    """Latitude and longitude in degrees: "43.6021, -116.2034", or a list of the two."""
    parts = value.split(",") if isinstance(value, str) else value
    if not isinstance(parts, list) or len(parts) != 2:
        raise InputError('this is not a place; write latitude and longitude as "43.6021, -116.2034"', place)
    try:
        lat, lon = (float(part) for part in parts)
    except (TypeError, ValueError, OverflowError) as error:
        raise InputError(
            'this is not a place in degrees; write latitude and longitude as "43.6021, -116.2034"', place
        ) from error
    if not (abs(lat) <= 90 and abs(lon) <= 180):
        raise InputError(f"{lat:g}, {lon:g} lies nowhere; latitude comes first and is at most 90", place)
    return lat, lon


_MIX_RATE = quantity(units.RATE_L_HA, most=tol.MAX_RATE_L_HA, above=True)
_WORK = quantity(_WORK_M2_S, most=tol.MAX_SPOT_M2_S, above=True)
_RADIUS = quantity(units.LENGTH_M, most=tol.MAX_RADIUS_M, above=True)
_SPEED = quantity(units.SPEED_M_S, most=tol.MAX_SPEED_M_S, above=True)
_SETUP = quantity(units.TIME_S, most=tol.MAX_TIME_S)
_SPOT = _either(("spot_m2_s", _WORK), ("spot_rate_l_ha", _MIX_RATE), _WORK_M2_S)
_RESERVE = _either(
    ("reserve_share", quantity(_SHARE, most=10.0)),
    ("reserve_l", quantity(units.VOLUME_L, most=tol.MAX_APPLIED_L)),
    _SHARE,
)

TOUCHUP = keys(
    Key("value", _money(_MONEY_AREA), "what clean ground is worth to you", "value_m2", "money/m2", "500 /ha"),
    Key("labour", _money(_MONEY_TIME), "what an hour of work costs", "labour_s", "money/s", "30 /h"),
    Key("mix_cost", _money(_MONEY_VOLUME), "what the mix costs", "mix_cost_l", "money/L", "0.30 /L"),
    # an area per time is taken as spot_work
    Key("spot_rate", _SPOT, "mix that the hand wand puts down", PAIR, "L/ha", "as the boom"),
    Key("spot_work", _WORK, "ground that one person does with the wand", "spot_m2_s", "m2/s", "900 m2/h"),
    Key("turning_radius", _RADIUS, "the tightest turn of the machine", "turning_radius_m", "m", "5 m"),
    Key(
        "entry",
        _entry,
        "latitude and longitude where the way starts",
        "entry_deg",
        "deg",
        "where the field was entered",
    ),
    Key("reserve", _RESERVE, "mix made beyond what is needed, a share or a volume", PAIR, "%", "10 %"),
    Key("speed", _SPEED, "speed of the touch-up", "speed_m_s", "m/s", "the job's mean speed while spraying"),
    Key("setup", _SETUP, "getting ready and cleaning up, once for the trip", "setup_s", "s"),
)
"""Every key of [touchup]; the defaults that are figures are those of ``touchup.tolerances``."""

TABLE = Table(TOUCHUP, TouchupSettings)
