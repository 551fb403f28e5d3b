"""The part of the recipe for a boom state that nobody saw: take the likeliest, draw what else it may have been."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.boom import boom_timeline
from coverage_audit.drive.motion import build_motion, refine
from coverage_audit.drive.remembered import recalls_of, row_recalls
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.ground.boom_lines import boom_path
from coverage_audit.ground.target import grown, lay_out, sprayed_fields
from coverage_audit.jobs.job import ASSUMED, boom_state
from coverage_audit.passes.model import LEG, Assumed, AssumedPart
from coverage_audit.passes.state_draws import drawn, likeliest, recalled, switched
from coverage_audit.passes.state_tolerances import APART_S, DOUBT, STATE_DRAWS, UNSURE_CHANCE
from coverage_audit.passes.way import smooth_way, usual_speed_m_s
from coverage_audit.passes.work_ground import NOTHING_DRIVEN, units_of
from coverage_audit.passes.work_state import segments
from coverage_audit.read.records import LOGGED, PROPOSED, REMEMBERED, Interval

from .drive import noted
from .passes import antenna_fixes
from .ranges import ranges_over, with_state
from .together import with_others
from .tolerances import ASSUMED_ERROR_ELSE_M, ASSUMED_ERROR_M

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.drive.model import BoomPath, Track
    from coverage_audit.drive.plane import Plane
    from coverage_audit.jobs.job import Job
    from coverage_audit.passes.way import Way
    from coverage_audit.passes.work_ground import Units
    from coverage_audit.passes.work_state import Segment

    from .ranges import Ranges
    from .result import Audit

    Count = Callable[[Job], Audit]

SEED = 20260530
"""The same job gives the same figures each time."""


@dataclass(frozen=True)
class Proposal:
    """What a log without boom state suggests: the drive in units, its segments, and the likeliest boom state."""

    track: Track
    path: BoomPath
    units: Units
    found: list[Segment]
    usual_m_s: float

    def on_off_s(self) -> FloatArray:
        """On-times (k, 2) of the likeliest boom state. [s]"""
        return _times(self.units, likeliest(self.units, self.found))


def make_proposal(job: Job, plane: Plane) -> Proposal:
    """Propose when the boom was on, from the drive and the field.

    Raises
    ------
    InputError
        No pass could be recognised in the track.
    """
    track, path, units, way = _drive(job, plane)
    found = segments(units, way)
    if not any(one.kind == LEG and one.chance > DOUBT for one in found):
        raise InputError(NOTHING_DRIVEN, "boom.intervals")
    return Proposal(track, path, units, found, usual_speed_m_s(antenna_fixes(track, None)))


def _drive(job: Job, plane: Plane) -> tuple[Track, BoomPath, Units, Way]:
    """The track, the boom's path, the drive in units over the target, and the antenna's way."""
    settings = job.settings
    width = settings.boom.width_m
    track, _ = clean_track(job.logs, plane.to_metres, settings.track.clock_offset_s, settings.track.max_gap_s)
    if boom_state(job) != ASSUMED:
        track = noted(
            track, boom_timeline(settings.boom, job.logs, track, job.intervals, settings.track.clock_offset_s)[0]
        )
    path = boom_path(refine(build_motion(track, width / 2)), settings.boom)
    areas = [
        (area.name, grown(plane.geometry_to_metres(area.geometry), settings.field.grow_m)) for area in job.boundary
    ]
    way = shapely.LineString(np.column_stack([path.x_m, path.y_m]))
    chosen, _ = sprayed_fields(areas, way, settings.field.select, width)
    exclude = [plane.geometry_to_metres(area.geometry) for area in job.exclude]
    ground, _ = with_others(job, plane, lay_out([polygon for _, polygon in chosen], exclude, settings.field))
    antenna = smooth_way(antenna_fixes(track, None))
    return track, path, units_of(path, antenna, ground.alone, ground.outer, width), antenna


def unseen_audit(job: Job, plane: Plane, count: Count) -> Audit:
    """Audit whose boom state nobody saw: the likeliest one, and the range of every area over others that may have been.

    Parameters
    ----------
    job : Job
        Its boom state is assumed or remembered, wholly or in part.
    plane : Plane
        The job's plane.
    count : callable
        Audits a job whose boom state is given.
    """
    rng = np.random.default_rng(SEED)
    found = (
        _assumed_state(job, plane, rng) if job.settings.boom.intervals == "assume" else _given_state(job, plane, rng)
    )
    audit = count(found.job)
    if boom_state(job) != ASSUMED:
        base = _inside(found.units, [Interval(*each) for each in audit.on_intervals])
    else:
        base = found.base
    ranges = ranges_over(audit, found.units, base, found.tried, rng)
    audit = replace(with_state(audit, ranges, found.units), job=job)
    if audit.remembered is not None:
        audit = replace(audit, remembered=replace(audit.remembered, ranges=ranges.areas, draws=ranges.draws))
    if boom_state(job) != ASSUMED:
        return audit
    return replace(audit, assumed=_assumed(audit, found.track, ranges, found.job.intervals or (), found.parts))


@dataclass(frozen=True)
class _State:
    """A boom state that nobody saw: the job with the likeliest one, it by units, and others that may have been."""

    job: Job
    track: Track
    units: Units
    base: BoolArray
    tried: list[BoolArray]
    parts: tuple[AssumedPart, ...] = ()


def _assumed_state(job: Job, plane: Plane, rng: np.random.Generator) -> _State:
    """The whole boom state is assumed, but for what is remembered."""
    proposal = make_proposal(job, plane)
    units, recalls = proposal.units, recalls_of(job.remembered, proposal.path, plane.to_metres)
    given = tuple(Interval(on, off, (), "the assumed boom state") for on, off in proposal.on_off_s().tolist())
    tried = [
        recalled(units, drawn(units, proposal.found, proposal.usual_m_s, rng), recalls, rng) for _ in range(STATE_DRAWS)
    ]
    base = recalled(units, likeliest(units, proposal.found), recalls)
    return _State(_with_intervals(job, given), proposal.track, units, base, tried, _parts(units, proposal.found))


def _given_state(job: Job, plane: Plane, rng: np.random.Generator) -> _State:
    """The boom state is given, but parts of it are proposed or remembered."""
    track, path, units, _ = _drive(job, plane)
    usual = usual_speed_m_s(antenna_fixes(track, None))
    rows = job.intervals or ()
    counted = _with_intervals(job, rows) if boom_state(job) == ASSUMED else job
    timeline, _ = boom_timeline(
        counted.settings.boom, job.logs, track, counted.intervals, job.settings.track.clock_offset_s
    )
    remembered = row_recalls(rows)
    proposed = _inside(units, [one for one in rows if one.how == PROPOSED])
    on = _inside(
        units, [Interval(*each) for each in zip(timeline.start_s.tolist(), timeline.end_s.tolist(), strict=True)]
    )
    sure = on & ~proposed & ~_inside(units, [one for one in rows if one.how == REMEMBERED])
    recalls = (*remembered, *recalls_of(job.remembered, path, plane.to_metres))
    tried = [
        recalled(units, sure | switched(units, proposed, usual, rng), recalls, rng)
        if proposed.any()
        else recalled(units, sure, recalls, rng)
        for _ in range(STATE_DRAWS)
    ]
    return _State(counted, track, units, recalled(units, sure | proposed, recalls), tried)


def _assumed(
    audit: Audit, track: Track, ranges: Ranges, given: tuple[Interval, ...], parts: tuple[AssumedPart, ...]
) -> Assumed:
    """What rests on the assumption; *given* are its on-times, *parts* how sure they are."""
    error = usual_error_m(track)
    spacing = audit.passes.steering.spacing_mean_m if audit.passes else None
    return Assumed(
        on_off_s=np.array([(one.on_s, one.off_s) for one in given]).reshape(-1, 2),
        ranges=ranges.areas,
        draws=ranges.draws,
        parts=parts,
        unsure_s=sum(one.end_s - one.start_s for one in parts if UNSURE_CHANCE < one.chance < 1 - UNSURE_CHANCE),
        weighed=ranges.weighed,
        with_receiver=audit.accuracy is not None,
        mean_overlap_m=None if spacing is None else audit.job.settings.boom.width_m - spacing,
        error_m=error,
        narrowest_m=2 * error,
    )


# --- boom states ------------------------------------------------------------------------------------


def _times(units: Units, on: BoolArray) -> FloatArray:
    """On-times (k, 2) of the units that are *on*, parted where the drive is. [s]"""
    apart = np.append(units.time_s[1:, 0] - units.time_s[:-1, 1] > APART_S, [True])
    begin = np.flatnonzero(on & np.append(True, ~on[:-1] | apart[:-1])[: len(on)])
    end = np.flatnonzero(on & (np.append(~on[1:], [True]) | apart))
    bounds = np.concatenate([units.time_s[:1, 0], (units.time_s[1:, 0] + units.time_s[:-1, 1]) / 2])
    start = np.where(np.append([True], apart[:-1])[begin], units.time_s[begin, 0], bounds[begin])
    following = np.minimum(end + 1, len(on) - 1)
    stop = np.where(apart[end], units.time_s[end, 1], bounds[following])
    return np.column_stack([start, stop])[stop > start]


def _parts(units: Units, found: Sequence[Segment]) -> tuple[AssumedPart, ...]:
    return tuple(
        AssumedPart(float(units.time_s[one.first, 0]), float(units.time_s[one.last - 1, 1]), one.kind, one.chance)
        for one in found
    )


def _inside(units: Units, intervals: Sequence[Interval]) -> BoolArray:
    """Whether the middle of each unit lies in any of *intervals*."""
    middle = units.time_s.mean(axis=1)
    on = np.zeros(len(middle), bool)
    for one in intervals:
        on |= (middle >= one.on_s) & (middle < one.off_s)
    return on


def _with_intervals(job: Job, intervals: tuple[Interval, ...]) -> Job:
    """*job* with on-times given; delays belong to a switch, and there is none."""
    boom = replace(job.settings.boom, intervals="csv", on_delay_s=0.0, off_delay_s=0.0)
    sure = tuple(replace(one, how=LOGGED) if one.how == PROPOSED else one for one in intervals)
    return replace(job, settings=replace(job.settings, boom=boom), intervals=sure)


def usual_error_m(track: Track) -> float:
    """Usual pass-to-pass error of the track's positions. [m]"""
    if np.isfinite(track.gst_m).mean() > 0.5:
        return float(np.nanmedian(track.gst_m))
    codes, counts = np.unique(track.quality, return_counts=True)
    return ASSUMED_ERROR_M.get(int(codes[np.argmax(counts)]), ASSUMED_ERROR_ELSE_M)
