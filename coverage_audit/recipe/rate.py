"""The part of the recipe that tells the rate: surface, bands, speed, tank, nozzles and product."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.motion import white_noise, window_half
from coverage_audit.drive.tolerances import STAND_SPEED_M_S
from coverage_audit.facts import Caution
from coverage_audit.ground.boom_lines import on_lines, thin
from coverage_audit.ground.pieces import pieces_of
from coverage_audit.ground.tolerances import THIN_M
from coverage_audit.rate.flow import boom_flow, section_share
from coverage_audit.rate.model import (
    BY_STOPS,
    NO_STOP,
    ONE_LOAD,
    TYPED_IN,
    Capacity,
    DryGround,
    RateBands,
    RateResult,
    SpeedFigures,
    TankResult,
)
from coverage_audit.rate.nozzles import caught, disagreements
from coverage_audit.rate.places import places_above, standing_places
from coverage_audit.rate.product import product_use
from coverage_audit.rate.steps import open_parts, scale_of, speeds, spray_lines, steps_between
from coverage_audit.rate.surface import bands, rate_classes, rate_surface
from coverage_audit.rate.tank import LetOut, clipped, loads, long_stops, refill_moments
from coverage_audit.rate.tolerances import SPEED_WINDOW_S
from coverage_audit.rate.volume import nozzle_count, open_share
from coverage_audit.solid import overlap, without
from coverage_audit.units import HECTARE_M2

from .cautions import cell_cautions, closure_cautions, tank_cautions
from .drive import on_totals
from .tolerances import PROFILE_POINTS

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import BoomPath, Timeline, Track
    from coverage_audit.ground.model import Areas, Ground
    from coverage_audit.jobs.job import Job
    from coverage_audit.jobs.settings import BoomSettings
    from coverage_audit.rate.flow import Flow
    from coverage_audit.rate.model import Catch, Load, RateCells, RatePlace, Volume
    from coverage_audit.rate.quads import Laid
    from coverage_audit.rate.steps import OpenParts, SprayLines, Steps
    from coverage_audit.rate.tank import Stop

    from .drive import Drive
    from .result import Audit


NO_SURFACE = Caution("no rate surface")


@dataclass(frozen=True)
class Spray:
    """The job as sprayed, step by step."""

    lines: SprayLines
    steps: Steps
    moving: Steps
    parts: OpenParts
    share: FloatArray
    laid: Laid
    cells: RateCells | None
    litres_on_ground: float


def laid_spray(job: Job, drive: Drive, ground: Ground, volume: Volume) -> Spray | SprayLines:
    """Spray laid on the ground by cells; the boom lines alone where no flow is known, or cells would be too many.

    Parameters
    ----------
    volume : Volume
        Its source tells the flow.
    """
    boom = job.settings.boom
    seconds, metres = on_totals(drive)
    pace = metres / seconds if seconds > 0 else 1.0
    scale = scale_of(_noise(drive.track, boom, pace), boom.width_m / 2, pace)
    lines = spray_lines(drive.path, drive.timeline, scale.window_s)
    if volume.source is None:
        return lines
    flow = _flow(job, drive, volume.source)
    parts = open_parts(boom.sections_m, section_share(boom), drive.timeline.on, whole_boom=flow.whole_boom)
    steps = steps_between(lines, flow, parts, scale)
    moving = steps.take(~steps.standing)
    surface = rate_surface(moving, parts, ground.target)
    if surface is None:
        return lines
    slots = len(drive.timeline.start_s)
    share = open_share(boom, drive.timeline) if flow.whole_boom else np.ones(slots)
    return Spray(lines, steps, moving, parts, share, *surface)


def with_rate(audit: Audit, drive: Drive, ground: Ground, spray: Spray | SprayLines) -> Audit:
    """*audit* with the rate on every spot, the speed, the tank and the products.

    Parameters
    ----------
    audit : Audit
        Areas and volume must be there.
    """
    settings, areas, volume = audit.job.settings, audit.area_m2, audit.volume
    given = settings.rate
    lines = spray.lines if isinstance(spray, Spray) else spray
    speed, capacity = _speed(audit, drive.path, drive.timeline, lines), _capacity(audit, drive.timeline)
    catch = caught(given.catch_l_min, given.nozzles) if given.catch_l_min else None
    result = RateResult(volume.source, RateBands(volume.target_l_ha), speed, capacity, catch=catch)
    if isinstance(spray, Spray):
        result = _surface(result, audit, spray, drive.timeline, catch)
        if given.tank is not None:
            result = _with_tank(result, audit, (drive.path, drive.timeline), spray, ground.target)
    elif volume.source is not None:
        result = replace(result, cautions=(NO_SURFACE,))
    products = tuple(product_use(one, volume, areas, result.cells, result.tank) for one in settings.products)
    return replace(
        audit,
        area_m2=replace(areas, perhaps_dry=_perhaps_dry(result.tank, audit.layers.bridged, areas)),
        rate=replace(result, products=products),
        cautions=(*audit.cautions, *result.disagreements, *result.cautions),
    )


def _noise(track: Track, boom: BoomSettings, pace_m_s: float) -> float:
    """White noise of the heading (one sigma); 0 where the log is too sparse to tell. [rad]

    The slope of a straight line through n fixes, dt apart, has sd = noise x sqrt(12 / n^3) / dt.
    """
    run = np.concatenate([[0], np.cumsum(track.gap_after[:-1])])
    noise = white_noise(track.time_s, track.x_m, track.y_m, run)
    half = window_half(track.time_s, track.x_m, track.y_m, noise, boom.width_m / 2)
    if not half:
        return 0.0
    return noise * math.sqrt(12 / (2 * half + 1) ** 3) / (track.median_step_s * max(pace_m_s, STAND_SPEED_M_S))


def _flow(job: Job, drive: Drive, source: str) -> Flow:
    settings, path, timeline = job.settings, drive.path, drive.timeline
    live = np.concatenate([[0.0], np.cumsum(np.diff(path.time_s) * ~path.gap_after[:-1])])
    live_s = np.interp(timeline.end_s, path.time_s, live) - np.interp(timeline.start_s, path.time_s, live)
    offset = settings.track.clock_offset_s
    return boom_flow(source, settings.rate, settings.boom, timeline, live_s, job.logs, offset)


def _surface(result: RateResult, audit: Audit, sprayed: Spray, timeline: Timeline, catch: Catch | None) -> RateResult:
    areas, volume, given = audit.area_m2, audit.volume, audit.job.settings.rate
    steps, cells, limit = sprayed.steps, sprayed.cells, given.label_max_l_ha
    found = RateBands(volume.target_l_ha)
    if cells is not None:
        found = bands(cells, areas.covered, areas.swept_net, volume.target_l_ha, limit)
    places: tuple[RatePlace, ...] = ()
    small = None
    if cells is not None and limit is not None:
        places, small = places_above(cells, limit, sprayed.laid, sprayed.moving, timeline)
    slot = steps.lines.slot[steps.first[steps.standing]]
    standing_l = float(steps.litres[steps.standing] @ sprayed.share[slot])
    out = volume.applied_l or 0.0
    closure = (sprayed.litres_on_ground + standing_l) / out if out > 0 else None
    about = volume.target_l_ha or found.mean_l_ha
    by_source = {**volume.by_source, **_catch_volume(audit, timeline, sprayed, catch)}
    return replace(
        result,
        bands=found,
        cells=cells,
        classes=rate_classes(cells, areas.covered, about) if cells is not None and about else (),
        standing_l=standing_l,
        closure=closure,
        standing=standing_places(steps, sprayed.parts, sprayed.share),
        places=places,
        above_label_small_m2=small,
        max_l_ha=None if cells is None else float(cells.rate_l_ha.max()),
        by_source_share={name: litres / out for name, litres in by_source.items()} if out > 0 else {},
        disagreements=disagreements(by_source, volume.source),
        cautions=(*closure_cautions(closure), *cell_cautions(cells)),
    )


def _catch_volume(audit: Audit, timeline: Timeline, sprayed: Spray, catch: Catch | None) -> dict[str, float]:
    """Volume that the caught nozzles would have let out in the job; {} without a catch."""
    if catch is None:
        return {}
    boom = audit.job.settings.boom
    count = nozzle_count(audit.job.settings.rate, boom) or len(catch.flows_l_min)
    lines = sprayed.steps.lines
    live = np.where(lines.broken_after[:-1], 0.0, np.diff(lines.time_s))
    seconds = np.bincount(lines.slot[:-1], weights=live, minlength=len(timeline.start_s))
    return {"catch": count * catch.mean_l_min / 60.0 * float(open_share(boom, timeline) @ seconds)}


# --- speed ----------------------------------------------------------------------------------------


def _speed(audit: Audit, path: BoomPath, timeline: Timeline, lines: SprayLines) -> SpeedFigures:
    """Mean from distance and time; percentiles of the centre's speed, weighted by time."""
    weight = np.where(lines.broken_after[:-1], 0.0, np.diff(lines.time_s))
    pace = np.abs(lines.speed_m_s[:-1] + lines.speed_m_s[1:]) / 2
    order = np.argsort(pace)
    shares = (np.cumsum(weight[order]) - weight[order] / 2) / weight.sum() if weight.sum() > 0 else None
    low, high = (None, None) if shares is None else np.interp([0.05, 0.95], shares, pace[order]).tolist()
    mean = audit.distance_on_m / audit.time_on_s if audit.time_on_s > 0 else None
    times = np.linspace(path.time_s[0], path.time_s[-1], PROFILE_POINTS)
    step = np.clip(np.searchsorted(path.time_s, times, "right") - 1, 0, len(path.time_s) - 2)
    profile = np.where(path.gap_after[step], np.nan, np.abs(speeds(path, times, SPEED_WINDOW_S)[0]))
    slot = np.searchsorted(timeline.start_s, times, "right") - 1
    on = (slot >= 0) & (times <= timeline.end_s[np.maximum(slot, 0)])
    return SpeedFigures(mean, low, high, times, profile, on)


