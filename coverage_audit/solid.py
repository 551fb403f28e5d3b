"""Ground whose edges cross by rounding, made valid without losing any of it; jagged ground and ways, made otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from shapely.geometry.base import BaseGeometry

LEAST_KEPT = 0.5
"""Structural mending that leaves less of the area than this has lost ground. [1]"""

JAGGED_CORNERS, JAGGED_FOLDS = 500, 8.0
"""An outline of more corners than this, along which the ground to be taken off would cover the area this often. [1]"""

OVERLAY_GRID_M = 1e-6
"""Grid on which ground is overlaid where the exact way fails. [m]"""

RUN_CORNERS = 32
"""Sides of a jagged outline or way that are moved at a time. [1]"""


def solid(shape: BaseGeometry) -> BaseGeometry:
    """*shape* as valid ground, polygons only; what is valid stays as it is.

    The structural method of GEOS tells holes from ground, but loses whole polygons whose ring crosses itself by the
    last digit (seen with GEOS 3.14.1); of those every part that the edges enclose is taken. A hole that the last digit
    has put outside its ground it leaves there; moving the outline by nothing drops it.
    """
    if shape.is_valid:
        return shape
    mended = shapely.make_valid(shape, method="structure", keep_collapsed=False)
    if mended.area >= LEAST_KEPT * shape.area:
        return mended if mended.is_valid else shapely.buffer(mended, 0.0)
    parts = shapely.get_parts(shapely.make_valid(shape))
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])


def overlap(one: Any, other: Any) -> Any:  # noqa: ANN401 - shapes, or arrays of them pair by pair
    """Ground that is in both *one* and *other*."""
    return _overlaid(shapely.intersection, one, other)


def without(one: Any, other: Any) -> Any:  # noqa: ANN401 - shapes, or arrays of them pair by pair
    """Ground of *one* that is not in *other*."""
    return _overlaid(shapely.difference, one, other)


def _overlaid(overlay: Callable[..., Any], one: Any, other: Any) -> Any:  # noqa: ANN401
    """What *overlay* gives; noded on a grid where edges within rounding of each other defeat the exact way."""
    try:
        return overlay(one, other)
    except shapely.errors.GEOSException:
        return overlay(_all_solid(one), _all_solid(other), grid_size=OVERLAY_GRID_M)


def _all_solid(ground: Any) -> Any:  # noqa: ANN401
    return np.array([solid(one) for one in ground], dtype=object) if isinstance(ground, np.ndarray) else solid(ground)


def shrunk(ground: BaseGeometry, by_m: float, **style: float | str) -> BaseGeometry:
    """*ground* with its outline moved inward by *by_m* [m]; *style* as in ``shapely.buffer``."""
    return _moved(ground, -by_m, style)


def widened(ground: BaseGeometry, by_m: float, **style: float | str) -> BaseGeometry:
    """*ground* with its outline moved outward by *by_m* [m]; *style* as in ``shapely.buffer``."""
    return _moved(ground, by_m, style)


def near_ways(ways: Iterable[BaseGeometry], within_m: float) -> BaseGeometry:
    """Ground no farther than *within_m* from any of the lines *ways*. [m]

    GEOS moves a line as one curve, which takes minutes where it crosses itself by the thousand; here a run at a time.
    """
    runs = []
    for line in shapely.get_parts(np.array(list(ways), dtype=object)):
        corners = shapely.get_coordinates(line)
        runs += [shapely.LineString(corners[k : k + RUN_CORNERS + 1]) for k in range(0, len(corners) - 1, RUN_CORNERS)]
    return shapely.union_all(shapely.buffer(np.array(runs, dtype=object), within_m))


def _moved(ground: BaseGeometry, out_m: float, style: dict[str, float | str]) -> BaseGeometry:
    """*ground* with its outline moved outward by *out_m*, inward when less than 0. [m]

    GEOS moves a ring as one curve, which on a jagged outline crosses itself by the million (half a minute and 2 GB for
    2 000 spikes, 20 GB for a pond of 20 000 corners). There a run of sides at a time is moved, and what they pass over
    is added or taken off.
    """
    parts = shapely.get_parts(ground)
    jagged = shapely.get_num_coordinates(parts) > JAGGED_CORNERS
    jagged &= shapely.length(parts) * abs(out_m) > JAGGED_FOLDS * shapely.area(parts)
    with np.errstate(invalid="ignore", divide="ignore"):  # GEOS meets sides of no length, and goes on
        if not jagged.any():
            return shapely.buffer(ground, out_m, **style)
        parts[~jagged] = shapely.buffer(parts[~jagged], out_m, **style)
        change = shapely.union if out_m > 0 else shapely.difference
        parts[jagged] = [change(part, _passed_over(part, abs(out_m), style)) for part in parts[jagged]]
    return shapely.union_all(parts)


def _passed_over(part: BaseGeometry, within_m: float, style: dict[str, float | str]) -> BaseGeometry:
    """Ground no farther than *within_m* from the outline of *part*, found a run of its sides at a time."""
    runs = []
    for ring in shapely.get_rings(part):
        corners = shapely.get_coordinates(ring)
        corners = np.concatenate([corners, corners[1:2]])  # runs share a side, so that every corner lies amid one
        runs += [shapely.LineString(corners[k : k + RUN_CORNERS + 2]) for k in range(0, len(corners) - 2, RUN_CORNERS)]
    # round at their ends, or ground is left over there: GEOS smooths a curve, and an end may then face another way
    return shapely.union_all(shapely.buffer(np.array(runs, dtype=object), within_m, **style))
