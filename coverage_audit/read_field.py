"""Field boundaries and no-spray areas: GeoJSON, GeoPackage, KML, Shapefile, or a GPX line.

Everything leaves here as valid polygons in degrees on WGS 84, x = longitude. GDAL would
open far more formats, some of which point at other files; the form is told from the
content first, so that only the ones above get through.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from xml.parsers import expat

import numpy as np
import shapely
from pyproj import Geod, Transformer
from shapely.geometry import MultiPolygon, Polygon

from . import tolerances as tol
from .errors import InputError
from .model import NamedArea
from .read_bytes import InputFile, read_bytes
from .read_gpx import gpx_lines

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

NAME_COLUMNS = ("name", "field_name", "field", "title", "label", "id")
"""Columns that name a polygon, best first, in any case; failing these, the first text column."""

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

    named: list[tuple[str, Any]] = field(default_factory=list)
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
        reference system, an open driven line, or a polygon that crosses itself.
    """
    source = read_bytes(path)
    sources = [(source.name, source.sha256)]
    form = _form(source)
    if form == "GPX":
        shapes = _driven_lines(source)
    else:
        if form == "Shapefile":
            sources += _sidecars(path)
        shapes = _drawn_shapes(path, source.name)
    areas = _areas(shapes, source.name)
    return FieldFile(tuple(areas), tuple(sources), tuple(shapes.cautions))


def line_gap(line: Any) -> tuple[float, float]:  # noqa: ANN401 - an array of shape (n, 2)
    """Distance [m] between the ends of a line and its length [m], on the ellipsoid.

    Parameters
    ----------
    line : array of shape (n, 2)
        Longitude and latitude. [deg]
    """
    geod = Geod(ellps="WGS84")
    lon, lat = line[:, 0], line[:, 1]
    gap = geod.inv(lon[-1], lat[-1], lon[0], lat[0])[2]
    return float(gap), float(geod.line_length(lon, lat))


# --- what kind of file ------------------------------------------------------------------------


def _form(source: InputFile) -> str:
    """Form of a boundary file, from its content."""
    start = source.data[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
    if start.startswith(b"{"):
        return "GeoJSON"
    if start.startswith(b"SQLite format 3\0"):
        return "GeoPackage"
    if start.startswith(b"\0\0\x27\x0a"):  # file code 9994, ESRI Shapefile Technical Description, July 1998, p. 4
        return "Shapefile"
    if start.startswith((b"<", b"\xff\xfe", b"\xfe\xff")):
        root = _xml_root(source)
        if root in ("kml", "gpx"):
            return root.upper()
        raise InputError(f"this is XML, but <{root}> is not a boundary; use one of {FORMATS}", source.name)
    packed = "this is packed; unpack it first" if start.startswith(b"PK") else "this is not a boundary file"
    raise InputError(f"{packed} (read here: {FORMATS})", source.name)


def _xml_root(source: InputFile) -> str:
    """Name of the root element of a whole XML file; refuses document types, so no entity is ever expanded."""
    roots: list[str] = []

    def refuse(*_: object) -> None:
        line = parser.CurrentLineNumber
        raise InputError(
            "the file declares a document type, which map files do not need and attacks do; remove <!DOCTYPE>",
            f"{source.name}, line {line}",
        )

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = lambda tag, _: None if roots else roots.append(tag)
    try:
        parser.Parse(source.data, True)  # noqa: FBT003 - expat takes it by position only
    except expat.ExpatError as error:
        raise InputError(
            f"the XML is broken or cut off ({expat.errors.messages[error.code]}); copy the file again",
            f"{source.name}, line {error.lineno}",
        ) from error
    return roots[0].rpartition(":")[2]


def _sidecars(path: Path) -> list[tuple[str, str]]:
    """(file, sha256) of the files beside a Shapefile."""
    if not path.with_suffix(".shx").exists():
        raise InputError("the .shx file is missing beside it; copy all files of the Shapefile", path.name)
    beside = [path.with_suffix(suffix) for suffix in _SIDECARS if path.with_suffix(suffix).exists()]
    # a .cpg or .dbf may rightly be empty, so only its hash is taken when there is something to read
    files = [read_bytes(file) for file in beside if file.stat().st_size]
    return [(file.name, file.sha256) for file in files]


# --- shapes as they stand in the file ---------------------------------------------------------


def _driven_lines(source: InputFile) -> _Shapes:
    """GPX tracks and routes driven round the field, closed."""
    shapes = _Shapes()
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
        shapes.named.append((name, Polygon(line)))
    if not lines:
        raise InputError("there is no track or route in it; a boundary is a line driven round the field", source.name)
    return shapes


def _drawn_shapes(path: Path, name: str) -> _Shapes:
    """Every shape of every layer, in degrees."""
    import geopandas  # noqa: PLC0415 - half a second that a GPX boundary need not pay
    import pyogrio  # noqa: PLC0415

    shapes = _Shapes()
    try:
        with warnings.catch_warnings():
            # remarks of the file library (a ring it closed, say) concern what is checked below anyway
            warnings.simplefilter("ignore")
            layers = [layer for layer, kind in pyogrio.list_layers(path) if kind is not None]
            tables = [geopandas.read_file(path, layer=layer, engine="pyogrio") for layer in layers]
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FieldError) as error:
        raise InputError(f"the file is broken or cut off ({error}); export it again", name) from error
    except (shapely.errors.ShapelyError, ValueError) as error:
        raise InputError(f"a shape in it cannot be built ({error}); export it again", name) from error
    for table in tables:
        if len(table):
            shapes.named += zip(_names(table), _in_degrees(table.geometry, name, shapes.cautions), strict=True)
    if not shapes.named:
        raise InputError("there is no shape in it; export the field's polygon", name)
    total = len(shapes.named)
    fallback = [f"field {number}" if total > 1 else "field" for number in range(1, total + 1)]
    shapes.named = [(given or other, shape) for (given, shape), other in zip(shapes.named, fallback, strict=True)]
    return shapes


