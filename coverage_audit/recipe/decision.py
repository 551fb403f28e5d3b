"""Go back or not, and for what: one rule, a pure function of facts; ``papers`` has the sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.jobs.job import ASSUMED, SEEN, boom_state
from coverage_audit.passes.model import REMEMBERED_OFF

from .tolerances import (
    ANTENNA_AHEAD_M,
    ASSUMED_ERROR_ELSE_M,
    ASSUMED_ERROR_M,
    DRIVEN_SHARE,
    LEAST_STOP_SHARE,
    LIKELY_CHANCE,
    NARROWEST_ERRORS,
    SURE_CHANCE,
    SWITCH_ERROR_S,
    WORTH_M2,
    WORTH_SHARE,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.accuracy.model import Accuracy

    from .result import Audit

GO_BACK, LEAVE, CANNOT_TELL = "go back", "leave", "cannot tell"
"""Kinds of decision."""

SURE, DOUBTFUL, UNKNOWN = "sure", "cannot tell", "unknown"
"""Kinds of missed ground: beyond what error can explain; within it; the log was paused or cut."""

NO_TARGET, COUNTS, OUTLINE, SKIPS, BREAKS, STATE, WANDER, DOUBT, NOTHING = (
    "no target", "counts differ", "outline", "skips", "log broken off", "state", "wander", "doubtful places", "nothing",
)  # fmt: skip
"""What a decision turned on."""

_BY_SWITCH = frozenset({"late on", "early off", "boom off", "boom off across", "section off", "assumed off"})
"""Causes that are as sure as the moments of switching."""


@dataclass(frozen=True)
class Place:
    """A place of missed ground: ``chance`` that it is real, None when GPS error was not carried through. [m2], [m]"""

    id: str
    area_m2: float
    mean_width_m: float
    chance: float | None
    by_switch_m: float | None = None
    """How long it is along the pass where switching made it; None = driven so."""


@dataclass(frozen=True)
class Facts:
    """What the decision is made of. Areas [m2], widths and errors [m].

    ``state``: logged, marked, remembered or assumed, as ``jobs.job.boom_state`` says. ``switch_m``: how far its moments
    may lie off. ``narrowest_m``:
    narrower skips cannot be told from the receiver's error, None = no skip up to the boom's width can.
    ``outline_fits``: it would not fit the drive better in another place. ``paying``:
    ids that a touch-up plan would treat, None = no plan was made; ``weighed``: those it looked at.
    """

    places: tuple[Place, ...]
    target_m2: float
    missed_m2: float
    unknown_m2: float
    state: str
    switch_m: float
    narrowest_m: float | None
    wander_m: float
    counts_agree: bool
    outline_fits: bool = True
    paying: frozenset[str] | None = None
    weighed: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Decision:
    """Go back or not: ``strips`` to go back for, largest first; ``why`` says what it turned on.

    ``standing`` tells of each missed strip whether it is sure. ``taken_along``: strips that a touch-up plan treats and
    that are not sure. Areas [m2]; they add up to the ground logged as missed.
    """

    kind: str
    strips: tuple[str, ...]
    why: str
    standing: Mapping[str, str]
    sure_m2: float
    cannot_tell_m2: float
    unknown_m2: float
    state: str
    wander_m: float
    taken_along: tuple[str, ...] = ()

    @property
    def sure(self) -> tuple[str, ...]:
        """Names of the strips that are surely missed, in order."""
        return tuple(name for name, kind in self.standing.items() if kind == SURE)


def decide(facts: Facts) -> Decision:
    """Decide from *facts* alone.

    Never to leave over a place that is likelier missed than not and worth a walk; never to go back for one that a
    paused log, an assumed state or the receiver's error may have made.
    """
    standing = {place.id: SURE if _sure(place, facts) else DOUBTFUL for place in facts.places}
    sure = [place for place in facts.places if standing[place.id] == SURE]
    sure_m2 = sum(place.area_m2 for place in sure)
    kind, strips, why = _verdict(facts, sure)
    return Decision(
        kind=kind,
        strips=tuple(place.id for place in strips),
        why=why,
        standing=standing,
        sure_m2=sure_m2,
        cannot_tell_m2=max(facts.missed_m2 - sure_m2 - facts.unknown_m2, 0.0),
        unknown_m2=facts.unknown_m2,
        state=facts.state,
        wander_m=facts.wander_m,
        taken_along=tuple(name for name in standing if standing[name] != SURE and name in (facts.paying or ())),
    )


def _verdict(facts: Facts, sure: list[Place]) -> tuple[str, list[Place], str]:
    """Kind, strips to go back for, and reason: the first that holds."""
    worth = worth_m2(facts.target_m2)
    worthy = _worthy(facts, sure, worth)
    likely = [
        place
        for place in facts.places
        if place not in sure
        and (place.id not in facts.weighed or place.id in (facts.paying or ()))
        and (place.chance is None or place.chance >= LIKELY_CHANCE)
    ]
    reasons = (
        (LEAVE, NO_TARGET, not facts.target_m2 > 0),
        (CANNOT_TELL, COUNTS, not facts.counts_agree),
        (CANNOT_TELL, OUTLINE, not facts.outline_fits),
        (GO_BACK, SKIPS, bool(worthy)),
        (CANNOT_TELL, BREAKS, facts.unknown_m2 >= worth),
        (CANNOT_TELL, STATE, facts.state == ASSUMED),
        (CANNOT_TELL, WANDER, facts.narrowest_m is None),
        (CANNOT_TELL, DOUBT, sum(place.area_m2 for place in likely) >= worth),
        (LEAVE, NOTHING, True),
    )
    kind, why = next((kind, why) for kind, why, holds in reasons if holds)
    return kind, worthy if kind == GO_BACK else [], why


def worth_m2(target_m2: float) -> float:
    """Surely missed ground from which on going back is worth while when no worth and cost are known. [m2]"""
    return min(WORTH_M2, WORTH_SHARE * target_m2)


def _worthy(facts: Facts, sure: list[Place], worth: float) -> list[Place]:
    """Sure places to go back for: those that a plan treats; without one, when together they are worth the trip."""
    if facts.paying is not None:
        return [place for place in sure if place.id in facts.paying]
    if sum(place.area_m2 for place in sure) < worth:
        return []
    return [place for place in sure if place.area_m2 >= LEAST_STOP_SHARE * worth]


def _sure(place: Place, facts: Facts) -> bool:
    if not facts.outline_fits:
        return False
    if place.by_switch_m is not None and place.by_switch_m < 2 * facts.switch_m:
        return False
    if place.chance is not None:
        return place.chance >= SURE_CHANCE
    # whatever the boom's state was, ground that no driving passed over was not sprayed
    told = facts.narrowest_m is not None and (facts.state in SEEN or place.by_switch_m is None)
    return told and place.mean_width_m > (facts.narrowest_m or 0.0)


# --- the facts of an audit ----------------------------------------------------------------------------


def not_planned(audit: Audit) -> frozenset[str]:
    """Strips that no touch-up is planned for: not surely missed, and nothing better is known to weigh them by.

    Where somebody typed the worth of ground and the boom's state was noted, a strip is weighed by its chance when the
    job says how good its positions are; where it does not, what pays is told as logged.
    """
    decision, found = audit.answer.decision, audit.accuracy
    noted = decision.state in SEEN
    terms = audit.job.settings.touchup
    typed = terms is not None and terms.value_m2 is not None
    told = found is None or not found.asked or decision.kind != CANNOT_TELL
    if noted and typed and told:
        return frozenset()
    return frozenset(name for name, ground in decision.standing.items() if ground != SURE)


def facts_of(audit: Audit) -> Facts:
    """What the decision about *audit* is made of, with the touch-up's own reckoning where one was planned."""
    plan = audit.plan
    state, areas, found = boom_state(audit.job), audit.area_m2, audit.accuracy
    error = usual_error_m(audit)
    speed = audit.distance_on_m / audit.time_on_s if audit.time_on_s > 0 else 0.0
    return Facts(
        places=_places(audit),
        target_m2=areas.target,
        missed_m2=areas.missed,
        unknown_m2=areas.unknown,
        state=state,
        switch_m=math.inf if state == ASSUMED else max(SWITCH_ERROR_S.get(state, 0.0) * speed, _unplaced_m(audit)),
        narrowest_m=NARROWEST_ERRORS * error if found is None else found.smallest_detectable_skip_m,
        wander_m=error if found is None else slow_error_m(found),
        counts_agree=audit.checks.ok,
        outline_fits=not any(one.code == "outline elsewhere" for one in audit.cautions),
        paying=None if plan is None else frozenset(one.id for one in plan.treated),
        weighed=frozenset(one.id for one in (plan.strips if plan else ()) if one.considered and not one.doubtful),
    )


