"""The three figures of the answer, and the places worth a walk in walking order: facts for every paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.accuracy.strips import sure_sigmas
from coverage_audit.accuracy.tolerances import REAL_SHARE

from .decision import CANNOT_TELL, SURE, decide, facts_of, slow_error_m
from .tolerances import (
    LEAST_WALK_M2,
    LIKELY_CHANCE,
    NINETY_SIGMAS,
)

if TYPE_CHECKING:
    from coverage_audit.accuracy.model import Figure
    from coverage_audit.arrays import FloatArray
    from coverage_audit.ground.model import Strip

    from .decision import Decision, Facts
    from .result import Audit


@dataclass(frozen=True)
class Span:
    """An area with the range that holds the truth 9 times in 10; ``low`` and ``high`` None = not worked out. [m2]"""

    best: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, eq=False)
class Answer:
    """What a person wants to know first.

    ``surely``, ``perhaps``: missed ground beyond what error explains, and what may be missed besides. ``walk``: strips
    worth a walk, in walking order from where the field was entered. ``untold`` (how many, their area [m2]): missed
    strips and slivers that are only totalled.
    """

    decision: Decision
    surely: Span
    perhaps: Span
    twice: Span
    walk: tuple[Strip, ...]
    listed: tuple[Strip, ...]
    untold: tuple[int, float]


def answer_of(audit: Audit) -> Answer:
    """The answer about *audit*; its papers take it from ``audit.answer``."""
    facts = facts_of(audit)
    decision = decide(facts)
    shown = listed(audit, decision)
    names = {strip.id for strip in shown}
    rest = [strip for strip in audit.missed_strips if strip.id not in names]
    untold = audit.area_m2.missed - audit.area_m2.unknown - sum(strip.area_m2 for strip in shown)
    surely, double = _surely(facts, decision, audit), audit.area_m2.double
    return Answer(
        decision=decision,
        surely=surely,
        perhaps=_perhaps(audit, decision),
        twice=_span(None if audit.accuracy is None else audit.accuracy.double_m2, double, "double", audit),
        walk=walking_order([strip for strip in shown if _worth_a_walk(strip, decision)], entry(audit)),
        listed=shown,
        untold=(len(rest), max(untold, 0.0)),
    )


def listed(audit: Audit, decision: Decision) -> tuple[Strip, ...]:
    """Strips told as places, by area times chance: what is sure or likelier than not.

    Without any word on how good the positions are all strips are told as logged.
    """
    if audit.accuracy is None and audit.assumed is None:
        return audit.missed_strips
    kept = [
        strip
        for strip in audit.missed_strips
        if decision.standing[strip.id] == SURE
        or (strip.probability or 0.0) >= LIKELY_CHANCE
        or strip.id in decision.taken_along
    ]
    return tuple(sorted(kept, key=lambda strip: -strip.area_m2 * _chance(strip)))


def _chance(strip: Strip) -> float:
    return 1.0 if strip.probability is None else strip.probability


def _worth_a_walk(strip: Strip, decision: Decision) -> bool:
    """What is gone back for; where the log cannot tell, what one would look at."""
    if decision.kind == CANNOT_TELL and strip.area_m2 >= LEAST_WALK_M2:
        return True
    return strip.id in decision.strips or strip.id in decision.taken_along


def _surely(facts: Facts, decision: Decision, audit: Audit) -> Span:
    """Sum of the sure strips; each of their long sides, and of the ends that switching made, may lie off."""
    sure = [strip for strip in audit.missed_strips if decision.standing[strip.id] == SURE]
    best = sum(strip.area_m2 for strip in sure)
    if audit.accuracy is None or not best:
        return Span(best) if audit.accuracy is None else Span(0.0, 0.0, 0.0)
    sigma = strip_off_m(facts, audit)
    by_switch = {place.id: place.by_switch_m is not None for place in facts.places}
    off = math.sqrt(
        sum(
            (sigma * strip.length_m) ** 2
            + (facts.switch_m * strip.mean_width_m / NINETY_SIGMAS if by_switch[strip.id] else 0.0) ** 2
            for strip in sure
        )
    )
    most = max(audit.accuracy.missed_m2.high90 - audit.area_m2.unknown, best)
    return Span(best, max(best - NINETY_SIGMAS * off, 0.0), min(best + NINETY_SIGMAS * off, most))


def strip_off_m(facts: Facts, audit: Audit) -> float:
    """Standard deviation of a strip's width by the receiver's error. [m]

    What the smallest skip that can be told says of it, as that is wide enough for half of it to be surely real; no more
    than two errors that know nothing of each other differ by.
    """
    if facts.narrowest_m is None or audit.accuracy is None:
        return facts.wander_m
    slow = slow_error_m(audit.accuracy)
    return min(facts.narrowest_m * (1 - REAL_SHARE) / sure_sigmas(slow), math.sqrt(2) * slow)


def _perhaps(audit: Audit, decision: Decision) -> Span:
    """What may be missed besides: all that may be, less what surely is and what lies where the log broke off."""
    if audit.accuracy is None:
        return Span(decision.cannot_tell_m2)
    whole = _span(audit.accuracy.missed_m2, audit.area_m2.missed, "missed", audit)
    known = decision.sure_m2 + decision.unknown_m2
    low, high = (max((end or 0.0) - known, 0.0) for end in (whole.low, whole.high))
    return Span(min(max(whole.best - known, low), high), low, high)


def _span(figure: Figure | None, logged_m2: float, name: str, audit: Audit) -> Span:
    """A figure's range with its best value inside: the estimate, or the middle of the regimes' estimates."""
    if figure is None or audit.accuracy is None:
        return Span(logged_m2)
    estimates = [getattr(one, f"{name}_m2").estimate for one in audit.accuracy.by_regime.values()]
    known = [one for one in estimates if one is not None]
    best = figure.estimate if figure.estimate is not None else float(np.mean(known)) if known else logged_m2
    return Span(min(max(best, figure.low90), figure.high90), figure.low90, figure.high90)


# --- the way to walk --------------------------------------------------------------------------------------


def entry(audit: Audit) -> tuple[float, float]:
    """Where the field was entered: the first place driven within it. [m]"""
    if audit.entered_m is not None:
        return audit.entered_m
    middle = shapely.centroid(audit.layers.field)
    return float(middle.x), float(middle.y)


def walking_order(strips: list[Strip], start: tuple[float, float]) -> tuple[Strip, ...]:
    """*strips* in the order of a short walk from *start*: nearest next, then two ways exchanged while that shortens it.

    Both are textbook rules for a short round; they find no proven shortest one, and need none.
    """
    if not strips:
        return ()
    places = np.array([start, *((strip.label_point.x, strip.label_point.y) for strip in strips)])
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    order = [0]
    while len(order) < len(places):
        left = [k for k in range(1, len(places)) if k not in order]
        order.append(min(left, key=lambda k: apart[order[-1], k]))
    return tuple(strips[k - 1] for k in _exchanged(order, apart)[1:])


def _exchanged(order: list[int], apart: FloatArray) -> list[int]:
    """*order* with every part turned round that makes the way shorter so; only its two ends change the length."""
    way, better = apart.tolist(), True
    while better:
        better = False
        for a in range(1, len(order) - 1):
            for b in range(a + 1, len(order)):
                before, first, last = order[a - 1], order[a], order[b]
                gain = way[before][first] - way[before][last]
                if b + 1 < len(order):
                    gain += way[last][order[b + 1]] - way[first][order[b + 1]]
                if gain > 1e-9:
                    order[a : b + 1] = order[a : b + 1][::-1]
                    better = True
    return order
