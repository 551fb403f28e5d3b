"""[touchup] of the job file: checks of its keys, and their values as settings."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from coverage_audit import units
from coverage_audit.errors import InputError

from . import tolerances as tol
from .settings import TouchupSettings

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Mapping

    Check = Callable[[object, str], Any]

_MONEY_AREA = {f"/{unit}": 1 / size for unit, size in units.AREA_M2.items()}
_MONEY_TIME = {f"/{unit}": 1 / size for unit, size in units.TIME_S.items()}
_MONEY_VOLUME = {f"/{unit}": 1 / size for unit, size in units.VOLUME_L.items()}
_WORK_M2_S = {f"{area}/{unit}": m2 / s for area, m2 in units.AREA_M2.items() for unit, s in units.TIME_S.items()}
_SHARE = {"%": 0.01}
_CURRENCY = re.compile(r"[^\d\s.+-]{0,3} ?([+-]?[\d.]+(?:[eE][+-]?\d+)?) ?(?:[^\d\s/]{1,3})? ?(/.*)")
"""A number with or without a currency sign or code, then what it is per; the currency is the person's own."""


def _quantity(table: Mapping[str, float], most: float, *, above: bool = False) -> Check:
    def check(value: object, place: str) -> float:
        return units.parse_quantity(value, dict(table), place, maximum=most, above=above)

    return check


def _money(table: Mapping[str, float]) -> Check:
    """Money per something, such as "450 /ha" or "$30/h"."""
    plain = _quantity(table, tol.MAX_MONEY)

    def check(value: object, place: str) -> float:
        match = None
        if isinstance(value, str):
            units.refuse_long(value, place)
            match = _CURRENCY.fullmatch(" ".join(value.split()))
        per = match[2].replace(" ", "") if match and "imp" not in match[2] else match[2] if match else ""
        return float(plain(f"{match[1]} {per}" if match else value, place))

    return check


def _either(first: tuple[str, Check], second: tuple[str, Check], first_table: Mapping[str, float]) -> Check:
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


_MIX_RATE = _quantity(units.RATE_L_HA, tol.MAX_RATE_L_HA, above=True)
_WORK = _quantity(_WORK_M2_S, tol.MAX_SPOT_M2_S, above=True)

TOUCHUP: dict[str, Check] = {
    "value": _money(_MONEY_AREA),
    "labour": _money(_MONEY_TIME),
    "mix_cost": _money(_MONEY_VOLUME),
    "spot_rate": _either(("spot_m2_s", _WORK), ("spot_rate_l_ha", _MIX_RATE), _WORK_M2_S),
    "spot_work": _WORK,
    "turning_radius": _quantity(units.LENGTH_M, tol.MAX_RADIUS_M, above=True),
    "entry": _entry,
    "reserve": _either(
        ("reserve_share", _quantity(_SHARE, 10.0)), ("reserve_l", _quantity(units.VOLUME_L, tol.MAX_APPLIED_L)), _SHARE
    ),
    "speed": _quantity(units.SPEED_M_S, tol.MAX_SPEED_M_S, above=True),
    "setup": _quantity(units.TIME_S, tol.MAX_TIME_S),
}
"""Every key of [touchup]. ``spot_rate`` is mix per area; an area per time is taken as ``spot_work``."""

_FIELDS = {
    "value": "value_m2",
    "labour": "labour_s",
    "mix_cost": "mix_cost_l",
    "spot_work": "spot_m2_s",
    "turning_radius": "turning_radius_m",
    "entry": "entry_deg",
    "speed": "speed_m_s",
    "setup": "setup_s",
}


def touchup_settings(values: Mapping[str, Any], planned_cut: dt.date | None) -> TouchupSettings:
    """[touchup] and ``job.planned_cut`` as settings."""
    fields: dict[str, Any] = {_FIELDS[key]: value for key, value in values.items() if key in _FIELDS}
    fields |= dict(values[key] for key in ("spot_rate", "reserve") if key in values)
    return TouchupSettings(**fields, planned_cut=planned_cut)
