"""Whether a driven outline is the job's own lap: then it tells nothing of what was missed along it."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from coverage_audit.facts import Caution

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.read.outlines.registry import FieldFile
    from coverage_audit.read.records import TrackLog


def own_lap(
    boundary: FieldFile, logs: Sequence[TrackLog], offset_s: float, timezone: str
) -> tuple[bool, list[Caution]]:
    """Whether a driven outline was driven in the course of the job, and a caution on when it was.

    Parameters
    ----------
    boundary : FieldFile
        As read; ``laps`` are the times of its driven lines.
    logs : sequence of TrackLog
        Logs of the job.
    offset_s : float
        Added to every time of the logs. [s]
    timezone : str
        Zone in which the person counts days.
    """
    if not boundary.laps:
        return False, []
    name = boundary.sources[0][0]
    timed = [lap for lap in boundary.laps if lap is not None]
    if len(timed) < len(boundary.laps):
        return False, [Caution("lap without times", file=name)]
    times = [log.fixes.time_s + offset_s for log in logs if len(log.fixes)]
    if any(first <= one.max() and one.min() <= last for first, last in timed for one in times):
        return True, [Caution("lap of this job", file=name)]
    when = dt.datetime.fromtimestamp(timed[0][0], ZoneInfo(timezone))
    return False, [Caution("lap of another day", file=name, day=f"{when:%Y-%m-%d}", clock=f"{when:%H:%M}")]
