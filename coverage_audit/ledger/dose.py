"""What every spot of a field got of one product over the season: the jobs' rate surfaces added on one grid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.rate.places import connected
from coverage_audit.rate.tolerances import BAND_SLACK, SWEPT_SHARE
from coverage_audit.units import HECTARE_M2

from .tolerances import MOST_DOSE_CELLS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.read.result_record import RecordSurface


CELLS_AT_ONCE = 32_768
"""Cells that are shared out at a time: so many stay in the processor's own memory. [1]"""


@dataclass(frozen=True, eq=False)
class DoseGrid:
    """Cells of a plane about a place: cell (r, c) spans c to c + 1 times ``cell_m`` east of it, r likewise north.

    ``row``, ``column`` number the grid's first cell, ``rows``, ``columns`` are its size.
    """

    origin: PlaneOrigin
    cell_m: float
    row: int
    column: int
    rows: int
    columns: int


@dataclass(frozen=True, eq=False)
class Share:
    """One job on the grid: places in the long array (row by row), with ``litres`` of mix and ``swept`` share [1]."""

    at: IntArray
    litres: FloatArray
    swept: FloatArray


@dataclass(frozen=True, eq=False)
class Dose:
    """Product on the swept cells of a grid: ``at`` as in :class:`Share`, ``per_ha`` the dose, ``swept`` the share."""

    grid: DoseGrid
    at: IntArray
    per_ha: FloatArray
    swept: FloatArray

    @cached_property
    def area_m2(self) -> FloatArray:
        """Swept ground of each cell, shape (n,). [m2]"""
        return self.swept * self.grid.cell_m**2

    @property
    def amount(self) -> float:
        """All that lies on the grid. [L or kg]"""
        return float(self.per_ha @ self.area_m2) / HECTARE_M2


def grid_for(surfaces: Sequence[RecordSurface]) -> DoseGrid:
    """Grid that holds all *surfaces*: the plane of the first, the cells of the coarsest.

    So a field with one job has the cells of that job.
    """
    first = surfaces[0]
    origin = PlaneOrigin(first.lon_deg, first.lat_deg)
    cell_m = max(one.cell_m for one in surfaces)
    corners = np.concatenate([_corners(one) @ _affine(one, origin)[0] + _affine(one, origin)[1] for one in surfaces])
    (west, south), (east, north) = corners.min(axis=0), corners.max(axis=0)
    while (east - west) * (north - south) / cell_m**2 > MOST_DOSE_CELLS:
        cell_m *= 2
    row, column = math.floor(south / cell_m) - 1, math.floor(west / cell_m) - 1
    rows, columns = math.ceil(north / cell_m) + 2 - row, math.ceil(east / cell_m) + 2 - column
    return DoseGrid(origin, cell_m, row, column, rows, columns)


def _corners(surface: RecordSurface) -> FloatArray:
    """Corners of the box of all cells, shape (4, 2). [m]"""
    west, east = int(surface.column.min()), int(surface.column.max()) + 1
    south, north = int(surface.row.min()), int(surface.row.max()) + 1
    return np.array([[west, south], [east, south], [east, north], [west, north]], float) * surface.cell_m


def _affine(surface: RecordSurface, origin: PlaneOrigin) -> tuple[FloatArray, FloatArray]:
    """Matrix (2, 2) and offset (2,) from the surface's plane to that about *origin*.

    Two equal-area planes a kilometre apart differ from such a map by (d / 2R)^2 of the distance: 0.01 mm.
    """
    own = PlaneOrigin(surface.lon_deg, surface.lat_deg)
    if own == origin:
        return np.eye(2), np.zeros(2)
    reach = max(float(np.abs(_corners(surface)).max()), 1.0)
    probe = np.array([[0.0, 0.0], [reach, 0.0], [0.0, reach]])
    placed = np.column_stack(Plane(origin).to_metres(*Plane(own).to_degrees(probe[:, 0], probe[:, 1])))
    return (placed[1:] - placed[0]) / reach, placed[0]


