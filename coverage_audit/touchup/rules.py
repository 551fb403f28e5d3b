"""What each way of dealing with a missed strip does, costs and may do: the rules of the touch-up plan."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import TouchupSettings
from coverage_audit.rate.product import mix_strength
from coverage_audit.solid import overlap
from coverage_audit.units import HECTARE_M2, US_GALLON_L

from . import tolerances as tol
from .model import BOOM, LEAVE, NO_PLACE, SPOT, Dates, Excess, Limit, Mix, Option, Terms

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.ground.model import Strip
    from coverage_audit.jobs.settings import JobSettings, ProductSettings

    from .model import DrivenLine, StripPlan


# --- terms, limits and dates --------------------------------------------------------------------


def terms_of(settings: JobSettings, first_l_ha: float | None, speed_m_s: float | None) -> Terms:
    """Every figure the plan is made with.

    Parameters
    ----------
    settings : JobSettings
        The job file.
    first_l_ha : float, optional
        What one visit of the job put down, as audited. [L/ha]
    speed_m_s : float, optional
        Mean speed of the job while spraying. [m/s]
    """
    given, rate = settings.touchup or TouchupSettings(), settings.rate.target_l_ha
    planned = rate if rate is not None else first_l_ha
    spot = given.spot_rate_l_ha if given.spot_rate_l_ha is not None else planned
    reserve = given.reserve_share if given.reserve_share is not None else tol.RESERVE_DEFAULT
    return Terms(
        value_m2=_or(given.value_m2, tol.VALUE_DEFAULT_M2),
        labour_s=_or(given.labour_s, tol.LABOUR_DEFAULT_S),
        mix_cost_l=_or(given.mix_cost_l, tol.MIX_COST_DEFAULT_L),
        spot_rate_l_ha=spot,
        spot_m2_s=_or(given.spot_m2_s, tol.SPOT_DEFAULT_M2_S),
        turning_radius_m=_or(given.turning_radius_m, tol.TURNING_RADIUS_DEFAULT_M),
        reserve_l=_or(given.reserve_l, 0.0),
        reserve_share=0.0 if given.reserve_l is not None else reserve,
        speed_m_s=_or(given.speed_m_s, speed_m_s or tol.SPEED_M_S),
        setup_s=given.setup_s,
        rate_l_ha=planned,
        first_l_ha=first_l_ha if first_l_ha is not None else rate,
        strengths=_strengths(settings.products, rate),
        assumed=_assumed(given),
    )


def _strengths(products: Sequence[ProductSettings], target_l_ha: float | None) -> tuple[tuple[str, float, str], ...]:
    """Name, amount in a litre of mix, and L or kg, of every product whose rate is known."""
    known = [(one.name, mix_strength(one.rate, target_l_ha), one.rate) for one in products]
    return tuple((name, strength, rate.kind) for name, strength, rate in known if strength is not None and rate)


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


def _assumed(given: TouchupSettings) -> tuple[str, ...]:
    """Names of the keys whose default counts."""
    stated = {
        "value": given.value_m2,
        "labour": given.labour_s,
        "mix_cost": given.mix_cost_l,
        "spot_rate": given.spot_rate_l_ha,
        "spot_work": given.spot_m2_s,
        "turning_radius": given.turning_radius_m,
        "entry": given.entry_deg,
        "reserve": given.reserve_l if given.reserve_l is not None else given.reserve_share,
        "speed": given.speed_m_s,
    }
    return tuple(key for key, value in stated.items() if value is None)


def limits_of(
    products: Sequence[ProductSettings], target_l_ha: float | None, label_max_l_ha: float | None
) -> tuple[Limit, ...]:
    """The limits that were given: in product, and ``rate.label_max`` in mix. [L/ha]"""
    limits = [Limit("", "mix", label_max_l_ha, 1.0, "L")] if label_max_l_ha is not None else []
    for product in products:
        strength = mix_strength(product.rate, target_l_ha)
        for scope, most in (("application", product.max_per_application), ("season", product.max_per_season)):
            if most is not None:
                limits.append(Limit(product.name, scope, most.value, strength, most.kind))
    return tuple(limits)


def broken_limits(
    limits: Sequence[Limit], before_l_ha: float | None, new_l_ha: float | None, *, same_day: bool
) -> tuple[Excess, ...]:
    """Limits broken on ground that got *before_l_ha* of mix in the job and gets *new_l_ha* now. [L/ha]

    ``max_per_application`` binds each application, the sum when both fall on one day;
    ``max_per_season`` and ``rate.label_max`` bind the sum. A dose that is not known breaks them.
    """
    broken = []
    for limit in limits:
        alone = limit.scope == "application" and not same_day
        parts = [new_l_ha] if alone else [before_l_ha, new_l_ha]
        known = [part for part in parts if part is not None]
        if limit.per_l is None or len(known) < len(parts):
            broken.append(Excess(limit, None))
        elif (dose := sum(known) * limit.per_l) > limit.most * (1 + tol.LIMIT_SLACK):
            broken.append(Excess(limit, dose))
    return tuple(broken)


def dates_of(products: Sequence[ProductSettings], on: dt.date, job_day: dt.date, planned_cut: dt.date | None) -> Dates:
    """Earliest cutting and grazing days after a touch-up *on* that day: of several products the latest."""
    return Dates(
        on=on,
        same_day=on == job_day,
        cut=_after(on, [product.phi_days for product in products]),
        graze=_after(on, [product.grazing_days for product in products]),
        planned_cut=planned_cut,
        rei_days=max((product.rei_days for product in products if product.rei_days is not None), default=None),
    )


def _after(on: dt.date, intervals_days: Sequence[float | None]) -> dt.date | None:
    days = [interval for interval in intervals_days if interval is not None]
    if not days:
        return None
    try:
        return on + dt.timedelta(days=math.ceil(max(days)))
    except OverflowError as error:
        raise InputError(
            f"no calendar holds the day that lies {max(days):g} days after a touch-up on {on}; correct the day or "
            "the product's intervals",
            "product",
        ) from error


# --- options ------------------------------------------------------------------------------------


def leave_option(strip: Strip, terms: Terms) -> Option:
    """Leave the strip as it is."""
    return Option(LEAVE, possible=True, own_cost=worth_m2(strip, terms) * strip.area_m2)


def worth_m2(strip: Strip, terms: Terms) -> float:
    """Worth of curing a square metre of *strip*: less where it may not be missed at all. [money/m2]"""
    probability = getattr(strip, "probability", None)  # that it is real; not every audit tells
    return terms.value_m2 * (1.0 if probability is None else float(probability))


def spot_option(
    strip: Strip, ways: tuple[DrivenLine, ...], terms: Terms, limits: Sequence[Limit], *, same_day: bool
) -> Option:
    """Spray the strip with a hand wand, aimed at the missed ground alone."""
    along_m = sum(way.length_m for way in ways)
    option = Option(
        SPOT,
        possible=bool(ways),
        ways=ways,
        spray=strip.polygon,
        cured_m2=strip.area_m2,
        sprayed_m2=strip.area_m2,
        time_s=max(strip.area_m2 / terms.spot_m2_s, along_m / terms.speed_m_s),
        distance_m=along_m,
        broken=broken_limits(limits, 0.0, terms.spot_rate_l_ha, same_day=same_day),
        why_not="" if ways else NO_PLACE,
    )
    return _costed(option, strip, terms, terms.spot_rate_l_ha)


def boom_option(
    strip: Strip,
    ways: tuple[DrivenLine, ...],
    swaths: tuple[BaseGeometry, ...],
    sections: tuple[int, ...],
    by_visits: Sequence[BaseGeometry],
    terms: Terms,
    limits: Sequence[Limit],
    *,
    same_day: bool,
) -> Option:
    """Go over the strip with the boom.

    Parameters
    ----------
    strip : Strip
        The missed strip.
    ways, swaths : tuple
        What is driven, and the ground each way sprays.
    sections : tuple of int
        Sections opened anywhere.
    by_visits : sequence of polygons
        Target ground by the job's visits.
    terms, limits, same_day
        As in :func:`broken_limits`.
    """
    spray = shapely.union_all(list(swaths))
    sprayed = sum(swath.area for swath in swaths)
    doses = _doses(swaths, by_visits)
    rate, first = terms.rate_l_ha, terms.first_l_ha
    broken: dict[Limit, Excess] = {}
    for visits, times in doses:
        before = 0.0 if not visits else None if first is None else visits * first
        for excess in broken_limits(limits, before, None if rate is None else times * rate, same_day=same_day):
            known = broken.get(excess.limit)
            if known is None or (known.dose or 0.0) < (excess.dose or 0.0):
                broken[excess.limit] = excess
    again = [visits * (first or 0.0) + times * (rate or 0.0) for visits, times in doses if visits + times > 1]
    option = Option(
        BOOM,
        possible=True,
        ways=ways,
        spray=spray,
        swaths=swaths,
        sections=sections,
        cured_m2=float(overlap(spray, strip.polygon).area),
        sprayed_m2=sprayed,
        resprayed_m2=max(0.0, sprayed - float(overlap(spray, by_visits[0]).area)),
        highest_l_ha=float(max(again)) if again and rate is not None and first is not None else None,
        time_s=sum(way.length_m for way in ways) / terms.speed_m_s,
        distance_m=sum(way.length_m for way in ways),
        broken=tuple(broken.values()),
    )
    return _costed(option, strip, terms, rate)


def _doses(polygons: Sequence[BaseGeometry], by_visits: Sequence[BaseGeometry]) -> list[tuple[int, int]]:
    """(visits in the job, times sprayed now) of every kind of ground that is worth naming."""
    grounds = (np.array([shapely.union_all(list(polygons))]), *_overlaps(np.array(polygons, dtype=object)))
    return [
        (visits, times)
        for times, ground in enumerate(grounds, start=1)
        for visits, layer in enumerate(by_visits)
        if (shapely.area(overlap(ground, layer)) > tol.LEAST_AGAIN_M2).any()
    ]


def _overlaps(polygons: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ground worth naming that two of *polygons* share, and what three of them do, any of it perhaps by more."""
    a, b = shapely.STRtree(polygons).query(polygons)
    a, b = a[a < b], b[a < b]
    two = overlap(polygons[a], polygons[b])
    worth = shapely.area(two) > tol.LEAST_AGAIN_M2
    pairs = dict(zip(zip(a[worth].tolist(), b[worth].tolist(), strict=True), two[worth], strict=True))
    third = {first: [c for one, c in pairs if one == first] for first, _ in pairs}
    threes = [(shared, polygons[c]) for (a, b), shared in pairs.items() for c in third[a] if (b, c) in pairs]
    return two[worth], np.array([overlap(*both) for both in threes], dtype=object)


