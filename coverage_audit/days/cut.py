"""The recipe: logs of one or more days, by machine, to jobs."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .drives import drive_of, error_m
from .model import BOOM_OFF, NO_PASSES, NOWHERE, Cut, FoundJob, NoJob
from .passes_seen import swath
from .places import fields_at, visits
from .sprayed import portions_of, way_of
from .state import ASSUME
from .tolerances import (
    AGAIN,
    AGAIN_LEAST,
    FIELD_ERRORS,
    LEAST_OVER_EDGE_M2,
    LEAST_SPRAYED_WIDTHS,
    LEAST_VISIT_S,
    LONGEST_PAUSE_S,
    NIGHT_S,
    PAUSE_S,
)
from .unknown import unknown_ground

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, IntArray
    from coverage_audit.drive.plane import Plane
    from coverage_audit.read.records import Interval

    from .model import DayDrive, DayLog, DayMachine, Portion

    Progress = Callable[[str, float], None]


def cut_days(
    machines: Sequence[DayMachine],
    logs: Sequence[DayLog],
    fields: Sequence[BaseGeometry],
    plane: Plane,
    zone: dt.tzinfo,
    progress: Progress,
) -> Cut:
    """Cut logs into jobs.

    Parameters
    ----------
    fields : sequence of polygons
        The kept fields. [m]
    plane : Plane
        Plane of the fields; it holds for logs too.
    zone : tzinfo
        Time zone that says when another day begins.
    progress : callable
        Called with what is being done and the part of it that is done.

    Raises
    ------
    InputError
        A log that does not fit its machine.
    """
    outlines = [
        shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(one)]) for one in fields
    ]
    shapely.prepare(outlines)
    cuts = []
    used = [machine for machine in machines if any(one.machine == machine.name for one in logs)]
    for number, machine in enumerate(used):
        progress(f"cutting the logs of {machine.name}", number / len(used))
        own = [one for one in logs if one.machine == machine.name]
        cuts.append(_Day(drive_of(machine, own, plane), error_m(machine, own), outlines, zone).cut())
    return Cut(
        tuple(sorted((job for one in cuts for job in one.jobs), key=lambda job: job.start_s)),
        tuple(sorted((job for one in cuts for job in one.not_jobs), key=lambda job: job.start_s)),
        tuple(sorted((ground for one in cuts for ground in one.unknown), key=lambda ground: ground.start_s)),
        tuple(drive for one in cuts for drive in one.drives),
    )


class _Day:
    """The drive of one machine, while it is cut."""

    def __init__(self, drive: DayDrive, error_m: float, outlines: Sequence[BaseGeometry], zone: dt.tzinfo) -> None:
        self.drive, self.outlines, self.zone = drive, outlines, zone
        self.width_m = drive.machine.boom.width_m
        reach = self.width_m / 2 + FIELD_ERRORS * error_m
        self.field, self.inside = fields_at(drive.x_m, drive.y_m, outlines, reach)
        self.portions = portions_of(drive, self.field)

    def cut(self) -> Cut:
        """Jobs, visits that were none and unknown ground of the drive."""
        jobs: list[FoundJob] = []
        not_jobs: list[NoJob] = []
        for number in sorted({*np.unique(self.field).tolist()} - {NOWHERE}):
            parts = visits(self.drive.time_s, self.field == number)
            own = [one for one in self.portions if one.field == number]
            groups = self._groups(own)
            found = [
                self._job(number, group, span) for group, span in zip(groups, self._spans(groups, parts), strict=True)
            ]
            jobs += found
            not_jobs += [
                NoJob(number, self.drive.machine.name, start, end, self._why(first, last))
                for first, last in parts
                if self._is_visit(number, first, last)
                for start, end in [(float(self.drive.time_s[first]), float(self.drive.time_s[last]))]
                if not any(job.start_s <= end and start <= job.end_s for job in found)
            ]
        return Cut(tuple(jobs), tuple(not_jobs), unknown_ground(self.drive, self.portions), (self.drive,))

    # --- which portions are one job -------------------------------------------------------------------

    def _groups(self, own: list[Portion]) -> list[list[Portion]]:
        """Portions of one field by job."""
        sessions = self._sessions(own)
        by_day: list[list[list[Portion]]] = []
        for session in sessions:
            if by_day and not self._another_day(by_day[-1][-1][-1], session[0]):
                by_day[-1].append(session)
            else:
                by_day.append([session])
        groups = [group for day in by_day for group in self._by_ground(day)]
        least = LEAST_SPRAYED_WIDTHS * self.width_m
        return [group for group in groups if sum(one.length_m for one in group) >= least]

    def _sessions(self, own: list[Portion]) -> list[list[Portion]]:
        """Portions parted where the spraying stopped for long."""
        found: list[list[Portion]] = []
        for one in own:
            if found and self._s(one.first) - self._s(found[-1][-1].last) <= PAUSE_S:
                found[-1].append(one)
            else:
                found.append([one])
        return found

    def _another_day(self, before: Portion, after: Portion) -> bool:
        start, end = self._s(before.last), self._s(after.first)
        days = [dt.datetime.fromtimestamp(moment, self.zone).date() for moment in (start, end)]
        return end - start > LONGEST_PAUSE_S or (end - start > NIGHT_S and days[0] != days[1])

    def _by_ground(self, sessions: list[list[Portion]]) -> list[list[Portion]]:
        """Sessions of one day by job: ground that is gone over again is another one."""
        swaths = [self._swath(session) for session in sessions]
        for k in range(1, len(sessions)):
            before, after = shapely.union_all(swaths[:k]), shapely.union_all(swaths[k:])
            again = shapely.intersection(before, after).area
            first = shapely.intersection(before, swaths[k]).area > AGAIN * swaths[k].area
            if first and again > AGAIN * after.area and after.area >= AGAIN_LEAST * before.area:
                return [[one for session in sessions[:k] for one in session], *self._by_ground(sessions[k:])]
        return [[one for session in sessions for one in session]] if sessions else []

    def _swath(self, portions: list[Portion]) -> BaseGeometry:
        return swath([way_of(self.drive, one) for one in portions], self.width_m)

    def _s(self, fix: int) -> float:
        return float(self.drive.time_s[fix])

    # --- times ----------------------------------------------------------------------------------------

    def _spans(self, groups: list[list[Portion]], parts: list[tuple[int, int]]) -> list[tuple[float, float]]:
        """First and last moment of each job: the visits that its spraying lies in, parted between jobs.

        A visit begins and ends in the field's own ground, or with the spraying: the way along its edge is none.
        """
        spans = []
        for group in groups:
            first, last = group[0].first, group[-1].last
            starts = [self._inner(a, b)[0] for a, b in parts if a <= first <= b]
            ends = [self._inner(a, b)[1] for a, b in parts if a <= last <= b]
            spans.append((self._s(min([first, *starts])), self._s(max([last, *ends]))))
        for k, (before, after) in enumerate(pairwise(groups)):
            off, on = self._s(before[-1].last), self._s(after[0].first)
            middle = (off + on) / 2
            if spans[k][1] >= spans[k + 1][0]:
                spans[k], spans[k + 1] = (spans[k][0], middle), (middle, spans[k + 1][1])
        return spans

    def _inner(self, first: int, last: int) -> tuple[int, int]:
        """First and last fix of a visit in the field's own ground."""
        own = np.flatnonzero(self.inside[first : last + 1] & (self.field[first : last + 1] == self.field[first]))
        return (first + int(own[0]), first + int(own[-1])) if len(own) else (last, first)

    def _is_visit(self, number: int, first: int, last: int) -> bool:
        """Whether a stay in a field is worth telling: in its own ground, and for longer than a turn."""
        there = self.inside[first : last + 1] & (self.field[first : last + 1] == number)
        return bool(there.any()) and self._s(last) - self._s(first) >= LEAST_VISIT_S

    def _why(self, first: int, last: int) -> str:
        states = {self.drive.states[k] for k in np.unique(self.drive.log[first : last + 1]).tolist()}
        return NO_PASSES if ASSUME in states else BOOM_OFF

    # --- one job --------------------------------------------------------------------------------------

    def _job(self, number: int, group: list[Portion], span: tuple[float, float]) -> FoundJob:
        during = (self.drive.time_s >= span[0]) & (self.drive.time_s <= span[1])
        logs = np.unique(self.drive.log[during]).tolist()
        states = {self.drive.states[k] for k in logs}
        state = states.pop() if len(states) == 1 else ASSUME if ASSUME in states else "csv"
        ground = self._swath(group)
        on = None if state == ASSUME else self._on(group, during, mixed=state == "csv")
        return FoundJob(
            number,
            self.drive.machine.name,
            tuple(dict.fromkeys(self.drive.files[k] for k in logs)),
            *span,
            state,
            on,
            self._over_edge(number, ground),
            ground,
        )

    def _on(self, group: list[Portion], during: BoolArray, *, mixed: bool) -> tuple[Interval, ...] | None:
        """On-times over the job's own ground, when its log was on elsewhere meanwhile; else None."""
        own = {(one.first, one.last) for one in group}
        inner: IntArray = np.flatnonzero(during)
        others = [
            one
            for one in self.portions
            if (one.first, one.last) not in own and one.last >= inner[0] and one.first <= inner[-1]
        ]
        known = range(1, 1 + len(self.drive.machine.boom.sections_m))
        if any(number not in known for slot in self.drive.slots for number in slot.sections):
            return None  # a list of on-times cannot tell of sections that the job's boom does not have
        if not others and not mixed:
            return None
        found = []
        for slot in self.drive.slots:
            for one in group:
                start, end = max(slot.on_s, self._edge(one.first, -1)), min(slot.off_s, self._edge(one.last, 1))
                if end > start:
                    found.append(replace(slot, on_s=start, off_s=end))
        return tuple(found)

    def _edge(self, fix: int, side: int) -> float:
        """Moment half-way from a fix to the one beside it, where a portion meets the next. [s]"""
        other = min(max(fix + side, 0), len(self.drive.time_s) - 1)
        return (self._s(fix) + self._s(other)) / 2

    def _over_edge(self, number: int, ground: BaseGeometry) -> tuple[tuple[int, float], ...]:
        others = [
            (k, float(shapely.intersection(ground, outline).area))
            for k, outline in enumerate(self.outlines)
            if k != number and shapely.intersects(ground, outline)
        ]
        return tuple((k, area) for k, area in others if area >= LEAST_OVER_EDGE_M2)
