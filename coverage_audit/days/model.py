"""A day as it is cut: frozen dataclasses, no algorithms. Lengths in plane metres, times in seconds since 1970 UTC."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.jobs.settings import BoomSettings
    from coverage_audit.read.records import Interval, TrackLog

NOWHERE = -1
"""Number of the field that a fix outside all of them lies in."""

BOOM_OFF, NO_PASSES = "boom off", "no passes"
"""Why a visit is no job: the boom was logged, and off; no boom was logged, and nothing looks like passes."""


@dataclass(frozen=True)
class DayMachine:
    """A machine of the farm: its boom, its word for where the boom state comes from ("": not said), its error. [m]"""

    name: str
    boom: BoomSettings
    said: str = ""
    error_m: float | None = None


@dataclass(frozen=True, eq=False)
class DayLog:
    """One log, named from the farm's folder, and the machine that made it."""

    file: str
    machine: str
    log: TrackLog


@dataclass(frozen=True, eq=False)
class DayDrive:
    """Everything that one machine logged, one fix at a time. Arrays of shape (n,), in time order.

    ``log`` numbers the logs. ``slots``: when the boom was on, in time order, of the logs that say so; ``states``:
    for each log the word for where its boom state comes from. ``replaced``: for each log how many of its fixes were
    left out because a better log of the machine covers their time.
    """

    machine: DayMachine
    files: tuple[str, ...]
    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    log: IntArray
    states: tuple[str, ...]
    slots: tuple[Interval, ...]
    replaced: tuple[int, ...]


@dataclass(frozen=True)
class Portion:
    """A part of the sprayed way over one field: fixes ``first`` to ``last`` of the drive, of one stretch."""

    field: int
    first: int
    last: int
    stretch: int
    length_m: float


@dataclass(frozen=True, eq=False)
class FoundJob:
    """A job: field by number, machine, logs, first and last moment.

    ``state``: where its boom state comes from. ``on``: on-times to be written out, None where the log as it is will
    do. ``over_edge``: (field, m2) sprayed on other kept fields. ``swath``: the ground it sprayed.
    """

    field: int
    machine: str
    files: tuple[str, ...]
    start_s: float
    end_s: float
    state: str
    on: tuple[Interval, ...] | None
    over_edge: tuple[tuple[int, float], ...]
    swath: BaseGeometry


@dataclass(frozen=True)
class NoJob:
    """A visit to a field that was none for spraying, and why."""

    field: int
    machine: str
    start_s: float
    end_s: float
    why: str


@dataclass(frozen=True, eq=False)
class UnknownGround:
    """Ground sprayed outside every kept field; ``outline`` is the driven edge. [m]"""

    machine: str
    files: tuple[str, ...]
    start_s: float
    end_s: float
    outline: BaseGeometry


@dataclass(frozen=True, eq=False)
class Cut:
    """What the logs hold: jobs, visits that were none, unknown ground; all in time order."""

    jobs: tuple[FoundJob, ...]
    not_jobs: tuple[NoJob, ...]
    unknown: tuple[UnknownGround, ...]
    drives: tuple[DayDrive, ...]
