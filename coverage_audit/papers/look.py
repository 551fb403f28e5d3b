"""A log described before any audit: what is in it, what is not, and whether it will do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.drive.tolerances import GAP_STEPS, STAND_SPEED_M_S
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.papers.words.safe import printable
from coverage_audit.passes.model import GAP, Span
from coverage_audit.passes.spans import standing_s
from coverage_audit.passes.way import smooth_way
from coverage_audit.recipe.passes import antenna_fixes

from .words import display
from .words.cautions import texts

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.read.records import TrackLog

QUALITY = {
    -1: "not stated",
    1: "GPS",
    2: "differential",
    3: "PPS",
    4: "RTK fixed",
    5: "RTK float",
    6: "estimated",
    7: "typed in",
    8: "simulated",
}
"""NMEA 0183 GGA quality codes, as gpsd's NMEA notes list them."""

GAPS_SHOWN = 5
MAX_GAP_S = 5.0
"""The job file's usual max_gap: a log with longer steps is refused by the audit. [s]"""

GAPS_MATTER = 0.01
"""Gaps with a smaller share of the way than this are not named in the verdict: stops, mostly. [1]"""

DENSE_STEP_S = 1.2
"""Up to here a log counts as dense: one fix a second, give or take a late one. [s]"""


def look_text(log: TrackLog, timezone: str, units: str) -> str:
    """Describe *log* in lines for the terminal."""
    fixes = log.fixes
    dated = np.isfinite(fixes.time_s)
    time = np.sort(fixes.time_s[dated])
    counts = f"{display.number(log.fixes_read)} fixes read, {display.number(len(fixes))} usable"
    lines = [f"{log.file}: {log.form}, {counts}"]
    lines += _dropped(log)
    if len(time) == 1:
        lines.append(f"Verdict: {_enough(np.array([0.0]), _refusal(log))}")
        return "\n".join(printable(line) for line in lines) + "\n"
    if not len(time):
        lines.append("No times: such a log cannot be audited. Record times with every fix.")
        return "\n".join(printable(line) for line in lines) + "\n"
    steps = np.diff(time)
    steps = steps[steps > 0]
    if not len(steps):
        told = "Verdict: every fix has the same time, so nothing can be told of the drive. Record times with every fix."
        return "\n".join([*lines, *_span(time, timezone), told]) + "\n"
    lines += [
        *_span(time, timezone),
        *_rate(steps),
        *_gaps(time, timezone),
        _quality(log),
        *_errors(log),
        *_movement(log, units),
        *_task(log),
        *_boom(log, units),
        *(f"Caution: {text}" for text in texts(log.cautions, units)),
        f"Verdict: {_enough(steps, _refusal(log))}{_holes(log, units)}",
    ]
    return "\n".join(printable(line) for line in lines) + "\n"


def _dropped(log: TrackLog) -> list[str]:
    lost = [f"{count} {reason.replace('_', ' ')}" for reason, count in log.dropped.items() if count]
    noted = [_several(reason.replace("_", " "), count) for reason, count in log.notes.items() if count]
    lines = [f"Dropped: {', '.join(lost)}" if lost else "Dropped: nothing"]
    return [*lines, f"Noted, no fix lost: {', '.join(noted)}"] if noted else lines


def _several(reason: str, count: int) -> str:
    return f"{count} {reason.replace('waypoint', 'waypoints', count > 1)}"


def _span(time: FloatArray, timezone: str) -> list[str]:
    first, last = float(time[0]), float(time[-1])
    span = f"{display.local_datetime(first, 'UTC')} to {display.local_datetime(last, 'UTC')}"
    lines = [f"UTC:   {span} ({display.duration(last - first)})"]
    if timezone != "UTC":
        lines.append(
            f"Local: {display.local_datetime(first, timezone)} to {display.local_datetime(last, timezone)} ({timezone})"
        )
    else:
        lines.append("Local: give --timezone, such as America/Boise, to see local times")
    return lines


def _rate(steps: FloatArray) -> list[str]:
    median, slow = float(np.median(steps)), float(np.percentile(steps, 95))
    often = f"{1 / median:.3g} a second" if median < 1 else f"one every {median:.3g} s"
    return [f"Rate: {often} (median step {median:.3g} s, 95 % within {slow:.3g} s)"]


