"""Gaps between the edges of swept ground that should meet, measured along the boom's way.

From the tips of the boom outwards, and ahead of a boom that was switched, a short probe looks for
the edge of other ground, or of the field, that faces it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.accuracy.model import Gaps
from coverage_audit.accuracy.tolerances import (
    END_INSET_SHARE,
    FACING,
    FACING_AHEAD,
    PROBE_REACH_WIDTHS,
    STRAIGHT_DEG,
    STRAIGHT_M,
)
from coverage_audit.ground.tolerances import VISIT_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.model import BoomPath
    from coverage_audit.ground.model import BoomLines

BETWEEN, EDGE, AHEAD = 0, 1, 2


@dataclass(frozen=True)
class _Tips:
    """Points on edges of swept ground, n = 2 per boom line; ``right`` is to the right of travel.

    ``line`` numbers the edges; ``straight``: the boom did not turn there. Nobody aims at even gaps in turns.
    """

    place: FloatArray
    outward: FloatArray
    right: FloatArray
    travel: FloatArray
    stretch: IntArray
    line: IntArray
    straight: BoolArray

    @classmethod
    def along(cls, all_lines: Sequence[BoomLines], step_m: float) -> _Tips:
        columns: list[list[np.ndarray]] = [[] for _ in range(7)]
        for number, lines in enumerate(all_lines):
            travel = _even(lines, step_m)
            if len(travel) < 2:
                continue
            x, y, heading = (
                np.interp(travel, lines.travel_m, one) for one in (lines.x_m, lines.y_m, lines.heading_rad)
            )
            right = np.column_stack([np.cos(heading), -np.sin(heading)])
            straight = _straight(travel, heading)
            gap = np.interp(travel, lines.travel_m, np.cumsum(lines.gap_after)).astype(int)
            for side, offset in ((-1.0, lines.offsets_m[0][0]), (1.0, lines.offsets_m[-1][1])):
                place = np.column_stack([x, y]) + offset * right
                chain = 4 * (1000 * number + gap) + int(side)
                same = np.full(len(travel), lines.stretch)
                for store, value in zip(
                    columns, (place, side * right, right, travel, same, chain, straight), strict=True
                ):
                    store.append(value)
        if not columns[0]:
            empty, pairs = np.empty(0), np.empty((0, 2))
            return cls(pairs, pairs, pairs, empty, empty.astype(int), empty.astype(int), empty.astype(bool))
        return cls(*(np.concatenate(one) for one in columns))


def _straight(travel: FloatArray, heading: FloatArray) -> BoolArray:
    """Where the heading changes by less than ``STRAIGHT_DEG`` within ``STRAIGHT_M`` to either side."""
    ahead, behind = (np.interp(travel + side * STRAIGHT_M, travel, heading) for side in (1, -1))
    bent = np.maximum(np.abs(ahead - heading), np.abs(heading - behind))
    return bent < np.radians(STRAIGHT_DEG)


def _even(lines: BoomLines, step_m: float) -> FloatArray:
    """Travel at about every *step_m* from the first boom line to the last. [m]"""
    low, high = float(lines.travel_m[0]), float(lines.travel_m[-1])
    return np.linspace(low, high, max(2, round((high - low) / step_m) + 1)) if high > low else np.empty(0)


def find_gaps(
    all_lines: Sequence[BoomLines], path: BoomPath, target: BaseGeometry, width_m: float, step_m: float
) -> Gaps:
    """All gaps and overlaps of less than half a boom, every *step_m* along the swept ground of *all_lines*. [m]"""
    tips = _Tips.along(all_lines, step_m)
    ends = _ends(all_lines)
    reach, apart = PROBE_REACH_WIDTHS * width_m, VISIT_WIDTHS * width_m
    found = [
        _met(tips, tips, reach, apart, FACING),
        _met_field(_segments(target), tips, reach),
        _first_touch(_met(tips, ends, reach, apart, FACING_AHEAD), ends, reach),
    ]
    probes = [tips, tips, ends]
    columns = {name: np.concatenate([getattr(one, name) for one in found]) for name in vars(found[0])}
    own_travel, own_right, own_stretch = (
        np.concatenate([getattr(ours, name)[one.probe] for ours, one in zip(probes, found, strict=True)])
        for name in ("travel", "right", "stretch")
    )
    return Gaps(
        gap_m=columns["gap"],
        normal=columns["along"],
        kind=np.repeat([BETWEEN, EDGE, AHEAD], [len(one.probe) for one in found]),
        own_s=np.interp(own_travel, path.travel_m, path.time_s),
        other_s=np.interp(columns["travel"], path.travel_m, path.time_s),
        own_travel_m=own_travel,
        other_travel_m=columns["travel"],
        own_lean=np.einsum("ij,ij->i", own_right, columns["along"]),
        other_lean=columns["lean"],
        own_stretch=own_stretch,
        other_stretch=columns["stretch"],
    )


@dataclass(frozen=True)
class _Met:
    """Edges that probes met; arrays of shape (n,), ``along`` (n, 2).

    ``along``: by how much the gap grows for each metre that the edge met is moved east and north.
    ``lean``: the same for a shift of its swath to the right.
    """

    probe: IntArray
    gap: FloatArray
    along: FloatArray
    travel: FloatArray
    lean: FloatArray
    stretch: IntArray

    def take(self, keep: IntArray) -> _Met:
        return _Met(*(column[keep] for column in vars(self).values()))


def _ends(all_lines: Sequence[BoomLines]) -> _Tips:
    """Both tips and the middle of the boom at each end of a stretch; outward is away from the swept ground."""
    rows: list[tuple[float, ...]] = []
    for index, lines in enumerate(all_lines):
        fresh = index == 0 or all_lines[index - 1].stretch != lines.stretch
        done = index == len(all_lines) - 1 or all_lines[index + 1].stretch != lines.stretch
        left, right = lines.offsets_m[0][0], lines.offsets_m[-1][1]
        inside = END_INSET_SHARE * (right - left)
        for at, wanted, away in ((0, fresh, -1.0), (-1, done, 1.0)):
            sin, cos = np.sin(lines.heading_rad[at]), np.cos(lines.heading_rad[at])
            for offset in (left + inside, (left + right) / 2, right - inside) if wanted else ():
                own = (lines.travel_m[at], lines.stretch, len(rows) // 3)
                rows.append((*lines.tips(offset)[at], away * sin, away * cos, cos, -sin, *own))
    table = np.array(rows).reshape(-1, 9)
    stretch, end = table[:, 7].astype(int), table[:, 8].astype(int)
    return _Tips(table[:, :2], table[:, 2:4], table[:, 4:6], table[:, 6], stretch, end, np.ones(len(table), bool))


def _first_touch(met: _Met, ends: _Tips, reach_m: float) -> _Met:
    """Of each end of a stretch the gap of the tip that leads there.

    A boom across a slanted edge is switched for the part that needs it. Where that tip met nothing, its gap
    follows from another's and the slant. Farther than *reach_m* the edge is another one than was meant.
    """
    end, right = ends.line[met.probe], ends.right[met.probe]
    aside = np.einsum("ij,ij->i", ends.place[met.probe] - ends.place[3 * end + 1], right)
    half = np.abs(np.einsum("ij,ij->i", ends.place[3 * end] - ends.place[3 * end + 1], right))
    lean = np.einsum("ij,ij->i", right, met.along)
    carried = np.abs(lean) * half + lean * aside
    near = np.flatnonzero(met.gap + carried <= reach_m)
    order = near[np.lexsort((carried[near], end[near]))]
    return replace(met, gap=met.gap + carried).take(order[np.flatnonzero(np.diff(end[order], prepend=-1))])


def _segments(area: BaseGeometry) -> FloatArray:
    """Sides of all rings of *area*, shape (n, 2, 2)."""
    sides = []
    for ring in shapely.get_parts(shapely.boundary(area)):
        for line in shapely.get_parts(ring):
            corners = shapely.get_coordinates(line)
            sides.append(np.stack([corners[:-1], corners[1:]], axis=1))
    return np.concatenate(sides)


def _crossings(
    edges: FloatArray, place: FloatArray, outward: FloatArray, reach_m: float
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Probe, edge, distance from the probe's place and share along the edge of every crossing."""
    ends = np.stack([place - reach_m * outward, place + reach_m * outward], axis=1)
    probe, edge = shapely.STRtree(shapely.linestrings(edges)).query(shapely.linestrings(ends), "intersects")
    along = edges[edge, 1] - edges[edge, 0]
    away = edges[edge, 0] - place[probe]
    cross = _cross(outward[probe], along)
    safe = np.where(cross == 0, np.inf, cross)
    return probe, edge, _cross(away, along) / safe, _cross(away, outward[probe]) / safe


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def _met(tips: _Tips, probes: _Tips, reach_m: float, apart_m: float, facing: float) -> _Met:
    """For each probe, the nearest edge of other swept ground that faces it; of two passes the later one probes."""
    first = np.flatnonzero(np.diff(tips.line) == 0)
    edges = np.stack([tips.place[first], tips.place[first + 1]], axis=1).reshape(-1, 2, 2)
    probe, edge, gap, share = _crossings(edges, probes.place, probes.outward, reach_m)
    tip = first[edge]
    travel = tips.travel[tip] + share * (tips.travel[tip + 1] - tips.travel[tip])
    before = probes.travel[probe] - travel
    along = _along(-tips.outward[tip], probes.outward[probe])
    fit = np.einsum("ij,ij->i", tips.outward[tip], probes.outward[probe]) < -facing
    fit &= (np.abs(before) > apart_m) & probes.straight[probe] & tips.straight[tip]
    if probes is tips:
        fit &= before > 0
    chosen = np.flatnonzero(fit)[_nearest(probe[fit], gap[fit])]
    lean = np.einsum("ij,ij->i", tips.right[tip], along)
    return _Met(probe, gap, along, travel, lean, tips.stretch[tip]).take(chosen)


