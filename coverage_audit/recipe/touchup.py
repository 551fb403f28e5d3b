"""The touch-up plan of an audited job: options, choice and order, and the field as it would leave it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import shapely
from shapely.ops import substring

from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.ground.boom_lines import on_lines
from coverage_audit.ground.model import BoomLines, Ground, Piece
from coverage_audit.ground.partition import closed_partition, closure_rel
from coverage_audit.ground.pieces import pieces_of
from coverage_audit.solid import without
from coverage_audit.touchup import model as why
from coverage_audit.touchup import tolerances as tol
from coverage_audit.touchup.lanes import across_part, boom_state, halfway, lay_boom, shut_over, strip_parts
from coverage_audit.touchup.model import BOOM, LEAVE, SPOT, After, DrivenLine, Option, StripPlan, TouchupPlan
from coverage_audit.touchup.order import most_ordered
from coverage_audit.touchup.rules import (
    boom_option,
    dates_of,
    leave_option,
    limits_of,
    mix_to_prepare,
    no_boom,
    pays_above,
    spot_option,
    terms_of,
    worth_m2,
)
from coverage_audit.touchup.turns import tightest_radius
from coverage_audit.touchup.ways import driving_ground

from . import tolerances as tol_recipe
from .decision import not_planned
from .touchup_field import PlanField, Setting, driven_legs, lay_out_ways, least_cost, option_of, usable, way_cost_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.ground.model import Strip
    from coverage_audit.touchup.lanes import LaidPass
    from coverage_audit.touchup.model import Leg, Terms

    from .result import Audit

    Progress = Callable[[str, float], None]


def plan_touchup(audit: Audit, on: dt.date | None = None, progress: Progress | None = None) -> TouchupPlan:
    """The touch-up pass of least total cost under the limits given.

    Parameters
    ----------
    audit : Audit
        The job, audited.
    on : date, optional
        Local day of the touch-up; default: the day after the job.
    progress : callable, optional
        Called with the name of each stage and the share done, 0 to 1.

    Raises
    ------
    InputError
        *on* lies before the job, or the entry far from the field.
    """
    tell = progress or (lambda _stage, _share: None)
    tell("touch-up: options", 0.0)
    audit = replace(audit, plan=None)  # an older plan has no say
    doubtful, sure, audit = not_planned(audit), audit.answer.decision.sure, _as_told(audit)
    setting = _setting(audit, on)
    options = {strip.id: _options(setting, strip) for strip in audit.missed_strips}
    tell("touch-up: ways", 0.4)
    chosen = sorted(
        (strip for strip in audit.missed_strips if strip.id not in doubtful),
        key=lambda one: -worth_m2(one, setting.terms) * one.area_m2,
    )[: tol_recipe.MOST_STRIPS]
    ids = [strip.id for strip in chosen if any(usable(option) for option in options[strip.id][1:])]
    unordered = len(ids) - most_ordered(len(ids))
    ids = ids[: len(ids) - unordered]
    field = lay_out_ways(setting, {name: options[name] for name in ids})
    tell("touch-up: order", 0.7)
    order, exact = least_cost(setting, field)
    tell("touch-up: what it leaves", 0.9)
    whole = not unordered and len(chosen) + len(doubtful) == len(options)
    plan = _plan(setting, options, field, order, exact=exact and whole)
    strips = tuple(replace(one, doubtful=one.id in doubtful, sure=one.id in sure) for one in plan.strips)
    return replace(plan, strips=strips, unordered=unordered, assumed_state=audit.assumed is not None)


# --- setting --------------------------------------------------------------------------------------


def _as_told(audit: Audit) -> Audit:
    """*audit* whose strips are worth what they are as logged, unless the job says how good its positions are."""
    if audit.accuracy is None or audit.accuracy.asked:
        return audit
    return replace(audit, missed_strips=tuple(replace(one, probability=None) for one in audit.missed_strips))


def _setting(audit: Audit, on: dt.date | None) -> Setting:
    settings, layers = audit.job.settings, audit.layers
    zone = ZoneInfo(settings.timezone)
    job_day = dt.datetime.fromtimestamp(audit.end_s, zone).date()
    if on is None and job_day == dt.date.max:
        raise InputError(f"no calendar holds the day after the job, {job_day}; correct the log's date", "track.files")
    day = on if on is not None else job_day + dt.timedelta(days=1)
    if day < job_day:
        raise InputError(f"{day} lies before the job, which ended on {job_day}; give a later day", "--on")
    speed = audit.distance_on_m / audit.time_on_s if audit.time_on_s > 0 and audit.distance_on_m > 0 else None
    terms = terms_of(settings, audit.volume.over_swept_l_ha, speed)
    rate = settings.rate
    return Setting(
        audit=audit,
        terms=terms,
        limits=limits_of(settings.products, rate.target_l_ha, rate.label_max_l_ha),
        dates=dates_of(settings.products, day, job_day, settings.touchup.planned_cut if settings.touchup else None),
        ground=driving_ground(layers.field, layers.excluded, layers.passes),
        tracks=shapely.union_all(list(layers.passes)),
        start=_start(audit),
        way_cost_m=terms.labour_s / terms.speed_m_s,
    )


def _start(audit: Audit) -> tuple[float, float]:
    """The entry given, else where the field was entered, else the log's last place. [m]"""
    touchup = audit.job.settings.touchup
    plane = Plane(audit.origin)
    if touchup is not None and touchup.entry_deg is not None:
        lat, lon = touchup.entry_deg
        x, y = plane.to_metres(lon, lat)
        away = float(shapely.distance(audit.layers.field, shapely.Point(float(x), float(y))))
        if not away <= tol_recipe.MAX_ENTRY_M:
            told = f"this place lies {away / 1000:.0f} km from the field; latitude comes first, then longitude"
            raise InputError(told, "touchup.entry")
    elif audit.entered_m is not None:
        return audit.entered_m
    else:
        last = max((log.fixes for log in audit.job.logs), key=lambda one: float(np.nanmax(one.time_s)))
        good = np.flatnonzero(np.isfinite(last.lat_deg) & np.isfinite(last.time_s))
        final = good[np.argmax(last.time_s[good])]
        x, y = plane.to_metres(last.lon_deg[final], last.lat_deg[final])
    return float(x), float(y)


