"""The truth on the ground from true boom lines, counted along parallel lines askew to fence and passes.

Every line is cut by the quadrilaterals between successive boom lines, exactly along itself; between the lines (0.1 m
apart) the sum is the midpoint rule, exact for straight edges that no line runs along. A visit is as the package defines
it: sweeps of a spot in one stretch with at most pi/2 boom widths of travel between them are one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import affinity

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

    from .driving import Drive

COLUMN_M = 0.1
STRAIGHT_M, TURN_RAD = 0.7, 0.03  # a boom line each, at the latest
APART_M = 1e4  # lines laid end to end, this far apart: one long line (rounding: 4 nm)
STRETCH_M = 1e6  # added to the travel from stretch to stretch, so that these never count as one visit


@dataclass(frozen=True)
class Truth:
    """Areas [m2], and missed ground as intervals ``missed_m`` (k, 2) on the lines number ``column`` (k,)."""

    target_m2: float
    missed_m2: float
    double_m2: float
    turn_rad: float
    first_m: float
    column: NDArray[np.int64]
    missed_m: NDArray[np.float64]

    def missed_share(self, polygon: BaseGeometry, step_m: float = 0.05) -> float:
        """Share of *polygon* (in the plane of the field) that is truly missed; NaN when it is too small to tell."""
        level = affinity.rotate(polygon, -self.turn_rad, (0, 0), use_radians=True)
        low_x, low_y, high_x, high_y = level.bounds
        x, y = (g.ravel() for g in np.meshgrid(_middles(low_x, high_x, step_m), _middles(low_y, high_y, step_m)))
        inside = shapely.contains_xy(level, x, y)
        return float(self.missed_at(x[inside], y[inside]).mean()) if inside.any() else float("nan")

    def missed_at(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether places (k,) in the frame of the lines are missed; a line stands for the decimetre about it."""
        if not len(self.column):
            return np.zeros(len(x), bool)
        flat = self.column[:, None] * APART_M + self.missed_m
        place = np.floor((x - self.first_m) / COLUMN_M) * APART_M + y
        before = np.searchsorted(flat[:, 0], place, side="right") - 1
        return (before >= 0) & (place <= flat[np.maximum(before, 0), 1])


def _middles(low: float, high: float, step_m: float) -> NDArray[np.float64]:
    count = max(1, int(np.ceil((high - low) / step_m)))
    return low + (np.arange(count) + 0.5) * (high - low) / count


def count_ground(drive: Drive, target: Polygon) -> Truth:
    """Count missed and double ground of *target* after *drive*; both in the plane of the field."""
    turn = _askew(target, drive)
    level = affinity.rotate(target, -turn, (0, 0), use_radians=True)
    quads, travel = _quads(drive, turn)
    low_x, _, high_x, _ = level.bounds
    x = low_x + (np.arange(int(np.ceil((high_x - low_x) / COLUMN_M))) + 0.5) * COLUMN_M
    low, high, key = _cuts(quads, travel, x, low_x)
    wanted = _target_cuts(level, x)
    marks = np.unique(np.concatenate([low, high, wanted.ravel()]))
    size = np.diff(marks)
    inside = np.cumsum(_count_at(marks, wanted[:, 0]) - _count_at(marks, wanted[:, 1]))[:-1] > 0
    visits = _visits(marks, (low, high, key), inside, np.pi / 2 * drive.machine.width_m)
    missed = inside & (visits == 0)
    areas = [float(size[rows].sum()) * COLUMN_M for rows in (inside, missed, inside & (visits >= 2))]
    column = np.rint(marks[:-1][missed] / APART_M)
    ends = np.column_stack([marks[:-1], marks[1:]])[missed] - column[:, None] * APART_M
    return Truth(*areas, turn, low_x, column.astype(int), ends)


def _askew(target: Polygon, drive: Drive) -> float:
    """Direction whose normal lies farthest from every long edge of the field and from the passes. [rad]"""
    corners = shapely.get_coordinates(target.exterior)
    edges = np.diff(corners, axis=0)
    long_ones = edges[np.linalg.norm(edges, axis=1) > 10.0]
    spraying = drive.on_s.mean(axis=1)
    along = np.concatenate([np.arctan2(long_ones[:, 1], long_ones[:, 0]), drive.pose(spraying)[1]])
    turns = np.radians(np.arange(0, 180, 2.0))
    apart = np.abs(np.sin(along[None, :] - turns[:, None] - np.pi / 2)).min(axis=1)
    return float(turns[apart.argmax()])


