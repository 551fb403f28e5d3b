"""The part of the recipe for a log without boom state: assume it, vary the assumption, tell the range."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.motion import build_motion, refine
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.ground.boom_lines import boom_path
from coverage_audit.ground.target import grown, lay_out, sprayed_fields
from coverage_audit.passes.diary import keep_diary
from coverage_audit.passes.model import Assumed, Range
from coverage_audit.passes.propose import noise_shown, on_times, propose
from coverage_audit.passes.steering import deviations, driven_passes
from coverage_audit.passes.way import usual_speed_m_s
from coverage_audit.read.records import Interval

from .passes import antenna_fixes, boom_fixes
from .tolerances import ASSUMED_EARLY_M, ASSUMED_ERROR_ELSE_M, ASSUMED_ERROR_M, ASSUMED_LATE_M, ASSUMED_MARGIN

if TYPE_CHECKING:
    from collections.abc import Callable

    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import Track
    from coverage_audit.drive.plane import Plane
    from coverage_audit.ground.model import Areas
    from coverage_audit.jobs.job import Job
    from coverage_audit.passes.model import Span

    from .result import Audit

    Count = Callable[[Job], Audit]


@dataclass(frozen=True)
class Proposal:
    """What a log without boom state suggests: the track and where each part of it should have sprayed."""

    track: Track
    parts: list[tuple[Span, list[FloatArray]]]

    def on_off_s(self, early_m: float = 0.0) -> FloatArray:
        """On-times (k, 2), switched *early_m* before the headland's edge. [s]"""
        return on_times(self.parts, early_m)


def make_proposal(job: Job, plane: Plane) -> Proposal:
    """Propose when the boom was on, from passes, field and headland.

    Raises
    ------
    InputError
        No pass and no headland lap could be recognised in the track.
    """
    settings = job.settings
    width = settings.boom.width_m
    offset = settings.track.clock_offset_s
    track, _ = clean_track(job.logs, plane.to_metres, offset, settings.track.max_gap_s)
    path = boom_path(refine(build_motion(track, width / 2)), settings.boom)
    areas = [
        (area.name, grown(plane.geometry_to_metres(area.geometry), settings.field.grow_m)) for area in job.boundary
    ]
    way = shapely.LineString(np.column_stack([path.x_m, path.y_m]))
    chosen, _ = sprayed_fields(areas, way, settings.field.select, width)
    exclude = [plane.geometry_to_metres(area.geometry) for area in job.exclude]
    ground = lay_out([polygon for _, polygon in chosen], exclude, settings.field)
    diary = keep_diary(antenna_fixes(track, None), ground.outer, width)
    fixed = boom_fixes(track, path, None, diary)
    driven = driven_passes(fixed, diary.spans)
    lines = [one.reference for one, _, _ in deviations(driven, fixed.noise_m)]
    parts = propose(fixed, diary.spans, list(zip(driven, lines, strict=True)), ground.target, width)
    if not parts:
        raise InputError(
            "no pass over the field could be recognised in the track, so no boom state can be assumed; list the times "
            "the boom was on in a CSV file with the header on,off",
            "boom.intervals",
        )
    return Proposal(track, parts)


def rests_on_assumption(job: Job) -> bool:
    """Whether any of the job's boom state is assumed."""
    return job.settings.boom.intervals == "assume" or any(one.assumed for one in job.intervals or ())


def assumed_audit(job: Job, plane: Plane, count: Count) -> Audit:
    """Audit with an assumed boom state, and the range of every area over the assumptions tried.

    Parameters
    ----------
    job : Job
        Its boom state is assumed, wholly or (rows of its CSV file) in part.
    plane : Plane
        The job's plane.
    count : callable
        Audits a job whose boom state is given.
    """
    settings = job.settings
    if settings.boom.intervals == "assume":
        proposal = make_proposal(job, plane)
        track = proposal.track
        tries = [_proposed(proposal, early_m) for early_m in EARLY_M]
    else:
        track, _ = clean_track(job.logs, plane.to_metres, settings.track.clock_offset_s, settings.track.max_gap_s)
        speed = usual_speed_m_s(antenna_fixes(track, None))
        tries = [_shifted(job.intervals or (), early_m / speed) for early_m in EARLY_M]
    # the ranges below stand for GPS error, too: draws on top would say it twice, and differently
    plain = replace(job, settings=replace(settings, accuracy=None))
    audit = count(_with_intervals(plain, tries[0]))
    tried = [audit.area_m2, *(count(_with_intervals(plain, other)).area_m2 for other in tries[1:])]
    error = _error_m(track)
    spacing = audit.passes.steering.spacing_mean_m if audit.passes else None
    assumed = Assumed(
        on_off_s=np.array([(one.on_s, one.off_s) for one in tries[0]]),
        ranges=_ranges(tried, *_shown_by_noise(audit)),
        early_m=ASSUMED_EARLY_M,
        late_m=ASSUMED_LATE_M,
        mean_overlap_m=None if spacing is None else settings.boom.width_m - spacing,
        error_m=error,
        narrowest_m=2 * error,
    )
    return replace(audit, job=job, assumed=assumed)


