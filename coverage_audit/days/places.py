"""Which field each fix lies in, and the visits to a field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from .model import NOWHERE
from .tolerances import TURN_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


def fields_at(
    x_m: FloatArray, y_m: FloatArray, outlines: Sequence[BaseGeometry], reach_m: float
) -> tuple[IntArray, BoolArray]:
    """Field of each fix, and whether it lies in the field's own ground.

    A fix in the ground of a field is that field's; one outside all of them is that of the field within *reach_m*, of
    several of the one before it, so that a pass along a shared edge does not jump to and fro.

    Parameters
    ----------
    x_m, y_m : arrays of shape (n,)
    outlines : sequence of polygons
        Outer edges of the fields. [m]
    reach_m : float
        By how much fields are widened. [m]

    Returns
    -------
    field : array of shape (n,)
        Number of the field, ``NOWHERE`` outside all of them.
    inside : array of shape (n,)
    """
    field = np.full(len(x_m), NOWHERE)
    inside = np.zeros(len(x_m), bool)
    nearest = np.full(len(x_m), np.inf)
    beside: dict[int, list[int]] = {}
    for number, outline in enumerate(outlines):
        close, distance = _close(x_m, y_m, outline, reach_m)
        own = close[(distance == 0) & ~inside[close]]
        field[own], inside[own] = number, True
        rim, apart = close[distance > 0], distance[distance > 0]
        for k in rim.tolist():
            beside.setdefault(k, []).append(number)
        nearer = (apart < nearest[rim]) & ~inside[rim]
        field[rim[nearer]], nearest[rim[nearer]] = number, apart[nearer]
    for k in sorted(k for k, fields in beside.items() if len(fields) > 1 and not inside[k]):
        if k and field[k - 1] in beside[k]:
            field[k] = field[k - 1]
    return field, inside


def _close(x_m: FloatArray, y_m: FloatArray, outline: BaseGeometry, reach_m: float) -> tuple[IntArray, FloatArray]:
    """Fixes within *reach_m* of a field, and their distances from it, 0 in it. [m]"""
    west, south, east, north = outline.bounds
    near = (x_m >= west - reach_m) & (x_m <= east + reach_m) & (y_m >= south - reach_m) & (y_m <= north + reach_m)
    index = np.flatnonzero(near)
    distance = shapely.distance(shapely.points(x_m[index], y_m[index]), outline)
    return index[distance <= reach_m], distance[distance <= reach_m]


def visits(time_s: FloatArray, there: BoolArray) -> list[tuple[int, int]]:
    """First and last fix of each visit: absences up to ``TURN_S`` end none."""
    index = np.flatnonzero(there)
    if not len(index):
        return []
    new = np.flatnonzero(np.diff(time_s[index]) > TURN_S) + 1
    firsts, lasts = np.concatenate([[0], new]), np.concatenate([new - 1, [len(index) - 1]])
    return [(int(index[a]), int(index[b])) for a, b in zip(firsts, lasts, strict=True)]