def _along(normal: FloatArray, outward: FloatArray) -> FloatArray:
    """How a gap measured along *outward* grows as an edge with *normal* is moved, shape (n, 2)."""
    share = np.einsum("ij,ij->i", normal, outward)
    return normal / np.where(share == 0, np.inf, share)[:, None]


def _met_field(sides: FloatArray, tips: _Tips, reach_m: float) -> _Met:
    """For each tip, the nearest side of the target that runs along it."""
    probe, side, gap, _ = _crossings(sides, tips.place, tips.outward, reach_m)
    along = sides[side, 1] - sides[side, 0]
    fit = np.abs(_cross(along, tips.outward[probe])) > FACING * np.hypot(*along.T)
    fit &= tips.straight[probe]
    normal = _along(np.column_stack([along[:, 1], -along[:, 0]]), tips.outward[probe])
    none = np.full(len(probe), np.nan)
    met = _Met(probe, gap, normal, none, np.zeros(len(probe)), np.full(len(probe), -1))
    return met.take(np.flatnonzero(fit)[_nearest(probe[fit], gap[fit])])


def _nearest(probe: IntArray, gap: FloatArray) -> IntArray:
    """Index of the smallest gap of each probe."""
    order = np.lexsort((np.abs(gap), probe))
    return order[np.flatnonzero(np.diff(probe[order], prepend=-1))]
