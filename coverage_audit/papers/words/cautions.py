"""Cautions in sentences: one for each code, in the person's units.

The stages tell a caution as a code with values; what is said of it, rounding and units stand here alone.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from coverage_audit.papers.words.display import area, area_range

from .cautions_drive import (
    antenna_beside,
    antenna_unplaced,
    circles_coarse,
    circles_left_out,
    clock_off,
    direction_unsure,
    long_pause,
    much_double,
    never_driven,
    other_field,
    outline_elsewhere,
    shifted,
    spacing_off,
    switches_lag,
    two_spacings,
    way_words,
)
from .cautions_files import FILE_SENTENCES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from coverage_audit.facts import Caution
    from coverage_audit.recipe.result import Audit

MEASURED = ("logged flow", "applied", "catch")
"""Sources of the volume that measure what left the nozzles or the tank; the others compute it."""

SOURCE_WORDS = {
    "logged flow": "the flow meter in the log",
    "logged pressure": "the logged pressure with the nozzle flow",
    "nozzles": "the nozzles at their pressure",
    "flow": "the boom flow typed in",
    "applied": "the volume that left the tank",
    "catch": "the nozzle catch",
}


def caution_texts(audit: Audit) -> list[str]:
    """Sentences of all cautions of *audit*, in its job's units."""
    return texts(audit.cautions, audit.job.settings.report.units)


def texts(cautions: Iterable[Caution], units: str) -> list[str]:
    """Sentence of each of *cautions*; *units* is "metric" or "us"."""
    return [SENTENCES[one.code](units, **dict(one.values)) for one in cautions]


# --- the log ----------------------------------------------------------------------------------------


def _dropped(_units: str, *, file: str, lost: int, read: int, reasons: tuple[tuple[str, int], ...]) -> str:
    told = ", ".join(f"{count} {reason.replace('_', ' ')}" for reason, count in reasons)
    return f"{file}: {lost} of {read} fixes could not be used ({told})."


def _bad_checksum(_units: str, *, file: str, count: int) -> str:
    return f"{file}: {count} sentences with a bad checksum were skipped."


def _midnight(_units: str, *, file: str) -> str:
    return f"{file} runs past midnight UTC; times after it were taken as the next day's."


def _tracks_sorted(_units: str, *, file: str) -> str:
    return f"{file}: its tracks are not in time order; they were sorted by their times, and no fix was lost by it."


def _uncorrected(units: str) -> str:
    return _positions("says that its positions are uncorrected", units)


def _unknown_quality(units: str) -> str:
    return _positions("does not say how good its positions are", units)


def _positions(said: str, units: str) -> str:
    far = "three feet" if units == "us" else "a metre"
    return (
        f"The log {said}. A phone or a receiver without corrections is off by {far} or "
        "more: a strip narrower than that may not be there, and one as narrow may be missing here."
    )


def _far_apart(units: str, *, spacing_m: float, step_s: float) -> str:
    return (
        f"Fixes lie {way_words(spacing_m, units, '.0f')} apart while spraying (one every {step_s:.1f} s): narrow skips "
        "and the places of switching are guesses. Log one fix a second, no distance filter."
    )


def other_field_words(units: str, *, outside_m2: float) -> str:
    """So much was sprayed outside the field that the log may hold another one. [m2]"""
    return (
        f"{area(outside_m2, units)} were sprayed outside this field: does the log hold another field? "
        "coverage-audit day cuts a day's log by field."
    )


def _gap(_units: str, *, count: int, seconds: float) -> str:
    return (
        f"The log has {count} gap(s) while the boom was on, {seconds:.0f} s in all, too long or "
        "too crooked to bridge: whether ground was sprayed in them nobody can say from this log."
    )


def _bridged(_units: str, *, share: float, count: int) -> str:
    return (
        f"{100 * share:.2f} % of the target rests on bridging {count} gap(s) of the log and is not counted as proven."
    )


# --- the boom ---------------------------------------------------------------------------------------


def _from_machine(
    units: str, *, name: str, keys: tuple[str, ...], width_m: float, count: int, ahead_m: float | None
) -> str:
    parts = []
    if {"width", "sections"} & {*keys}:
        many = f" in {count} sections" if count > 1 else ""
        parts.append(f"the boom is {way_words(width_m, units, '.2f')} wide{many}")
    if "antenna_ahead" in keys and ahead_m is not None:
        parts.append(f"the antenna is {way_words(ahead_m, units, '.2f')} ahead of it")
    if "antenna_right" in keys:
        parts.append("and its place to the side is known")
    return f"Taken from what {name} says of itself in the log: {', '.join(parts)}. Measure once whether that is so."


def _machine_width(units: str, *, name: str, machine_m: float, width_m: float) -> str:
    typed, said = way_words(width_m, units, ".2f"), way_words(machine_m, units, ".2f")
    return f"The job file says that the boom is {typed} wide, {name} says {said} in the log; the job file was followed."


