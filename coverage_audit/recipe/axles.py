"""Where the boom lies when nobody said where the vehicle's fixed axle is: in turns it swings otherwise."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.ground.boom_lines import boom_path

from .tolerances import AXLE_PLACES, BOOM_BEHIND_AXLE_M, MOST_AXLE_M

if TYPE_CHECKING:
    from collections.abc import Callable

    from coverage_audit.accuracy.counting import Booms
    from coverage_audit.drive.model import BoomPath, Motion
    from coverage_audit.jobs.settings import BoomSettings


def axle_places(boom: BoomSettings) -> tuple[float, ...]:
    """Places behind the antenna that the axle may have, each as likely; none where it is stated or cannot be told. [m]

    A boom behind the antenna hangs behind the axle, one ahead of it leaves the axle behind.
    """
    ahead = boom.antenna_ahead_m
    if boom.axle_behind_antenna_m is not None or boom.towed_m or not ahead:
        return ()
    most = MOST_AXLE_M if ahead < 0 else min(ahead - BOOM_BEHIND_AXLE_M, MOST_AXLE_M)
    return tuple(most * (k + 0.5) / AXLE_PLACES for k in range(AXLE_PLACES)) if most > 0 else ()


def booms_by_axle(motion: Motion, boom: BoomSettings, booms: Callable[[BoomPath], Booms]) -> tuple[Booms, ...]:
    """*booms* of the path by each place of the axle with which the drive could have been driven."""
    found = []
    for behind in axle_places(boom):
        try:
            path = boom_path(motion, replace(boom, axle_behind_antenna_m=behind))
        except InputError:  # such a vehicle would have been dragged: the log rules it out
            continue
        found.append(booms(path))
    return tuple(found)
