"""What ground each bit of the drive passes over, by cells: quick enough to try many boom states on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely

from coverage_audit.drive.tolerances import STAND_WINDOW_S
from coverage_audit.errors import InputError
from coverage_audit.ground.tolerances import VISIT_WIDTHS
from coverage_audit.later import scipy

from .state_tolerances import CELL_WIDTHS, HALF_HITS, MOST_CELLS, MOST_SAMPLES, SAMPLES_AT_ONCE, UNIT_WIDTHS

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.model import BoomPath

    from .way import Way

NOTHING_DRIVEN = (
    "no pass over the field could be recognised in the track, so no boom state can be assumed; list the times "
    "the boom was on in a CSV file with the header on,off"
)


@dataclass(frozen=True)
class Units:
    """The drive in short bits, and the cells of the target that the whole boom passes over in each.

    ``time_s`` (n, 2), ``length_m`` (n,), ``reverse`` (n,), ``swath_m2`` (n,). ``unit``, ``cell``
    (m,): every pair of a unit and a cell, by cell and then by travel; ``hits`` (m,): places of
    the unit in the cell, ``SAMPLES`` square of them when it is swept whole; ``fresh`` (m,): a visit begins with this
    pair. ``inside`` (n,): share of the unit's swath that is target, ``beyond`` (n,): that is outside the field.
    ``grid`` holds the cells.
    """

    time_s: FloatArray
    length_m: FloatArray
    reverse: BoolArray
    swath_m2: FloatArray
    inside: FloatArray
    beyond: FloatArray
    unit: IntArray
    cell: IntArray
    hits: IntArray
    fresh: BoolArray
    grid: Grid

    @property
    def cells(self) -> int:
        """How many cells the target has."""
        return self.grid.count

    @property
    def cell_m2(self) -> float:
        """Area of a cell. [m2]"""
        return self.grid.side_m**2

    def visits(self, on: BoolArray) -> IntArray:
        """How often each cell is visited with the units *on* (..., n), shape (..., cells); boom states side by side."""
        hits, visits = self._sums
        swept = hits @ on.T.astype(np.float32) >= HALF_HITS
        return np.ascontiguousarray((visits @ swept.astype(np.float32)).T.astype(np.int32))

    @cached_property
    def _sums(self) -> tuple[Any, Any]:
        """Sparse matrices: of the units, which give the hits of each visit; and of the visits, which are of a cell."""
        rows, first = scipy("sparse").csr_array, np.flatnonzero(self.fresh)
        count = len(first)
        ends = np.append(first, len(self.unit))
        hits = rows((self.hits.astype(np.float32), self.unit, ends), (count, len(self.length_m)))
        ends = np.searchsorted(self.cell[first], np.arange(self.cells + 1))
        return hits, rows((np.ones(count, np.float32), np.arange(count), ends), (self.cells, count))


def units_of(path: BoomPath, way: Way, target: BaseGeometry, outer: BaseGeometry, width_m: float) -> Units:
    """Cut the drive along *path* into units and lay each over the cells of *target*, a part of the field *outer*.

    Where the vehicle stood by *way* there are none: however long it jitters, it costs nothing.

    Raises
    ------
    InputError
        The vehicle stood all the time.
    """
    swept_m = np.where(_moving(path, way), _tips_moved(path, width_m / 2), 0.0)
    grid = Grid.over(target, outer, width_m, float(swept_m.sum()))
    base, share = _samples(swept_m, grid.side_m)
    if not len(base):  # it stood all the time
        raise InputError(NOTHING_DRIVEN, "boom.intervals")
    x, y, heading, travel, time = (
        column[base] + share * np.diff(column)[base]
        for column in (path.x_m, path.y_m, path.heading_rad, path.travel_m, path.time_s)
    )
    unit = _numbered(path, base, travel, time, UNIT_WIDTHS * width_m)
    cells = _cells_of(grid, unit, (x, y, heading), width_m)
    first = np.flatnonzero(np.diff(unit, prepend=-1))
    last = np.append(first[1:], len(unit)) - 1
    length = np.bincount(unit, weights=np.diff(path.travel_m)[base] / np.bincount(base)[base]).astype(float)
    middle = (travel[first] + travel[last]) / 2
    order = np.lexsort((middle[cells.unit], cells.cell))
    pair_unit, pair_cell, hits = cells.unit[order], cells.cell[order], cells.hits[order]
    apart = np.diff(middle[pair_unit]) > VISIT_WIDTHS * width_m
    begins = np.append(True, (np.diff(pair_cell) != 0) | apart)[: len(pair_unit)]
    times = np.column_stack([time[first], time[last]])
    reverse = path.reverse[base[first]]
    return Units(
        times, length, reverse, length * width_m, cells.inside, cells.beyond, pair_unit, pair_cell, hits, begins, grid
    )


BEYOND, NO_TARGET = -2, -1
"""What :meth:`Grid.cells_at` tells of places outside the field, and in the field but not in the target."""


@dataclass(frozen=True)
class Grid:
    """Square cells over the field, those of the target numbered."""

    left_m: float
    bottom_m: float
    side_m: float
    number: IntArray
    count: int

    @classmethod
    def over(cls, target: BaseGeometry, outer: BaseGeometry, width_m: float, way_m: float) -> Grid:
        """Cells over *outer*, as fine as the boom, and a way of *way_m* along them, ask for and memory allows. [m]"""
        left, bottom, right, top = outer.bounds
        least = max(float(np.sqrt((right - left) * (top - bottom) / MOST_CELLS)), 2 * way_m / MOST_SAMPLES)
        side = max(CELL_WIDTHS * width_m, least)
        x, y = np.arange(left + side / 2, right + side, side), np.arange(bottom + side / 2, top + side, side)
        places = np.meshgrid(x, y)
        shapely.prepare(target)
        shapely.prepare(outer)
        inside = shapely.contains_xy(target, *places)
        number = np.where(shapely.contains_xy(outer, *places), NO_TARGET, BEYOND)
        number[inside] = np.arange(inside.sum())
        return cls(left, bottom, side, number, int(inside.sum()))

    def cells_at(self, x: FloatArray, y: FloatArray) -> IntArray:
        """Number of the cell at each place; ``NO_TARGET`` or ``BEYOND`` where it is no target."""
        column, row = ((x - self.left_m) // self.side_m).astype(int), ((y - self.bottom_m) // self.side_m).astype(int)
        rows, columns = self.number.shape
        known = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
        return np.where(known, self.number[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)], BEYOND)


class _Cells(NamedTuple):
    """Every pair of a unit and a cell of the target and its hits; each unit's shares inside it and beyond the field."""

    unit: IntArray
    cell: IntArray
    hits: IntArray
    inside: FloatArray
    beyond: FloatArray


