"""Whether two PDFs draw the same and hold the same record, byte for byte, however their library laid them out.

A version of the library numbers its objects in another order, describes the attached record inside the catalog or
beside it, and writes a date in one of two ways. All else must be the same bytes, and nothing may stand in the file
that is not reached from its root: no update, no second object of a number, no word between two objects.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_HEAD = re.compile(rb"%PDF-1\.[3-7]\n(?:%[\x80-\xff]{4}\n)?")
_OBJECT = re.compile(rb"([1-9][0-9]{0,5}) 0 obj\n(<<\n.*?\n>>\n)(?=stream\n|endobj\n)", re.DOTALL)
_STREAM = re.compile(rb"\n/Length ([1-9][0-9]{0,7})\n")
_TRAILER = re.compile(
    rb"trailer\n<<\n/Size ([0-9]+)\n/Root ([0-9]+) 0 R\n/Info ([0-9]+) 0 R\n"
    rb"(?:/ID \[<([0-9A-F]{32})><\4>\]\n)?>>\nstartxref\n([0-9]+)\n%%EOF\n"
)
_REFERENCE = re.compile(rb"(?<![0-9])([1-9][0-9]{0,5}) 0 R(?![0-9A-Za-z])")
_FILE = re.compile(
    rb"<<\n/Desc (\([^()]*\))\n/EF <</F ([0-9]+ 0 R)>>\n/F (\([^()]*\))\n/Type /Filespec\n/UF (\([^()]*\))\n>>\n"
)
_NAMED = re.compile(rb"(?<=\) )([1-9][0-9]{0,5}) 0 R(?=\]>>>>\n)")
_ASSOCIATED = re.compile(rb"(?<=\n)/AF \[([1-9][0-9]{0,5}) 0 R\]\n")


@dataclass(frozen=True)
class _Document:
    bodies: dict[int, bytes]
    root: int
    info: int


def same_drawing(one: bytes, other: bytes) -> bool:
    """Whether both PDFs draw the same pages and hold the same record."""
    first, second = _expanded(one), _expanded(other)
    return first is not None and first == second


def _expanded(data: bytes) -> list[bytes] | None:
    """Objects in the order that root and information lead to them, references by that order; None if more is there."""
    found = _document(data)
    if found is None:
        return None
    place: dict[int, bytes] = {}
    waiting = [found.info, found.root]
    while waiting:
        number = waiting.pop()
        if number not in found.bodies:
            return None
        if number not in place:
            place[number] = b"#%d" % len(place)
            waiting += reversed([int(one) for one in _REFERENCE.findall(_structure(found.bodies[number]))])
    if len(place) < len(found.bodies):
        return None
    return [_renumbered(found.bodies[number], place) for number in place]


def _structure(body: bytes) -> bytes:
    """The dictionary of an object, without the content of its stream."""
    return body.partition(b">>\nstream\n")[0]


def _renumbered(body: bytes, place: dict[int, bytes]) -> bytes:
    head = _structure(body)
    return _REFERENCE.sub(lambda found: place[int(found[1])], head) + body[len(head) :]


def _document(data: bytes) -> _Document | None:
    """The objects of *data* when they, their table and its end are the whole of it."""
    head = _HEAD.match(data)
    at = head.end() if head else 0
    bodies: dict[int, bytes] = {}
    starts: dict[int, int] = {}
    while head and (found := _OBJECT.match(data, at)):
        number, end = int(found[1]), found.end()
        if length := _STREAM.search(found[2]):
            end += len(b"stream\n") + int(length[1]) + len(b"\nendstream\n")
            if not data.startswith(b"stream\n", found.end()) or data[end - 11 : end] != b"\nendstream\n":
                return None
        if number in bodies or not data.startswith(b"endobj\n", end):
            return None
        starts[number], bodies[number] = at, data[found.start(2) : end]
        at = end + len(b"endobj\n")
    rows = b"".join(b"%010d 00000 n \n" % starts[number] for number in sorted(starts))
    table = b"xref\n0 %d\n0000000000 65535 f \n%s" % (len(starts) + 1, rows)
    last = _TRAILER.fullmatch(data, at + len(table))
    if last is None or not data.startswith(table, at) or set(starts) != set(range(1, len(starts) + 1)):
        return None
    if (int(last[1]), int(last[5])) != (len(starts) + 1, at):
        return None
    return _plain(_Document(bodies, int(last[2]), int(last[3])))


def _plain(found: _Document) -> _Document | None:
    """*found* as the older versions of the library lay it out: the record is described inside the catalog."""
    bodies = dict(found.bodies)
    catalog = bodies.get(found.root, b"")
    if named := _NAMED.search(catalog):
        file = _FILE.fullmatch(bodies.pop(int(named[1]), b""))
        if file is None or file[3] != file[4]:
            return None
        inside = b"<</Type /Filespec /F %s /EF <</F %s>> /Desc %s>>" % (file[3], file[2], file[1])
        catalog = catalog[: named.start()] + inside + catalog[named.end() :]
        if (associated := _ASSOCIATED.search(catalog)) and associated[1] == named[1]:
            catalog = catalog[: associated.start()] + catalog[associated.end() :]
        bodies[found.root] = catalog
    for number, body in bodies.items():
        if b"\n/Type /EmbeddedFile\n" in _structure(body):
            bodies[number] = body.replace(b"\n/Subtype /application#2Fjson\n", b"\n", 1)
    if found.info in bodies:
        bodies[found.info] = bodies[found.info].replace(b"00Z00'00')\n", b"00Z)\n", 1)
    return _Document(bodies, found.root, found.info)
