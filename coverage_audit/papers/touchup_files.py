"""The touch-up plan as ``touchup.json``, GPX and GeoJSON: text in, text out."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import gpxpy.gpx
import numpy as np
import shapely

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.words.display import SPACE
from coverage_audit.papers.words.safe import json_text
from coverage_audit.touchup.tolerances import PATH_STEP_M

from .geojson import collection_text
from .gpx import new_paper, paper_text, xml_text
from .words import touchup as words

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import Limit, Mix, Option, StripPlan, TouchupPlan

SCHEMA = "coverage-audit touchup 1"


def touchup_files(audit: Audit, plan: TouchupPlan) -> dict[str, str]:
    """File name to content: ``touchup.json``, ``touchup.gpx``, ``touchup.geojson``."""
    return {
        "touchup.json": touchup_json(audit, plan),
        "touchup.gpx": touchup_gpx(audit, plan),
        "touchup.geojson": touchup_geojson(audit, plan),
    }


# --- JSON -------------------------------------------------------------------------------------------


def touchup_json(audit: Audit, plan: TouchupPlan) -> str:
    """``touchup.json``: SI units (L for mix), unrounded; what is not known is null, times are dates."""
    units = audit.job.settings.report.units
    dates, mix = plan.dates, plan.mix
    found = {
        "schema": SCHEMA,
        "headline": words.headline(plan, units).replace(SPACE, " "),
        "strips": [_strip(one, plan, units) for one in plan.strips],
        "order": [stop.id for stop in plan.stops],
        "exact": plan.exact,
        "path_m": plan.path_m,
        "time_s": plan.time_s,
        "mix_l": None if mix is None else mix.needed_l + mix.reserve_l,
        "mix": None if mix is None else _mix(mix),
        "cost": plan.cost,
        "way_cost": plan.way_cost,
        "leave_cost": plan.leave_cost,
        "net_value": plan.net_value,
        "dates": {
            "on": dates.on.isoformat(),
            "same_application": dates.same_day,
            "earliest_cut": dates.cut and dates.cut.isoformat(),
            "earliest_grazing": dates.graze and dates.graze.isoformat(),
            "planned_cut": dates.planned_cut and dates.planned_cut.isoformat(),
            "rei_days": dates.rei_days,
            "fine": dates.fine if plan.treated else True,
        },
        "before": {"missed_m2": audit.area_m2.missed, "double_m2": audit.area_m2.double},
        "after": {
            "missed_m2": plan.after.missed_m2,
            "double_m2": plan.after.double_m2,
            "outside_target_m2": plan.after.outside_m2,
            "closure_rel": plan.after.closure_rel,
        },
        "limits": [_limit(limit) for limit in plan.limits],
        "assumed": plan.terms.assumed,
        "cautions": [text.replace(SPACE, " ") for text in words.cautions(plan, units)],
    }
    return json_text(found, indent=2)


def _mix(mix: Mix) -> dict[str, Any]:
    return {
        "needed_l": mix.needed_l,
        "reserve_l": mix.reserve_l,
        "prepare_l": mix.prepare_l,
        "product": [{"name": name, "amount": amount, "unit": kind} for name, amount, kind in mix.product],
    }


def _limit(limit: Limit) -> dict[str, Any]:
    return {
        "name": words.limit_name(limit),
        "most_per_ha": limit.most,
        "unit": "L of mix" if limit.scope == "mix" else limit.unit,
    }


def _strip(one: StripPlan, plan: TouchupPlan, units: str) -> dict[str, Any]:
    chosen = one.chosen
    return {
        "id": one.id,
        "advice": one.advice,
        "allowed": one.boom.allowed,
        "reason": words.reason(one, plan, units).replace(SPACE, " "),
        "change": words.change(one, plan, units).replace(SPACE, " "),
        "cured_m2": chosen.cured_m2,
        "resprayed_m2": chosen.resprayed_m2,
        "worth": one.worth,
        "boom_pays_above_m": one.pays_above_m,
        "options": [_option(option, way) for option, way in zip(one.options, one.way_cost, strict=True)],
    }


def _option(option: Option, way_cost: float) -> dict[str, Any]:
    reached = math.isfinite(way_cost)
    return {
        "advice": option.method,
        "possible": option.possible and reached,
        "allowed": option.allowed,
        "why_not": words.WHY_NOT.get(option.why_not) or ("" if reached else "cannot be reached"),
        "broken": [{"name": words.limit_name(one.limit), "dose_per_ha": one.dose} for one in option.broken],
        "sections": option.sections,
        "cured_m2": option.cured_m2,
        "sprayed_m2": option.sprayed_m2,
        "resprayed_m2": option.resprayed_m2,
        "highest_total_l_ha": option.highest_l_ha,
        "time_s": option.time_s,
        "distance_m": option.distance_m,
        "mix_l": option.mix_l if option.method != "leave" else 0.0,
        "product": [{"name": name, "amount": amount, "unit": kind} for name, amount, kind in option.product],
        "own_cost": option.own_cost,
        "way_cost": way_cost if reached else None,
    }


# --- GPX --------------------------------------------------------------------------------------------


def way_line(plan: TouchupPlan) -> FloatArray:
    """The whole way as points (n, 2), without points that say nothing. [m]"""
    points = np.concatenate([[plan.start], *(leg.points for leg in plan.legs)])
    moved = np.append([True], np.hypot(*np.diff(points, axis=0).T) > 1e-6)
    return np.asarray(points[moved])


def touchup_gpx(audit: Audit, plan: TouchupPlan) -> str:
    """GPX 1.1: a waypoint at every stop with what to do there, a route from stop to stop, the whole way as a track."""
    plane, settings = Plane(audit.origin), audit.job.settings
    units, count = settings.report.units, len(settings.boom.sections_m)
    paper = new_paper(f"{settings.name or 'Spray job'}: touch-up", words.headline(plan, units))
    if not plan.stops:
        return paper_text(paper)
    route = gpxpy.gpx.GPXRoute(name="Touch-up, stop by stop")
    places = [plan.start] + [place for stop in plan.stops for place in (stop.start, stop.end)]
    lon, lat = plane.to_degrees(*np.array(places).T)
    names = ["Start", *(f"{k} {end}" for k in range(1, len(plan.stops) + 1) for end in ("begin", "end"))]
    for name, y, x in zip(names, lat, lon, strict=True):
        route.points.append(gpxpy.gpx.GPXRoutePoint(latitude=round(y, 8), longitude=round(x, 8), name=name))
    paper.waypoints.append(_waypoint("Start", words.mix_words(plan, units), lat[0], lon[0]))
    for k, stop in enumerate(plan.stops):
        told = words.stop_words(stop, count, units)
        paper.waypoints.append(_waypoint(f"{k + 1} {stop.id}", told, lat[1 + 2 * k], lon[1 + 2 * k]))
    paper.routes.append(route)
    track = gpxpy.gpx.GPXTrack(name="Touch-up, the way to drive")
    line = shapely.simplify(shapely.LineString(way_line(plan)), PATH_STEP_M / 40)
    lon, lat = plane.to_degrees(*shapely.get_coordinates(line).T)
    track.segments.append(
        gpxpy.gpx.GPXTrackSegment(
            [
                gpxpy.gpx.GPXTrackPoint(latitude=round(y, 8), longitude=round(x, 8))
                for y, x in zip(lat, lon, strict=True)
            ]
        )
    )
    paper.tracks.append(track)
    return paper_text(paper)


def _waypoint(name: str, told: str, lat: float, lon: float) -> gpxpy.gpx.GPXWaypoint:
    return gpxpy.gpx.GPXWaypoint(
        latitude=round(lat, 8), longitude=round(lon, 8), name=xml_text(name), description=xml_text(told)
    )


# --- GeoJSON ----------------------------------------------------------------------------------------


def touchup_geojson(audit: Audit, plan: TouchupPlan) -> str:
    """RFC 7946 GeoJSON: each strip with its advice, ground to spray, the way, and the stops."""
    plane, units = Plane(audit.origin), audit.job.settings.report.units
    count = len(audit.job.settings.boom.sections_m)
    found: list[tuple[BaseGeometry, dict[str, Any]]] = []
    for strip, one in zip(audit.missed_strips, plan.strips, strict=True):
        told = words.reason(one, plan, units).replace(SPACE, " ")
        found.append((strip.polygon, {"id": one.id, "kind": "strip", "advice": one.advice, "reason": told}))
        if one.chosen.spray is not None:
            ground = {"id": f"{one.id} spray", "kind": "spray", "advice": one.advice}
            found.append((one.chosen.spray, ground | {"sprayed_m2": one.chosen.sprayed_m2}))
    if plan.stops:
        found.append((shapely.LineString(way_line(plan)), {"id": "way", "kind": "way", "path_m": plan.path_m}))
    for number, stop in enumerate(plan.stops, start=1):
        told = words.stop_words(stop, count, units).replace(SPACE, " ")
        found.append((shapely.Point(stop.start), {"id": f"stop {number}", "kind": "stop", "what": told}))
    return collection_text(found, plane)
