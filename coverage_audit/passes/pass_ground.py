"""Whose ground is it: each straight pass with the ground half-way to its neighbours."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import CELL_BEYOND_WIDTHS, CELL_STEPS, LAP_PIECE_M, SPACED_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

    from .steering import Driven, Neighbours


def pass_cells(passes: Sequence[Driven], pairs: Sequence[Neighbours], width_m: float) -> np.ndarray:
    """Polygon of each pass, shape (n,): to half-way to its neighbours, a boom width [m] where it has none."""
    sides: dict[tuple[int, int], list[int]] = {}
    for pair in pairs:
        if pair.apart_m <= SPACED_WIDTHS * width_m:
            sides.setdefault((pair.left, 1), []).append(pair.right)
            sides.setdefault((pair.right, -1), []).append(pair.left)
    cells = []
    for k, one in enumerate(passes):
        sin, cos = np.sin(one.direction_rad), np.cos(one.direction_rad)
        v, u = _frame(one, sin, cos)
        beyond = CELL_BEYOND_WIDTHS * width_m
        at = np.linspace(v[0] - beyond, v[-1] + beyond, CELL_STEPS)
        own = np.interp(at, v, u)
        rims = []
        for side in (-1, 1):
            half = np.full(len(at), width_m)
            for j in sides.get((k, side), []):
                v2, u2 = _frame(passes[j], sin, cos)
                along = (at >= v2[0] - beyond) & (at <= v2[-1] + beyond)
                half = np.where(along, np.minimum(half, side * (np.interp(at, v2, u2) - own) / 2), half)
            rims.append(own + side * np.maximum(half, width_m / 8))
        ring_u = np.concatenate([rims[0], rims[1][::-1]])
        ring_v = np.concatenate([at, at[::-1]])
        cells.append(shapely.Polygon(np.column_stack([ring_u * cos + ring_v * sin, ring_v * cos - ring_u * sin])))
    return np.asarray(shapely.buffer(np.array(cells, dtype=object), 0.0))


def _frame(one: Driven, sin: float, cos: float) -> tuple[FloatArray, FloatArray]:
    """Along and across the AB line, in the order of growing distance along it. [m]"""
    v, u = one.xy_m @ np.array([sin, cos]), one.xy_m @ np.array([cos, -sin])
    order = np.argsort(v)
    return v[order], u[order]


def area_in(cells: np.ndarray, ground: BaseGeometry) -> FloatArray:
    """Area of *ground* in each of *cells*, shape (n,). [m2]"""
    parts = shapely.get_parts(shapely.get_parts(ground))
    parts = parts[shapely.area(parts) > 0]
    if not len(parts) or not len(cells):
        return np.zeros(len(cells))
    cell, part = shapely.STRtree(parts).query(cells, predicate="intersects")
    inside = shapely.covers(cells[cell], parts[part])
    area = shapely.area(parts[part])
    area[~inside] = shapely.area(shapely.intersection(cells[cell[~inside]], parts[part[~inside]]))
    return np.bincount(cell, weights=area, minlength=len(cells)).astype(float)


def lap_pieces(line: BaseGeometry) -> list[BaseGeometry]:
    """*line* of a headland lap in equal pieces about ``LAP_PIECE_M`` long."""
    count = max(round(line.length / LAP_PIECE_M), 1)
    corners = shapely.get_coordinates(line)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    pieces = []
    for low, high in pairwise(np.linspace(0.0, along[-1], count + 1).tolist()):
        inner = corners[(along > low) & (along < high)]
        ends = np.array([[np.interp(at, along, corners[:, axis]) for axis in (0, 1)] for at in (low, high)])
        pieces.append(shapely.LineString(np.vstack([ends[:1], inner, ends[1:]])))
    return pieces
