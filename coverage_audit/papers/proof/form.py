"""The form of a record, member by member: whatever is not of it does not hold, whoever signed it."""

from __future__ import annotations

import datetime as dt
import re
from itertools import islice
from typing import TYPE_CHECKING, Any

from coverage_audit.papers.application.laws import EU, US
from coverage_audit.papers.words.safe import one_line

from .figures import FORMS
from .record import LIBRARIES, PLACES, SCHEMA
from .rests import FROM_FIGURES, QUANTITY, RESTS, SAYS
from .tolerances import LONGEST_NAME, LONGEST_TYPED, MAP_SIZE, MOST_MAP_POINTS, MOST_MAP_SHAPES, MOST_PRODUCTS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    Record = dict[str, Any]
    Check = Callable[[Any, str], Iterator[str]]

MOST_TOLD = 5
"""Faults of form that are told. [1]"""

LONGEST_OWN = 20_000
"""Letters of one text in the grower's own record: several names joined, a caution. [letters]"""

MOST_OWN = 100_000
"""Entries of one list in the grower's own record, such as the corners of the field. [1]"""

COPIES = ("buyer", "grower")


def form_faults(record: Record) -> list[str]:
    """What in *record* is not of the form that this program writes; the first few, in sentences."""
    check = _BUYER if record["copy"] == "buyer" else _GROWER
    found = list(islice(check(record, ""), MOST_TOLD))
    if not found and record["copy"] == "buyer":
        found = list(_buyer_faults(record))
    return [f"the record is not of the form that this program writes: {fault}" for fault in found]


def _buyer_faults(record: Record) -> Iterator[str]:
    """What no member shows alone."""
    if record["withheld"] != sorted(record["commitments"]):
        yield "withheld: not the parts that it is committed to"
    if len(record["rests"]) != 1 + len(record["later"]):
        yield "rests: not one entry for each job"
    drawing, place = record["map"], record["place"]
    if place != "exact" and (drawing["missed"] or drawing["outline"]):
        yield "map: more than its place allows"
    if len(drawing["outline"]) + sum(map(len, drawing["missed"])) > MOST_MAP_POINTS:
        yield f"map: more than {MOST_MAP_POINTS} corners"
    for name, figure in record["figures"].items():
        if (figure["unit"] == "ha") != (place != "exact" and FORMS[name].unit == "m2" and figure["value"] is not None):
            yield f"figures.{name}.unit: not the one of this place"


# --- checks: each yields what is wrong with a value at a place -------------------------------------


