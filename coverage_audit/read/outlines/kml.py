"""KML boundaries (OGC 12-007r2): every placemark of every folder, always WGS 84 degrees.

Network links are told, never followed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.xml import parse_xml

from .crs import named_crs
from .drawn import drawn_shapes
from .form import OutlineForm
from .shapes import Builder, Layer, Row, collected

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_BOUNDARIES = ("outerBoundaryIs", "innerBoundaryIs")


def kml_layers(data: bytes, file: str) -> list[Layer]:
    """The placemarks of a KML file as one layer.

    Parameters
    ----------
    data : bytes
        Whole file.
    file : str
        Its name, for messages.

    Raises
    ------
    InputError
        Broken XML, or coordinates that cannot be read.
    """
    reading = _Placemarks(file)
    parse_xml(data, file, reading.start, reading.end, reading.texts.append)
    cautions = []
    if reading.links:
        cautions.append(Caution("links not opened", file=file))
    return [Layer(reading.rows, named_crs("OGC:CRS84", file), cautions)]


class _Placemarks:
    """Collects the rows while the XML goes by."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.rows: list[Row] = []
        self.texts: list[str] = []
        self.links = 0
        self._builder = Builder(file)
        self._open: list[str] = []
        self._properties: dict[str, str] = {}
        self._column = ""
        self._shapes: list[BaseGeometry] = []
        self._outer: list[np.ndarray] = []
        self._inner: list[np.ndarray] = []

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """A tag opens."""
        self._open.append(tag)
        self.texts.clear()
        if tag == "Placemark":
            self._properties, self._shapes = {}, []
        elif tag == "Polygon":
            self._outer, self._inner = [], []
        elif tag in ("Data", "SimpleData"):
            self._column = attributes.get("name", "")
        elif tag == "NetworkLink":
            self.links += 1

    def end(self, tag: str) -> None:
        """A tag closes; what was in it is kept where KML has it."""
        text = "".join(self.texts)
        self.texts.clear()
        self._open.pop()
        parent = self._open[-1] if self._open else ""
        if tag == "coordinates":
            self._coordinates(text, parent)
        elif tag == "Polygon":
            self._shapes.append(self._polygon())
        elif tag == "Placemark":
            self.rows.append(self._builder.row(self._properties, collected(self._shapes)))
        elif (tag, parent) == ("name", "Placemark"):
            self._properties["name"] = text
        elif tag == "SimpleData" or (tag, parent) == ("value", "Data"):
            self._properties.setdefault(self._column, text)

    def _polygon(self) -> BaseGeometry:
        if len(self._outer) > 1 or (self._inner and not self._outer):
            raise InputError("a polygon in it has not exactly one outer ring; export it again", self.file)
        return self._builder.polygon([*self._outer, *self._inner])

    def _coordinates(self, text: str, parent: str) -> None:
        above = self._open[-2] if len(self._open) > 1 else ""
        if parent == "LinearRing" and above in _BOUNDARIES:
            (self._outer if above == _BOUNDARIES[0] else self._inner).append(self._points(text))
        elif parent in ("LineString", "LinearRing"):
            self._shapes.append(self._builder.line(self._points(text)))

    def _points(self, text: str) -> np.ndarray:
        """Longitude and latitude of "lon,lat,height" tuples between blanks, shape (n, 2)."""
        try:
            # Python's numbers may hold "_", those of KML may not
            tuples = [one.split(",") for one in text.replace("_", "?").split()]
            points = [(float(one[0]), float(one[1])) for one in tuples if 2 <= len(one) <= 3]
            return np.array(points if len(points) == len(tuples) else [np.nan], float).reshape(-1, 2)
        except ValueError:
            raise InputError(
                "coordinates in it cannot be read (longitude,latitude,height without blanks); export it again",
                self.file,
            ) from None


KML = OutlineForm(
    "KML",
    lambda candidate: candidate.root == "kml",
    lambda file, _source, _name: drawn_shapes(kml_layers(file.data, file.name), file.name),
)
"""As the registry knows it."""
