"""GeoJSON for map programs (RFC 7946): the one writer, and what it writes of an audit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely
import shapely.geometry

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.words.display import SPACE
from coverage_audit.papers.words.passes import told_causes
from coverage_audit.papers.words.safe import json_text

from .shapes import degree_shapes
from .summary import plain, strip_keys
from .summary_rate import rate_findings
from .tolerances import EXPORT_GRID_DEG

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.result import Audit

    Found = tuple[BaseGeometry, dict[str, Any]]


def collection_text(found: Sequence[Found], plane: Plane, *, drop_empty: bool = False) -> str:
    """Text of a FeatureCollection in WGS 84 degrees to 1e-8 (1 mm), outer rings anticlockwise.

    Parameters
    ----------
    found : sequence of (geometry, dict)
        Shapes in metres of *plane*, each with its properties; ``id`` among them is also the feature's own.
    drop_empty : bool
        Leave out what is nothing any more on the grid of 1e-8 degrees.
    """
    degrees = degree_shapes([shape for shape, _ in found], plane)
    nothing = shapely.is_empty(shapely.set_precision(degrees, EXPORT_GRID_DEG)) if drop_empty else [False] * len(found)
    features = [
        {
            "type": "Feature",
            **({"id": properties["id"]} if "id" in properties else {}),
            "properties": plain(properties),
            "geometry": shapely.geometry.mapping(shape),
        }
        for shape, (_, properties), left_out in zip(degrees, found, nothing, strict=True)
        if not left_out
    ]
    return json_text({"type": "FeatureCollection", "features": features})


def findings_geojson(audit: Audit) -> str:
    """The findings: strips, patches, ground sprayed beyond the target, and findings about the rate.

    Each feature has ``id``, ``kind`` ("missed", "unknown", "double", "outside" or "no-spray area"),
    ``area_m2`` and ``where``; strips and patches also their measures and ``cause`` in words. ``ground`` of a missed one
    is "sure" or "cannot tell"; "unknown" is where the log was paused or cut.
    """
    plane, causes = Plane(audit.origin), told_causes(audit)
    found = [
        *_strip_features(audit.missed_strips, "missed", plane, causes, audit.answer.decision.standing),
        *_strip_features(audit.unknown_places, "unknown", plane, causes),
        *_strip_features(audit.double_patches, "double", plane, causes),
        *_part_features(audit.layers.outside, "outside", "field edge"),
        *_part_features(audit.layers.excluded_sprayed, "no-spray area", "no-spray area"),
        *rate_findings(audit),
    ]
    return collection_text(found, plane, drop_empty=True)


def passes_geojson(audit: Audit) -> str:
    """The field, its target and every pass as a line, with number and kind."""
    passes = audit.passes.passes if audit.passes else ()
    found: list[Found] = [(audit.layers.field, {"kind": "field"}), (audit.layers.target, {"kind": "target"})]
    found += [(one.line, {"kind": one.kind, "n": one.n}) for one in passes]
    return collection_text(found, Plane(audit.origin))


def _strip_features(
    strips: tuple[Strip, ...],
    kind: str,
    plane: Plane,
    causes: Mapping[str, str],
    standing: Mapping[str, str] | None = None,
) -> Iterator[Found]:
    for strip, keys in zip(strips, strip_keys(strips, plane), strict=True):
        told = causes[strip.id].replace(SPACE, " ")
        properties = {"kind": kind, **keys, "cause": told}
        if standing is not None:
            properties["ground"] = standing[strip.id]
        if kind == "double":
            properties["max_visits"] = strip.max_visits
        yield strip.polygon, properties


def _part_features(shape: BaseGeometry, kind: str, where: str) -> Iterator[Found]:
    """One feature per connected part, by falling area: O1, O2... outside, N1... in no-spray areas."""
    parts = [part for part in shapely.get_parts(shape) if part.area > 0]
    for rank, part in enumerate(sorted(parts, key=lambda one: -one.area), start=1):
        own = f"{'O' if kind == 'outside' else 'N'}{rank}"
        yield part, {"id": own, "kind": kind, "area_m2": part.area, "where": where}
