"""The part of the recipe for a log without boom state: assume the likeliest, draw what else it may have been."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.motion import build_motion, refine
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.ground.boom_lines import boom_path
from coverage_audit.ground.target import grown, lay_out, sprayed_fields
from coverage_audit.passes.model import LEG, Assumed, AssumedPart
from coverage_audit.passes.state_draws import drawn, likeliest, switched
from coverage_audit.passes.state_tolerances import APART_S, DOUBT, STATE_DRAWS, UNSURE_CHANCE
from coverage_audit.passes.way import smooth_way, usual_speed_m_s
from coverage_audit.passes.work_ground import NOTHING_DRIVEN, units_of
from coverage_audit.passes.work_state import segments
from coverage_audit.read.records import Interval

from .passes import antenna_fixes
from .ranges import ranges_over, with_state
from .tolerances import ASSUMED_ERROR_ELSE_M, ASSUMED_ERROR_M

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.drive.model import Track
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
    track, units, way = _drive(job, plane)
    found = segments(units, way)
    if not any(one.kind == LEG and one.chance > DOUBT for one in found):
        raise InputError(NOTHING_DRIVEN, "boom.intervals")
    return Proposal(track, units, found, usual_speed_m_s(antenna_fixes(track, None)))


def _drive(job: Job, plane: Plane) -> tuple[Track, Units, Way]:
    """The track, the drive in units over the target, and the antenna's way."""
    settings = job.settings
    width = settings.boom.width_m
    track, _ = clean_track(job.logs, plane.to_metres, settings.track.clock_offset_s, settings.track.max_gap_s)
    path = boom_path(refine(build_motion(track, width / 2)), settings.boom)
    areas = [
        (area.name, grown(plane.geometry_to_metres(area.geometry), settings.field.grow_m)) for area in job.boundary
    ]
    way = shapely.LineString(np.column_stack([path.x_m, path.y_m]))
    chosen, _ = sprayed_fields(areas, way, settings.field.select, width)
    exclude = [plane.geometry_to_metres(area.geometry) for area in job.exclude]
    ground = lay_out([polygon for _, polygon in chosen], exclude, settings.field)
    antenna = smooth_way(antenna_fixes(track, None))
    return track, units_of(path, antenna, ground.target, ground.outer, width), antenna


def rests_on_assumption(job: Job) -> bool:
    """Whether any of the job's boom state is assumed."""
    return job.settings.boom.intervals == "assume" or any(one.assumed for one in job.intervals or ())


def assumed_audit(job: Job, plane: Plane, count: Count) -> Audit:
    """Audit with the likeliest boom state, and the range of every area over others that may have been.

    Parameters
    ----------
    job : Job
        Its boom state is assumed, wholly or (rows of its CSV file) in part.
    plane : Plane
        The job's plane.
    count : callable
        Audits a job whose boom state is given.
    """
    rng = np.random.default_rng(SEED)
    parts: tuple[AssumedPart, ...] = ()
    if job.settings.boom.intervals == "assume":
        proposal = make_proposal(job, plane)
        track, units = proposal.track, proposal.units
        base = likeliest(units, proposal.found)
        given = tuple(Interval(on, off, (), "the assumed boom state") for on, off in proposal.on_off_s().tolist())
        tried = [drawn(units, proposal.found, proposal.usual_m_s, rng) for _ in range(STATE_DRAWS)]
        parts = _parts(units, proposal.found)
    else:
        track, units, _ = _drive(job, plane)
        given = job.intervals or ()
        base = _inside(units, given)
        usual = usual_speed_m_s(antenna_fixes(track, None))
        tried = [_shifted(units, given, usual, rng) for _ in range(STATE_DRAWS)]
    audit = count(_with_intervals(job, given))
    ranges = ranges_over(audit, units, base, tried, rng)
    audit = with_state(audit, ranges, units)
    return replace(audit, job=job, assumed=_assumed(audit, track, ranges, given, parts))


def _assumed(
    audit: Audit, track: Track, ranges: Ranges, given: tuple[Interval, ...], parts: tuple[AssumedPart, ...]
) -> Assumed:
    """What rests on the assumption; *given* are its on-times, *parts* how sure they are."""
    error = _error_m(track)
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


def _shifted(units: Units, intervals: Sequence[Interval], usual_m_s: float, rng: np.random.Generator) -> BoolArray:
    """*intervals* with the switches of the assumed ones thrown as drivers do."""
    assumed = [one for one in intervals if one.assumed]
    sure = _inside(units, [one for one in intervals if not one.assumed])
    return sure | switched(units, _inside(units, assumed), usual_m_s, rng)


def _with_intervals(job: Job, intervals: tuple[Interval, ...]) -> Job:
    """*job* with on-times given; delays belong to a switch, and there is none."""
    boom = replace(job.settings.boom, intervals="csv", on_delay_s=0.0, off_delay_s=0.0)
    sure = tuple(replace(one, assumed=False) for one in intervals)
    return replace(job, settings=replace(job.settings, boom=boom), intervals=sure)


def _error_m(track: Track) -> float:
    """Usual pass-to-pass error of the track's positions. [m]"""
    if np.isfinite(track.gst_m).mean() > 0.5:
        return float(np.nanmedian(track.gst_m))
    codes, counts = np.unique(track.quality, return_counts=True)
    return ASSUMED_ERROR_M.get(int(codes[np.argmax(counts)]), ASSUMED_ERROR_ELSE_M)
