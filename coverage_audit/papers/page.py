"""The report: one HTML page that needs nothing but itself. Text in, text out; no file, no clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.figures import (
    beyond,
    care,
    double,
    field_map,
    keep_in_mind,
    limits,
    method,
    missed,
    passes,
    pictures,
    rate,
    touchup,
    volume,
)
from coverage_audit.papers.figures.figure import Sheet
from coverage_audit.papers.maps.live import library_script, library_style, map_script
from coverage_audit.papers.words.display import local_date, local_datetime, local_time
from coverage_audit.papers.words.passes import verdict_of

from .templating import filled, page_text

if TYPE_CHECKING:
    from coverage_audit.papers.figures.figure import Figure
    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import TouchupPlan

FIGURES: tuple[Figure, ...] = tuple(
    room.FIGURE
    for room in (
        keep_in_mind,
        field_map,
        missed,
        double,
        beyond,
        passes,
        touchup,
        rate,
        pictures,
        volume,
        method,
        limits,
        care,
    )
)
"""Figures of the report in reading order, below the verdict; those with nothing to show are left out."""


def report_html(audit: Audit, plan: TouchupPlan | None = None, figures: tuple[Figure, ...] = FIGURES) -> str:
    """Whole page for *audit*, in its job's units and time zone, with the touch-up *plan* when there is one.

    Loads no address: the map library, styles and data stand in the page, and the page's
    own policy forbids every request. All text from files is escaped.

    Parameters
    ----------
    figures : tuple of Figure
        What stands below the verdict, in this order.
    """
    settings, plane = audit.job.settings, Plane(audit.origin)
    sheet = Sheet(audit, plane, plan)
    return filled(
        "report.html",
        units=sheet.units,
        title=settings.name or "Spray job",
        heading=_heading(audit),
        verdict=verdict_of(audit),
        parts=[(one.id, one.heading(sheet), body) for one in figures if (body := one.body(sheet))],
        **_page_parts(audit, plane),
    )


def _page_parts(audit: Audit, plane: Plane) -> dict[str, Markup]:
    """Scripts and styles; everything in them is ours, the library's, or escaped by folium."""
    parts = {
        "style": page_text("report.css", "rate.css", "touchup.css"),
        "library_style": library_style(),
        "library": library_script(),
        "map_script": map_script(audit, plane),
        "page_script": page_text("report.js", "rate.js"),
    }
    return {name: Markup(text) for name, text in parts.items()}  # noqa: S704 - see above


def _heading(audit: Audit) -> list[tuple[str, str]]:
    """Say what job this was: names as typed or read, times local."""
    settings = audit.job.settings
    zone = settings.timezone
    ended = local_time(audit.end_s, zone)
    if local_date(audit.start_s, zone) != local_date(audit.end_s, zone):
        ended = local_datetime(audit.end_s, zone)
    rows = [
        ("Field", ", ".join(audit.sprayed_fields)),
        ("Sprayed", f"{local_datetime(audit.start_s, zone)} to {ended}"),
        ("Operator", settings.operator),
        ("Crop", settings.crop),
        ("Notes", settings.notes),
    ]
    return [(name, text) for name, text in rows if text]
