"""Tank loads: which ground each load went on, and the moment it would have run dry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.model import Timeline
from coverage_audit.drive.tolerances import STAND_SPEED_M_S

from .model import Load
from .tolerances import LOAD_SLACK, LONG_STOP_S

if TYPE_CHECKING:
    from collections.abc import Callable

    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import BoomPath
    from coverage_audit.jobs.settings import TankSettings


@dataclass(frozen=True)
class Stop:
    """A long stop with the boom off, that may have been a refill. [s]"""

    start_s: float
    seconds: float


@dataclass(frozen=True)
class LetOut:
    """Volume let out since the start of the job [L], over time [s]; straight between knots (n,)."""

    time_s: FloatArray
    litres: FloatArray

    def until(self, time_s: float) -> float:
        """Volume let out until then. [L]"""
        return float(np.interp(time_s, self.time_s, self.litres))

    def moment(self, litres: float) -> float | None:
        """Moment at which so much was let out; None if it never was. [s]"""
        if litres >= float(self.litres[-1]):
            return None
        knot = int(np.searchsorted(self.litres, litres, "right"))
        low, high = float(self.litres[knot - 1]), float(self.litres[knot])
        share = (litres - low) / (high - low)
        return float(self.time_s[knot - 1] + share * (self.time_s[knot] - self.time_s[knot - 1]))


def long_stops(path: BoomPath, timeline: Timeline) -> tuple[Stop, ...]:
    """Breaks between sprays in which the vehicle stood for ``LONG_STOP_S`` or more (gaps of the log count)."""
    span = np.diff(path.time_s)
    slow = np.diff(path.travel_m) < STAND_SPEED_M_S * span
    stood = np.concatenate([[0.0], np.cumsum(span * slow)])
    found = []
    for end, start in zip(timeline.end_s[:-1], timeline.start_s[1:], strict=True):
        if start > end:
            seconds = float(np.interp(start, path.time_s, stood) - np.interp(end, path.time_s, stood))
            if seconds >= LONG_STOP_S:
                found.append(Stop(float(end), seconds))
    return tuple(found)


def refill_moments(
    settings: TankSettings, stops: tuple[Stop, ...], let_out: LetOut
) -> tuple[tuple[float, ...], tuple[Stop, ...], int]:
    """Moments of the refills, the stops they were taken from, and how many refills found no stop.

    Given moments are believed. Else, with loads, the longest stops are taken; with a tank's size
    alone, from each filling the last stop before it would have run dry (the first one after, if
    there is none before): the fewest refills that explain the job.
    """
    if settings.refills_s:
        return settings.refills_s, (), 0
    if settings.loads_l:
        wanted = len(settings.loads_l) - 1
        longest = sorted(stops, key=lambda stop: -stop.seconds)[:wanted]
        chosen = tuple(sorted(longest, key=lambda stop: stop.start_s))
        return tuple(stop.start_s for stop in chosen), chosen, wanted - len(chosen)
    tank = settings.tank_l or 0.0
    taken: list[Stop] = []
    since = -np.inf
    missing = 0
    while (dry := let_out.moment((let_out.until(since) if taken else 0.0) + tank * (1 + LOAD_SLACK))) is not None:
        later = [stop for stop in stops if stop.start_s > since]
        before = [stop for stop in later if stop.start_s <= dry]
        if not later:
            missing = 1
            break
        taken.append(before[-1] if before else later[0])
        since = taken[-1].start_s
    return tuple(stop.start_s for stop in taken), tuple(taken), missing


def loads(
    settings: TankSettings, refills_s: tuple[float, ...], let_out: LetOut, swept_until: Callable[[float], float]
) -> tuple[Load, ...]:
    """One record per load.

    Parameters
    ----------
    swept_until : callable
        Ground swept, every sweep counted, from the start of the job until a time. [m2]
    """
    starts = [float(let_out.time_s[0]), *refills_s]
    ends = [*refills_s, float(let_out.time_s[-1])]
    added = list(settings.loads_l) or [settings.tank_l or 0.0] * len(starts)
    # loads for which no refill was found were in the tank by the end: they count with the last one
    added = [*added[: len(starts) - 1], sum(added[len(starts) - 1 :])] if settings.loads_l else added
    found: list[Load] = []
    left = 0.0
    for start, end, more in zip(starts, ends, added, strict=True):
        inside = left + more if settings.loads_l else more
        used = let_out.until(end) - let_out.until(start)
        dry = let_out.moment(let_out.until(start) + inside) if used > inside * (1 + LOAD_SLACK) else None
        fresh = more if settings.loads_l or not found else max(0.0, more - left)
        left = max(0.0, inside - used)
        found.append(Load(start, end, inside, fresh, used, left, swept_until(end) - swept_until(start), dry))
    return tuple(found)


def clipped(timeline: Timeline, spans: list[tuple[float, float]]) -> Timeline:
    """The slots of *timeline* inside *spans* of time; a stretch is cut where a span ends."""
    rows = [
        (max(start, low), min(end, high), slot)
        for slot, (start, end) in enumerate(zip(timeline.start_s, timeline.end_s, strict=True))
        for low, high in spans
        if max(start, low) < min(end, high)
    ]
    slot = np.array([row[2] for row in rows], dtype=int)
    return Timeline(
        np.array([row[0] for row in rows]),
        np.array([row[1] for row in rows]),
        timeline.on[slot],
        timeline.stretch[slot],
    )
