"""Passes, causes and an assumed boom state in sentences for the person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.recipe.once import once

from . import display
from .accuracy import chance_words, with_certainty
from .rows import in_a_row

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.passes.model import Assumed, Cause, Range
    from coverage_audit.recipe.result import Audit

UNSURE_SHARE = 0.05
"""Less of the drive than this in doubt is hardly any. [1]"""

OFF_CAUSES = ("boom off", "boom off across", "late on", "early off")
BESIDE_S = 30.0
"""A strip made by a boom that is remembered to have been off lies within so long of that. [s]"""

CAUSES = {
    "spacing": "between passes {passes}, spacing {amount} too wide",
    "overlap": "passes {passes}, {length} long, spacing {amount} too narrow",
    "late on": "boom on {amount} late entering pass {passes}",
    "early off": "boom off {amount} early leaving pass {passes}",
    "on early": "boom on {amount} early entering pass {passes}",
    "off late": "boom off {amount} late leaving pass {passes}",
    "slanted end": "slanted end of pass {passes}: the boom is wider than the wedge",
    "boom off": "boom off for {length} in pass {passes}",
    "boom off across": "boom off across passes {passes}",
    "section off": "a section off for {length} in pass {passes}",
    "gap": "no positions logged for {length} in pass {passes}",
    "assumed off": "not among the places assumed to be sprayed, pass {passes}",
    "remembered off": "the boom was off here, as remembered",
    "no-spray area": "beside a no-spray area, along pass {passes}",
    "field edge": "at the field edge, along pass {passes}",
    "crossing": "driven over again in pass {passes}",
    "beside": "{where}, beside pass {passes}",
}
KINDS = {
    "headland": "headland lap",
    "straight": "pass",
    "turn": "turn",
    "transport": "transport",
    "standing": "standing",
    "reversing": "backing up",
    "gap": "gap in the log",
}


def cause_words(cause: Cause, units: str, timezone: str) -> str:
    """Where a finding lies and what made it, in words: "boom on 3.0 m late entering pass 22 (07:41)"."""
    where = display.WHERE_WORDS.get(cause.where, cause.where)
    if cause.time_s is None:
        return f"no positions were logged here, {where}" if cause.kind == "gap" else where
    told = CAUSES[cause.kind].format(
        passes=_numbers(cause.passes),
        amount=display.length(cause.amount_m, units),
        length=display.length(cause.length_m, units),
        where="" if cause.where == "between passes" else where,
    )
    if cause.kind == "assumed off" and len(cause.passes) > 1:
        told = told.replace("pass ", "passes ")
    return f"{told.removeprefix(', ')} ({display.local_time(cause.time_s, timezone)})"


def _numbers(passes: tuple[int, ...]) -> str:
    """Numbers of passes: "9 and 10", "9 to 21" where none is left out, "9, 12 and 17"."""
    if len(passes) > 2 and passes[-1] - passes[0] == len(passes) - 1:
        return f"{passes[0]} to {passes[-1]}"
    return in_a_row([*map(str, passes)])


@once
def told_causes(audit: Audit) -> Mapping[str, str]:
    """Where each finding lies and what made it, in words, by the finding's id: the same in every paper."""
    settings = audit.job.settings
    causes = audit.passes.causes if audit.passes else {}
    told = {strip.id: strip.where for strip in (*audit.missed_strips, *audit.unknown_places, *audit.double_patches)}
    return {
        name: cause_words(causes[name], settings.report.units, settings.timezone) + by_memory(causes[name], audit)
        if name in causes
        else display.WHERE_WORDS.get(where, where)
        for name, where in told.items()
    }


def by_memory(cause: Cause, audit: Audit) -> str:
    """That a boom which was off is so by memory alone, as an addition to the cause; "" when it is not."""
    if audit.remembered is None or cause.time_s is None or cause.kind not in OFF_CAUSES:
        return ""
    off = [one for one in audit.remembered.recalls if not one.on]
    lies = any(one.start_s - BESIDE_S <= cause.time_s <= one.end_s + BESIDE_S for one in off)
    return ", as remembered" if lies else ""


def verdict_of(audit: Audit) -> display.Verdict:
    """The job's verdict; with an assumed boom state what such a log can show comes first."""
    if audit.assumed is not None:
        return _assumed_verdict(audit, audit.assumed)
    causes = told_causes(audit)
    # the largest in the log alone is named: no error may be behind it, or nothing else
    largest = {one.id: causes[one.id] + chance_words(one, audit).replace("; ", ", ") for one in audit.missed_strips[:1]}
    return with_certainty(display.verdict(audit, {**causes, **largest}), audit)