def conflict(
    options: Sequence[Option],
    by_visits: Sequence[BaseGeometry],
    terms: Terms,
    limits: Sequence[Limit],
    *,
    same_day: bool,
) -> tuple[int, ...]:
    """Numbers of the first options that together break a limit where they overlap; () = none do."""
    if terms.rate_l_ha is None or not limits:
        return ()
    booms = [number for number, option in enumerate(options) if option.method == BOOM]
    sprays = np.array([options[number].spray for number in booms], dtype=object)
    first, second = shapely.STRtree(sprays).query(sprays, predicate="intersects") if booms else ((), ())
    near = {(a, b) for a, b in zip(first, second, strict=True) if a < b}
    groups = [tuple(pair) for pair in sorted(near)]
    groups += [(a, b, c) for a, b in sorted(near) for c in range(b + 1, len(booms)) if {(a, c), (b, c)} <= near]
    for group in groups:
        ground = shapely.intersection_all([sprays[k] for k in group])
        for visits, layer in enumerate(by_visits):
            if overlap(ground, layer).area <= tol.LEAST_AGAIN_M2:
                continue
            before = visits * (terms.first_l_ha or 0.0)
            if broken_limits(limits, before, len(group) * terms.rate_l_ha, same_day=same_day):
                return tuple(booms[k] for k in group)
    return ()


