"""Whether the outline lies beside the edge that the headland lap was driven along: one shift of all of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import EDGE_ASKEW_DEG, EDGE_BLOCK_M, EDGE_EXPLAINED, EDGE_SIGMAS, EDGE_STEP_M, EDGE_TRIMMED

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Samples:
    """What lies between the boom's outer tip and the outline, along the outermost lap, shape (n,).

    ``gap_m`` is positive where the tip is inside; ``normal``, shape (n, 2), points out of the field; ``block`` numbers
    parts of the lap so long that steering has forgotten itself between their middles.
    """

    gap_m: FloatArray
    normal: FloatArray
    block: IntArray


@dataclass(frozen=True)
class Shift:
    """How far the outline lies from where the laps say that the edge is, and one standard error of it. [m]"""

    east_m: float
    north_m: float
    error_m: float

    @property
    def length_m(self) -> float:
        """How far. [m]"""
        return float(np.hypot(self.east_m, self.north_m))


def sample_lap(x_m: FloatArray, y_m: FloatArray, outline: BaseGeometry, width_m: float) -> Samples:
    """Samples along the boom centre's way on a lap (common practice: the outer tip runs along the edge; no source).

    Parameters
    ----------
    x_m, y_m : ndarray, shape (n,)
        The way. [m]
    outline : polygon or multipolygon
        The field. [m]
    width_m : float
        Boom width; where the centre is farther than two of them from the outline nothing is sampled. [m]
    """
    line = shapely.LineString(np.column_stack([x_m, y_m]))
    along = np.arange(EDGE_STEP_M / 2, line.length, EDGE_STEP_M)
    centre = shapely.points(_points(line, along))
    edge = shapely.boundary(outline)
    near = shapely.distance(edge, centre) < 2 * width_m
    along, centre = along[near], centre[near]
    place = shapely.line_locate_point(edge, centre) if edge.geom_type == "LineString" else None
    if place is None or not len(along):
        return Samples(np.zeros(0), np.zeros((0, 2)), np.zeros(0, int))
    before, after = (_points(edge, np.mod(place + step, edge.length)) for step in (-EDGE_STEP_M / 4, EDGE_STEP_M / 4))
    run = after - before
    reach = np.hypot(*run.T)
    driven = _points(line, along + EDGE_STEP_M / 4) - _points(line, along - EDGE_STEP_M / 4)
    beside = (
        np.abs(np.einsum("ij,ij->i", driven, run)) > np.cos(np.radians(EDGE_ASKEW_DEG)) * np.hypot(*driven.T) * reach
    )
    straight = (reach > 0.99 * EDGE_STEP_M / 2) & beside  # no corner between, and the lap runs along this side
    turned = 1.0 if shapely.is_ccw(shapely.get_exterior_ring(outline)) else -1.0
    normal = turned * np.column_stack([run[:, 1], -run[:, 0]]) / np.maximum(reach, 1e-9)[:, None]
    foot = (before + after) / 2
    inward = np.einsum("ij,ij->i", foot - shapely.get_coordinates(centre), normal)
    gap = inward - width_m / 2
    return Samples(gap[straight], normal[straight], (along[straight] // EDGE_BLOCK_M).astype(int))


def _points(line: BaseGeometry, at_m: FloatArray) -> FloatArray:
    """Points of a line at distances from its start, shape (n, 2): all in one walk along it."""
    place = shapely.get_coordinates(line)
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(place, axis=0).T))])
    return np.column_stack([np.interp(at_m, travel, column) for column in place.T])


def find_shift(samples: Samples, least_m: float) -> Shift | None:
    """The shift that makes the gaps along all sides alike; None unless it is sure and makes them much more alike.

    Gap = what the driver leaves + shift . normal, by least squares (textbook) over means of blocks, the farthest left
    out (a drive round a tree is no shift).

    Parameters
    ----------
    least_m : float
        A shorter shift is not told. [m]
    """
    if not len(samples.gap_m):
        return None
    blocks, own = np.unique(samples.block, return_inverse=True)
    count = np.bincount(own)

    def mean(values: FloatArray) -> FloatArray:
        return np.bincount(own, values) / count

    gap = mean(samples.gap_m)
    terms = np.column_stack([np.ones(len(blocks)), mean(samples.normal[:, 0]), mean(samples.normal[:, 1])])
    kept = np.ones(len(gap), bool)
    for _ in range(3):
        if kept.sum() < 8 or np.linalg.matrix_rank(terms[kept], tol=0.3) < 3:
            return None
        found = np.linalg.lstsq(terms[kept], gap[kept], rcond=None)[0]
        rest = np.abs(gap - terms @ found)
        kept = rest <= max(EDGE_TRIMMED * 1.4826 * float(np.median(rest[kept])), 0.05)
    left = gap[kept] - terms[kept] @ found
    spread = float(left @ left) / max(int(kept.sum()) - 3, 1)
    error = float(np.sqrt(spread * np.linalg.inv(terms[kept].T @ terms[kept]).diagonal()[1:].sum()))
    shift = Shift(float(found[1]), float(found[2]), error)
    before = float(np.var(gap[kept]))
    explained = before > 0 and 1 - float(np.var(left)) / before >= EDGE_EXPLAINED
    sure = shift.length_m >= max(least_m, EDGE_SIGMAS * error) and kept.mean() > 0.7
    return shift if explained and sure else None
