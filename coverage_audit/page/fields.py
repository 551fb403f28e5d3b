"""What a person does with the field on the sheet: its outline, and ground in it that is not to be sprayed."""

from __future__ import annotations

from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from coverage_audit.errors import InputError
from coverage_audit.papers.farm_files import field_geojson, outline_geojson, with_no_spray, without_no_spray
from coverage_audit.read.records import NamedArea
from coverage_audit.sheet.draft import DRIVEN, with_keys
from coverage_audit.sheet.logs import unpacked
from coverage_audit.sheet.outline import (
    checked_corners,
    corners_deg,
    corners_m,
    driven_edge,
    in_degrees,
    outline_file,
)
from coverage_audit.sheet.tolerances import LEAST_FIELD_M2, LEAST_NO_SPRAY_M2, MOST_CORNERS
from coverage_audit.units import LENGTH_M, parse_quantity

from . import asked
from .desk import FIELD_OF_JOB, OWN_NO_SPRAY
from .pictures import keep_picture
from .tolerances import MAX_FILE_BODY_BYTES
from .view import sheet_facts

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.read.source import InputFile

    from .desk import Desk, JobFolder

MOST_BESIDE = 20
"""Most files that one outline has. [1] A Shapefile has seven or so."""

USUAL_HALF_M = 5.0
"""Half a boom's width before anybody has said it. [m] Common practice, no source."""

DRAWINGS = {"field": "corners", "no-spray": "off"}
"""What is drawn, and the note that holds its corners so far."""


# --- drawing ----------------------------------------------------------------------------------------


def set_corners(desk: Desk, job: JobFolder, given: Mapping[str, Any]) -> JobFolder:
    """Note the corners as tapped, whether or not they are a field or a no-spray area yet."""
    corners = asked.places(given, "corners", MOST_CORNERS)
    found = corners_deg(corners, _drive(desk, job).origin)
    if _drawing(given) == "no-spray":
        return desk.keep(job, notes={**job.notes, DRAWINGS["no-spray"]: found})
    edge = bool(job.notes.get("edge")) and len(corners) > 2  # begun anew, it is no longer made from the drive
    return desk.keep(job, notes={**job.notes, DRAWINGS["field"]: found, "edge": edge})


def start_from_edge(desk: Desk, job: JobFolder) -> JobFolder:
    """Take the edge that was driven for corners."""
    drive = _drive(desk, job)
    width = job.draft.get("boom.width")
    half = parse_quantity(width, LENGTH_M, "boom.width") / 2 if isinstance(width, str) else USUAL_HALF_M
    corners = corners_deg(driven_edge(drive, half), drive.origin)
    return desk.keep(job, notes={**job.notes, DRAWINGS["field"]: corners, "edge": True})


def keep_drawn(desk: Desk, job: JobFolder, given: Mapping[str, Any]) -> JobFolder:
    """Make a field of the corners, or a no-spray area of the field; kept for every later job."""
    what, name = _drawing(given), asked.text(given, "name")
    drive = _drive(desk, job)
    noted = job.notes.get(DRAWINGS[what], [])
    least = LEAST_NO_SPRAY_M2 if what == "no-spray" else LEAST_FIELD_M2
    corners = checked_corners(corners_m([(lon, lat) for lon, lat in noted], drive.origin), what, least)
    drawn = in_degrees(corners, drive.origin)
    if what == "no-spray":
        notes = {key: value for key, value in job.notes.items() if key != DRAWINGS[what]}
        return add_no_spray(desk, job, [NamedArea(name or "no-spray area", drawn)], notes)
    text = field_geojson(name or "field", drawn, (), derived=bool(job.notes.get("edge")))
    return _with_field(desk, job, desk.keep_field(text, name))


def _drawing(given: Mapping[str, Any]) -> str:
    what = asked.text(given, "what") or "field"
    if what not in DRAWINGS:
        raise InputError("the page cannot draw this; load it again", "field")
    return what


# --- the field --------------------------------------------------------------------------------------


def use_field(desk: Desk, job: JobFolder, file: str) -> JobFolder:
    """Take a kept field."""
    if file not in desk.fields():
        raise InputError("this field is no longer there; load the page again", "field")
    return _with_field(desk, job, file)


def use_driven(desk: Desk, job: JobFolder) -> JobFolder:
    """Take the edge that this job drove for the field; the audit itself tells it, with its own doubt."""
    return _with_boundary(desk, job, DRIVEN)


def outline_parts(file: InputFile) -> list[InputFile]:
    """Files of a dropped outline, taken out of their zip file if they came in one."""
    return unpacked(file)[:MOST_BESIDE]


