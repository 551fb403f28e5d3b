"""The devices of task data: their elements, where those sit, and the boom's sections from left to right.

Places are counted from the device's reference point, x forward and y to the right, in millimetres (ISO 11783-10).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from coverage_audit.facts import Caution
from coverage_audit.read.records import Machine

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from coverage_audit.read.xml import Element

WIDTH, MOST_WIDTH, OFFSET_X, OFFSET_Y = 67, 70, 134, 135
"""Data dictionary identifiers: actual and maximum working width, offsets of an element. [mm]"""

DEVICE, FUNCTION, SECTION, NAVIGATION = 1, 2, 4, 7
"""Types of a device element that matter here."""

EDGE_MM = 50
"""Sections whose edges lie farther apart than this leave a gap, or overlap. [mm] Widths are rounded to nozzles."""


@dataclass
class DeviceElement:
    """One element of a device; ``facts`` are its properties, and what was logged of it where it has none."""

    key: str
    kind: int
    name: str
    number: int
    above: DeviceElement | None = None
    below: list[DeviceElement] = field(default_factory=list)
    facts: dict[int, int] = field(default_factory=dict)

    def chain(self) -> list[DeviceElement]:
        """The element and all it belongs to."""
        found, one = [self], self.above
        while one is not None and one not in found:
            found.append(one)
            one = one.above
        return found

    def sections(self) -> list[DeviceElement]:
        """The sections directly in it from left to right: by where they sit, and where not all say so, by number."""
        found = sorted((one for one in self.below if one.kind == SECTION), key=lambda one: one.number)
        if any(one.facts.get(OFFSET_Y) is None for one in found):
            return found
        return sorted(found, key=lambda one: one.facts[OFFSET_Y])

    @property
    def width_mm(self) -> int | None:
        """Working width as the device states it."""
        width = self.facts.get(WIDTH) or self.facts.get(MOST_WIDTH)
        return width if width and width > 0 else None


@dataclass
class Device:
    """One device: its key, its name for people, and its elements by key."""

    key: str
    name: str
    elements: dict[str, DeviceElement]


def devices_of(entries: Iterable[Element]) -> list[Device]:
    """Devices of the index."""
    return [_device(entry) for entry in entries]


def _device(entry: Element) -> Device:
    properties = {one["A"]: (_whole(one["B"], 16), _whole(one["C"])) for one in entry.all("DPT")}
    elements: dict[str, DeviceElement] = {}
    by_object: dict[str, DeviceElement] = {}
    for one in entry.all("DET"):
        element = DeviceElement(one["A"], _whole(one["C"]) or 0, one["D"], _whole(one["E"]) or 0)
        for reference in one.all("DOR"):
            ddi, value = properties.get(reference["A"], (None, None))
            if ddi is not None and value is not None:
                element.facts[ddi] = value
        elements[element.key] = element
        by_object[one["B"]] = element
    for one in entry.all("DET"):
        above = by_object.get(one["F"])
        element = elements[one["A"]]
        if above is not None and above is not element:
            element.above = above
            above.below.append(element)
    return Device(entry["A"], entry["B"] or entry["A"], elements)


def _whole(text: str, base: int = 10) -> int | None:
    try:
        return int(text, base)
    except ValueError:
        return None


def add_logged(device: Device, first: Mapping[tuple[int, str], int]) -> None:
    """Take what a log states of widths and offsets, by (identifier, element), where the device has none of it."""
    for (ddi, key), value in first.items():
        if ddi in (WIDTH, MOST_WIDTH, OFFSET_X, OFFSET_Y) and key in device.elements:
            device.elements[key].facts.setdefault(ddi, value)


# --- the boom ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Boom:
    """A boom's geometry: None where the device does not state how wide every section is and where it sits.

    ``told`` says what was taken on trust.
    """

    machine: Machine | None
    told: tuple[Caution, ...] = ()


def boom_of(device: Device, element: DeviceElement, count: int, *, together: bool) -> Boom:
    """The boom of *element* with *count* sections that state something; *together*: in condensed states alone."""
    sections = element.sections()[:count]
    placed = [middle for one in sections if (middle := one.facts.get(OFFSET_Y)) is not None]
    if len(placed) < count:
        if count <= 1:
            return Boom(_alone(device, element))
        unplaced = Caution("sections unplaced", device=device.name)
        return Boom(None, () if together else (unplaced,))
    told = []
    if together and [one.number for one in sections] != sorted(one.number for one in sections):
        told.append(Caution("sections numbered otherwise", device=device.name))
    stated = [width for one in sections if (width := one.width_mm) is not None]
    if not stated or len(stated) < count:
        return Boom(None, tuple(told))
    gaps = [b - a - (u + v) / 2 for a, b, u, v in zip(placed, placed[1:], stated, stated[1:], strict=False)]
    if any(abs(gap) > EDGE_MM for gap in gaps):
        told.append(Caution("sections apart", device=device.name, apart_m=max(gaps, key=abs) / 1000))
    left, right = placed[0] - stated[0] / 2, placed[-1] + stated[-1] / 2
    ahead = [one.facts.get(OFFSET_X) for one in sections]
    return Boom(_machine(device, stated, (left + right) / 2, ahead), tuple(told))


def _alone(device: Device, element: DeviceElement) -> Machine | None:
    """A boom without sections, where its width is stated."""
    for one in element.chain():
        if one.width_mm is not None:
            return _machine(device, [one.width_mm], one.facts.get(OFFSET_Y, 0), [one.facts.get(OFFSET_X)])
    return None


def _machine(device: Device, widths_mm: list[int], middle_mm: float, ahead_mm: list[int | None]) -> Machine:
    """The boom with the antenna where the same device states one: of two devices nobody knows how they are hitched."""
    antenna = next((one for one in device.elements.values() if one.kind == NAVIGATION), None)
    x, y = (antenna.facts.get(OFFSET_X), antenna.facts.get(OFFSET_Y)) if antenna else (None, None)
    known = [value for value in ahead_mm if value is not None]
    placed = x is not None and len(known) == len(ahead_mm) and max(known) - min(known) <= EDGE_MM
    return Machine(
        device.name,
        tuple(width / 1000 for width in widths_mm),
        antenna_ahead_m=(x - sum(known) / len(known)) / 1000 if placed and x is not None else None,
        antenna_right_m=(y - middle_mm) / 1000 if y is not None else None,
    )
