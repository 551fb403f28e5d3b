"""The form of a record, member by member: whatever is not of it does not hold, whoever signed it."""

from __future__ import annotations

import datetime as dt
import re
from itertools import islice
from typing import TYPE_CHECKING, Any, NamedTuple

from coverage_audit.papers.application.laws import EU, US
from coverage_audit.papers.words.safe import one_line

from .figures import FORMS, MAY_BE_UNKNOWN
from .names import LIBRARIES, MISSING, PLACES, SCHEMA
from .rests import ELSEWHERE, MADE, QUANTITY, RESTS, SAYS
from .tolerances import LONGEST_NAME, LONGEST_TYPED, MAP_SIZE, MOST_MAP_POINTS, MOST_MAP_SHAPES, MOST_PRODUCTS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    Record = dict[str, Any]

MOST_TOLD = 5
"""Faults of form that are told. [1]"""

LONGEST_OWN = 20_000
"""Letters of one text in the grower's own record: several names joined, a caution. [letters]"""

MOST_OWN = 100_000
"""Entries of one list in the grower's own record, such as the corners of the field. [1]"""

COPIES = ("buyer", "grower")


def form_faults(record: Record) -> list[str]:
    """What in *record* is not of the form that this program writes; the first few, in sentences."""
    rule = BUYER if record["copy"] == "buyer" else _GROWER
    found = list(islice(broken(rule, record, ""), MOST_TOLD))
    if not found and record["copy"] == "buyer":
        found = list(_buyer_faults(record))
    return [f"the record is not of the form that this program writes: {fault}" for fault in found]


def _buyer_faults(record: Record) -> Iterator[str]:
    """What no member shows alone."""
    if record["withheld"] != sorted(record["commitments"]):
        yield "withheld: not the parts that it is committed to"
    if len(record["rests"]) != 1 + len(record["later"]):
        yield "rests: not one entry for each job"
    if (record["time"]["is"] == "stamped") != ("time_stamp" in record):
        yield "time_stamp: not there though the record says so, or the other way round"
    drawing, place = record["map"], record["place"]
    if place != "exact" and (drawing["missed"] or drawing["outline"]):
        yield "map: more than its place allows"
    if len(drawing["outline"]) + sum(map(len, drawing["missed"])) > MOST_MAP_POINTS:
        yield f"map: more than {MOST_MAP_POINTS} corners"
    for name, figure in record["figures"].items():
        if (figure["unit"] == "ha") != (place != "exact" and FORMS[name].unit == "m2" and figure["value"] is not None):
            yield f"figures.{name}.unit: not the one of this place"


# --- rules: data, which the page that checks a proof follows by a script of its own ----------------


class Rule(NamedTuple):
    """One rule: its kind, and what goes with it; :func:`broken` says what each kind asks for."""

    kind: str
    of: Any = None
    more: Any = None


