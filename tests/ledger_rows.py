"""Rows, records and surfaces of a season that are small enough to work out by hand."""

import dataclasses

import numpy as np
import shapely
import shapely.geometry

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.ledger.model import JobRow, ProductRow
from coverage_audit.read.result_record import JobRecord, RecordGround, RecordSurface

PLACE = PlaneOrigin(-70.5, -41.2)
PRODUCT = ProductRow("Larkmoor 200 SL", "", "L", 0.01, 1.0, None, 1.2, 14.0, None)


def surface(boxes, rate_l_ha, *, east_m=0.0, north_m=0.0, cell_m=0.25):
    """Surface of even *rate_l_ha* over boxes (west, south, east, north) [m] of the plane about PLACE.

    The surface's own plane lies *east_m* and *north_m* away, so that its cells fall as they may; what a cell has of the
    boxes is its swept share.
    """
    lon, lat = Plane(PLACE).to_degrees(east_m, north_m)
    own = Plane(PlaneOrigin(float(lon), float(lat)))
    ground = shapely.union_all([shapely.box(*box) for box in boxes])
    ground = own.geometry_to_metres(Plane(PLACE).geometry_to_degrees(ground))
    west, south, east, north = (int(np.floor(edge / cell_m)) for edge in ground.bounds)
    column, row = (one.ravel() for one in np.meshgrid(np.arange(west, east + 1), np.arange(south, north + 1)))
    cells = shapely.box(column * cell_m, row * cell_m, (column + 1) * cell_m, (row + 1) * cell_m)
    shapely.prepare(ground)
    swept = np.where(shapely.contains(ground, cells), 1.0, 0.0)
    edge = ~shapely.contains(ground, cells) & shapely.intersects(ground, cells)
    swept[edge] = shapely.area(shapely.intersection(cells[edge], ground)) / cell_m**2
    used = swept > 1e-6
    rates = np.full(int(used.sum()), float(rate_l_ha))
    return RecordSurface(float(lon), float(lat), cell_m, row[used], column[used], rates, swept[used])


def litres(one):
    """All that a surface holds. [L]"""
    return float(one.rate_l_ha @ one.swept) * one.cell_m**2 / 10_000


def row(job, start="2026-05-30T15:00:00Z", end="2026-05-30T16:00:00Z", **more):
    """Row of a job on the field of 100 x 60 m, all of it covered unless said otherwise."""
    box = Plane(PLACE).geometry_to_degrees(shapely.box(0, 0, 100, 60)).bounds
    areas = {"target": 6000.0, "covered": 6000.0, "missed": 0.0, "double": 0.0}
    found = JobRow(
        job=job,
        name=job,
        fields=("East bench",),
        machine="",
        start=start,
        end=end,
        first_day=start[:10],
        last_day=end[:10],
        units="metric",
        assumed=False,
        area_m2=areas,
        applied_l=None,
        laid_l=None,
        over_covered_l_ha=None,
        target_l_ha=None,
        products=(PRODUCT,),
        box_deg=tuple(float(one) for one in box),
    )
    return dataclasses.replace(found, **more)


def feature(kind, shape_m, **properties):
    """GeoJSON feature of ground in metres of the plane about PLACE."""
    degrees = Plane(PLACE).geometry_to_degrees(shape_m)
    return {
        "type": "Feature",
        "properties": {"kind": kind, **properties},
        "geometry": shapely.geometry.mapping(degrees),
    }


def record(strips, covered=None, ground=None):
    """Record of a job on the field of 100 x 60 m that missed *strips*, name to box; *ground* (missed, double)."""
    field = shapely.box(0, 0, 100, 60)
    if ground is not None:
        ground = RecordGround(*(Plane(PLACE).geometry_to_degrees(shape) for shape in (field, *ground)))
    findings = [feature("missed", shapely.box(*box), id=name, area_m2=0.0) for name, box in strips.items()]
    summary = {"area_m2": {"target": 6000.0, "covered": covered}, "missed_strips": []}
    return JobRecord("", summary, tuple(findings), (feature("field", field), feature("target", field)), ground=ground)
