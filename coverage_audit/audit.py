"""The recipe: calls the stages in order, checks the closing sums, returns the audit."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .audit_rate import with_rate
from .boom import boom_timeline
from .cautions import (
    boom_cautions,
    check_cautions,
    dropped_cautions,
    gap_cautions,
    log_cautions,
    midnight_cautions,
    width_cautions,
)
from .coverage import partition
from .errors import InputError
from .findings import find_strips, surroundings
from .ground import grown, lay_out, sprayed_fields
from .model import Areas, Audit, Checks, InputCount, Job, Layers, PlaneOrigin
from .motion import build_motion, refine
from .plane import Plane, nearest_m
from .raster import raster_count
from .rate import job_volume, with_rates
from .swath import (
    backed_up_m,
    boom_path,
    headland_polygons,
    on_lines,
    pieces_of,
    quad_area,
    switching_lines,
    thin,
    thinning_m,
    travel_at,
)
from .tolerances import (
    CLOSURE_REL,
    CROSS_CHECK_REL,
    DRAWN_PATH_M,
    EDGE_BAND_M,
    MAX_FIELD_DISTANCE_M,
    NODE_GRID_M,
)
from .track import clean_track

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from shapely.geometry.base import BaseGeometry

    from .model import Strip, Volume
    from .model_core import BoomLines, BoomPath, Ground, Partition, Piece, RasterCount, Timeline, Track

    Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class _Drive:
    """The job as driven: track, boom path, boom state and boom lines (whole and thinned)."""

    track: Track
    dropped: tuple[dict[str, int], ...]
    path: BoomPath
    timeline: Timeline
    lines: list[BoomLines]
    thinned: list[BoomLines]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class _Count:
    """What was counted on the ground."""

    ground: Ground
    pieces: list[Piece]
    parts: Partition
    quads_m2: float


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
    plane = _plane(job)
    drive = _drive(job, plane)
    tell("field", 0.2)
    ground, names, cautions = _ground(job, plane, drive)
    tell("swept ground", 0.3)
    with ThreadPoolExecutor(max_workers=1) as other_route:  # the two counts share nothing, so they run side by side
        second = other_route.submit(raster_count, drive.lines, ground.target, job.settings.boom.width_m)
        counted = _counted(drive, ground, job.settings.boom.width_m)
        tell("findings", 0.5)
        missed_ground = counted.parts.union(counted.parts.in_target & (counted.parts.visits == 0))
        missed, double, slivers = _strips(job, drive, counted, missed_ground)
        layers = _layers(counted, drive, missed_ground)
        areas = _areas(counted, slivers)
        tell("second count", 0.8)
        checks = _checks(counted, areas, second.result())
    volume = with_rates(_volume(job, drive), areas)
    audit = _result(job, plane, drive, layers, names, cautions, (missed, double), (areas, checks, volume))
    tell("rate", 0.9)
    audit = with_rate(audit, drive.track, drive.path, drive.timeline, ground)
    tell("done", 1.0)
    return audit


def _plane(job: Job) -> Plane:
    """Plane about the middle of the track; the boundary must not lie in another place."""
    lon = np.concatenate([log.fixes.lon_deg for log in job.logs])
    lat = np.concatenate([log.fixes.lat_deg for log in job.logs])
    if not len(lon):
        raise InputError("no usable fix is left in the log", job.logs[0].file)
    lon0 = float(np.median((lon - lon[0] + 180) % 360 - 180)) + float(lon[0])
    origin = PlaneOrigin((lon0 + 180) % 360 - 180, float(np.median(lat)))
    corners = shapely.get_coordinates([area.geometry for area in job.boundary])
    nearest = nearest_m(origin, corners[:, 0], corners[:, 1])
    swapped = nearest_m(origin, *corners[np.abs(corners[:, 0]) <= 90].T[::-1])
    if nearest > MAX_FIELD_DISTANCE_M:
        hint = "; with latitude and longitude swapped it would fit" if swapped < MAX_FIELD_DISTANCE_M else ""
        raise InputError(
            f"the boundary lies {nearest / 1000:.0f} km from the track{hint}. Check that it belongs to this job and "
            "that its coordinates are in the order its format asks for",
            "field.boundary",
        )
    return Plane(origin)


def _drive(job: Job, plane: Plane) -> _Drive:
    settings = job.settings
    offset = settings.track.clock_offset_s
    track, dropped = clean_track(job.logs, plane.to_metres, offset, settings.track.max_gap_s)
    timeline, cautions = boom_timeline(settings.boom, job.logs, track, job.intervals, offset)
    motion = refine(build_motion(track, settings.boom.width_m / 2))
    path = boom_path(motion, settings.boom)
    lines = on_lines(path, timeline, settings.boom.sections_m)
    thinned = thin(lines, thinning_m(motion.noise_m))
    return _Drive(track, dropped, path, timeline, lines, thinned, cautions)


def _ground(job: Job, plane: Plane, drive: _Drive) -> tuple[Ground, tuple[str, ...], tuple[str, ...]]:
    settings = job.settings
    areas = [
        (area.name, grown(plane.geometry_to_metres(area.geometry), settings.field.grow_m)) for area in job.boundary
    ]
    sprayed = shapely.MultiLineString([way for one in drive.thinned for way in _ways(one)])
    chosen, others = sprayed_fields(areas, sprayed, settings.field.select, settings.boom.width_m)
    exclude = [plane.geometry_to_metres(area.geometry) for area in job.exclude]
    ground = lay_out([polygon for _, polygon in chosen], exclude, settings.field)
    left_out = f"Not sprayed in this job, so left out of every figure: {', '.join(others)}."
    return ground, tuple(name for name, _ in chosen), (left_out,) if others else ()


def _ways(lines: BoomLines) -> list[np.ndarray]:
    """Way of the boom's centre along *lines*, cut at gaps, each of shape (n, 2)."""
    points = np.column_stack([lines.x_m, lines.y_m])
    return [way for way in np.split(points, np.flatnonzero(lines.gap_after) + 1) if len(way) > 1]


