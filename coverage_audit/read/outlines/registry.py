"""Field boundaries and no-spray areas: GeoJSON, GeoPackage, KML, Shapefile, or a GPX line.

Everything leaves here as valid polygons in degrees on WGS 84, x = longitude. The form is told
from the content, and each form is read by a small reader of our own that sees the bytes of that
file and nothing else: a general reader of map files opens dozens of forms, some of which fetch
addresses, open other files or write some.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.read.source import Folder

from .areas import named_areas
from .driven import DRIVEN
from .form import Candidate
from .geojson import GEOJSON
from .geopackage import GEOPACKAGE
from .kml import KML
from .shapefile import SHAPEFILE
from .tolerances import MAX_BOUNDARY_BYTES

if TYPE_CHECKING:
    from pathlib import Path

    from coverage_audit.read.records import NamedArea
    from coverage_audit.read.source import InputFile, Source

    from .form import OutlineForm

FORMS: tuple[OutlineForm, ...] = (GEOJSON, GEOPACKAGE, KML, SHAPEFILE, DRIVEN)
"""Every form of boundary file that is read. A new one is a module like ``kml`` and a word here."""


@dataclass(frozen=True)
class FieldFile:
    """Polygons of one file, (file, sha256) of what was read, and sentences for the person."""

    areas: tuple[NamedArea, ...]
    sources: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


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
    return field_of(Folder(path.parent), path.name)


def field_of(source: Source, name: str) -> FieldFile:
    """Read a boundary file of a source, and what belongs to it there; else as :func:`read_field`."""
    file = source.read(name, MAX_BOUNDARY_BYTES)
    shapes = _form(file).read(file, source, name)
    areas = named_areas(shapes.named, file.name, shapes.cautions)
    sources = tuple((one.name, one.sha256) for one in (file, *shapes.beside))
    return FieldFile(tuple(areas), sources, tuple(shapes.cautions))


def _form(file: InputFile) -> OutlineForm:
    """Form of a boundary file, from its content."""
    candidate = Candidate(file)
    for form in FORMS:
        if form.recognises(candidate):
            return form
    *others, last = (form.name for form in FORMS)
    formats = f"{', '.join(others)} and {last}"
    if candidate.root:
        raise InputError(f"this is XML, but <{candidate.root[:60]}> is not a boundary; use one of {formats}", file.name)
    packed = "this is packed; unpack it first" if candidate.start.startswith(b"PK") else "this is not a boundary file"
    raise InputError(f"{packed} (read here: {formats})", file.name)
