"""Task data of ISO 11783-10 written from what is to be in it, value by value: the encoder of the tests.

Bytes are put together one field after the other, by hand, so that nothing is shared with the reader.
"""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass, field
from xml.sax.saxutils import quoteattr

DAY_MS = 86_400_000
FIRST_DAY_S = 315_532_800  # 1980-01-01, in seconds since 1970
WIDTHS = {"A": 4, "B": 4, "C": 4, "D": 1, "E": 2, "F": 2, "G": 1, "H": 4, "I": 2}
"""Bytes of each attribute of the position, in the order in which they stand in a record."""


def little(value, count):
    """*value* in so many bytes, the lowest first; negative ones as the two's complement."""
    return bytes((value >> 8 * place) & 0xFF for place in range(count))


def clock(time_s):
    """(milliseconds of the day, days since 1980) of seconds since 1970."""
    days, rest = divmod(round(time_s * 1000) - FIRST_DAY_S * 1000, DAY_MS)
    return rest, days


@dataclass
class Fix:
    """One record: seconds since 1970 on the terminal's clock, degrees, the UTC if it is logged, values by column."""

    time_s: float
    lat: float
    lon: float
    values: dict = field(default_factory=dict)
    utc_s: float | None = None
    status: int = 4
    hdop: int = 8
    satellites: int = 12


@dataclass
class TimeLog:
    """A time log: columns (identifier, element) and fixes; ``fixed`` gives attributes a value for the whole log."""

    name: str
    columns: list
    fixes: list
    attributes: str = "ABCDEFGHI"
    fixed: dict = field(default_factory=dict)

    def header(self):
        """The header file."""
        place = " ".join(f'{one}="{self.fixed.get(one, "")}"' for one in self.attributes)
        lines = [f'<DLV A="{ddi:04X}" B="" C="{element}"/>' for ddi, element in self.columns]
        return '<?xml version="1.0"?>\n<TIM A="" D="4"><PTN ' + place + "/>" + "".join(lines) + "</TIM>"

    def record(self, one):
        """Bytes of one record."""
        utc = (0xFFFFFFFF, 0xFFFF) if one.utc_s is None else clock(one.utc_s)
        stated = {
            "A": round(one.lat * 1e7), "B": round(one.lon * 1e7), "C": 250_000, "D": one.status, "E": 15,
            "F": one.hdop, "G": one.satellites, "H": utc[0], "I": utc[1],
        }  # fmt: skip
        now = clock(one.time_s)
        out = little(now[0], 4) + little(now[1], 2)
        out += b"".join(little(stated[key], WIDTHS[key]) for key in self.attributes if key not in self.fixed)
        out += little(len(one.values), 1)
        return out + b"".join(little(column, 1) + little(value, 4) for column, value in one.values.items())

    def binary(self):
        """The binary file."""
        return b"".join(self.record(one) for one in self.fixes)


def condensed(states, not_installed=3):
    """Value of a condensed work state: two bits a section, the first lowest; sections beyond are not installed."""
    value = 0
    for place in range(16):
        value |= (int(states[place]) if place < len(states) else not_installed) << 2 * place
    return value - (1 << 32) if value >= 1 << 31 else value


def element(key, number, kind, name, above, facts=()):
    """(DET, its DPTs) of a device element; *facts* are (identifier, value)."""
    base = 1000 + 10 * number
    references = "".join(f'<DOR A="{base + place}"/>' for place in range(len(facts)))
    det = f'<DET A="{key}" B="{number + 1}" C="{kind}" D={quoteattr(name)} E="{number}" F="{above}">{references}</DET>'
    return det, "".join(f'<DPT A="{base + place}" B="{d:04X}" C="{v}"/>' for place, (d, v) in enumerate(facts))


def device(key, name, elements):
    """DVC of elements as :func:`element` makes them."""
    dets, dpts = zip(*elements, strict=True)
    return f'<DVC A="{key}" B={quoteattr(name)} D="A00000000000001">{"".join(dets)}{"".join(dpts)}</DVC>'


def sprayer(key="DVC-1", name="Linnet sprayer", widths_mm=(3000, 3000, 3000), *, reverse=False, antenna=None, first=1):
    """A sprayer: device, boom, and sections from the left; reversed, the first section is the right-most."""
    left = -sum(widths_mm) / 2
    middles = []
    for width in widths_mm:
        middles.append(round(left + width / 2))
        left += width
    order = list(zip(middles, widths_mm, strict=True))
    if reverse:
        order.reverse()
    elements = [
        element(f"DET-{first}", 0, 1, name, 0),
        element(f"DET-{first + 1}", 1, 2, "Boom", 1, [(70, sum(widths_mm))]),
    ]
    for number, (middle, width) in enumerate(order):
        facts = [(134, -2500), (135, middle), (67, width)]
        elements.append(element(f"DET-{first + 2 + number}", 2 + number, 4, f"Section {number + 1}", 2, facts))
    if antenna is not None:
        number = 2 + len(widths_mm)
        elements.append(
            element(f"DET-{first + number}", number, 7, "Antenna", 1, [(134, antenna[0]), (135, antenna[1])])
        )
    return device(key, name, elements)


def polygon(kind, rings, name=""):
    """PLN of rings of (lon, lat), the first outside."""
    lines = []
    for number, ring in enumerate(rings):
        points = "".join(f'<PNT A="2" C="{lat:.9f}" D="{lon:.9f}"/>' for lon, lat in ring)
        lines.append(f'<LSG A="{1 if number == 0 else 2}">{points}</LSG>')
    return f'<PLN A="{kind}" B={quoteattr(name)}>{"".join(lines)}</PLN>'


def partfield(key, name, polygons):
    """PFD of polygons."""
    return f'<PFD A="{key}" C={quoteattr(name)} D="10000">{"".join(polygons)}</PFD>'


def task(key, name, logs, *, field_key="", products=(), workers=()):
    """TSK with its time logs, allocations of products and workers."""
    inner = "".join(f'<TLG A="{one}" C="1"/>' for one in logs)
    inner += "".join(f'<PAN A="{one}"/>' for one in products) + "".join(f'<WAN A="{one}"/>' for one in workers)
    return f'<TSK A="{key}" B={quoteattr(name)} E="{field_key}" G="4">{inner}</TSK>'


def index(*entries, version=(4, 3)):
    """TASKDATA.XML."""
    head = f'<ISO11783_TaskData VersionMajor="{version[0]}" VersionMinor="{version[1]}" DataTransferOrigin="2">'
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + head + "\n".join(entries) + "</ISO11783_TaskData>"


def external(*entries):
    """A file that the index refers to by XFR."""
    return '<?xml version="1.0" encoding="UTF-8"?>\n<XFC>' + "".join(entries) + "</XFC>"


def folder(text, logs, others=None, *, place="TASKDATA/", lower=False):
    """Files by name: index, header and binary of every log, and others."""
    ending = (".xml", ".bin") if lower else (".XML", ".BIN")
    files = {f"{place}TASKDATA.XML": text.encode()}
    for one in logs:
        files[f"{place}{one.name}{ending[0]}"] = one.header().encode()
        files[f"{place}{one.name}{ending[1]}"] = one.binary()
    return files | {f"{place}{name}": data.encode() for name, data in (others or {}).items()}


def packed(files):
    """A zip file of files by name."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()
