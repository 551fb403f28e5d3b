"""GPX 1.1 for phones and receivers: the one writer, and the missed strips as places and lines to walk."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import gpxpy.gpx
import numpy as np
import shapely

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.words import display
from coverage_audit.papers.words.answer import notices, strip_chance, strip_size
from coverage_audit.papers.words.passes import told_causes
from coverage_audit.papers.words.safe import one_line

from .tolerances import WALKED_LINE_M

if TYPE_CHECKING:
    from coverage_audit.recipe.result import Audit

FLAG = "Flag, Red"
"""Word for a waypoint's symbol that receivers and phone programs commonly know; common practice, no source."""

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
    """GPX 1.1 of the missed ground worth a walk: a waypoint on each strip, a route in walking order, and tracks.

    The tracks are the strips' middle lines.
    """
    plane, causes, strips = Plane(audit.origin), told_causes(audit), audit.answer.walk
    units = audit.job.settings.report.units
    title = one_line(audit.job.settings.name) or "Spray job"
    paper = new_paper(f"{title}: missed strips", "; ".join(notices(audit)))
    labels = plane.geometry_to_degrees(np.array([strip.label_point for strip in strips], dtype=object))
    lines = shapely.simplify(np.array([strip.line for strip in strips], dtype=object), WALKED_LINE_M)
    way = gpxpy.gpx.GPXRoute(name="Way to walk")
    for strip, point, line in zip(strips, labels, plane.geometry_to_degrees(lines), strict=True):
        told = xml_text(f"{strip_size(strip, units)}; {strip_chance(strip)}; {causes[strip.id]}")
        paper.waypoints.append(gpxpy.gpx.GPXWaypoint(point.y, point.x, name=strip.id, description=told, symbol=FLAG))
        way.points.append(gpxpy.gpx.GPXRoutePoint(point.y, point.x, name=strip.id))
        track = gpxpy.gpx.GPXTrack(name=strip.id, description=told)
        for part in shapely.get_parts(line):
            places = [gpxpy.gpx.GPXTrackPoint(latitude=lat, longitude=lon) for lon, lat in part.coords]
            track.segments.append(gpxpy.gpx.GPXTrackSegment(places))
        paper.tracks.append(track)
    if way.points:
        paper.routes.append(way)
    return paper_text(paper)
