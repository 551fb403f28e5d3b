"""The part of the recipe that says of each finding where it lies and what made it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.ground.boom_lines import switching_lines
from coverage_audit.passes.causes import Record, find_causes
from coverage_audit.passes.model import HEADLAND, REMEMBERED_OFF
from coverage_audit.passes.strip_places import surroundings
from coverage_audit.passes.tolerances import EDGE_BAND_M

from .drive import log_gaps
from .passes import stretches
from .tolerances import DRIVEN_SHARE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.arrays import FloatArray
    from coverage_audit.ground.model import Ground, Strip
    from coverage_audit.passes.model import Cause

    from .drive import Drive
    from .result import Audit


def with_causes(audit: Audit, drive: Drive, ground: Ground, *, logged: bool) -> Audit:
    """*audit* whose findings say where they lie and what made them.

    Parameters
    ----------
    audit : Audit
        With its passes.
    logged : bool
        Whether somebody logged, marked or wrote down when the boom was on.
    """
    if audit.passes is None:
        return audit
    boom, passes = audit.job.settings.boom, audit.passes.passes
    laps = np.array([one.line for one in passes if one.kind == HEADLAND], dtype=object)
    swaths = shapely.buffer(laps, boom.width_m / 2, cap_style="flat")
    nowhere = np.empty((0, 2, 2))
    ends = switching_lines(drive.lines, EDGE_BAND_M) if logged else (nowhere, nowhere)
    around = surroundings(ground.whole, ground.no_spray, swaths, ends, boom.width_m)
    kinds = (audit.missed_strips, audit.unknown_places, audit.double_patches)
    found = find_causes([one for kind in kinds for one in kind], passes, around, _record(audit, drive, logged))
    causes = found if logged else _as_remembered(found, audit.missed_strips, drive, boom.width_m)
    missed, unknown, double = (
        tuple(replace(strip, where=causes[strip.id].where) for strip in strips) for strips in kinds
    )
    told = replace(audit.passes, causes=causes)
    return replace(audit, missed_strips=missed, unknown_places=unknown, double_patches=double, passes=told)


def _as_remembered(
    found: Mapping[str, Cause], missed: Sequence[Strip], drive: Drive, width_m: float
) -> dict[str, Cause]:
    """Causes in which ground that was driven over while somebody says the boom was off is no guess of this program."""
    causes, path = dict(found), drive.path
    polygons = np.array([strip.polygon for strip in missed], dtype=object)
    for one in drive.recalls:
        inside = (path.time_s >= one.start_s) & (path.time_s <= one.end_s)
        if one.on or inside.sum() < 2:
            continue
        way = shapely.LineString(np.column_stack([path.x_m, path.y_m])[inside])
        shared = shapely.area(shapely.intersection(polygons, way.buffer(width_m / 2, cap_style="flat")))
        for strip, over in zip(missed, shared.tolist(), strict=True):
            if over > DRIVEN_SHARE * strip.area_m2:
                causes[strip.id] = replace(causes[strip.id], kind=REMEMBERED_OFF, time_s=one.start_s)
    return causes


def _record(audit: Audit, drive: Drive, logged: bool) -> Record:  # noqa: FBT001 - passed on
    boom, path = audit.job.settings.boom, drive.path
    on_off = stretches(drive.timeline)
    return Record(
        time_s=path.time_s,
        xy_m=np.column_stack([path.x_m, path.y_m]),
        on_off_s=on_off,
        gaps=_gaps_on(drive, on_off),
        logged=logged,
        width_m=boom.width_m,
        sections=len(boom.sections_m),
    )


def _gaps_on(drive: Drive, on_off: FloatArray) -> np.ndarray:
    """Chords (m,) of the gaps of the log that the boom was on in."""
    path = drive.path
    during = [(a, b) for a, b in log_gaps(path) if ((on_off[:, 0] < b) & (on_off[:, 1] > a)).any()]
    ends = np.searchsorted(path.time_s, np.array(during).reshape(-1, 2))
    return (
        np.asarray(shapely.linestrings(np.column_stack([path.x_m, path.y_m])[ends])) if during else np.empty(0, object)
    )
