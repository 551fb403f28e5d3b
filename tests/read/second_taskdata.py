"""Task data of ISO 11783-10, read straight from the standard's layout: a referee for `read.taskdata`.

Written without a look at the reader or at the encoder of the tests, so that a layout misread by one of them shows. Slow
and strict on purpose: a record is what the header says it is, and the first one that does not end within the file ends
the reading.

Sources: the layout of a log record (milliseconds of the day as unsigned 32 bit, days since 1980-01-01 as unsigned 16
bit, local time; then what the header leaves open, then a count of values and their pairs) as ISO 11783-10:2015 has it,
from memory and from public answers about its "log data binary file structure". Entries 67, 134 to 136, 141 and 161 to
176 of the data dictionary (ISO 11783-11): www.isobus.net, "the leftmost ... are the 2 lowest significant bits", 00 off,
01 on, 10 error, 11 not installed. Kinds of polygon, line and device element, the codes of a position's status, and that
a number of ones alone is "not available": from memory.
"""

import struct
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import BytesIO
from xml.etree import ElementTree as ET

EPOCH = datetime(1980, 1, 1)  # noqa: DTZ001 - local time without a zone, as the standard has it
# name, struct code, factor to degrees, millimetres, or none: in the order of the PTN's attributes
POSITION = {
    "A": ("north", "i", 1e-7),
    "B": ("east", "i", 1e-7),
    "C": ("up", "i", 1),
    "D": ("status", "B", 1),
    "E": ("pdop", "H", 0.1),
    "F": ("hdop", "H", 0.1),
    "G": ("satellites", "B", 1),
    "H": ("utc_ms", "I", 1),
    "I": ("utc_days", "H", 1),
}
ALL_ONES = 0xFFFFFFFF
NO_POSITION = (0, 14)  # no fix, error; 15 says that the status itself is not available
CONDENSED = range(161, 177)


@dataclass(frozen=True)
class Record:
    """One record: local time, what the position says by name, values as (place in the header, value)."""

    local: datetime
    position: Mapping[str, float]
    values: tuple[tuple[int, int], ...]

    @property
    def placed(self) -> bool:
        """Whether there is a position on the globe that its status stands behind."""
        here = self.position
        if "north" not in here or "east" not in here or here.get("status", 1) in NO_POSITION:
            return False
        return abs(here["north"]) <= 90 and abs(here["east"]) <= 180 and (here["north"], here["east"]) != (0, 0)

    @property
    def utc(self) -> datetime | None:
        """What the position says of UTC."""
        if self.position.get("utc_ms", ALL_ONES) == ALL_ONES or "utc_days" not in self.position:
            return None
        moment = EPOCH + timedelta(days=self.position["utc_days"], milliseconds=self.position["utc_ms"])
        return moment.replace(tzinfo=UTC)


@dataclass(frozen=True)
class TimeLog:
    """A time log: (DDI, element) of each column, those of one value, records, their ends in the file, bytes left."""

    columns: tuple[tuple[int, str], ...]
    constants: Mapping[tuple[int, str], int]
    records: tuple[Record, ...]
    ends: tuple[int, ...]
    left_over: int

    def standing(self) -> list[dict[tuple[int, str], int]]:
        """At each record what every column says: a value stands until it changes."""
        now = dict(self.constants)
        all_of_them = []
        for record in self.records:
            now.update({self.columns[place]: value for place, value in record.values if place < len(self.columns)})
            all_of_them.append(dict(now))
        return all_of_them


@dataclass(frozen=True)
class Element:
    """A device element: its kind, its parent's object, and its fixed properties by DDI."""

    device: str
    kind: int
    number: int
    designator: str
    parent: str
    object_id: str
    properties: Mapping[int, int]


@dataclass(frozen=True)
class Task:
    """A task: its name, its time logs by file name, its field, workers and products by their identifiers."""

    name: str
    logs: tuple[str, ...]
    field: str
    workers: tuple[str, ...]
    products: tuple[str, ...]


@dataclass(frozen=True)
class TaskData:
    """Everything of one set of task data."""

    version: int
    tasks: tuple[Task, ...]
    elements: Mapping[str, Element]
    fields: Mapping[str, "Field"]
    names: Mapping[str, str]
    logs: Mapping[str, TimeLog]


@dataclass(frozen=True)
class Field:
    """A field: its name, and rings of (longitude, latitude) as (kind of polygon, kind of line, ring)."""

    name: str
    rings: tuple[tuple[int, int, tuple[tuple[float, float], ...]], ...]


def unzip(data: bytes) -> dict[str, bytes]:
    """A zip's files by base name in capitals."""
    with zipfile.ZipFile(BytesIO(data)) as archive:
        return {name.rsplit("/", 1)[-1].upper(): archive.read(name) for name in archive.namelist()}