def no_boom(why_not: str) -> Option:
    """A boom pass that cannot be driven."""
    return Option(BOOM, possible=False, why_not=why_not)


def _costed(option: Option, strip: Strip, terms: Terms, rate: float | None) -> Option:
    """*option* with mix, product and cost; mix that is not known costs nothing."""
    mix = None if rate is None else option.sprayed_m2 / HECTARE_M2 * rate
    uncured = max(0.0, strip.area_m2 - option.cured_m2)
    cost = terms.labour_s * option.time_s + terms.mix_cost_l * (mix or 0.0) + worth_m2(strip, terms) * uncured
    product = () if mix is None else tuple((name, share * mix, kind) for name, share, kind in terms.strengths)
    return replace(option, mix_l=mix, product=product, own_cost=cost)


def pays_above(plan: StripPlan, boom_m: float) -> float | None:
    """Mean width of a strip of this length from which a boom pass would be advised. [m]

    What a boom pass costs hardly depends on the strip's width; what a wand costs, and what leaving
    it forgoes, grow with it. None when no strip narrower than the boom would do.
    """
    _, spot, boom = plan.options
    if not (boom.possible and boom.allowed) or not math.isfinite(plan.way_cost[2]):
        return None
    area = plan.length_m * plan.mean_width_m
    per_area = plan.worth / area
    cost = boom.own_cost - per_area * max(0.0, area - boom.cured_m2) + plan.way_cost[2]
    bars = [cost / (plan.length_m * per_area)] if per_area > 0 else [math.inf]
    if spot.possible and spot.allowed and spot.cured_m2 > 0 and math.isfinite(plan.way_cost[1]):
        per_m2 = spot.own_cost / spot.cured_m2
        if per_m2 < per_area:
            bars.append((cost - plan.way_cost[1]) / (plan.length_m * per_m2) if per_m2 > 0 else math.inf)
    width = max(0.0, *bars)
    return width if width <= boom_m else None


# --- mix ----------------------------------------------------------------------------------------


def mix_to_prepare(options: Sequence[Option], terms: Terms, *, us: bool) -> Mix | None:
    """Mix for *options* and the reserve, rounded up to what can be measured; None = no rate known."""
    amounts = [option.mix_l for option in options if option.method != LEAVE]
    known = [amount for amount in amounts if amount is not None]
    if len(known) < len(amounts):
        return None
    needed = sum(known)
    reserve = (terms.reserve_l or needed * terms.reserve_share) if needed else 0.0
    prepare = measured_l(needed + reserve, us=us)
    product = tuple((name, share * prepare, kind) for name, share, kind in terms.strengths)
    return Mix(needed, reserve, prepare, product)


def measured_l(litres: float, *, us: bool) -> float:
    """*litres* rounded up to a step of the measure a person would take for so much. [L]"""
    unit = US_GALLON_L if us else 1.0
    amount = litres / unit
    steps = tol.MEASURES_GAL if us else tol.MEASURES_L
    step = max((one for one in steps if one <= tol.MEASURE_SHARE * amount), default=steps[0])
    return math.ceil(amount / step - 1e-9) * step * unit  # 1e-9: a whole number of steps stays what it is
