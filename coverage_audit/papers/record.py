"""A finished audit as the one typed record that comparison and season read."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import shapely

from coverage_audit.drive.plane import Plane
from coverage_audit.read.result_record import JobRecord, RecordGround, RecordSurface

from .geojson import findings_geojson, passes_geojson
from .summary import summary_dict

if TYPE_CHECKING:
    from coverage_audit.recipe.result import Audit


def job_record(audit: Audit, label: str) -> JobRecord:
    """Record of *audit*: what its papers hold, and its rate surface where a rate is known."""
    findings, lines = (tuple(json.loads(text(audit))["features"]) for text in (findings_geojson, passes_geojson))
    return JobRecord(label, summary_dict(audit), findings, lines, _surface(audit), _ground(audit))


def _ground(audit: Audit) -> RecordGround:
    found, plane = audit.layers, Plane(audit.origin)
    target, missed = found.target, found.by_visits[0]
    if audit.together is not None:  # what others took stays a part of the field that this one did not spray
        target, missed = (shapely.union(one, found.by_others) for one in (target, missed))
    double = shapely.union_all(found.by_visits[2:]) if len(found.by_visits) > 2 else shapely.MultiPolygon()
    return RecordGround(*(plane.geometry_to_degrees(shape) for shape in (target, missed, double)))


def _surface(audit: Audit) -> RecordSurface | None:
    cells = None if audit.rate is None else audit.rate.cells
    if cells is None:
        return None
    return RecordSurface(
        audit.origin.lon_deg,
        audit.origin.lat_deg,
        cells.cell_m,
        cells.row,
        cells.column,
        cells.rate_l_ha,
        cells.swept,
    )
