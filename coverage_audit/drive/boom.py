"""When which section sprayed: one timeline from any source of boom state."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.records import Interval
from coverage_audit.units import DAY_S

from .model import Timeline
from .tolerances import ZONE_QUARTERS, ZONE_SLACK_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.jobs.settings import BoomSettings
    from coverage_audit.read.records import Mark, SwitchChange, TrackLog

    from .model import Track


_NO_SWITCH = (
    'intervals = "log" needs XDR sentences of type S named BOOM or BOOM1, BOOM2 ... in an NMEA log, or work states in '
    "task data; none was found"
)


def boom_timeline(
    settings: BoomSettings,
    logs: tuple[TrackLog, ...],
    track: Track,
    intervals: tuple[Interval, ...] | None,
    clock_offset_s: float,
) -> tuple[Timeline, tuple[Caution, ...]]:
    """Timeline of the job, and cautions about how it was found.

    Parameters
    ----------
    clock_offset_s : float
        Added to the log's own times of switches and marks, as to its fixes; never to a list of on-times. [s]

    Raises
    ------
    InputError
        The source of the boom state is missing, or its times miss the track altogether.
    """
    sections = len(settings.sections_m)
    first, last = float(track.time_s[0]), float(track.time_s[-1])
    cautions: list[Caution] = []
    if settings.intervals == "csv":
        found = list(intervals or ())
    elif settings.intervals == "log":
        found = _from_switch(logs, sections, last, settings, clock_offset_s)
    elif settings.intervals == "segments":
        found = _from_segments(track)
        cautions = _one_segment(found)
    elif settings.intervals == "marks":
        found, cautions = _from_marks(logs, first, last, clock_offset_s)
    else:
        raise InputError(
            'intervals = "assume" says that no boom state was logged; one has to be proposed before it can be used',
            "boom.intervals",
        )
    _refuse_disjoint(found, first, last)
    per_section = [_section_intervals(found, number, settings) for number in range(1, sections + 1)]
    lost = sum(vanished for vanished, _ in per_section)
    if lost:
        cautions.append(Caution("delays swallow", count=lost))
    timeline = timeline_of([spans for _, spans in per_section], first, last)
    if not len(timeline.start_s):
        raise InputError("the boom was never on during the track, so there is nothing to audit", "boom.intervals")
    outside = sum(1 for interval in found if interval.on_s < first - 1e-6 or interval.off_s > last + 1e-6)
    if outside and settings.intervals == "csv":
        cautions.append(Caution("on beyond track", count=outside))
    return timeline, tuple(cautions)


def switch_intervals(changes: Sequence[SwitchChange], sections: int, last_s: float, *, invert: bool) -> list[Interval]:
    """On-times per section from switch changes: on when every switch that concerns it is on.

    Switches are off before their first sentence; ``invert`` turns each of them round. One left on is on
    until *last_s*, in the log's own clock. [s since 1970 UTC]
    """
    found = []
    whole_known = any(change.section == 0 for change in changes)
    known = {change.section for change in changes if change.section}
    for number in range(1, sections + 1):
        concerned = ({0} if whole_known else set()) | ({number} & known)
        if not concerned:
            continue
        state = dict.fromkeys(concerned, False)
        since: float | None = None
        for change in changes:
            if change.section not in concerned:
                continue
            state[change.section] = change.on != invert
            on = all(state.values())
            if on and since is None:
                since = change.time_s
            elif not on and since is not None:
                if change.time_s > since:
                    found.append(Interval(since, change.time_s, (number,), "the log's boom switch"))
                since = None
        if since is not None and last_s > since:
            found.append(Interval(since, last_s, (number,), "the log's boom switch"))
    return found


def _from_switch(
    logs: tuple[TrackLog, ...], sections: int, last: float, settings: BoomSettings, offset_s: float
) -> list[Interval]:
    if not any(log.has_switch for log in logs):
        why = next((log.no_switch for log in logs if log.no_switch), "")
        raise InputError(
            f"{why or _NO_SWITCH}. List the boom-on times in a CSV file instead",
            "boom.intervals",
        )
    changes = sorted((change for log in logs for change in log.switch), key=lambda change: change.time_s)
    beyond = {change.section for change in changes if change.section > sections}
    if beyond:
        raise InputError(
            f"the log has a switch of section {max(beyond)}, but the job's boom has {sections} section(s); "
            "list the section widths from left to right in boom.sections",
            "boom.sections",
        )
    found = switch_intervals(changes, sections, last - offset_s, invert=settings.invert_switch)
    return [Interval(one.on_s + offset_s, one.off_s + offset_s, one.sections, one.place) for one in found]


def _from_segments(track: Track) -> list[Interval]:
    starts = np.flatnonzero(np.diff(track.segment, prepend=track.segment[0] - 1))
    ends = np.append(starts[1:], len(track.segment)) - 1
    return [
        Interval(float(track.time_s[a]), float(track.time_s[b]), (), f"GPX segment {int(track.segment[a]) + 1}")
        for a, b in zip(starts, ends, strict=True)
        if b > a
    ]


def _one_segment(found: list[Interval]) -> list[Caution]:
    return [Caution("one segment", seconds=found[0].off_s - found[0].on_s)] if len(found) == 1 else []


def _from_marks(
    logs: tuple[TrackLog, ...], first: float, last: float, offset_s: float
) -> tuple[list[Interval], list[Caution]]:
    marks = sorted(
        (
            (mark.time_s + offset_s, state)
            for log in logs
            for mark in log.marks
            if (state := _mark_state(mark)) is not None
        ),
        key=lambda item: item[0],
    )
    if not marks:
        raise InputError(_no_marks([mark for log in logs for mark in log.marks]), "boom.intervals")
    found: list[Interval] = []
    cautions: list[Caution] = []
    since: float | None = None
    ignored: list[float] = []
    for index, (time, on) in enumerate(marks):
        if on:
            ignored += [time] if since is not None else []
            since = time if since is None else since
        elif since is not None:
            found.append(Interval(since, time, (), "boom marks"))
            since = None
        elif index == 0:
            found.append(Interval(first, time, (), "boom marks"))
            cautions.append(Caution("first mark off"))
        else:
            ignored.append(time)
    if since is not None:
        found.append(Interval(since, last, (), "boom marks"))
        cautions.append(Caution("last mark on"))
    if ignored:
        cautions.append(Caution("marks repeat", times_s=tuple(ignored)))
    return [one for one in found if one.off_s > one.on_s], cautions


def _no_marks(others: list[Mark]) -> str:
    wanted = 'intervals = "marks" needs waypoints with a time, named "boom on" and "boom off"'
    if not others:
        return f"{wanted}; the log has no waypoint with a time"
    return f'{wanted}; the {len(others)} found have other names, the first "{others[0].text}". Rename them'


def _mark_state(mark: Mark) -> bool | None:
    for text in (mark.text, mark.kind):
        words = " ".join(text.casefold().split())
        if words in ("boom on", "boom off"):
            return words == "boom on"
    return None


def _refuse_disjoint(found: list[Interval], first: float, last: float) -> None:
    if not found:
        raise InputError("the boom is never on in what was read, so there is nothing to audit", "boom.intervals")
    if any(one.off_s > first and one.on_s < last for one in found):
        return
    start, end = min(one.on_s for one in found), max(one.off_s for one in found)
    side = "after" if start >= last else "before"
    distance = start - last if start >= last else first - end
    raise InputError(
        f"every boom-on time lies {side} the track, by {_clock(distance)}; the first one is "
        f"{_clock(abs(start - first))} {'after' if start >= first else 'before'} the first fix. "
        f"{_clock_hint(start - first)}",
        found[0].place or "boom.intervals",
    )


def _clock(seconds: float) -> str:
    """A time span in days, hours, minutes and seconds."""
    whole = round(seconds)
    parts = ((whole // 86_400, "day(s)"), (whole // 3600 % 24, "h"), (whole // 60 % 60, "min"), (whole % 60, "s"))
    return " ".join(f"{number} {unit}" for number, unit in parts if number) or "0 s"


def _clock_hint(shift_s: float) -> str:
    """The likeliest reason for clocks that differ by so much."""
    quarter, days = round(shift_s / 900), round(shift_s / DAY_S)
    if 0 < abs(quarter) <= ZONE_QUARTERS and abs(shift_s - quarter * 900) < ZONE_SLACK_S:
        hours, minutes = divmod(abs(quarter) * 15, 60)
        zone = f"{'-' if shift_s < 0 else '+'}{hours:02d}:{minutes:02d}"
        return (
            f"That is about {_clock(abs(quarter) * 900)}, like a time zone: times without a zone are read as UTC; "
            f"write it behind each time, as in 2026-05-30T08:05:00{zone}"
        )
    if days and abs(shift_s - days * DAY_S) < ZONE_QUARTERS * 900:
        return f"That is {days:+d} whole day(s), about: check the date of the times and of the log"
    return "Check both clocks, or set track.clock_offset to move the log's times"


def _section_intervals(
    found: list[Interval], number: int, settings: BoomSettings
) -> tuple[int, list[tuple[float, float]]]:
    """How many on-times of section *number* its delays swallow, and the rest, joined where they touch."""
    own = sorted((one.on_s, one.off_s) for one in found if not one.sections or number in one.sections)
    joined: list[list[float]] = []
    vanished = 0
    for on, off in own:
        start, end = on + settings.on_delay_s, off + settings.off_delay_s
        if end <= start:
            vanished += 1
            continue
        if joined and start <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], end)
        else:
            joined.append([start, end])
    return vanished, [(start, end) for start, end in joined]


def timeline_of(per_section: Sequence[list[tuple[float, float]]], first: float, last: float) -> Timeline:
    """Timeline from *first* to *last* of the times that each section was on. [s since 1970 UTC]"""
    moments = sorted({min(max(t, first), last) for spans in per_section for span in spans for t in span})
    starts, ends = np.array(moments[:-1]), np.array(moments[1:])
    on = np.zeros((len(starts), len(per_section)), bool)
    for column, spans in enumerate(per_section):
        for start, end in spans:
            on[:, column] |= (starts >= start - 1e-9) & (ends <= end + 1e-9)
    used = on.any(axis=1) if len(starts) else np.zeros(0, bool)
    starts, ends, on = starts[used], ends[used], on[used]
    fresh = np.append([True], starts[1:] > ends[:-1] + 1e-9) if len(starts) else np.zeros(0, bool)
    return Timeline(starts, ends, on, np.cumsum(fresh) - 1)
