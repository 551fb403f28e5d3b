"""The touch-up plan in words, for every paper it appears in."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from coverage_audit.touchup.model import BOOM, LEAVE, NO_FIT, NO_PLACE, SPOT, TOO_BENT, TOO_MUCH, TOO_SHORT
from coverage_audit.units import (
    ACRE_M2,
    HECTARE_M2,
    MASS_RATE_KG_HA,
    POUND_KG,
    RATE_L_HA,
    US_FLUID_OUNCE_L,
    US_GALLON_L,
)

from . import display

if TYPE_CHECKING:
    import datetime as dt

    from coverage_audit.touchup.model import Excess, Limit, Option, Stop, StripPlan, TouchupPlan

METHOD_WORDS = {LEAVE: "leave", SPOT: "hand wand", BOOM: "boom pass"}
NOT_ALLOWED = "not allowed by the figures you gave"
WHY_NOT = {
    NO_PLACE: "no place to work from lies clear of fences and no-spray ground",
    NO_FIT: "no boom pass fits: it would spray beyond the target or leave the field",
    TOO_BENT: "the strip bends more tightly than the turning radius",
    TOO_SHORT: "the boom would be on for too short a way to be switched by hand",
    TOO_MUCH: "so much ground is a job of its own, not a touch-up",
}

CAUTIONS = (
    (
        "The label decides: read its limits on repeated application, intervals, protective equipment and re-entry "
        "again before the second pass."
    ),
    (
        "Do not spray in wind beyond what the label allows, nor in an inversion: still, clear evenings and early "
        "mornings are a warning, not a go."
    ),
    "Local rules and the licensed applicator decide whether and how to go back; this plan is arithmetic.",
)
ASSUMPTIONS = {
    "value": "worth of cleaning ground",
    "labour": "labour",
    "mix_cost": "cost of the mix",
    "spot_rate": "rate of the hand wand (that of the boom)",
    "spot_work": "ground done with the wand in an hour",
    "turning_radius": "turning radius",
    "entry": "entry (where the field was entered)",
    "reserve": "reserve of mix",
    "speed": "speed (that of the job)",
}


def money(amount: float, units: str) -> str:
    """*amount* in the person's own money, two decimals."""
    return display.number(amount, 2, units)


def day(date: dt.date) -> str:
    """*date* as "3 Jun 2026"."""
    return f"{date.day} {date:%b %Y}"


def ids(plans: tuple[StripPlan, ...] | list[StripPlan], most: int = 8) -> str:
    """Names of strips, the first *most* of them."""
    names = [one.id for one in plans]
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


ASSUMED_STATE = "ASSUMED boom state: planned is only what is surely missed."


def headline(plan: TouchupPlan, units: str) -> str:
    """What to do, in one or two sentences; an assumed boom state and a cut that comes too early stand first."""
    told = _headline(plan, units)
    return f"{ASSUMED_STATE} {told}" if plan.assumed_state else told


def _headline(plan: TouchupPlan, units: str) -> str:
    treated = plan.treated
    if not plan.strips:
        return "Nothing to go back for: no missed strip is wide enough to list."
    if all(one.doubtful for one in plan.strips):
        return "No strip is surely missed, so no way is planned."
    if not treated:
        prices = "by the worth and labour assumed" if prices_assumed(plan) else "under the figures given"
        return f"Leave everything: no way of treating {_all(plan)} pays {prices}."
    parts = []
    for method in (BOOM, SPOT):
        chosen = [one for one in treated if one.advice == method]
        if chosen:
            parts.append(f"{display.count(len(chosen), 'strip')} with the {_tool(method)} ({ids(chosen)})")
    left = len(plan.strips) - len(treated)
    rest = f"; leave {display.count(left, 'strip')}" if left else ""
    told = f"Spray {' and '.join(parts)}{rest}.{_unsure(treated)}"
    late = too_late(plan)
    worth = money(plan.net_value + plan.cost, units)
    saved = "" if prices_assumed(plan) else f" In your money it costs {money(plan.cost, units)} and is worth {worth}."
    return f"{late} Otherwise: {told[0].lower()}{told[1:]}{saved}" if late else told + saved