def share_on(grid: DoseGrid, surface: RecordSurface) -> Share:
    """A job's surface on *grid*: what lies in each of its cells is shared out by the ground both have in common.

    Cells are taken as parallel (meridians of one field turn by less than a thousandth), so that each touches at
    most two by two cells of the grid; nothing is lost.
    """
    placing = _affine(surface, grid.origin)
    litres, swept = np.zeros((2, grid.rows * grid.columns))
    for first in range(0, len(surface.row), CELLS_AT_ONCE):
        for at, *shares in _shared_out(grid, surface, slice(first, first + CELLS_AT_ONCE), placing):
            least = int(at.min())
            for summed, weights in zip((litres, swept), shares, strict=True):
                part = np.bincount(at - least, weights=weights)
                summed[least : least + len(part)] += part
    found = np.flatnonzero(swept > SWEPT_SHARE)
    return Share(found, litres[found], swept[found])


def _shared_out(
    grid: DoseGrid, surface: RecordSurface, part: slice, placing: tuple[FloatArray, FloatArray]
) -> Iterator[tuple[IntArray, FloatArray, FloatArray]]:
    """Places on *grid* that a *part* of a surface's cells meet, and what each gives there: litres, and share swept."""
    turn, offset = placing
    size = surface.cell_m / grid.cell_m
    east, north = (surface.column[part] + 0.5) * surface.cell_m, (surface.row[part] + 0.5) * surface.cell_m
    swept = surface.swept[part] * size**2
    litres = surface.rate_l_ha[part] * surface.swept[part] * surface.cell_m**2 / HECTARE_M2
    firsts, shares = [], []
    for k in (0, 1):
        low = (east * turn[0, k] + north * turn[1, k] + offset[k]) / grid.cell_m - size / 2
        first = np.floor(low + 1e-6).astype(np.int64)  # a cell that lies on its own is not split by rounding
        beyond = np.clip((low + size - first - 1) / size, 0.0, 1.0)
        beyond[beyond < 1e-6] = 0.0
        firsts.append(first)
        shares.append((1.0 - beyond, beyond))
    at = (firsts[1] - grid.row) * grid.columns + firsts[0] - grid.column
    for up, upper in enumerate(shares[1]):
        for right, righter in enumerate(shares[0]):
            share = upper * righter
            if share.any():
                yield at + (up * grid.columns + right), litres * share, swept * share


def dose_of(grid: DoseGrid, shares: Sequence[tuple[Share, float]]) -> Dose:
    """Dose of one product; each job's share with the product in a litre of its mix [L/L or kg/L].

    A cell that two jobs swept in part is taken to be swept by as much as they may have together, so that swaths that
    meet in it are no overlap; the cell beside it tells where they do.
    """
    amount, swept = np.zeros((2, grid.rows * grid.columns))
    for share, per_l in shares:
        amount[share.at] += share.litres * per_l
        swept[share.at] += share.swept
    at = np.flatnonzero(swept > SWEPT_SHARE)
    ground = np.minimum(swept[at], 1.0)
    return Dose(grid, at, amount[at] / ground * (HECTARE_M2 / grid.cell_m**2), ground)


def above(dose: Dose, limit_per_ha: float) -> tuple[float, list[IntArray]]:
    """Ground above *limit_per_ha* [m2], and its connected places as numbers into the dose's arrays, largest first."""
    chosen = np.flatnonzero(dose.per_ha > limit_per_ha * (1 + BAND_SLACK))
    if not len(chosen):
        return 0.0, []
    area = dose.area_m2[chosen]
    row, column = np.divmod(dose.at[chosen], dose.grid.columns)
    place = connected(row, column)
    sizes = np.bincount(place, weights=area)
    order = np.argsort(place, kind="stable")
    groups = np.split(chosen[order], np.cumsum(np.bincount(place))[:-1])
    return float(area.sum()), [groups[k] for k in np.argsort(-sizes, kind="stable")]


def middle_deg(dose: Dose, cells: IntArray) -> tuple[float, float]:
    """Latitude and longitude of the cell among *cells* that lies nearest to their middle."""
    row, column = np.divmod(dose.at[cells], dose.grid.columns)
    near = int(np.argmin((row - row.mean()) ** 2 + (column - column.mean()) ** 2))
    x = (int(column[near]) + dose.grid.column + 0.5) * dose.grid.cell_m
    y = (int(row[near]) + dose.grid.row + 0.5) * dose.grid.cell_m
    lon, lat = Plane(dose.grid.origin).to_degrees(x, y)
    return float(lat), float(lon)