def _capacity(audit: Audit, timeline: Timeline) -> Capacity:
    """Field capacity: speed x width (ASABE's theoretical), and what was covered from first on to last off."""
    if audit.time_on_s <= 0:
        return Capacity(None, None, None)
    theoretical = field_capacity_ha_h(audit.distance_on_m / audit.time_on_s, audit.job.settings.boom.width_m)
    hours = float(timeline.end_s[-1] - timeline.start_s[0]) / 3600.0
    actual = audit.area_m2.covered / HECTARE_M2 / hours
    return Capacity(theoretical, actual, actual / theoretical if theoretical > 0 else None)


def field_capacity_ha_h(speed_m_s: float, width_m: float, efficiency: float = 1.0) -> float:
    """Field capacity S W e / 10 with km/h and metres (Iowa State Ag Decision Maker A3-24). [ha/h]"""
    return speed_m_s * width_m * 3600.0 / HECTARE_M2 * efficiency


# --- tank -----------------------------------------------------------------------------------------


def _with_tank(
    result: RateResult, audit: Audit, way: tuple[BoomPath, Timeline], sprayed: Spray, target: BaseGeometry
) -> RateResult:
    tank = audit.job.settings.rate.tank
    if tank is None:
        return result
    path, timeline = way
    steps = sprayed.steps
    litres = steps.litres * sprayed.share[steps.lines.slot[steps.first]]
    times = np.stack([steps.lines.time_s[steps.first], steps.lines.time_s[steps.last]], axis=1).ravel()
    total = np.cumsum(litres)
    let_out = LetOut(times, np.stack([total - litres, total], axis=1).ravel())
    moments, stops, missing = refill_moments(tank, long_stops(path, timeline), let_out)
    swept = np.bincount(sprayed.laid.step, weights=sprayed.laid.area_m2, minlength=len(sprayed.moving.first))
    swept_s = np.stack([steps.lines.time_s[sprayed.moving.first], steps.lines.time_s[sprayed.moving.last]], axis=1)
    total = np.cumsum(swept)
    running = np.stack([total - swept, total], axis=1)
    swept_by, area_by = (one.ravel() if swept.size else np.zeros(1) for one in (swept_s, running))
    found = loads(tank, moments, let_out, lambda time: float(np.interp(time, swept_by, area_by)))
    dry = _dry_ground(found, path, timeline, audit.job.settings.boom.sections_m, target)
    refills = _refills_by(bool(tank.refills_s), stops, missing)
    told = TankResult(found, dry, refills, found[-1].left_l)
    return replace(result, tank=told, cautions=(*result.cautions, *tank_cautions(told, stops, missing, target.area)))


