"""When the boom was on: pass by pass what the log or the drive says, and over it what the person remembers."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from coverage_audit.drive.boom import boom_timeline
from coverage_audit.errors import InputError
from coverage_audit.jobs.accuracy import with_replicates
from coverage_audit.passes.model import BACK, LEG, TURN
from coverage_audit.read.records import Interval
from coverage_audit.read.times import iso_moment
from coverage_audit.recipe.assumed import make_proposal
from coverage_audit.recipe.drive import job_plane
from coverage_audit.recipe.driven_edge import with_driven_edge

from .doubts import Doubt, doubts
from .logs import thinned
from .tolerances import LEAST_SAID_S, MOST_SAID

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import Track
    from coverage_audit.jobs.job import Job
    from coverage_audit.passes.work_state import Segment
    from coverage_audit.read.records import NamedArea

ASSUME = "assume"
SOURCES = ("log", "marks", "segments", ASSUME)
_ZONED = re.compile(r"T\d\d:\d\d:\d\d(Z|[+-]\d\d:\d\d)$")
"""A time that names its seconds and its zone: what this page writes."""

Times = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Said:
    """What a person remembers of the time from ``from_s`` to ``to_s`` [s since 1970 UTC]: the boom was on, or off."""

    from_s: float
    to_s: float
    on: bool


@dataclass(frozen=True, eq=False)
class Stretch:
    """A part of the drive that can be tapped: a pass, or the turn behind it. [s since 1970 UTC]

    ``number`` counts the passes from 1; a turn has that of the pass before it. ``way``: points (n, 3) of x [m],
    y [m] and time [s].
    """

    number: int
    is_pass: bool
    start_s: float
    end_s: float
    way: FloatArray


@dataclass(frozen=True, eq=False)
class BoomFacts:
    """``stretches`` of the drive in order, and the on-times that log or drive say, before anything remembered. [s]

    ``edge``: the edge driven, in degrees, where that is the field. ``doubts``: what only the person can tell.
    """

    stretches: tuple[Stretch, ...]
    base: Times
    edge: tuple[NamedArea, ...] = ()
    doubts: tuple[Doubt, ...] = ()


def boom_facts(job: Job, source: str) -> BoomFacts:
    """Stretches of the drive, and the on-times of *source*, one of ``SOURCES``.

    Raises
    ------
    InputError
        No pass could be recognised in the track, no lap round a field without an outline, or the log says nothing of
        the boom.
    """
    plane = job_plane(job)
    whole, edge = with_driven_edge(job, plane)
    proposal = make_proposal(whole, plane)
    track = proposal.track
    spans = _passes(proposal.found, proposal.units.time_s)
    base = _pairs(*proposal.on_off_s().T) if source == ASSUME else _logged(job, source, track)
    stretches = tuple(_stretches(spans, track))
    asked = doubts(whole, plane, proposal, [one for one in stretches if one.is_pass], base, assumed=source == ASSUME)
    return BoomFacts(stretches, base, whole.boundary if edge else (), asked)


def with_said(base: Times, said: Sequence[Said]) -> Times:
    """On-times with what a person remembers put over them; the later word counts. [s]"""
    found = list(base)
    for one in said:
        kept = [(on, off) for on, off in found if off <= one.from_s or on >= one.to_s]
        cut = [(on, off) for on, off in found if off > one.from_s and on < one.to_s]
        left = [(on, one.from_s) for on, _ in cut if on < one.from_s]
        right = [(one.to_s, off) for _, off in cut if off > one.to_s]
        found = [*kept, *left, *right, *([(one.from_s, one.to_s)] if one.on else [])]
    return tuple(sorted(found))


def taken_for_granted(job: Job, on_times: Times) -> Job:
    """*job* with these on-times and no doubt of them, whose plain areas come within a blink.

    Delays belong to a switch, and what was assumed has none.
    """
    boom = replace(job.settings.boom, intervals="csv", on_delay_s=0.0, off_delay_s=0.0)
    given = tuple(Interval(on, off, (), "the likeliest boom state") for on, off in on_times)
    sure = replace(job, settings=replace(job.settings, boom=boom), intervals=given, remembered=())
    return with_replicates(sure, 0)


def share_on(on_times: Times, start_s: float, end_s: float) -> float:
    """Share of the time from *start_s* to *end_s* that lies in *on_times*. [1]"""
    held = sum(max(0.0, min(off, end_s) - max(on, start_s)) for on, off in on_times)
    return min(held / (end_s - start_s), 1.0) if end_s > start_s else 0.0


# --- what is remembered, as the job file has it -----------------------------------------------------


def remembered_rows(said: Sequence[Said], timezone: str) -> list[dict[str, str]]:
    """Rows of ``boom.remembered``, in local time with its offset from UTC, to the second.

    Raises
    ------
    InputError
        A stretch that ends before it begins, or more of them than anybody can mean.
    """
    if len(said) > MOST_SAID:
        raise InputError(f"these are more than {MOST_SAID} stretches; take some back", "boom.remembered")
    zone = ZoneInfo(timezone)
    rows = []
    for one in said:
        start, end = (dt.datetime.fromtimestamp(round(at), zone).isoformat() for at in (one.from_s, one.to_s))
        if not one.to_s - one.from_s >= LEAST_SAID_S or start == end:
            raise InputError("this stretch ends before it begins; correct its two times", "boom.remembered")
        rows.append({"at": start, "on_until" if one.on else "off_until": end})
    return rows


def said_of(rows: Iterable[Mapping[str, Any]]) -> tuple[tuple[Said, ...], tuple[Mapping[str, Any], ...]]:
    """What rows of ``boom.remembered`` say, and those that a person wrote in another form than this page does."""
    said: list[Said] = []
    others: list[Mapping[str, Any]] = []
    for row in rows:
        end = "on_until" if "on_until" in row else "off_until"
        times = [_moment(row.get(key)) for key in ("at", end)]
        if set(row) == {"at", end} and None not in times:
            said.append(Said(times[0] or 0.0, times[1] or 0.0, end == "on_until"))
        else:
            others.append(row)
    return tuple(said), tuple(others)


def with_one(said: Sequence[Said], new: Said) -> tuple[Said, ...]:
    """*said* and a newer word, in whose time no older one counts any more."""
    parts = []
    for one in said:
        if one.to_s <= new.from_s or one.from_s >= new.to_s:
            parts.append(one)
            continue
        pieces = (replace(one, to_s=new.from_s), replace(one, from_s=new.to_s))
        parts += [piece for piece in pieces if piece.to_s - piece.from_s >= 1.0]
    return tuple(sorted([*parts, new], key=lambda one: one.from_s))


def without(said: Sequence[Said], start_s: float, end_s: float) -> tuple[Said, ...]:
    """*said* with nothing left of it between two moments. [s since 1970 UTC]"""
    return tuple(
        one for one in with_one(said, Said(start_s, end_s, on=True)) if (one.from_s, one.to_s) != (start_s, end_s)
    )


def told_of(said: Sequence[Said], start_s: float, end_s: float) -> bool | None:
    """What is said of all the time between two moments, to the second: on, off, or nothing of the kind."""
    for one in said:
        if one.from_s <= start_s + 1.0 and one.to_s >= end_s - 1.0:
            return one.on
    return None


def _moment(value: object) -> float | None:
    """Seconds [s since 1970 UTC] of a time that names its zone."""
    if not isinstance(value, str) or not _ZONED.search(value):
        return None
    try:
        found = iso_moment(value)
    except ValueError:
        return None
    return None if found is None else found.timestamp()


# --- the drive --------------------------------------------------------------------------------------


def _passes(found: Sequence[Segment], time_s: FloatArray) -> list[tuple[float, float]]:
    """From the first to the last leg between turns, in driving order. [s]"""
    spans: list[tuple[float, float]] = []
    fresh = True
    for one in sorted(found, key=lambda segment: segment.first):
        if one.kind in (TURN, BACK):
            fresh = True
        elif one.kind == LEG:
            start, end = float(time_s[one.first, 0]), float(time_s[one.last - 1, 1])
            spans = [*spans, (start, end)] if fresh else [*spans[:-1], (spans[-1][0], end)]
            fresh = False
    return spans


def _stretches(spans: Sequence[tuple[float, float]], track: Track) -> Iterable[Stretch]:
    points = np.column_stack([track.x_m, track.y_m, track.time_s])
    before = float(track.time_s[0])
    for number, (start, end) in enumerate(spans, start=1):
        if start - before > LEAST_SAID_S:
            yield _stretch(number - 1, before, start, points, is_pass=False)
        yield _stretch(number, start, end, points, is_pass=True)
        before = end
    last = float(track.time_s[-1])
    if spans and last - before > LEAST_SAID_S:
        yield _stretch(len(spans), before, last, points, is_pass=False)


def _stretch(number: int, start_s: float, end_s: float, points: FloatArray, *, is_pass: bool) -> Stretch:
    inside = points[(points[:, 2] > start_s) & (points[:, 2] < end_s)]
    ends = [[float(np.interp(at, points[:, 2], points[:, k])) for k in (0, 1)] + [at] for at in (start_s, end_s)]
    return Stretch(number, is_pass, start_s, end_s, thinned(np.vstack([ends[0], inside, ends[1]])))


def _logged(job: Job, source: str, track: Track) -> Times:
    """On-times as logged: any section on."""
    settings = job.settings
    boom = replace(settings.boom, intervals=source)
    timeline, _ = boom_timeline(boom, job.logs, track, None, settings.track.clock_offset_s)
    return _pairs(timeline.start_s, timeline.end_s)


def _pairs(start_s: FloatArray, end_s: FloatArray) -> Times:
    """Times that touch are one."""
    found: list[tuple[float, float]] = []
    for start, end in zip(start_s.tolist(), end_s.tolist(), strict=True):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return tuple(found)
