"""The part of the recipe that tells ground nobody can speak for: the log was paused or cut while spraying went on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.ground.unlogged import Break, cut_amid, stood_still, unknown_ground

from .drive import log_gaps, on_totals
from .passes import stretches
from .tolerances import CUT_LOOK_S, MOVING_SHARE, TOLD_S

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.ground.model import Ground
    from coverage_audit.jobs.job import Job

    from .drive import Drive


def breaks_of(job: Job, drive: Drive, ground: Ground, *, logged: bool) -> tuple[Break, ...]:
    """Pauses and cut ends of the log in which spraying may have gone on, in time order.

    Parameters
    ----------
    logged : bool
        Whether somebody logged, marked or told when the boom was on: then pauses with the boom off do not count.
    """
    width = job.settings.boom.width_m
    pauses = [one for one in _pauses(drive, logged=logged) if not stood_still(one, width)]
    return (*_cuts(job, drive, ground, logged=logged), *pauses)


def unlogged_ground(job: Job, drive: Drive, breaks: tuple[Break, ...], missed: BaseGeometry) -> BaseGeometry:
    """Part of the *missed* ground that may have been sprayed in *breaks*. [m2]"""
    time_s, distance_m = on_totals(drive)
    speed = distance_m / time_s if time_s > 0 else 0.0
    return unknown_ground(breaks, missed, speed, job.settings.boom.width_m)


def _pauses(drive: Drive, *, logged: bool) -> list[Break]:
    path, on_off = drive.path, stretches(drive.timeline)
    index = np.searchsorted(path.time_s, np.array(log_gaps(path)).reshape(-1, 2))
    found = []
    for before, after in index.tolist():
        start, end = float(path.time_s[before]), float(path.time_s[after])
        if logged and not ((on_off[:, 0] < end) & (on_off[:, 1] > start)).any():
            continue
        if any(not one.on and one.start_s < start + TOLD_S and one.end_s > end - TOLD_S for one in drive.recalls):
            continue  # whoever drove says that nothing was sprayed meanwhile
        found.append(Break(start, end, _place(drive, before), _place(drive, after)))
    return found


def _cuts(job: Job, drive: Drive, ground: Ground, *, logged: bool) -> list[Break]:
    """The log's beginning and end where they cut the work short."""
    path, width = drive.path, job.settings.boom.width_m
    on_off, given = stretches(drive.timeline), job.intervals or ()
    slack = max(job.settings.track.max_gap_s, 2 * drive.track.median_step_s)
    found = []
    for index, told_beyond, on in (
        (0, min((one.on_s for one in given), default=np.inf) < path.time_s[0] - slack, on_off[0, 0]),
        (-1, max((one.off_s for one in given), default=-np.inf) > path.time_s[-1] + slack, on_off[-1, 1]),
    ):
        place, time_s = _place(drive, index), float(path.time_s[index])
        going_on = (not logged or abs(on - time_s) <= slack) and _moving(drive, index)
        if (logged and told_beyond) or (going_on and cut_amid(place, ground.alone, width)):
            found.append(Break(None if index == 0 else time_s, time_s if index == 0 else None, place, place))
    return found


def _moving(drive: Drive, index: int) -> bool:
    """Whether the machine was on its way at the log's beginning (0) or end (-1)."""
    path, (time_s, distance_m) = drive.path, on_totals(drive)
    end = path.time_s[index] + (CUT_LOOK_S if index == 0 else -CUT_LOOK_S)
    there = np.interp(end, path.time_s, path.travel_m)
    speed = abs(there - path.travel_m[index]) / CUT_LOOK_S
    return bool(time_s > 0 and speed > MOVING_SHARE * distance_m / time_s)


def _place(drive: Drive, index: int) -> tuple[float, float]:
    return float(drive.path.x_m[index]), float(drive.path.y_m[index])