def _unsure(treated: tuple[StripPlan, ...]) -> str:
    """Which strips of the plan may be error: it weighs them as logged, or by their chance."""
    unsure = [one for one in treated if not one.sure]
    return f" Not surely missed: {ids(unsure)}; look before you spray." if unsure else ""


def prices_assumed(plan: TouchupPlan) -> bool:
    """Whether nobody gave any price: then none is told on the papers taken along."""
    return {"value", "labour"} <= set(plan.terms.assumed)


def _tool(method: str) -> str:
    return "boom" if method == BOOM else "hand wand"


def _all(plan: TouchupPlan) -> str:
    planned = [one for one in plan.strips if not one.doubtful]
    missed = "missed" if len(planned) == len(plan.strips) else "surely missed"
    return f"the {missed} strip" if len(planned) == 1 else f"any of the {len(planned)} {missed} strips"


def too_late(plan: TouchupPlan) -> str:
    """Refusal to call the plan fine when the earliest cut comes after the planned one; else ""."""
    dates = plan.dates
    if not (plan.treated and dates.too_late and dates.planned_cut):
        return ""
    planned = f"but you plan to cut on {day(dates.planned_cut)}."
    if dates.cut is None:
        return f"Not fine: the touch-up is meant for {day(dates.on)}, {planned}"
    return f"Not fine: after a touch-up on {day(dates.on)} the earliest cut is {day(dates.cut)}, {planned}"


def reason(one: StripPlan, plan: TouchupPlan, units: str) -> str:
    """Why this advice, in one line."""
    if one.doubtful:
        return "not surely missed: this log cannot tell it from error, so it is left"
    if not one.considered:
        return f"not looked at: only the {sum(other.considered for other in plan.strips)} most valuable strips were"
    told = [_compared(one, option, way, units) for option, way in zip(one.options[1:], one.way_cost[1:], strict=True)]
    worth = f"in your money, making it good is worth {money(one.worth, units)}"
    if one.advice == LEAVE and plan.treated == () and plan.terms.setup_s > 0:
        worth += ", and every trip costs its setting-up"
    return f"{worth}; {'; '.join(told)}"


def _compared(one: StripPlan, option: Option, way_cost: float, units: str) -> str:
    name = f"a {METHOD_WORDS[option.method]}"
    if not option.possible:
        return f"{name} cannot be done: {WHY_NOT[option.why_not]}"
    if not option.allowed:
        return f"{name} is {NOT_ALLOWED} ({excess_words(option.broken[0], units)})"
    if not math.isfinite(way_cost):
        return f"{name} cannot be reached inside the field with this turning radius"
    left = max(0.0, one.length_m * one.mean_width_m - option.cured_m2)
    lost = one.worth * left / (one.length_m * one.mean_width_m)
    cost = f"{name} costs {money(option.own_cost - lost + way_cost, units)} with the way there"
    return f"{cost} and leaves {display.small_area(left, units)}" if left > 0.5 else cost


def change(one: StripPlan, plan: TouchupPlan, units: str) -> str:
    """What would change the advice, in one line."""
    boom = one.boom
    if one.doubtful:
        return "a log that can tell: better positions, and the boom's state noted while driving"
    if not boom.possible:
        return "a smaller turning radius or shorter boom sections" if one.advice == LEAVE else "nothing about its width"
    if not boom.allowed:
        return "higher limits, or sections that spare the ground already sprayed"
    if one.pays_above_m is None:
        return "no width up to the boom's makes a boom pass pay at this length"
    told = f"a boom pass pays above {display.length(one.pays_above_m, units)} width"
    if one.advice == LEAVE and one.worth > 0:
        least = min(
            (
                option.own_cost + way
                for option, way in zip(one.options[1:], one.way_cost[1:], strict=True)
                if option.possible and option.allowed and math.isfinite(way)
            ),
            default=math.inf,
        )
        if math.isfinite(least):
            per_area = plan.terms.value_m2 * least / one.worth
            told += f"; leaving stops paying above a worth of {area_price(per_area, units)}"
    return told


