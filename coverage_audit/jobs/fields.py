"""The fields that a farm keeps: one file each, found by name and by place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

import shapely

from coverage_audit.errors import InputError
from coverage_audit.read.outlines.areas import area_m2
from coverage_audit.read.outlines.registry import field_of

from .tolerances import FIELDS_OVERLAP

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.read.records import NamedArea
    from coverage_audit.read.source import Source

FIELDS = "fields"
"""Folder of the farm that holds its fields."""

ENDING = ".geojson"
NAMELESS = "field"
"""What the readers call an outline that bears no name."""


@dataclass(frozen=True)
class KeptField:
    """One field of the farm. ``file`` is named from the farm's folder ("fields/east-bench.geojson"). [deg]

    ``no_spray`` are its areas that are not to be sprayed; holes of ``geometry`` count too.
    """

    name: str
    file: str
    geometry: BaseGeometry
    no_spray: tuple[NamedArea, ...] = ()
    derived: bool = False


def kept_fields(source: Source) -> tuple[KeptField, ...]:
    """Every field in the farm's folder, by the names of their files.

    Raises
    ------
    InputError
        A file that is no outline, or two fields of one name.
    """
    found = []
    for file in source.files_in(FIELDS):
        if PurePosixPath(file).suffix.lower() == ENDING and PurePosixPath(file).parent == PurePosixPath(FIELDS):
            read = field_of(source, file)
            if not read.areas:
                raise InputError("there are only no-spray areas in it; add the field's outline", file)
            whole = shapely.union_all([area.geometry for area in read.areas])
            no_spray = (*read.no_spray, *read.edge_holes)
            found.append(KeptField(read.areas[0].name, file, whole, no_spray, read.derived))
    _refuse_twins(found)
    return tuple(found)


def _refuse_twins(fields: Sequence[KeptField]) -> None:
    files: dict[str, str] = {}
    for one in fields:
        other = files.setdefault(one.name.casefold(), one.file)
        if other != one.file:
            raise InputError(f'two fields are named "{one.name}", here and in {other}; rename one of them', one.file)


def new_fields(
    source: Source, name: str, kept: Sequence[KeptField], wanted: str | None
) -> tuple[tuple[NamedArea, tuple[NamedArea, ...], bool], ...]:
    """Fields of a file that the farm may keep, the no-spray areas that lie in each, and whether it is derived.

    Parameters
    ----------
    source, name
        The file with one or more outlines.
    kept : sequence of KeptField
        What the farm keeps already.
    wanted : str or None
        Name for the one field in the file.

    Raises
    ------
    InputError
        No area, a name that is taken, or ground that is kept already.
    """
    read = field_of(source, name)
    file = source.base_name(name)
    if not read.areas:
        raise InputError("there are only no-spray areas in it; add them with --no-spray", file)
    if wanted is not None and len(read.areas) > 1:
        told = ", ".join(area.name for area in read.areas)
        raise InputError(f"there are {len(read.areas)} fields in it ({told}), so one name cannot be theirs", "--name")
    # one without a name goes by its file's
    own = [PurePosixPath(file).stem if area.name == NAMELESS else area.name for area in read.areas]
    given = [(called if wanted is None else wanted, area) for called, area in zip(own, read.areas, strict=True)]
    names = {one.name.casefold(): one.file for one in kept}
    for called, area in given:
        if not called.strip():
            raise InputError("the name is blank; give the field a name", "--name")
        if called.casefold() in names:
            raise InputError(
                f'a field named "{called}" is there already ({names[called.casefold()]}); give it another with --name',
                file,
            )
        names[called.casefold()] = file
        _refuse_ground(called, area, kept, file)
    return tuple(
        (type(area)(called, area.geometry), _inside(area, (*read.no_spray, *read.edge_holes)), read.derived)
        for called, area in given
    )


def _refuse_ground(called: str, area: NamedArea, kept: Sequence[KeptField], file: str) -> None:
    """Raise when a field lies on one that is kept already."""
    own = area_m2(area.geometry)
    for one in kept:
        common = area_m2(shapely.intersection(area.geometry, one.geometry))
        share = common / min(own, area_m2(one.geometry))
        if share > FIELDS_OVERLAP:
            raise InputError(
                f'"{called}" lies on the field "{one.name}" ({one.file}): they share {100 * share:.0f} % of the '
                "smaller one; draw one of them again, or take the other out of the folder",
                file,
            )


def _inside(area: NamedArea, no_spray: Sequence[NamedArea]) -> tuple[NamedArea, ...]:
    return tuple(one for one in no_spray if shapely.intersects(one.geometry, area.geometry))


def new_no_spray(
    source: Source, name: str, kept: Sequence[KeptField], wanted: str | None
) -> tuple[tuple[KeptField, NamedArea], ...]:
    """No-spray areas of a file, each with the kept field that it lies in.

    Raises
    ------
    InputError
        No area, or one that lies in no kept field.
    """
    read = field_of(source, name)
    file = source.base_name(name)
    areas = (*read.areas, *read.no_spray)
    if wanted is not None and len(areas) > 1:
        raise InputError(f"there are {len(areas)} areas in it, so one name cannot be theirs", "--name")
    found = []
    for area in areas:
        inside = [(area_m2(shapely.intersection(area.geometry, one.geometry)), one) for one in kept]
        common, field = max(inside, key=lambda pair: pair[0], default=(0.0, None))
        if field is None or not common > 0:
            raise InputError(f'"{area.name}" lies in no field that is kept here; add the field first', file)
        found.append((field, type(area)(wanted or area.name, area.geometry)))
    return tuple(found)
