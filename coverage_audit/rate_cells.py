"""Amounts spread evenly over polygons, collected by the cells of a grid: exact, and only where needed.

Every edge of a polygon is cut at the grid's lines; each piece says how much of its own cell lies
to its right, and all cells farther right in the row are full. Summing these from left to right
gives the exact share of every cell (the signed-area accumulation of scan conversion, as font
renderers use it). A sum over a closed polygon ends at nothing, so rows and tiles follow one
another in one long array, and tiles that nothing touches need not exist.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .tolerances_rate import TILE_CELLS

if TYPE_CHECKING:
    from .model import FloatArray, IntArray


@dataclass(frozen=True)
class Grid:
    """Tiles of cells that polygons touch, in rows of tiles from south to north.

    Column c, row r is the cell whose corners are c, r and c + 1, r + 1 cells from the plane's
    origin. ``row_rank``/``column_rank`` number the tile rows and columns in use (-1: none), from
    ``first``; ``start`` (rows, columns) is where a tile's first cell stands in the long array and
    ``stride`` (rows,) how far apart the rows of one tile row stand. ``tiles`` (n, 2) are the
    (row, column) of each tile, in the order of the array.
    """

    first: tuple[int, int]
    row_rank: IntArray
    column_rank: IntArray
    start: IntArray
    stride: IntArray
    tiles: IntArray

    @property
    def size(self) -> int:
        """Number of cells."""
        return len(self.tiles) * TILE_CELLS**2

    def index(self, row: IntArray, column: IntArray) -> IntArray:
        """Place of each cell in the long array; the cells' tiles must exist."""
        tile_row = self.row_rank[row // TILE_CELLS - self.first[0]]
        tile_column = self.column_rank[column // TILE_CELLS - self.first[1]]
        inside = (row % TILE_CELLS) * self.stride[tile_row] + column % TILE_CELLS
        return self.start[tile_row, tile_column] + inside

    def place(self, index: IntArray) -> tuple[np.ndarray, np.ndarray]:
        """Row and column, as 32-bit integers, of the cells at *index* of the long array."""
        row, column = np.empty((2, self.size), np.int32)
        cell = np.arange(TILE_CELLS, dtype=np.int32)
        done = 0
        for stride in self.stride.tolist():
            tiles = self.tiles[done // TILE_CELLS**2 :][: stride // TILE_CELLS].astype(np.int32) * TILE_CELLS
            band = slice(done, done + stride * TILE_CELLS)
            row[band].reshape(TILE_CELLS, stride)[:] = (tiles[0, 0] + cell)[:, None]
            column[band].reshape(TILE_CELLS, stride)[:] = (tiles[:, 1:] + cell).ravel()
            done += stride * TILE_CELLS
        return row[index], column[index]


def grid_over(low: IntArray, high: IntArray) -> Grid:
    """Grid of the tiles touched by boxes from cell *low* to cell *high*, both (n, 2) as (row, column)."""
    first, last = low // TILE_CELLS, high // TILE_CELLS
    span = last - first + 1
    count = span[:, 0] * span[:, 1]
    box = np.repeat(np.arange(len(low)), count)
    number = np.arange(len(box)) - np.repeat(np.cumsum(count) - count, count)
    row, column = np.divmod(number, span[box, 1])
    row, column = row + first[box, 0], column + first[box, 1]
    base = (int(row.min()), int(column.min()))
    width = int(column.max()) - base[1] + 1
    key = np.unique((row - base[0]) * width + column - base[1])
    row, column = np.divmod(key, width)
    rows, row_of = np.unique(row, return_inverse=True)
    columns, column_of = np.unique(column, return_inverse=True)
    across = np.bincount(row_of)
    before = np.arange(len(key)) - (np.cumsum(across) - across)[row_of]
    start = np.full((len(rows), len(columns)), -1)
    bands = np.cumsum(across) - across
    start[row_of, column_of] = bands[row_of] * TILE_CELLS**2 + before * TILE_CELLS
    return Grid(
        base,
        _ranks(rows),
        _ranks(columns),
        start,
        across * TILE_CELLS,
        np.column_stack([row + base[0], column + base[1]]),
    )


def _ranks(used: IntArray) -> IntArray:
    rank = np.full(int(used[-1]) + 1, -1)
    rank[used] = np.arange(len(used))
    return rank


def spread(
    grid: Grid, begin: FloatArray, end: FloatArray, amounts: list[FloatArray], last_column: IntArray | None = None
) -> list[FloatArray]:
    """Sum of what outlines lay into each cell, for several amounts at once.

    Parameters
    ----------
    grid : Grid
        Must hold every cell that the outlines touch.
    begin, end : (m, 2) float
        Edges of closed outlines, x, y in cells from the plane's origin.
    amounts : list of (m,) float
        What a cell gets that lies wholly inside the outline of each edge, if it runs
        anticlockwise; negative if clockwise.
    last_column : (m,) int, optional
        Column beyond which nothing is laid, for outlines cut along a line of the grid.

    Returns
    -------
    list of (grid.size,) float
    """
    edge, row, column, rise, inside = _pieces(begin, end, last_column)
    at = grid.index(row, column)
    result: list[FloatArray] = []
    for amount in amounts:
        used = np.flatnonzero(amount[edge])
        whole = -rise[used] * amount[edge[used]]  # an anticlockwise outline goes down on its left side
        here = whole * inside[used]
        flat = np.zeros(grid.size + 1)
        np.add.at(flat, at[used], whole - here)
        np.add.at(flat, at[used] + 1, here)
        result.append(np.cumsum(flat[:-1], out=flat[:-1]))
    return result


def _pieces(
    begin: FloatArray, end: FloatArray, last_column: IntArray | None
) -> tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray]:
    """Edges cut at all lines of the grid: edge, row, column, rise and mean place within the cell of each piece."""
    upward = end[:, 1] >= begin[:, 1]
    low = np.where(upward[:, None], begin, end)
    high = np.where(upward[:, None], end, begin)
    sloped = np.flatnonzero(high[:, 1] > low[:, 1])
    low, high = low[sloped], high[sloped]
    sign = np.where(upward[sloped], 1.0, -1.0)
    slope = (high[:, 0] - low[:, 0]) / (high[:, 1] - low[:, 1])
    bottom = np.floor(low[:, 1]).astype(np.int64)
    count = np.ceil(high[:, 1]).astype(np.int64) - bottom
    edge, row = _counted(count, bottom)
    y0, y1 = np.maximum(low[edge, 1], row), np.minimum(high[edge, 1], row + 1)
    x0 = low[edge, 0] + (y0 - low[edge, 1]) * slope[edge]
    x1 = low[edge, 0] + (y1 - low[edge, 1]) * slope[edge]
    rise = (y1 - y0) * sign[edge]
    left, right = np.minimum(x0, x1), np.maximum(x0, x1)
    first = np.floor(left).astype(np.int64)
    count = np.maximum(np.ceil(right).astype(np.int64) - first, 1)
    part, column = _counted(count, first)
    edge, row, left, right = edge[part], row[part], left[part], right[part]
    from_x, to_x = np.maximum(left, column), np.minimum(right, column + 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(right > left, (to_x - from_x) / (right - left), 1.0)
    if last_column is not None:
        column = np.minimum(column, last_column[sloped[edge]])
    return sloped[edge], row, column, rise[part] * share, (from_x + to_x) / 2 - column


def _counted(count: IntArray, first: IntArray) -> tuple[IntArray, IntArray]:
    """Owner of each of *count* items, and the items numbered from the owner's *first*."""
    owner = np.repeat(np.arange(len(count)), count)
    return owner, np.arange(len(owner)) + np.repeat(first - (np.cumsum(count) - count), count)
