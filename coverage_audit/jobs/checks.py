"""Checks of what a job file may say.

A *check* takes a value and the place it stands at ("job.toml, boom.width") and returns the
value in base units, or raises :class:`InputError`. A table of keys is itself a check, and so is
a list of one; ``list_of(table(...))`` is an array of tables.
"""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from typing import Any, TypeVar

from coverage_audit import units
from coverage_audit.errors import InputError
from coverage_audit.read import tolerances as tol_read
from coverage_audit.read.times import iso_moment

from . import tolerances as tol
from .settings import Amount

Check = Callable[[object, str], Any]


def nearest(word: str, known: Mapping[str, object] | list[str]) -> str:
    """Sentence naming the nearest known word, or all of them when none is near."""
    lower = {name.lower(): name for name in known}
    close = get_close_matches(word.lower(), lower, n=1, cutoff=0.5)
    return f'did you mean "{lower[close[0]]}"?' if close else f"known here: {', '.join(known)}"


def text(value: object, place: str) -> str:
    """Text on one line or more."""
    if not isinstance(value, str):
        raise InputError(f"{_kind(value)} stands where text in quotes is wanted", place)
    if len(value) > tol.MAX_TEXT_CHARACTERS:
        raise InputError(
            f"this text has {len(value)} characters; shorten it to at most {tol.MAX_TEXT_CHARACTERS}", place
        )
    return value


def path(value: object, place: str) -> str:
    """File name: text that is not blank."""
    name = text(value, place)
    if not name.strip() or "\0" in name:
        raise InputError("the file name is blank; write the name of a file", place)
    return name


def boolean(value: object, place: str) -> bool:
    """Check for ``true`` or ``false``."""
    if not isinstance(value, bool):
        raise InputError(f"{_kind(value)} stands where true or false (without quotes) is wanted", place)
    return value