def _gaps(time: FloatArray, timezone: str) -> list[str]:
    steps = np.diff(time)
    gap = _gap_steps(steps)
    if not len(gap):
        return [f"Gaps: none longer than {_gap_from_s(steps):.3g} s"]
    longest = gap[np.argsort(-steps[gap])][:GAPS_SHOWN]
    places = [(display.duration(float(steps[k])), float(time[k])) for k in np.sort(longest)]
    told = ", ".join(f"{size} at {display.local_time(moment, timezone)}" for size, moment in places)
    more = f"; the longest {GAPS_SHOWN}" if len(gap) > GAPS_SHOWN else ""
    return [f"Gaps: {len(gap)}, {display.duration(float(steps[gap].sum()))} in all{more}: {told}"]


def _gap_steps(steps: FloatArray) -> IntArray:
    """Which steps of time the audit would take for gaps of the log."""
    return np.flatnonzero(steps > _gap_from_s(steps))


def _gap_from_s(steps: FloatArray) -> float:
    """Longest step of time that is none: a slow log has long steps. [s]"""
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    return max(MAX_GAP_S, GAP_STEPS * usual)


def _plane(lon_deg: FloatArray, lat_deg: FloatArray) -> Plane:
    """Plane about the middle of the positions, on either side of 180 degrees. [deg]"""
    east = (lon_deg - lon_deg[0] + 180.0) % 360.0 - 180.0
    return Plane(PlaneOrigin((float(np.median(east) + lon_deg[0]) + 180.0) % 360.0 - 180.0, float(np.median(lat_deg))))


def _holes(log: TrackLog, units: str) -> str:
    """What the gaps take from the log: how far the vehicle moved in them, which is what an audit cannot see."""
    fixes = log.fixes
    used = np.flatnonzero(np.isfinite(fixes.time_s) & np.isfinite(fixes.lat_deg) & np.isfinite(fixes.lon_deg))
    used = used[np.argsort(fixes.time_s[used], kind="stable")]
    gap = _gap_steps(np.diff(fixes.time_s[used]))
    if not len(gap):
        return ""
    lon, lat = fixes.lon_deg[used], fixes.lat_deg[used]
    x, y = _plane(lon, lat).to_metres(lon, lat)
    moved = np.hypot(np.diff(x), np.diff(y))
    lost, whole = float(moved[gap].sum()), float(moved.sum())
    share = lost / whole if whole > 0 else 0.0
    if share < GAPS_MATTER:
        return ""
    told = f" But {display.number(len(gap))} gap(s) hold {display.length(lost, units)} of the way"
    return f"{told} ({display.share(lost, whole)}): what was sprayed in them counts as missed, or as not proven."


def _quality(log: TrackLog) -> str:
    codes, counts = np.unique(log.fixes.quality, return_counts=True)
    told = ", ".join(
        f"{QUALITY.get(int(code), f'code {code}')} {display.share(float(count), float(counts.sum()))}"
        for code, count in sorted(zip(codes.tolist(), counts.tolist(), strict=True), key=lambda pair: -pair[1])
    )
    return f"Fix quality: {told}"


def _errors(log: TrackLog) -> list[str]:
    fixes = log.fixes
    parts = []
    seen = fixes.satellites[fixes.satellites >= 0]
    if len(seen):
        parts.append(f"satellites {int(seen.min())} to {int(seen.max())}")
    for name, values in (("HDOP", fixes.hdop), ("receiver's own error (GST, m)", fixes.gst_m)):
        known = values[np.isfinite(values)]
        if len(known):
            parts.append(f"{name} median {np.median(known):.2g}, worst {known.max():.2g}")
    return [f"Receiver: {', '.join(parts)}"] if parts else ["Receiver: no satellites, HDOP or error stated"]


