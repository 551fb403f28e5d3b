"""Task data as a track log: fixes, switches of the boom, flow, and what the terminal says of machine and task."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.records import Fixes, Series, TrackLog
from coverage_audit.read.tracks.faults import find_faults, refuse_unusable, within_turn

from .binary import DEGREE, header_of, records_of
from .clock import Times, first_day, times_of
from .devices import WIDTH, add_logged, devices_of
from .files import task_data
from .states import CONDENSED, SETPOINTS, WORK_STATE, Switches, TimedLog, kinds, standing, switches_of
from .task import chosen, tasks_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.read.source import Source
    from coverage_audit.read.tracks.form import Asked

    from .devices import Device
    from .files import TaskData
    from .task import LoggedTask

NAME = "ISO 11783-10 task data"
RATE, FLOW, TOTAL_L, TOTAL_ML = 2, 37, 80, 351
"""Identifiers: actual volume per area [0.01 mm3/m2], per time [mm3/s], application total volume [L], [mL]."""

_NO_PLACE = (0, 14)  # no fix; error
_NOT_STATED = 15
_MOST_DOP = 999  # in tenths; more is "not available"
_MOST_SATELLITES = 253
_L_MIN = 60e-6  # of one mm3/s
_L_HA = 1e-4  # of 0.01 mm3/m2
_NARROWER = 0.95  # of the widest: a nozzle row that was folded or shut, not rounding
_KNOWN = frozenset({RATE, FLOW, WIDTH, 70, TOTAL_L, TOTAL_ML, 134, 135, 136, WORK_STATE, *CONDENSED})


def read_task_data(source: Source, name: str, title: str, asked: Asked) -> list[TrackLog]:
    """Logs of the tasks that the job is about, joined to one; with ``asked.each_task`` one for every task.

    Parameters
    ----------
    source : Source
        Where the index and its parts are.
    name : str
        The index there.
    title : str
        What the person gave: file or folder.
    asked : Asked
        Zone of the terminal's clock, tasks and device.

    Raises
    ------
    InputError
        A broken index or header, no logged task, several and no choice, or no fix that can be used.
    """
    data = task_data(source, name, title)
    logs: dict[str, tuple[TimedLog, Times]] = {}
    lost: list[str] = []
    tasks = [task for task in tasks_of(data) if task.logs]
    for part in dict.fromkeys(part for task in tasks for part in task.logs):
        found = _time_log(data, part, asked.timezone or "UTC")
        if found is None:
            lost.append(part)
        elif len(found[0].records):
            logs[part] = found
    tasks = [task for task in tasks if any(part in logs for part in task.logs)]
    if not tasks:
        why = f"its time logs {', '.join(lost[:5])} are missing or empty" if lost else "no task in it has a time log"
        raise InputError(f"{why}; export the task data again after the work", title)
    sets = [[task] for task in tasks]
    if not asked.each_task:
        told = [_told(task, logs, asked.timezone or "UTC") for task in tasks]
        sets = [chosen(tasks, asked.tasks, told, title)]
    return [
        _log(data, [logs[part] for task in one for part in task.logs if part in logs], one, lost, asked) for one in sets
    ]


def _time_log(data: TaskData, part: str, timezone: str) -> tuple[TimedLog, Times] | None:
    """One time log; None where one of its two files is missing."""
    header, binary = data.part(f"{part}.XML"), data.part(f"{part}.BIN")
    if header is None or binary is None:
        return None
    records = records_of(header_of(header.data, header.name), binary.data, binary.name)
    times = times_of(records, timezone)
    return TimedLog(part, records, times.time_s), times


def _told(task: LoggedTask, logs: dict[str, tuple[TimedLog, Times]], timezone: str) -> str:
    """A task for a person to choose by: name, field, local times."""
    time = np.concatenate([logs[part][0].time_s for part in task.logs if part in logs])
    zone = zoneinfo.ZoneInfo(timezone)
    first, last = (dt.datetime.fromtimestamp(_bounded(moment), zone) for moment in (time.min(), time.max()))
    until = f"{last:%H:%M}" if last.date() == first.date() else f"{last:%Y-%m-%d %H:%M}"
    where = f", {task.field}" if task.field else ""
    return f'"{task.title}" ({task.key}{where}, {first:%Y-%m-%d %H:%M} to {until} {timezone})'


def _bounded(moment: float) -> float:
    return min(max(moment, 0.0), 4e9)


# --- one log ----------------------------------------------------------------------------------


def _log(
    data: TaskData, timed: Sequence[tuple[TimedLog, Times]], tasks: Sequence[LoggedTask], lost: list[str], asked: Asked
) -> TrackLog:
    """Track log of the time logs of some tasks."""
    timed = sorted(timed, key=lambda pair: float(pair[0].time_s[0]))
    logs = [log for log, _ in timed]
    columns, dropped = _fixes(logs, data.name)
    devices = devices_of(data.every("DVC"))
    _add_logged(devices, logs)
    switches = switches_of(logs, devices, asked.device)
    torn = sum(log.records.torn for log in logs)
    breaks = sum(log.records.breaks for log in logs)
    notes = switches.notes + _unused(logs)
    notes["misfit_value"] = sum(log.records.misfits for log in logs)
    index, *beside = data.read
    return TrackLog(
        file=data.name,
        sha256=index.sha256,
        form=NAME,
        fixes=columns,
        fixes_read=len(columns) + sum(dropped.values()) + torn + breaks,
        dropped={"bad_checksum": 0, **dropped, **_some(cut_off=torn, damaged=breaks)},
        notes={label: count for label, count in notes.items() if count},
        switch=tuple(switches.changes),
        has_switch=bool(switches.changes),
        flow=_flow(logs, switches),
        cautions=tuple(_cautions(data, timed, tasks, lost, switches, asked)),
        no_switch=switches.reason,
        machine=switches.boom.machine if switches.boom else None,
        task=replace(tasks[0].facts, name=", ".join(task.title for task in tasks)),
        beside=tuple((one.name, one.sha256) for one in beside),
    )


def _some(**counts: int) -> dict[str, int]:
    return {label: count for label, count in counts.items() if count}


def _fixes(logs: Sequence[TimedLog], title: str) -> tuple[Fixes, dict[str, int]]:
    """Usable fixes of the logs, one segment a log, and what was dropped."""
    columns: dict[str, list[FloatArray]] = {}
    for number, log in enumerate(logs):
        place = log.records.position
        if "north" not in place or "east" not in place:
            raise InputError(f"the time log {log.name} states no positions; set the terminal to log them", title)
        status = place.get("status", np.full(len(log.records), _NOT_STATED))
        fixed = ~np.isin(status, _NO_PLACE)
        for key, values in {
            "time_s": log.time_s,
            "lat_deg": np.where(fixed, place["north"] / DEGREE, np.nan),
            "lon_deg": within_turn(np.where(fixed, place["east"] / DEGREE, np.nan)),
            "quality": np.where(status >= _NOT_STATED, -1, status),
            "satellites": _within(place.get("satellites"), len(log.records), _MOST_SATELLITES, -1.0),
            "hdop": _within(place.get("hdop"), len(log.records), _MOST_DOP, np.nan) / 10.0,
            "segment": np.full(len(log.records), number),
        }.items():
            columns.setdefault(key, []).append(np.asarray(values, float))
    whole = {key: np.concatenate(parts) for key, parts in columns.items()}
    usable, dropped = find_faults(whole["time_s"], whole["lat_deg"], whole["lon_deg"])
    if not usable.any():
        refuse_unusable(title, "record", dropped, whole["lat_deg"], whole["lon_deg"])
    used = {key: values[usable] for key, values in whole.items()}
    none = np.full(int(usable.sum()), np.nan)
    fixes = Fixes(
        time_s=used["time_s"],
        lat_deg=used["lat_deg"],
        lon_deg=used["lon_deg"],
        course_deg=none,
        speed_m_s=none,
        quality=used["quality"].astype(np.int64),
        satellites=used["satellites"].astype(np.int64),
        hdop=used["hdop"],
        gst_m=none,
        segment=used["segment"].astype(np.int64),
    )
    return fixes, dropped


def _within(column: IntArray | None, count: int, most: int, other: float) -> FloatArray:
    """A column with *other* where it is missing or beyond *most*, which stands for "not available"."""
    return np.full(count, other) if column is None else np.where(column <= most, column, other)


def _add_logged(devices: Sequence[Device], logs: Sequence[TimedLog]) -> None:
    """Logged widths and offsets as facts of the elements."""
    first: dict[tuple[int, str], int] = {}
    for log in logs:
        for one in log.records.header.values:
            for _, value in log.stated(one.ddi, one.element)[:1] if one.ddi in _KNOWN else ():
                first.setdefault((one.ddi, one.element), value)
    for device in devices:
        add_logged(device, first)


def _unused(logs: Sequence[TimedLog]) -> Counter[str]:
    """Counts of logged values that are not used: what was asked of the machine, and other identifiers."""
    found: Counter[str] = Counter()
    for log in logs:
        for place, (numbers, _) in log.records.values.items():
            ddi = log.records.header.values[place].ddi
            if ddi not in _KNOWN:
                found["set_point" if ddi in SETPOINTS else "other_logged_value"] += len(numbers)
    return found


def _flow(logs: Sequence[TimedLog], switches: Switches) -> Series | None:
    """Logged flow of the boom where one element of its device states it. [L/min]"""
    owners = kinds(logs).get(FLOW, set()) & set(switches.device.elements if switches.device else ())
    if len(owners) != 1:
        return None
    owner = owners.pop()
    time = np.concatenate([log.time_s for log in logs])
    value = np.concatenate([standing(log, FLOW, owner) for log in logs]) * _L_MIN
    known = np.isfinite(value) & (value >= 0)
    return Series(time[known], value[known]) if known.any() else None


# --- what there is to say ---------------------------------------------------------------------


def _cautions(
    data: TaskData,
    timed: Sequence[tuple[TimedLog, Times]],
    tasks: Sequence[LoggedTask],
    lost: list[str],
    switches: Switches,
    asked: Asked,
) -> list[Caution]:
    """What there is to say of the log, for the person."""
    logs, file = [log for log, _ in timed], data.name
    told = []
    if any(times.guessed.any() for _, times in timed):
        told.append(Caution("terminal clock local", file=file, timezone=asked.timezone or ""))
    if any(first_day(log.records.day) for log in logs):
        told.append(Caution("terminal clock unset", file=file))
    told += _damage(file, logs, switches)
    missing = [*dict.fromkeys(part for part in lost for task in tasks if part in task.logs), *data.missing]
    if missing:
        told.append(Caution("parts missing", file=file, names=tuple(missing[:5])))
    if switches.boom:
        told += switches.boom.told
    told += _products(file, tasks)
    told += _amounts(file, logs, switches)
    return told


def _damage(file: str, logs: Sequence[TimedLog], switches: Switches) -> list[Caution]:
    """What of the time logs could not be used."""
    errors = switches.notes["section_state_error"] + switches.notes["work_state_error"]
    told = (
        Caution("time logs cut off", file=file, count=sum(log.records.torn for log in logs)),
        Caution("time logs damaged", file=file, count=sum(log.records.breaks for log in logs)),
        Caution("values without a place", file=file, count=sum(log.records.misfits for log in logs)),
        Caution("work states in error", file=file, count=errors),
    )
    return [one for one in told if dict(one.values)["count"]]


def _products(file: str, tasks: Sequence[LoggedTask]) -> list[Caution]:
    names = tuple(dict.fromkeys(name for task in tasks for name in task.facts.products))
    return [Caution("products named", file=file, names=names)] if names else []


def _amounts(file: str, logs: Sequence[TimedLog], switches: Switches) -> list[Caution]:
    """What the terminal itself says of the rate, the total and the width of the boom's device."""
    own = set(switches.device.elements if switches.device else ())
    told = []
    rate = _while_working(logs, RATE, own) * _L_HA
    if len(rate):
        told.append(Caution("rate logged", file=file, mean_l_ha=float(rate.mean())))
    if total := _total_l(logs, switches):
        told.append(Caution("volume counted", file=file, total_l=float(total)))
    width = _while_working(logs, WIDTH, own) / 1000
    sections = {change.section for change in switches.changes} - {0}
    if len(width) and not sections and width.min() < _NARROWER * width.max():
        told.append(Caution("width varied", file=file, least_m=float(width.min()), most_m=float(width.max())))
    return told


def _while_working(logs: Sequence[TimedLog], ddi: int, own: set[str]) -> FloatArray:
    """A logged value at every record where it is above 0, of the one element of the device that states it."""
    owners = kinds(logs).get(ddi, set()) & own
    if len(owners) != 1:
        return np.zeros(0)
    value = np.concatenate([standing(log, ddi, next(iter(owners))) for log in logs])
    return value[value > 0]  # not where it is unknown


def _total_l(logs: Sequence[TimedLog], switches: Switches) -> float:
    """Litres that the boom's device counted from the first to the last record, 0 where it counts none."""
    said = kinds(logs)
    for ddi, litres in ((TOTAL_ML, 1e-3), (TOTAL_L, 1.0)):
        owners = said.get(ddi, set()) & set(switches.device.elements if switches.device else ())
        counts = [value for log in logs for owner in owners for _, value in log.stated(ddi, owner)]
        if len(owners) == 1 and counts and all(a <= b for a, b in pairwise(counts)):
            return (counts[-1] - counts[0]) * litres
    return 0.0
