"""How sure the figures are: in words for the person, and as keys of ``summary.json``."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from coverage_audit.accuracy.model import BERKSON, CLASSICAL, CONTRADICTED, WRONG_FIX
from coverage_audit.accuracy.tolerances import SKIP_LENGTH_M
from coverage_audit.jobs.settings import GUIDED, GUIDED_OTHER, HAND, UNKNOWN
from coverage_audit.papers.tolerances import ENOUGH_JUDGED, JUDGED, LIKELY

from . import display
from .rows import in_a_row

if TYPE_CHECKING:
    from coverage_audit.accuracy.model import Accuracy, Figure, RegimeResult
    from coverage_audit.accuracy.standing import Spread
    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.result import Audit

STEERED = {
    HAND: "steered by hand",
    GUIDED: "guided by the receiver that logged",
    GUIDED_OTHER: "guided by another receiver",
    UNKNOWN: "not stated how it was steered, so both ways were worked out and the widest range is told",
}
CLASS_WORDS = {
    "autonomous": "uncorrected",
    "differential": "satellite-corrected (SBAS)",
    "RTK float": "half-corrected (RTK float)",
    "RTK fixed": "base-corrected (RTK fixed)",
}
"""What a class of fixes is called for a person."""

CHANCE_STEPS = 5
"""Shades of probability on the map."""


def accuracy_keys(audit: Audit) -> dict[str, Any]:
    """``accuracy`` of ``summary.json``; None when GPS error was not carried through."""
    found = audit.accuracy
    if found is None:
        return {"accuracy": None}
    error = found.error
    return {
        "accuracy": {
            "regime": found.regime,
            **_figures(found),
            "by_regime": {name: {**_figures(one), **_skip(one)} for name, one in found.by_regime.items()},
            **_skip(found),
            "replicates": found.replicates,
            "steering": found.steering,
            "error": {
                "class": error.fix_class,
                "source": error.source,
                "sigma_m": _middle_sigma(found),
                "time_constant_s": error.time_constant_s,
                "noise_m": error.noise_m,
                "boundary_m": error.boundary_m,
            },
            "learnt": {name: _learnt(one) for name, one in found.by_regime.items()},
            "doubts": list(found.doubts),
            **{name: _spread(getattr(found, name)) for name in ("antenna_ahead_m", "antenna_right_m")},
        }
    }


def _spread(one: Spread | None) -> dict[str, float] | None:
    return None if one is None else dataclasses.asdict(one)


def _learnt(one: RegimeResult) -> dict[str, Any] | None:
    """What the log itself shows of the receiver's slow error."""
    if one.learnt is None:
        return None
    return {name: dataclasses.asdict(getattr(one.learnt, name)) for name in ("sigma_m", "time_constant_s")}


def _figures(found: Accuracy | RegimeResult) -> dict[str, Any]:
    return {name: dataclasses.asdict(getattr(found, name)) for name in ("missed_m2", "double_m2", "covered_m2")}


def _skip(found: Accuracy | RegimeResult) -> dict[str, float | None]:
    return {"smallest_detectable_skip_m": found.smallest_detectable_skip_m}