def _movement(log: TrackLog, units: str) -> list[str]:
    fixes = log.fixes
    used = np.isfinite(fixes.time_s) & np.isfinite(fixes.lat_deg) & np.isfinite(fixes.lon_deg)
    if used.sum() < 2:
        return ["Extent: no positions"]
    lon, lat, time = fixes.lon_deg[used], fixes.lat_deg[used], fixes.time_s[used]
    plane = _plane(lon, lat)
    x, y = plane.to_metres(lon, lat)
    step = np.diff(time)
    moved = np.hypot(np.diff(x), np.diff(y))
    timed = step > 0
    if not timed.any():
        return ["Extent: the log shows no way, as its fixes never go forwards in time"]
    pace = moved[timed] / step[timed]
    usual, quick = (display.speed(float(np.percentile(pace, q)), units) for q in (50, 95))
    wide, high = (display.length(float(np.ptp(values)), units) for values in (x, y))
    way = display.length(float(moved.sum()), units)
    stood = _standing_s(log, plane)
    told = "" if stood is None else f"; standing {display.duration(stood)}"
    return [
        f"Extent: {wide} east-west, {high} north-south, about {plane.origin.lat_deg:.5f}, {plane.origin.lon_deg:.5f}",
        f"Driven: {way}; speed {usual} (median), {quick} (95 % are slower){told}",
    ]


def _standing_s(log: TrackLog, plane: Plane) -> float | None:
    """Time stood, by the rule of the report; None where the log cannot be audited. [s]"""
    try:
        track, _ = clean_track((log,), plane.to_metres, 0.0, MAX_GAP_S)
    except InputError:
        return None
    time = track.time_s
    moved = np.hypot(np.diff(track.x_m, append=track.x_m[-1]), np.diff(track.y_m, append=track.y_m[-1]))
    away = track.gap_after & (moved > STAND_SPEED_M_S * np.diff(time, append=time[-1]))  # else it was parked
    breaks = [Span(GAP, float(time[k]), float(time[k + 1])) for k in np.flatnonzero(away)]
    return standing_s(smooth_way(antenna_fixes(track, None)), breaks)


def _task(log: TrackLog) -> list[str]:
    if log.task is None:
        return []
    parts = [log.task.name, log.task.operator, ", ".join(log.task.products)]
    return [f"Task: {'; '.join(part for part in parts if part)}"]


def _boom(log: TrackLog, units: str) -> list[str]:
    found = []
    if log.has_switch:
        sections = sorted({change.section for change in log.switch})
        own = [section for section in sections if section]
        parts = ["whole boom"] if 0 in sections else []
        parts += [f"sections {own[0]} to {own[-1]}" if len(own) > 1 else f"section {one}" for one in own[:1]]
        names = " and ".join(parts)
        found.append(f'a boom switch ({names or "never switched"}; {len(log.switch)} changes): intervals = "log"')
    elif log.no_switch:
        found.append(log.no_switch)
    if log.machine is not None:
        widths = " + ".join(display.length(width, units) for width in log.machine.sections_m)
        found.append(f"{log.machine.name} says that its boom is {widths} wide")
    marks = [one for one in log.marks if "boom" in f"{one.text} {one.kind}".casefold()]
    if marks:
        found.append(f'{len(marks)} boom marks: intervals = "marks"')
    segments = len(np.unique(log.fixes.segment))
    if segments > 1:
        found.append(f'{segments} GPX segments: intervals = "segments", if each one is a time with the boom on')
    series = [name for name, one in (("flow", log.flow), ("pressure", log.pressure)) if one is not None]
    none = 'none in this log. List the times in a CSV file, or set intervals = "assume" and read its limits'
    lines = [f"Boom state: {'; '.join(found) or none}"]
    return [*lines, f"Also logged: {', '.join(series)}"] if series else lines


def _refusal(log: TrackLog) -> str:
    """Why the audit would refuse the log, by its own rule; "" where it would not."""
    fixes = log.fixes
    try:
        clean_track((log,), _plane(fixes.lon_deg, fixes.lat_deg).to_metres, 0.0, MAX_GAP_S)
    except InputError as refusal:
        return refusal.what
    return ""


def _enough(steps: FloatArray, refusal: str) -> str:
    median = float(np.median(steps))
    if refusal and median <= MAX_GAP_S:
        return f"cannot be audited: {refusal}."
    if median <= DENSE_STEP_S:
        return "dense enough to audit."
    if median <= MAX_GAP_S:
        return (
            f"can be audited, but {median:.3g} s between fixes is coarse in turns; next time set one fix a second, no "
            "distance filter."
        )
    return (
        f"too sparse to audit ({median:.3g} s between fixes). Next time set one fix a second, no distance filter, "
        "and allow recording with the screen off."
    )