def _quads(drive: Drive, turn_rad: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Corners (n, 4, 2) between successive boom lines, in the frame of the passes, and the travel at each. [m]"""
    spin = np.array([[np.cos(turn_rad), -np.sin(turn_rad)], [np.sin(turn_rad), np.cos(turn_rad)]])
    quads, travel, so_far = [], [], 0.0
    for number, (on, off) in enumerate(drive.on_s):
        between = drive.times_s[(drive.times_s > on) & (drive.times_s < off)]
        times = np.concatenate([[on], between, [off]])
        left, right = drive.tips(times)
        centre, (_, heading) = (left + right) / 2, drive.pose(times)
        way = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(centre, axis=0), axis=1))])
        turned = np.concatenate([[0], np.cumsum(np.abs(np.diff(heading)))])
        marks = np.floor(np.maximum(way / STRAIGHT_M, 0) + turned / TURN_RAD)
        kept = np.unique(np.concatenate([[0], np.flatnonzero(np.diff(marks) > 0) + 1, [len(times) - 1]]))
        a, b = left[kept] @ spin, right[kept] @ spin
        quads.append(np.stack([a[:-1], b[:-1], b[1:], a[1:]], axis=1))
        travel.append(so_far + way[kept][:-1] + number * STRETCH_M)
        so_far += way[-1]
    return np.concatenate(quads), np.concatenate(travel)


def _cuts(quads, travel, x, first):
    """Intervals (n,) that the lines cut out of the quadrilaterals, on the one long line: low, high, travel."""
    low_x, high_x = quads[:, :, 0].min(axis=1), quads[:, :, 0].max(axis=1)
    start = np.clip(np.floor((low_x - first) / COLUMN_M).astype(int), 0, len(x))
    end = np.clip(np.floor((high_x - first) / COLUMN_M).astype(int) + 1, 0, len(x))
    many = np.maximum(end - start, 0)
    quad = np.repeat(np.arange(len(quads)), many)
    column = np.arange(len(quad)) - np.repeat(np.cumsum(many) - many, many) + start[quad]
    at = x[column]
    low, high = np.full(len(quad), np.inf), np.full(len(quad), -np.inf)
    for corner in range(4):
        p, q = quads[quad, corner], quads[quad, (corner + 1) % 4]
        crossed = (p[:, 0] <= at) != (q[:, 0] <= at)
        run = np.where(crossed, q[:, 0] - p[:, 0], 1.0)
        y = p[:, 1] + (at - p[:, 0]) / run * (q[:, 1] - p[:, 1])
        low, high = np.where(crossed, np.minimum(low, y), low), np.where(crossed, np.maximum(high, y), high)
    kept = high > low
    column, low, high, key = column[kept], low[kept], high[kept], travel[quad][kept]
    return column * APART_M + low, column * APART_M + high, key


def _target_cuts(level: BaseGeometry, x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Intervals (k, 2) of the target on the one long line."""
    _, low_y, _, high_y = level.bounds
    ends = np.array([[(a, low_y - 1), (a, high_y + 1)] for a in x])
    parts, column = shapely.get_parts(shapely.intersection(shapely.linestrings(ends), level), return_index=True)
    box = shapely.bounds(parts)
    return (box[:, [1, 3]] + column[:, None] * APART_M)[shapely.length(parts) > 0]


def _count_at(marks: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.int64]:
    return np.bincount(np.searchsorted(marks, places), minlength=len(marks))


def _visits(marks, intervals, inside, reach_m):
    """Visits (n - 1,) of the pieces between successive marks (n,)."""
    low, high, key = intervals
    start, end = np.searchsorted(marks, low), np.searchsorted(marks, high)
    many = end - start
    own = np.repeat(np.arange(len(low)), many)
    piece = np.arange(len(own)) - np.repeat(np.cumsum(many) - many, many) + start[own]
    kept = inside[piece]
    piece, swept = piece[kept], key[own[kept]]
    order = np.lexsort((swept, piece))
    piece, swept = piece[order], swept[order]
    again = (np.diff(piece, prepend=-1) == 0) & (np.diff(swept, prepend=-np.inf) <= reach_m)
    return np.bincount(piece[~again], minlength=len(marks) - 1)