def _counted(drive: _Drive, ground: Ground, width_m: float) -> _Count:
    pieces = [piece for one in drive.thinned for piece in pieces_of(one)]
    if not pieces:
        raise InputError(
            "the boom covered no ground while it was on: the track stands still or has gaps there", "track.files"
        )
    quads_m2 = sum(quad_area(one) for one in drive.thinned)
    parts = partition(pieces, ground, width_m, travel_at)
    if abs(float(parts.sweeps @ parts.area_m2) - quads_m2) > CLOSURE_REL * ground.field.area:
        parts = partition(pieces, ground, width_m, travel_at, NODE_GRID_M)
    return _Count(ground, pieces, parts, quads_m2)


def _strips(
    job: Job, drive: _Drive, counted: _Count, missed_ground: BaseGeometry
) -> tuple[tuple[Strip, ...], tuple[Strip, ...], tuple[float, float]]:
    parts, ground = counted.parts, counted.ground
    ends = switching_lines(drive.lines, EDGE_BAND_M)
    headland = headland_polygons(counted.pieces)
    around = surroundings(ground.target, ground.no_spray, headland, ends, job.settings.boom.width_m)
    least = job.settings.report.min_width_m
    twice = parts.in_target & (parts.visits > 1)
    missed, missed_rest = find_strips(missed_ground, least, around, "M")
    double, double_rest = find_strips(parts.union(twice), least, around, "D", (parts.faces[twice], parts.visits[twice]))
    return missed, double, (missed_rest, double_rest)


def _areas(counted: _Count, slivers: tuple[float, float]) -> Areas:
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


def _checks(counted: _Count, areas: Areas, raster: RasterCount) -> Checks:
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


def _gaps(path: BoomPath) -> tuple[tuple[float, float], ...]:
    index = np.flatnonzero(path.gap_after)
    return tuple((float(path.time_s[k]), float(path.time_s[k + 1])) for k in index)


def _volume(job: Job, drive: _Drive) -> Volume:
    settings = job.settings
    gaps = _gaps(drive.path)
    return job_volume(settings.rate, settings.boom, drive.timeline, gaps, job.logs, settings.track.clock_offset_s)