def _names(table: Any) -> list[str]:  # noqa: ANN401 - a GeoDataFrame
    """Name of each row, "" where it has none."""
    columns = [column for column in table.columns if column != table.geometry.name]
    lower = {str(column).lower(): column for column in reversed(columns)}
    wanted = [lower[name] for name in NAME_COLUMNS if name in lower]
    wanted += [column for column in columns if table[column].dtype.kind not in "iufbmM"]
    for column in wanted:
        values = ["" if _missing(value) else str(value).strip() for value in table[column]]
        if any(values):
            return values
    return [""] * len(table)


def _missing(value: object) -> bool:
    """Whether a cell is empty (None, NaN or the table library's NA)."""
    return value is None or value != value or str(value) == "<NA>"  # noqa: PLR0124 - NaN is not itself


def _in_degrees(column: Any, name: str, cautions: list[str]) -> list[Any]:  # noqa: ANN401 - a GeoSeries
    """Geometries on WGS 84, x = longitude."""
    shapes = [None if shape is None else shapely.force_2d(shape) for shape in column]
    if column.crs is None:
        _check_degrees(shapes, name, "it states no coordinate reference system")
        cautions.append(f"{name}: it states no coordinate reference system; taken as WGS 84 degrees.")
        return shapes
    if column.crs.to_2d().equals("EPSG:4326", ignore_axis_order=True) or column.crs.equals("OGC:CRS84"):
        _check_degrees(shapes, name, "it is read as WGS 84 degrees")
        return shapes
    _check_finite(shapes, name)
    try:
        to_wgs84 = Transformer.from_crs(column.crs, "EPSG:4326", always_xy=True)
        turned = [
            None if shape is None else shapely.transform(shape, to_wgs84.transform, interleaved=False)
            for shape in shapes
        ]
    except RuntimeError as error:  # what pyproj's errors derive from
        raise InputError(
            f'its coordinate reference system "{column.crs.name}" does not lead to degrees; export it as WGS 84', name
        ) from error
    cautions.append(f'{name}: its coordinates were turned from "{column.crs.name}" into WGS 84 degrees.')
    _check_degrees(turned, name, f'it states the coordinate reference system "{column.crs.name}"')
    return turned


def _check_finite(shapes: list[Any], name: str) -> None:
    """Raise when a coordinate is not a number."""
    if not np.isfinite(shapely.get_coordinates(shapes)).all():
        raise InputError("a coordinate in it is not a number; export it again", name)