EARLY_M = (0.0, ASSUMED_EARLY_M, -ASSUMED_LATE_M)
"""The assumptions tried: as proposed, early, late. [m]"""


def _proposed(proposal: Proposal, early_m: float) -> tuple[Interval, ...]:
    return tuple(Interval(on, off, (), "the assumed boom state") for on, off in proposal.on_off_s(early_m).tolist())


def _shifted(intervals: tuple[Interval, ...], early_s: float) -> tuple[Interval, ...]:
    """*intervals*, the assumed ones on that much earlier and off later."""
    moved = [
        replace(one, on_s=one.on_s - early_s, off_s=one.off_s + early_s, assumed=False) if one.assumed else one
        for one in intervals
    ]
    return tuple(one for one in moved if one.off_s > one.on_s)


def _with_intervals(job: Job, intervals: tuple[Interval, ...]) -> Job:
    """*job* with on-times given; delays belong to a switch, and there is none."""
    boom = replace(job.settings.boom, intervals="csv", on_delay_s=0.0, off_delay_s=0.0)
    return replace(job, settings=replace(job.settings, boom=boom), intervals=intervals)


def _ranges(tried: list[Areas], missed_shown_m2: float, double_shown_m2: float) -> dict[str, Range | tuple[Range, ...]]:
    """Range of each area; what only noise shows as missed or double may not be there at all."""
    ranges: dict[str, Range | tuple[Range, ...]] = {}
    shown = {"missed": missed_shown_m2, "double": double_shown_m2}
    for field in dataclasses.fields(tried[0]):
        values = [getattr(one, field.name) for one in tried]
        if None in values:
            continue
        if isinstance(values[0], tuple):
            most = max(len(one) for one in values)
            padded = [(*one, *[0.0] * (most - len(one))) for one in values]
            ranges[field.name] = tuple(Range(min(column), max(column)) for column in zip(*padded, strict=True))
        else:
            below, above = ASSUMED_MARGIN if field.name in shown else (0.0, 0.0)
            low = max(min(values) - shown.get(field.name, 0.0), 0.0)
            ranges[field.name] = Range(low * (1 - below), max(values) * (1 + above))
    covered = [one.covered for one in tried]
    target = tried[0].target
    missed = ranges["missed"]
    low, high = (missed.low, missed.high) if isinstance(missed, Range) else (0.0, target)
    ranges["covered"] = Range(min(*covered, target - high), max(*covered, target - low))
    return ranges


def _shown_by_noise(audit: Audit) -> tuple[float, float]:
    result = audit.passes
    if result is None or result.steering.spacing_mean_m is None:
        return 0.0, 0.0
    steering = result.steering
    width = audit.job.settings.boom.width_m
    logged, real = steering.spacing_sd_logged_m or 0.0, steering.spacing_sd_m or 0.0
    # headland laps lie beside each other and beside the edge as passes do
    return noise_shown(steering.spacing_mean_m or width, logged, real, width, audit.distance_on_m)


def _error_m(track: Track) -> float:
    """Usual pass-to-pass error of the track's positions. [m]"""
    if np.isfinite(track.gst_m).mean() > 0.5:
        return float(np.nanmedian(track.gst_m))
    codes, counts = np.unique(track.quality, return_counts=True)
    return ASSUMED_ERROR_M.get(int(codes[np.argmax(counts)]), ASSUMED_ERROR_ELSE_M)