def _text(most: int) -> Check:
    def check(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401 - any JSON value
        if not isinstance(value, str):
            yield f"{place}: text is wanted"
        elif len(value) > most:
            yield f"{place}: {len(value)} letters, at most {most}"
        elif any("\ud800" <= letter <= "\udfff" for letter in value):
            yield f"{place}: half a letter"

    return check


def _like(pattern: str, *others: object) -> Check:
    """Text that *pattern* matches whole, or one of *others*."""
    wanted = re.compile(pattern)

    def check(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
        if not (isinstance(value, str) and wanted.fullmatch(value)) and not any(value is one for one in others):
            yield f"{place}: not of its form"

    return check


def _day(most: str) -> Check:
    """ISO 8601 date or moment with as many letters as *most* has, or what *most* stands for being not stated."""

    def check(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
        try:
            good = isinstance(value, str) and value.isascii() and len(value) == len(most)
            good = good and dt.datetime.fromisoformat(value).year > 0
        except ValueError:
            good = False
        if not good:
            yield f"{place}: a date is wanted"

    return check


def _members(wanted: dict[str, Check], optional: dict[str, Check] | None = None) -> Check:
    """An object that has all *wanted* members, perhaps *optional* ones, and no other."""
    known = {**wanted, **(optional or {})}

    def check(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
        if not isinstance(value, dict):
            yield f"{place or 'record'}: an object is wanted"
            return
        inside = f"{place}." if place else ""
        for key in sorted(set(value) - set(known)):
            yield f"{inside}{one_line(key, LONGEST_NAME, spelled=True)}: not a member of it"
        for key in sorted(set(wanted) - set(value)):
            yield f"{inside}{key}: missing"
        for key, one in known.items():
            if key in value:
                yield from one(value[key], f"{inside}{key}")

    return check


def _listed(one: Check, most: int) -> Check:
    def check(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
        if not isinstance(value, list):
            yield f"{place}: a list is wanted"
        elif len(value) > most:
            yield f"{place}: {len(value)} entries, at most {most}"
        else:
            for number, entry in enumerate(value):
                yield from one(entry, f"{place}[{number}]")

    return check


def _mapping(one: Check, most: int) -> Check:
    """An object of any names."""

    def check(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
        if not isinstance(value, dict):
            yield f"{place}: an object is wanted"
        elif len(value) > most:
            yield f"{place}: {len(value)} members, at most {most}"
        else:
            for key, entry in value.items():
                yield from _NAME(key, f"{place}: name of a member")
                yield from one(entry, f"{place}.{one_line(key, LONGEST_NAME, spelled=True)}")

    return check


def _corner(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    good = isinstance(value, list) and len(value) == 2
    # "type" and not "isinstance": true and false count as whole numbers there
    if not good or any(type(one) is not int or not 0 <= one <= MAP_SIZE for one in value):
        yield f"{place}: two whole numbers from 0 to {MAP_SIZE} are wanted"


def _figure(name: str) -> Check:
    form = FORMS[name]
    units = (form.unit, "ha") if form.unit == "m2" else (form.unit,)
    # one form of each number: no sign, no exponent, no zero before another digit, digits of ASCII
    number = rf"(?:0|[1-9][0-9]{{0,15}})\.[0-9]{{{form.decimals}}}"
    unit, origin = "|".join(map(re.escape, units)), re.escape(form.origin)
    return _members({"value": _like(number, None), "unit": _like(unit), "origin": _like(origin)})


_NAME = _text(LONGEST_TYPED)
_TYPED = _text(LONGEST_TYPED)
_OWN = _text(LONGEST_OWN)
_HASH = _like("[0-9a-f]{64}")
_DEGREES = _like(r"-?(?:0|[1-9][0-9]{0,2})\.[0-9]{6}")
_DATE = _day("2026-06-30")
_MOMENT = _day("2026-06-30T12:00:00Z")
_SHAPE = _listed(_corner, MOST_MAP_POINTS)


def _date_or_not_stated(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    if value != "not stated":
        yield from _DATE(value, place)


def _signature(_value: Any, _place: str) -> Iterator[str]:  # noqa: ANN401 - looked at with the signature itself
    yield from ()


_PRODUCT = {"name": _TYPED, "reg_no": _TYPED, "rate": _TYPED}
_PRODUCT |= {"earliest_cut": _date_or_not_stated, "earliest_grazing": _date_or_not_stated}
_WHAT = {
    "field": _TYPED,
    "crop": _TYPED,
    "date": _DATE,
    "products": _listed(_members(_PRODUCT), MOST_PRODUCTS),
    "label": _members(dict.fromkeys(("hay_leaving_farm", "feeding", "manure_compost"), _TYPED)),
}


def _line(cases: dict[str, str]) -> Check:
    """A code of *cases*, and a quantity for every place in its sentence."""

    def check(value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
        code = value.get("is") if isinstance(value, dict) else None
        if not isinstance(code, str) or code not in cases:
            yield f"{place}.is: not a code that is known"
            return
        names = set(re.findall(r"\{(\w+)\}", cases[code])) - FROM_FIGURES
        wanted = {"is": _like(re.escape(code)), **dict.fromkeys(sorted(names), _like(QUANTITY.pattern))}
        yield from _members(wanted)(value, place)

    return check


_COMMON: dict[str, Check] = {
    "schema": _like(SCHEMA),
    "copy": _like("|".join(COPIES)),
    "what": _members(_WHAT),
    "says": _line(SAYS),
    "figures": _members({name: _figure(name) for name in FORMS}),
    "rests": _listed(_members({key: _line(line.cases) for key, line in RESTS.items()}), MOST_PRODUCTS + 1),
    "units": _like("metric|us"),
    "later": _listed(_members({"date": _DATE, "products": _listed(_TYPED, MOST_PRODUCTS)}), MOST_PRODUCTS),
    "software": _members(dict.fromkeys(("coverage-audit", "python", *LIBRARIES), _NAME)),
}
_BUYER = _members(
    {
        **_COMMON,
        "made": _DATE,
        "place": _like("|".join(PLACES)),
        "map": _members({"outline": _SHAPE, "missed": _listed(_SHAPE, MOST_MAP_SHAPES)}),
        "withheld": _listed(_NAME, MOST_OWN),
        "commitments": _mapping(_HASH, MOST_OWN),
    },
    {"signature": _signature},
)
_STRIP = _members({"id": _NAME, "area_m2": _like(r"[0-9]{1,15}\.[0-9]"), "lat": _DEGREES, "lon": _DEGREES})
_GROWER = _members(
    {
        **_COMMON,
        "made": _MOMENT,
        "grower": _members(
            {
                "operator": _OWN,
                "start": _listed(_OWN, MOST_OWN),
                "end": _listed(_OWN, MOST_OWN),
                "outline": _listed(_listed(_DEGREES, 2), MOST_OWN),
                "missed_strips": _listed(_STRIP, MOST_OWN),
                "cautions": _listed(_OWN, MOST_OWN),
                "record_7_cfr_110_3": _members({one.name: _OWN for one in US.fields}),
                "record_eu_2023_564": _members({one.name: _OWN for one in EU.fields}),
            }
        ),
        "inputs": _listed(_members({"file": _OWN, "sha256": _HASH}), MOST_OWN),
        "settings": _members({"units": _NAME, "min_width_m": _NAME}),
    },
    {"salts": _mapping(_HASH, MOST_OWN), "buyer": _HASH, "signature": _signature},
)