def _layers(counted: _Count, drive: _Drive, missed_ground: BaseGeometry) -> Layers:
    parts, ground = counted.parts, counted.ground
    target, visits = parts.in_target, parts.visits
    most = int(visits[target].max(initial=0))
    passes = [shapely.LineString(way) for one in drive.thinned for way in _ways(one)]
    return Layers(
        field=ground.field,
        target=ground.target,
        excluded=ground.no_spray,
        by_visits=(missed_ground, *(parts.union(target & (visits == k)) for k in range(1, most + 1))),
        bridged=parts.union(target & (visits > 0) & (parts.sure_visits == 0)),
        outside=parts.union((visits > 0) & ~parts.in_outer),
        excluded_sprayed=parts.union((visits > 0) & parts.in_outer & ~target),
        passes=tuple(passes),
        transport=tuple(_transport(drive)),
    )


def _transport(drive: _Drive) -> list[BaseGeometry]:
    """Way of the boom's centre while nothing sprayed, cut at gaps, simplified for drawing."""
    path, timeline = drive.path, drive.timeline
    off = np.ones(len(path.time_s), bool)
    for start, end in zip(timeline.start_s, timeline.end_s, strict=True):
        off[np.searchsorted(path.time_s, start, "right") : np.searchsorted(path.time_s, end, "left")] = False
    cut = np.flatnonzero((np.diff(off.astype(np.int8)) != 0) | path.gap_after[:-1]) + 1
    points = np.column_stack([path.x_m, path.y_m])
    ways = zip(np.split(points, cut), np.split(off, cut), strict=True)
    return [
        shapely.simplify(shapely.LineString(way), DRAWN_PATH_M) for way, is_off in ways if len(way) > 1 and is_off[0]
    ]


def _on_totals(drive: _Drive) -> tuple[float, float]:
    """Time [s] and distance [m] with any section on, gaps that were not bridged left out."""
    path, timeline = drive.path, drive.timeline
    step = np.diff(path.time_s)
    live = ~path.gap_after[:-1]
    clocks = (np.cumsum(step * live), np.cumsum(np.diff(path.travel_m) * live))
    totals = []
    for clock in clocks:
        running = np.concatenate([[0.0], clock])
        ends = np.interp(timeline.end_s, path.time_s, running) - np.interp(timeline.start_s, path.time_s, running)
        totals.append(float(ends.sum()))
    return totals[0], totals[1]


def _cautions(job: Job, drive: _Drive, inputs: Sequence[InputCount], areas: Areas, checks: Checks) -> list[str]:
    path, timeline = drive.path, drive.timeline
    gaps_on = [
        min(b, last) - max(a, first)
        for first, last in _gaps(path)
        for a, b in zip(timeline.start_s, timeline.end_s, strict=True)
        if min(b, last) > max(a, first)
    ]
    return [
        *dropped_cautions(inputs),
        *midnight_cautions(job.logs),
        *log_cautions(job.logs, _spacing(drive), drive.track.median_step_s),
        *boom_cautions(job.settings.boom, backed_up_m(path)),
        *width_cautions(areas, job.settings.boom.width_m),
        *gap_cautions(gaps_on, areas.bridged, int(path.bridged_after.sum())),
        *check_cautions(checks, areas),
    ]


def _spacing(drive: _Drive) -> float:
    """Typical distance between fixes while spraying. [m]"""
    time_s, distance_m = _on_totals(drive)
    return distance_m / time_s * drive.track.median_step_s if time_s > 0 else 0.0


def _result(
    job: Job,
    plane: Plane,
    drive: _Drive,
    layers: Layers,
    names: tuple[str, ...],
    cautions: Sequence[str],
    strips: tuple[tuple[Strip, ...], tuple[Strip, ...]],
    figures: tuple[Areas, Checks, Volume],
) -> Audit:
    areas, checks, volume = figures
    path, track = drive.path, drive.track
    time_on, distance_on = _on_totals(drive)
    gap_s = sum(last - first for first, last in _gaps(path))
    gap_m = float(np.diff(path.travel_m)[path.gap_after[:-1]].sum())
    inputs = _inputs(job, drive)
    readers = [*job.cautions, *(caution for log in job.logs for caution in log.cautions)]
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
    )


def _inputs(job: Job, drive: _Drive) -> tuple[InputCount, ...]:
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