# --- options --------------------------------------------------------------------------------------


def _options(setting: Setting, strip: Strip) -> tuple[Option, Option, Option]:
    same_day = setting.dates.same_day
    spot = spot_option(strip, _wand_way(setting, strip), setting.terms, setting.limits, same_day=same_day)
    return leave_option(strip, setting.terms), spot, _boom(setting, strip)


def _boom(setting: Setting, strip: Strip) -> Option:
    """The better of going along the strip and, where the boom covers its whole length, square to it."""
    width_m = setting.audit.job.settings.boom.width_m
    if max(strip.length_m, strip.area_m2 / width_m) > tol_recipe.MOST_BOOM_WAY_M:
        return no_boom(why.TOO_MUCH)
    option = _long_enough(_boom_over(setting, strip, strip_parts(strip.line)))
    if not _spanned(setting, strip):
        return option
    square = _long_enough(_boom_over(setting, strip, [across_part(strip.line, strip.polygon)]))
    step = tol.EQUAL_SHARE * strip.area_m2
    return min(
        (option, square),
        key=lambda one: (not usable(one), -round(one.cured_m2 / step), round(one.resprayed_m2 / step)),
    )


def _long_enough(option: Option) -> Option:
    """*option* unless the boom would be on for a shorter way than a person can switch it."""
    if option.possible and any(way.length_m < tol_recipe.LEAST_BOOM_WAY_M for way in option.ways):
        return no_boom(why.TOO_SHORT)
    return option


def _spanned(setting: Setting, strip: Strip) -> bool:
    """Whether the boom, square to the strip's middle line, covers its whole length."""
    return strip.length_m <= setting.audit.job.settings.boom.width_m + tol.WIDTH_SLACK_M


