"""Touch-ups joined to what they mended: missed strips that a later job sprayed."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import shapely
import shapely.geometry

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane

from .model import Mended
from .rows import shape_of
from .tolerances import LEAST_MENDED_SHARE, TOUCHUP_DAYS, TOUCHUP_SHARE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.read.result_record import JobRecord

    from .model import JobRow


def may_mend(later: JobRow, earlier: JobRow) -> bool:
    """Whether *later* can be a touch-up of *earlier*: small, soon after, of the same product, its boom state given."""
    target, covered = later.area_m2.get("target") or 0.0, later.area_m2.get("covered") or 0.0
    apart = (_moment(later.start) - _moment(earlier.end)).total_seconds() / 86400.0
    keys = [{one.key for one in job.products} for job in (later, earlier)]
    same = bool(keys[0] & keys[1]) or not all(keys)
    return same and not later.assumed and 0.0 <= apart <= TOUCHUP_DAYS and covered < TOUCHUP_SHARE * target


def _moment(utc: str) -> dt.datetime:
    return dt.datetime.fromisoformat(utc[:19])


def mended_strips(
    jobs: Sequence[JobRow], records: Mapping[str, JobRecord]
) -> tuple[tuple[Mended, ...], list[shapely.Geometry]]:
    """Strips that later jobs sprayed, in the order of the jobs, and what is still missed, in degrees.

    A touch-up's own missed ground is no one's loss: most of its field was not meant to be sprayed.
    """
    pairs = {job.job: [other for other in jobs if may_mend(other, job)] for job in jobs}
    west, south, east, north = jobs[0].box_deg
    plane = Plane(PlaneOrigin((west + east) / 2, (south + north) / 2))
    sprayed = {other.job: _sprayed(records[other.job], plane) for others in pairs.values() for other in others}
    found: list[Mended] = []
    left: list[tuple[str, shapely.Geometry]] = []
    for job in jobs:
        for name, strip in _strips(records[job.job], plane):
            whole, rest = strip.area, strip
            for other in pairs[job.job]:
                after = shapely.difference(rest, sprayed[other.job])
                if rest.area - after.area >= LEAST_MENDED_SHARE * whole:
                    found.append(Mended(job.job, name, other.job, whole, rest.area - after.area))
                    rest = after
            left.append((job.job, rest))
    touchups = {one.by for one in found}
    shapes = [plane.geometry_to_degrees(rest) for job, rest in left if job not in touchups and not rest.is_empty]
    return tuple(found), shapes


def _strips(record: JobRecord, plane: Plane) -> list[tuple[str, shapely.Geometry]]:
    return [
        (one["properties"]["id"], _mended(plane.geometry_to_metres(shapely.geometry.shape(one["geometry"]))))
        for one in record.findings
        if one["properties"].get("kind") == "missed"
    ]


def _sprayed(record: JobRecord, plane: Plane) -> shapely.Geometry:
    """Target ground that a job sprayed: all of it but the strips it missed. [m]"""
    target = _mended(plane.geometry_to_metres(shape_of(record, "target")))
    return shapely.difference(target, shapely.union_all([strip for _, strip in _strips(record, plane)]))


def _mended(shape: shapely.Geometry) -> shapely.Geometry:
    return shape if shape.is_valid else shapely.make_valid(shape, method="structure", keep_collapsed=False)