def area_price(per_m2: float, units: str) -> str:
    """Worth of ground [money/m2] per hectare or acre."""
    if units == "us":
        return f"{money(per_m2 * ACRE_M2, units)}{display.SPACE}/ac"
    return f"{money(per_m2 * HECTARE_M2, units)}{display.SPACE}/ha"


def limit_name(limit: Limit) -> str:
    """Name of a limit as the job file has it."""
    if limit.scope == "mix":
        return "rate.label_max"
    return f"{'max_per_application' if limit.scope == 'application' else 'max_per_season'} of {limit.name}"


def excess_words(excess: Excess, units: str) -> str:
    """Which limit is broken, and by how much."""
    limit = excess.limit
    if excess.dose is None:
        wanted = "give the rate you wanted (rate.target) and the product's rate"
        return f"{limit_name(limit)} is given, but the dose cannot be told; {wanted}"
    return (
        f"{limit_name(limit)}: {dose(excess.dose, limit, units)} where {dose(limit.most, limit, units)} is the most"
        + ("; the stricter reading, on the sum of both" if limit.scope == "mix" else "")
    )


def dose(value: float, limit: Limit, units: str) -> str:
    """A dose [L/ha of mix, or L or kg of product per ha] in the person's units."""
    if limit.scope == "mix":
        return display.rate(value, units)
    if limit.unit == "kg":
        unit = "lb/ac" if units == "us" else "kg/ha"
        return f"{display.number(value / MASS_RATE_KG_HA[unit], 2, units)}{display.SPACE}{unit}"
    unit = "oz/ac" if units == "us" else "L/ha"
    return f"{display.number(value / RATE_L_HA[unit], 2, units)}{display.SPACE}{unit}"


def product_amount(value: float, kind: str, units: str) -> str:
    """An amount of product [L or kg] in L or oz, kg or lb; small ones in mL and g."""
    if kind == "kg":
        scale = [(1 / POUND_KG, "lb")] if units == "us" else [(1.0, "kg")] if value >= 1 else [(1000.0, "g")]
    elif units == "us":
        scale = [(1 / US_FLUID_OUNCE_L, "oz")]
    else:
        scale = [(1.0, "L")] if value >= 1 else [(1000.0, "mL")]
    factor, unit = scale[0]
    amount = value * factor
    return f"{display.number(amount, 0 if amount >= 100 else 1, units)}{display.SPACE}{unit}"


def mix_words(plan: TouchupPlan, units: str) -> str:
    """Mix to prepare, with its product."""
    if plan.mix is None:
        return "Mix: not known; give the rate you wanted (rate.target in a job file)."
    mix = plan.mix
    if not mix.needed_l:
        return "Mix: none."
    step = display.number(mix.prepare_l / (US_GALLON_L if units == "us" else 1.0), 2, units).rstrip("0").rstrip(".")
    unit = "gal" if units == "us" else "L"
    product = "".join(f" with {product_amount(amount, kind, units)} of {name}" for name, amount, kind in mix.product)
    return (
        f"Prepare {step}{display.SPACE}{unit} of mix{product}: {display.volume(mix.needed_l, units)} to spray and "
        f"{display.volume(mix.reserve_l, units)} in reserve, rounded up."
    )


def date_words(plan: TouchupPlan) -> list[str]:
    """Day of the touch-up, and what may be done from when on."""
    dates = plan.dates
    told = [
        f"Planned for {day(dates.on)}"
        + (", the day of the job, as part of one application." if dates.same_day else ", a second application.")
    ]
    if dates.cut:
        told.append(f"Earliest cut after it: {day(dates.cut)}.")
    if dates.graze:
        told.append(f"Earliest grazing after it: {day(dates.graze)}.")
    if dates.rei_days is not None:
        hours = display.number(dates.rei_days * 24, 0)
        told.append(f"No entry without the label's protective equipment for {hours} hours after it.")
    if dates.cut is None and dates.graze is None:
        told.append("No interval to cutting or grazing was given; the label has them.")
    if dates.fine is None and dates.planned_cut:
        told.append(f"Whether the cut on {day(dates.planned_cut)} may stay cannot be told without the interval (phi).")
    return told