def _check_degrees(shapes: list[Any], name: str, why: str) -> None:
    """Raise unless every coordinate can be a longitude and a latitude; *why* they should be."""
    _check_finite(shapes, name)
    xy = shapely.get_coordinates(shapes)
    bad = (np.abs(xy[:, 0]) > 180) | (np.abs(xy[:, 1]) > 90)
    if not bad.any():
        return
    x, y = xy[bad][0]
    if np.all(np.abs(xy[:, 0]) <= 90) and np.all(np.abs(xy[:, 1]) <= 180):
        cure = "latitude and longitude seem to be swapped: longitude stands first"
    else:
        cure = (
            "these look like projected coordinates without a coordinate reference system:"
            " export it as WGS 84 degrees (EPSG:4326) or together with its system"
        )
    raise InputError(f"{why}, but the point {x:.8g}, {y:.8g} is no longitude and latitude; {cure}", name)


# --- valid polygons ---------------------------------------------------------------------------


def _areas(shapes: _Shapes, file: str) -> list[NamedArea]:
    """Collect the polygons among the shapes, made valid; the others are counted."""
    areas = []
    left_out = 0
    for name, shape in shapes.named:
        polygons = [] if shape is None else _polygons(shape)
        made_valid = [_valid(polygon, f'{file}, "{name}"', shapes.cautions) for polygon in polygons]
        valid = [area for area in made_valid if not area.is_empty]
        if not valid:
            left_out += 1
            continue
        geometry = valid[0] if len(valid) == 1 else MultiPolygon([p for v in valid for p in _polygons(v)])
        areas.append(NamedArea(name, geometry if geometry.is_valid else shapely.union_all(valid)))
    if not areas:
        raise InputError("there is no area in it, only points or lines; export the field's polygon", file)
    if sum(_flat(area.geometry).area for area in areas) < tol.MIN_FIELD_M2:
        raise InputError("the area in it is no larger than a point; export the field's polygon", file)
    if left_out:
        shapes.cautions.append(f"{file}: {left_out} shape(s) without an area (points, lines) were left out.")
    return areas


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    """Polygons of a geometry, through collections; a closed line is a polygon."""
    if shape.is_empty:
        return []
    if isinstance(shape, Polygon):
        return [shape]
    if shape.geom_type in ("LineString", "LinearRing"):
        ends = shapely.get_coordinates(shape)
        return [Polygon(ends)] if len(ends) > 3 and (ends[0] == ends[-1]).all() else []
    return [polygon for part in getattr(shape, "geoms", ()) for polygon in _polygons(part)]


def _valid(polygon: Polygon, place: str, cautions: list[str]) -> BaseGeometry:
    """Return the polygon when valid, else repaired when every way of repairing it agrees.

    The ways differ in what a crossing means: even-odd counting, a union of rings, or the
    winding that a zero buffer keeps. Where they give the same ground, no meaning is guessed.
    """
    if polygon.is_valid:
        return polygon
    flat = _flat(polygon)
    ways = (
        shapely.make_valid(flat),
        shapely.make_valid(flat, method="structure", keep_collapsed=False),
        flat.buffer(0),
    )
    even_odd, structure, wound = (shapely.union_all(_polygons(way)) for way in ways)
    doubt = max(structure.symmetric_difference(other).area for other in (even_odd, wound))
    if doubt > max(tol.REPAIR_AREA_M2, tol.REPAIR_AREA_REL * structure.area):
        reason, _, point = shapely.is_valid_reason(polygon).partition("[")
        lon, lat = (float(number) for number in point.rstrip("]").split())
        verb = "crosses or touches itself" if "ntersection" in reason else f"is faulty ({reason.strip().lower()})"
        raise InputError(
            f"the boundary {verb} at {lat:.6f}, {lon:.6f} (lat, lon) and can be read in ways that differ by"
            f" {doubt:.0f} m2; correct it in a map program",
            place,
        )
    cautions.append(
        f"{place}: the boundary was not valid and was repaired; no reading of it differs by {doubt:.2g} m2."
    )
    return shapely.make_valid(polygon, method="structure", keep_collapsed=False)


def _flat(geometry: BaseGeometry) -> BaseGeometry:
    """Geometry in degrees, projected to an equal-area plane of its own in metres."""
    lon, lat = np.mean(shapely.get_coordinates(geometry), axis=0)
    plane = f"+proj=laea +lat_0={lat:.9f} +lon_0={lon:.9f} +ellps=WGS84 +units=m"
    there = Transformer.from_crs("EPSG:4326", plane, always_xy=True)
    return shapely.transform(geometry, there.transform, interleaved=False)
