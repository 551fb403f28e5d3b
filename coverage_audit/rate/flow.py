"""The flow out of the nozzles at every moment, from the source that the job's volume rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .volume import joined, nozzle_count, nozzle_flow, open_share

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import Timeline
    from coverage_audit.jobs.settings import BoomSettings, RateSettings
    from coverage_audit.read.records import TrackLog


@dataclass(frozen=True)
class Flow:
    """Flow over time, straight between knots and steady beyond them; arrays (n,).

    ``whole_boom``: what the boom would let out with every section open, of which closed sections
    take their share away; else what the open sections let out together. [L/min]
    """

    time_s: FloatArray
    flow_l_min: FloatArray
    whole_boom: bool

    def litres_until(self, time_s: FloatArray) -> FloatArray:
        """Integral of the flow from its first knot to each time, negative before it. [L]"""
        inside = np.clip(time_s, self.time_s[0], self.time_s[-1])
        steps = np.diff(self.time_s) * (self.flow_l_min[1:] + self.flow_l_min[:-1]) / 2
        total = np.concatenate([[0.0], np.cumsum(steps)])
        knot = np.clip(np.searchsorted(self.time_s, inside, "right") - 1, 0, len(self.time_s) - 1)
        here = np.interp(inside, self.time_s, self.flow_l_min)
        partial = (inside - self.time_s[knot]) * (self.flow_l_min[knot] + here) / 2
        beyond = np.interp(time_s, self.time_s, self.flow_l_min) * (time_s - inside)
        return np.asarray(total[knot] + partial + beyond) / 60.0


def boom_flow(
    source: str,
    settings: RateSettings,
    boom: BoomSettings,
    timeline: Timeline,
    live_s: FloatArray,
    logs: tuple[TrackLog, ...],
    clock_offset_s: float,
) -> Flow:
    """Flow by *source*, one of ``rate.SOURCES`` that is known to be present.

    Parameters
    ----------
    live_s : (m,) float
        Time of each slot outside gaps of the log: a typed-in total is spread over it. [s]
    """
    nozzles = settings.nozzles
    count = nozzle_count(settings, boom) or 0
    if source == "logged flow":
        logged = joined([log.flow for log in logs], clock_offset_s)
        if logged is not None:
            return Flow(*logged, whole_boom=False)
    pressure = joined([log.pressure for log in logs], clock_offset_s)
    if source == "logged pressure" and pressure is not None and nozzles is not None:
        at_one_bar = count * nozzle_flow(nozzles.flow_l_min, nozzles.at_bar, 1.0)
        return Flow(pressure[0], at_one_bar * np.sqrt(np.maximum(pressure[1], 0.0)), whole_boom=True)
    if source == "nozzles" and nozzles is not None:
        steady = count * nozzle_flow(nozzles.flow_l_min, nozzles.at_bar, nozzles.pressure_bar or nozzles.at_bar)
    elif source == "flow":
        steady = settings.flow_l_min or 0.0
    else:
        minutes = float(open_share(boom, timeline) @ live_s) / 60.0
        steady = (settings.applied_l or 0.0) / minutes if minutes > 0 else 0.0
    ends = np.array([timeline.start_s[0], timeline.end_s[-1]])
    return Flow(ends, np.full(2, steady), whole_boom=True)


def section_share(boom: BoomSettings) -> FloatArray:
    """Share of the whole boom's flow that each section lets out, shape (sections,)."""
    weight = np.asarray(boom.section_nozzles or boom.sections_m, float)
    return np.asarray(weight / weight.sum())
