"""The part of the recipe that holds a drive against its field and its boom's clock: told, never corrected."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.clock import clock_shift_s
from coverage_audit.edges import parted
from coverage_audit.facts import Caution
from coverage_audit.solid import without

from .offsets import antenna_beside, switches_lag
from .outline_place import better_place
from .tolerances import (
    ELSEWHERE_HALF_SWATH,
    ELSEWHERE_OPENED,
    ELSEWHERE_PART,
    ELSEWHERE_WIDTHS,
    LONG_PAUSE_S,
    NEVER_DRIVEN_PART,
    NEVER_DRIVEN_WIDTHS,
)

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.ground.model import Ground

    from .drive import Drive
    from .result import Audit


def with_drive_cautions(audit: Audit, drive: Drive, ground: Ground, *, logged: bool) -> Audit:
    """*audit* with what its drive tells of a missing log, first of all, and of a clock that is off.

    Parameters
    ----------
    logged : bool
        Whether somebody logged, marked or wrote down when the boom was on.
    """
    found = _drive_or_outline(audit, drive)
    found += [*(_clock_off(drive, ground) if logged else []), *_long_pause(drive)]
    if audit.passes is not None:
        found += antenna_beside(audit.passes, audit.job.settings.boom.width_m)
        if logged and not any(one.code == "clock off" for one in found):
            found += switches_lag(audit.passes)
    told = {one.code for one in found}
    kept = [
        one
        for one in audit.cautions
        if one.code != "sprayed elsewhere" or not told & {"other field", "outline elsewhere"}
    ]
    return replace(audit, cautions=(*found, *kept))


def _drive_or_outline(audit: Audit, drive: Drive) -> list[Caution]:
    """What ground that was never driven, and passes outside, tell: of another log, another field, or of the outline."""
    missing, other = _never_driven(audit, drive), _elsewhere(audit, drive)
    if not missing:
        return other
    width = audit.job.settings.boom.width_m
    path = drive.path
    worked = _worked(_unbroken(np.column_stack([path.x_m, path.y_m]), path.gap_after), width)
    moved = better_place(audit.layers.field, worked, width)
    if moved is None:
        return [*missing, *other]
    return [Caution("outline elsewhere", shift_m=moved.shift_m, heading_deg=moved.heading_deg, share=moved.share)]


def _worked(ways: list[shapely.LineString], width_m: float) -> BaseGeometry:
    """Ground that was driven over pass beside pass, about: ways to the field and back are no part of it. [m]"""
    lines = parted(shapely.simplify(ways, width_m / 20))
    swept = shapely.union_all(shapely.buffer(lines, ELSEWHERE_HALF_SWATH * width_m, quad_segs=2, cap_style="flat"))
    reach = ELSEWHERE_OPENED * width_m
    return shapely.buffer(shapely.buffer(swept, -reach, quad_segs=2), reach, quad_segs=2)


def _unbroken(points: FloatArray, gap_after: BoolArray) -> list[shapely.LineString]:
    parts = np.split(points, np.flatnonzero(gap_after[:-1]) + 1)
    return [shapely.LineString(part) for part in parts if len(part) > 1]


def _elsewhere(audit: Audit, drive: Drive) -> list[Caution]:
    """Caution where passes lie beside each other outside the field: the log holds another one."""
    path, width = drive.path, audit.job.settings.boom.width_m
    field = audit.layers.field
    shapely.prepare(field)
    outside = ~shapely.contains_xy(field, path.x_m, path.y_m)
    beyond = shapely.points(path.x_m[outside], path.y_m[outside])
    outside[outside] = ~shapely.dwithin(field, beyond, ELSEWHERE_WIDTHS * width)
    cut = np.flatnonzero(path.gap_after[:-1] | (outside[1:] != outside[:-1])) + 1
    points = np.split(np.column_stack([path.x_m, path.y_m]), cut)
    parts = zip(points, np.split(outside, cut), strict=True)
    ways = [shapely.LineString(way) for way, away in parts if away[0] and len(way) > 1]
    if not ways:
        return []
    if float(shapely.length(ways).sum()) * width < ELSEWHERE_PART * audit.area_m2.target:
        return []
    other = _worked(ways, width)
    if other.area < ELSEWHERE_PART * audit.area_m2.target:
        return []
    return [Caution("other field", area_m2=float(other.area))]


def _never_driven(audit: Audit, drive: Drive) -> list[Caution]:
    """Caution where a large part of the target was never driven over at all: another log may be missing."""
    areas, width = audit.area_m2, audit.job.settings.boom.width_m
    if areas.missed < NEVER_DRIVEN_PART * areas.target:
        return []
    path = drive.path
    ways = _unbroken(np.column_stack([path.x_m, path.y_m]), path.gap_after)
    lines = parted(shapely.simplify(ways, width / 20))
    driven = shapely.union_all(shapely.buffer(lines, NEVER_DRIVEN_WIDTHS * width, quad_segs=2))
    parts = shapely.get_parts(without(audit.layers.by_visits[0], driven))
    largest = float(shapely.area(parts).max(initial=0.0))
    if largest < NEVER_DRIVEN_PART * areas.target:
        return []
    return [Caution("never driven", share=largest / areas.target, area_m2=largest)]


def _long_pause(drive: Drive) -> list[Caution]:
    pause_s = float(np.diff(drive.track.time_s).max())
    return [] if pause_s < LONG_PAUSE_S else [Caution("long pause", pause_s=pause_s)]


def _clock_off(drive: Drive, ground: Ground) -> list[Caution]:
    shapely.prepare(ground.outer)
    inside = shapely.contains_xy(ground.outer, drive.path.x_m, drive.path.y_m)
    shift = clock_shift_s(drive.path, drive.timeline, inside)
    return [] if shift is None else [Caution("clock off", shift_s=shift)]
