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
    rb'<trkpt_+lat="[-+.\d]+"_+lon="[-+.\d]+"_*>_*'
    rb"(?:<ele>[-+.\d]+</ele>_*)?<time>[-+:.\dTZ]*</time>_*</trkpt>_*"
).replace(b"_", _GAP)
_MANY = re.compile(b"(?:" + _POINT + b")++")
_HEIGHT = re.compile(r"(?:<ele>([-+.\d]+)</ele>[ \t\r\n]*)?<time>")
_TIME = re.compile(r"<time>([^<]*)")
_ENCODING = re.compile(rb"""(?:\xef\xbb\xbf)?<\?xml[^>]*?\sencoding\s*=\s*["']([\w.-]*)["']""")
_LIKE_ASCII = {b"utf-8", b"us-ascii", b"iso-8859-1"}


@dataclass(frozen=True)
class Points:
    """Texts of the points of all runs, in the order of the file; ``ele`` is "" where there is none."""

    lat: list[str] = field(default_factory=list)
    lon: list[str] = field(default_factory=list)
    ele: list[str] = field(default_factory=list)
    time: list[str] = field(default_factory=list)

    def add(self, run: str) -> int:
        """Add the points of *run*, which is known to be written as ``_POINT`` says; how many they are."""
        quoted = run.split('"')
        self.lat.extend(quoted[1::4])
        self.lon.extend(quoted[3::4])
        time = _TIME.findall(run)
        self.time.extend(time)
        self.ele.extend(_HEIGHT.findall(run) if "<ele>" in run else [""] * len(time))
        return len(time)


def without_runs(data: bytes) -> tuple[bytes, Points]:
    """*data* with an element and the same line ends in place of each run, and the points of all runs.

    A comment, a CDATA section or an entity may hold what only looks like a point, and an encoding may read other
    letters: such a file is given back as it is.
    """
    points = Points()
    stated = _ENCODING.match(data)
    if b"<!" in data or RUN.encode() in data or (stated and stated[1].lower() not in _LIKE_ASCII):
        return data, points
    return _MANY.sub(lambda run: _element(run[0], points), data), points


def _element(run: bytes, points: Points) -> bytes:
    """What stands for *run*, whose points are added to *points*.

    Its first point apart: damage that begins with it must not hide that others follow.
    """
    lines = run.count(b"\n")
    if b"\r" in run:
        lines += run.count(b"\r") - run.count(b"\r\n")
    more = points.add(run.decode("ascii")) - 1
    return (_TAG % 1) + (_TAG % more if more else b"") + b"\n" * lines
