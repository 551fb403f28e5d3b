"""Every figure behind the report, each marked with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from coverage_audit.jobs.job import SEEN, boom_state
from coverage_audit.jobs.settings import ReportSettings, TrackSettings
from coverage_audit.papers.words.accuracy import certainty_facts
from coverage_audit.papers.words.display import (
    NOT_KNOWN,
    SPACE,
    area,
    duration,
    length,
    local_clock,
    number,
    rate,
    volume,
)
from coverage_audit.papers.words.rate import NO_VOLUME
from coverage_audit.read.records import REMEMBERED

if TYPE_CHECKING:
    from coverage_audit.drive.model import Recall
    from coverage_audit.jobs.job import Job
    from coverage_audit.jobs.settings import BoomSettings, JobSettings
    from coverage_audit.recipe.result import Audit, Memories

MEASURED, TYPED, ASSUMED, DERIVED = "measured", "typed in", "assumed", "derived"
HOW_WORDS = {
    "marked": ("times that a person noted while driving, from a CSV file", TYPED),
    "remembered": ("times that a person remembers, from a CSV file", REMEMBERED),
    "assumed": ("times proposed by the program, from a CSV file", ASSUMED),
}
"""What a list of on-times is by its least certain row."""

_BOOM_STATE = {
    "csv": ("times from a CSV file", TYPED),
    "log": ("the boom switch in the log", MEASURED),
    "segments": ("each segment of the GPX track", MEASURED),
    "marks": ("marks set while driving", MEASURED),
    "assume": ("assumed from the track", ASSUMED),
}
_VOLUME_SOURCE = {
    "logged flow": ("the flow meter in the log", MEASURED),
    "logged pressure": ("the pressure in the log and the nozzle flow typed in", DERIVED),
    "nozzles": ("the nozzle flow and pressure typed in, and the time sprayed", DERIVED),
    "flow": ("the boom's flow typed in, and the time sprayed", DERIVED),
    "applied": ("what left the tank", TYPED),
}


@dataclass(frozen=True)
class Fact:
    """A figure in words; ``origin`` is "measured", "typed in", "remembered", "assumed" or "derived"."""

    name: str
    value: str
    origin: str
    how: str = ""


@dataclass(frozen=True)
class FactGroup:
    """Facts under one heading."""

    title: str
    facts: tuple[Fact, ...]


def fact_groups(audit: Audit) -> tuple[FactGroup, ...]:
    """All figures of *audit*, with their origins, in reading order."""
    certain = tuple(Fact(*row) for row in certainty_facts(audit))
    return (
        FactGroup("Areas", _area_facts(audit)),
        FactGroup("Volume and rates", volume_facts(audit)),
        FactGroup("Driving", _driving_facts(audit)),
        FactGroup("Sprayer and boom", _with_files(_boom_facts(audit.job), audit.job.settings)),
        *([FactGroup("Remembered", _memory_facts(audit.remembered, audit.job.settings))] if audit.remembered else []),
        FactGroup("Field and log settings", _with_files(_setting_facts(audit.job.settings), audit.job.settings)),
        FactGroup("Taken from the farm; all else that was typed in stands in the job", _farm_facts(audit.job.settings)),
        *([FactGroup("How sure: error of the positions", certain)] if certain else []),
    )


def _area_facts(audit: Audit) -> tuple[Fact, ...]:
    areas, settings = audit.area_m2, audit.job.settings
    rows = (
        ("Field", areas.field, "inside the boundary that was read"),
        ("Target area", areas.target, "field less no-spray areas and setbacks"),
        ("Covered", areas.covered, "target visited at least once"),
        (
            "Proven covered",
            areas.proven,
            "covered without bridged ground and ground sprayed from a perhaps empty tank",
        ),
        ("Bridged", areas.bridged, "target whose every visit rests on bridging a gap in the log"),
        ("Missed", areas.missed, "target never visited"),
        ("Missed, slivers", areas.missed_slivers, "part of missed that is too narrow to list"),
        ("Double", areas.double, "target visited twice or more"),
        ("Double, slivers", areas.double_slivers, "part of double that is too narrow to list"),
        ("Double, bridged", areas.double_bridged, "part of double that rests on bridged gaps"),
        ("Beyond the boundary", areas.outside, "sprayed outside the field, ground counted once"),
        ("No-spray ground", areas.excluded_sprayed, "sprayed in no-spray areas and setbacks, ground counted once"),
        ("Swept", areas.swept, "every visit counted, wherever it was"),
        ("Swept, net", areas.swept_net, "the same ground counted once"),
        ("Swept again in one visit", areas.reswept, "inner ends of tight turns; the dose adds up, the visit does not"),
    )
    origin = origin_of(audit)
    return tuple(
        Fact(name, area(m2, settings.report.units), DERIVED if name in {"Field", "Target area"} else origin, how)
        for name, m2, how in rows
        if origin == DERIVED or name != "Proven covered"
    )


def origin_of(audit: Audit) -> str:
    """Where every figure that rests on the boom's state comes from: derived, remembered or assumed."""
    state = boom_state(audit.job)
    return DERIVED if state in SEEN else REMEMBERED if state == REMEMBERED else ASSUMED


