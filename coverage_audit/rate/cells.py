"""Amounts spread evenly over polygons, collected by the cells of a grid: exact, and only where needed.

Every edge of a polygon is cut at the grid's lines; each piece says how much of its own cell lies
to its right, and all cells farther right in the row are full. Summing these from left to right
gives the exact share of every cell (the signed-area accumulation of scan conversion, as font
renderers use it). A sum over a closed polygon ends at nothing, so rows and tiles follow one
another in one long array, and tiles that nothing touches need not exist.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import TooFineError

from .tolerances import CUTS_AT_ONCE, MOST_RATE_CELLS, MOST_TILE_PLACES, TILE_CELLS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from coverage_audit.arrays import FloatArray, IntArray


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

    def times_middle(self, values: FloatArray) -> None:
        """Multiply *values* (size,) in place by the column of each cell's middle."""
        cell = np.arange(TILE_CELLS) + 0.5
        done = 0
        for stride in self.stride.tolist():
            tiles = self.tiles[done // TILE_CELLS**2 :, 1:][: stride // TILE_CELLS] * TILE_CELLS
            band = slice(done, done + stride * TILE_CELLS)
            values[band].reshape(TILE_CELLS, stride)[:] *= (tiles + cell).ravel()
            done += stride * TILE_CELLS

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
    """Grid of the tiles touched by boxes from cell *low* to cell *high*, both (n, 2) as (row, column).

    Raises
    ------
    TooFineError
        More than ``MOST_RATE_CELLS`` cells would be needed.
    """
    first, last = low // TILE_CELLS, high // TILE_CELLS
    span = last - first + 1
    count = span[:, 0] * span[:, 1]
    if float(count.astype(float).sum()) > MOST_TILE_PLACES:
        raise TooFineError
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
    tables = max(len(rows) * len(columns), int(rows[-1]), int(columns[-1]))
    if len(key) * TILE_CELLS**2 > MOST_RATE_CELLS or tables > MOST_TILE_PLACES:
        raise TooFineError
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


@dataclass(frozen=True)
class CutEdges:
    """Edges of closed outlines cut at all lines of the grid; arrays (k,), lengths in cells.

    ``edge`` numbers the edge, ``row``, ``column`` are the piece's cell and ``at`` its place in the long
    array. ``rise`` is how far it goes up; ``x``, ``y`` are its middle within the cell, ``run`` and
    ``climb`` how far it goes east and north, from its lower to its upper end.
    """

    edge: IntArray
    row: IntArray
    column: IntArray
    at: IntArray
    rise: FloatArray
    x: FloatArray
    y: FloatArray
    run: FloatArray
    climb: FloatArray


def spread(
    grid: Grid, begin: FloatArray, end: FloatArray, amount: FloatArray, last_column: IntArray | None = None
) -> FloatArray:
    """Sum of what outlines lay evenly into each cell, shape (grid.size,).

    Parameters
    ----------
    grid : Grid
        Must hold every cell that the outlines touch.
    begin, end : (m, 2) float
        Edges of closed outlines, x, y in cells from the plane's origin.
    amount : (m,) float
        What a cell gets that lies wholly inside the outline of each edge, if it runs
        anticlockwise; negative if clockwise.
    last_column : (m,) int, optional
        Column beyond which nothing is laid, for outlines cut along a line of the grid.
    """
    flat = np.zeros(grid.size + 1)
    for cut in _cuts(grid, begin, end, last_column):
        _add_even(flat, cut, amount)
    return np.cumsum(flat[:-1], out=flat[:-1])


def spread_sloped(
    grid: Grid, begin: FloatArray, end: FloatArray, density: FloatArray, sense: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Sum of what outlines lay into each cell where it differs evenly from place to place, and how often they sweep it.

    Parameters
    ----------
    begin, end : (m, 2) float
        As in :func:`spread`.
    density : (3, m) float
        As *amount* in :func:`spread` for a cell about the plane's origin, and how much more a cell gets
        one cell farther east and north.
    sense : (m,) float
        *amount* of the sweeps.
    """
    litres, sweeps, growing = (np.zeros(grid.size + more) for more in (1, 1, 0))
    for cut in _cuts(grid, begin, end, None):
        _add_sloped(litres, growing, cut, density)
        _add_even(sweeps, cut, sense)
    np.cumsum(growing, out=growing)
    grid.times_middle(growing)
    growing += np.cumsum(litres[:-1], out=litres[:-1])
    return growing, np.cumsum(sweeps[:-1], out=sweeps[:-1])


def pieces_about(edges: FloatArray) -> FloatArray:
    """At most how many pieces edges (..., 2) are cut into, shape (...). [1]"""
    return np.asarray(np.abs(edges).sum(axis=-1) + 3.0)  # one at each line of the grid, and those of its ends


def _add_even(flat: FloatArray, cut: CutEdges, amount: FloatArray) -> None:
    """Add to *flat*, whose running sum is asked for, what the edges lay evenly."""
    used = np.flatnonzero(amount[cut.edge])
    whole = -cut.rise[used] * amount[cut.edge[used]]  # an anticlockwise outline goes down on its left side
    here = whole * cut.x[used]
    np.add.at(flat, cut.at[used], whole - here)
    np.add.at(flat, cut.at[used] + 1, here)


def _add_sloped(flat: FloatArray, growing: FloatArray, cut: CutEdges, density: FloatArray) -> None:
    """Add to *flat* and *growing*: a cell gets the running sum of *flat*, and of *growing* times its middle's column.

    A cell right of a piece gets the integral over the strip beside the piece, which grows evenly with
    its column. The piece's own cell gets the integral right of the piece.
    """
    rise = -cut.rise
    level, east, north = (rise * one[cut.edge] for one in density)
    level += north * (cut.row + cut.y)
    corner = level + east * cut.column
    own = corner * (1 - cut.x) + east * ((1 - cut.x**2 - cut.run**2 / 12) / 2) - north * (cut.run * cut.climb / 12)
    less = corner + east / 2 - own  # a whole cell in that column would get so much more
    np.add.at(flat, cut.at, level - less)
    np.add.at(flat, cut.at + 1, less)
    np.add.at(growing, cut.at, east)


def _cuts(grid: Grid, begin: FloatArray, end: FloatArray, last_column: IntArray | None) -> Iterator[CutEdges]:
    """Pieces of all edges, so many at a time that memory stays small."""
    running = np.cumsum(pieces_about(end - begin))
    most = running[-1] if len(running) else 0.0
    bounds = np.searchsorted(running, np.arange(CUTS_AT_ONCE, most, CUTS_AT_ONCE))
    for first, last in pairwise([0, *bounds.tolist(), len(begin)]):
        chosen = slice(first, last)
        own = None if last_column is None else last_column[chosen]
        cut = _cut(grid, begin[chosen], end[chosen], own)
        yield replace(cut, edge=cut.edge + first)


def _cut(grid: Grid, begin: FloatArray, end: FloatArray, last_column: IntArray | None = None) -> CutEdges:
    """Edges cut at all lines of *grid*; parameters as in :func:`spread`."""
    upward = end[:, 1] >= begin[:, 1]
    low = np.where(upward[:, None], begin, end)
    high = np.where(upward[:, None], end, begin)
    sloped = np.flatnonzero(high[:, 1] > low[:, 1])
    low, high = low[sloped], high[sloped]
    slope = (high[:, 0] - low[:, 0]) / (high[:, 1] - low[:, 1])
    bottom = np.floor(low[:, 1]).astype(np.int64)
    edge, row = _counted(np.ceil(high[:, 1]).astype(np.int64) - bottom, bottom)
    y0, y1 = np.maximum(low[edge, 1], row), np.minimum(high[edge, 1], row + 1)
    x0 = low[edge, 0] + (y0 - low[edge, 1]) * slope[edge]
    x1 = low[edge, 0] + (y1 - low[edge, 1]) * slope[edge]
    left, right = np.minimum(x0, x1), np.maximum(x0, x1)
    first = np.floor(left).astype(np.int64)
    part, column = _counted(np.maximum(np.ceil(right).astype(np.int64) - first, 1), first)
    from_x, to_x = np.maximum(left[part], column), np.minimum(right[part], column + 1)
    width = (right - left)[part]
    with np.errstate(invalid="ignore", divide="ignore"):  # how far along the edge: the same for both cells at a cut
        t0 = np.where(from_x > left[part], (from_x - left[part]) / width, 0.0)
        t1 = np.where(to_x < right[part], (to_x - left[part]) / width, 1.0)
    east = (x1 >= x0)[part]
    edge, row, y0, y1 = edge[part], row[part], y0[part], y1[part]
    climb = (y1 - y0) * (t1 - t0)
    middle = y0 + (y1 - y0) * np.where(east, t0 + t1, 2.0 - t0 - t1) / 2
    if last_column is not None:
        column = np.minimum(column, last_column[sloped[edge]])
    rise = np.where(upward[sloped[edge]], climb, -climb)
    run = np.where(east, to_x - from_x, from_x - to_x)
    at = grid.index(row, column)
    return CutEdges(sloped[edge], row, column, at, rise, (from_x + to_x) / 2 - column, middle - row, run, climb)


def _counted(count: IntArray, first: IntArray) -> tuple[IntArray, IntArray]:
    """Owner of each of *count* items, and the items numbered from the owner's *first*."""
    owner = np.repeat(np.arange(len(count)), count)
    return owner, np.arange(len(owner)) + np.repeat(first - (np.cumsum(count) - count), count)
