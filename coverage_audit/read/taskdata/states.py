"""Which device is the boom, and when its sections were on: work states of the time logs as switch changes.

A state of two bits is 0 off, 1 on, 2 error, 3 not installed. A condensed state holds sixteen of them, from left to
right in the driving direction, the left-most section's lowest (ISO 11783-11, identifiers 161 to 176), whatever numbers
the sections bear. Set points are what was asked for, not what was done, and are never taken for a state.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.read.records import SwitchChange

from .devices import DEVICE, FUNCTION, SECTION, Device, DeviceElement, boom_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from coverage_audit.arrays import FloatArray

    from .binary import Records
    from .devices import Boom

WORK_STATE = 141
CONDENSED = range(161, 177)
SETPOINTS = frozenset({289, *range(290, 306)})
RATES = frozenset({2, 7, 12, 37, 80, 81, 82, 351})
"""What is logged of a device that puts something down: volume, mass or count per area, flow, totals."""

_PER_VALUE = 16
_ON, _ERROR, _NOT_INSTALLED = 1, 2, 3


@dataclass(frozen=True, eq=False)
class TimedLog:
    """One time log with the times of its records. [s since 1970 UTC]"""

    name: str
    records: Records
    time_s: FloatArray

    def stated(self, ddi: int, element: str) -> list[tuple[int, int]]:
        """(record, value) of one logged value in the order of the records; what never changes stands at the first."""
        found: list[tuple[int, int]] = []
        for place, one in enumerate(self.records.header.values):
            if (one.ddi, one.element) != (ddi, element):
                continue
            if one.constant is not None and len(self.records):
                found.append((0, one.constant))
            if place in self.records.values:
                found += zip(*(column.tolist() for column in self.records.values[place]), strict=True)
        return sorted(found, key=lambda pair: pair[0])


def kinds(logs: Iterable[TimedLog]) -> dict[int, set[str]]:
    """Elements by the identifier of what is stated of them at least once."""
    found: dict[int, set[str]] = {}
    for log in logs:
        for place, one in enumerate(log.records.header.values):
            if place in log.records.values or (one.constant is not None and len(log.records)):
                found.setdefault(one.ddi, set()).add(one.element)
    return found


@dataclass
class Switches:
    """Switch changes of the chosen boom, and what there is to say; ``reason`` why there are none."""

    changes: list[SwitchChange] = field(default_factory=list)
    device: Device | None = None
    element: DeviceElement | None = None
    boom: Boom | None = None
    reason: str = ""
    notes: Counter[str] = field(default_factory=Counter)


def switches_of(logs: Sequence[TimedLog], devices: Sequence[Device], wanted: str) -> Switches:
    """Switch changes of the boom.

    Parameters
    ----------
    logs : sequence of TimedLog
        In the order of their times.
    devices : sequence of Device
        Those of the index; one that is logged and not there stands for itself.
    wanted : str
        Name or key of the device or element to take; "" = the only one that can be it.
    """
    said = kinds(logs)
    known = {key for device in devices for key in device.elements}
    strangers = sorted({key for ddi in (WORK_STATE, *CONDENSED) for key in said.get(ddi, ())} - known)
    alone = [Device(key, key, {key: DeviceElement(key, FUNCTION, key, 0)}) for key in strangers]
    pairs = _candidates([*devices, *alone], said)
    if wanted:
        pairs = [pair for pair in pairs if _called(wanted, *pair)]
    if len(pairs) != 1:
        return Switches(reason=_reason(pairs, wanted))
    device, element = pairs[0]
    return _changes(logs, device, element, said)


def _candidates(devices: Sequence[Device], said: dict[int, set[str]]) -> list[tuple[Device, DeviceElement]]:
    """What may be the boom: elements: with condensed states, else with sections that state theirs, else devices."""
    condensed = {key for ddi in CONDENSED for key in said.get(ddi, ())}
    working = said.get(WORK_STATE, set())
    every = [(device, element) for device in devices for element in device.elements.values()]
    for fits in (
        lambda one: one.key in condensed,
        lambda one: any(section.key in working for section in one.sections()),
        lambda one: one.key in working and one.kind == FUNCTION,
        lambda one: one.key in working and one.kind == DEVICE,
    ):
        found = [pair for pair in every if fits(pair[1])]
        spread = {key for ddi in RATES for key in said.get(ddi, ())}
        laying = [(device, element) for device, element in found if spread & set(device.elements)]
        if found:
            return laying if len(laying) == 1 else _one_device(found, working)
    return []


def _one_device(found: list[tuple[Device, DeviceElement]], working: set[str]) -> list[tuple[Device, DeviceElement]]:
    """Several functions of one device stand for it where it states its own work state."""
    device = found[0][0]
    whole = [one for one in device.elements.values() if one.kind == DEVICE and one.key in working]
    alone = all(other is device and not element.sections() for other, element in found)
    return [(device, whole[0])] if len(found) > 1 and alone and whole else found


def _called(wanted: str, device: Device, element: DeviceElement) -> bool:
    names = (device.name, device.key, element.name, element.key)
    return wanted.strip().casefold() in {text.casefold() for text in names}


def _reason(pairs: Sequence[tuple[Device, DeviceElement]], wanted: str) -> str:
    if not pairs:
        which = f'of a device "{wanted}"' if wanted else "in the task data"
        return f"no work state {which} was logged (identifiers 141, 161 to 176)"
    names = ", ".join(f'"{device.name}" ({element.name or element.key})' for device, element in pairs)
    return f"several devices logged a work state: {names}; name one of them in track.device"


# --- changes ----------------------------------------------------------------------------------


def _changes(logs: Sequence[TimedLog], device: Device, element: DeviceElement, said: dict[int, set[str]]) -> Switches:
    found = Switches(device=device, element=element)
    sections = [_section_states(log, element, found.notes) for log in logs]
    count = _count(element, sections)
    together = any(said.get(ddi) for ddi in CONDENSED)
    found.boom = boom_of(device, element, count, together=together)
    above = [one for one in element.chain() if one.kind != SECTION and one.key in said.get(WORK_STATE, ())]
    for log, states in zip(logs, sections, strict=True):
        whole = _whole_states(log, above, found.notes)
        if states and not whole and above:
            whole = [(0, True)]  # this log leaves the whole boom's state out: its sections say all
        found.changes += _switch(log, 0, whole)
        for number in range(1, count + 1):
            found.changes += _switch(log, number, [(record, on.get(number - 1, False)) for record, on in states])
    found.changes.sort(key=lambda change: change.time_s)
    return found


def _section_states(log: TimedLog, element: DeviceElement, notes: Counter[str]) -> list[tuple[int, dict[int, bool]]]:
    """State of every installed section, by its place from the left, from each record that changes one."""
    events = [
        (record, _PER_VALUE * group + place, (value >> 2 * place) & 3)
        for group, ddi in enumerate(CONDENSED)
        for record, value in _anew(log.stated(ddi, element.key))
        for place in range(_PER_VALUE)
    ]
    if not events:
        own = enumerate(element.sections())
        events = [(record, place, value) for place, one in own for record, value in log.stated(WORK_STATE, one.key)]
    found: list[tuple[int, dict[int, bool]]] = []
    now: dict[int, bool] = {}
    for record, place, value in sorted(events):
        notes["section_state_error"] += int(value not in (0, 1, _NOT_INSTALLED))
        if value == _NOT_INSTALLED:
            now = {key: on for key, on in now.items() if key != place}
        else:
            now = {**now, place: value == _ON}
        if found and found[-1][0] == record:
            found.pop()
        found.append((record, now))
    return found


def _anew(stated: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Those of (record, value) that state another value than the one before."""
    found: list[tuple[int, int]] = []
    for one in stated:
        if not found or found[-1][1] != one[1]:
            found.append(one)
    return found