def volume_facts(audit: Audit) -> tuple[Fact, ...]:
    """Volume and rates of the whole job, with what they stand on."""
    found, settings = audit.volume, audit.job.settings
    units = settings.report.units
    how, origin = _VOLUME_SOURCE.get(found.source or "", (NO_VOLUME, DERIVED))
    facts = [Fact("Volume used for every rate", volume(found.applied_l, units), origin, how)]
    for source, litres in found.by_source.items():
        if source != found.source:
            _, origin = _VOLUME_SOURCE.get(source, ("", DERIVED))
            facts.append(Fact(f"Volume by {source}", volume(litres, units), origin, "for comparison"))
    if found.in_gaps_l is not None:
        facts.append(Fact("Volume during gaps", volume(found.in_gaps_l, units), DERIVED, "not in the figure above"))
    facts += [
        Fact("Intended rate", rate(found.target_l_ha, units), TYPED),
        Fact("Rate over every pass", rate(found.over_swept_l_ha, units), DERIVED, "volume over swept area"),
        Fact("Rate over covered ground", rate(found.over_covered_l_ha, units), DERIVED, "volume over covered area"),
        Fact("Rate over the target area", rate(found.over_target_area_l_ha, units), DERIVED, "volume over target area"),
    ]
    if settings.rate.label_max_l_ha is not None:
        facts.append(Fact("Most mix the label allows", rate(settings.rate.label_max_l_ha, units), TYPED))
    return tuple(fact for fact in facts if fact.value != NOT_KNOWN or fact.how == NO_VOLUME)


def _driving_facts(audit: Audit) -> tuple[Fact, ...]:
    units = audit.job.settings.report.units
    return (
        Fact("Distance spraying", length(audit.distance_on_m, units), DERIVED, "path of the boom's centre"),
        Fact("Distance with the boom off", length(audit.distance_off_m, units), DERIVED, "path of the boom's centre"),
        Fact("Time spraying", duration(audit.time_on_s), DERIVED, "from the times in the log and the boom state"),
        Fact("Time with the boom off", duration(audit.time_off_s), DERIVED, "the same"),
        Fact("Time without positions", duration(audit.time_gap_s), DERIVED, "gaps in the log"),
        Fact("Usual step between positions", f"{audit.median_step_s:.3g}{SPACE}s", MEASURED, "median"),
    )


def _memory_facts(found: Memories, settings: JobSettings) -> tuple[Fact, ...]:
    """Each remembered row: from when to when, how far off its ends may be, and what it changes."""
    return tuple(_memory_fact(one, settings) for one in found.recalls)


def _memory_fact(one: Recall, settings: JobSettings) -> Fact:
    start, end = (local_clock(moment, settings.timezone) for moment in (one.start_s, one.end_s))
    far = f", {length(one.length_m, settings.report.units)}" if one.length_m else ""
    ends = [f"{number(spread, 0)}{SPACE}s" for spread in (one.start_within_s, one.end_within_s)]
    told = f"boom {'on' if one.on else 'off'} {start} to {end}{far}"
    changes = (
        "" if one.changed_s is None else f"; for {duration(one.changed_s)} that differs from the rest of the boom state"
    )
    return Fact(one.place, told, REMEMBERED, f"give or take {ends[0]} at its start and {ends[1]} at its end{changes}")