def _boom_over(setting: Setting, strip: Strip, parts: list[FloatArray]) -> Option:
    """Boom passes over *parts* of the strip's middle line, or whatever leads over it."""
    layers, sections = setting.audit.layers, setting.audit.job.settings.boom.sections_m
    share = tol_recipe.MOST_CORNERS_LAID // (len(setting.audit.missed_strips) * len(parts))
    most = min(share, tol.MOST_CORNERS_LAID)
    passes = []
    for part in parts:
        if tightest_radius(part) < setting.terms.turning_radius_m:
            return no_boom(why.TOO_BENT)
        passes += lay_boom(part, strip.polygon, layers.target, setting.ground.inside, setting.tracks, sections, most)
    kept = [within for laid in passes if (within := _within_target(setting, laid))]
    if not kept:
        return no_boom(why.NO_FIT)
    ways, swaths = [_driven(laid.line, *laid.span) for laid, _ in kept], [swath for _, swath in kept]
    if any(tightest_radius(way.line) < setting.terms.turning_radius_m for way in ways):
        return no_boom(why.TOO_BENT)
    used = tuple(sorted({section for laid, _ in kept for section in laid.open_m}))
    return boom_option(
        strip,
        tuple(ways),
        tuple(swaths),
        used,
        layers.by_visits,
        setting.terms,
        setting.limits,
        same_day=setting.dates.same_day,
    )


def _within_target(setting: Setting, laid: LaidPass) -> tuple[LaidPass, BaseGeometry] | None:
    """*laid* and the ground it sprays; where a bend swings the boom beyond the target, sections are shut there too."""
    target, sections = setting.audit.layers.target, setting.audit.job.settings.boom.sections_m
    for _ in range(tol.SHUT_ROUNDS):
        path, timeline = boom_state(laid, len(sections), setting.terms.speed_m_s)
        pieces = [piece for lines in on_lines(path, timeline, sections) for piece in pieces_of(lines)]
        swath = shapely.union_all([piece.polygon for piece in pieces])
        parts = shapely.get_parts(without(swath, target))
        beyond = parts[shapely.area(parts) > tol_recipe.LEAST_BEYOND_M2]
        if not len(beyond):
            return laid, swath
        shut = shut_over(laid, beyond.tolist(), sections)
        if shut is None:
            return None
        laid = shut
    return None


def _driven(line: FloatArray, low: float, high: float) -> DrivenLine:
    part = shapely.remove_repeated_points(substring(shapely.LineString(line), low, high), tol.LEAST_PART_M / 2)
    return DrivenLine(shapely.get_coordinates(part), float(part.length))


def _wand_way(setting: Setting, strip: Strip) -> tuple[DrivenLine, ...]:
    """The way to drive along the strip while somebody sprays it with a wand, the first place that is clear.

    Along its longest part that the vehicle can follow; where it bends more tightly, the vehicle
    stops half-way along it. The rest is walked.
    """
    parts = sorted(strip_parts(strip.line), key=lambda part: -shapely.LineString(part).length)
    if strip.where in {"late on", "early off"} and _spanned(setting, strip):
        parts = [across_part(strip.line, strip.polygon), *parts]  # as the old pass ran, where it can be reached
    for line in (shapely.LineString(part) for part in [*parts, *(halfway(part) for part in parts)]):
        for aside in tol_recipe.WAND_REACH_M:
            found = _clear_part(setting, shapely.offset_curve(line, aside) if aside else line)
            if found is not None:
                return (found,)
    return ()


def _clear_part(setting: Setting, line: BaseGeometry) -> DrivenLine | None:
    """The one part of *line* clear of fences and no-spray ground, if it is most of it and can be followed."""
    if line.geom_type != "LineString" or line.is_empty:
        return None
    clear = [one for one in shapely.get_parts(line & setting.ground.clear_ground) if one.length > 0]
    if len(clear) != 1 or clear[0].length < min(line.length - 4 * tol.CLEARANCE_M, line.length / 2):
        return None
    points = shapely.get_coordinates(clear[0])
    if clear[0].length < tol.LEAST_PART_M / 2 or tightest_radius(points) < setting.terms.turning_radius_m:
        return None
    return DrivenLine(points, float(clear[0].length))


# --- the plan -------------------------------------------------------------------------------------


