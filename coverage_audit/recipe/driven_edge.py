"""The part of the recipe for a field without an outline: its edge is told from the drive of the same job."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.boom import boom_timeline
from coverage_audit.drive.motion import build_motion, refine
from coverage_audit.drive.remembered import recalls_of, with_recalls
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.ground.boom_lines import boom_path
from coverage_audit.ground.driven_edge import NO_LAP, driven_edge, worked_ground
from coverage_audit.jobs.job import ASSUMED, boom_state
from coverage_audit.passes.model import Range
from coverage_audit.read.records import NamedArea

from .assumed import make_proposal, usual_error_m
from .drive import job_plane, noted
from .tolerances import EDGE_HOLDS, EDGE_TIME_CONSTANT_S

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.accuracy.model import Accuracy, Figure
    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.drive.model import BoomPath, Track
    from coverage_audit.drive.plane import Plane
    from coverage_audit.ground.driven_edge import DrivenEdge
    from coverage_audit.jobs.job import Job

    from .assumed import Proposal
    from .result import Audit

NAME = "the edge driven"
AT_EDGE = "field edge"
"""Where a strip at the field's edge lies, as the causes tell it."""


def with_driven_edge(job: Job, plane: Plane) -> tuple[Job, DrivenEdge | None]:
    """*job* with the edge it drove for its field, and that edge; unchanged where it has an outline.

    Raises
    ------
    InputError
        No lap round the field was found.
    """
    if not job.settings.field.driven:
        return job, None
    settings = job.settings
    track, _ = clean_track(job.logs, plane.to_metres, settings.track.clock_offset_s, settings.track.max_gap_s)
    half_m = settings.boom.width_m / 2
    if settings.boom.intervals == "assume":
        edge = _assumed_edge(job, plane, track, boom_path(refine(build_motion(track, half_m)), settings.boom))
    else:
        timeline, _ = boom_timeline(settings.boom, job.logs, track, job.intervals, settings.track.clock_offset_s)
        if boom_state(job) != ASSUMED:
            track = noted(track, timeline)
        path = boom_path(refine(build_motion(track, half_m)), settings.boom)
        recalls = recalls_of(job.remembered, path, plane.to_metres)
        timeline = with_recalls(timeline, recalls, (float(track.time_s[0]), float(track.time_s[-1])))
        edge = _edge(job, track, path, _inside(path, np.column_stack([timeline.start_s, timeline.end_s])))
    return _with_outline(job, plane, edge.polygon), edge


def _assumed_edge(job: Job, plane: Plane, track: Track, path: BoomPath) -> DrivenEdge:
    """The edge by what was probably on, which is told on the edge by the whole drive, or on all ground worked.

    Raises
    ------
    InputError
        Neither by the one nor by the other a lap was found.
    """
    try:
        first = _edge(job, track, path, None)
        ground = first.polygon
    except InputError:  # no lap by all that was driven, but perhaps by what was on
        first, ground = None, worked_ground(path, job.settings.boom.width_m)
    on_off = make_proposal(_with_outline(job, plane, ground), plane).on_off_s()
    try:
        edge = _edge(job, track, path, _inside(path, on_off))
    except InputError:  # by what is assumed no lap was sprayed
        if first is None:
            raise
        return first
    if first is None and edge.polygon.intersection(ground).area < EDGE_HOLDS * ground.area:
        raise InputError(NO_LAP, "field.boundary")  # a lap round a part of the work
    return edge


def proposal_of(job: Job) -> Proposal:
    """When the boom was on, proposed from the drive and the field, or the edge driven for it.

    Raises
    ------
    InputError
        No pass could be recognised in the track, or no lap round a field without an outline.
    """
    plane = job_plane(job)
    return make_proposal(with_driven_edge(job, plane)[0], plane)


def _edge(job: Job, track: Track, path: BoomPath, on: BoolArray | None) -> DrivenEdge:
    stated, field = job.settings.accuracy, job.settings.field
    sigma = usual_error_m(track) if stated is None or stated.sigma_m is None else stated.sigma_m
    lasting = EDGE_TIME_CONSTANT_S if stated is None or stated.time_constant_s is None else stated.time_constant_s
    found = driven_edge(path, job.settings.boom.width_m, on, sigma, lasting)
    more = field.grow_m * found.polygon.length  # the field is grown by it afterwards, as any driven outline
    return replace(found, low_m2=found.low_m2 + more, high_m2=found.high_m2 + more)


