"""Passes, causes and an assumed boom state in sentences for the person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import display
from .accuracy_words import with_certainty

if TYPE_CHECKING:
    from .model import Audit
    from .model_passes import Assumed, Cause, Range

CAUSES = {
    "spacing": "between passes {passes}, {length} long, spacing {amount} too wide",
    "overlap": "passes {passes}, {length} long, spacing {amount} too narrow",
    "late on": "boom on {amount} late entering pass {passes}",
    "early off": "boom off {amount} early leaving pass {passes}",
    "on early": "boom on {amount} early entering pass {passes}",
    "off late": "boom off {amount} late leaving pass {passes}",
    "slanted end": "slanted end of pass {passes}: the boom is wider than the wedge",
    "boom off": "boom off for {length} in pass {passes}",
    "crossing": "driven over again in pass {passes}",
    "beside": "beside pass {passes}",
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
    """Name the passes that made a finding, how, and when: "boom on 3.0 m late entering pass 22 (07:41)"."""
    passes = " and ".join(str(n) for n in cause.passes)
    told = CAUSES[cause.kind].format(
        passes=passes, amount=display.length(cause.amount_m, units), length=display.length(cause.length_m, units)
    )
    return f"{told} ({display.local_time(cause.time_s, timezone)})"


def told_causes(audit: Audit) -> dict[str, str]:
    """Cause of each finding in words, by the finding's id."""
    settings = audit.job.settings
    if audit.passes is None:
        return {}
    return {
        name: cause_words(cause, settings.report.units, settings.timezone)
        for name, cause in audit.passes.causes.items()
    }


def verdict_of(audit: Audit) -> display.Verdict:
    """The job's verdict; with an assumed boom state what such a log can show comes first."""
    if audit.assumed is not None:
        return _assumed_verdict(audit, audit.assumed)
    return with_certainty(display.verdict(audit), audit)


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
        "ASSUMED: nobody logged when the boom was on. It was taken to be on along the headland laps and on every pass "
        "inside them. Positions of this kind wander from pass to pass by about "
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
    early, late = display.length(assumed.early_m, units), display.length(assumed.late_m, units)
    return (
        f"{words}: {range_words(found, units)} ({share_words(found, audit.area_m2.target)}), from switching every pass "
        f"{early} early to {late} late; the receiver's slow wander comes on top."
    )


def range_words(found: Range | tuple[Range, ...], units: str) -> str:
    """Both ends of a range of areas."""
    if isinstance(found, tuple):
        return "; ".join(range_words(one, units) for one in found)
    return f"{display.area(found.low, units)} to {display.area(found.high, units)}"


def share_words(found: Range | tuple[Range, ...], whole_m2: float) -> str:
    """Both ends of a range as shares of the target."""
    if isinstance(found, tuple):
        return "; ".join(share_words(one, whole_m2) for one in found)
    return f"{display.share(found.low, whole_m2)} to {display.share(found.high, whole_m2)}"
