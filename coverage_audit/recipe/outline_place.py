"""Whether the outline would fit the drive in another place: told, never moved."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import PLACE_AS_GOOD, PLACE_CELLS, PLACE_FULL, PLACE_GAINED, PLACE_HOLDS, PLACE_REACH

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray


@dataclass(frozen=True)
class Moved:
    """Where the outline would fit: how far to move it [m], which way [deg from north], and how much of it is worked."""

    shift_m: float
    heading_deg: float
    share: float


def better_place(field: BaseGeometry, worked: BaseGeometry, least_m: float) -> Moved | None:
    """Where *field* would hold nearly all *worked* ground and be nearly full of it, as it does not where it lies.

    Places are compared on a grid, all at once: the ground that field and work share in each is a correlation, a
    product of their Fourier transforms (textbook).

    Parameters
    ----------
    field, worked : polygon or multipolygon
        The outline, and all ground that was driven over pass beside pass, inside and out. [m]
    least_m : float
        Nearer places are the same. [m]
    """
    west, south, east, north = field.bounds
    cell = max(east - west, north - south) / PLACE_CELLS
    reach = PLACE_REACH * PLACE_CELLS
    corner = west - reach * cell, south - reach * cell
    size = PLACE_CELLS + 2 * reach
    grids = [_grid(shape, corner, cell, size) for shape in (field, worked)]
    own, ground = grids[0].sum(), grids[1].sum()
    if not own or not ground:
        return None
    # padded, so that what goes out on one side does not come in on the other
    parts = [np.fft.rfft2(grid, (2 * size, 2 * size)) for grid in grids]
    shared = np.fft.irfft2(np.conj(parts[0]) * parts[1], (2 * size, 2 * size))
    best = float(shared.max())
    # turns beyond the edge leave room: of places as good as one another the middle is told
    places = np.array(np.nonzero(shared >= PLACE_AS_GOOD * best))
    up, right = (places - 2 * size * (places > size)).mean(axis=1).tolist()
    away_m = cell * math.hypot(up, right)
    fits = best >= PLACE_FULL * own and best >= PLACE_HOLDS * ground
    if not fits or best - float(shared[0, 0]) < PLACE_GAINED * own or away_m < least_m:
        return None
    return Moved(away_m, math.degrees(math.atan2(right, up)) % 360, float(min(best / own, 1.0)))


def _grid(shape: BaseGeometry, corner: tuple[float, float], cell_m: float, size: int) -> FloatArray:
    """1 in each cell whose middle *shape* holds, rows from the south, shape (size, size)."""
    east, north = np.meshgrid(np.arange(size) + 0.5, np.arange(size) + 0.5)
    shapely.prepare(shape)
    return np.asarray(shapely.contains_xy(shape, corner[0] + cell_m * east, corner[1] + cell_m * north), float)
