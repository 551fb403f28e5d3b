"""The recipe: calls the stages in order, checks the closing sums, returns the audit."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.ground.boom_lines import backed_up_m
from coverage_audit.ground.findings import find_strips
from coverage_audit.ground.model import Areas
from coverage_audit.ground.second_count import raster_count
from coverage_audit.ground.tolerances import CLOSURE_REL
from coverage_audit.jobs.job import ASSUMED, SEEN, boom_state
from coverage_audit.rate.volume import job_volume, with_rates
from coverage_audit.solid import without
from coverage_audit.threads import beside

from .accuracy import with_accuracy, with_default_accuracy
from .assumed import unseen_audit
from .causes import with_causes
from .cautions import (
    boom_cautions,
    check_cautions,
    dropped_cautions,
    elsewhere_cautions,
    gap_cautions,
    log_cautions,
    midnight_cautions,
    width_cautions,
)
from .count import counted_ground
from .crowded import countable
from .drive import drive_of, ground_of, job_plane, log_gaps, on_totals, spacing, transport, ways
from .drive_checks import with_drive_cautions
from .driven_edge import with_driven_edge, with_edge, without_edge_strips
from .passes import with_passes
from .rate import laid_spray, with_rate
from .result import Audit, Checks, InputCount, Layers, Memories
from .together import left_to, together_of, with_others
from .tolerances import CROSS_CHECK_REL
from .unlogged import breaks_of, unlogged_ground

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.accuracy.model import Accuracy
    from coverage_audit.drive.plane import Plane
    from coverage_audit.facts import Caution
    from coverage_audit.ground.model import Ground, RasterCount, Strip
    from coverage_audit.jobs.job import Job
    from coverage_audit.rate.model import Volume

    from .count import Count
    from .drive import Drive

    Progress = Callable[[str, float], None]


def audit_job(job: Job, progress: Progress | None = None) -> Audit:
    """Audit one finished spray job.

    Parameters
    ----------
    job : Job
        Everything read from its files.
    progress : callable, optional
        Called with the name of each stage and the share done, 0 to 1.

    Raises
    ------
    InputError
        The job's files do not fit together or cannot be audited.
    """
    tell = progress or (lambda _stage, _share: None)
    tell("track", 0.0)
    plane = job_plane(job)
    job, edge = with_driven_edge(with_default_accuracy(job), plane)
    state = boom_state(job)
    if state not in SEEN:
        audit = unseen_audit(job, plane, lambda one: _audited(one, plane, tell, logged=state != ASSUMED))
    else:
        audit = _audited(job, plane, tell, logged=True)
    return with_edge(audit, edge, plane)


def _audited(job: Job, plane: Plane, tell: Progress, *, logged: bool) -> Audit:
    """Audit of *job*, whose on-times are given; *logged*: somebody logged, marked or wrote them down."""
    drive = countable(drive_of(job, plane, logged=logged), job, plane)
    tell("field", 0.2)
    ground, names, cautions = _ground(job, plane, drive)
    tell("swept ground", 0.3)
    volume = _volume(job, drive)
    with beside() as others:  # the two counts and the rate share nothing: side by side
        second = others.submit(raster_count, drive.lines, ground.target, job.settings.boom.width_m)
        spray = others.submit(laid_spray, job, drive, ground, volume)
        counted = counted_ground(drive, ground, job.settings.boom.width_m)
        tell("findings", 0.5)
        missed_ground = counted.parts.union(counted.parts.in_target & (counted.parts.visits == 0))
        breaks = breaks_of(job, drive, ground, logged=logged)
        unknown = unlogged_ground(job, drive, breaks, missed_ground)
        missed, places, double, slivers = _strips(job, counted, missed_ground, unknown)
        layers = _layers(counted, drive, missed_ground, unknown)
        areas = replace(_areas(counted, slivers), unknown=float(unknown.area))
        tell("second count", 0.8)
        checks = _checks(counted, areas, second.result())
        tell("rate", 0.9)
        laid = spray.result()
    figures = (areas, checks, with_rates(volume, areas))
    audit = _result(job, plane, drive, layers, names, cautions, (missed, double), figures)
    together = together_of(job, ground, layers)
    audit = replace(audit, unknown_places=places, breaks=breaks, entered_m=_entered(drive, ground), together=together)
    audit = with_rate(audit, drive, ground, laid)
    tell("passes", 0.95)
    audit = with_passes(audit, drive.track, drive.path, drive.timeline, ground)
    audit = with_causes(audit, drive, ground, logged=logged)
    audit = with_drive_cautions(without_edge_strips(audit), drive, ground, logged=logged)
    audit = with_accuracy(audit, drive.track, drive.timeline, drive.thinned, ground, tell, switched=logged)
    tell("done", 1.0)
    return audit


def accuracy_unasked(audit: Audit) -> Accuracy | None:
    """How sure the figures of *audit*, whose boom was seen, are when nothing typed of the receiver has a say."""
    unasked = with_default_accuracy(replace(audit.job, settings=replace(audit.job.settings, accuracy=None)))
    plane = job_plane(unasked)
    drive = drive_of(unasked, plane)
    ground, _, _ = _ground(unasked, plane, drive)
    told = replace(audit, job=unasked)
    seen = (drive.track, drive.timeline, drive.thinned, ground)
    return with_accuracy(told, *seen, lambda *_: None, switched=True).accuracy


def _ground(job: Job, plane: Plane, drive: Drive) -> tuple[Ground, tuple[str, ...], tuple[Caution, ...]]:
    """Ground of the job, less what other machines took of it; the sprayed fields, and cautions."""
    ground, names, cautions = ground_of(job, plane, drive)
    ground, told = with_others(job, plane, ground)
    return left_to(drive, ground), names, (*cautions, *told)


def _strips(
    job: Job, counted: Count, missed_ground: BaseGeometry, unknown: BaseGeometry
) -> tuple[tuple[Strip, ...], tuple[Strip, ...], tuple[Strip, ...], tuple[float, float]]:
    """Missed strips, places that nobody can speak for, double patches, and what of missed and double is too narrow."""
    parts = counted.parts
    least, width = job.settings.report.min_width_m, job.settings.boom.width_m
    twice = parts.in_target & (parts.visits > 1)
    known = missed_ground if unknown.is_empty else without(missed_ground, unknown)
    missed, _ = find_strips(known, least, "M", boom_m=width)
    places, _ = find_strips(unknown, least, "U")
    double, double_rest = find_strips(parts.union(twice), least, "D", (parts.faces[twice], parts.visits[twice]))
    listed = sum(one.area_m2 for one in (*missed, *places))
    return missed, places, double, (max(float(missed_ground.area) - listed, 0.0), double_rest)


def _areas(counted: Count, slivers: tuple[float, float]) -> Areas:
    parts, target = counted.parts, counted.parts.in_target
    visits, sure = parts.visits, parts.sure_visits
    most = int(visits[target].max(initial=0))
    by_visits = tuple(parts.area(target & (visits == k)) for k in range(most + 1))
    swept = float(visits @ parts.area_m2)
    return Areas(
        field=float(counted.ground.field.area),
        target=float(counted.ground.target.area),
        covered=sum(by_visits[1:]),
        missed=by_visits[0],
        missed_slivers=slivers[0],
        double=sum(by_visits[2:]),
        double_slivers=slivers[1],
        double_bridged=parts.area(target & (visits > 1) & (sure < 2)),
        by_visits=by_visits,
        bridged=parts.area(target & (visits > 0) & (sure == 0)),
        outside=parts.area((visits > 0) & ~parts.in_outer),
        excluded_sprayed=parts.area((visits > 0) & parts.in_outer & ~target),
        swept=swept,
        swept_net=parts.area(visits > 0),
        reswept=float(parts.sweeps @ parts.area_m2) - swept,
    )


def _checks(counted: Count, areas: Areas, raster: RasterCount) -> Checks:
    """The closing sums, each relative to the field, and the comparison with the raster count."""
    parts_sum = abs(sum(areas.by_visits) - areas.target)
    quads_sum = abs(counted.quads_m2 - areas.swept - areas.reswept)
    closure = max(parts_sum, quads_sum) / areas.field
    pairs = ((raster.covered_m2, areas.covered), (raster.missed_m2, areas.missed), (raster.double_m2, areas.double))
    cross = max(abs(a - b) for a, b in pairs) / areas.field
    return Checks(
        closure_rel=closure,
        cross_check_rel=cross,
        ok=closure <= CLOSURE_REL and cross <= CROSS_CHECK_REL,
        raster_covered_m2=raster.covered_m2,
        raster_missed_m2=raster.missed_m2,
        raster_double_m2=raster.double_m2,
    )


def _volume(job: Job, drive: Drive) -> Volume:
    settings = job.settings
    gaps = log_gaps(drive.path)
    return job_volume(settings.rate, settings.boom, drive.timeline, gaps, job.logs, settings.track.clock_offset_s)


def _layers(counted: Count, drive: Drive, missed_ground: BaseGeometry, unknown: BaseGeometry) -> Layers:
    parts, ground = counted.parts, counted.ground
    target, visits = parts.in_target, parts.visits
    most = int(visits[target].max(initial=0))
    passes = [shapely.LineString(way) for one in drive.thinned for way in ways(one)]
    return Layers(
        field=ground.field,
        target=ground.target,
        excluded=ground.no_spray,
        by_visits=(missed_ground, *(parts.union(target & (visits == k)) for k in range(1, most + 1))),
        bridged=parts.union(target & (visits > 0) & (parts.sure_visits == 0)),
        outside=parts.union((visits > 0) & ~parts.in_outer),
        excluded_sprayed=parts.union((visits > 0) & parts.in_outer & ~target),
        passes=tuple(passes),
        transport=tuple(transport(drive)),
        unknown=unknown,
        by_others=without(ground.whole, ground.target),
    )


def _cautions(job: Job, drive: Drive, inputs: Sequence[InputCount], areas: Areas, checks: Checks) -> list[Caution]:
    path, timeline = drive.path, drive.timeline
    gaps_on = [
        min(b, last) - max(a, first)
        for first, last in log_gaps(path)
        for a, b in zip(timeline.start_s, timeline.end_s, strict=True)
        if min(b, last) > max(a, first)
    ]
    return [
        *dropped_cautions(inputs),
        *midnight_cautions(job.logs),
        *log_cautions(job.logs, spacing(drive), drive.track.median_step_s, job.settings.accuracy),
        *boom_cautions(job.settings.boom, backed_up_m(path)),
        *width_cautions(areas, job.settings.boom.width_m),
        *elsewhere_cautions(areas),
        *gap_cautions(gaps_on, areas, int(path.bridged_after.sum())),
        *check_cautions(checks),
    ]


def _result(
    job: Job,
    plane: Plane,
    drive: Drive,
    layers: Layers,
    names: tuple[str, ...],
    cautions: Sequence[Caution],
    strips: tuple[tuple[Strip, ...], tuple[Strip, ...]],
    figures: tuple[Areas, Checks, Volume],
) -> Audit:
    areas, checks, volume = figures
    path, track = drive.path, drive.track
    time_on, distance_on = on_totals(drive)
    gap_s = sum(last - first for first, last in log_gaps(path))
    gap_m = float(np.diff(path.travel_m)[path.gap_after[:-1]].sum())
    inputs = _inputs(job, drive)
    readers = (*job.cautions, *(one for log in job.logs for one in log.cautions))
    return Audit(
        job=job,
        origin=plane.origin,
        start_s=float(track.time_s[0]),
        end_s=float(track.time_s[-1]),
        inputs=inputs,
        area_m2=areas,
        distance_on_m=distance_on,
        distance_off_m=float(path.travel_m[-1]) - gap_m - distance_on,
        time_on_s=time_on,
        time_off_s=float(track.time_s[-1] - track.time_s[0]) - gap_s - time_on,
        time_gap_s=gap_s,
        median_step_s=track.median_step_s,
        volume=volume,
        missed_strips=strips[0],
        double_patches=strips[1],
        checks=checks,
        layers=layers,
        on_intervals=tuple(zip(drive.timeline.start_s.tolist(), drive.timeline.end_s.tolist(), strict=True)),
        sprayed_fields=names,
        cautions=(*readers, *drive.cautions, *cautions, *_cautions(job, drive, inputs, areas, checks)),
        remembered=Memories(drive.recalls) if drive.recalls else None,
    )


def _entered(drive: Drive, ground: Ground) -> tuple[float, float] | None:
    """Where the boom's centre first was in the field; None when it never was. [m]"""
    inside = np.flatnonzero(shapely.contains_xy(ground.outer, drive.path.x_m, drive.path.y_m))
    return (float(drive.path.x_m[inside[0]]), float(drive.path.y_m[inside[0]])) if len(inside) else None


def _inputs(job: Job, drive: Drive) -> tuple[InputCount, ...]:
    return tuple(
        InputCount(
            file=log.file,
            sha256=log.sha256,
            form=log.form,
            fixes_read=log.fixes_read,
            fixes_used=int((drive.track.file == number).sum()),
            dropped={**log.dropped, **dropped},
            notes=log.notes,
        )
        for number, (log, dropped) in enumerate(zip(job.logs, drive.dropped, strict=True))
    )
