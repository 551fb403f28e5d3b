"""The application record of one job as files: JSON, its JSON Schema (draft 2020-12), CSV, and a page to print."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import TYPE_CHECKING, Any

import shapely.geometry

from coverage_audit.jobs.record import BBCH, EPPO
from coverage_audit.papers.templating import filled
from coverage_audit.papers.words.display import area, number, rate, volume
from coverage_audit.papers.words.safe import json_text, one_line
from coverage_audit.units import HECTARE_M2, MASS_RATE_KG_HA, POUND_KG

from .fields import ASSUMED, DERIVED, LOGGED, TYPED, Value, fields_of, local_start, uses
from .laws import KEEP_YEARS, LAWS, NOTE, RECORD_WITHIN_DAYS

if TYPE_CHECKING:
    from coverage_audit.recipe.result import Audit

    from .laws import Asked

    Record = dict[str, Any]

SCHEMA = "coverage-audit application record 1"
JSON_FILE, SCHEMA_FILE = "application-record.json", "application-record.schema.json"
CSV_FILE, PAGE_FILE = "application-record.csv", "application-record.html"
FILES = (JSON_FILE, SCHEMA_FILE, CSV_FILE, PAGE_FILE)


def application_files(audit: Audit, recorded: dt.date) -> dict[str, str]:
    """Every file by its name; *recorded* is the day on which the record is made."""
    record = application_record(audit, recorded)
    return {
        JSON_FILE: json_text(record, indent=1),
        SCHEMA_FILE: json_text(record_schema(), indent=1),
        CSV_FILE: _csv(audit),
        PAGE_FILE: _page(audit, record),
    }


def application_record(audit: Audit, recorded: dt.date) -> Record:
    """The record as JSON values: one application for each product."""
    day = local_start(audit).date()
    return {
        "schema": SCHEMA,
        "job": audit.job.settings.name,
        "recorded": recorded.isoformat(),
        "record_by": (day + dt.timedelta(RECORD_WITHIN_DAYS)).isoformat(),
        "keep_until": _years_on(day, KEEP_YEARS).isoformat(),
        "applications": [_application(audit, use) for use in uses(audit)],
        "note": NOTE,
    }


def _years_on(day: dt.date, years: int) -> dt.date:
    """The same day years later; the day after the last of February where it has no 29th."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return dt.date(day.year + years, 3, 1)


def _application(audit: Audit, use: Any) -> Record:  # noqa: ANN401 - a ProductUse or None
    found: Record = {}
    missing = []
    for law in LAWS:
        fields = fields_of(law, audit, use)
        found[law.key] = {one.name: _entry(fields[one.name], one) for one in law.fields}
        missing += [{"law": law.key, "field": one.name} for one in law.fields if fields[one.name] is None]
    return {**found, "missing": missing}


def _entry(value: Value | None, asked: Asked) -> Record:
    point = {"point": asked.point, "point_read": asked.read}
    if value is None:
        return {"value": None, "unit": None, "origin": None, **point}
    return {"value": value.value, "unit": value.unit, "origin": value.origin, **point}


def missing_words(audit: Audit) -> list[tuple[str, str]]:
    """(law, names of the fields that nothing was said of) for every law that lacks any."""
    found = []
    for law in LAWS:
        each = [fields_of(law, audit, use) for use in uses(audit)]
        names = [one.words for one in law.fields if any(fields[one.name] is None for fields in each)]
        found += [(law.title, "; ".join(names))] if names else []
    return found


# --- JSON Schema ------------------------------------------------------------------------------------


_NUMBER: Record = {"type": "number", "minimum": 0}
_DAY: Record = {"type": "string", "format": "date", "pattern": r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"}
_VALUES: dict[str, Record] = {
    "total_amount": _NUMBER,
    "size_of_area": _NUMBER,
    "size_treated": _NUMBER,
    "dose": _NUMBER,
    "date": _DAY,
    "start_time": {"type": "string", "format": "date-time"},
    "eppo_code": {"type": "string", "pattern": f"^(?:{EPPO.pattern})$"},
    "bbch": {"type": "string", "pattern": f"^(?:{BBCH.pattern})$"},
    "place": {
        "type": "object",
        "properties": {"type": {"enum": ["Polygon", "MultiPolygon"]}, "coordinates": {"type": "array"}},
        "required": ["type", "coordinates"],
    },
}
_UNITS = {"total_amount": ["L", "kg"], "size_of_area": ["ha"], "size_treated": ["ha"], "dose": ["L/ha", "kg/ha"]}


def record_schema() -> Record:
    """The JSON Schema that every record fits."""
    laws = {law.key: _closed({one.name: _field(one.name) for one in law.fields}) for law in LAWS}
    names = sorted({one.name for law in LAWS for one in law.fields})
    missing = _closed({"law": {"enum": [law.key for law in LAWS]}, "field": {"enum": names}})
    application = _closed({**laws, "missing": {"type": "array", "items": missing}})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Record of the application of plant protection products",
        **_closed(
            {
                "schema": {"const": SCHEMA},
                "job": {"type": "string"},
                "recorded": _DAY,
                "record_by": _DAY,
                "keep_until": _DAY,
                "applications": {"type": "array", "items": application, "minItems": 1},
                "note": {"type": "string"},
            }
        ),
    }


