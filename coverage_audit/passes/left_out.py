"""Passes left out: wide ground that was missed and that nothing was ever driven over."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
import shapely.ops

from coverage_audit.edges import parted
from coverage_audit.solid import overlap, shrunk, without

from .model import HEADLAND, STRAIGHT
from .tolerances import LEFT_OUT_LENGTH_WIDTHS, LEFT_OUT_NEAR_WIDTHS, LEFT_OUT_WIDTHS, PARALLEL_DEG

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from .model import Pass


def left_out(
    missed: BaseGeometry, passes: Sequence[Pass], width_m: float
) -> tuple[tuple[tuple[int, ...], float | None], ...]:
    """Passes left out, told by the passes beside them; see :class:`PassResult`.

    Ground that the boom passed over by any driving (a turn, transport, backing up) is no place where a pass was
    left out, whether or not it sprayed there.

    Parameters
    ----------
    missed : polygon or multipolygon
        Target that was not sprayed. [m]
    passes : sequence of Pass
        The diary.
    width_m : float
        Boom width. [m]
    """
    worked = [one for one in passes if one.kind in (HEADLAND, STRAIGHT) and one.line.length > 0]
    if not worked:
        return ()
    found: dict[tuple[int, ...], float | None] = {}
    lines = np.array([one.line for one in worked], dtype=object)
    for part in _bare(missed, passes, width_m):
        beside, apart = _beside(part, lines, width_m)
        found.setdefault(tuple(sorted(worked[k].n for k in beside)), apart)
    return tuple(sorted(found.items()))


def _bare(missed: BaseGeometry, passes: Sequence[Pass], width_m: float) -> list[BaseGeometry]:
    """Parts of *missed* that no driving went over, so wide and long that a pass belongs there."""
    # through a gap of the log something was driven, too: what is missed there is not known to be left out
    driven = [one.line for one in passes if one.line.length > 0]
    half = LEFT_OUT_WIDTHS / 2 * width_m
    # where it is too narrow there is no need to look for what was driven
    wide = shapely.buffer(shrunk(missed, half, quad_segs=2), half, quad_segs=2)
    near = [line for line in driven if shapely.dwithin(line, wide, width_m / 2)]
    swath = (
        shapely.union_all(shapely.buffer(parted(near), width_m / 2, cap_style="flat")) if near else shapely.Polygon()
    )
    bare = without(overlap(missed, wide), swath)
    cores = shapely.get_parts(shrunk(bare, half, quad_segs=2))
    return [core for core in cores if _reach(core) + 2 * half >= LEFT_OUT_LENGTH_WIDTHS * width_m]


def _reach(part: BaseGeometry) -> float:
    """Longest side of the smallest rectangle about *part*. [m]"""
    return float(shapely.minimum_rotated_rectangle(part).length) / 2


def _beside(part: BaseGeometry, lines: np.ndarray, width_m: float) -> tuple[tuple[int, ...], float | None]:
    """The nearest pass along *part* and the nearest one on its other side, if near, and how far apart they are. [m]"""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(part))
    sides = np.diff(corners, axis=0)[:2] if len(corners) > 2 else np.diff(corners, axis=0)
    axis = max(sides, key=lambda side: float(np.hypot(*side)))
    # where its long axis comes nearest to its middle the strip itself lies, bent or not
    middle = shapely.get_coordinates(shapely.ops.nearest_points(part, shapely.centroid(part))[0])[0]
    at = shapely.line_locate_point(lines, shapely.Point(middle))
    feet = shapely.get_coordinates(shapely.line_interpolate_point(lines, at))
    before, after = (
        shapely.get_coordinates(shapely.line_interpolate_point(lines, np.maximum(at + d, 0.0))) for d in (-1.0, 1.0)
    )
    way, off = after - before, feet - middle
    away = np.hypot(*off.T)
    turned = np.abs(way @ axis) / np.maximum(np.hypot(*way.T) * np.hypot(*axis), 1e-9)
    along = (turned >= np.cos(np.radians(PARALLEL_DEG))) & (away <= LEFT_OUT_NEAR_WIDTHS * width_m)
    away = np.where(along, away, np.inf) if along.any() else away
    first = int(np.argmin(away))
    beyond = (off @ off[first] < 0) & (away <= LEFT_OUT_NEAR_WIDTHS * width_m)
    if not beyond.any():
        return (first,), None
    second = int(np.argmin(np.where(beyond, away, np.inf)))
    return (first, second), float(away[first] + away[second])
