"""Passes and steering in the report: the table, the figures with their definitions, the charts."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.papers.templating import filled
from coverage_audit.papers.tolerances import ROWS_SHOWN
from coverage_audit.papers.words.display import NOT_KNOWN, SPACE, count, duration, length, local_time, speed
from coverage_audit.papers.words.passes import KINDS
from coverage_audit.passes.model import HEADLAND, REVERSING, STRAIGHT, TRANSPORT, TURN
from coverage_audit.units import FOOT_M

from .charts import Bar, Chart
from .facts import Fact, origin_of
from .figure import NOTHING, Figure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup

    from coverage_audit.drive.plane import Plane
    from coverage_audit.passes.model import Pass, Steering
    from coverage_audit.recipe.result import Audit

    from .figure import Sheet

NUMBERED = (HEADLAND, STRAIGHT)
SPACING_STEPS_M = (0.05, 0.25, 0.5, 1.0)
SPACING_STEPS_FT = (0.25, 1.0, 2.0, 4.0)
"""Limits of the classes of spacing against the boom width. [m], [ft]"""


@dataclass(frozen=True)
class PassRow:
    """One row of the table of passes, in words."""

    id: str
    kind: str
    time: str
    length: str
    heading: str
    speed: str
    deviation: str
    spacing: str
    switching: str
    lat: str
    lon: str


def pass_rows(audit: Audit, plane: Plane) -> list[PassRow]:
    """Rows of the headland laps and passes, in driving order."""
    if audit.passes is None:
        return []
    shown = [one for one in audit.passes.passes if one.kind in NUMBERED]
    if not shown:
        return []
    middles = shapely.line_interpolate_point([one.line for one in shown], 0.5, normalized=True)
    lon, lat = plane.to_degrees(*shapely.get_coordinates(middles).T)
    return [_row(one, audit, f"{y:.6f}", f"{x:.6f}") for one, x, y in zip(shown, lon, lat, strict=True)]


def _row(one: Pass, audit: Audit, lat: str, lon: str) -> PassRow:
    settings = audit.job.settings
    units = settings.report.units
    width = settings.boom.width_m
    gap = None if one.spacing_mean_m is None else one.spacing_mean_m - width
    switching = [] if audit.assumed else _switching(one, units)
    return PassRow(
        id=f"P{one.n}",
        kind=KINDS[one.kind] + (", curved" if one.curved else ""),
        time=local_time(one.start_s, settings.timezone),
        length=length(one.length_m, units),
        heading="" if one.heading_deg is None else f"{one.heading_deg:.0f}{SPACE}°",
        speed="" if one.mean_speed_m_s is None else speed(one.mean_speed_m_s, units),
        deviation="" if one.deviation is None else length(one.deviation.rms_m, units),
        spacing="" if gap is None else _against(gap, units),
        switching="; ".join(switching),
        lat=lat,
        lon=lon,
    )


def _against(gap_m: float, units: str) -> str:
    """How far a spacing is from the boom width; half a centimetre is nothing."""
    if abs(gap_m) < 0.005:
        return "as the boom"
    return f"{length(abs(gap_m), units)} too {'wide' if gap_m > 0 else 'narrow'}"


def _switching(one: Pass, units: str) -> list[str]:
    told = []
    if one.on_late_m is not None:
        told.append(f"on {length(abs(one.on_late_m), units)} {'late' if one.on_late_m >= 0 else 'early'}")
    if one.off_early_m is not None:
        told.append(f"off {length(abs(one.off_early_m), units)} {'early' if one.off_early_m >= 0 else 'late'}")
    return told


def pass_summary(audit: Audit) -> str:
    """How the job divides into passes, turns and so on, in one sentence; the times add up to the drive."""
    if audit.passes is None:
        return ""
    parts = []
    spent = audit.passes.time_by_kind_s()
    for kind, word in KINDS.items():
        own = [one for one in audit.passes.passes if one.kind == kind]
        if own:
            parts.append(f"{_counted(own, audit.passes.passes, word)} ({duration(spent[kind])})")
    return ", ".join(parts) + "."


def _counted(own: Sequence[Pass], every: Sequence[Pass], word: str) -> str:
    """How many there are: sides of a lap are one lap, a turn in which the machine backed up or stood is one turn."""
    if own[0].kind == HEADLAND:
        return count(len({one.lap for one in own}), word)
    if own[0].kind == TURN:
        begins = [before for before, one in pairwise(every) if one.kind == TURN and before.kind in NUMBERED]
        return count(len(begins), word)
    if own[0].kind in (TRANSPORT, REVERSING):
        return word
    many = {"pass": "passes", "standing": "times standing", "gap in the log": "gaps in the log"}
    return count(len(own), "time standing" if word == "standing" else word, many.get(word, ""))


def steering_facts(audit: Audit) -> tuple[Fact, ...]:
    """Steering of the whole job, each figure with the definition it follows."""
    if audit.passes is None:
        return ()
    found, units = audit.passes.steering, audit.job.settings.report.units
    origin = origin_of(audit)
    headings = ", ".join(f"{one:.1f}{SPACE}°" for one in found.ab_heading_deg) or NOT_KNOWN
    rows = (
        ("AB direction", headings, "from the passes, clockwise from true north; the longest driven first"),
        *_cross_track(found, units),
        *_spacing(found, units),
    )
    return tuple(Fact(name, value, origin, how) for name, value, how in rows if value != NOT_KNOWN)


def _words(m: float | None, units: str) -> str:
    return NOT_KNOWN if m is None else length(m, units)


def _cross_track(found: Steering, units: str) -> tuple[tuple[str, str, str], ...]:
    own = "from each pass's own best line, square to it; not from the line the driver was meant to follow"
    return (
        ("Cross-track deviation, root mean square", _words(found.cross_track_rms_m, units), own),
        (
            "Cross-track deviation, 95th percentile",
            _words(found.cross_track_p95_m, units),
            "nineteen places in twenty lie nearer to the line; scatter of single positions included",
        ),
    )


def _spacing(found: Steering, units: str) -> tuple[tuple[str, str, str], ...]:
    return (
        ("Spacing, mean", _words(found.spacing_mean_m, units), "square to the pass driven before, all places alike"),
        (
            "Spacing, standard deviation",
            _words(found.spacing_sd_m, units),
            "relative cross-track error in the sense of ISO 12188-2: about the mean spacing, not about a line",
        ),
        (
            "Spacing within 15 minutes, standard deviation",
            _words(found.pass_to_pass_sd_m, units),
            "pass-to-pass in the sense of ISO 12188-1; steering and receiver together",
        ),
        (
            "Spacing after an hour and more, standard deviation",
            _words(found.long_term_sd_m, units),
            "long-term: the receiver's slow error shows in it",
        ),
        (
            "Spacing, drift",
            NOT_KNOWN if found.drift_m_h is None else f"{_signed(found.drift_m_h, units)} an hour",
            "slope of the mean spacing over the job",
        ),
        (
            "Scatter of single positions",
            _words(found.noise_m, units),
            "white noise left in the path; taken off the deviations above, the slow error is not",
        ),
    )


def _signed(m: float, units: str) -> str:
    return f"{'wider by' if m >= 0 else 'narrower by'} {length(abs(m), units)}"


def pass_charts(audit: Audit) -> tuple[Chart, ...]:
    """Distribution of the spacing against the boom width."""
    if audit.passes is None or not audit.passes.spacings:
        return ()
    report = audit.job.settings.report
    gap = np.concatenate([one.distance_m for one in audit.passes.spacings]) - audit.job.settings.boom.width_m
    steps = [step * FOOT_M for step in SPACING_STEPS_FT] if report.units == "us" else list(SPACING_STEPS_M)
    edges = [-np.inf, *(-step for step in reversed(steps)), *steps, np.inf]
    shares = np.histogram(gap, edges)[0] / len(gap)
    top = float(shares.max())
    bars = tuple(
        Bar(_class(low, high, report.units), f"{100 * part:.0f}{SPACE}%", float(part) / top, _fill(low, high))
        for low, high, part in zip(edges[:-1], edges[1:], shares.tolist(), strict=True)
    )
    note = "Share of the length driven beside another pass. Too narrow sprays twice, too wide leaves a skip."
    return (Chart("Spacing of passes against the boom width", note, bars),)


def _class(low_m: float, high_m: float, units: str) -> str:
    if low_m < 0 < high_m:
        return f"Within {length(high_m, units)}"
    side = "wide" if low_m >= 0 else "narrow"
    near, far = sorted((abs(low_m), abs(high_m)))
    return f"Too {side} by {length(near, units)} " + ("and more" if np.isinf(far) else f"to {length(far, units)}")


def _fill(low_m: float, high_m: float) -> str:
    return "once" if low_m < 0 < high_m else "missed" if low_m >= 0 else "double"


def _body(sheet: Sheet) -> Markup | str:
    rows = pass_rows(sheet.audit, sheet.plane)
    if not rows:
        return NOTHING
    return filled("passes.html", pass_rows=rows, pass_summary=pass_summary(sheet.audit), rows_shown=ROWS_SHOWN)


FIGURE = Figure("passes", "Passes and steering", _body)
