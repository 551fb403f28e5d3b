"""What an audit found as ``summary.json``, as text for the terminal, as GeoJSON and as GPX."""

from __future__ import annotations

import dataclasses
import math
import re
from typing import TYPE_CHECKING, Any

import gpxpy.gpx
import numpy as np
import shapely
import shapely.geometry

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.words.accuracy import accuracy_keys
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.papers.words.passes import told_causes, verdict_of
from coverage_audit.papers.words.safe import json_text, one_line, printable

from .summary_passes import cause_keys, pass_features, pass_keys
from .summary_rate import rate_findings, rate_keys, volume_keys
from .tolerances import EXPORT_GRID_DEG, EXPORT_GRID_M, WALKED_LINE_M
from .words import display

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.result import Audit, InputCount

SCHEMA = "coverage-audit summary 1"
LISTED_STRIPS = 5
"""Missed strips named on the terminal; the report and summary.json have them all."""

# Characters that XML 1.0 cannot hold, not even escaped (section 2.2, production Char).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def summary_dict(audit: Audit) -> dict[str, Any]:
    """Everything that ``summary.json`` holds, in SI units (L and L/ha for the spray), unrounded.

    Returns
    -------
    dict
        Plain Python values only. What could not be computed is None. Times are UTC.
    """
    volume, plane = audit.volume, Plane(audit.origin)
    found = {
        "schema": SCHEMA,
        "job": _job(audit),
        "inputs": [_input(one) for one in audit.inputs],
        "area_m2": {**dataclasses.asdict(audit.area_m2), "proven": None if audit.assumed else audit.area_m2.proven},
        "distance_m": {"on": audit.distance_on_m, "off": audit.distance_off_m},
        "time_s": {"on": audit.time_on_s, "off": audit.time_off_s, "gap": audit.time_gap_s},
        "median_step_s": audit.median_step_s,
        "volume_l": {
            "applied": volume.applied_l,
            "source": volume.source,
            "by_source": volume.by_source,
            "in_gaps": volume.in_gaps_l,
            **volume_keys(audit),
        },
        "rate_l_ha": {
            "target": volume.target_l_ha,
            "over_swept": volume.over_swept_l_ha,
            "over_covered": volume.over_covered_l_ha,
            "over_target_area": volume.over_target_area_l_ha,
        },
        **rate_keys(audit),
        "missed_strips": [_finding(strip, audit, plane) for strip in audit.missed_strips],
        "double_patches": [
            {**_finding(patch, audit, plane), "max_visits": patch.max_visits} for patch in audit.double_patches
        ],
        **pass_keys(audit),
        **accuracy_keys(audit),
        "checks": dataclasses.asdict(audit.checks),
        "cautions": caution_texts(audit),
    }
    plain: dict[str, Any] = _plain(found)
    return plain


def _job(audit: Audit) -> dict[str, Any]:
    settings = audit.job.settings
    return {
        "name": settings.name,
        "start": display.utc_text(audit.start_s),
        "end": display.utc_text(audit.end_s),
        "timezone": settings.timezone,
        "units": settings.report.units,
        "fields": audit.sprayed_fields,
    }


def _finding(strip: Strip, audit: Audit, plane: Plane) -> dict[str, Any]:
    return {**_strip(strip, plane), **cause_keys(audit, strip)}


def summary_json(audit: Audit) -> str:
    """``summary.json`` as text, indented, one line end at its end."""
    return json_text(summary_dict(audit), indent=2)


def terminal_text(audit: Audit) -> str:
    """Short text for the terminal: verdict, cautions, the job's figures, the largest missed strips."""
    settings = audit.job.settings
    told = verdict_of(audit)
    lines = [_title(audit), "", told.headline, *(f"  {sentence}" for sentence in told.sentences)]
    cautions = [*([told.caution] if told.caution else []), *caution_texts(audit)]
    if cautions:
        lines += ["", "Cautions:", *(f"  - {caution}" for caution in cautions)]
    if audit.missed_strips:
        lines += ["", *_strip_table(audit, settings.report.units)]
    return "\n".join(printable(line) for line in lines) + "\n"


def findings_geojson(audit: Audit) -> str:
    """Write the findings as RFC 7946 GeoJSON: WGS 84 degrees to 1e-8 (1 mm), outer rings anticlockwise.

    Each feature has ``id``, ``kind`` ("missed", "double", "outside" or "no-spray area"),
    ``area_m2`` and ``where``; strips and patches also their measures and ``cause`` in words.
    """
    plane, causes = Plane(audit.origin), told_causes(audit)
    found = [
        *_strip_features(audit.missed_strips, "missed", plane, causes),
        *_strip_features(audit.double_patches, "double", plane, causes),
        *_part_features(audit.layers.outside, "outside", "field edge"),
        *_part_features(audit.layers.excluded_sprayed, "no-spray area", "no-spray area"),
        *rate_findings(audit),
    ]
    features = _features(found, plane)
    return json_text({"type": "FeatureCollection", "features": features})