def _plan(
    setting: Setting,
    options: dict[str, tuple[Option, Option, Option]],
    field: PlanField,
    order: tuple[int, ...],
    *,
    exact: bool,
) -> TouchupPlan:
    audit, terms = setting.audit, setting.terms
    strips = tuple(_strip_plan(setting, strip, options[strip.id], field, order) for strip in audit.missed_strips)
    legs, stops = driven_legs(field, order)
    walked = {strip.id: strip.length_m for strip in audit.missed_strips}
    stops = tuple(replace(one, length_m=walked[one.id]) if one.method == SPOT else one for one in stops)
    taken = [option_of(field, mode) for mode in order]
    left = sum(one.worth for one in strips if one.advice == LEAVE and one.id in field.strips)
    way_cost = field.choice.cost(order) - left - sum(option.own_cost for option in taken)
    way_m = sum(_length(leg) for leg in legs if leg.kind != "work")
    work_s = sum(option.time_s for option in taken) + (terms.setup_s if order else 0.0)
    cost = terms.labour_s * work_s + sum(terms.mix_cost_l * (option.mix_l or 0.0) for option in taken) + way_cost
    cured = sum(one.worth - (one.chosen.own_cost - _spent(one.chosen, terms)) for one in strips if one.advice != LEAVE)
    return TouchupPlan(
        strips=strips,
        stops=stops,
        legs=legs,
        start=setting.start,
        path_m=sum(_length(leg) for leg in legs),
        time_s=work_s + way_m / terms.speed_m_s,
        way_cost=way_cost,
        cost=cost,
        leave_cost=sum(one.worth for one in strips),
        net_value=cured - cost,
        mix=mix_to_prepare(taken, terms, us=audit.job.settings.report.units == "us"),
        dates=setting.dates,
        after=_after(audit, taken),
        terms=terms,
        limits=setting.limits,
        exact=exact,
        starts_at_entry="entry" not in terms.assumed,
        start_outside_m=float(shapely.distance(setting.ground.inside, shapely.Point(setting.start))),
    )


def _length(leg: Leg) -> float:
    return float(shapely.LineString(leg.points).length)


def _spent(option: Option, terms: Terms) -> float:
    return terms.labour_s * option.time_s + terms.mix_cost_l * (option.mix_l or 0.0)


def _strip_plan(
    setting: Setting,
    strip: Strip,
    options: tuple[Option, Option, Option],
    field: PlanField,
    order: tuple[int, ...],
) -> StripPlan:
    method = next((field.modes[mode].method for mode in order if field.modes[mode].strip == strip.id), LEAVE)
    plan = StripPlan(
        id=strip.id,
        length_m=strip.length_m,
        mean_width_m=strip.mean_width_m,
        worth=worth_m2(strip, setting.terms) * strip.area_m2,
        options=options,
        advice=method,
        way_cost=(0.0, way_cost_of(field, order, strip.id, SPOT), way_cost_of(field, order, strip.id, BOOM)),
        considered=strip.id in field.strips or not any(usable(option) for option in options[1:]),
    )
    return replace(plan, pays_above_m=pays_above(plan, setting.audit.job.settings.boom.width_m))


# --- the field afterwards -------------------------------------------------------------------------


def _after(audit: Audit, taken: list[Option]) -> After:
    """Count the ground again with the planned swaths on top of what the job left.

    The job's own ground goes in as it was counted (k visits: k swaths of that ground); every
    planned swath is a stretch of its own, so it is a visit of its own.
    """
    layers = audit.layers
    ground = Ground(
        shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(layers.field)]),
        layers.field,
        layers.target,
        layers.excluded,
    )
    shapes = [layer for visits, layer in enumerate(layers.by_visits) for _ in range(visits)]
    shapes += [swath for option in taken for swath in option.swaths or (option.spray,)]
    pieces = [
        Piece(part, _one_line(stretch), 0, 0, bridged=False)
        for stretch, shape in enumerate(shapes)
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon"
    ]
    width = audit.job.settings.boom.width_m
    swept = sum(piece.polygon.area for piece in pieces)
    parts = closed_partition(pieces, ground, width, _at_once, swept)
    visits, target = parts.visits, parts.in_target
    return After(
        missed_m2=parts.area(target & (visits == 0)),
        double_m2=parts.area(target & (visits > 1)),
        outside_m2=parts.area(~target & (visits > 0)),
        closure_rel=closure_rel(parts, ground, swept),
    )


def _at_once(_piece: Piece, x: FloatArray, _y: FloatArray) -> FloatArray:
    """No travel: whatever one stretch sweeps here is one visit, as every swath has been counted by itself."""
    return np.zeros(len(x))


def _one_line(stretch: int) -> BoomLines:
    """Boom lines that say no more than which stretch a swath belongs to."""
    none, no = np.zeros(1), np.zeros(1, bool)
    return BoomLines(none, none, none, none, no, no, no, ((0.0, 0.0),), stretch)
