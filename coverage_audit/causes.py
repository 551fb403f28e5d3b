"""Which passes made each missed strip and each double patch, and how."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .model_passes import HEADLAND, STRAIGHT, Cause
from .tolerances import DRAWN_PATH_M
from .tolerances_passes import (
    CAUSE_PASSES,
    CAUSE_WIDTHS,
    FAMILY_DEG,
    OVER_WIDTHS,
    PARALLEL_DEG,
    SWITCHED_SHARE,
    SWITCHED_WELL_M,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from .model import FloatArray, Strip
    from .model_passes import Pass


@dataclass(frozen=True)
class _Near:
    """One pass near a finding: how far its line is, where along it, and its direction there."""

    one: Pass
    away_m: float
    at_m: float
    direction_rad: float
    side: float

    @property
    def time_s(self) -> float:
        """When the boom was beside the finding. [s]"""
        share = self.at_m / self.one.line.length if self.one.line.length > 0 else 0.0
        return self.one.start_s + share * (self.one.end_s - self.one.start_s)


def find_causes(strips: Sequence[Strip], passes: Sequence[Pass], width_m: float) -> dict[str, Cause]:
    """Cause of each finding, by its id; findings far from every pass have none."""
    numbered = [one for one in passes if one.kind in (HEADLAND, STRAIGHT) and one.line.length > 0]
    if not numbered or not strips:
        return {}
    lines = shapely.simplify(np.array([one.line for one in numbered], dtype=object), DRAWN_PATH_M)
    points = np.array([strip.label_point for strip in strips], dtype=object)
    strip, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=CAUSE_WIDTHS * width_m)
    away = shapely.distance(points[strip], lines[line])
    at = shapely.line_locate_point(lines[line], points[strip])
    a, b = (
        shapely.get_coordinates(shapely.line_interpolate_point(lines[line], np.maximum(at + step, 0.0)))
        for step in (-0.5, 0.5)
    )
    way, off = b - a, shapely.get_coordinates(points[strip]) - a
    direction = np.arctan2(way[:, 0], way[:, 1]).tolist()
    side = np.sign(way[:, 1] * off[:, 0] - way[:, 0] * off[:, 1]).tolist()
    near: list[list[_Near]] = [[] for _ in strips]
    for r in np.lexsort((away, strip)).tolist():
        if len(near[strip[r]]) < CAUSE_PASSES:
            near[strip[r]].append(_Near(numbered[line[r]], float(away[r]), float(at[r]), direction[r], side[r]))
    return {
        one.id: _double(one, some, width_m) if one.max_visits else _missed(one, some, width_m)
        for one, some in zip(strips, near, strict=True)
        if some
    }


def _missed(strip: Strip, near: list[_Near], width_m: float) -> Cause:
    straight = [one for one in near if one.one.kind == STRAIGHT]
    if strip.where in ("late on", "early off") and straight:
        extent = _extent(strip.polygon, straight[0].direction_rad)
        # across the boom it is a matter of switching; a skip that only touches such a place is not
        if strip.area_m2 >= SWITCHED_SHARE * width_m * extent:
            return _switched(strip, straight[0], extent, width_m)
    pair = _pair(near)
    if pair is not None:
        return _between(strip, pair, "spacing")
    if near[0].away_m < width_m / 2:  # the pass went over this ground with the boom off
        amount = _extent(strip.polygon, near[0].direction_rad)
        return Cause("boom off", (near[0].one.n,), amount, amount, near[0].time_s)
    return Cause("beside", (near[0].one.n,), strip.mean_width_m, strip.length_m, near[0].time_s)


def _switched(strip: Strip, one: _Near, extent_m: float, width_m: float) -> Cause:
    """Ground that the boom passed over switched off: at an end of the pass, or amid it."""
    from_start, from_end = one.at_m, one.one.line.length - one.at_m
    if min(from_start, from_end) > extent_m + CAUSE_WIDTHS * width_m:
        return Cause("boom off", (one.one.n,), extent_m, extent_m, one.time_s)
    entering = from_start < from_end
    told = one.one.on_late_m if entering else one.one.off_early_m
    amount = told if told is not None and told > extent_m / 2 else extent_m
    return Cause("late on" if entering else "early off", (one.one.n,), amount, strip.length_m, one.time_s)


def _double(strip: Strip, near: list[_Near], width_m: float) -> Cause:
    pair = _pair(near)
    if pair is not None:
        return _between(strip, pair, "overlap")
    over = [one for one in near if one.away_m < OVER_WIDTHS * width_m][:2]
    if {one.one.kind for one in over} == {HEADLAND, STRAIGHT}:
        return _at_headland(strip, next(one for one in over if one.one.kind == STRAIGHT))
    if over:
        numbers = tuple(sorted({one.one.n for one in over}))
        return Cause("crossing", numbers, strip.mean_width_m, strip.length_m, max(one.time_s for one in over))
    return Cause("beside", (near[0].one.n,), strip.mean_width_m, strip.length_m, near[0].time_s)


def _at_headland(strip: Strip, one: _Near) -> Cause:
    """Overlap of a pass with the headland: switched too wide, or a slanted end that has to overlap."""
    entering = one.at_m < one.one.line.length / 2
    told = one.one.on_late_m if entering else one.one.off_early_m
    amount = _extent(strip.polygon, one.direction_rad) if told is None else -told
    if amount < SWITCHED_WELL_M:
        return Cause("slanted end", (one.one.n,), strip.mean_width_m, strip.length_m, one.time_s)
    return Cause("on early" if entering else "off late", (one.one.n,), amount, strip.length_m, one.time_s)


def _between(strip: Strip, pair: tuple[_Near, _Near], kind: str) -> Cause:
    numbers = tuple(sorted(one.one.n for one in pair))
    return Cause(kind, numbers, strip.mean_width_m, strip.length_m, max(one.time_s for one in pair))


def _pair(near: list[_Near]) -> tuple[_Near, _Near] | None:
    """Nearest pass and the nearest one beyond the finding that runs along it."""
    first = near[0]
    for other in near[1:]:
        turned = abs((np.degrees(other.direction_rad - first.direction_rad) + 90) % 180 - 90)
        most = PARALLEL_DEG if other.one.kind == first.one.kind else FAMILY_DEG
        opposite = np.cos(other.direction_rad - first.direction_rad) * other.side * first.side < 0
        if turned <= most and opposite and other.one.n != first.one.n:
            return first, other
    return None


def _extent(polygon: BaseGeometry, direction_rad: float) -> float:
    """How long *polygon* is in a direction. [m]"""
    way: FloatArray = shapely.get_coordinates(polygon) @ np.array([np.sin(direction_rad), np.cos(direction_rad)])
    return float(np.ptp(way))