def _cells_of(grid: Grid, unit: IntArray, place: tuple[FloatArray, FloatArray, FloatArray], width_m: float) -> _Cells:
    """Cells below the boom at each sample, whose *place* is x, y and heading; so many samples at a time as fit."""
    across = np.arange(-width_m / 2 + grid.side_m / 4, width_m / 2, grid.side_m / 2)
    across = across if len(across) else np.zeros(1)  # cells far wider than the boom
    starts = np.flatnonzero(np.diff(unit, prepend=-1))
    cuts = np.unique(np.searchsorted(starts, np.arange(0, len(unit), max(SAMPLES_AT_ONCE // len(across), 1))))
    bounds = [*starts[cuts[cuts < len(starts)]].tolist(), len(unit)]
    found = []
    for low, high in pairwise(bounds):
        x, y, heading = (column[low:high, None] for column in place)
        own, first = unit[low:high], int(unit[low])
        cell = grid.cells_at(x + across * np.cos(heading), y - across * np.sin(heading))
        keys = own.repeat(len(across))[cell.ravel() >= 0] * (grid.count + 1) + cell[cell >= 0]
        pairs, hits = np.unique(keys, return_counts=True)
        size = np.bincount(own - first)
        shares = [np.bincount(own - first, weights=one.mean(axis=1)) / size for one in (cell >= 0, cell == BEYOND)]
        found.append(_Cells(*np.divmod(pairs, grid.count + 1), hits, *shares))
    return _Cells(*(np.concatenate(column) for column in zip(*found, strict=True)))


def _moving(path: BoomPath, way: Way) -> BoolArray:
    """Whether the vehicle moved in each step of *path*, shape (n - 1,)."""
    middle = (path.time_s[:-1] + path.time_s[1:]) / 2
    at = np.clip(np.searchsorted(way.time_s, middle, side="right") - 1, 0, len(way.time_s) - 1)
    return np.asarray(~way.standing[at] & (np.diff(path.travel_m) > 0) & ~path.gap_after[:-1])


def _tips_moved(path: BoomPath, half_m: float) -> FloatArray:
    """How far the boom moves in each step of *path* where it moves farthest, shape (n - 1,). [m]"""
    tips = []
    for offset in (-half_m, 0.0, half_m):
        tip_x = path.x_m + offset * np.cos(path.heading_rad)
        tip_y = path.y_m - offset * np.sin(path.heading_rad)
        tips.append(np.hypot(np.diff(tip_x), np.diff(tip_y)))
    return np.asarray(np.max(tips, axis=0))


def _samples(swept_m: FloatArray, side_m: float) -> tuple[IntArray, FloatArray]:
    """Steps of the path and places in them (0 to 1), so close that the boom moves half a cell or less between two."""
    count = np.ceil(swept_m / (side_m / 2)).astype(int)
    base = np.repeat(np.arange(len(count)), count)
    within = np.arange(len(base)) - np.repeat(np.cumsum(count) - count, count)
    return base, (within + 0.5) / count[base]


def _numbered(path: BoomPath, base: IntArray, travel: FloatArray, time: FloatArray, length_m: float) -> IntArray:
    """Number of the unit of each sample: a new one after *length_m*, at a reversal, after a gap and after a stop."""
    gaps = np.cumsum(path.gap_after)[base]
    stops = np.cumsum(np.diff(time, prepend=time[:1]) > STAND_WINDOW_S)
    keys = np.column_stack([np.floor(travel / length_m), path.reverse[base], gaps, stops])
    return np.cumsum(np.append(False, (np.diff(keys, axis=0) != 0).any(axis=1))[: len(base)]).astype(np.int64)