def _unplaced_m(audit: Audit) -> float:
    """How far switching lies off for an antenna whose place nobody stated; 0 where draws hold it. [m]"""
    drawn = audit.accuracy is not None and audit.accuracy.placed
    return 0.0 if drawn or audit.job.settings.boom.antenna_ahead_m is not None else sum(ANTENNA_AHEAD_M) / 2


def slow_error_m(found: Accuracy) -> float:
    """The receiver's slow error as draws took it, the larger where two regimes are possible; untold, as stated. [m]"""
    learnt = [one.learnt.sigma_m.best for one in found.by_regime.values() if one.learnt is not None]
    return max(learnt, default=float(np.median(found.error.sigma_m)))


def _places(audit: Audit) -> tuple[Place, ...]:
    causes = audit.passes.causes if audit.passes else {}
    driven = _driven_over(audit) if audit.assumed is not None else set()
    found = []
    for strip in audit.missed_strips:
        cause = causes.get(strip.id)
        # what is short along its pass is long across it
        by_switch = min(cause.amount_m, cause.length_m) if cause is not None and cause.kind in _BY_SWITCH else None
        # where nobody logged the boom, only a person can have said that it was off: draws carry how loosely
        remembered = audit.assumed is not None and cause is not None and cause.kind == REMEMBERED_OFF
        if remembered:
            by_switch = None
        elif by_switch is None and strip.id in driven:
            by_switch = strip.length_m
        found.append(Place(strip.id, strip.area_m2, strip.mean_width_m, strip.probability, by_switch))
    return tuple(found)


def _driven_over(audit: Audit) -> set[str]:
    """Strips that were driven over for the most part with the boom off, as assumed: it may well have been on."""
    way = shapely.MultiLineString(list(audit.layers.transport))
    swath = shapely.buffer(way, audit.job.settings.boom.width_m / 2, cap_style="flat")
    polygons = np.array([strip.polygon for strip in audit.missed_strips], dtype=object)
    shared = shapely.area(shapely.intersection(polygons, swath))
    return {
        strip.id
        for strip, over in zip(audit.missed_strips, shared.tolist(), strict=True)
        if over > DRIVEN_SHARE * strip.area_m2
    }


def usual_error_m(audit: Audit) -> float:
    """Usual pass-to-pass error of the commonest class of fix in the job's logs. [m]"""
    if audit.assumed is not None:
        return audit.assumed.error_m
    quality = np.concatenate([np.zeros(0, int), *(log.fixes.quality for log in audit.job.logs)])
    if not len(quality):
        return ASSUMED_ERROR_ELSE_M
    codes, counts = np.unique(quality, return_counts=True)
    return ASSUMED_ERROR_M.get(int(codes[np.argmax(counts)]), ASSUMED_ERROR_ELSE_M)
