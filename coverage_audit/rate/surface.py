"""The rate surface: what every cell of the sprayed ground got, summed over sweeps."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.errors import TooFineError
from coverage_audit.units import HECTARE_M2

from .cells import Grid, grid_over, pieces_about, spread, spread_sloped
from .classes import class_edges, class_of
from .model import RateBands, RateCells, RateClass
from .quads import cross, density
from .steps import lay
from .tolerances import BAND_SLACK, LARGEST_RATE_CELL_M, MOST_CUTS, RATE_CELL_M, SWEPT_SHARE, TILE_CELLS

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray

    from .quads import Laid
    from .steps import OpenParts, Steps


def rate_surface(steps: Steps, parts: OpenParts, target: BaseGeometry) -> tuple[Laid, RateCells | None, float] | None:
    """Spray laid, the rate of every swept cell, and all the spray that lies in the cells. [L]

    Cells are ``RATE_CELL_M``, or doubled until memory and time stay bounded; None where even
    ``LARGEST_RATE_CELL_M`` would be too small.
    """
    cell_m = RATE_CELL_M
    while cell_m <= LARGEST_RATE_CELL_M:
        try:
            laid = lay(steps, parts, cell_m)
            return laid, *rate_cells(laid, target)
        except TooFineError:
            cell_m *= 2
    return None


def rate_cells(laid: Laid, target: BaseGeometry) -> tuple[RateCells | None, float]:
    """Rate of every swept cell (None: no ground was swept), and all the spray that lies in the cells. [L]

    Parameters
    ----------
    laid : Laid
        Spray on the ground, all sweeps.
    target : polygon or multipolygon
        Target area. [m]

    Raises
    ------
    TooFineError
        Its cells would be too many.
    """
    if not len(laid.litres):
        return None, 0.0
    if pieces_about(np.diff(laid.corners, axis=1, append=laid.corners[:, :1]) / laid.cell_m).sum() > MOST_CUTS:
        raise TooFineError
    grid, litres, sweeps = _collected(laid)
    total = float(litres.sum())
    index = np.flatnonzero(sweeps > SWEPT_SHARE)
    if not len(index):
        return None, total
    row, column = grid.place(index)
    # whole columns of the grid weigh most of all that a job needs: each goes as soon as it has served
    rate, sweeps = np.maximum(litres[index], 0.0), sweeps[index]
    del litres
    swept = np.minimum(sweeps, 1.0)
    rate /= swept
    rate *= HECTARE_M2 / laid.cell_m**2
    in_target = np.minimum(swept, _inside(grid, target, laid.cell_m)[index])
    return RateCells(laid.cell_m, row, column, rate, sweeps, in_target), total


def laid_by_cell(laid: Laid, chosen: BoolArray) -> tuple[np.ndarray, np.ndarray, FloatArray]:
    """Row, column and litres of the cells that the *chosen* quadrilaterals lay anything into."""
    grid, litres, _ = _collected(laid.take(chosen))
    index = np.flatnonzero(litres > 0)
    return *grid.place(index), litres[index]


def _collected(laid: Laid) -> tuple[Grid, FloatArray, FloatArray]:
    """Grid, litres and swept share (every sweep counted) of its cells."""
    corners = laid.corners / laid.cell_m
    low, high = (np.floor(edge).astype(np.int64)[:, ::-1] for edge in (corners.min(axis=1), corners.max(axis=1)))
    grid = grid_over(low, high)
    flat = ~laid.point
    per_cell = laid.litres[flat] * (laid.cell_m**2 / laid.area_m2[flat])
    litres, sweeps = spread_sloped(grid, *_edges(corners[flat], density(corners[flat], per_cell)))
    if laid.point.any():
        middle = np.floor(corners[laid.point].mean(axis=1)).astype(np.int64)
        at = grid.index(middle[:, 1], middle[:, 0])
        np.add.at(litres, at, laid.litres[laid.point])
        sweeps[at] = np.maximum(sweeps[at], 1.0)  # a mean over the whole cell, as the spray hit one line in it
    return grid, litres, sweeps


def _edges(corners: FloatArray, laid: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Edges of quadrilaterals (n, 4, 2), what they lay (n, 3), see :func:`density`, and how often they sweep.

    Where one begins on the boom line on which another ends, that line is laid once, with the
    difference of the two: half of all the work.
    """
    following = np.roll(corners, -1, axis=1)
    sense = np.sign(cross(corners, following).sum(axis=1))
    key = corners[:, 0, 0] + 1j * corners[:, 0, 1]
    order = np.argsort(key)
    wanted = corners[:, 1, 0] + 1j * corners[:, 1, 1]
    other = order[np.minimum(np.searchsorted(key[order], wanted), len(key) - 1)]
    joined = (corners[other, 0] == corners[:, 1]).all(axis=1) & (corners[other, 3] == corners[:, 2]).all(axis=1)
    candidates = np.flatnonzero(joined)
    first_of = np.unique(other[candidates], return_index=True)[1]  # where two end on one line, one alone shares it
    joined = np.zeros(len(corners), bool)
    joined[candidates[first_of]] = True
    alone = np.ones(len(corners), bool)
    alone[other[joined]] = False
    begin = np.concatenate([corners[:, 0], corners[:, 2], corners[:, 1], corners[alone, 3]])
    end = np.concatenate([corners[:, 1], corners[:, 3], corners[:, 2], corners[alone, 0]])
    amounts = [
        np.concatenate([value, value, value - np.where(joined, value[other], 0.0), value[alone]])
        for value in (*(laid.T * sense), sense)
    ]
    return begin, end, np.stack(amounts[:3]), amounts[3]