def _closed(properties: Record) -> Record:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _field(name: str) -> Record:
    return _closed(
        {
            "value": {"anyOf": [{"type": "null"}, _VALUES.get(name, {"type": "string", "minLength": 1})]},
            "unit": {"enum": [None, *_UNITS.get(name, [])]},
            "origin": {"enum": [None, TYPED, LOGGED, DERIVED, ASSUMED]},
            "point": {"type": "string"},
            "point_read": {"type": "boolean"},
        }
    )


# --- CSV and page -----------------------------------------------------------------------------------


def _csv(audit: Audit) -> str:
    """One row a field; geodata as text (WKT), typed text as it was typed."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\r\n")  # RFC 4180, section 2
    rows.writerow(["application", "law", "point", "field", "value", "unit", "origin"])
    for place, use in enumerate(uses(audit), 1):
        for law in LAWS:
            fields = fields_of(law, audit, use)
            for one in law.fields:
                found = fields[one.name]
                told = ["", "", ""] if found is None else [_cell(found), found.unit or "", found.origin]
                rows.writerow([place, law.title, _point(one), one.name, *told])
    return out.getvalue()


def _cell(found: Value) -> str:
    """A cell; text that a spreadsheet would take for a formula is kept text by an apostrophe before it."""
    if isinstance(found.value, dict):
        return str(shapely.geometry.shape(found.value).wkt)
    if isinstance(found.value, str):
        line = one_line(found.value, 1000)
        return f"'{line}" if line[:1] in "=+-@" else line
    return f"{found.value:g}"


def _point(one: Asked) -> str:
    return one.point if one.read else f"{one.point} (from memory)"


def _page(audit: Audit, record: Record) -> str:
    units = audit.job.settings.report.units
    applications = []
    for use in uses(audit):
        tables = []
        for law in LAWS:
            fields = fields_of(law, audit, use)
            rows = [(one.words, _shown(fields[one.name], units), _told(fields[one.name]), _point(one))
                    for one in law.fields]  # fmt: skip
            lacking = [one.words for one in law.fields if fields[one.name] is None]
            tables.append((law, rows, lacking))
        applications.append((use.settings.name if use else "", tables))
    late = record["recorded"] > record["record_by"]
    return str(
        filled("application.html", record=record, applications=applications, late=late, days=RECORD_WITHIN_DAYS,
               note=NOTE)
    )  # fmt: skip


def _told(found: Value | None) -> str:
    return "" if found is None else found.origin


def _shown(found: Value | None, units: str) -> str:
    """A value in the person's units; "not stated" where there is none."""
    if found is None:
        return "not stated"
    value = found.value
    if isinstance(value, dict):
        west, south, east, north = shapely.geometry.shape(value).bounds
        return (
            f"outline in {JSON_FILE}; between {south:.5f} and {north:.5f} degrees north, {west:.5f} and {east:.5f} east"
        )
    if isinstance(value, str):
        return one_line(value, 1000, spelled=True)
    return _quantity(value, found.unit or "", units)


def _quantity(value: float, unit: str, units: str) -> str:
    us = units == "us"
    if unit == "ha":
        return area(value * HECTARE_M2, units)
    if unit == "L":
        return volume(value, units)
    if unit == "L/ha":
        return rate(value, units)
    if unit == "kg":
        return f"{number(value / POUND_KG, 2, units)} lb" if us else f"{number(value, 2, units)} kg"
    return f"{number(value / MASS_RATE_KG_HA['lb/ac'], 2, units)} lb/ac" if us else f"{number(value, 2, units)} kg/ha"
