"""The answer in words: three figures with one unit each, what nobody can say, and the places to go to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.jobs.job import ASSUMED
from coverage_audit.read.records import REMEMBERED

from . import display
from .accuracy import chance_told, errors
from .decision import decision_sentence
from .rows import in_a_row

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.ground.model import Strip
    from coverage_audit.ground.unlogged import Break
    from coverage_audit.jobs.settings import JobSettings
    from coverage_audit.recipe.answer import Answer, Span
    from coverage_audit.recipe.result import Audit


NAMES = {"missed": "Surely missed", "perhaps": "Perhaps missed", "double": "Sprayed twice"}
"""What the three figures are called, by their kind."""


@dataclass(frozen=True)
class Told:
    """One of the three figures: best value, its range ("" when there is none), and what it means."""

    kind: str
    name: str
    best: str
    range: str
    meaning: str


def answer_figures(found: Answer, audit: Audit) -> tuple[Told, Told, Told]:
    """Surely missed, perhaps missed, sprayed twice: each in one unit, with its range."""
    units = audit.job.settings.report.units
    known = errors(audit)
    narrow = "narrower than this log can show" if len(known) == 1 else f"within {in_a_row(known, 'or')}"
    besides = {
        ASSUMED: "this log cannot say where",
        REMEMBERED: f"within {in_a_row([*known, 'a slip of memory'], 'or')}",
    }.get(found.decision.state, narrow)
    rows = (
        ("missed", found.surely, "more than any error of the positions explains"),
        ("perhaps", found.perhaps, besides),
        ("double", found.twice, "or more often"),
    )
    return tuple(Told(kind, NAMES[kind], *span_words(span, units), meaning) for kind, span, meaning in rows)  # type: ignore[return-value]


def span_words(span: Span, units: str) -> tuple[str, str]:
    """Best value and range in one unit: "0.35 ac", "0.30 to 0.39 ac"."""
    if span.low is None or span.high is None:
        return (display.areas_alike((span.best,), units)[0] if span.best > 0 else "none"), ""
    best, low, high = display.areas_alike((span.best, span.low, span.high), units)
    if low == high:
        return (best if span.best > 0 else "none"), ""
    return best, f"{display.without_unit(low)} to {high}"


def figure_line(told: Told) -> str:
    """One figure as a line of plain text."""
    ranged = f" ({told.range}, 9 chances in 10)" if told.range else ""
    return f"{told.name}: {told.best}{ranged}"


def notices(audit: Audit) -> list[str]:
    """What has to stand beside the first line, one short sentence each."""
    told = _together(audit)
    if audit.assumed is not None:
        gaps = audit.passes.gaps if audit.passes else ()
        left_out = "; ".join(place_between(beside) for beside, _ in gaps)
        if not any(one.code == "outline elsewhere" for one in audit.cautions):  # else the outline makes passes look so
            told.append(f"Pass left out: {left_out}." if left_out else "No pass was left undriven.")
        told.append(
            "When the boom was on is ASSUMED: ground that was worked over is taken as sprayed, even if the boom was "
            "off there."
        )
    if audit.remembered:
        told.append("The boom's times are REMEMBERED, at least in part: a person said them afterwards.")
    return told


def _together(audit: Audit) -> list[str]:
    found, units = audit.together, audit.job.settings.report.units
    if found is None:
        return []
    one = len(found.machines) == 1
    names, done = ", ".join(found.machines), together_words(found.area_m2, len(found.machines) + 1, units)
    left = (
        f"{display.area(found.taken_m2, units)} that the other{'' if one else 's'} took by {'its' if one else 'their'}"
    )
    return [
        f"{'Another machine' if one else 'Other machines'} sprayed this field too ({names}). Together: {done}.",
        f"All other figures are of what was left to this machine, without {left} own log{'' if one else 's'}.",
    ]


def together_words(area_m2: Mapping[str, float], machines: int, units: str) -> str:
    """What so many machines did on their common ground, from its target, covered, missed and double. [m2]"""
    told = {name: display.area(value, units) if value else "nothing" for name, value in area_m2.items()}
    return (
        f"{display.share(area_m2['covered'], area_m2['target'])} of {told['target']} covered, {told['missed']} missed "
        f"by {'both' if machines == 2 else 'all'}, {told['double']} sprayed twice or more"
    )


def told_datetime(time_s: float, settings: JobSettings) -> str:
    """Date and time for the first part of a paper: "30 May 2026, 07:02"; the zone only where nobody gave one."""
    zone = "" if settings.timezone_given else " world time (UTC)"
    return f"{display.local_date(time_s, settings.timezone)}, {display.local_time(time_s, settings.timezone)}{zone}"


def place_between(beside: tuple[int, ...]) -> str:
    """Where a pass was left out, by the passes beside it."""
    return f"between passes {beside[0]} and {beside[1]}" if len(beside) > 1 else f"beside pass {beside[0]}"


def break_words(one: Break, audit: Audit) -> str:
    """What happened to the log, and the question that only the driver can answer."""
    settings = audit.job.settings
    zone, units = settings.timezone, settings.report.units
    if one.seconds is None:
        moment = one.start_s if one.start_s is not None else one.end_s or 0.0
        what = "ends" if one.start_s is not None else "begins"
        return f"The log {what} amid the work ({display.local_time(moment, zone)}). Were you spraying then?"
    lasted, apart = display.duration(one.seconds), display.length(one.metres, units)
    at = display.local_time(one.start_s or 0.0, zone)
    return f"The log paused for {lasted}, {apart} ({at}). Were you spraying then?"


def untold_words(found: Answer, audit: Audit) -> str:
    """What is only totalled, not listed by place; "" when there is nothing."""
    count, area = found.untold
    if area <= 0:
        return ""
    units = audit.job.settings.report.units
    places = f"{display.count(count, 'place')} and what is narrower still" if count else "Narrow ground"
    told = display.area(area, units)
    return f"{places}, {told} as logged, cannot be told from error: not listed, not worth a walk."


def strip_size(strip: Strip, units: str) -> str:
    """Size of a strip in one line: "3,613 ft², 131 ft long, 27.6 ft wide"."""
    long, wide = display.length(strip.length_m, units), display.length(strip.mean_width_m, units)
    return f"{display.small_area(strip.area_m2, units)}, {long} long, {wide} wide"


def strip_chance(strip: Strip) -> str:
    """How sure a strip is: "almost surely missed", "80 chances in 100 that it is missed", "missed as logged"."""
    return "missed as logged" if strip.probability is None else chance_told(strip.probability)


def first_line(found: Answer, audit: Audit) -> str:
    """The decision in one or two sentences."""
    return decision_sentence(found.decision, audit)