def _count(element: DeviceElement, logs: Iterable[list[tuple[int, dict[int, bool]]]]) -> int:
    """How many sections the boom has: those of the device, or as many as were ever said to be installed or on."""
    states = [on for log in logs for _, on in log]
    installed = max((place + 1 for on in states for place in on), default=0)
    ever_on = max((place + 1 for on in states for place, state in on.items() if state), default=0)
    described = len(element.sections())
    return max(min(installed, described), ever_on) if described else installed


def _whole_states(log: TimedLog, above: Iterable[DeviceElement], notes: Counter[str]) -> list[tuple[int, bool]]:
    """State of the boom as a whole: on when all that it belongs to, so far as stated, is on."""
    now: dict[str, bool] = {}
    found: list[tuple[int, bool]] = []
    for record, key, value in sorted(
        (record, one.key, value) for one in above for record, value in log.stated(WORK_STATE, one.key)
    ):
        notes["work_state_error"] += int(value not in (0, 1, _NOT_INSTALLED))
        if value == _NOT_INSTALLED:
            now.pop(key, None)
        else:
            now[key] = value == _ON
        found.append((record, bool(now) and all(now.values())))
    return found


def _switch(log: TimedLog, section: int, states: Iterable[tuple[int, bool]]) -> list[SwitchChange]:
    """Changes of one switch; what is on at the end of a log is off after it, until another log says so."""
    found: list[SwitchChange] = []
    for record, on in states:
        if found and found[-1].time_s == log.time_s[record]:
            found.pop()
        if not found or found[-1].on != on:
            found.append(SwitchChange(float(log.time_s[record]), section, on))
    if found and found[-1].on:
        found.append(SwitchChange(float(log.time_s[-1]), section, on=False))
    return found


def standing(log: TimedLog, ddi: int, element: str) -> FloatArray:
    """A logged value at every record, the last one stated standing; NaN before the first. Shape (n,)."""
    column = np.full(len(log.records), np.nan)
    for record, value in log.stated(ddi, element):
        column[record:] = value
    return column
