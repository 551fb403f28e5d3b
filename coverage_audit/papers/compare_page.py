"""Two jobs and more on one page: maps at one scale, a table, distributions, and plain sentences."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from coverage_audit.papers.maps.compare import compared_maps, strip_plot
from coverage_audit.papers.words.safe import json_text
from coverage_audit.units import ACRE_M2, HECTARE_M2

from .templating import page_templates, page_text
from .words import display
from .words.comparison import MEASURE_WORDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.comparison.measures import Measure
    from coverage_audit.comparison.statistics import Difference
    from coverage_audit.read.result_record import JobRecord

SCHEMA = "coverage-audit compare 1"
MOST_SIDE_BY_SIDE = 2
"""More jobs than this do not stand side by side: each is a row. [1]"""

CLOSE_TICKS = 0.2
"""An end of the axis has no tick of its own nearer to zero than this share of it: both could not be read. [1]"""

MINUS = "\u2212"
ONLY_THESE = (
    "This page speaks of these jobs only. That one way of steering is better than another takes several jobs of each "
    "kind: then each job counts once, as a replicate."
)
CHANCE = "Of the {judged} differences judged here, chance alone would call about {flagged:.1f} larger than chance."
OWN_JUDGE = (
    "A job judged by the receiver that steered it looks too good: steering takes out what the receiver sees, and its "
    "slow error stays unseen."
)
INTERVALS = (
    "Intervals: 95 %, from drawing the passes of each job anew in blocks of neighbours, as neighbouring passes drift "
    "together."
)
SAME_FIELD_REL = 0.02
"""Targets that differ by more are told as different fields. [1]"""


@dataclass(frozen=True)
class Price:
    """What a litre of mix costs, in a currency as typed."""

    per_l: float
    currency: str


@dataclass(frozen=True, eq=False)
class Comparison:
    """Jobs in the order given, their measures, and the differences of each from the first."""

    jobs: tuple[JobRecord, ...]
    measures: tuple[Measure, ...]
    values: tuple[Mapping[str, float | None], ...]
    differences: tuple[tuple[str, Difference], ...]
    price: Price | None = None


def compare_json(found: Comparison) -> str:
    """``compare.json``: the jobs in order and each difference from the first, SI units, unrounded."""
    first = found.jobs[0].label
    told: dict[str, Any] = {
        "schema": SCHEMA,
        "jobs": [
            {
                "label": job.label,
                "name": job.summary["job"]["name"],
                "start": job.summary["job"]["start"],
                "end": job.summary["job"]["end"],
                "target_m2": job.summary["area_m2"]["target"],
                "boom_m": job.width_m,
                "assumed": bool(job.summary.get("assumed")),
                "passes": len(job.passes),
                "measures": dict(values),
            }
            for job, values in zip(found.jobs, found.values, strict=True)
        ],
        "differences": [
            {"measure": one.measure, "job_a": first, "job_b": label, **_plain(one)} for label, one in found.differences
        ],
        "notes": notes(found),
    }
    if found.price is not None:
        told["price"] = {**asdict(found.price), "differences": cost_rows(found)}
    return json_text(told, indent=2)


def _plain(one: Difference) -> dict[str, Any]:
    told = asdict(one)
    del told["measure"]
    return told


def compare_html(found: Comparison) -> str:
    """The page; loads nothing, all names from files escaped."""
    units = _units(found)
    style = page_text("report.css", "compare.css")
    return (
        page_templates()
        .get_template("compare.html")
        .render(
            title=_title([job.label for job in found.jobs]),
            style=Markup(style),  # noqa: S704 - our own file
            jobs=[_heading(job, units) for job in found.jobs],
            maps=[Markup(svg) for svg in compared_maps(found.jobs, units)],  # noqa: S704 - made by compare_map, which escapes
            table=_table(found, units) if len(found.jobs) <= MOST_SIDE_BY_SIDE else [],
            rows=_job_rows(found, units) if len(found.jobs) > MOST_SIDE_BY_SIDE else [],
            measures=[MEASURE_WORDS[measure.key] for measure in _known(found)],
            sentences=sentences(found),
            notes=notes(found),
            plots=[(name, note, Markup(svg)) for name, note, svg in _plots(found, units)],  # noqa: S704 - the same
            costs=[_cost_sentence(row, found, units) for row in cost_rows(found)],
            assumed=any(job.summary.get("assumed") for job in found.jobs),
            land="acre" if units == "us" else "hectare",
        )
    )


def _title(labels: list[str]) -> str:
    return f"{', '.join(labels[:-1])} and {labels[-1]}"


def _units(found: Comparison) -> str:
    return str(found.jobs[0].summary["job"].get("units") or "metric")


def _heading(job: JobRecord, units: str) -> dict[str, str]:
    told = job.summary["job"]
    return {
        "label": job.label,
        "name": told["name"] or "Spray job",
        "when": _when(job),
        "target": display.area(float(job.summary["area_m2"]["target"]), units),
        "passes": display.count(len(job.straight), "pass", "passes"),
        "state": _state(job),
    }


def _when(job: JobRecord) -> str:
    """When the job began, in its own time zone."""
    told = job.summary["job"]
    moment = dt.datetime.fromisoformat(str(told["start"]).removesuffix("Z")).replace(tzinfo=dt.UTC)
    return display.local_datetime(moment.timestamp(), str(told.get("timezone") or "UTC"))


# --- the table -----------------------------------------------------------------------------------


def _state(job: JobRecord) -> str:
    """What the job's boom state rests on."""
    if job.summary.get("assumed"):
        return "boom state ASSUMED"
    return "boom state REMEMBERED in part" if job.summary.get("remembered") else "boom state logged or given"