def _assumed_verdict(audit: Audit, assumed: Assumed) -> display.Verdict:
    settings = audit.job.settings
    units = settings.report.units
    gaps = audit.passes.gaps if audit.passes else ()
    left_out = "; ".join(_place(beside) for beside, _ in gaps) or "none"
    headline = f"Passes left out: {left_out}. Everything else here rests on an ASSUMED boom state."
    sentences = []
    if assumed.mean_overlap_m is not None:
        wide = assumed.mean_overlap_m < 0
        amount = display.length(abs(assumed.mean_overlap_m), units)
        sentences.append(
            f"On average passes lie {amount} {'too far apart' if wide else 'over each other'} "
            f"(boom {display.length(settings.boom.width_m, units)}). A mean over many passes holds even where single "
            "positions wander."
        )
    sentences += [_balance(audit), *(_range(assumed, name, audit) for name in ("missed", "double"))]
    return display.Verdict(headline, tuple(sentences), assumed_notice(audit))


def _place(beside: tuple[int, ...]) -> str:
    many = len(beside) > 1
    return f"between passes {beside[0]} and {beside[1]}" if many else f"beside pass {beside[0]}"


def assumed_notice(audit: Audit) -> str:
    """Plain notice that the boom state is assumed, and what such a log cannot show; "" when it is not."""
    assumed = audit.assumed
    if assumed is None:
        return ""
    units = audit.job.settings.report.units
    return (
        "ASSUMED: nobody logged when the boom was on. It was taken to be on wherever the machine worked over ground "
        f"that nothing else covers. {_recognised(assumed)}Positions of this kind wander from pass to pass by about "
        f"{display.length(assumed.error_m, units)}, so a skip narrower than about "
        f"{display.length(assumed.narrowest_m, units)} cannot be told from that, nor can a late switch. "
        "No figure, strip or map here is proof of coverage."
    )


def _balance(audit: Audit) -> str:
    volume, units = audit.volume, audit.job.settings.report.units
    if volume.applied_l is None or volume.over_swept_l_ha is None:
        return "Volume balance: not known, as no volume was given (rate.applied is the surest)."
    text = (
        f"Volume balance: {display.volume(volume.applied_l, units)} over {display.area(audit.area_m2.swept, units)} "
        f"swept is {display.rate(volume.over_swept_l_ha, units)}"
    )
    intended = f", intended {display.rate(volume.target_l_ha, units)}" if volume.target_l_ha else ""
    return f"{text}{intended}."


def _range(assumed: Assumed, name: str, audit: Audit) -> str:
    units = audit.job.settings.report.units
    found = assumed.ranges[name]
    words = {"missed": "Missed", "double": "Sprayed twice or more"}[name]
    error = "with the receiver's error" if assumed.with_receiver else "the receiver's slow wander comes on top"
    return (
        f"{words}: {range_words(found, units)} ({share_words(found, audit.area_m2.target)}), in nine of ten boom "
        f"states that this drive leaves possible{',' if assumed.with_receiver else ';'} {error}."
    )


def _recognised(assumed: Assumed) -> str:
    """How much of the drive was recognised; "" when a person's own times were taken."""
    if not assumed.parts:
        return ""
    whole = sum(one.end_s - one.start_s for one in assumed.parts)
    if assumed.unsure_s < UNSURE_SHARE * whole:
        return "Nearly all of the drive was recognised as work, turn or way. "
    return f"Of {display.duration(assumed.unsure_s)} of the drive it cannot be told whether the boom was on. "


def range_words(found: Range | tuple[Range, ...], units: str) -> str:
    """Both ends of a range of areas [m2] in the person's units."""
    if isinstance(found, tuple):
        return "; ".join(range_words(one, units) for one in found)
    low, high = display.area_range(found.low, found.high, units)
    return f"{low} to {high}" if low != high else low


def share_words(found: Range | tuple[Range, ...], whole_m2: float) -> str:
    """Both ends of a range of areas [m2] as shares of *whole_m2*, in percent."""
    if isinstance(found, tuple):
        return "; ".join(share_words(one, whole_m2) for one in found)
    return f"{display.share(found.low, whole_m2)} to {display.share(found.high, whole_m2)}"