def _boom_facts(job: Job) -> tuple[Fact, ...]:
    settings = job.settings
    boom, units = settings.boom, settings.report.units
    how, origin = _BOOM_STATE[boom.intervals]
    if boom.intervals == "csv":
        how, origin = HOW_WORDS.get(boom_state(replace(job, remembered=())), (how, origin))
    sections = " + ".join(length(width, units) for width in boom.sections_m)
    facts = [Fact("Boom width", length(boom.width_m, units), TYPED)]
    if len(boom.sections_m) > 1:
        facts.append(Fact("Sections, left to right", sections, TYPED))
    facts += [
        Fact("Boom on and off", how, origin),
        *_place_facts(boom, units),
        _default_fact("Delay at switching on", boom.on_delay_s, _seconds(boom.on_delay_s)),
        _default_fact("Delay at switching off", boom.off_delay_s, _seconds(boom.off_delay_s)),
    ]
    return tuple(facts)


def _place_facts(boom: BoomSettings, units: str) -> list[Fact]:
    ahead, axle = boom.antenna_ahead_m, boom.axle_behind_antenna_m
    facts = [
        Fact("Antenna ahead of the boom", length(ahead or 0.0, units), ASSUMED if ahead is None else TYPED),
        _default_fact("Antenna right of the boom's centre", boom.antenna_right_m, length(boom.antenna_right_m, units)),
    ]
    if axle is None:
        facts.append(Fact("Heading", "the smoothed course", DERIVED, "the place of the fixed axle was not given"))
    else:
        facts.append(Fact("Fixed axle behind the antenna", length(axle, units), TYPED, "the heading follows this axle"))
    if boom.towed_m:
        facts.append(Fact("Hitch to boom, towed", length(boom.towed_m, units), TYPED))
        facts.append(Fact("Hitch to the trailer's wheels", length(boom.towed_axle_m, units), TYPED))
    return facts


def _setting_facts(settings: JobSettings) -> tuple[Fact, ...]:
    field, units = settings.field, settings.report.units
    offset_s, gap_s = settings.track.clock_offset_s, settings.track.max_gap_s
    narrow_m = settings.report.min_width_m
    return (
        _default_fact("Setback along the boundary", field.setback_m, length(field.setback_m, units)),
        _default_fact("Setback round no-spray areas", field.exclude_setback_m, length(field.exclude_setback_m, units)),
        _default_fact("Boundary moved outward", field.grow_m, length(field.grow_m, units)),
        _default_fact("Clock offset of the log", offset_s, _seconds(offset_s)),
        _default_fact("Longest step that is no gap", gap_s, _seconds(gap_s), TrackSettings().max_gap_s),
        _default_fact("Narrowest listed strip", narrow_m, length(narrow_m, units), ReportSettings().min_width_m),
        Fact("Time zone of the dates", settings.timezone, TYPED if settings.timezone_given else ASSUMED),
    )


_KEYS_OF = {
    "Boom width": ("boom.width", "boom.sections", "boom.nozzles"),
    "Sections, left to right": ("boom.sections",),
    "Antenna ahead of the boom": ("boom.antenna_ahead",),
    "Antenna right of the boom's centre": ("boom.antenna_right",),
    "Fixed axle behind the antenna": ("boom.axle_behind_antenna",),
    "Hitch to boom, towed": ("boom.towed",),
    "Hitch to the trailer's wheels": ("boom.towed_axle", "boom.towed"),
    "Delay at switching on": ("boom.on_delay",),
    "Delay at switching off": ("boom.off_delay",),
    "Time zone of the dates": ("job.timezone",),
}
"""Facts that a farm may have typed in, and the keys that say them."""


def _with_files(facts: tuple[Fact, ...], settings: JobSettings) -> tuple[Fact, ...]:
    """*facts* of a job of a farm, those that were typed in with the file that says them."""
    if settings.farm is None:
        return facts
    taken = set(settings.farm.places)

    def told(one: Fact) -> Fact:
        where = "from the farm" if taken & {*_KEYS_OF.get(one.name, ())} else "from the job"
        return replace(one, how=f"{one.how}, {where}" if one.how else where) if one.origin == TYPED else one

    return tuple(told(one) for one in facts)


def _farm_facts(settings: JobSettings) -> tuple[Fact, ...]:
    """Every value that the job took from its farm, as it was typed there."""
    taken = settings.farm.taken if settings.farm else ()
    return tuple(Fact(key, value, TYPED, place) for key, place, value in taken)


def _default_fact(name: str, value: float, text: str, default: float = 0.0) -> Fact:
    """Tell a setting that has its default as assumed: the job file need not state it."""
    return Fact(name, text, ASSUMED, "unless stated otherwise") if value == default else Fact(name, text, TYPED)


def _seconds(s: float) -> str:
    return f"{number(s, 0 if s == round(s) else 1)}{SPACE}s"