def told_value(value: float | None, unit: str, units: str) -> str:
    """A measure in the person's units; *unit* is "share" [1], "m" [m], "l_ha" [L/ha] or hours a hectare [h/ha]."""
    if value is None:
        return display.NOT_KNOWN
    if unit == "share":
        return display.share(value, 1.0)
    if unit == "m":
        return display.length(value, units)
    if unit == "l_ha":
        return display.rate(value, units)
    land = ACRE_M2 if units == "us" else HECTARE_M2
    minutes = value * 60 * land / HECTARE_M2
    return f"{minutes:.1f}{display.SPACE}min/{'ac' if units == 'us' else 'ha'}"


def told_difference(one: Difference, unit: str, units: str) -> str:
    """A difference with its sign and interval; *unit* as in :func:`told_value`."""
    if one.difference is None:
        return display.NOT_KNOWN
    text = _signed(one.difference, unit, units)
    if one.low95 is None or one.high95 is None:
        return f"{text} (too few passes for an interval)"
    return f"{text} ({_signed(one.low95, unit, units)} to {_signed(one.high95, unit, units)})"


def _signed(value: float, unit: str, units: str) -> str:
    size = abs(value)
    text = f"{100 * size:.2f}{display.SPACE}points" if unit == "share" else told_value(size, unit, units)
    return f"{'+' if value > 0 else MINUS if value < 0 else ''}{text}"


def _table(found: Comparison, units: str) -> list[dict[str, Any]]:
    rows = []
    for measure in found.measures:
        own = [(label, one) for label, one in found.differences if one.measure == measure.key]
        rows.append(
            {
                "words": MEASURE_WORDS[measure.key],
                "values": [told_value(values[measure.key], measure.unit, units) for values in found.values],
                "differences": [(label, told_difference(one, measure.unit, units), _judged(one)) for label, one in own],
            }
        )
    return rows


def _job_rows(found: Comparison, units: str) -> list[dict[str, Any]]:
    """One row a job, the least missed first: each measure, and its difference from the first job given."""
    first, key = found.jobs[0].label, found.measures[0].key
    shown, rows = _known(found), []
    for job, values in sorted(
        zip(found.jobs, found.values, strict=True), key=lambda pair: (pair[1][key] is None, pair[1][key] or 0.0)
    ):
        own = {one.measure: one for label, one in found.differences if label == job.label and label != first}
        cells = [
            {
                "name": MEASURE_WORDS[measure.key],
                "value": told_value(values[measure.key], measure.unit, units),
                "difference": told_difference(own[measure.key], measure.unit, units) if own else "",
                "judged": _judged(own[measure.key]) if own else "",
            }
            for measure in shown
        ]
        rows.append({"label": job.label, "when": _when(job), "cells": cells})
    return rows


def _known(found: Comparison) -> list[Measure]:
    """Measures that at least one job has: a column of nothing says nothing."""
    return [one for one in found.measures if any(values[one.key] is not None for values in found.values)]


def _judged(one: Difference) -> str:
    if one.larger_than_chance is None:
        return "cannot be told"
    return "larger than chance" if one.larger_than_chance else "within chance"


def sentences(found: Comparison) -> list[str]:
    """One plain sentence for each job against the first: what differs by more than chance."""
    unit = {measure.key: measure.unit for measure in found.measures}
    units, first = _units(found), found.jobs[0].label
    told = []
    for job in found.jobs[1:]:
        own = [one for label, one in found.differences if label == job.label]
        sure = [one for one in own if one.larger_than_chance]
        if not sure:
            told.append(f"{job.label} against {first}: no measure differs by more than chance between these two jobs.")
            continue
        parts = [
            f"{MEASURE_WORDS[one.measure].lower()} {_more(one)} ({told_value(one.b, unit[one.measure], units)} "
            f"against {told_value(one.a, unit[one.measure], units)})"
            for one in sure
        ]
        told.append(f"{job.label} against {first}, larger than chance: {'; '.join(parts)}.")
    return told


