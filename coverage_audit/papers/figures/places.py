"""Lists of places: missed strips, patches sprayed twice, ground sprayed beyond the field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely

from coverage_audit.papers.templating import filled
from coverage_audit.papers.tolerances import LEAST_PLACE_M2, ROWS_SHOWN
from coverage_audit.papers.words.accuracy import chance_words
from coverage_audit.papers.words.answer import untold_words
from coverage_audit.papers.words.display import length, small_area
from coverage_audit.papers.words.passes import told_causes

if TYPE_CHECKING:
    from markupsafe import Markup
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.drive.plane import Plane
    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.result import Audit

    from .figure import Sheet

_COMPASS = ("N-S", "NE-SW", "E-W", "NW-SE")


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


def listed(sheet: Sheet, strips: tuple[Strip, ...], kind: str, caption: str, nothing: str) -> Markup:
    """Table of *strips*; *nothing* is said when there are none."""
    places = strip_places(sheet.audit, strips, sheet.plane)
    more = untold_words(sheet.audit.answer, sheet.audit) if kind == "missed" else ""
    return filled(
        "listed.html", places=places, kind=kind, caption=caption, nothing=nothing, rows_shown=ROWS_SHOWN, more=more
    )


def degrees(points: list[BaseGeometry], plane: Plane) -> list[tuple[str, str]]:
    """Latitude and longitude of each point; the sixth decimal is 11 cm or less."""
    lon, lat = plane.to_degrees(*shapely.get_coordinates(points).T)
    return [(f"{y:.6f}", f"{x:.6f}") for x, y in zip(lon, lat, strict=True)]


def strip_places(audit: Audit, strips: tuple[Strip, ...], plane: Plane) -> list[Place]:
    """Rows of *strips* in their order, in the job's units."""
    units, causes = audit.job.settings.report.units, told_causes(audit)
    largest = max((strip.area_m2 for strip in strips), default=1.0)
    places = degrees([strip.label_point for strip in strips], plane)
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


def ground_places(ground: BaseGeometry, prefix: str, plane: Plane, units: str) -> list[Place]:
    """Parts of *ground* worth a walk, largest first."""
    parts = [part for part in shapely.get_parts(shapely.get_parts(ground)) if part.area >= LEAST_PLACE_M2]
    parts.sort(key=lambda part: part.area, reverse=True)
    places = degrees([part.representative_point() for part in parts], plane)
    return [
        Place(f"{prefix}{rank}", small_area(part.area, units), part.area / parts[0].area, lat, lon)
        for rank, (part, (lat, lon)) in enumerate(zip(parts, places, strict=True), start=1)
    ]
