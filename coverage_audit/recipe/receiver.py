"""The part of the recipe that tells what a log shows of its receiver while it stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.outlook import measured_error, skips_with
from coverage_audit.accuracy.standing import Standing, standing, stands_of
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import ReportSettings

from .tolerances import STANDING_STEP_S

if TYPE_CHECKING:
    from coverage_audit.read.records import TrackLog


def receiver_of(log: TrackLog) -> Standing:
    """What *log* shows of its receiver: of one left on a post, or while the machine stood.

    Raises
    ------
    InputError
        Fewer than two usable fixes, or fixes too far apart in time.
    """
    fixes = log.fixes
    if not len(fixes):
        raise InputError("has no usable fix; log the receiver for half an hour in the open", log.file)
    lon = float(np.median((fixes.lon_deg - fixes.lon_deg[0] + 180) % 360 - 180)) + float(fixes.lon_deg[0])
    plane = Plane(PlaneOrigin((lon + 180) % 360 - 180, float(np.median(fixes.lat_deg))))
    track, _ = clean_track((log,), plane.to_metres, 0.0, STANDING_STEP_S)
    return standing(stands_of(track))


def skips_of(found: Standing) -> dict[str, float | None]:
    """Smallest skip that a measured receiver can tell, by steering; none when it was not measured well enough. [m]"""
    error = measured_error(found)
    return {} if error is None else skips_with(error, ReportSettings().min_width_m)