def broken(rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401 - any JSON value
    """What is wrong with *value* at *place*."""
    yield from _KINDS[rule.kind](rule, value, place)


def _text_faults(rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    """Text of at most ``of`` letters."""
    if not isinstance(value, str):
        yield f"{place}: text is wanted"
    elif len(value) > rule.of:
        yield f"{place}: {len(value)} letters, at most {rule.of}"
    elif any("\ud800" <= letter <= "\udfff" for letter in value):
        yield f"{place}: half a letter"


def _like_faults(rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    """Text that the pattern ``of`` matches whole; or null, where ``more`` says so."""
    good = value is None and rule.more
    if not good and not (isinstance(value, str) and re.fullmatch(rule.of, value)):
        yield f"{place}: not of its form"


def _day_faults(rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    """ISO 8601 date, or a moment, as long as ``of``; ``more`` stands for a date that is not stated."""
    try:
        good = isinstance(value, str) and value.isascii() and len(value) == len(rule.of)
        good = good and dt.datetime.fromisoformat(value).year > 0 and bool(re.fullmatch(DAY, value))
    except ValueError:
        good = False
    if not good and not (rule.more is not None and value == rule.more):
        yield f"{place}: a date is wanted"


def _member_faults(rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    """An object that has all members ``of``, perhaps those of ``more``, and no other."""
    wanted, known = rule.of, {**rule.of, **(rule.more or {})}
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
            yield from broken(one, value[key], f"{inside}{key}")


def _list_faults(rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    """A list of at most ``more`` entries, each by the rule ``of``."""
    if not isinstance(value, list):
        yield f"{place}: a list is wanted"
    elif len(value) > rule.more:
        yield f"{place}: {len(value)} entries, at most {rule.more}"
    else:
        for number, entry in enumerate(value):
            yield from broken(rule.of, entry, f"{place}[{number}]")


def _mapping_faults(rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    """An object of any names and at most ``more`` members, each by the rule ``of``."""
    if not isinstance(value, dict):
        yield f"{place}: an object is wanted"
    elif len(value) > rule.more:
        yield f"{place}: {len(value)} members, at most {rule.more}"
    else:
        for key, entry in value.items():
            yield from broken(_NAME, key, f"{place}: name of a member")
            yield from broken(rule.of, entry, f"{place}.{one_line(key, LONGEST_NAME, spelled=True)}")


def _line_faults(rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    """A code of ``of``, and a quantity for every name that stands beside it."""
    code = value.get("is") if isinstance(value, dict) else None
    if not isinstance(code, str) or code not in rule.of:
        yield f"{place}.is: not a code that is known"
        return
    quantities = dict.fromkeys(rule.of[code], Rule("like", QUANTITY.pattern))
    yield from broken(Rule("members", {"is": Rule("text", LONGEST_TYPED), **quantities}), value, place)


def _corner_faults(_rule: Rule, value: Any, place: str) -> Iterator[str]:  # noqa: ANN401
    good = isinstance(value, list) and len(value) == 2
    # "type" and not "isinstance": true and false count as whole numbers there
    if not good or any(type(one) is not int or not 0 <= one <= MAP_SIZE for one in value):
        yield f"{place}: two whole numbers from 0 to {MAP_SIZE} are wanted"


def _own_faults(_rule: Rule, _value: Any, _place: str) -> Iterator[str]:  # noqa: ANN401 - looked at where it is used
    yield from ()


_KINDS: dict[str, Callable[[Rule, Any, str], Iterator[str]]] = {
    "text": _text_faults,
    "like": _like_faults,
    "day": _day_faults,
    "members": _member_faults,
    "list": _list_faults,
    "mapping": _mapping_faults,
    "line": _line_faults,
    "corner": _corner_faults,
    "own": _own_faults,
}
DAY = r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:T[0-9]{2}:[0-9]{2}:[0-9]{2}Z)?"
"""The one form of dates and moments."""


def _text(most: int) -> Rule:
    return Rule("text", most)


def _like(pattern: str, *, empty: bool = False) -> Rule:
    return Rule("like", pattern, empty)


def _members(wanted: dict[str, Rule], optional: dict[str, Rule] | None = None) -> Rule:
    return Rule("members", wanted, optional)


def _listed(one: Rule, most: int) -> Rule:
    return Rule("list", one, most)


def _mapping(one: Rule, most: int) -> Rule:
    return Rule("mapping", one, most)


def _line(cases: dict[str, str]) -> Rule:
    names = {code: sorted(set(re.findall(r"\{(\w+)\}", words)) - ELSEWHERE) for code, words in cases.items()}
    return Rule("line", names)


def _figure(name: str) -> Rule:
    form = FORMS[name]
    units = (form.unit, "ha") if form.unit == "m2" else (form.unit,)
    # one form of each number: no sign, no exponent, no zero before another digit, digits of ASCII
    number = rf"(?:0|[1-9][0-9]{{0,15}})\.[0-9]{{{form.decimals}}}"
    unit, origin = "|".join(map(re.escape, units)), re.escape(form.origin)
    return _members(
        {"value": _like(number, empty=name in MAY_BE_UNKNOWN), "unit": _like(unit), "origin": _like(origin)}
    )


_VERSION = _like("[0-9][0-9A-Za-z.+]{0,30}")  # it stands in a sentence, so it has no room for another
_NAME = _text(LONGEST_TYPED)
_TYPED = _text(LONGEST_TYPED)
_OWN = _text(LONGEST_OWN)
_HASH = _like("[0-9a-f]{64}")
_DEGREES = _like(r"-?(?:0|[1-9][0-9]{0,2})\.[0-9]{6}")
_DATE = Rule("day", "2026-06-30")
_MOMENT = Rule("day", "2026-06-30T12:00:00Z")
_STATED = Rule("day", "2026-06-30", MISSING)
_SHAPE = _listed(Rule("corner"), MOST_MAP_POINTS)


_OWN_RULE = Rule("own")
_PRODUCT = {"name": _TYPED, "reg_no": _TYPED, "rate": _TYPED}
_PRODUCT |= {"earliest_cut": _STATED, "earliest_grazing": _STATED}
_WHAT = {
    "field": _TYPED,
    "crop": _TYPED,
    "date": _DATE,
    "products": _listed(_members(_PRODUCT), MOST_PRODUCTS),
    "label": _members(dict.fromkeys(("hay_leaving_farm", "feeding", "manure_compost"), _TYPED)),
}


_COMMON: dict[str, Rule] = {
    "schema": _like(SCHEMA),
    "copy": _like("|".join(COPIES)),
    "what": _members(_WHAT),
    "says": _line(SAYS),
    "figures": _members({name: _figure(name) for name in FORMS}),
    "rests": _listed(_members({key: _line(line.cases) for key, line in RESTS.items()}), MOST_PRODUCTS + 1),
    "units": _like("metric|us"),
    "time": _line(MADE.cases),
    "later": _listed(_members({"date": _DATE, "products": _listed(_TYPED, MOST_PRODUCTS)}), MOST_PRODUCTS),
    "software": _members(dict.fromkeys(("coverage-audit", "python", *LIBRARIES), _VERSION)),
}
BUYER = _members(
    {
        **_COMMON,
        "made": _DATE,
        "checker": _HASH,
        "place": _like("|".join(PLACES)),
        "map": _members({"outline": _SHAPE, "missed": _listed(_SHAPE, MOST_MAP_SHAPES)}),
        "withheld": _listed(_NAME, MOST_OWN),
        "commitments": _mapping(_HASH, MOST_OWN),
    },
    {"signature": _OWN_RULE, "time_stamp": _OWN_RULE},
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
    {"salts": _mapping(_HASH, MOST_OWN), "buyer": _HASH, "signature": _OWN_RULE},
)
