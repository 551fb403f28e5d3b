"""What only the person can tell: whether the boom was on while the log paused, and on passes left open by the drive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.ground.unlogged import Break, stood_still
from coverage_audit.passes.model import LEG
from coverage_audit.passes.state_tolerances import UNSURE_CHANCE

from .tolerances import MOST_DOUBTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from coverage_audit.drive.model import Track
    from coverage_audit.drive.plane import Plane
    from coverage_audit.jobs.job import Job
    from coverage_audit.recipe.assumed import Proposal

    from .boom import Stretch, Times

PAUSE, PASS = "pause", "pass"


@dataclass(frozen=True)
class Doubt:
    """A time of the drive of which the log does not tell whether the boom was on. [s since 1970 UTC]

    ``kind``: a pause of the log, over which the machine got ``moved_m`` on, or the pass ``number``, whose chance of
    having been on [1] lies in the middle.
    """

    kind: str
    start_s: float
    end_s: float
    moved_m: float = 0.0
    number: int = 0
    chance: float = 0.5


def doubts(
    job: Job, plane: Plane, proposal: Proposal, passes: Sequence[Stretch], on: Times, *, assumed: bool
) -> tuple[Doubt, ...]:
    """What to ask of a job, the first ``MOST_DOUBTS`` in time order.

    Pauses count near the field, and where somebody logged the boom only those in which it was *on*; passes count where
    nobody logged it.
    """
    ground = shapely.union_all([plane.geometry_to_metres(area.geometry) for area in job.boundary])
    width = job.settings.boom.width_m
    pauses = [
        one
        for one in _pauses(proposal.track, ground.buffer(width), width)
        if assumed or any(a < one.end_s and b > one.start_s for a, b in on)
    ]
    open_passes = list(_open_passes(proposal, passes)) if assumed else []
    return tuple(sorted([*pauses, *open_passes], key=lambda one: one.start_s)[:MOST_DOUBTS])


def _pauses(track: Track, near: shapely.Geometry, width_m: float) -> Iterable[Doubt]:
    for k in np.flatnonzero(track.gap_after[:-1]).tolist():
        ends = [(float(track.x_m[i]), float(track.y_m[i])) for i in (k, k + 1)]
        pause = Break(float(track.time_s[k]), float(track.time_s[k + 1]), *ends)
        if not stood_still(pause, width_m) and any(shapely.contains_xy(near, *end) for end in ends):
            yield Doubt(PAUSE, float(track.time_s[k]), float(track.time_s[k + 1]), moved_m=pause.metres)


def _open_passes(proposal: Proposal, passes: Sequence[Stretch]) -> Iterable[Doubt]:
    times = proposal.units.time_s
    legs = [one for one in proposal.found if one.kind == LEG]
    for each in passes:
        inside = [one for one in legs if times[one.first, 0] < each.end_s and times[one.last - 1, 1] > each.start_s]
        lengths = [float(times[one.last - 1, 1] - times[one.first, 0]) for one in inside]
        chance = float(np.average([one.chance for one in inside], weights=lengths)) if inside else 0.0
        if UNSURE_CHANCE < chance < 1 - UNSURE_CHANCE:
            yield Doubt(PASS, each.start_s, each.end_s, number=each.number, chance=chance)
