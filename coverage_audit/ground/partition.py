"""The partition: every spot of the plane by how often it was visited.

All totals, polygons and strips come from the faces of one arrangement of the pieces' and the
field's outlines, so that they add up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.edges import crossing_pairs, most_pairs, near_pairs
from coverage_audit.errors import InputError

from .model import Partition
from .pieces import pieces_of
from .tolerances import (
    CLOSURE_REL,
    FEW_PAIRS_SHARE,
    FINE_SHARE,
    MAX_CROSSINGS,
    MAX_NEAR_PAIRS,
    NODE_GRID_M,
    PIECES_AT_ONCE,
    VISIT_WIDTHS,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.arrays import FloatArray, IntArray

    from .model import BoomLines, Ground, Piece


def partition(
    pieces: Sequence[Piece], ground: Ground, width_m: float, travel_at: TravelAt, grid_m: float | None = None
) -> Partition:
    """Cut the plane along all outlines and count, for each face, sweeps and visits.

    Parameters
    ----------
    pieces : sequence of Piece
        Ground swept, each piece sweeping none of its spots twice.
    ground : Ground
        Field and target.
    width_m : float
        Full boom width, for the length of one visit. [m]
    travel_at : callable
        (piece, x, y) -> travel of the boom's centre when the piece swept the points. [m]
    grid_m : float, optional
        Node the outlines on a grid this fine (snap rounding, Hobby 1999) and not in full
        precision: slower, and safe where edges run within rounding of each other. [m]

    Raises
    ------
    InputError
        So many outlines cross that counting would take hours and fill the machine.
    """
    polygons = np.array([piece.polygon for piece in pieces], dtype=object)
    outlines = shapely.boundary(np.append(polygons, [ground.outer, ground.field, ground.target]))
    _check_crossings(outlines)
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all(outlines, grid_size=grid_m)]))
    area = shapely.area(faces)
    faces, area = faces[area > 0], area[area > 0]
    inside = shapely.point_on_surface(faces)
    piece, face = _points_in(polygons, inside)
    visits, sure, sweeps = _count(face, piece, pieces, inside, VISIT_WIDTHS * width_m, travel_at)
    for geometry in (ground.outer, ground.target):
        shapely.prepare(geometry)
    in_outer, in_target = shapely.intersects(ground.outer, inside), shapely.intersects(ground.target, inside)
    used = (sweeps > 0) | in_outer
    columns = (faces, area, visits, sure, sweeps, in_target, in_outer)
    return Partition(*(column[used] for column in columns))


def too_crowded(all_lines: Sequence[BoomLines], share: float | None = None, one_pivot_m2: float = 0.0) -> bool:
    """Whether outlines of the pieces between boom lines cross more than *share* of what can be noded. [1]

    The ways of the tips and the cuts are the least that they have, and are asked first; without a *share*, that of
    lines as usual, only where these are many are pieces made for it. *one_pivot_m2* as in ``pieces_of``. [m2]
    """
    ways = _ways(all_lines)
    if not len(ways) or (share is None and most_pairs(ways) <= FEW_PAIRS_SHARE * MAX_NEAR_PAIRS):
        return False
    share = FINE_SHARE if share is None else share
    if _cross_too_often(ways, share):
        return True
    pieces = [piece.polygon for lines in all_lines for piece in pieces_of(lines, one_pivot_m2)]
    return bool(pieces) and _cross_too_often(shapely.boundary(np.array(pieces, dtype=object)), share)


def _ways(all_lines: Sequence[BoomLines]) -> np.ndarray:
    """Ways of the tips of each part, and the boom lines at which pieces end: lines."""
    ways = []
    for lines in all_lines:
        ends = np.flatnonzero(lines.gap_after | lines.bridged_after) + 1
        for left, right in lines.offsets_m:
            tips = lines.tips(left), lines.tips(right)
            ways += [shapely.LineString(way) for tip in tips for way in np.split(tip, ends) if len(way) > 1]
            ways += shapely.linestrings(np.stack(tips, axis=1)[lines.cut]).tolist()
    return np.array(ways, dtype=object)


def _cross_too_often(outlines: np.ndarray, share: float = 1.0) -> bool:
    """Whether more edges lie near each other, or cross, than *share* of what can be noded."""
    most_near, most_crossing = int(share * MAX_NEAR_PAIRS), int(share * MAX_CROSSINGS)
    if most_pairs(outlines) <= most_near:  # usual, and quickly told
        return False
    near = near_pairs(outlines, most_near)
    return near > most_near or (near > most_crossing and crossing_pairs(outlines, most_crossing) > most_crossing)


def _check_crossings(outlines: np.ndarray) -> None:
    """Raise when more edges lie near each other, or cross, than can be noded."""
    if _cross_too_often(outlines):
        west, south, east, north = shapely.total_bounds(outlines)
        raise InputError(
            f"while it was on, the boom swept the same ground over and over (all within {east - west:.0f} by"
            f" {north - south:.0f} m), more than one audit can count; check boom.width and the positions, or cut the"
            " log into shorter jobs",
            "track.files",
        )


def closed_partition(
    pieces: Sequence[Piece], ground: Ground, width_m: float, travel_at: TravelAt, swept_m2: float
) -> Partition:
    """Partition whose sums close; noded again on a grid where rounding lost a face.

    Parameters
    ----------
    swept_m2 : float
        What the pieces swept, summed by another rule. [m2]
    """
    try:
        parts = partition(pieces, ground, width_m, travel_at)
    except shapely.errors.GEOSException:  # edges within rounding of each other that full precision cannot part
        return partition(pieces, ground, width_m, travel_at, NODE_GRID_M)
    if closure_rel(parts, ground, swept_m2) > CLOSURE_REL:
        parts = partition(pieces, ground, width_m, travel_at, NODE_GRID_M)
    return parts


def closure_rel(parts: Partition, ground: Ground, swept_m2: float) -> float:
    """Worst of the two sums that must close, relative to the field: target and swept ground. [1]"""
    target = abs(parts.area(parts.in_target) - ground.target.area)
    swept = abs(float(parts.sweeps @ parts.area_m2) - swept_m2)
    return max(target, swept) / ground.field.area


def _points_in(polygons: np.ndarray, points: np.ndarray) -> tuple[IntArray, IntArray]:
    """Numbers of the polygon and of the point of each pair in which the point lies in the polygon, by polygons."""
    shapely.prepare(polygons)  # they are few and have many corners
    tree, x, y = shapely.STRtree(points), shapely.get_x(points), shapely.get_y(points)
    found = [np.empty((2, 0), np.intp)]
    for first in range(0, len(polygons), PIECES_AT_ONCE):
        polygon, point = tree.query(polygons[first : first + PIECES_AT_ONCE])
        polygon += first
        # asked for with places, not points, which takes a third of the time of the tree's own predicate
        found.append(np.stack([polygon, point])[:, shapely.intersects_xy(polygons[polygon], x[point], y[point])])
    polygon, point = np.concatenate(found, axis=1)
    return polygon, point


def _count(
    face: IntArray, piece: IntArray, pieces: Sequence[Piece], inside: np.ndarray, visit_m: float, travel_at: TravelAt
) -> tuple[IntArray, IntArray, IntArray]:
    """Visits, visits that do not rest on a bridge, and sweeps of each face."""
    count = len(inside)
    sweeps = np.bincount(face, minlength=count)
    stretch = np.array([one.lines.stretch for one in pieces], int)[piece]
    bridged = np.array([one.bridged for one in pieces], bool)[piece]
    order = np.lexsort((stretch, face))
    face, piece, stretch, bridged = face[order], piece[order], stretch[order], bridged[order]
    again = (np.diff(face) == 0) & (np.diff(stretch) == 0)  # swept twice by one stretch: one visit or two?
    shared = (np.append(again, [False]) | np.append([False], again))[: len(face)]  # no face may be swept at all
    travel = np.zeros(len(face))
    travel[shared] = travel_of(piece[shared], pieces, inside[face[shared]], travel_at)
    order = np.lexsort((travel, stretch, face))
    face, stretch, travel, bridged = face[order], stretch[order], travel[order], bridged[order]
    same = (np.diff(face) == 0) & (np.diff(stretch) == 0) & (np.diff(travel) <= visit_m)
    fresh = np.append([True], ~same)[: len(face)]
    visits = np.bincount(face[fresh], minlength=count)
    visit = np.cumsum(fresh) - 1
    sure = np.zeros(int(fresh.sum()), bool)
    sure[visit[~bridged]] = True
    return visits, np.bincount(face[fresh], weights=sure, minlength=count).astype(int), sweeps


def travel_of(piece: IntArray, pieces: Sequence[Piece], points: np.ndarray, travel_at: TravelAt) -> FloatArray:
    """Travel when each piece of *piece* swept its point, shape (n,). [m]"""
    travel = np.zeros(len(piece))
    x, y = shapely.get_x(points), shapely.get_y(points)
    order = np.argsort(piece, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(piece[order])) + 1) if len(piece) else []:
        travel[rows] = travel_at(pieces[piece[rows[0]]], x[rows], y[rows])
    return travel


if TYPE_CHECKING:
    TravelAt = Callable[[Piece, FloatArray, FloatArray], FloatArray]
