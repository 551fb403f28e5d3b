"""Runs of plain track points, taken out of the XML in one go: the parser then walks over what is left.

Nearly all of a log is points written in one way; a parser that calls back for each of their parts takes ten times as
long as finding them. Whatever is not written so is left for the parser, which also places and counts the runs.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

RUN = "run-of-points"
"""Element that stands for a run; its attribute ``n`` tells of how many points."""

_GAP = rb"[ \t\r\n]"
_TAG = b"<" + RUN.encode() + b' n="%d"/>'
_POINT = (
    rb'<trkpt_+lat="([-+.\d]+)"_+lon="([-+.\d]+)"_*>_*'
    rb"(?:<ele>([-+.\d]+)</ele>_*)?<time>([-+:.\dTZ]*)</time>_*</trkpt>_*"
).replace(b"_", _GAP)
_ONE = re.compile(_POINT)
_MANY = re.compile(b"(?:" + _POINT.replace(b"([", b"(?:[") + b")++")
_ENCODING = re.compile(rb"""(?:\xef\xbb\xbf)?<\?xml[^>]*?\sencoding\s*=\s*["']([\w.-]*)["']""")
_LIKE_ASCII = {b"utf-8", b"us-ascii", b"iso-8859-1"}


@dataclass(frozen=True)
class Points:
    """Texts of the points of all runs, in the order of the file; ``ele`` is "" where there is none."""

    lat: list[str] = field(default_factory=list)
    lon: list[str] = field(default_factory=list)
    ele: list[str] = field(default_factory=list)
    time: list[str] = field(default_factory=list)


def without_runs(data: bytes) -> tuple[bytes, Points]:
    """*data* with an element and the same line ends in place of each run, and the points of all runs.

    A comment, a CDATA section or an entity may hold what only looks like a point, and an encoding may read other
    letters: such a file is given back as it is.
    """
    stated = _ENCODING.match(data)
    if b"<!" in data or RUN.encode() in data or (stated and stated[1].lower() not in _LIKE_ASCII):
        return data, Points()
    found = _ONE.findall(data)
    if not found:
        return data, Points()
    columns = (b"\n".join(column).decode("ascii").split("\n") for column in zip(*found, strict=True))
    return _MANY.sub(_element, data), Points(*columns)


def _element(run: re.Match[bytes]) -> bytes:
    """Its first point apart: damage that begins with it must not hide that others follow."""
    text = run[0]
    lines = text.count(b"\n")
    if b"\r" in text:
        lines += text.count(b"\r") - text.count(b"\r\n")
    more = text.count(b"<trkpt") - 1
    return (_TAG % 1) + (_TAG % more if more else b"") + b"\n" * lines
