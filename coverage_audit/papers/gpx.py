"""GPX 1.1 for phones and receivers: the one writer, and the missed strips as places and lines to walk."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import gpxpy.gpx
import numpy as np
import shapely

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.words import display
from coverage_audit.papers.words.passes import told_causes
from coverage_audit.papers.words.safe import one_line

from .tolerances import WALKED_LINE_M

if TYPE_CHECKING:
    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.result import Audit

# Characters that XML 1.0 cannot hold, not even escaped (section 2.2, production Char).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def new_paper(name: str, description: str = "") -> gpxpy.gpx.GPX:
    """An empty GPX paper of ours with its name."""
    paper = gpxpy.gpx.GPX()
    paper.creator = "coverage-audit"
    paper.name = xml_text(name)
    paper.description = xml_text(description) or None
    return paper


def paper_text(paper: gpxpy.gpx.GPX) -> str:
    """GPX 1.1 text of *paper*, with a line end."""
    return str(paper.to_xml(version="1.1", prettyprint=True)) + "\n"


def xml_text(text: str) -> str:
    """*text* as XML 1.0 can hold it, with plain blanks."""
    return _NOT_XML.sub("\ufffd", text.replace(display.SPACE, " "))


def missed_gpx(audit: Audit) -> str:
    """GPX 1.1 of the missed strips: a waypoint on each and a track along its middle line."""
    plane, causes = Plane(audit.origin), told_causes(audit)
    units = audit.job.settings.report.units
    paper = new_paper(f"{one_line(audit.job.settings.name) or 'Spray job'}: missed strips")
    labels = plane.geometry_to_degrees(np.array([strip.label_point for strip in audit.missed_strips], dtype=object))
    lines = shapely.simplify(np.array([strip.line for strip in audit.missed_strips], dtype=object), WALKED_LINE_M)
    for strip, point, line in zip(audit.missed_strips, labels, plane.geometry_to_degrees(lines), strict=True):
        told = xml_text(_words(strip, causes[strip.id], units))
        paper.waypoints.append(
            gpxpy.gpx.GPXWaypoint(latitude=point.y, longitude=point.x, name=strip.id, description=told)
        )
        track = gpxpy.gpx.GPXTrack(name=strip.id, description=told)
        for part in shapely.get_parts(line):
            places = [gpxpy.gpx.GPXTrackPoint(latitude=lat, longitude=lon) for lon, lat in part.coords]
            track.segments.append(gpxpy.gpx.GPXTrackSegment(places))
        paper.tracks.append(track)
    return paper_text(paper)


def _words(strip: Strip, where: str, units: str) -> str:
    """Size and place of a strip in one line."""
    size = f"{display.length(strip.length_m, units)} long, {display.length(strip.mean_width_m, units)} wide"
    return f"Missed {display.small_area(strip.area_m2, units)}, {size} on average, {where}"
