"""What each missed strip and double patch lies at: the edges, the headland, the places of switching."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.ground.tolerances import INSCRIBED_M
from coverage_audit.solid import shrunk, widened

from .tolerances import EDGE_BAND_M, EDGE_SHARE, END_AREA_SHARE, END_TOUCH_SHARE, HEADLAND_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.ground.model import Strip

BETWEEN, ON_HEADLAND, AT_EDGE, AT_NO_SPRAY = "between passes", "headland", "field edge", "no-spray area"
LATE_ON, EARLY_OFF = "late on", "early off"


@dataclass(frozen=True)
class Surroundings:
    """What strips are placed by. Geometry in plane metres.

    ``outer_edge`` and ``no_spray_edge`` are bands of ``EDGE_BAND_M`` along the target's edges,
    ``inner`` is the target without its rim of ``HEADLAND_WIDTHS``, ``headland`` the swaths (n,) of
    the headland laps. ``switched_on``/``switched_off`` are boom lines (n, 2, 2) left to right, at the
    start and end of each stretch, moved ``EDGE_BAND_M`` back (forward) onto the ground not sprayed;
    none when nobody logged the boom. [m]
    """

    outer_edge: BaseGeometry
    no_spray_edge: BaseGeometry
    inner: BaseGeometry
    headland: np.ndarray
    switched_on: FloatArray
    switched_off: FloatArray
    width_m: float


@dataclass(frozen=True)
class Lies:
    """Where one finding lies: ``at`` an edge, on the headland or between passes.

    ``edge``: it lies along an edge. ``switched`` is "late on" or "early off" when it lies straight beyond the boom
    line of a switch-on or -off, else "".
    """

    at: str
    edge: bool
    switched: str


def surroundings(
    target: BaseGeometry,
    no_spray: BaseGeometry,
    headland: np.ndarray,
    ends: tuple[FloatArray, FloatArray],
    width_m: float,
) -> Surroundings:
    """Prepare what :func:`lie` places strips by; *headland* and *ends* as in :class:`Surroundings`. [m]"""
    rings = [shapely.Polygon(part.exterior) for part in shapely.get_parts(target)]
    # round at corners: all that lies farther in
    inner = shapely.make_valid(shrunk(shapely.union_all(rings), HEADLAND_WIDTHS * width_m))
    outer = shapely.boundary(shapely.union_all(rings))
    beside = widened(no_spray, EDGE_BAND_M)
    return Surroundings(shapely.buffer(outer, EDGE_BAND_M), beside, inner, headland, *ends, width_m)


def lie(strips: Sequence[Strip], around: Surroundings) -> list[Lies]:
    """Where each of *strips* lies; only missed ones lie beyond a switching."""
    if not strips:
        return []
    polygons = shapely.simplify(np.array([one.polygon for one in strips], dtype=object), INSCRIBED_M / 2)
    lines = np.array([one.line for one in strips], dtype=object)
    rim = shapely.boundary(polygons)
    on_edge = _share_inside(rim, around.outer_edge) >= EDGE_SHARE
    beside = _share_inside(rim, around.no_spray_edge) >= EDGE_SHARE
    on_rim = (_share_inside(lines, around.inner) < 0.5) & _is_near(polygons, around.headland)
    late = _beyond_end(polygons, around.switched_on, around.width_m)
    early = _beyond_end(polygons, around.switched_off, around.width_m)
    found = []
    for k, strip in enumerate(strips):
        at = AT_NO_SPRAY if beside[k] else AT_EDGE if on_edge[k] else ON_HEADLAND if on_rim[k] else BETWEEN
        beyond = max(late[k], early[k]) >= END_AREA_SHARE and not strip.max_visits
        switched = (LATE_ON if late[k] >= early[k] else EARLY_OFF) if beyond else ""
        found.append(Lies(at, bool(beside[k] or on_edge[k]), switched))
    return found


def _share_inside(lines: np.ndarray, zone: BaseGeometry) -> FloatArray:
    """Share of each line's length that lies inside *zone*."""
    shapely.prepare(zone)
    share = shapely.contains(zone, lines).astype(float)
    crossing = np.flatnonzero((share == 0) & shapely.intersects(zone, lines))
    share[crossing] = shapely.length(shapely.intersection(lines[crossing], zone)) / shapely.length(lines[crossing])
    return np.asarray(share)


def _is_near(polygons: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Whether each polygon touches any of *others*."""
    near = np.zeros(len(polygons), bool)
    near[shapely.STRtree(others).query(polygons, predicate="dwithin", distance=EDGE_BAND_M)[0]] = True
    return near


def _beyond_end(polygons: np.ndarray, ends: FloatArray, width_m: float) -> FloatArray:
    """Largest share of each polygon that lies straight beyond one of the switching lines *ends* (n, 2, 2).

    Only lines count that lie in the polygon over ``END_TOUCH_SHARE`` of the boom's width. Left to
    right, ground beyond a switch-on lies behind the line, beyond a switch-off ahead of it; the
    lines have been moved onto it, so the polygon itself tells the side.
    """
    share = np.zeros(len(polygons))
    lines = shapely.linestrings(ends) if len(ends) else np.empty(0, dtype=object)
    polygon, line = shapely.STRtree(lines).query(polygons, predicate="intersects")
    inside = shapely.length(shapely.intersection(lines[line], polygons[polygon]))
    for k, number in zip(
        polygon[inside >= END_TOUCH_SHARE * width_m], line[inside >= END_TOUCH_SHARE * width_m], strict=True
    ):
        along = ends[number][1] - ends[number][0]
        away = np.array([-along[1], along[0]]) / np.hypot(*along) * shapely.length(polygons[k]) / 2
        swath = [shapely.Polygon([*ends[number], *(ends[number][::-1] + way)]) for way in (away, -away)]
        reached = max(shapely.area(shapely.intersection(polygons[k], swath)))
        share[k] = max(share[k], reached / polygons[k].area)
    return share
