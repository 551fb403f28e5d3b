"""Jobs joined to each other: touch-ups to what they mended, machines that did one treatment together."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import shapely
import shapely.geometry

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.ground.together import Sprayed, common_ground
from coverage_audit.jobs.job import may_be_one_mix
from coverage_audit.solid import overlap, solid, without

from .model import Mended, Treatment, told_by_cause
from .rows import shape_of
from .tolerances import LEAST_LEFT_SHARE, LEAST_MENDED_SHARE, TOUCHUP_DAYS, TOUCHUP_SHARE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.read.result_record import JobRecord

    from .model import JobRow


def may_mend(later: JobRow, earlier: JobRow) -> bool:
    """Whether *later* can be a touch-up of *earlier*: small, soon after, of the same product, its boom state given."""
    target, covered = later.area_m2.get("target") or 0.0, later.area_m2.get("covered") or 0.0
    apart = (_moment(later.start) - _moment(earlier.end)).total_seconds() / 86400.0
    small = covered < TOUCHUP_SHARE * target
    return _same_products(later, earlier) and not later.assumed and 0.0 <= apart <= TOUCHUP_DAYS and small


def one_treatment(one: JobRow, other: JobRow) -> bool:
    """Whether two machines sprayed the same product on the field on the same day."""
    machines = {one.machine, other.machine}
    return (
        len(machines) == 2
        and "" not in machines
        and one.first_day == other.first_day
        and _same_products(one, other)
        and not (one.assumed or other.assumed)
    )


def _same_products(one: JobRow, other: JobRow) -> bool:
    """Whether they share a product, or one of them does not say."""
    names = [[product.name for product in job.products] for job in (one, other)]
    return may_be_one_mix(*names)


def _moment(utc: str) -> dt.datetime:
    return dt.datetime.fromisoformat(utc[:19])


def plane_of(job: JobRow) -> Plane:
    """Plane about the middle of the field."""
    west, south, east, north = job.box_deg
    return Plane(PlaneOrigin((west + east) / 2, (south + north) / 2))


# --- strips ----------------------------------------------------------------------------------------


def mended_strips(
    jobs: Sequence[JobRow], records: Mapping[str, JobRecord]
) -> tuple[tuple[Mended, ...], list[shapely.Geometry], dict[tuple[str, str], float]]:
    """Strips that other jobs sprayed, in the order of the jobs, and what is still missed, in degrees.

    A touch-up's own missed ground is no one's loss: most of its field was not meant to be sprayed. Last, by job and
    strip, what an earlier job of the same treatment tells as missed already. [m2]
    """
    plane = plane_of(jobs[0])
    pairs = {
        job.job: [(other, one_treatment(other, job)) for other in jobs if one_treatment(other, job)]
        + [(other, False) for other in jobs if may_mend(other, job) and not one_treatment(other, job)]
        for job in jobs
    }
    wanted = {other.job for others in pairs.values() for other, _ in others}
    sprayed = {job: _sprayed(records[job], plane) for job in sorted(wanted)}
    found: list[Mended] = []
    left: list[tuple[JobRow, shapely.Geometry, bool]] = []
    told: dict[tuple[str, str], float] = {}
    for job in jobs:
        before = shapely.union_all([rest for other, rest, is_told in left if is_told and one_treatment(other, job)])
        for name, strip in _strips(records[job.job], plane):
            whole, rest = strip.area, strip
            for other, together in pairs[job.job]:
                after = without(rest, sprayed[other.job])
                if rest.area - after.area >= LEAST_MENDED_SHARE * whole:
                    found.append(Mended(job.job, name, other.job, whole, rest.area - after.area, together))
                    rest = after
            if rest.area >= LEAST_LEFT_SHARE * whole:
                left.append((job, rest, told_by_cause(whole, whole - rest.area)))
                told[job.job, name] = float(overlap(rest, before).area)
    touchups = touchups_of(found)
    return tuple(found), [plane.geometry_to_degrees(rest) for job, rest, _ in left if job.job not in touchups], told


def touchups_of(mended: Sequence[Mended]) -> set[str]:
    """Jobs that mended others later."""
    return {one.by for one in mended if not one.together}


def _strips(record: JobRecord, plane: Plane) -> list[tuple[str, shapely.Geometry]]:
    return [
        (one["properties"]["id"], _metres(shapely.geometry.shape(one["geometry"]), plane))
        for one in record.findings
        if one["properties"].get("kind") == "missed"
    ]


def _sprayed(record: JobRecord, plane: Plane) -> shapely.Geometry:
    """Target ground that a job sprayed: all of it but what it missed. [m]"""
    if record.ground is not None:
        return without(_metres(record.ground.target, plane), _metres(record.ground.missed, plane))
    target = _metres(shape_of(record, "target"), plane)
    return without(target, shapely.union_all([strip for _, strip in _strips(record, plane)]))


def _metres(degrees: shapely.Geometry, plane: Plane) -> shapely.Geometry:
    return solid(plane.geometry_to_metres(degrees))


# --- machines together -----------------------------------------------------------------------------


def treatments_of(jobs: Sequence[JobRow], records: Mapping[str, JobRecord]) -> tuple[Treatment, ...]:
    """Jobs of several machines that are one treatment, on their common ground."""
    groups: list[list[JobRow]] = []
    for job in jobs:
        near = next((group for group in groups if all(one_treatment(job, other) for other in group)), None)
        if near is None:
            groups.append([job])
        else:
            near.append(job)
    return tuple(_treatment(group, records) for group in groups if len(group) > 1)


def _treatment(group: Sequence[JobRow], records: Mapping[str, JobRecord]) -> Treatment:
    plane = plane_of(group[0])
    parts = [_own_ground(records[job.job], plane) for job in group]
    return Treatment(tuple(job.job for job in group), common_ground(parts))


def _own_ground(record: JobRecord, plane: Plane) -> Sprayed:
    none, ground = shapely.MultiPolygon(), record.ground
    target, double = (none, none) if ground is None else (_metres(ground.target, plane), _metres(ground.double, plane))
    return Sprayed(target, _sprayed(record, plane), double)