def _middle_sigma(found: Accuracy) -> float:
    values = sorted(found.error.sigma_m.tolist())
    return float(values[len(values) // 2])


def with_certainty(told: display.Verdict, audit: Audit) -> display.Verdict:
    """*told* with what GPS error leaves of it; unchanged when it was not carried through."""
    found = audit.accuracy
    if found is None or not found.replicates:
        return told
    if not found.asked:
        return dataclasses.replace(told, sentences=(*told.sentences, _unasked(found, audit)))
    sentences = [_range("missed", found.missed_m2, audit), _range("sprayed twice or more", found.double_m2, audit)]
    sentences += [_skip_sentence(found, audit), *_doubts(found), *_unproven(found)]
    headline = f"{_missed_headline(found.missed_m2, audit)}; {_likely(found, audit)}."
    return dataclasses.replace(told, headline=headline, sentences=(*sentences, *told.sentences))


def _unasked(found: Accuracy, audit: Audit) -> str:
    """What GPS error may do to the figures when nobody said how good the positions are."""
    low, high = _ends(found.missed_m2, audit)
    stated = found.error.stated
    known = f"with {CLASS_WORDS[found.error.fix_class]} positions" if stated else "if its positions are uncorrected"
    what = in_a_row(["Memory"] * bool(audit.remembered) + errors(audit))
    measured = "Measure where the antenna stands (boom.antenna_ahead), and write"
    todo = measured if found.placed else "Write"
    return (
        f"{what}: {known}, {low} to {high} may truly be missed{_beyond(found.missed_m2, audit)}. {todo} "
        "[accuracy] into the job file (how the job was steered, how good the receiver is) to narrow this."
    )


def errors(audit: Audit) -> list[str]:
    """What the ranges hold, by name: GPS error, and the antenna's place where nobody stated it."""
    found = audit.accuracy
    return ["GPS error", *(["the antenna's unknown place"] if found and found.placed else [])]


def _beyond(figure: Figure, audit: Audit) -> str:
    """Why a range leaves out what the log shows, as an addition to it; "" when it does not."""
    units = audit.job.settings.report.units
    logged = display.area(figure.observed, units) if figure.observed > 0 else "nothing"
    if figure.observed < figure.low90:
        hide = "also hides" if len(errors(audit)) == 1 else "also hide"
        return f"; more than the {logged} logged, as {in_a_row(errors(audit))} {hide} some"
    if figure.observed > figure.high90:
        return f"; of the {logged} logged some is only {in_a_row(errors(audit), 'or')}"
    return ""


def _missed_headline(figure: Figure, audit: Audit) -> str:
    low, high = _ends(figure, audit)
    if figure.told:
        return f"Between {low} and {high} missed" if low != high else f"About {low} missed"
    leave = "leaves" if len(errors(audit)) == 1 else "leave"
    told = f"{in_a_row(errors(audit))} {leave} anything from {low} to {high}"
    return f"How much was missed cannot be told from this log: {told}"


def _ends(figure: Figure, audit: Audit) -> tuple[str, str]:
    return display.area_range(figure.low90, figure.high90, audit.job.settings.report.units)


def _likely(found: Accuracy, audit: Audit) -> str:
    strips = len(audit.missed_strips)
    if not strips:
        return "no missed strip wide enough to list"
    if found.smallest_detectable_skip_m is None:
        return f"which of {display.count(strips, 'strip')} are real cannot be told"
    likely = sum(chance >= LIKELY for chance in found.probability)
    if strips == 1:
        return "the one missed strip is likely real" if likely else "the one missed strip may not be real"
    return f"{likely} of {display.count(strips, 'strip')} {'is' if likely == 1 else 'are'} likely real"


def _range(what: str, figure: Figure, audit: Audit) -> str:
    low, high = _ends(figure, audit)
    units = audit.job.settings.report.units
    if not figure.told:
        allow = "allows" if len(errors(audit)) == 1 else "allow"
        return f"Cannot tell how much was {what}: {in_a_row(errors(audit))} {allow} {low} to {high}."
    if low == high:
        return f"Truly {what}, 9 chances in 10: about {low}, to the digits shown."
    # an estimate that its own range leaves out would only puzzle
    inside = figure.estimate is not None and figure.low90 <= figure.estimate <= figure.high90
    best = f", most likely about {display.area(figure.estimate or 0.0, units)}" if inside else ""
    return f"Truly {what}, 9 chances in 10: {low} to {high}{best}{_beyond(figure, audit)}."


def _skip_sentence(found: Accuracy, audit: Audit) -> str:
    skip = found.smallest_detectable_skip_m
    if skip is None:
        return "No skip narrower than the boom can be told from GPS error."
    units = audit.job.settings.report.units
    narrow = sum(strip.mean_width_m < skip for strip in audit.missed_strips)
    long, wide = display.length(SKIP_LENGTH_M, units), display.length(skip, units)
    text = f"A skip {long} long must look {wide} wide before GPS error can be ruled out"
    return f"{text}; {display.count(narrow, 'strip')} of the list {'is' if narrow == 1 else 'are'} narrower."


def _doubts(found: Accuracy) -> list[str]:
    """What the log holds against the error that was taken for its receiver."""
    told = {
        CONTRADICTED: (
            "The log does not bear out the error that was taken for this receiver, so nothing is told of it. Measure "
            "the receiver on a post (coverage-audit receiver) and state what it prints."
        ),
        WRONG_FIX: (
            "Its fixes are marked RTK fixed and wander or jump as a wrong fix does, by decimetres: check the base "
            "station, and do not rely on centimetres."
        ),
    }
    return [told[doubt] for doubt in found.doubts]


def _unproven(found: Accuracy) -> list[str]:
    """Say it where no simulated jobs of this class have shown that the range holds what it promises."""
    if all((found.error.fix_class, name) in JUDGED for name in found.by_regime):
        return []
    text = "On simulated jobs of this kind the range has not been shown to hold the truth 9 times in 10"
    return [f"{text} (the manual says more, under how sure): take it as a guide, not as a bound."]


def certainty_facts(audit: Audit) -> list[tuple[str, str, str, str]]:
    """(name, value, origin, how) of everything that the ranges stand on."""
    found, settings = audit.accuracy, audit.job.settings
    if found is None or settings.accuracy is None:
        return []
    units, stated, error = settings.report.units, settings.accuracy, found.error
    assumed, typed = "assumed", "typed in"
    return [
        ("Steering", STEERED[found.steering], assumed if found.steering == UNKNOWN else typed, _regime(found)),
        ("Wandering error of one coordinate", display.length(_middle_sigma(found), units),
         assumed if stated.sigma_m is None else typed, f"{CLASS_WORDS[error.fix_class]} positions; {error.source}"),
        ("... forgotten over", display.duration(error.time_constant_s),
         assumed if stated.time_constant_s is None else typed, "first-order Gauss-Markov process"),
        *_learnt_facts(found, units),
        *_judged_facts(found),
        ("White noise of one coordinate", display.length(error.noise_m, units),
         "derived" if stated.noise_m is None else typed, ""),
        ("Error of the boundary", display.length(error.boundary_m, units),
         typed if error.boundary_m else assumed, "taken as exact unless [accuracy] boundary says otherwise"),
        *_placed_facts(found, units),
        ("Jobs drawn", str(found.replicates), "derived", "the true job drawn so often from what is known"),
    ]  # fmt: skip


def _placed_facts(found: Accuracy, units: str) -> list[tuple[str, str, str, str]]:
    """Between which places the antenna was drawn, where nobody stated it."""
    rows = []
    for one, what, how in (
        (found.antenna_ahead_m, "Antenna ahead of the boom, drawn with", "when the boom was switched"),
        (found.antenna_right_m, "Antenna right of its middle, drawn with", "the spacings to either hand"),
    ):
        if one is not None:
            low, high = (display.length(value, units) for value in (one.low90, one.high90))
            rows.append((what, f"{low} to {high}", "derived", f"9 chances in 10; by custom and by {how}"))
    return rows


def _learnt_facts(found: Accuracy, units: str) -> list[tuple[str, str, str, str]]:
    """What the log itself shows of the slow error, for each way of steering that was worked out."""
    rows = []
    for name, one in found.by_regime.items():
        if one.learnt is not None:
            sigma, time = one.learnt.sigma_m, one.learnt.time_constant_s
            low, high = (display.length(value, units) for value in (sigma.low90, sigma.high90))
            least, most = (display.duration(value) for value in (time.low90, time.high90))
            how = f"9 chances in 10; forgotten over {least} to {most}; {LEARNT_FROM[name]}"
            rows.append(("Wandering error drawn with", f"{low} to {high}", "derived", how))
    return rows


def _judged_facts(found: Accuracy) -> list[tuple[str, str, str, str]]:
    """How often ranges of this class and way of steering held on simulated jobs, and whether that proves anything."""
    rows = []
    for name in found.by_regime:
        jobs, missed, double = JUDGED.get((found.error.fix_class, name), (0, 0, 0))
        value = f"missed {missed} of {jobs}, sprayed twice {double} of {jobs}" if jobs else "not judged"
        proof = "" if jobs >= ENOUGH_JUDGED else "; too few to prove 9 in 10"
        how = f"jobs of this class, {JUDGED_STEERING[name]}, that nobody had looked at before{proof}"
        rows.append(("Ranges held on simulated jobs", value, "derived", how))
    return rows


JUDGED_STEERING = {CLASSICAL: "steered by hand", BERKSON: "guided by the receiver that logged"}

LEARNT_FROM = {
    CLASSICAL: "from its class or what was stated, stops, and the gaps between passes, if steered by hand",
    BERKSON: "from its class or what was stated, stops, fence and switching, if guided by it",
}


def _regime(found: Accuracy) -> str:
    words = {
        CLASSICAL: "the log is truth plus error: errors are drawn as the measured gaps between passes allow",
        BERKSON: "truth is the log plus error, since the machine steered by it",
    }
    return words.get(found.regime, "")


def chance_words(strip: Strip, audit: Audit) -> str:
    """How likely *strip* is real, as an addition to where it lies; "" when it was not worked out."""
    if strip.probability is None or audit.accuracy is None:
        return ""
    return f"; {chance_told(strip.probability)}"


def chance_told(chance: float) -> str:
    """How likely a strip is missed; draws prove nothing, however they agree."""
    percent = round(100 * chance)
    told = {0: "most likely only error of the positions", 100: "almost surely missed"}
    return told.get(percent, f"{percent} chances in 100 that it is missed")


def chance_class(strip: Strip, audit: Audit) -> str:
    """CSS class that shades *strip* by probability; "" when it was not worked out."""
    if strip.probability is None or audit.accuracy is None:
        return ""
    return f" map-chance-{min(int(strip.probability * CHANCE_STEPS), CHANCE_STEPS - 1)}"


def chances_asked(audit: Audit) -> bool:
    """Whether verdict, list and map speak of how sure each strip is: the job says how good its positions are."""
    return audit.accuracy is not None and audit.accuracy.asked