def whole(maximum: int, *, least: int = 1) -> Check:
    """Whole number from *least* to *maximum*."""

    def check(value: object, place: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise InputError(f"{_kind(value)} stands where a whole number without quotes is wanted", place)
        if not least <= value <= maximum:
            raise InputError(f"{value} is out of range; it must be from {least} to {maximum}", place)
        return value

    return check


def quantity(table: dict[str, float], *, least: float = 0.0, most: float, above: bool = False) -> Check:
    """Quantity such as "9 m" in the base unit of *table*, between *least* and *most*."""

    def check(value: object, place: str) -> float:
        return units.parse_quantity(value, table, place, minimum=least, maximum=most, above=above)

    return check


def choice(*words: str) -> Check:
    """One of *words*."""

    def check(value: object, place: str) -> str:
        word = text(value, place)
        if word not in words:
            raise InputError(f'"{word}" is not one of {", ".join(words)}', place)
        return word

    return check


def timezone(value: object, place: str) -> str:
    """IANA name of a time zone that is known here."""
    name = text(value, place)
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        close = _zone_like(name)
        hint = f'did you mean "{close}"?' if close else 'write one such as "America/Denver" or "UTC"'
        raise InputError(f'"{name}" is not the name of a time zone; {hint}', place) from error
    return name


def _zone_like(name: str) -> str:
    """Zone whose town is nearly that of *name*; "" where none is: a town far off would be worse than no hint."""
    zones = sorted(zoneinfo.available_timezones())
    towns = {zone: zone.rpartition("/")[2].lower() for zone in zones}
    near = get_close_matches(name.rpartition("/")[2].lower().replace(" ", "_"), towns.values(), n=1, cutoff=0.8)
    close = get_close_matches(name, [zone for zone in zones if towns[zone] in near], n=1, cutoff=0.0)
    return close[0] if close else ""


def date(value: object, place: str) -> dt.date:
    """Date, as TOML has it or in quotes as YYYY-MM-DD."""
    if isinstance(value, str):
        try:
            value = dt.date.fromisoformat(value)
        except ValueError as error:
            raise InputError(f'"{value}" is not a date; write it as 2026-05-30', place) from error
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        raise InputError(f"{_kind(value)} stands where a date is wanted; write it as 2026-05-30", place)
    return _in_calendar(value, place)


_Date = TypeVar("_Date", bound=dt.date)


def _in_calendar(value: _Date, place: str) -> _Date:
    """*value*, when days and time zones can be added to it and a log can have been made then."""
    if not tol_read.FIRST_YEAR <= value.year <= tol_read.LAST_YEAR:
        raise InputError(
            f"{value} is out of range; the year must be {tol_read.FIRST_YEAR} to {tol_read.LAST_YEAR}", place
        )
    return value


def list_of(item: Check, *, most: int = 1000) -> Check:
    """List of at least one *item*; the place counts from 1."""

    def check(value: object, place: str) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise InputError(f"{_kind(value)} stands where a list in [ ] is wanted", place)
        if not 1 <= len(value) <= most:
            raise InputError(f"the list has {len(value)} entries; it must have 1 to {most}", place)
        return tuple(item(entry, f"{place}[{number}]") for number, entry in enumerate(value, 1))

    return check


def one_or_list(item: Check, *, empty: bool = False) -> Check:
    """One *item* or a list of them; always returns a tuple."""
    several = list_of(item)

    def check(value: object, place: str) -> tuple[Any, ...]:
        if not isinstance(value, list):
            return (item(value, place),)
        return () if empty and not value else several(value, place)

    return check


def table(keys: Mapping[str, Check], *, required: tuple[str, ...] = ()) -> Check:
    """Table with these *keys* and no other."""

    def check(value: object, place: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise InputError(f"{_kind(value)} stands where a table is wanted", place)
        inside = place + ("." if ", " in place else ", ")
        for key in value:
            if key not in keys:
                raise InputError(f"there is no such key; {nearest(key, keys)}", inside + key)
        for key in required:
            if key not in value:
                raise InputError("this is missing; the audit cannot do without it", inside + key)
        return {key: keys[key](entry, inside + key) for key, entry in value.items()}

    return check


def _kind(value: object) -> str:
    """Say what *value* is."""
    if isinstance(value, bool):
        return f"{str(value).lower()}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, str):
        return f'the text "{value}"'
    return f"{value}"


def moment(value: object, place: str) -> float:
    """Date and time, as TOML has it or in quotes as ISO 8601; UTC when no zone is written. [s since 1970]"""
    if isinstance(value, str):
        value = _moment(value, place)
    if not isinstance(value, dt.datetime):
        raise InputError(f"{_kind(value)} stands where a date with a time is wanted", place)
    found = _in_calendar(value, place)
    return (found if found.tzinfo else found.replace(tzinfo=dt.UTC)).timestamp()


def _moment(value: str, place: str) -> dt.datetime:
    try:
        found = iso_moment(value)
    except ValueError:
        found = None
    if found is None:
        raise InputError(f'"{value}" is not a date with a time; write it as 2026-05-30T14:10:00Z', place)
    return found


def product_amount(*, per_mix: bool) -> Check:
    """Amount of product per area (and, with *per_mix*, per volume of mix): "32 oz/ac", "1.6 oz/gal"."""
    tables = [("ha", kind, table) for kind, table in units.PRODUCT_PER_HA.items()]
    tables += [("L", kind, table) for kind, table in units.PRODUCT_PER_L.items()] if per_mix else []
    merged = {unit: size for _, _, table in tables for unit, size in table.items()}

    def check(value: object, place: str) -> Amount:
        number = units.parse_quantity(value, merged, place, maximum=tol.MAX_PRODUCT_HA, above=True)
        unit = units.number_and_unit(str(value))[1]
        per, kind = next((per, kind) for per, kind, table in tables if unit in table)
        return Amount(number, kind, per, unit, merged[unit])

    return check


def local_moment(value: object, place: str) -> dt.datetime | dt.time:
    """Local time of day, with or without a date: "07:02", "2026-05-30 07:02:15", or as TOML has them."""
    if isinstance(value, str):
        value = _local_moment(value, place)
    if isinstance(value, dt.time):
        return value
    if not isinstance(value, dt.datetime):
        raise InputError(f'{_kind(value)} stands where a time is wanted; write it as "07:02"', place)
    return _in_calendar(value, place)


def _local_moment(value: str, place: str) -> dt.datetime | dt.time:
    for kind in (dt.time, dt.datetime):
        try:
            if ":" in value:  # "07" alone is a time to Python and a slip to a person
                return kind.fromisoformat(value.strip())
        except ValueError:
            continue
    raise InputError(f'"{value}" is no time; write it as "07:02" or, with its date, "2026-05-30 07:02"', place)


def named(item: Check) -> Check:
    """Table whose keys are names that the person chose, each an *item*."""

    def check(value: object, place: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise InputError(f"{_kind(value)} stands where a table is wanted", place)
        inside = place + ("." if ", " in place else ", ")
        for name in value:
            if not name.strip():
                raise InputError("the name is blank; give it one", inside + name)
        return {name: item(entry, inside + name) for name, entry in value.items()}

    return check
