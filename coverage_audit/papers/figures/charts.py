"""The report's charts as plain values: each bar has its words, its figure and its share of the axis."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from coverage_audit.papers.words.display import area, count, duration, length, rate, share, small_area
from coverage_audit.units import FOOT_M

if TYPE_CHECKING:
    from coverage_audit.recipe.result import Audit

WIDTH_STEPS_M = (0.5, 1.0, 2.0, 4.0)
WIDTH_STEPS_FT = (2.0, 4.0, 8.0, 16.0)
"""Limits of the width classes; round in the person's unit, each twice the last. [m], [ft]"""


@dataclass(frozen=True)
class Bar:
    """One bar: ``share`` of the axis from 0 to 1, ``kind`` the map class it is filled like."""

    label: str
    value: str
    share: float
    kind: str


@dataclass(frozen=True)
class Chart:
    """A titled set of bars; ``mark`` is a reference line at a share of the axis, None = none."""

    title: str
    note: str
    bars: tuple[Bar, ...]
    mark: float | None = None
    mark_text: str = ""


def charts(audit: Audit) -> tuple[Chart, ...]:
    """Charts of *audit* that have something to show."""
    made = (_visits(audit), _widths(audit), _rates(audit), _times(audit))
    return tuple(chart for chart in made if chart.bars)


def _visits(audit: Audit) -> Chart:
    areas, units = audit.area_m2, audit.job.settings.report.units
    words = {0: "Missed", 1: "Once", 2: "Twice"}
    kinds = {0: "missed", 1: "once"}
    top = max(areas.by_visits, default=0.0)
    bars = tuple(
        Bar(
            words.get(visits, f"{visits} times"),
            f"{area(m2, units)}, {share(m2, areas.target)}",
            m2 / top,
            kinds.get(visits, "double"),
        )
        for visits, m2 in enumerate(areas.by_visits)
        if top > 0 and (m2 > 0 or visits < 2)
    )
    note = "How often the boom passed over each part of the target area. The parts add up to the target."
    return Chart("Target area by number of visits", note, bars)


def _widths(audit: Audit) -> Chart:
    """Missed ground by mean width: narrow means passes driven too far apart, wide means a late switch."""
    report = audit.job.settings.report
    steps = [step * FOOT_M for step in WIDTH_STEPS_FT] if report.units == "us" else list(WIDTH_STEPS_M)
    edges = [report.min_width_m, *(step for step in steps if step > report.min_width_m), float("inf")]
    rows = [("missed", f"Slivers under {length(report.min_width_m, report.units)}", audit.area_m2.missed_slivers, -1)]
    for low, high in pairwise(edges):
        inside = [s for s in audit.missed_strips if low <= max(s.mean_width_m, report.min_width_m) < high]
        end = f" to {length(high, report.units)}" if high < float("inf") else " and more"
        rows.append(("missed", length(low, report.units) + end, sum(s.area_m2 for s in inside), len(inside)))
    while rows and rows[-1][2] <= 0:
        rows.pop()
    top = max((row[2] for row in rows), default=0.0)
    bars = tuple(
        Bar(label, small_area(m2, report.units) + (f" in {count(n, 'strip')}" if n > 0 else ""), m2 / top, kind)
        for kind, label, m2, n in rows
        if top > 0
    )
    note = (
        "Long narrow strips often come from passes driven too far apart, "
        "short wide ones from switching the boom on late or off early."
    )
    return Chart("Missed ground by mean width", note, bars)


def _rates(audit: Audit) -> Chart:
    volume, settings = audit.volume, audit.job.settings
    units = settings.report.units
    rows = [
        ("Over every pass (swept)", volume.over_swept_l_ha, "once"),
        ("Over the covered ground", volume.over_covered_l_ha, "once"),
        ("Over the whole target area", volume.over_target_area_l_ha, "once"),
        ("Most the label allows, as typed in", settings.rate.label_max_l_ha, "limit"),
    ]
    known = [(label, value, kind) for label, value, kind in rows if value is not None]
    if volume.applied_l is None:
        known = []
    top = max([value for _, value, _ in known] + [volume.target_l_ha or 0.0], default=0.0)
    bars = tuple(Bar(label, rate(value, units), value / top, kind) for label, value, kind in known if top > 0)
    mark = volume.target_l_ha / top if volume.target_l_ha and top > 0 else None
    mark_text = f"Upright line: the intended rate, {rate(volume.target_l_ha, units)}." if mark is not None else ""
    note = "Mean rates of the whole job: the same volume spread over three different areas."
    return Chart("Rate", note, bars, mark, mark_text)


def _times(audit: Audit) -> Chart:
    rows = (
        ("Spraying", audit.time_on_s, "once"),
        ("Boom off", audit.time_off_s, "off"),
        ("No positions (gaps in the log)", audit.time_gap_s, "bridged"),
    )
    top = max(seconds for _, seconds, _ in rows)
    bars = tuple(Bar(label, duration(seconds), seconds / top, kind) for label, seconds, kind in rows if top > 0)
    return Chart("Time", "From the first to the last position that was used.", bars)
