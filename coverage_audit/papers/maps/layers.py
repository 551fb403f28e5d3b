"""What the maps of the report show, in reading order: shared by the live and the still map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.papers.words.accuracy import chance_class
from coverage_audit.recipe.once import once

from .passes import numbered_passes, turn_lines

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.result import Audit

MARGIN_SHARE = 0.03
"""Paper left free around the drawing, as a share of its longer side, so that edges can be seen."""


@dataclass(frozen=True)
class Piece:
    """One shape of a layer: ``kind`` is its CSS class without "map-", ``id`` that of its finding or ""."""

    kind: str
    geometry: BaseGeometry
    id: str = ""


@dataclass(frozen=True)
class MapLayer:
    """A layer that can be switched; ``shown`` says whether it starts visible."""

    key: str
    label: str
    pieces: tuple[Piece, ...]
    shown: bool = True


@once
def map_layers(audit: Audit) -> tuple[MapLayer, ...]:
    """Layers of *audit* that hold something, in plane metres; the first lies on top of the second, and so on."""
    found = audit.layers
    sure = set(audit.answer.decision.sure)
    surely, perhaps = (
        _outlines("missed", tuple(one for one in audit.answer.listed if (one.id in sure) is which), audit)
        for which in (True, False)
    )
    sure_ground, other_ground = _missed_ground(audit, sure)
    patches, places = (
        _outlines(kind, found, audit)
        for kind, found in (("double", audit.double_patches), ("unknown", audit.unknown_places))
    )
    layers = (
        _layer("unknown", "Unknown: the log was paused or cut", [found.unknown], places),
        _layer("missed", "Surely missed", [sure_ground], surely),
        _layer("perhaps", "Perhaps missed", [other_ground], perhaps),
        _layer("double", "Sprayed twice or more", found.by_visits[2:], patches),
        _layer("outside", "Sprayed beyond the boundary", [found.outside]),
        _layer("excludedsprayed", "Sprayed in no-spray ground", [found.excluded_sprayed]),
        _layer("bridged", "Covered only by bridging a gap in the log", [found.bridged]),
        *_rate_layers(audit),
        MapLayer("passline", "Passes by number", _numbered(audit), shown=False),
        _layer("turns", "Turns", turn_lines(audit), shown=False),
        _layer("passes", "Driven while spraying", found.passes),
        _layer("transport", "Driven with the boom off", found.transport, shown=False),
        _layer("field", "Field boundary", [found.field]),
        _layer("excluded", "No-spray areas and setbacks", [found.excluded]),
        _layer("byothers", "Sprayed by another machine", [found.by_others]),
        _layer("once", "Sprayed once", found.by_visits[1:2]),
    )
    return tuple(layer for layer in layers if layer.pieces)


def _missed_ground(audit: Audit, sure: set[str]) -> tuple[BaseGeometry, BaseGeometry]:
    """Missed ground that is sure, up to its own rims, and the rest that nobody need call unknown."""
    found, width_m = audit.layers, audit.job.settings.report.min_width_m
    missed = shapely.union_all(list(found.by_visits[:1]))
    strips = [strip.polygon for strip in audit.missed_strips if strip.id in sure]
    surely = shapely.intersection(missed, shapely.buffer(shapely.union_all(strips), width_m / 2))
    return surely, shapely.difference(missed, shapely.union_all([surely, found.unknown]))


def _layer(
    kind: str, label: str, shapes: Iterable[BaseGeometry], findings: tuple[Piece, ...] = (), *, shown: bool = True
) -> MapLayer:
    pieces = (Piece(kind, shape) for shape in shapes if not shape.is_empty)
    return MapLayer(kind, label, (*pieces, *findings), shown)


def _outlines(kind: str, strips: tuple[Strip, ...], audit: Audit) -> tuple[Piece, ...]:
    """The listed findings as outlines over the ground they are part of: they can be chosen.

    So a strip narrower than a pixel still shows as a line.
    """
    return tuple(
        Piece(f"find map-find-{kind}{chance_class(strip, audit)}", strip.polygon, strip.id) for strip in strips
    )


def _rate_layers(audit: Audit) -> tuple[MapLayer, ...]:
    """Ground perhaps sprayed from an empty tank, and places above the label's most."""
    found = audit.rate
    if found is None:
        return ()
    dry = tuple(Piece("find map-find-dry", one.polygon, one.id) for one in (found.tank.dry if found.tank else ()))
    above = tuple(Piece("find map-find-above", place.polygon, place.id) for place in found.places)
    return (
        MapLayer("dry", "Sprayed after the tank may have run dry", dry),
        MapLayer("above", "More than the label's most", above, shown=False),
    )


def _numbered(audit: Audit) -> tuple[Piece, ...]:
    return tuple(Piece("passline", line, name) for name, line in numbered_passes(audit))


def map_bounds(audit: Audit) -> tuple[float, float, float, float]:
    """West, south, east, north [m] of what the maps open on: the field and all sprayed ground."""
    found = audit.layers
    shapes = np.array([found.field, found.outside, found.excluded_sprayed, *found.passes], dtype=object)
    west, south, east, north = (float(value) for value in shapely.total_bounds(shapes))
    margin = MARGIN_SHARE * max(east - west, north - south)
    return west - margin, south - margin, east + margin, north + margin
