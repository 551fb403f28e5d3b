"""One time log of ISO 11783-10: the header (an XML file) says which values each record of the binary file holds.

A record is, little-endian and without padding: time of day in milliseconds (32 bits) and days since 1980-01-01 (16);
those attributes of the position that stand empty in the header, in the order of ``POSITION``; the number of logged
values (8), and for each its place in the header (8) and the value (32, signed). What an attribute of the header gives
a value to holds for the whole log and is in no record.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.read.xml import tree_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.arrays import IntArray

POSITION = {
    "A": ("north", "i"),
    "B": ("east", "i"),
    "C": ("up", "i"),
    "D": ("status", "B"),
    "E": ("pdop", "H"),
    "F": ("hdop", "H"),
    "G": ("satellites", "B"),
    "H": ("utc_ms", "I"),
    "I": ("utc_day", "H"),
}
"""Attribute of the position in the header: name here, and code of the ``struct`` library in the record."""

DAY_MS = 86_400_000
DEGREE = 10_000_000  # places are counted in 1e-7 degrees
MAX_SKIPPED = 1_000_000
"""More bytes than this that are no record make no time log. [byte] A job of a day has some megabytes."""

_LEAP_MS = 1_000  # a second more on days with a leap second
_ENTRY = struct.Struct("<Bi")
_CLOCK = struct.Struct("<IH")


@dataclass(frozen=True)
class LoggedValue:
    """One column of a time log: data dictionary identifier, device element, and its value where it never changes."""

    ddi: int
    element: str
    constant: int | None


@dataclass(frozen=True)
class Header:
    """``fields`` of the position that stand in every record, with their codes; ``constants`` those that do not."""

    fields: tuple[tuple[str, str], ...]
    constants: Mapping[str, int]
    values: tuple[LoggedValue, ...]


@dataclass(frozen=True, eq=False)
class Records:
    """Whole records in the order of the file.

    ``day_ms`` and ``day``, shape (n,), are the terminal's clock. ``position`` has an array of shape (n,) for every name
    that the header knows. ``values`` has, by place in the header, the numbers of the records that state it and what
    they state. ``torn``: the last record was cut off; ``skipped``: bytes that are no record; ``misfits``: logged values
    of a place that the header does not have.
    """

    header: Header
    day_ms: IntArray
    day: IntArray
    position: Mapping[str, IntArray]
    values: Mapping[int, tuple[IntArray, IntArray]]
    torn: bool = False
    skipped: int = 0
    breaks: int = 0
    misfits: int = 0

    def __len__(self) -> int:
        return len(self.day_ms)


def header_of(data: bytes, file: str) -> Header:
    """Header of a time log.

    Raises
    ------
    InputError
        Broken XML, another root than TIM, or an attribute that is no number.
    """
    root = tree_of(data, file)
    if root.tag != "TIM":
        raise InputError("it is no header of a time log (TIM); copy the task data again", file)
    fields: list[tuple[str, str]] = []
    constants: dict[str, int] = {}
    for position in root.all("PTN")[:1]:
        for attribute, (name, code) in POSITION.items():
            if attribute not in position.attributes:
                continue
            if text := position[attribute]:
                constants[name] = round(_number(text, file) * (DEGREE if attribute in "AB" else 1))
            else:
                fields.append((name, code))
    values = []
    for one in root.all("DLV"):
        constant = round(_number(one["B"], file)) if one["B"] else None
        values.append(LoggedValue(_hex(one["A"], file), one["C"], constant))
    return Header(tuple(fields), constants, tuple(values))


def _number(text: str, file: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) <= 2**32:
        raise InputError(f'"{text[:20]}" in it is no number; copy the task data again', file)
    return value


def _hex(text: str, file: str) -> int:
    try:
        return int(text, 16)
    except ValueError:
        raise InputError(f'"{text[:20]}" in it names no logged value; copy the task data again', file) from None


# --- records ----------------------------------------------------------------------------------


@dataclass
class _Layout:
    """Where records begin and end in the bytes."""

    data: bytes
    fixed: struct.Struct
    entries: int

    def end(self, at: int) -> int | None:
        """Where the record that begins at *at* ends; None where the bytes run out before."""
        count_at = at + self.fixed.size - 1
        if count_at >= len(self.data):
            return None
        end = at + self.fixed.size + _ENTRY.size * self.data[count_at]
        return end if end <= len(self.data) else None

    def sound(self, at: int) -> bool:
        """Whether the bytes at *at* can be a clock."""
        return at + _CLOCK.size <= len(self.data) and _CLOCK.unpack_from(self.data, at)[0] <= DAY_MS + _LEAP_MS

    def day(self, at: int) -> int:
        """Day that the clock at *at* shows."""
        return int(_CLOCK.unpack_from(self.data, at)[1])

    def starts(self, at: int, day: int | None) -> bool:
        """Whether a record begins at *at*: on the *day* before or next to it, or followed by another of its own day."""
        if not self.sound(at):
            return False
        if day is not None and abs(self.day(at) - day) <= 1:
            return True
        end = self.end(at)
        if end is None or end == len(self.data):
            return end is not None and day is None
        return self.sound(end) and abs(self.day(end) - self.day(at)) <= 1

    def found_again(self, at: int, day: int | None) -> int:
        """First place from *at* on where a record begins whose values all stand in the header; else the end."""
        for place in range(at, min(at + MAX_SKIPPED + 1, len(self.data))):
            if self.starts(place, day) and (end := self.end(place)) is not None and self._fits(place, end):
                return place
        return min(at + MAX_SKIPPED + 1, len(self.data))

    def _fits(self, at: int, end: int) -> bool:
        """Whether the values between are each of another place of the header."""
        numbers = self.data[at + self.fixed.size : end : _ENTRY.size]
        return len(set(numbers)) == len(numbers) and all(number < self.entries for number in numbers)

    def trusted_end(self, at: int) -> int | None:
        """Where the record at *at* ends, where its values fit or another record follows; else None."""
        end = self.end(at)
        if end is None or self._fits(at, end) or (end < len(self.data) and self.starts(end, self.day(at))):
            return end
        return None


def records_of(header: Header, data: bytes, file: str) -> Records:
    """Records of the binary file; what is no record is skipped and counted, a record cut off at the end is not read.

    Raises
    ------
    InputError
        More than ``MAX_SKIPPED`` bytes of it are no record.
    """
    fixed = struct.Struct("<IH" + "".join(code for _, code in header.fields) + "B")
    layout = _Layout(data, fixed, len(header.values))
    rows: list[tuple[int, ...]] = []
    stated: dict[int, tuple[list[int], list[int]]] = {}
    at, day = 0, None
    torn, skipped, breaks, misfits = False, 0, 0, 0
    while at < len(data):
        end = layout.trusted_end(at) if layout.starts(at, day) else None
        if end is None:
            place = layout.found_again(at + 1, day)
            torn = place == len(data) and (layout.sound(at) or len(data) - at < _CLOCK.size)
            if torn:
                break
            skipped, breaks, at = skipped + place - at, breaks + 1, place
            if skipped > MAX_SKIPPED:
                raise InputError("it is no time log, or not the one of this header; copy the task data again", file)
            continue
        for number, value in _ENTRY.iter_unpack(data[at + fixed.size : end]):
            if number < len(header.values):
                where, what = stated.setdefault(number, ([], []))
                where.append(len(rows))
                what.append(value)
            else:
                misfits += 1
        rows.append(fixed.unpack_from(data, at))
        day, at = rows[-1][1], end
    columns = np.array(rows, np.int64).reshape(-1, 3 + len(header.fields)).T
    position = {name: column for (name, _), column in zip(header.fields, columns[2:], strict=False)}
    position |= {name: np.full(len(rows), value, np.int64) for name, value in header.constants.items()}
    values = {key: (np.array(where), np.array(what)) for key, (where, what) in stated.items()}
    return Records(header, columns[0], columns[1], position, values, torn, skipped, breaks, misfits)
