"""The part of the recipe that holds a drive against its field and its boom's clock: told, never corrected."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.clock import clock_shift_s
from coverage_audit.facts import Caution

from .tolerances import NEVER_DRIVEN_PART, NEVER_DRIVEN_WIDTHS

if TYPE_CHECKING:
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
    found = [*_never_driven(audit, drive), *(_clock_off(drive, ground) if logged else [])]
    return replace(audit, cautions=(*found, *audit.cautions))


def _never_driven(audit: Audit, drive: Drive) -> list[Caution]:
    """Caution where a large part of the target was never driven over at all: another log may be missing."""
    areas, width = audit.area_m2, audit.job.settings.boom.width_m
    if areas.missed < NEVER_DRIVEN_PART * areas.target:
        return []
    path = drive.path
    points = np.column_stack([path.x_m, path.y_m])
    ways = [way for way in np.split(points, np.flatnonzero(path.gap_after[:-1]) + 1) if len(way) > 1]
    lines = shapely.simplify([shapely.LineString(way) for way in ways], width / 20)
    driven = shapely.union_all(shapely.buffer(lines, NEVER_DRIVEN_WIDTHS * width, quad_segs=2))
    parts = shapely.get_parts(shapely.difference(audit.layers.by_visits[0], driven))
    largest = float(shapely.area(parts).max(initial=0.0))
    if largest < NEVER_DRIVEN_PART * areas.target:
        return []
    return [Caution("never driven", share=largest / areas.target, area_m2=largest)]


def _clock_off(drive: Drive, ground: Ground) -> list[Caution]:
    shapely.prepare(ground.outer)
    inside = shapely.contains_xy(ground.outer, drive.path.x_m, drive.path.y_m)
    shift = clock_shift_s(drive.path, drive.timeline, inside)
    return [] if shift is None else [Caution("clock off", shift_s=shift)]
