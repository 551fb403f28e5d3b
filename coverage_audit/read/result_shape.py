"""What a comparison relies on in the papers of an audit: keys with checks of their values.

A check takes a value and where it stands, and raises :class:`InputError` when it is not what an
audit writes: papers lie in the open, and anything may have been done to them.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from contextlib import suppress
from typing import TYPE_CHECKING, Any, NoReturn

import shapely
import shapely.geometry

from coverage_audit.errors import InputError

from .tolerances import LARGEST_FIGURE

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from shapely.geometry.base import BaseGeometry

    Check = Callable[[Any, str], object]

_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,9})?Z")


def _damaged(what: str, place: str) -> NoReturn:
    raise InputError(f"{what}; run coverage-audit check on the job again", place)


def _text(value: object, place: str) -> None:
    if not isinstance(value, str):
        _damaged("text is wanted here", place)


def _time(value: object, place: str) -> None:
    if isinstance(value, str) and _TIME.fullmatch(value):
        with suppress(ValueError):  # not in the calendar
            dt.datetime.fromisoformat(value[:19])
            return
    _damaged("a UTC time is wanted here", place)


def _units(value: object, place: str) -> None:
    if value not in (None, "metric", "us"):
        _damaged("metric or us is wanted here", place)


def _number(value: object, place: str) -> None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value <= LARGEST_FIGURE:
        _damaged("a number that is not negative is wanted here", place)


def _any_number(value: object, place: str) -> None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= LARGEST_FIGURE:
        _damaged("a number is wanted here", place)


def _or_null(check: Check) -> Check:
    return lambda value, place: None if value is None else check(value, place)


def _list(check: Check) -> Check:
    def every(value: object, place: str) -> None:
        if not isinstance(value, list):
            _damaged("a list is wanted here", place)
        for number, one in enumerate(value, 1):
            check(one, f"{place}[{number}]")

    return every


def _table(needed: Mapping[str, Check], maybe: Mapping[str, Check] | None = None) -> Check:
    def check(value: object, place: str) -> None:
        if not isinstance(value, dict):
            _damaged("a table is wanted here", place)
        for key, one in needed.items():
            if key not in value:
                _damaged(f'"{key}" is missing', place)
            one(value[key], f"{place}, {key}")
        for key, one in (maybe or {}).items():
            if key in value:
                one(value[key], f"{place}, {key}")

    return check


def lies_somewhere(shape: BaseGeometry) -> bool:
    """Whether a saved shape in degrees is empty, or lies on the globe."""
    west, south, east, north = shape.bounds
    on_globe = -180 <= west <= east <= 180 and -90 <= south <= north <= 90
    return shape.is_empty or (on_globe and math.isfinite(shape.length))


def _geometry(value: object, place: str) -> None:
    try:
        somewhere = lies_somewhere(shapely.geometry.shape(value))
    except (TypeError, ValueError, OverflowError, KeyError, IndexError, AttributeError, shapely.errors.ShapelyError):
        _damaged("this is no shape with a place", place)
    if not somewhere:
        _damaged("this shape lies nowhere", place)


_AREAS = ("covered", "missed", "double", "outside", "excluded_sprayed", "swept", "swept_net", "reswept", "proven")
_STEERING = ("cross_track_rms_m", "spacing_mean_m", "spacing_sd_m", "pass_to_pass_sd_m", "long_term_sd_m", "noise_m")
_PIECE = _table({"start": _time, "length_m": _number, "missed_m2": _number, "double_m2": _number},
                {"outside_m2": _number})  # fmt: skip
_PASS = _table(
    {
        "kind": _text,
        "start": _time,
        "length_m": _number,
        "missed_m2": _number,
        "double_m2": _number,
        **dict.fromkeys(("mean_speed_m_s", "on_s", "on_m"), _or_null(_number)),
    },
    {
        **dict.fromkeys(("spacing_mean_m", "spacing_sd_m"), _or_null(_number)),
        "outside_m2": _number,
        "cross_track_m": _or_null(_table({"rms": _number})),
        "pieces": _list(_PIECE),
    },
)

SUMMARY_SHAPE = _table(
    {
        "job": _table(
            {"name": _text, "start": _time, "end": _time}, {"units": _units, "fields": _or_null(_list(_text))}
        ),
        "area_m2": _table({"target": _number}, dict.fromkeys(_AREAS, _or_null(_number))),
        "time_s": _table(dict.fromkeys(("on", "off", "gap"), _number)),
        "volume_l": _table({"applied": _or_null(_number)}),
        "steering": _or_null(_table({}, dict.fromkeys(_STEERING, _or_null(_any_number)))),
        "passes": _or_null(_list(_PASS)),
    },
    {"boom_m": _or_null(_number)},
)
"""Of ``summary.json``."""

FEATURES_SHAPE = _table({"features": _list(_table({"properties": _table({}), "geometry": _geometry}))})
"""Of ``findings.geojson`` and ``passes.geojson``."""
