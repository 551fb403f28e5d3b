"""Field boundaries and no-spray areas: GeoJSON, GeoPackage, KML, Shapefile, or a GPX line.

Everything leaves here as valid polygons in degrees on WGS 84, x = longitude. The form is told
from the content, and each form is read by a small reader of our own that sees the bytes of that
file and nothing else: a general reader of map files opens dozens of forms, some of which fetch
addresses, open other files or write some.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from shapely.geometry import Polygon

from coverage_audit.errors import InputError
from coverage_audit.read import tolerances as tol
from coverage_audit.read.source import read_bytes
from coverage_audit.read.tracks.gpx import gpx_lines

from .areas import line_gap, named_areas
from .crs import in_degrees
from .geojson import geojson_layers
from .geopackage import geopackage_layers
from .kml import kml_layers
from .shapefile import shapefile_layers
from .shapes import Builder, names
from .tolerances import MAX_BOUNDARY_BYTES
from .xml import root_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.read.records import NamedArea
    from coverage_audit.read.source import InputFile

    from .shapes import Layer

FORMATS = "GeoJSON, GeoPackage, KML, Shapefile (.shp) and GPX"
_SIDECARS = (".shx", ".dbf", ".prj", ".cpg")


@dataclass(frozen=True)
class FieldFile:
    """Polygons of one file, (file, sha256) of what was read, and sentences for the person."""

    areas: tuple[NamedArea, ...]
    sources: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


@dataclass
class _Shapes:
    """Shapes on their way in: (name, geometry in degrees) and what there is to say."""

    named: list[tuple[str, BaseGeometry | None]] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)


def read_field(path: Path) -> FieldFile:
    """Read the polygons of a boundary file.

    Parameters
    ----------
    path : Path
        GeoJSON, GeoPackage, KML, Shapefile or GPX, told apart by content. Any stated
        coordinate reference system; without one, only coordinates that can be degrees.

    Returns
    -------
    FieldFile
        Valid polygons and multipolygons on WGS 84, x = longitude. [deg]

    Raises
    ------
    InputError
        Another format, no polygon in it, coordinates that are not on the Earth or lack a
        reference system, an open driven line, a polygon that crosses itself, or more or wider
        shapes than a field has.
    """
    source = read_bytes(path, MAX_BOUNDARY_BYTES)
    form = _form(source)
    beside = _sidecars(path) if form == "Shapefile" else {}
    if form == "GeoPackage":
        _check_written_out(path)
    shapes = _driven_lines(source) if form == "GPX" else _drawn_shapes(_layers(form, source, beside), source.name)
    areas = named_areas(shapes.named, source.name, shapes.cautions)
    sources = tuple((one.name, one.sha256) for one in (source, *beside.values()))
    return FieldFile(tuple(areas), sources, tuple(shapes.cautions))


def _form(source: InputFile) -> str:
    """Form of a boundary file, from its content."""
    start = source.data[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
    if start.startswith(b"{"):
        return "GeoJSON"
    if source.data.startswith(b"SQLite format 3\0"):
        return "GeoPackage"
    if source.data.startswith(b"\0\0\x27\x0a"):  # file code 9994, ESRI Shapefile Technical Description, July 1998, p. 4
        return "Shapefile"
    if start.startswith((b"<", b"\xff\xfe", b"\xfe\xff")):
        root = root_of(source.data, source.name)
        if root in ("kml", "gpx"):
            return root.upper()
        raise InputError(f"this is XML, but <{root[:60]}> is not a boundary; use one of {FORMATS}", source.name)
    packed = "this is packed; unpack it first" if start.startswith(b"PK") else "this is not a boundary file"
    raise InputError(f"{packed} (read here: {FORMATS})", source.name)


def _sidecars(path: Path) -> dict[str, InputFile]:
    """The files beside a Shapefile that have content, by their ending."""
    if not path.with_suffix(".shx").exists():
        raise InputError("the .shx file is missing beside it; copy all files of the Shapefile", path.name)
    found = {}
    for suffix in _SIDECARS:
        file = path.with_suffix(suffix)
        # a .cpg or .dbf may rightly be empty
        if not file.exists() or (file.is_file() and not file.stat().st_size):
            continue
        if file.resolve().parent != path.resolve().parent:
            raise InputError("it is a link into another folder; copy all files of the Shapefile into one", file.name)
        found[suffix] = read_bytes(file, MAX_BOUNDARY_BYTES)
    if ".shx" not in found:
        raise InputError("the .shx file beside it is empty; copy all files of the Shapefile", path.name)
    return found


def _check_written_out(path: Path) -> None:
    """Raise when changes to a GeoPackage still lie in its write-ahead log."""
    log = path.with_name(f"{path.name}-wal")
    if log.is_file() and log.stat().st_size:
        raise InputError(
            f"changes to it still lie in {log.name}: it is open in another program; close it there first", path.name
        )


def _layers(form: str, source: InputFile, beside: dict[str, InputFile]) -> list[Layer]:
    """Everything that is in a file with drawn shapes."""
    if form == "Shapefile":
        parts = {".shp": source.data, **{suffix: one.data for suffix, one in beside.items()}}
        return shapefile_layers(parts, source.name)
    read = {"GeoJSON": geojson_layers, "GeoPackage": geopackage_layers, "KML": kml_layers}[form]
    return read(source.data, source.name)


def _drawn_shapes(layers: Sequence[Layer], name: str) -> _Shapes:
    """Every shape of every layer, in degrees."""
    shapes = _Shapes()
    for layer in layers:
        shapes.cautions += layer.cautions
        if layer.rows:
            turned = in_degrees([row.shape for row in layer.rows], layer.crs, name, shapes.cautions)
            shapes.named += zip(names(layer.rows), turned, strict=True)
    if not shapes.named:
        raise InputError(" ".join(["there is no shape in it; export the field's polygon", *shapes.cautions]), name)
    total = len(shapes.named)
    fallback = [f"field {number}" if total > 1 else "field" for number in range(1, total + 1)]
    shapes.named = [(given or other, shape) for (given, shape), other in zip(shapes.named, fallback, strict=True)]
    return shapes


def _driven_lines(source: InputFile) -> _Shapes:
    """GPX tracks and routes driven round the field, closed."""
    shapes = _Shapes()
    builder = Builder(source.name)
    lines = gpx_lines(source.data, source.name)
    for number, (given, line) in enumerate(lines, 1):
        name = given or (f"field {number}" if len(lines) > 1 else "field")
        place = f'{source.name}, line "{name}"'
        if len(line) < 3:
            raise InputError(f"it has {len(line)} point(s), too few to go round a field; drive the boundary", place)
        gap, length = line_gap(line)
        if not gap <= max(tol.BOUNDARY_CLOSE_M, tol.BOUNDARY_CLOSE_REL * length):
            raise InputError(
                f"its ends lie {gap:.0f} m apart, so it does not go round the field; drive on to where it began,"
                " or close it in a map program",
                place,
            )
        if gap > 0:
            shapes.cautions.append(f"{place}: its ends lie {gap:.1f} m apart; it was closed with a straight line.")
        builder.line(line)  # counted against the limits of a file
        shapes.named.append((name, Polygon(line)))
    if not lines:
        raise InputError("there is no track or route in it; a boundary is a line driven round the field", source.name)
    return shapes
