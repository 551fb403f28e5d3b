"""The part of the recipe that tells how the job was driven: track, boom path, boom state, boom lines, field."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.boom import boom_timeline
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.motion import build_motion, refine
from coverage_audit.drive.plane import Plane, nearest_m
from coverage_audit.drive.remembered import recalls_of, row_recalls, told_changes, with_recalls
from coverage_audit.drive.tolerances import MAX_FIELD_DISTANCE_M
from coverage_audit.drive.track import clean_track, order_cautions
from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.ground.boom_lines import boom_path, on_lines, thin, thinning_m
from coverage_audit.ground.cuts import fine_step_m, most_cuts
from coverage_audit.ground.target import grown, lay_out, sprayed_fields
from coverage_audit.ground.tolerances import CUT_STEP_M, THIN_M
from coverage_audit.passes.tolerances import DRAWN_PATH_M

from .cautions import direction_cautions, memory_cautions
from .tolerances import COARSE_SHARE

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.drive.model import BoomPath, Recall, Timeline, Track
    from coverage_audit.ground.model import BoomLines, Ground
    from coverage_audit.jobs.job import Job


@dataclass(frozen=True)
class Drive:
    """The job as driven: track, boom path, boom state and boom lines (whole and thinned).

    ``recalls``: what was remembered of the boom state, and is in it. ``within_m``: how far a line that was thinned out
    may be off [m]; ``one_pivot_m2`` as in ``ground.pieces.pieces_of`` [m2].
    """

    track: Track
    dropped: tuple[dict[str, int], ...]
    path: BoomPath
    timeline: Timeline
    lines: list[BoomLines]
    thinned: list[BoomLines]
    cautions: tuple[Caution, ...]
    recalls: tuple[Recall, ...] = ()
    within_m: float = THIN_M
    one_pivot_m2: float = 0.0


def job_plane(job: Job) -> Plane:
    """Plane about the middle of the track; the boundary must not lie in another place."""
    lon = np.concatenate([log.fixes.lon_deg for log in job.logs])
    lat = np.concatenate([log.fixes.lat_deg for log in job.logs])
    if not len(lon):
        raise InputError("no usable fix is left in the log", job.logs[0].file)
    lon0 = float(np.median((lon - lon[0] + 180) % 360 - 180)) + float(lon[0])
    origin = PlaneOrigin((lon0 + 180) % 360 - 180, float(np.median(lat)))
    if not job.boundary:  # the edge driven: it is told from the track
        return Plane(origin)
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


def drive_of(job: Job, plane: Plane, *, logged: bool = True) -> Drive:
    """Follow the job from its logs to its boom lines; *logged*: somebody logged, marked or wrote down its on-times."""
    settings = job.settings
    offset = settings.track.clock_offset_s
    track, dropped = clean_track(job.logs, plane.to_metres, offset, settings.track.max_gap_s)
    timeline, cautions = boom_timeline(settings.boom, job.logs, track, job.intervals, offset)
    if logged:
        track = noted(track, timeline)
    motion = refine(build_motion(track, settings.boom.width_m / 2))
    path = boom_path(motion, settings.boom)
    recalls = told_changes(timeline, recalls_of(job.remembered, path, plane.to_metres))
    timeline = with_recalls(timeline, recalls, (float(track.time_s[0]), float(track.time_s[-1])))
    lines = on_lines(path, timeline, settings.boom.sections_m, fine_m(job, plane))
    within = thinning_m(motion.noise_m, settings.boom.width_m)
    thinned = thin(lines, within)
    recalls = (*row_recalls(job.intervals or ()), *recalls)
    told = (*order_cautions(job.logs), *cautions, *memory_cautions(recalls), *_coarse_cautions(lines, most_cuts(path)))
    told = (*told, *direction_cautions(motion.unsure_s, path, timeline, settings.boom))
    return Drive(track, dropped, path, timeline, lines, thinned, told, recalls, within)


def noted(track: Track, timeline: Timeline) -> Track:
    """*track* with the on-times of *timeline*, which somebody noted: they help to tell which way it was driven."""
    return replace(track, noted_on_s=np.column_stack([timeline.start_s, timeline.end_s]))


def fine_m(job: Job, plane: Plane) -> float:
    """How close cuts have to lie in the smallest field that the job may be of. [m]"""
    return fine_step_m(smallest_m2(job, plane), job.settings.boom.width_m)


def smallest_m2(job: Job, plane: Plane) -> float:
    """The smallest field that the job may be of; inf where only the edge driven tells. [m2]"""
    areas = shapely.area(plane.geometry_to_metres([area.geometry for area in job.boundary]))
    return float(np.nanmin(areas, initial=np.inf))


def _coarse_cautions(lines: list[BoomLines], most: int) -> list[Caution]:
    """Caution where turns with the boom on are too many to be cut as finely as usual."""
    apart_m = np.concatenate([np.diff(one.travel_m[one.cut]) for one in lines])
    if len(apart_m) < COARSE_SHARE * most or np.median(apart_m) < CUT_STEP_M:
        return []
    return [Caution("turns coarse")]


def ground_of(job: Job, plane: Plane, drive: Drive) -> tuple[Ground, tuple[str, ...], tuple[Caution, ...]]:
    """Ground of the job, the names of the sprayed fields, and cautions."""
    settings = job.settings
    areas = [
        (area.name, grown(plane.geometry_to_metres(area.geometry), settings.field.grow_m)) for area in job.boundary
    ]
    sprayed = shapely.MultiLineString([way for one in drive.thinned for way in ways(one)])
    chosen, others = sprayed_fields(areas, sprayed, settings.field.select, settings.boom.width_m)
    exclude = [plane.geometry_to_metres(area.geometry) for area in job.exclude]
    ground = lay_out([polygon for _, polygon in chosen], exclude, settings.field)
    taken = tuple(name for name, _ in chosen)
    left_out = (Caution("fields left out", names=tuple(others), taken=taken),) if others else ()
    return ground, taken, left_out


def ways(lines: BoomLines) -> list[np.ndarray]:
    """Way of the boom's centre along *lines*, cut at gaps, each of shape (n, 2)."""
    points = np.column_stack([lines.x_m, lines.y_m])
    return [way for way in np.split(points, np.flatnonzero(lines.gap_after) + 1) if len(way) > 1]


def log_gaps(path: BoomPath) -> tuple[tuple[float, float], ...]:
    """Start and end of each gap of the log that was not bridged. [s]"""
    index = np.flatnonzero(path.gap_after)
    return tuple((float(path.time_s[k]), float(path.time_s[k + 1])) for k in index)


def transport(drive: Drive) -> list[BaseGeometry]:
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


def on_totals(drive: Drive) -> tuple[float, float]:
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


def spacing(drive: Drive) -> float:
    """Typical distance between fixes while spraying. [m]"""
    time_s, distance_m = on_totals(drive)
    return distance_m / time_s * drive.track.median_step_s if time_s > 0 else 0.0
