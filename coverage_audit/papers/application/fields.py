"""What a finished job says of each field that the laws ask for; None where it says nothing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import shapely.geometry

from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.job import SEEN, boom_state
from coverage_audit.papers.shapes import degree_shapes
from coverage_audit.units import HECTARE_M2

from .laws import EU, US

if TYPE_CHECKING:
    from typing import Any

    from coverage_audit.rate.model import ProductUse
    from coverage_audit.recipe.result import Audit

    from .laws import Law

TYPED, LOGGED, DERIVED, ASSUMED = "typed", "logged", "derived", "rests on a boom state that was not logged"
"""Where a field comes from."""


@dataclass(frozen=True)
class Value:
    """A field's value: text, a number in ``unit`` (L, kg, ha, L/ha, kg/ha), or a GeoJSON geometry; and its origin."""

    value: str | float | dict[str, Any]
    origin: str
    unit: str | None = None


Fields = dict[str, Value | None]


def uses(audit: Audit) -> tuple[ProductUse | None, ...]:
    """Products of the job, each of which is an application of its own; one None where none is given."""
    return tuple(audit.rate.products) if audit.rate and audit.rate.products else (None,)


def fields_of(law: Law, audit: Audit, use: ProductUse | None) -> Fields:
    """Every field of *law* for one product, in the law's order."""
    known = {US.key: _us, EU.key: _eu}[law.key](audit, use)
    return {one.name: known[one.name] for one in law.fields}


def local_start(audit: Audit) -> dt.datetime:
    """When the job began, in its own time zone."""
    return dt.datetime.fromtimestamp(audit.start_s, ZoneInfo(audit.job.settings.timezone))


def _us(audit: Audit, use: ProductUse | None) -> Fields:
    settings, stated = audit.job.settings, audit.job.settings.proof
    return {
        "product_name": _typed(use.settings.name if use else ""),
        "registration_number": _typed(use.settings.reg_no if use else ""),
        "total_amount": _total(use),
        "location": _typed(stated.location or stated.field_name or ", ".join(audit.sprayed_fields)),
        "size_of_area": _size(audit),
        "crop": _typed(settings.crop or stated.crop_name),
        "date": _date(audit),
        "applicator": _typed(stated.applicator or settings.operator),
        "certificate": _typed(stated.certificate),
    }


def _eu(audit: Audit, use: ProductUse | None) -> Fields:
    settings, stated = audit.job.settings, audit.job.settings.record
    us = _us(audit, use)
    return {
        "type_of_use": _typed(stated.type_of_use),
        "product_name": us["product_name"],
        "authorisation_number": us["registration_number"],
        "date": us["date"],
        "start_time": Value(local_start(audit).isoformat(timespec="seconds"), _clock(audit)),
        "dose": _dose(use),
        "place": Value(_place(audit), _outline(audit)),
        "size_treated": us["size_of_area"],
        "crop": us["crop"],
        "eppo_code": _typed(stated.eppo_code),
        "bbch": _typed(stated.bbch),
        "user": _typed(settings.proof.applicator or settings.operator),
    }


def _typed(text: str) -> Value | None:
    return Value(text, TYPED) if text.strip() else None


def _clock(audit: Audit) -> str:
    """Origin of date and time: a date that was typed makes both typed."""
    return TYPED if audit.job.settings.date_given else LOGGED


def _date(audit: Audit) -> Value:
    return Value(local_start(audit).date().isoformat(), _clock(audit))


def _outline(audit: Audit) -> str:
    return DERIVED if audit.job.derived_outline else TYPED


def _total(use: ProductUse | None) -> Value | None:
    """Product that left the tank: of the mix that went out and what was mixed into it."""
    if use is None or use.used is None or use.settings.rate is None:
        return None
    return Value(round(use.used, 3), DERIVED, use.settings.rate.kind)


def _dose(use: ProductUse | None) -> Value | None:
    """Mean dose over the ground that was covered; where that is not known, the one that was meant."""
    if use is None or use.settings.rate is None:
        return None
    unit = f"{use.settings.rate.kind}/ha"
    if use.mean_per_ha is not None:
        return Value(round(use.mean_per_ha, 3), DERIVED, unit)
    return Value(round(use.settings.rate.value, 3), TYPED, unit) if use.settings.rate.per == "ha" else None


def _size(audit: Audit) -> Value:
    """All ground that the boom sprayed, counted once, within the field and beyond it. [ha]"""
    origin = DERIVED if boom_state(audit.job) in SEEN and audit.assumed is None else ASSUMED
    return Value(round(audit.area_m2.swept_net / HECTARE_M2, 3), origin, "ha")


def _place(audit: Audit) -> dict[str, Any]:
    """The field, in degrees of WGS 84 (RFC 7946)."""
    (shape,) = degree_shapes([audit.layers.field], Plane(audit.origin))
    found: dict[str, Any] = shapely.geometry.mapping(shape)
    return found