def _backed_up(_units: str) -> str:
    return "A towed boom was backed up farther than its own width; where it swung to cannot be told from the track."


def _delays(_units: str, *, count: int) -> str:
    return f"{count} boom-on times vanish once the valve delays are applied: they are shorter than the delays."


def _beyond_track(_units: str, *, count: int) -> str:
    return f"{count} boom-on times reach beyond the track's first or last fix; only the part inside is audited."


def _one_segment(_units: str, *, seconds: float) -> str:
    return (
        f"The log has one segment, so the boom was taken as on for {seconds / 60:.0f} min without a break, turns "
        "included. If the recording was not stopped with the boom, use marks or a list of times instead."
    )


def _first_off(_units: str) -> str:
    return 'The first mark is "boom off": the boom was taken to be on from the start of the track.'


def _last_on(_units: str) -> str:
    return 'The last "boom on" has no "boom off": the boom was taken to be on until the last fix.'


def _marks_repeat(_units: str, *, times_s: tuple[float, ...]) -> str:
    times = ", ".join(dt.datetime.fromtimestamp(time, dt.UTC).strftime("%H:%M:%S") for time in times_s)
    return (
        f"{len(times_s)} boom mark(s) repeat the state before them and were ignored ({times} UTC): "
        'a "boom off" or "boom on" is missing before each, so the boom was taken as unchanged until then. '
        "Add the missing marks."
    )


def _remembered(_units: str, *, count: int, most_s: float) -> str:
    rows = "one row" if count == 1 else f"{count} rows"
    return (
        f"REMEMBERED: when the boom was on rests in {rows} on what a person remembers, right to within "
        f"{most_s:.0f} s at the loosest. Every range here holds that; no figure is proof of coverage."
    )


def _remembered_idle(_units: str, *, rows: tuple[tuple[str, bool], ...]) -> str:
    told = ", ".join(f"{said} ({'on' if on else 'off'})" for said, on in rows)
    return (
        f"Remembered, but the boom was so already by the rest of the boom state: {told}. Check the time, and "
        "job.timezone, if that puzzles you."
    )


def _turns_coarse(_units: str) -> str:
    return (
        "The boom turned about so often while it was on that its turns were worked out more coarsely than usual: "
        "check that the fixes do not leap about and that the boom was off while standing."
    )


# --- the ground -------------------------------------------------------------------------------------


MOST_NAMED = 8  # a file of a whole farm has dozens; the rest is counted


def _left_out(_units: str, *, names: tuple[str, ...], taken: tuple[str, ...]) -> str:
    return (
        f"The field is {_listed(taken)}, where the boom was on. Not sprayed in this job, so left out of every figure: "
        f"{_listed(names)}."
    )


def _listed(names: tuple[str, ...]) -> str:
    if len(names) <= MOST_NAMED:
        return ", ".join(names)
    return f"{', '.join(names[: MOST_NAMED - 1])} and {len(names) - MOST_NAMED + 1} more"


def _edge_driven(units: str, *, area_m2: float, low_m2: float, high_m2: float, fence_given: bool) -> str:
    low, high = area_range(low_m2, high_m2, units)
    told = (
        f"The field's outline is the edge that this very job drove, moved out by half the boom: "
        f"{area(area_m2, units)}, in nine of ten such fields truly {low} to {high}. That goes round in a circle: "
        "ground beyond the boom's reach is not known, nothing can be told missed at the edge, and nothing is proven."
    )
    if fence_given:
        return told
    return f"{told} The boom's end was taken to run along the fence; say field.grow if it kept away from it."


def _driven_round(units: str, *, islands: tuple[tuple[float, float, float], ...]) -> str:
    places = "; ".join(f"{area(m2, units)} at {lat:.5f}, {lon:.5f}" for m2, lat, lon in islands)
    return (
        f"Driven round and not over: {places}. Each counts as field that was missed; if it is no ground to spray (a "
        "pond, trees), name its outline under field.exclude."
    )


def _other_unread(_units: str, *, job: str, why: str) -> str:
    return f"{job}, which did the rest of the field, cannot be read; its ground counts as missed here. {why}"


def _other_assumed(_units: str, *, job: str) -> str:
    return f"Nobody logged when {job} was on, so what it took of this field is not known and counts as missed here."


def _other_product(_units: str, *, job: str) -> str:
    return f"{job} sprayed other products: that is another treatment, so what it took counts as missed here."


def _other_elsewhere(_units: str, *, job: str) -> str:
    return f"{job} sprayed nothing of this field; check job.together."


def _counts_differ(_units: str, *, cross_check_rel: float, closure_rel: float) -> str:
    return (
        f"The two independent counts of the ground do not agree (by {100 * cross_check_rel:.3f} % of the field; "
        f"sums close to {closure_rel:.1e}): do not rely on this audit."
    )


