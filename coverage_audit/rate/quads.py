"""Spray laid on the ground by quadrilaterals: none crosses itself, and each has its rate and its slope."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .tolerances import LEAST_SLOPED_CELLS, NARROW_STEP_M

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Laid:
    """Spray laid on the ground: quadrilaterals (n, 4, 2) [m], others (n,).

    Corners run left begin, left end, right end, right begin; none crosses itself. ``area_m2`` is never
    negative; ``point``: too little ground to be spread over, so it is laid at the middle. ``step``
    numbers the step, ``speed_m_s`` is that of the part itself. ``cell_m``: side of the cells for which
    the parts are fine enough.
    """

    corners: FloatArray
    litres: FloatArray
    area_m2: FloatArray
    point: BoolArray
    step: IntArray
    speed_m_s: FloatArray
    cell_m: float

    def take(self, keep: BoolArray | IntArray) -> Laid:
        """The quadrilaterals selected by *keep*, shape (n,) bool or numbers."""
        return Laid(
            self.corners[keep],
            self.litres[keep],
            self.area_m2[keep],
            self.point[keep],
            self.step[keep],
            self.speed_m_s[keep],
            self.cell_m,
        )


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross product of vectors (..., 2): positive when *b* is left of *a*."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def uncrossed(laid: Laid) -> Laid:
    """*laid* with each quadrilateral that crosses itself as its two lobes, litres by their areas.

    Filled as one outline, the lobes of such a bow-tie count against each other: the smaller would get
    less than nothing.
    """
    turns = [
        cross(laid.corners[:, k] - laid.corners[:, k - 1], laid.corners[:, (k + 1) % 4] - laid.corners[:, k])
        for k in range(4)
    ]
    left = sum((turn > 0).astype(int) for turn in turns)
    right = sum((turn < 0).astype(int) for turn in turns)
    crossed = np.flatnonzero((left == 2) & (right == 2) & ~laid.point)  # a dent is one turn against three
    if not len(crossed):
        return laid
    lobes, areas = _lobes(laid.corners[crossed])
    whole = areas.sum(axis=1, keepdims=True)
    share = np.where(whole > 0, areas / np.where(whole > 0, whole, 1.0), 0.5)
    twice = laid.take(np.repeat(crossed, 2))
    new = Laid(
        lobes.reshape(-1, 4, 2),
        twice.litres * share.ravel(),
        areas.ravel(),
        areas.ravel() < NARROW_STEP_M * np.ptp(lobes.reshape(-1, 4, 2), axis=1).max(axis=1),
        twice.step,
        twice.speed_m_s,
        laid.cell_m,
    )
    kept = laid.take(np.setdiff1d(np.arange(len(laid.litres)), crossed))
    return Laid(
        np.concatenate([kept.corners, new.corners]),
        np.concatenate([kept.litres, new.litres]),
        np.concatenate([kept.area_m2, new.area_m2]),
        np.concatenate([kept.point, new.point]),
        np.concatenate([kept.step, new.step]),
        np.concatenate([kept.speed_m_s, new.speed_m_s]),
        laid.cell_m,
    )


def _lobes(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both triangles of bow-ties (n, 4, 2): corners (n, 2, 4, 2), the last one twice, and areas (n, 2)."""
    a, b, c, d = np.moveaxis(corners, 1, 0)
    sides = cross(b - a, c - a) * cross(b - a, d - a) <= 0  # the ends c, d lie to both sides of a-b
    start, way = np.where(sides[:, None], a, b), np.where(sides[:, None], b - a, c - b)
    other, along = np.where(sides[:, None], c, d), np.where(sides[:, None], d - c, a - d)
    bottom = cross(way, along)
    share = cross(other - start, along) / np.where(bottom == 0, 1.0, bottom)
    meet = start + way * np.clip(share, 0.0, 1.0)[:, None]
    first = np.where(sides[:, None, None], np.stack([meet, b, c, c], 1), np.stack([a, b, meet, meet], 1))
    second = np.where(sides[:, None, None], np.stack([a, meet, d, d], 1), np.stack([meet, c, d, d], 1))
    lobes = np.stack([first, second], axis=1)
    areas = np.abs(cross(lobes[:, :, 1] - lobes[:, :, 0], lobes[:, :, 2] - lobes[:, :, 0])) / 2
    return lobes, areas


def density(corners: FloatArray, per_cell: FloatArray) -> FloatArray:
    """Litres per cell at the plane's origin, and how they grow by a cell eastwards and northwards, shape (n, 3).

    Equal shares of the boom go equal times: across a quadrilateral the spray on the ground falls as the
    way grows. It is taken as falling evenly, with the quadrilateral's own mean at its centroid, so that
    its litres stay what they are. From the definition of flow, no source.

    Parameters
    ----------
    corners : (n, 4, 2) float
        Quadrilaterals that are no points. [cells]
    per_cell : (n,) float
        Mean of each. [L per cell]
    """
    left, right = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 3]
    way = (left + right) / 2
    length = np.hypot(*way.T)
    normal = np.column_stack([way[:, 1], -way[:, 0]]) / np.where(length > 0, length, 1.0)[:, None]
    across = ((corners[:, 2] + corners[:, 3] - corners[:, 0] - corners[:, 1]) / 2 * normal).sum(axis=1)
    longer = ((right - left) * way).sum(axis=1)
    sized = across * length**2
    sloped = (np.abs(across) > LEAST_SLOPED_CELLS) & (length > 0)
    slope = np.where(sloped, -longer / np.where(sloped, sized, 1.0), 0.0)
    centroid = _centroid(corners)
    aside = ((corners - centroid[:, None]) * normal[:, None]).sum(axis=2)
    slope = slope / np.maximum(1.0, -(slope[:, None] * aside).min(axis=1, initial=0.0))  # nowhere less than nothing
    gradient = (per_cell * slope)[:, None] * normal
    return np.column_stack([per_cell - (gradient * centroid).sum(axis=1), gradient])


def _centroid(corners: FloatArray) -> FloatArray:
    """Centroids of quadrilaterals with some area, shape (n, 2)."""
    a, b, c, d = np.moveaxis(corners, 1, 0)
    halves = cross(b - a, c - a), cross(c - a, d - a)
    weight = (halves[0] / (halves[0] + halves[1]))[:, None]
    return np.asarray((a + b + c) / 3 * weight + (a + c + d) / 3 * (1 - weight))
