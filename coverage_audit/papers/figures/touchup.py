"""The touch-up plan for people: a section of the report, and a field sheet on one page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.maps.touchup import touchup_map
from coverage_audit.papers.templating import filled, page_text
from coverage_audit.papers.tolerances import SHEET_STRIPS
from coverage_audit.papers.words import touchup as words
from coverage_audit.papers.words.display import duration, length
from coverage_audit.touchup.model import METHODS

from .figure import NOTHING, Figure

if TYPE_CHECKING:
    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import StripPlan, TouchupPlan

    from .figure import Sheet

SECTION_PX = (720, 620)
SHEET_PX = (720, 520)


@dataclass(frozen=True)
class StopRow:
    """One stop of the way, in words."""

    number: int
    id: str
    what: str
    lat: str
    lon: str


@dataclass(frozen=True)
class StripRow:
    """One strip: advice, reason, what would change it, and its options as (name, figures)."""

    id: str
    advice: str
    reason: str
    change: str
    options: tuple[tuple[str, dict[str, str]], ...]


def touchup_sheet(audit: Audit, plan: TouchupPlan) -> str:
    """Field sheet: an HTML page that prints on one sheet of A4 or Letter, and reads on a phone."""
    context = _context(audit, plan, SHEET_PX)
    style = page_text("touchup.css")
    return filled("touchup_sheet.html", **context, style=Markup(style))  # noqa: S704 - ours


def _context(audit: Audit, plan: TouchupPlan, size_px: tuple[int, int]) -> dict[str, object]:
    settings, units = audit.job.settings, audit.job.settings.report.units
    rows = [_row(one, plan, units) for one in plan.strips]
    return {
        "units": units,
        "title": settings.name or "Spray job",
        "field": ", ".join(audit.sprayed_fields),
        "headline": words.headline(plan, units),
        "late": words.too_late(plan),
        "totals": _totals(audit, plan, units),
        "dates": words.date_words(plan),
        "map": Markup(touchup_map(audit, plan, *size_px)),  # noqa: S704 - made by touchup_map, which escapes
        "stops": _stops(audit, plan, units),
        "rows": rows,
        "left": [row for row in rows if row.advice == words.METHOD_WORDS["leave"]],
        "cautions": words.cautions(plan, units),
        "most": SHEET_STRIPS,
        "sections": len(settings.boom.sections_m),
    }


def _totals(audit: Audit, plan: TouchupPlan, units: str) -> list[str]:
    told = []
    if plan.stops:
        told += [
            words.mix_words(plan, units),
            f"{length(plan.path_m, units)} to drive, about {duration(plan.time_s)}{_cost(plan, units)}.",
        ]
    return [*told, words.after_words(plan, audit.area_m2.missed, audit.area_m2.double, units)]


def _cost(plan: TouchupPlan, units: str) -> str:
    if words.prices_assumed(plan):
        return ""
    return f"; in your money {words.money(plan.cost, units)}, of it {words.money(plan.way_cost, units)} for the way"


def _stops(audit: Audit, plan: TouchupPlan, units: str) -> list[StopRow]:
    if not plan.stops:
        return []
    lon, lat = Plane(audit.origin).to_degrees(*np.array([stop.start for stop in plan.stops]).T)
    count = len(audit.job.settings.boom.sections_m)
    return [
        StopRow(k, stop.id, words.stop_words(stop, count, units), f"{y:.6f}", f"{x:.6f}")
        for k, (stop, y, x) in enumerate(zip(plan.stops, lat, lon, strict=True), start=1)
    ]


def _row(one: StripPlan, plan: TouchupPlan, units: str) -> StripRow:
    return StripRow(
        one.id,
        words.METHOD_WORDS[one.advice],
        words.reason(one, plan, units),
        words.change(one, plan, units),
        tuple(
            (words.METHOD_WORDS[method], words.option_words(option, units))
            for method, option in zip(METHODS, one.options, strict=True)
        ),
    )


def _body(sheet: Sheet) -> Markup | str:
    if sheet.audit.plan is None:
        return NOTHING
    return filled("touchup_section.html", **_context(sheet.audit, sheet.audit.plan, SECTION_PX))


FIGURE = Figure("touchup", "Is a touch-up pass worth it?", _body)
