"""Field boundaries and no-spray areas: GeoJSON, GeoPackage, KML, Shapefile, WKT, DXF, task data, or a GPX line.

Everything leaves here as valid polygons in degrees on WGS 84, x = longitude. The form is told
from the content, and each form is read by a small reader of our own that sees the bytes of that
file and nothing else: a general reader of map files opens dozens of forms, some of which fetch
addresses, open other files or write some.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.packed import ZIP_START, Zip
from coverage_audit.read.source import Folder
from coverage_audit.read.taskdata.files import INDEX, index_in, zipped_index

from .areas import holes_at_edge, named_areas
from .driven import DRIVEN
from .dxf import DXF
from .form import Candidate
from .geojson import GEOJSON
from .geopackage import GEOPACKAGE
from .kml import KML
from .shapefile import SHAPEFILE
from .taskdata import TASKDATA
from .tolerances import MAX_BOUNDARY_BYTES
from .wkt import WKT

if TYPE_CHECKING:
    from pathlib import Path

    from coverage_audit.read.records import NamedArea
    from coverage_audit.read.source import InputFile, Source

    from .form import OutlineForm

FORMS: tuple[OutlineForm, ...] = (TASKDATA, GEOJSON, GEOPACKAGE, KML, SHAPEFILE, WKT, DXF, DRIVEN)
"""Every form of boundary file that is read. A new one is a module like ``kml`` and a word here."""


@dataclass(frozen=True)
class FieldFile:
    """Polygons of one file, (file, sha256) of what was read, and sentences for the person.

    ``no_spray`` are polygons that the file marks as ground not to be sprayed; ``derived``: the outline was made from
    a drive over the field. ``edge_holes`` are holes that open into the outside, so that ``areas`` have a notch there.
    ``laps``: first and last time of each line driven round it, None where it has no times.
    """

    areas: tuple[NamedArea, ...]
    sources: tuple[tuple[str, str], ...]
    cautions: tuple[Caution, ...]
    no_spray: tuple[NamedArea, ...] = ()
    derived: bool = False
    laps: tuple[tuple[float, float] | None, ...] = ()
    edge_holes: tuple[NamedArea, ...] = ()


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
    """Read a boundary file of a source, and what belongs to it there; else as :func:`read_field`.

    The name may be that of a folder with task data, or of a zip file with one boundary in it.
    """
    inside = source.folder(name) if source.size(name) is None else None
    if inside is not None:
        index = index_in(inside)
        if index is None:
            raise InputError(
                f"this is a folder, and it has no {INDEX}; name the boundary file in it", source.place(name)
            )
        source, name = index
    file = source.read(name, MAX_BOUNDARY_BYTES)
    packed = None
    if file.data.startswith(ZIP_START):
        packed, source = file, Zip(file.data, file.name)
        name = _packed_name(source, file.name)
        file = source.read(name, MAX_BOUNDARY_BYTES)
    shapes = _form(file).read(file, source, name)
    title = packed.name if packed else file.name
    no_spray = named_areas(shapes.no_spray, title, shapes.cautions) if shapes.no_spray else []
    areas = [] if no_spray and not shapes.named else named_areas(shapes.named, title, shapes.cautions)
    if shapes.derived:
        shapes.cautions.append(Caution("outline from drive", file=title))
    read = (packed,) if packed else (file, *shapes.beside)
    sources = tuple((one.name, one.sha256) for one in read)
    laps, notches = tuple(shapes.laps), tuple(holes_at_edge(shapes.named, areas))
    return FieldFile(tuple(areas), sources, tuple(shapes.cautions), tuple(no_spray), shapes.derived, laps, notches)


def _packed_name(packed: Zip, title: str) -> str:
    """Name of the one boundary in a zip file."""
    index = zipped_index(packed, title)
    if index is not None:
        return index
    found = [name for name in packed.plain if not name.lower().endswith(".shx") and _can_be(packed, name)]
    if len(found) > 1:
        listed = ", ".join(found[:5])
        raise InputError(f"it holds {len(found)} boundary files ({listed}); unpack the one wanted", title)
    if not found:
        raise InputError(f"no boundary file is in this zip file ({len(packed.names)} files); pack it again", title)
    return found[0]


def _can_be(packed: Zip, name: str) -> bool:
    """Whether a file in a zip file is of a form that is read; what is broken comes out when it is read."""
    candidate = Candidate(packed.read(name, MAX_BOUNDARY_BYTES))
    try:
        return any(form.recognises(candidate) for form in FORMS)
    except InputError:
        return True


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
    raise InputError(f"this is not a boundary file (read here: {formats})", file.name)
