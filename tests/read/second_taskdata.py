"""A second decoder of ISO 11783-10 time logs, from the layout alone: slow, plain, one value after the other.

It shares nothing with the reader that the program uses: XML by ElementTree, numbers byte by byte.
"""

import datetime as dt
import xml.etree.ElementTree as ET
from decimal import Decimal

START = dt.datetime(1980, 1, 1, tzinfo=dt.UTC)
# attribute of PTN: bytes, signed
PLACE = [("A", 4, True), ("B", 4, True), ("C", 4, True), ("D", 1, False), ("E", 2, False), ("F", 2, False)]
PLACE += [("G", 1, False), ("H", 4, False), ("I", 2, False)]


class EndError(Exception):
    """The bytes end within a record."""


class Bytes:
    """Bytes that are taken from the front."""

    def __init__(self, data):
        self.data, self.at = data, 0

    def take(self, count, *, signed=False):
        """The next whole number of so many bytes."""
        part = self.data[self.at : self.at + count]
        if len(part) < count:
            raise EndError
        self.at += count
        return int.from_bytes(part, "little", signed=signed)


def moment(milliseconds, days):
    return START + dt.timedelta(days=days, milliseconds=milliseconds)


def decode(header, binary):
    """Records as dicts: local time, utc, lat, lon, status, and all values that stand, by (identifier, element)."""
    root = ET.fromstring(header)  # noqa: S314 - it is the encoder's own
    place = root.find("PTN").attrib
    columns = [(int(one.attrib["A"], 16), one.attrib["C"]) for one in root.findall("DLV")]
    stream, standing, found = Bytes(binary), {}, []
    while stream.at < len(binary):
        try:
            record = {"local": moment(stream.take(4), stream.take(2))}
            read = {}
            for name, count, signed in PLACE:
                if name in place:
                    read[name] = stream.take(count, signed=signed) if place[name] == "" else Decimal(place[name])
            for _ in range(stream.take(1)):
                column = columns[stream.take(1)]
                standing[column] = stream.take(4, signed=True)
        except EndError:
            break
        record |= {"lat": Decimal(read["A"]) / 10**7, "lon": Decimal(read["B"]) / 10**7, "status": read.get("D")}
        if read.get("I", 0xFFFF) != 0xFFFF:
            record["utc"] = moment(read["H"], read["I"])
        found.append(record | {"values": dict(standing)})
    return found


def section_on(record, element, section):
    """Whether section *section* (from 1, in the order of the condensed state) of *element* is on in a record."""
    group, place = divmod(section - 1, 16)
    value = record["values"].get((161 + group, element))
    return value is not None and (value // 4**place) % 4 == 1
