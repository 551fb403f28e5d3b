"""The report: one HTML page that needs nothing but itself. Text in, text out; no file, no clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely
from markupsafe import Markup

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.figures.charts import charts
from coverage_audit.papers.figures.facts import FactGroup, fact_groups, volume_facts
from coverage_audit.papers.figures.passes import pass_charts, pass_rows, pass_summary, steering_facts
from coverage_audit.papers.figures.rate import rate_section
from coverage_audit.papers.figures.touchup import touchup_section
from coverage_audit.papers.maps.layers import map_layers
from coverage_audit.papers.maps.live import MAP_ID, legend_label, library_script, library_style, map_script
from coverage_audit.papers.maps.still import static_map
from coverage_audit.papers.words.accuracy import chance_words
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.papers.words.display import area, length, local_date, local_datetime, local_time, share, small_area
from coverage_audit.papers.words.passes import assumed_notice, told_causes, verdict_of

from .templating import page_templates, page_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.result import Audit, InputCount
    from coverage_audit.touchup.model import TouchupPlan

LEAST_PLACE_M2 = 1.0
"""Smaller places outside or in no-spray ground are totalled, not listed. [m2] A square metre is
less than one nozzle wets in a second; boundaries and positions are seldom known that well."""

ROWS_SHOWN = 12
"""Rows of a list that are open at first; the rest folds out, so that the page stays readable."""

_COMPASS = ("N-S", "NE-SW", "E-W", "NW-SE")
_DROPPED = {
    "bad_checksum": "sentences with a bad checksum, skipped",
    "no_position": "without a position",
    "no_time": "without a time",
    "duplicate": "repeated times",
    "backward": "times running backward",
}


@dataclass(frozen=True)
class Place:
    """One row of a list of places, in words; ``share`` is its area as a share of the largest row's."""

    id: str
    size: str
    share: float
    lat: str
    lon: str
    words: str = ""
    length: str = ""
    width: str = ""
    widest: str = ""
    direction: str = ""
    visits: int = 0


def report_html(audit: Audit, plan: TouchupPlan | None = None) -> str:
    """Whole page for *audit*, in its job's units and time zone, with the touch-up *plan* when there is one.

    Loads no address: the map library, styles and data stand in the page, and the page's
    own policy forbids every request. All text from files is escaped.
    """
    settings, plane = audit.job.settings, Plane(audit.origin)
    units = settings.report.units
    template = page_templates().get_template("report.html")
    return template.render(
        audit=audit,
        settings=settings,
        title=settings.name or "Spray job",
        heading=_heading(audit),
        verdict=verdict_of(audit),
        cautions=caution_texts(audit),
        assumed_notice=assumed_notice(audit),
        still=Markup(static_map(audit)),  # noqa: S704 - made by static_map, which escapes
        legend=[Markup(legend_label(layer)) for layer in map_layers(audit) if layer.shown],  # noqa: S704 - holds constants only
        missed=_strip_places(audit, audit.missed_strips, plane),
        double=_strip_places(audit, audit.double_patches, plane),
        outside=_ground_places(audit.layers.outside, "O", plane, units),
        excluded=_ground_places(audit.layers.excluded_sprayed, "N", plane, units),
        charts=(*charts(audit), *pass_charts(audit)),
        pass_rows=pass_rows(audit, plane),
        pass_summary=pass_summary(audit),
        rate=rate_section(audit, plane),
        touchup=Markup(touchup_section(audit, plan)) if plan is not None else "",  # noqa: S704 - escaped by its template
        volume_facts=volume_facts(audit),
        groups=(*fact_groups(audit), FactGroup("Steering", steering_facts(audit))),
        inputs=[_input_row(entry) for entry in audit.inputs],
        checks=_check_sentences(audit),
        rows_shown=ROWS_SHOWN,
        least_place=small_area(LEAST_PLACE_M2, units),
        map_id=MAP_ID,
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


# --- lists of places ----------------------------------------------------------------------


def _degrees(points: list[BaseGeometry], plane: Plane) -> list[tuple[str, str]]:
    """Latitude and longitude of each point; the sixth decimal is 11 cm or less."""
    lon, lat = plane.to_degrees(*shapely.get_coordinates(points).T)
    return [(f"{y:.6f}", f"{x:.6f}") for x, y in zip(lon, lat, strict=True)]


def _strip_places(audit: Audit, strips: tuple[Strip, ...], plane: Plane) -> list[Place]:
    units, causes = audit.job.settings.report.units, told_causes(audit)
    largest = max((strip.area_m2 for strip in strips), default=1.0)
    places = _degrees([strip.label_point for strip in strips], plane)
    return [
        Place(
            id=strip.id,
            size=small_area(strip.area_m2, units),
            share=strip.area_m2 / largest,
            lat=lat,
            lon=lon,
            words=causes[strip.id] + chance_words(strip, audit),
            length=length(strip.length_m, units),
            width=length(strip.mean_width_m, units),
            widest=length(strip.max_width_m, units),
            direction=_COMPASS[round(strip.orientation_deg / 45) % 4],
            visits=strip.max_visits,
        )
        for strip, (lat, lon) in zip(strips, places, strict=True)
    ]


def _ground_places(ground: BaseGeometry, prefix: str, plane: Plane, units: str) -> list[Place]:
    """Parts of *ground* worth a walk, largest first."""
    parts = [part for part in shapely.get_parts(shapely.get_parts(ground)) if part.area >= LEAST_PLACE_M2]
    parts.sort(key=lambda part: part.area, reverse=True)
    places = _degrees([part.representative_point() for part in parts], plane)
    return [
        Place(f"{prefix}{rank}", small_area(part.area, units), part.area / parts[0].area, lat, lon)
        for rank, (part, (lat, lon)) in enumerate(zip(parts, places, strict=True), start=1)
    ]


# --- how it was worked out ------------------------------------------------------------------


def _input_row(entry: InputCount) -> dict[str, str]:
    return {
        "file": entry.file,
        "form": entry.form,
        "read": f"{entry.fixes_read:,}",
        "used": f"{entry.fixes_used:,}",
        "dropped": _counts(entry.dropped) or "none",
        "notes": _counts(entry.notes),
        "sha256": entry.sha256,
    }


def _counts(counts: Mapping[str, int]) -> str:
    return "; ".join(f"{n} {_DROPPED.get(reason, reason.replace('_', ' '))}" for reason, n in counts.items() if n)


def _check_sentences(audit: Audit) -> list[str]:
    areas, checks, units = audit.area_m2, audit.checks, audit.job.settings.report.units
    summed = sum(areas.by_visits)
    return [
        (
            f"Ground missed, sprayed once, twice and so on adds up to {area(summed, units)}; "
            f"the target area is {area(areas.target, units)}. The sums close to {_per_million(checks.closure_rel)} "
            "of the field."
        ),
        (
            "A second, independent count laid a fine grid over the field and counted cells: "
            f"covered {area(checks.raster_covered_m2, units)} (above: {area(areas.covered, units)}), "
            f"missed {area(checks.raster_missed_m2, units)} ({area(areas.missed, units)}), "
            f"double {area(checks.raster_double_m2, units)} ({area(areas.double, units)}). "
            f"The worst difference is {share(checks.cross_check_rel, 1.0)} of the field."
        ),
        "Both checks passed." if checks.ok else "At least one check failed: take no figure here as proof.",
    ]


def _per_million(relative: float) -> str:
    return "better than one part in a million" if relative < 1e-6 else f"{relative * 1e6:.0f} parts in a million"
