"""The decision in sentences: go back or not, where, how sure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.jobs.job import ASSUMED
from coverage_audit.read.records import MARKED, REMEMBERED
from coverage_audit.recipe.decision import (
    BREAKS,
    COUNTS,
    DOUBT,
    GO_BACK,
    NO_TARGET,
    NOTHING,
    OUTLINE,
    STATE,
    WANDER,
    worth_m2,
)

from . import display
from .accuracy import errors
from .rows import in_a_row
from .touchup import prices_assumed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.recipe.decision import Decision
    from coverage_audit.recipe.result import Audit

NAMED = 4
"""Most strips named in the first line. [1]"""


def decision_sentence(found: Decision, audit: Audit) -> str:
    """First line of every paper: the decision in one or two plain sentences."""
    told = _go_back(found, audit) if found.kind == GO_BACK else _stay(found, audit)
    return f"{told}{_taken_along(found)}"


def _go_back(found: Decision, audit: Audit) -> str:
    """Which strips, and their part of all ground that is surely missed: the first of the three figures."""
    chosen = sum(strip.area_m2 for strip in audit.missed_strips if strip.id in found.strips)
    span = audit.answer.surely
    ends = [end for end in (span.low, span.high) if end is not None]  # in the unit of that figure
    sure, *_, gone = display.areas_alike((span.best, *ends, chosen), audit.job.settings.report.units)
    whole = gone if gone == sure else f"{gone} of the {sure}"
    missed = f"{whole} that {'is' if len(found.sure) == 1 else 'are'} almost surely missed"
    return f"Go back for {names(found.strips)}: {missed}.{_rest(found, audit)}"


def _taken_along(found: Decision) -> str:
    """Strips that a touch-up plan treats though the log cannot tell them from error."""
    if not found.taken_along:
        return ""
    also = "also goes" if found.strips else "goes"
    return f" The touch-up plan {also} to {names(found.taken_along)}, not surely missed: look before you spray."


def _nothing(found: Decision, audit: Audit) -> str:
    """Nothing worth it: nothing missed, or by the touch-up's reckoning."""
    if found.taken_along:
        return "Nothing that is surely missed is worth going back for."
    if audit.plan is None or not (found.sure or audit.answer.listed):
        much = audit.answer.perhaps.best >= worth_m2(audit.area_m2.target)
        return f"Nothing {'that this log can show is ' if much else ''}worth going back for."
    prices = " by the worth and labour assumed" if prices_assumed(audit.plan) else ""
    return f"Nothing worth going back for: no way of treating what is missed pays{prices}."


def _stay(found: Decision, audit: Audit) -> str:
    units = audit.job.settings.report.units
    return {
        NO_TARGET: "Nothing to go back for: no-spray areas and setbacks take up the whole field.",
        NOTHING: f"{_nothing(found, audit)}{_narrow(found, audit)}",
        COUNTS: "This log cannot say: two independent counts of the ground do not agree.",
        OUTLINE: "This log cannot say: the outline lies elsewhere than the drive.",
        BREAKS: f"This log cannot say: {display.area(found.unknown_m2, units)} lie where it was paused or cut.",
        STATE: f"This log cannot say: {_wander(found, units)}, and when the boom was on is a guess.",
        WANDER: f"This log cannot say: {_wander(found, units)}.",
        DOUBT: f"This log cannot say: places that look missed may be only {in_a_row(errors(audit), 'or')} "
        f"({_wander(found, units)}).",
    }[found.why]


def _wander(found: Decision, units: str) -> str:
    return f"its positions wander by {display.rough_length(found.wander_m, units)}"


def _rest(found: Decision, audit: Audit) -> str:
    units = audit.job.settings.report.units
    if found.state == ASSUMED:
        return " When the boom was on is a guess: of what else looks missed this log cannot say."
    told = []
    if found.cannot_tell_m2 > 0:
        error = in_a_row([*errors(audit), *(["a slip of memory"] if found.state == REMEMBERED else [])], "or")
        told.append(f" What else looks missed this log cannot tell from {error}.")
    if found.unknown_m2 > 0:
        told.append(f" {display.area(found.unknown_m2, units)} more lie where the log was paused or cut.")
    return "".join(told)


def _narrow(found: Decision, audit: Audit) -> str:
    told = []
    skip = None if audit.accuracy is None else audit.accuracy.smallest_detectable_skip_m
    if skip is not None:
        wide = display.length(skip, audit.job.settings.report.units)
        told.append(f" A skip narrower than {wide} this log cannot show.")
    if found.state in (MARKED, REMEMBERED) and not audit.remembered:
        told.append(f" When the boom was on is as it was {found.state}.")
    return "".join(told)


def names(ids: Sequence[str], most: int = NAMED) -> str:
    """Names of strips in a row: "M1", "M1 and M4", "M1, M2, M3, M4 and 3 more"."""
    shown = list(ids[:most])
    if len(ids) > most:
        return f"{', '.join(shown)} and {len(ids) - most} more"
    return in_a_row(shown)
