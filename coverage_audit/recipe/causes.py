"""The part of the recipe that says of each finding where it lies and what made it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.ground.boom_lines import switching_lines
from coverage_audit.passes.causes import Record, find_causes
from coverage_audit.passes.model import HEADLAND
from coverage_audit.passes.strip_places import surroundings
from coverage_audit.passes.tolerances import EDGE_BAND_M

from .drive import log_gaps
from .passes import stretches

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray
    from coverage_audit.ground.model import Ground
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
    around = surroundings(ground.target, ground.no_spray, swaths, ends, boom.width_m)
    kinds = (audit.missed_strips, audit.unknown_places, audit.double_patches)
    found = find_causes([one for kind in kinds for one in kind], passes, around, _record(audit, drive, logged))
    causes = {name: _as_remembered(cause, drive) for name, cause in found.items()}
    missed, unknown, double = (
        tuple(replace(strip, where=causes[strip.id].where) for strip in strips) for strips in kinds
    )
    told = replace(audit.passes, causes=causes)
    return replace(audit, missed_strips=missed, unknown_places=unknown, double_patches=double, passes=told)


def _as_remembered(cause: Cause, drive: Drive) -> Cause:
    """A place that is off by what somebody remembers of its one pass is no guess of this program."""
    if cause.kind != "assumed off" or cause.time_s is None or len(cause.passes) > 1:
        return cause
    told = any(not one.on and one.start_s <= cause.time_s <= one.end_s for one in drive.recalls)
    return replace(cause, kind="boom off") if told else cause


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
