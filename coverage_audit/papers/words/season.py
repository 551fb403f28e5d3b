"""A season's ledger in words and units for the person."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from coverage_audit.ledger.tolerances import CLOSING_REL
from coverage_audit.units import PRODUCT_PER_HA

from . import display
from .answer import together_words

if TYPE_CHECKING:
    from coverage_audit.ledger.model import FieldLedger, JobRow, Ledger, ProductSeason, Treatment

CAUSES = {
    "spacing": "passes too far apart",
    "late on": "boom on late",
    "early off": "boom off early",
    "slanted end": "slanted end of a pass",
    "boom off": "boom off in a pass",
    "boom off across": "boom off across passes",
    "section off": "a section off",
    "gap": "no positions logged",
    "assumed off": "not among the places assumed to be sprayed",
    "remembered off": "boom off, as remembered",
    "no-spray area": "beside a no-spray area",
    "field edge": "at the field edge",
    "beside": "beside a pass",
    "crossing": "driven over again",
    "unknown": "no cause found",
}
"""A cause of missed ground, as one line of a table."""

NO_MACHINE = "machine not named"
UNIT = {("L", "metric"): "L/ha", ("kg", "metric"): "kg/ha", ("L", "us"): "oz/ac", ("kg", "us"): "lb/ac"}


def dose(per_ha: float | None, unit: str | None, units: str) -> str:
    """Product per area in the person's units; *unit* is that of the amount, "L" or "kg"."""
    if per_ha is None or unit is None:
        return display.NOT_KNOWN
    name = UNIT[unit, units]
    value = per_ha / PRODUCT_PER_HA[unit][name]
    decimals = 0 if abs(value) >= 99.95 else 1 if abs(value) >= 9.995 else 2
    return f"{display.number(value, decimals, units)}{display.SPACE}{name}"


def day_words(day: str) -> str:
    """An ISO date as a person writes it: "30 May 2026"."""
    date = dt.date.fromisoformat(day)
    return f"{date.day} {date:%b %Y}"


def headline(ledger: Ledger) -> str:
    """The season in one sentence: how much was audited, and whether a season's most was passed."""
    jobs = display.count(len(ledger.jobs), "job")
    where = display.count(len(ledger.fields), "field")
    over = [one for one in ledger.fields if any(product.above_m2 for product in one.products)]
    if over:
        those = display.count(len(over), "field")
        return f"{jobs} on {where}; on {those} some ground got more than a label's most per season."
    return f"{jobs} on {where}."


def support(ledger: Ledger) -> list[str]:
    """What the headline rests on, most pressing first."""
    told = [_above(one, product, ledger.units) for one in ledger.fields for product in one.products if product.above_m2]
    if not told:
        told.append(_nothing_above(ledger))
    told += [
        f"{one.field}: what was added up of {product.name} is {product.closing:.4f} times what its jobs laid on the "
        "ground; it should be 1, so take no dose there as sure."
        for one in ledger.fields
        for product in one.products
        if product.closing is not None and abs(product.closing - 1.0) > CLOSING_REL
    ]
    if ledger.failed:
        told.append(
            f"{display.count(len(ledger.failed), 'job')} could not be audited, and nothing of that is in any figure. "
            "What was sprayed then, and the days to wait after it, come on top."
        )
    assumed = sum(1 for job in ledger.jobs if job.assumed)
    if assumed:
        told.append(
            f"In {display.count(assumed, 'job')} nobody logged when the boom was on: every figure that holds such a "
            "job rests on an assumption, and is marked."
        )
    return told


def _above(one: FieldLedger, product: ProductSeason, units: str) -> str:
    area = display.area(product.above_m2 or 0.0, units)
    at_least = "at least " if product.unknown else ""
    most, limit = (dose(value, product.unit, units) for value in (product.at_least_per_ha, product.max_per_season))
    return (
        f"{one.field}: {product.name} on {at_least}{area} went beyond the {limit} that the label allows in a season, "
        f"as typed in; the spot that got most had {at_least}{most}."
    )


def _nothing_above(ledger: Ledger) -> str:
    products = [product for one in ledger.fields for product in one.products]
    limited = [product for product in products if product.max_per_season is not None]
    if not limited:
        return "No label's most per season was typed in, so none can be held against the fields (max_per_season)."
    if any(product.above_m2 is None for product in limited):
        return (
            "Whether a label's most per season was passed cannot be told everywhere: of some jobs the rate on the "
            "ground is not known."
        )
    return "No ground got more than a label's most per season, as typed in."


def used_so_far(product: ProductSeason, units: str) -> str:
    """Dose at the spot that got most, against the season's most."""
    most = dose(product.at_least_per_ha, product.unit, units)
    if product.at_least_per_ha is None:
        return "cannot be told: no rate on the ground is known"
    told = (
        f"at least {most} (of {display.count(len(product.unknown), 'job')} no rate is known)"
        if product.unknown
        else most
    )
    return f"{told}, boom state ASSUMED" if product.assumed else told


def room_left(product: ProductSeason, units: str) -> str:
    """What the season's most leaves at that spot."""
    if product.max_per_season is None:
        return "no limit was typed in"
    if product.most_per_ha is None:
        return "cannot be told"
    left = product.max_per_season - product.most_per_ha
    if left < 0:
        return f"none: {dose(-left, product.unit, units)} too much"
    return dose(left, product.unit, units)


def days_sentence(one: FieldLedger) -> list[str]:
    """Earliest cut and grazing by all jobs together, and what makes them doubtful."""
    told = []
    for name, day, without in (
        ("cut", one.earliest_cut, one.without_phi),
        ("grazing", one.earliest_grazing, one.without_grazing),
    ):
        if day is not None:
            doubt = f"; for {' and '.join(without)} no interval was given, the label has it" if without else ""
            told.append(f"Earliest {name} by the intervals given, all jobs together: {day_words(day)}{doubt}.")
        elif without:
            told.append(f"Earliest {name}: cannot be told, as no interval was given; the label has it.")
    if one.without_product:
        many = len(one.without_product)
        told.append(
            f"{display.count(many, 'job')} here {'names' if many == 1 else 'name'} no product, so what was put on then "
            "is in no sum."
        )
    return told


def treatment(group: Treatment, one: FieldLedger, units: str) -> str:
    """Two machines on one field on one day, in a sentence."""
    names = " and ".join(row.machine for row in one.jobs if row.job in group.jobs)
    day = next(row.first_day for row in one.jobs if row.job in group.jobs)
    return f"{names} together on {day_words(day)}: {together_words(group.area_m2, len(group.jobs), units)}."


def job_marks(job: JobRow, one: FieldLedger) -> str:
    """What sets a job apart from others in the list."""
    mended = [strip.job for strip in one.mended if strip.by == job.job and not strip.together]
    marks = ["boom state ASSUMED"] if job.assumed else []
    marks += ["what other machines left to this one"] if job.part else []
    if mended:
        names = " and ".join(dict.fromkeys(row.name or row.job for row in one.jobs if row.job in mended))
        marks.append(f"touch-up of {names}")
    return "; ".join(marks)