def has_room(waiting: Mapping[str, bytes]) -> bool:
    """Whether more files may join those that wait for the last one of theirs."""
    return len(waiting) < MOST_BESIDE and sum(map(len, waiting.values())) < MAX_FILE_BODY_BYTES


def take_files(desk: Desk, job: JobFolder, files: Mapping[str, bytes], what: str) -> JobFolder:
    """Take what was dropped for the field: its outline, no-spray areas in it, or a picture of it."""
    if what == "picture":
        keep_picture(desk, files, sheet_facts(desk, job).drive)
        return desk.keep(job)
    return take_outline(desk, job, files, what)


def take_outline(desk: Desk, job: JobFolder, files: Mapping[str, bytes], what: str) -> JobFolder:
    """Keep the outline in dropped files as a field of the farm, or as no-spray areas of the field."""
    order = sorted(files, key=lambda name: (not name.lower().endswith(".shp"), name))
    found = outline_file(files, order[0])
    if what == "no-spray":
        return add_no_spray(desk, job, found.no_spray or found.areas, job.notes)
    if not found.areas:
        raise InputError("there are only no-spray areas in it; take a file with the field's outline first", "field")
    name = next((area.name for area in found.areas if area.name), Path(order[0]).stem)
    text = outline_geojson(found.areas, found.no_spray, derived=found.derived)
    return _with_field(desk, job, desk.keep_field(text, name))


def _with_field(desk: Desk, job: JobFolder, file: str) -> JobFolder:
    return _with_boundary(desk, job, f"{FIELD_OF_JOB}{file}")


def _with_boundary(desk: Desk, job: JobFolder, boundary: str) -> JobFolder:
    notes = {key: value for key, value in job.notes.items() if key not in ("corners", "edge")}
    return desk.keep(job, with_keys(job.draft, {"field.boundary": boundary}), notes)


# --- no-spray areas ---------------------------------------------------------------------------------


def add_no_spray(desk: Desk, job: JobFolder, areas: tuple[NamedArea, ...] | list[NamedArea], notes: Any) -> JobFolder:  # noqa: ANN401 - JSON
    """Add no-spray areas to the kept field, or to the job where its field is not one of the farm's."""
    facts = sheet_facts(desk, job)
    if facts.field is None:
        raise InputError("say first which field it is; then draw what must not be sprayed in it", "no-spray")
    ground = shapely.union_all([area.geometry for area in facts.field.areas])
    for one in areas:
        if not shapely.intersects(one.geometry, ground):
            raise InputError(f'"{one.name}" lies outside the field; nothing would change', "no-spray")
    with desk.alone:
        kept = desk.keep(job, notes=notes)
        file = desk.own_field(job)
        if file is not None:
            desk.change_field(file, lambda text: reduce(with_no_spray, areas, text))
            return kept
        desk.keep_beside(job, OWN_NO_SPRAY, outline_geojson((), [*desk.excluded(job, OWN_NO_SPRAY), *areas]))
        return _with_own_file(desk, kept)


def _with_own_file(desk: Desk, job: JobFolder) -> JobFolder:
    named = job.draft.own("field.exclude") or []
    files = [named] if isinstance(named, str) else list(named)
    if OWN_NO_SPRAY in files:
        return job
    return desk.keep(job, with_keys(job.draft, {"field.exclude": [*files, OWN_NO_SPRAY]}))


def without_area(desk: Desk, job: JobFolder, given: Mapping[str, Any]) -> JobFolder:
    """Take one no-spray area back, by its number in the list that the page shows."""
    number = int(asked.number(given, "number"))
    with desk.alone:
        file = desk.own_field(job)
        inside = desk.own_no_spray(job)
        if not 0 <= number < len(inside):
            raise InputError("this area is no longer there; load the page again", "no-spray")
        if file is not None:
            desk.change_field(file, lambda text: without_no_spray(text, number))
            return desk.keep(job)
        left = [one for k, one in enumerate(inside) if k != number]
        if left:
            desk.keep_beside(job, OWN_NO_SPRAY, outline_geojson((), left))
            return desk.keep(job)
        named = [name for name in job.draft.own("field.exclude") or [] if name != OWN_NO_SPRAY]
        return desk.keep(job, with_keys(job.draft, {"field.exclude": named or None}))


def _drive(desk: Desk, job: JobFolder) -> Any:  # noqa: ANN401 - DriveFacts, or no drive at all
    drive = sheet_facts(desk, job).drive
    if drive is None:
        raise InputError("there is no drive to draw over; add a log first", "field")
    return drive
