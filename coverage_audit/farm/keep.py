"""A new farm, and fields added to one, as files by name."""

from __future__ import annotations

from pathlib import Path

from coverage_audit.jobs.farm import read_farm
from coverage_audit.jobs.fields import FIELDS, kept_fields, new_fields, new_no_spray
from coverage_audit.papers.farm_files import FARM_FILE, farm_toml, field_geojson, file_name
from coverage_audit.read.source import Folder


def new_farm(name: str) -> dict[str, str]:
    """File name to content of a new farm of this *name*."""
    return {FARM_FILE: farm_toml(name)}


def fields_added(folder: str | Path, file: str | Path, name: str | None, *, no_spray: bool = False) -> dict[str, str]:
    """File name, from the farm's *folder*, to content of what keeping the fields of a *file* writes.

    Parameters
    ----------
    name : str or None
        Name of the one field in the file.
    no_spray : bool
        The file holds areas of kept fields that are not to be sprayed: those fields' files are written anew.

    Raises
    ------
    InputError
        No farm, no area, a name that is taken, ground that is kept already or, with *no_spray*, in no kept field.
    """
    farm, path = Folder(Path(folder)), Path(file)
    read_farm(farm, FARM_FILE)
    kept, outside = kept_fields(farm), Folder(path.parent)
    found: dict[str, str] = {}
    if no_spray:
        added = new_no_spray(outside, path.name, kept, name)
        for field in dict.fromkeys(field for field, _ in added):
            areas = (*field.no_spray, *(area for other, area in added if other is field))
            found[field.file] = field_geojson(field.name, field.geometry, areas, derived=field.derived)
        return found
    taken = [Path(one).name for one in farm.files_in(FIELDS)]
    for area, inside, derived in new_fields(outside, path.name, kept, name):
        taken.append(file_name(area.name, taken, ".geojson"))
        found[f"{FIELDS}/{taken[-1]}"] = field_geojson(area.name, area.geometry, inside, derived=derived)
    return found