def _dry_ground(
    found: tuple[Load, ...], path: BoomPath, timeline: Timeline, sections_m: tuple[float, ...], target: BaseGeometry
) -> tuple[DryGround, ...]:
    """Ground of each load that was sprayed only after the tank would have run dry."""
    spans = [(load.dry_s, load.end_s) for load in found if load.dry_s is not None]
    if not spans:
        return ()
    starts = [path.time_s[0], *(end for _, end in spans)]
    ends = [*(start for start, _ in spans), path.time_s[-1] + 1.0]
    wet = _swept(path, clipped(timeline, list(zip(starts, ends, strict=True))), sections_m)
    tree = shapely.STRtree(wet)
    again: BaseGeometry = shapely.MultiPolygon()
    result: list[DryGround] = []
    for number, load in enumerate(found, 1):
        if load.dry_s is None:
            continue
        sprayed = shapely.union_all(_swept(path, clipped(timeline, [(load.dry_s, load.end_s)]), sections_m))
        near = shapely.union_all(wet[tree.query(sprayed, predicate="intersects")])
        ground = without(sprayed, shapely.union(near, again))
        inside = overlap(ground, target)
        place = [float(np.interp(load.dry_s, path.time_s, column)) for column in (path.x_m, path.y_m)]
        name = f"T{len(result) + 1}"
        area = float(ground.area), float(inside.area)
        result.append(DryGround(name, load.dry_s, number, *area, ground, inside, shapely.Point(place)))
        again = shapely.union(again, ground)  # ground sprayed dry twice is told once
    return tuple(result)


def _perhaps_dry(tank: TankResult | None, bridged: BaseGeometry, areas: Areas) -> float | None:
    """Target ground that only an empty tank may have passed over, bridged ground left out; None without a tank. [m2]"""
    if tank is None:
        return None
    dry = without(shapely.union_all([one.in_target for one in tank.dry]), bridged)
    # swept ground has other corners here than where it was counted: of all of it there may be a hair more
    return min(float(dry.area), areas.covered - areas.bridged)


def _swept(path: BoomPath, timeline: Timeline, sections_m: tuple[float, ...]) -> np.ndarray:
    """Polygons of the ground swept, shape (n,)."""
    lines = thin(on_lines(path, timeline, sections_m), THIN_M) if len(timeline.start_s) else []
    return np.array([piece.polygon for one in lines for piece in pieces_of(one)], dtype=object)


def _refills_by(given: bool, stops: tuple[Stop, ...], missing: int) -> str:  # noqa: FBT001 - one caller
    if given:
        return TYPED_IN
    if stops:
        return BY_STOPS
    return NO_STOP if missing else ONE_LOAD