def _inside(grid: Grid, target: BaseGeometry, cell_m: float) -> FloatArray:
    """Share of every cell that lies in *target*, shape (grid.size,)."""
    size = TILE_CELLS * cell_m
    south, west = grid.tiles[:, 0] * size, grid.tiles[:, 1] * size
    boxes = shapely.box(west, south, west + size, south + size)
    shapely.prepare(target)
    whole = shapely.contains(target, boxes)
    crossing = np.flatnonzero(~whole & shapely.intersects(target, boxes))
    share = np.zeros(grid.size)
    if len(crossing):
        parts, tile = shapely.get_parts(shapely.intersection(target, boxes[crossing]), return_index=True)
        solid = shapely.get_dimensions(parts) == 2
        rings, owner = shapely.get_rings(parts[solid], return_index=True)
        tile = crossing[tile[solid][owner]]
        holes = np.append([False], np.diff(owner) == 0)  # the first ring of a polygon is its outline
        points, ring = shapely.get_coordinates(rings, return_index=True)
        joined = np.flatnonzero(np.diff(ring) == 0)
        begin, end, ring = points[joined] / cell_m, points[joined + 1] / cell_m, ring[joined]
        anticlockwise = np.sign(np.bincount(ring, weights=cross(begin, end)))
        inward = (np.where(holes, -1.0, 1.0) * anticlockwise)[ring]
        last_column = (grid.tiles[tile, 1] + 1) * TILE_CELLS - 1
        share = spread(grid, begin, end, inward, last_column[ring])
    rows = np.arange(TILE_CELLS)
    tiles = grid.tiles[whole] * TILE_CELLS
    first = grid.index(tiles[:, :1] + rows, np.broadcast_to(tiles[:, 1:], (len(tiles), TILE_CELLS)))
    share[first[..., None] + rows] = 1.0
    return share


def bands(
    cells: RateCells, covered_m2: float, swept_net_m2: float, target_l_ha: float | None, label_max_l_ha: float | None
) -> RateBands:
    """Covered target ground by rate. [m2], [L/ha]

    Cells on the edge of the sprayed ground are known only by their swept share, so their sum differs
    from the partition's covered area by some 1e-4; all figures are scaled to that area, which makes
    the bands add up to it exactly.
    """
    weight, rate = cells.in_target, cells.rate_l_ha
    total = float(weight.sum())
    if total <= 0:
        return RateBands(target_l_ha)
    given = weight * rate
    mean = float(given.sum()) / total
    spread_l_ha = math.sqrt(max(float((given * rate).sum()) / total - mean**2, 0.0))
    cv = spread_l_ha / mean if mean > 0 else None
    above = None
    if label_max_l_ha is not None:
        beyond = rate > label_max_l_ha * (1 + BAND_SLACK)
        above = float(cells.swept[beyond].sum() / cells.swept.sum()) * swept_net_m2
    if target_l_ha is None:
        return RateBands(above_label_max_m2=above, mean_l_ha=mean, cv=cv)

    def part(chosen: BoolArray) -> float:
        return float(weight[chosen].sum()) / total * covered_m2

    low, high = target_l_ha * (1 - BAND_SLACK), target_l_ha * (1 + BAND_SLACK)
    under, over = part(rate < 0.9 * low), part(rate > 1.1 * high)
    return RateBands(
        target_l_ha=target_l_ha,
        within_5pct_m2=covered_m2 - part((rate < 0.95 * low) | (rate > 1.05 * high)),
        within_10pct_m2=covered_m2 - under - over,
        under_90pct_m2=under,
        over_110pct_m2=over,
        above_label_max_m2=above,
        mean_l_ha=mean,
        cv=cv,
    )


def rate_classes(cells: RateCells, covered_m2: float, about_l_ha: float) -> tuple[RateClass, ...]:
    """Covered target ground [m2] in the classes of ``CLASS_EDGES`` times *about_l_ha*. [L/ha]"""
    edges, total = class_edges(about_l_ha), float(cells.in_target.sum())
    inside = np.bincount(class_of(cells.rate_l_ha, edges), weights=cells.in_target, minlength=len(edges) - 1)
    scale = covered_m2 / total if total > 0 else 0.0
    return tuple(
        RateClass(low, high, float(m2) * scale) for low, high, m2 in zip(edges[:-1], edges[1:], inside, strict=True)
    )