def _more(one: Difference) -> str:
    return "higher" if (one.difference or 0) > 0 else "lower"


def notes(found: Comparison) -> list[str]:
    """What the comparison can and cannot say."""
    judged = sum(1 for _, one in found.differences if one.larger_than_chance is not None)
    told = [ONLY_THESE, CHANCE.format(judged=judged, flagged=0.05 * judged), OWN_JUDGE, INTERVALS]
    targets = [float(job.summary["area_m2"]["target"]) for job in found.jobs]
    names = {tuple(job.summary["job"].get("fields") or ()) for job in found.jobs}
    if len(names) > 1 or max(targets) - min(targets) > SAME_FIELD_REL * max(targets):
        told.append(
            "The jobs were on different fields: every figure is a share, or per hectare or acre of its own target. "
            "Shape still matters: short passes and slanted ends take more turns and more overlap."
        )
    if len({job.width_m for job in found.jobs}) > 1:
        told.append("The booms differ in width, so spacing and overlap weigh differently.")
    if any(job.summary.get("remembered") and not job.summary.get("assumed") for job in found.jobs):
        told.append("REMEMBERED boom state in at least one job: missed and double ground rest on memory there.")
    if any(job.summary.get("assumed") for job in found.jobs):
        told.append("ASSUMED boom state in at least one job: missed and double ground are no evidence there.")
    return told


# --- what it costs ---------------------------------------------------------------------------------


def cost_rows(found: Comparison) -> list[dict[str, Any]]:
    """Cost of the mix that each job used more than the first, per hectare and over its target."""
    if found.price is None:
        return []
    rows = []
    for job, (label, one) in zip(
        found.jobs[1:], [pair for pair in found.differences if pair[1].measure == "mix_l_ha"], strict=True
    ):
        hectares = float(job.summary["area_m2"]["target"]) / HECTARE_M2
        per_ha = None if one.difference is None else one.difference * found.price.per_l
        whole = None if per_ha is None else per_ha * hectares
        rows.append({"job": label, "per_ha": per_ha, "whole": whole, "larger_than_chance": one.larger_than_chance})
    return rows


def _cost_sentence(row: dict[str, Any], found: Comparison, units: str) -> str:
    if row["per_ha"] is None or found.price is None:
        return f"{row['job']}: the mix used is not known, so the difference has no price."
    land, name = (ACRE_M2 / HECTARE_M2, "acre") if units == "us" else (1.0, "hectare")
    more = "more" if row["per_ha"] > 0 else "less"
    money = found.price.currency
    sure = "" if row["larger_than_chance"] else "; as a difference this is within chance"
    return (
        f"{row['job']} used mix for {abs(row['per_ha']) * land:.2f} {money} {more} per {name} than "
        f"{found.jobs[0].label}: {abs(row['whole']):.2f} {money} over its target{sure}."
    )


# --- distributions -----------------------------------------------------------------------------------


def _plots(found: Comparison, units: str) -> list[tuple[str, str, str]]:
    def rows(value: Any) -> list[tuple[str, list[float]]]:  # noqa: ANN401 - a function of a pass
        return [
            (job.label, [told for one in job.straight if (told := value(one, job)) is not None]) for job in found.jobs
        ]

    def gap(one: Mapping[str, Any], job: JobRecord) -> float | None:
        mean = one.get("spacing_mean_m")
        return None if mean is None or job.width_m is None else float(mean) - job.width_m

    def deviation(one: Mapping[str, Any], _job: JobRecord) -> float | None:
        told = one.get("cross_track_m")
        return None if not told else float(told["rms"])

    def speed(one: Mapping[str, Any], _job: JobRecord) -> float | None:
        told = one["mean_speed_m_s"]
        return None if told is None else float(told)

    made = (
        ("Spacing of each pass", "Against the boom width; right of the line is too wide.", rows(gap), "m", 0.0),
        ("Deviation of each pass", "Root mean square from its own best line.", rows(deviation), "m", 0.0),
        ("Speed of each pass", "The rate goes the other way at steady flow.", rows(speed), "m/s", None),
    )
    plots = []
    for name, note, data, unit, zero in made:
        values = [one for _, own in data for one in own]
        if not values:
            continue
        low, high = min(values), max(values)
        places = {low, high}
        if zero is not None:
            near = CLOSE_TICKS * (max(high, zero) - min(low, zero))
            places = {zero, *(one for one in (low, high) if abs(one - zero) >= near)}
        words = {at: display.speed(at, units) if unit == "m/s" else _axis(at, units) for at in sorted(places)}
        plots.append((name, f"{note} Each dot is a pass, the bar their median.", strip_plot(data, words, name)))
    return plots


def _axis(m: float, units: str) -> str:
    text = display.length(abs(m), units)
    return f"{MINUS}{text}" if m < 0 else text
