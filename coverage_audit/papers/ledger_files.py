"""The ledger of a season for programs: ``season.json`` and ``ledger.csv``. SI units, unrounded."""

from __future__ import annotations

import csv
import dataclasses
import io
from typing import TYPE_CHECKING, Any

from .words.safe import json_text

if TYPE_CHECKING:
    from coverage_audit.ledger.model import FieldLedger, JobRow, Ledger, ProductSeason

SCHEMA = "coverage-audit season 1"
DONE, FAILED = "done", "failed"
AREAS = ("target", "covered", "missed", "double", "outside", "excluded_sprayed", "bridged")
FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins so is worked out by a spreadsheet, whoever wrote it."""


def season_json(ledger: Ledger) -> str:
    """``season.json``: every job with how it ended, and every field with what its jobs add up to."""
    jobs = [_job(job, one) for one in ledger.fields for job in one.jobs]
    failed = [
        {
            "job": one.job,
            "field": "",
            "start": None,
            "state": FAILED,
            "reason": one.reason,
            "kind": one.kind,
            "area_m2": None,
        }
        for one in ledger.failed
    ]
    told = {
        "schema": SCHEMA,
        "farm": ledger.farm,
        "season": ledger.season,
        "jobs": sorted([*jobs, *failed], key=lambda one: one["job"]),
        "fields": [_field(one) for one in ledger.fields],
    }
    return json_text(told, indent=2)


def _job(job: JobRow, one: FieldLedger) -> dict[str, Any]:
    return {
        "job": job.job,
        "field": one.field,
        "start": job.start,
        "end": job.end,
        "state": DONE,
        "reason": None,
        "name": job.name,
        "machine": job.machine or None,
        "assumed": job.assumed,
        "touchup": job.job in one.touchups,
        "area_m2": {name: job.area_m2.get(name) for name in AREAS},
        "mended_m2": one.mended_m2(job.job),
        "shared_m2": one.mended_m2(job.job, together=True),
        "applied_l": job.applied_l,
        "rate_l_ha": {"target": job.target_l_ha, "over_covered": job.over_covered_l_ha},
        "missed_by_cause": [dataclasses.asdict(cause) for cause in one.causes(job.job)],
    }


def _field(one: FieldLedger) -> dict[str, Any]:
    return {
        "field": one.field,
        "jobs": [job.job for job in one.jobs],
        "products": [_product(product) for product in one.products],
        "earliest_cut": one.earliest_cut,
        "earliest_grazing": one.earliest_grazing,
        "without_phi": list(one.without_phi),
        "without_grazing": list(one.without_grazing),
        "without_product": list(one.without_product),
        "mended": [dataclasses.asdict(strip) for strip in one.mended],
        "treatments": [{"jobs": list(group.jobs), "area_m2": dict(group.area_m2)} for group in one.treatments],
    }


def _product(product: ProductSeason) -> dict[str, Any]:
    told = dataclasses.asdict(product)
    return {**told, **{name: list(told[name]) for name in ("jobs", "unknown", "places")}}


COLUMNS = (
    *("job", "name", "field", "machine", "day", "start", "end", "state", "reason", "assumed", "touchup"),
    *(f"{name}_m2" for name in AREAS),
    *("mended_m2", "shared_m2", "applied_l", "target_l_ha", "over_covered_l_ha"),
)


def ledger_csv(ledger: Ledger) -> str:
    """``ledger.csv``: a row a job, jobs in order of their folders; an empty cell where nothing is known."""
    rows = [_row(job, one) for one in ledger.fields for job in one.jobs]
    rows += [{"job": one.job, "state": FAILED, "reason": one.reason} for one in ledger.failed]
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\r\n")  # RFC 4180
    writer.writeheader()
    writer.writerows(
        {name: _cell(value) for name, value in row.items()} for row in sorted(rows, key=lambda one: one["job"])
    )
    return text.getvalue()


def _row(job: JobRow, one: FieldLedger) -> dict[str, Any]:
    return {
        "job": job.job,
        "name": job.name,
        "field": one.field,
        "machine": job.machine,
        "day": job.first_day,
        "start": job.start,
        "end": job.end,
        "state": DONE,
        "assumed": "yes" if job.assumed else "no",
        "touchup": "yes" if job.job in one.touchups else "no",
        **{f"{name}_m2": job.area_m2.get(name) for name in AREAS},
        "mended_m2": one.mended_m2(job.job),
        "shared_m2": one.mended_m2(job.job, together=True),
        "applied_l": job.applied_l,
        "target_l_ha": job.target_l_ha,
        "over_covered_l_ha": job.over_covered_l_ha,
    }


def _cell(value: Any) -> Any:  # noqa: ANN401 - text, a number or None
    """A cell that no spreadsheet takes for a formula."""
    if isinstance(value, str):
        line = " ".join(value.split())
        return f"'{line}" if value.startswith(FORMULA) else line
    return "" if value is None else value
