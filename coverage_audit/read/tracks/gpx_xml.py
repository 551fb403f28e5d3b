"""The XML of GPX 1.0 and 1.1 as text by element: a streaming reader on the standard library's expat.

Only elements of the root's own namespace, at the place where the schema has them, are core;
everything else (extensions, foreign elements) is stepped over.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING
from xml.parsers import expat

from coverage_audit.errors import InputError

from .gpx_runs import RUN, Points, without_runs

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

OPTIONAL = ("ele", "hdop", "sat", "fix", "speed", "course")
"""Children of a track point that it may lack."""

_POINT_START = re.compile(rb"<(?:(?:[\w.-]+:)?trkpt|%s)\s" % RUN.encode())
_GPX_1_0 = "http://www.topografix.com/GPX/1/0"


@dataclass
class _Route:
    lat: list[str | None] = field(default_factory=list)
    lon: list[str | None] = field(default_factory=list)
    name: str = ""


@dataclass
class Document:
    """What the XML holds, still as text; the point lists run in step.

    ``optional`` has a text by point number for each of ``OPTIONAL``.
    """

    version: str = "1.1"
    lat: list[str | None] = field(default_factory=list)
    lon: list[str | None] = field(default_factory=list)
    time: list[str] = field(default_factory=list)
    segment: list[int] = field(default_factory=list)
    segment_names: list[str] = field(default_factory=list)
    optional: dict[str, dict[int, str]] = field(default_factory=lambda: {label: {} for label in OPTIONAL})
    waypoints: list[dict[str, str]] = field(default_factory=list)
    routes: list[_Route] = field(default_factory=list)
    cut_line: int = 0  # where the file is cut off, 0 when it is whole
    cut_points: int = 0  # points that were begun and not ended


class _Node:
    """One element: its core children by full name, what to do at its begin and with its text."""

    __slots__ = ("begin", "children", "finish")

    def __init__(
        self,
        children: dict[str, _Node] | None = None,
        begin: Callable[[dict[str, str]], None] | None = None,
        finish: Callable[[str], None] | None = None,
    ) -> None:
        self.children = children or {}
        self.begin = begin
        self.finish = finish


_SKIPPED = _Node()  # has no core children, so that all inside it is skipped as well


def parse(data: bytes, name: str, *, whole: bool) -> Document:
    """What *data* holds.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        File name, for messages.
    whole : bool
        Refuse a file without its end; else it is read to its last whole point.

    Raises
    ------
    InputError
        Damaged XML, an encoding that is not known, an entity declaration, or not GPX.
    """
    data, points = without_runs(data)
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    reader = _Reader(name, points)
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.parts.append
    parser.EntityDeclHandler = reader.refuse_entity
    try:
        parser.Parse(data, True)  # noqa: FBT003  expat takes no keyword here
    except expat.ExpatError as error:
        if not whole and not _POINT_START.search(data[max(parser.ErrorByteIndex, 0) + 1 :].replace(b"\0", b"")):
            reader.cut(error.lineno)
        if reader.document.cut_line:
            return reader.document
        what = f"the XML is damaged or cut off ({expat.ErrorString(error.code)}); copy or export the file again"
        raise InputError(what, f"{name}, line {error.lineno}") from error
    except (LookupError, ValueError) as error:  # an encoding that Python does not know or expat cannot use
        raise InputError(f"the XML cannot be decoded ({error}); save it as UTF-8", name) from error
    return reader.document


class _Reader:
    """Handlers of one parse, run several times a point: they walk `_Node` tables and do little else."""

    def __init__(self, name: str, points: Points) -> None:
        self.name = name
        self.document = Document()
        self._points, self._taken = points, 0  # those of the runs, and how many of them came by
        self.parts: list[str] = []
        self._node = _SKIPPED
        self._open: list[_Node] = []
        self._track_name = ""
        self.point = self.waypoint = _Node()

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        node = self._node.children.get(tag, _SKIPPED) if self._open else self._root(tag, attributes)
        self._open.append(self._node)
        self._node = node
        if node.begin is not None:
            node.begin(attributes)
        elif node is _SKIPPED and tag.endswith(RUN):
            self._taken += int(attributes["n"])
        self.parts.clear()

    def end(self, _tag: str) -> None:
        finish = self._node.finish
        if finish is not None:
            finish("".join(self.parts))
        self._node = self._open.pop()

    def cut(self, line: int) -> None:
        """Leave out what was begun and not ended, if a whole point is left."""
        document, still_open = self.document, [*self._open, self._node]
        whole = len(document.lat) - (self.point in still_open)
        if whole <= 0:
            return
        document.cut_line, document.cut_points = line, len(document.lat) - whole
        for column in (document.lat, document.lon, document.time, document.segment):
            del column[whole:]
        for texts in document.optional.values():
            texts.pop(whole, None)
        if self.waypoint in still_open:
            document.waypoints.pop()

    def refuse_entity(self, entity: str, *_details: object) -> None:
        raise InputError(f'declares the XML entity "{entity}", which no GPX file needs; export it again', self.name)

    def _root(self, tag: str, attributes: Mapping[str, str]) -> _Node:
        uri, _, local = tag.rpartition(" ")
        if local != "gpx":
            raise InputError(f"is XML but not GPX (its root element is <{local}>); export the log as GPX", self.name)
        if uri == _GPX_1_0 or (not uri and attributes.get("version", "").strip() == "1.0"):
            self.document.version = "1.0"
        return self._tree(f"{uri} " if uri else "")

    def _tree(self, prefix: str) -> _Node:
        """Core elements that are used, each at its place in the schema."""
        document = self.document

        def under(**children: _Node) -> dict[str, _Node]:
            return {prefix + local: node for local, node in children.items()}

        def keeper(texts: dict[int, str]) -> Callable[[str], None]:
            lat = document.lat

            def keep(text: str) -> None:
                texts[len(lat) - 1] = text

            return keep

        optional = {label: _Node(finish=keeper(texts)) for label, texts in document.optional.items()}
        point = _Node(under(time=_Node(finish=self._set_time), **optional), begin=self._begin_point)
        run = _Node(begin=self._begin_run)
        segment = _Node(
            under(trkpt=point, **{RUN: run}), begin=lambda _: document.segment_names.append(self._track_name)
        )
        track = _Node(under(trkseg=segment, name=_Node(finish=self._set_track_name)), begin=self._begin_track)
        texts = {label: _Node(finish=partial(self._set_mark, label)) for label in ("time", "name", "type")}
        waypoint = _Node(under(**texts), begin=lambda _: document.waypoints.append({}))
        route = _Node(
            under(rtept=_Node(begin=self._begin_route_point), name=_Node(finish=self._set_route_name)),
            begin=lambda _: document.routes.append(_Route()),
        )
        self.point, self.waypoint = point, waypoint
        return _Node(under(trk=track, wpt=waypoint, rte=route))

    def _begin_track(self, _attributes: Mapping[str, str]) -> None:
        self._track_name = ""

    def _set_track_name(self, text: str) -> None:
        self._track_name = text.strip()

    def _begin_point(self, attributes: Mapping[str, str]) -> None:
        document = self.document
        document.lat.append(attributes.get("lat"))
        document.lon.append(attributes.get("lon"))
        document.time.append("")
        document.segment.append(len(document.segment_names) - 1)

    def _begin_run(self, attributes: Mapping[str, str]) -> None:
        document, points, first = self.document, self._points, len(self.document.lat)
        own = slice(self._taken, self._taken + int(attributes["n"]))
        self._taken = own.stop
        document.lat.extend(points.lat[own])
        document.lon.extend(points.lon[own])
        document.time.extend(points.time[own])
        document.segment.extend([len(document.segment_names) - 1] * int(attributes["n"]))
        document.optional["ele"].update({first + k: text for k, text in enumerate(points.ele[own]) if text})

    def _set_time(self, text: str) -> None:
        self.document.time[-1] = text

    def _set_mark(self, label: str, text: str) -> None:
        self.document.waypoints[-1][label] = text

    def _begin_route_point(self, attributes: Mapping[str, str]) -> None:
        self.document.routes[-1].lat.append(attributes.get("lat"))
        self.document.routes[-1].lon.append(attributes.get("lon"))

    def _set_route_name(self, text: str) -> None:
        self.document.routes[-1].name = text.strip()
