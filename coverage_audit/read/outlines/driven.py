"""A GPX track or route driven round the field, closed to a polygon."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shapely.geometry import Polygon

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read import tolerances as tol
from coverage_audit.read.tracks.gpx import gpx_line_times, gpx_lines

from .areas import line_gap
from .form import OutlineForm, Shapes
from .shapes import Builder

if TYPE_CHECKING:
    from coverage_audit.read.source import InputFile


def driven_lines(file: InputFile) -> Shapes:
    """GPX tracks and routes driven round the field, closed.

    Raises
    ------
    InputError
        No line, or one that does not end near where it began.
    """
    shapes = Shapes()
    builder = Builder(file.name)
    lines = gpx_lines(file.data, file.name)
    for number, (given, line) in enumerate(lines, 1):
        name = given or (f"field {number}" if len(lines) > 1 else "field")
        place = f'{file.name}, line "{name}"'
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
            shapes.cautions.append(Caution("outline closed", place=place, gap_m=gap))
        builder.line(line)  # counted against the limits of a file
        shapes.named.append((name, Polygon(line)))
    if not lines:
        raise InputError("there is no track or route in it; a boundary is a line driven round the field", file.name)
    shapes.laps += gpx_line_times(file.data, file.name)
    return shapes


DRIVEN = OutlineForm("GPX", lambda candidate: candidate.root == "gpx", lambda file, _source, _name: driven_lines(file))
"""As the registry knows it."""