def header(
    xml: bytes,
) -> tuple[list[tuple[str, str, float]], dict[str, float], tuple[tuple[int, str], ...], dict[tuple[int, str], int]]:
    """What a header says: fields of the position in the file, fixed ones, columns, columns of one value."""
    root = ET.fromstring(xml)  # noqa: S314 - the tests wrote it
    time = root if root.tag == "TIM" else root.find("TIM")
    if time is None or time.get("A") != "":
        raise ValueError("no start time in the records")
    point = time.find("PTN")
    given = {} if point is None else point.attrib
    moving = [POSITION[name] for name in POSITION if given.get(name) == ""]
    fixed = {POSITION[name][0]: float(given[name]) for name in POSITION if given.get(name, "") != ""}
    values = time.findall("DLV")
    columns = tuple((int(value.get("A", ""), 16), value.get("C", "")) for value in values)
    return (
        moving,
        fixed,
        columns,
        {column: int(value.get("B", "")) for column, value in zip(columns, values, strict=True) if value.get("B", "")},
    )


def time_log(xml: bytes, binary: bytes) -> TimeLog:
    """Read one time log, up to the last whole record."""
    moving, fixed, columns, constants = header(xml)
    front = struct.Struct("<IH" + "".join(code for _, code, _ in moving) + "B")
    at, records, ends = 0, [], []
    while at + front.size <= len(binary):
        milliseconds, days, *numbers, count = front.unpack_from(binary, at)
        after = at + front.size + 5 * count
        if after > len(binary):
            break
        pairs = tuple(struct.unpack_from("<Bi", binary, at + front.size + 5 * each) for each in range(count))
        here = {name: number * factor for (name, _, factor), number in zip(moving, numbers, strict=True)}
        records.append(Record(EPOCH + timedelta(days=days, milliseconds=milliseconds), fixed | here, pairs))
        ends.append(after)
        at = after
    return TimeLog(columns, constants, tuple(records), tuple(ends), len(binary) - at)


def sections_on(standing: Mapping[tuple[int, str], int], element: str) -> dict[int, bool | None]:
    """Sections of an element that are installed, by number from the left, 0 first: on, off, or None when in error."""
    found: dict[int, bool | None] = {}
    for nth, entry in enumerate(CONDENSED):
        value = standing.get((entry, element))
        for place in range(16) if value is not None else ():
            state = (value >> (2 * place)) & 3
            if state != 3:
                found[16 * nth + place] = {0: False, 1: True, 2: None}[state]
    return found


def _gather(files: Mapping[str, bytes]) -> tuple[ET.Element, list[ET.Element]]:
    """Root of the set, and all that stands in it or in a file it refers to."""
    root = ET.fromstring(files["TASKDATA.XML"])  # noqa: S314
    items = []
    for child in root:
        if child.tag == "XFR":
            items += list(ET.fromstring(files[child.get("A", "").upper() + ".XML"]))  # noqa: S314
        else:
            items.append(child)
    return root, items


def _elements(device: ET.Element) -> dict[str, Element]:
    """Elements of one device by identifier."""
    fixed = {one.get("A"): (int(one.get("B", ""), 16), int(one.get("C", ""))) for one in device.findall("DPT")}
    found = {}
    for one in device.findall("DET"):
        pointed = [reference.get("A") for reference in one.findall("DOR")]
        found[one.get("A", "")] = Element(
            device.get("A", ""),
            int(one.get("C", "0")),
            int(one.get("E", "0")),
            one.get("D", ""),
            one.get("F", ""),
            one.get("B", ""),
            dict(fixed[each] for each in pointed if each in fixed),
        )
    return found


def _rings(field: ET.Element) -> tuple[tuple[int, int, tuple[tuple[float, float], ...]], ...]:
    """Rings of a field's polygons."""
    return tuple(
        (
            int(polygon.get("A", "")),
            int(line.get("A", "")),
            tuple((float(point.get("D", "")), float(point.get("C", ""))) for point in line.findall("PNT")),
        )
        for polygon in field.findall("PLN")
        for line in polygon.findall("LSG")
    )


def task_data(files: Mapping[str, bytes]) -> TaskData:
    """Read a set of task data, its files by name in capitals."""
    root, items = _gather(files)
    elements: dict[str, Element] = {}
    for device in (each for each in items if each.tag == "DVC"):
        elements |= _elements(device)
    tasks = tuple(
        Task(
            each.get("B", ""),
            tuple(log.get("A", "").upper() for log in each.findall("TLG")),
            each.get("E", ""),
            tuple(worker.get("A", "") for worker in each.findall("WAN")),
            tuple(product.get("A", "") for product in each.findall("PAN")),
        )
        for each in items
        if each.tag == "TSK"
    )
    names = {each.get("A", ""): each.get("B", "") for each in items if each.tag in ("PDT", "CTR", "FRM", "DVC")}
    names |= {
        each.get("A", ""): f"{each.get('C', '')} {each.get('B', '')}".strip() for each in items if each.tag == "WKR"
    }
    logs = {
        name: time_log(files[name + ".XML"], files[name + ".BIN"])
        for task in tasks
        for name in task.logs
        if name + ".BIN" in files
    }
    fields = {each.get("A", ""): Field(each.get("C", ""), _rings(each)) for each in items if each.tag == "PFD"}
    return TaskData(int(root.get("VersionMajor", "0")), tasks, elements, fields, names, logs)