# --- rate and tank ----------------------------------------------------------------------------------


def _no_surface(_units: str) -> str:
    return (
        "The sprayed ground is too large, or in too many parts, for a rate on every spot: rates are means of the whole "
        "job, and no tank is followed. Audit it in smaller jobs."
    )


def _not_closed(_units: str, *, off: float) -> str:
    return f"The spray applied to the ground is {100 * off:+.2f} % off what left the nozzles: do not rely on the rates."


def _large_cells(units: str, *, usual_m: float, cell_m: float) -> str:
    return (
        f"The sprayed ground is too large for cells of {way_words(usual_m, units, 'g')}: rates are means over cells of "
        f"{way_words(cell_m, units, 'g')}, in which narrow stripes of too much or too little are lost. Smaller jobs "
        "tell more."
    )


def _disagree(_units: str, *, source: str, other: str, apart: float) -> str:
    more = "more" if apart > 0 else "less"
    told = f"{SOURCE_WORDS[other]} gives {100 * abs(apart):.1f} % {more} than {SOURCE_WORDS[source]}"
    return f"Sources of the volume disagree: {told}, on which every rate here rests. {_why(source, other, apart)}"


def _why(source: str, other: str, apart: float) -> str:
    """What usually explains that *other* is so far off *source* (common practice, no source)."""
    measured = [name for name in (source, other) if name in MEASURED]
    if len(measured) != 1:
        if measured:
            return "Usual reasons: a meter's setting, a tank gauge read on a slope, or mix left in tank and hoses."
        return "Usual reasons: a pressure gauge that is off, another nozzle size than stated, or a slip in typing."
    more_measured = (apart > 0) == (other == measured[0])
    if more_measured:
        return (
            "More measured than computed usually means worn nozzles, a pressure higher than stated, a leak, or a meter "
            "that is not calibrated: catch the nozzles."
        )
    return (
        "Less measured than computed usually means partly plugged nozzles or strainers, a pressure lower than stated "
        "at the boom, closed sections, or a meter that is not calibrated: catch the nozzles."
    )


def _refills_assumed(_units: str, *, count: int) -> str:
    return (
        f"The refill times are not in the job file: {count} long stop(s) with the boom off were taken for "
        "refills. Give them as rate.refills."
    )


def _refills_missing(_units: str, *, count: int) -> str:
    return (
        f"{count} refill(s) could not be placed: too few long stops with the boom off. Give the times as rate.refills."
    )


def _perhaps_dry(_units: str, *, count: int, first: int, share: float) -> str:
    return (
        f"The tank may have run dry ({count} load(s)) with the boom switched on, first in load {first}. "
        f"{100 * share:.2f} % of the target was sprayed only after that and may have got nothing."
    )


SENTENCES: dict[str, Callable[..., str]] = {
    "dropped": _dropped,
    "bad checksum": _bad_checksum,
    "midnight": _midnight,
    "tracks sorted": _tracks_sorted,
    "positions uncorrected": _uncorrected,
    "positions of unknown quality": _unknown_quality,
    "fixes far apart": _far_apart,
    "gap": _gap,
    "sprayed elsewhere": other_field_words,
    "bridged": _bridged,
    "antenna place unknown": antenna_unplaced,
    "boom from machine": _from_machine,
    "machine width": _machine_width,
    "towed boom backed up": _backed_up,
    "direction unsure": direction_unsure,
    "delays swallow": _delays,
    "on beyond track": _beyond_track,
    "one segment": _one_segment,
    "first mark off": _first_off,
    "last mark on": _last_on,
    "marks repeat": _marks_repeat,
    "turns coarse": _turns_coarse,
    "circles coarse": circles_coarse,
    "circles left out": circles_left_out,
    "remembered": _remembered,
    "remembered idle": _remembered_idle,
    "fields left out": _left_out,
    "edge driven": _edge_driven,
    "driven round": _driven_round,
    "much double": much_double,
    "counts differ": _counts_differ,
    "other unread": _other_unread,
    "other assumed": _other_assumed,
    "other product": _other_product,
    "other elsewhere": _other_elsewhere,
    "no rate surface": _no_surface,
    "rate not closed": _not_closed,
    "large rate cells": _large_cells,
    "sources disagree": _disagree,
    "refills assumed": _refills_assumed,
    "refills missing": _refills_missing,
    "perhaps dry": _perhaps_dry,
    "spacing off": spacing_off,
    "two spacings": two_spacings,
    "outline shifted": shifted,
    "never driven": never_driven,
    "outline elsewhere": outline_elsewhere,
    "clock off": clock_off,
    "long pause": long_pause,
    "other field": other_field,
    "antenna beside": antenna_beside,
    "switches lag": switches_lag,
    **FILE_SENTENCES,
}
"""Code of a caution to the function that tells it; its arguments are the caution's values, by name."""
