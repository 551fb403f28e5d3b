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
    logged,
    method,
    missed,
    passes,
    pictures,
    rate,
    three_figures,
    touchup,
    unknown,
    volume,
    walk,
)
from coverage_audit.papers.figures.figure import Sheet
from coverage_audit.papers.maps.live import library_script, library_style, map_script
from coverage_audit.papers.words.answer import first_line, notices, told_datetime
from coverage_audit.papers.words.display import local_date, local_time
from coverage_audit.papers.words.passes import verdict_of

from .templating import filled, page_templates, page_text

if TYPE_CHECKING:
    from coverage_audit.papers.figures.figure import Figure
    from coverage_audit.recipe.result import Audit

FIGURES: tuple[Figure, ...] = tuple(
    room.FIGURE
    for room in (
        field_map,
        three_figures,
        walk,
        unknown,
        keep_in_mind,
        care,
        logged,
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
    )
)
"""Figures of the report in reading order, below the verdict; those with nothing to show are left out."""


PAGES = (
    *("report.html", "macros.html", "hatches.html", "map.html", "three_figures.html", "walk.html", "listed.html"),
    *("keep_in_mind.html", "care.html", "beyond.html", "passes.html", "rate.html", "charts.html", "method.html"),
    *("limits.html", "unknown.html"),
)
"""Templates that nearly every report fills; others are compiled when they are asked for."""


def report_html(audit: Audit, figures: tuple[Figure, ...] = FIGURES) -> str:
    """Whole page for *audit*, in its job's units and time zone, with its touch-up plan when there is one.

    Loads no address: the map library, styles and data stand in the page, and the page's
    own policy forbids every request. All text from files is escaped.

    Parameters
    ----------
    figures : tuple of Figure
        What stands below the verdict, in this order.
    """
    settings, plane = audit.job.settings, Plane(audit.origin)
    sheet = Sheet(audit, plane)
    return filled(
        "report.html",
        units=sheet.units,
        title=settings.name or "Spray job",
        heading=_heading(audit),
        first_line=first_line(audit.answer, audit),
        notices=notices(audit),
        stop="" if audit.checks.ok else verdict_of(audit).caution,
        parts=[(one, one.heading(sheet), body) for one in figures if (body := one.body(sheet))],
        **_page_parts(audit, plane),
    )


def compile_pages() -> None:
    """Compile the templates of the report, which are kept: beside other work, so that nobody waits for them."""
    for name in PAGES:
        page_templates().get_template(name)


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


def sprayed_from_to(audit: Audit) -> tuple[float, float]:
    """First moment of spraying and last one; the drive there and home is not in them. [s since 1970 UTC]"""
    if not audit.on_intervals:
        return audit.start_s, audit.end_s
    return min(on for on, _ in audit.on_intervals), max(off for _, off in audit.on_intervals)


def _heading(audit: Audit) -> list[tuple[str, str]]:
    """Say what job this was: names as typed or read, times local."""
    settings = audit.job.settings
    zone = settings.timezone
    began, last = sprayed_from_to(audit)
    ended = local_time(last, zone)
    if local_date(began, zone) != local_date(last, zone):
        ended = told_datetime(last, settings)
    rows = [
        ("Field", ", ".join(audit.sprayed_fields)),
        ("Sprayed", f"{told_datetime(began, settings)} to {ended}"),
        ("Operator", settings.operator),
        ("Crop", settings.crop),
        ("Notes", settings.notes),
    ]
    return [(name, text) for name, text in rows if text]