def missed_gpx(audit: Audit) -> str:
    """GPX 1.1 of the missed strips: a waypoint on each and a track along its middle line."""
    plane, causes = Plane(audit.origin), told_causes(audit)
    units = audit.job.settings.report.units
    paper = gpxpy.gpx.GPX()
    paper.creator = "coverage-audit"
    paper.name = _xml_text(f"{one_line(audit.job.settings.name) or 'Spray job'}: missed strips")
    labels = plane.geometry_to_degrees(np.array([strip.label_point for strip in audit.missed_strips], dtype=object))
    lines = shapely.simplify(np.array([strip.line for strip in audit.missed_strips], dtype=object), WALKED_LINE_M)
    for strip, point, line in zip(audit.missed_strips, labels, plane.geometry_to_degrees(lines), strict=True):
        told = _xml_text(_words(strip, causes[strip.id], units))
        paper.waypoints.append(
            gpxpy.gpx.GPXWaypoint(latitude=point.y, longitude=point.x, name=strip.id, description=told)
        )
        track = gpxpy.gpx.GPXTrack(name=strip.id, description=told)
        for part in shapely.get_parts(line):
            places = [gpxpy.gpx.GPXTrackPoint(latitude=lat, longitude=lon) for lon, lat in part.coords]
            track.segments.append(gpxpy.gpx.GPXTrackSegment(places))
        paper.tracks.append(track)
    return str(paper.to_xml(version="1.1", prettyprint=True)) + "\n"


def passes_geojson(audit: Audit) -> str:
    """Write the field, its target and every pass as GeoJSON lines, with number and kind (RFC 7946)."""
    features = pass_features(audit)
    return json_text({"type": "FeatureCollection", "features": features})


def _plain(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """JSON's own types: arrays and tuples as lists, numbers that are not finite as None."""
    if isinstance(value, dict) or hasattr(value, "items"):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(item) for item in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _input(one: InputCount) -> dict[str, Any]:
    return {
        "file": one.file,
        "sha256": one.sha256,
        "form": one.form,
        "fixes_read": one.fixes_read,
        "fixes_used": one.fixes_used,
        "dropped": {"bad_checksum": 0, "no_position": 0, **one.dropped},
        "notes": one.notes,
    }


def _strip(strip: Strip, plane: Plane) -> dict[str, Any]:
    lon, lat = plane.to_degrees(strip.label_point.x, strip.label_point.y)
    return {
        "id": strip.id,
        "area_m2": strip.area_m2,
        "length_m": strip.length_m,
        "mean_width_m": strip.mean_width_m,
        "max_width_m": strip.max_width_m,
        "orientation_deg": strip.orientation_deg,
        "lat": float(lat),
        "lon": float(lon),
        "where": strip.where,
        "probability": strip.probability,
    }


def _title(audit: Audit) -> str:
    settings = audit.job.settings
    start = display.local_datetime(audit.start_s, settings.timezone)
    worked = display.duration(audit.end_s - audit.start_s)
    return f"{one_line(settings.name) or 'Spray job'}, {start}, {worked} from first to last fix"


def _strip_table(audit: Audit, units: str) -> list[str]:
    strips, causes = audit.missed_strips, told_causes(audit)
    shown = strips[:LISTED_STRIPS]
    rows = [
        (
            strip.id,
            display.small_area(strip.area_m2, units),
            display.length(strip.length_m, units),
            display.length(strip.mean_width_m, units),
            causes[strip.id],
        )
        for strip in shown
    ]
    cells = [("", "area", "length", "mean width", "where"), *rows]
    wide = [max(len(row[column]) for row in cells) for column in range(4)]
    largest = f", the largest {len(shown)} of {len(strips)}" if len(strips) > len(shown) else ""
    return [
        f"Missed strips{largest}:",
        *(
            f"  {row[0]:<{wide[0]}}  {row[1]:>{wide[1]}}  {row[2]:>{wide[2]}}  {row[3]:>{wide[3]}}  {row[4]}"
            for row in cells
        ),
    ]


def _xml_text(text: str) -> str:
    return _NOT_XML.sub("\ufffd", text)


def _words(strip: Strip, where: str, units: str) -> str:
    """Size and place of a strip in one line."""
    size = f"{display.length(strip.length_m, units)} long, {display.length(strip.mean_width_m, units)} wide"
    return f"Missed {display.small_area(strip.area_m2, units)}, {size} on average, {where}".replace(display.SPACE, " ")


_Found = tuple["BaseGeometry", dict[str, Any]]  # polygon in plane metres, properties


def _strip_features(strips: tuple[Strip, ...], kind: str, plane: Plane, causes: Mapping[str, str]) -> Iterator[_Found]:
    for strip in strips:
        told = causes[strip.id].replace(display.SPACE, " ")
        properties = {"kind": kind, **_strip(strip, plane), "cause": told}
        if kind == "double":
            properties["max_visits"] = strip.max_visits
        yield strip.polygon, properties


def _part_features(shape: BaseGeometry, kind: str, where: str) -> Iterator[_Found]:
    """One feature per connected part, by falling area: O1, O2... outside, N1... in no-spray areas."""
    parts = [part for part in shapely.get_parts(shape) if part.area > 0]
    for rank, part in enumerate(sorted(parts, key=lambda one: -one.area), start=1):
        own = f"{'O' if kind == 'outside' else 'N'}{rank}"
        yield part, {"id": own, "kind": kind, "area_m2": part.area, "where": where}


def _features(found: list[_Found], plane: Plane) -> list[dict[str, Any]]:
    """GeoJSON features in degrees, without slivers that are nothing any more on the grid of 1e-8 degrees."""
    shapes = np.array([shape for shape, _ in found], dtype=object)
    # edges that all but touch in metres may cross in degrees; on a grid of a millimetre none do
    clean = shapely.make_valid(plane.geometry_to_degrees(shapely.set_precision(shapes, EXPORT_GRID_M)))
    degrees = shapely.orient_polygons(shapely.set_precision(clean, EXPORT_GRID_DEG))
    return [
        {
            "type": "Feature",
            "id": properties["id"],
            "properties": _plain(properties),
            "geometry": shapely.geometry.mapping(shape),
        }
        for shape, (_, properties) in zip(degrees, found, strict=True)
        if not shape.is_empty
    ]