def _inside(path: BoomPath, on_off_s: FloatArray) -> BoolArray:
    """Whether each point of *path* lies in any of the times (k, 2), which do not overlap."""
    starts, ends = np.sort(on_off_s, axis=0).T
    begun, over = (np.searchsorted(one, path.time_s, side="right") for one in (starts, ends))
    return np.asarray(begun > over)


def _with_outline(job: Job, plane: Plane, ground: BaseGeometry) -> Job:
    outline = NamedArea(NAME, plane.geometry_to_degrees(ground))
    return replace(job, boundary=(outline,), derived_outline=True, own_lap=True)


def with_edge(audit: Audit, edge: DrivenEdge | None, plane: Plane) -> Audit:
    """*audit* on the edge driven: what is told of it, and every range of areas with its own uncertainty in it."""
    if edge is None:
        return audit
    field = audit.job.settings.field
    told = Caution(
        "edge driven",
        area_m2=audit.area_m2.field,
        low_m2=edge.low_m2,
        high_m2=edge.high_m2,
        fence_given=field.grow_m > 0,
    )
    places = [plane.to_degrees(one.centroid.x, one.centroid.y) for one in edge.islands]
    islands = tuple(
        (float(one.area), float(lat), float(lon)) for one, (lon, lat) in zip(edge.islands, places, strict=True)
    )
    cautions = (told, *([Caution("driven round", islands=islands)] if islands else []), *audit.cautions)
    found = replace(audit, edge=edge, cautions=cautions, accuracy=_accuracy(audit, edge))
    if found.assumed is not None:
        found = replace(found, assumed=replace(found.assumed, ranges=_wider(found.assumed.ranges, audit, edge)))
    if found.remembered is not None:
        found = replace(
            found, remembered=replace(found.remembered, ranges=_wider(found.remembered.ranges, audit, edge))
        )
    return found


def without_edge_strips(audit: Audit) -> Audit:
    """*audit* without strips missed at an edge that was told from this very drive: they tell nothing.

    Their ground counts among what is too narrow to list, so that the sums still close.
    """
    if not audit.job.own_lap:
        return audit
    kept = tuple(strip for strip in audit.missed_strips if strip.where != AT_EDGE)
    lost = sum(strip.area_m2 for strip in audit.missed_strips if strip.where == AT_EDGE)
    areas = replace(audit.area_m2, missed_slivers=audit.area_m2.missed_slivers + lost)
    return replace(audit, missed_strips=kept, area_m2=areas)


def _wider(ranges: Ranges, audit: Audit, edge: DrivenEdge) -> Ranges:
    """Ranges of areas that the edge bounds, as much wider as it may lie farther in or out."""
    less, more = _in_and_out_m2(audit, edge)
    wider = dict(ranges)
    for name in ("field", "target", "covered"):
        one = ranges.get(name)
        if isinstance(one, Range):
            wider[name] = Range(max(one.low - less, 0.0), one.high + more)
    return wider


def _accuracy(audit: Audit, edge: DrivenEdge) -> Accuracy | None:
    """How sure the covered area is, by the receiver over the ground and by the edge about it."""
    if audit.accuracy is None:
        return None
    less, more = _in_and_out_m2(audit, edge)

    def wider(one: Figure) -> Figure:
        return replace(one, low90=max(one.low90 - less, 0.0), high90=one.high90 + more)

    regimes = {name: replace(one, covered_m2=wider(one.covered_m2)) for name, one in audit.accuracy.by_regime.items()}
    return replace(audit.accuracy, covered_m2=wider(audit.accuracy.covered_m2), by_regime=regimes)


def _in_and_out_m2(audit: Audit, edge: DrivenEdge) -> tuple[float, float]:
    """Ground that the field may be smaller, and larger, than it was taken for. [m2]"""
    field_m2 = audit.area_m2.field
    return max(field_m2 - edge.low_m2, 0.0), max(edge.high_m2 - field_m2, 0.0)


if TYPE_CHECKING:
    from collections.abc import Mapping

    Ranges = Mapping[str, Range | tuple[Range, ...]]