def option_words(option: Option, units: str) -> dict[str, str]:
    """Figures of an option, as shown in a table."""
    if not option.possible:
        return {"state": f"cannot be done: {WHY_NOT[option.why_not]}"}
    state = "" if option.allowed else NOT_ALLOWED
    rate = "" if option.highest_l_ha is None else display.rate(option.highest_l_ha, units)
    return {
        "state": state,
        "good": display.small_area(option.cured_m2, units),
        "again": display.small_area(option.resprayed_m2, units),
        "rate": rate or ("none" if option.resprayed_m2 == 0 else display.NOT_KNOWN),
        "time": display.duration(option.time_s),
        "distance": display.length(option.distance_m, units),
        "mix": display.volume(0.0 if option.method == LEAVE else option.mix_l, units),
        "product": ", ".join(f"{product_amount(value, kind, units)} of {name}" for name, value, kind in option.product),
        "cost": money(option.own_cost, units),
    }


def sections_words(sections: tuple[int, ...], count: int) -> str:
    """Which sections are open, from the left."""
    if len(sections) == count:
        return "whole boom" if count > 1 else "boom on"
    runs = f"{sections[0]}" if len(sections) == 1 else f"{sections[0]}-{sections[-1]}"
    return f"section {runs} of {count} from the left"


def compass(heading_rad: float) -> str:
    """Direction of travel in words."""
    names = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")
    return names[round(math.degrees(heading_rad) / 45) % 8]


def stop_words(stop: Stop, sections: int, units: str) -> str:
    """What to do at a stop, in one line."""
    work = sections_words(stop.sections, sections) if stop.method == BOOM else "hand wand"
    if stop.parts > 1:
        work += f" in {stop.parts} parts and off between them"
    along = "along " if stop.method == SPOT else ""
    return f"{stop.id}: {work}, {along}{display.length(stop.length_m, units)} to the {compass(stop.heading_rad)}"


def after_words(plan: TouchupPlan, missed_m2: float, double_m2: float, units: str) -> str:
    """What the plan would leave behind, beside what there is now: ground missed and sprayed twice. [m2]"""
    after = plan.after
    return (
        f"Afterwards: {display.area(after.missed_m2, units)} still missed (now {display.area(missed_m2, units)}), "
        f"{display.area(after.double_m2, units)} sprayed twice or more (now {display.area(double_m2, units)})."
    )


def cautions(plan: TouchupPlan, units: str) -> list[str]:
    """What to know before going."""
    told = []
    if plan.terms.assumed:
        told.append(
            "Assumed, as the job file does not say: " + ", ".join(ASSUMPTIONS[key] for key in plan.terms.assumed) + "."
        )
    if not plan.limits:
        told.append("No limit of product or mix was given, so none was checked; the label has them.")
    if any(limit.scope == "mix" for limit in plan.limits):
        told.append("rate.label_max was held against the sum of both applications: the stricter reading.")
    if not plan.exact and plan.treated:
        told.append("So many strips: the order is a good one, not proven the shortest.")
    if plan.unordered:
        told.append(
            f"{plan.unordered} more strips may be worth a visit. Those worth most were planned; to order more at once, "
            "an extra library is needed. In the program's folder: .venv/bin/pip install '.[touchup]'."
        )
    if plan.start_outside_m > 1:
        told.append(f"The way starts {display.length(plan.start_outside_m, units)} outside the field.")
    if plan.terms.rate_l_ha is None:
        told.append("No rate is known: mix, product and their cost are left out.")
    return [*told, *CAUTIONS]
