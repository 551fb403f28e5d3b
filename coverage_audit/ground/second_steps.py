"""The second count's steps: quadrilaterals between boom lines, none crossing itself, short where ground is swept again.

A rule of its own for which boom lines are kept, so that it shares nothing with the partition that it judges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .tolerances import (
    CHUNK_TURN_DEG,
    RASTER_ALL_LINES,
    RASTER_MOST_PARTS,
    RASTER_STEP_DEG,
    RASTER_STEP_M,
    RASTER_STEP_REACH_M,
    RASTER_STEP_WIDTHS,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .model import BoomLines


@dataclass(frozen=True)
class Steps:
    """Quadrilaterals between consecutive boom lines, in time order; corners (n, 4, 2), travel (n, 2), others (n,). [m]

    ``plain``: the step belongs to a stretch that sweeps no cell twice, as any straight pass.
    ``travel_m`` jumps by more than one visit from stretch to stretch, so that sweeps of
    different stretches never look like one visit.
    """

    corners: FloatArray
    batch: IntArray
    travel_m: FloatArray
    plain: BoolArray


def laid_steps(all_lines: Sequence[BoomLines], turn: float, visit_m: float, longest_m: float) -> Steps:
    """Every step of every spraying part, numbered by batches in which no cell is visited twice.

    *longest_m*: where ground may be swept again. [m]
    """
    corners, batches, travels, stretches, backward, batch = [], [], [], [], [], 0
    for full in all_lines:
        lines = _decimate(full)
        moved = np.diff(lines.travel_m) + np.abs(np.diff(lines.heading_rad)) > 0
        used = np.flatnonzero(moved & ~lines.gap_after[:-1])
        if not len(used):
            continue
        number = batch + _batches(lines)[used]
        for left_m, right_m in lines.offsets_m:
            left, right = rotated(lines.tips(left_m), turn), rotated(lines.tips(right_m), turn)
            corners.append(np.stack([left[used], left[used + 1], right[used + 1], right[used]], axis=1))
            batches.append(number)
            travels.append(np.column_stack([lines.travel_m[used], lines.travel_m[used + 1]]))
            stretches.append(np.full(len(used), lines.stretch))
            backward.append(_any_backward(corners[-1]))
        batch = int(number[-1]) + 1
    if not corners:  # the log has a gap wherever the boom was on
        return Steps(np.empty((0, 4, 2)), np.empty(0, int), np.empty((0, 2)), np.empty(0, bool))
    order = np.argsort(np.concatenate(batches), kind="stable")
    batch_of, travel, stretch, back = (np.concatenate(one)[order] for one in (batches, travels, stretches, backward))
    plain = ~np.isin(stretch, stretch[np.append(np.diff(batch_of) * (np.diff(stretch) == 0), 0) > 0])
    plain &= ~np.isin(stretch, stretch[back])
    apart = travel + (stretch * 2 * visit_m)[:, None]
    laid = Steps(np.concatenate(corners)[order], batch_of, apart, plain)
    return in_short_steps(without_darts(without_ties(laid)), longest_m)


def without_ties(steps: Steps) -> Steps:
    """*steps* of which each that is a bow-tie is two triangles, so that no row of cells crosses one twice. [m]

    A bow-tie is a step in which the boom lines cross, or the ways of the two tips do.
    """
    a, b, c, d = np.moveaxis(steps.corners, 1, 0)
    lines, ways = _crossing(a, d, b, c), _crossing(a, b, d, c)
    by_lines, by_ways = np.isfinite(lines[:, 0]), np.isfinite(ways[:, 0])
    first = np.stack([a, np.where(by_ways[:, None], ways, b), np.where(by_ways[:, None], ways, c), d], axis=1)
    first[by_lines, 2:] = lines[by_lines, None]
    second = np.stack([ways, b, c, ways], axis=1)
    second[by_lines, :2], second[by_lines, 3] = lines[by_lines, None], d[by_lines]
    # where the lines cross, either triangle takes the whole step; where the ways do, one comes after the other
    turned = _length(ways - a) / (_length(ways - a) + _length(b - ways))
    early, late = steps.travel_m.copy(), steps.travel_m.copy()
    amid = (1 - turned) * steps.travel_m[:, 0] + turned * steps.travel_m[:, 1]
    early[by_ways, 1], late[by_ways, 0] = amid[by_ways], amid[by_ways]
    return _halved(steps, np.flatnonzero(by_lines | by_ways), (first, second), (early, late))


def without_darts(steps: Steps) -> Steps:
    """*steps* of which each that has a corner turned inwards is two triangles: one tip goes first, then the other. [m]

    Cut across as it is, its parts would fold over each other and beyond it. No step is a bow-tie.
    """
    back, ahead = (np.roll(steps.corners, by, axis=1) - steps.corners for by in (1, -1))
    turn = ahead[:, :, 0] * back[:, :, 1] - ahead[:, :, 1] * back[:, :, 0]
    inwards = turn * turn.sum(axis=1, keepdims=True) < 0
    dart, right_first = inwards.any(axis=1), (inwards[:, 0] | inwards[:, 2])[:, None]
    a, b, c, d = np.moveaxis(steps.corners, 1, 0)
    ends = np.where(right_first, a, b), np.where(right_first, c, d)  # of the boom between the two
    first, second = (np.stack(one, axis=1) for one in ((a, *ends, d), (ends[0], b, c, ends[1])))
    first = np.where(dart[:, None, None], first, steps.corners)
    early, late = steps.travel_m.copy(), steps.travel_m.copy()
    early[dart, 1] = late[dart, 0] = steps.travel_m[dart].mean(axis=1)
    return _halved(steps, np.flatnonzero(dart), (first, second), (early, late))


def _halved(
    steps: Steps, cut: IntArray, corners: tuple[FloatArray, FloatArray], travel_m: tuple[FloatArray, FloatArray]
) -> Steps:
    """*steps* with the first of *corners* and *travel_m*, those that are *cut* followed by the second of both."""
    of = np.concatenate([np.arange(len(steps.corners)), cut])
    order = np.argsort(of, kind="stable")
    laid, travel = (np.concatenate([one, other[cut]])[order] for one, other in (corners, travel_m))
    return Steps(laid, steps.batch[of[order]], travel, steps.plain[of[order]])


def _length(vector: FloatArray) -> FloatArray:
    return np.hypot(vector[:, 0], vector[:, 1])


def in_short_steps(steps: Steps, longest_m: float) -> Steps:
    """Steps without bow-ties, cut across so that no part that may be swept again is longer than *longest_m*. [m]"""
    begun_m, length = steps.travel_m[:, 0], np.diff(steps.travel_m, axis=1)[:, 0]
    longest_m = max(longest_m, float(length[~steps.plain].sum()) / RASTER_MOST_PARTS)
    parts = np.where(steps.plain, 1, np.maximum(1, np.ceil(length / longest_m))).astype(np.int64)
    step = np.repeat(np.arange(len(parts)), parts)
    place = np.arange(len(step)) - np.repeat(np.cumsum(parts) - parts, parts)
    begin, end = place / parts[step], (place + 1) / parts[step]
    left, right = steps.corners[step, 0], steps.corners[step, 3]
    to_left, to_right = steps.corners[step, 1] - left, steps.corners[step, 2] - right
    cut = [left + begin[:, None] * to_left, left + end[:, None] * to_left]
    cut += [right + end[:, None] * to_right, right + begin[:, None] * to_right]
    travel = begun_m[step, None] + np.column_stack([begin, end]) * length[step, None]
    return Steps(np.stack(cut, axis=1), steps.batch[step], travel, steps.plain[step])


def _crossing(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """Where each line a-b crosses the line c-d within both, NaN where it does not; all shape (n, 2)."""
    along, other, between = b - a, d - c, c - a
    turn = along[:, 0] * other[:, 1] - along[:, 1] * other[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        here = (between[:, 0] * other[:, 1] - between[:, 1] * other[:, 0]) / turn
        there = (between[:, 0] * along[:, 1] - between[:, 1] * along[:, 0]) / turn
        inside = (here > 0) & (here < 1) & (there > 0) & (there < 1)
        return np.where(inside[:, None], a + here[:, None] * along, np.nan)


def _any_backward(corners: FloatArray) -> BoolArray:
    """Whether a tip of each step moves against the other, so that quadrilaterals may overlap."""
    across = corners[:, 3] - corners[:, 0] + corners[:, 2] - corners[:, 1]
    left, right = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 3]
    ahead = [across[:, 0] * tip[:, 1] - across[:, 1] * tip[:, 0] for tip in (left, right)]
    return ahead[0] * ahead[1] <= 0


def _decimate(lines: BoomLines) -> BoomLines:
    """Boom lines about every ``RASTER_STEP_M`` and ``RASTER_STEP_DEG``: a rule of its own, not the partition's.

    A boom that reaches far is kept more often, so that its tips move no farther between two lines; so is a narrow one.
    """
    width = lines.offsets_m[-1][1] - lines.offsets_m[0][0]
    travel = np.floor(lines.travel_m / min(RASTER_STEP_M, RASTER_STEP_WIDTHS * width))
    reach = max(abs(side) for part in lines.offsets_m for side in part)
    heading = np.floor(np.degrees(lines.heading_rad) / (RASTER_STEP_DEG * min(1.0, RASTER_STEP_REACH_M / reach)))
    special = lines.gap_after | lines.cut
    keep = (np.diff(travel, prepend=-1) != 0) | (np.diff(heading, prepend=-1e9) != 0) | special
    keep[1:] |= special[:-1]
    forward = _forward(lines)
    keep[1:-1] |= forward[1:] != forward[:-1]  # as far as the boom came before it went back
    keep[[0, -1]] = True
    return lines.take(keep) if len(keep) > RASTER_ALL_LINES else lines


def _forward(lines: BoomLines) -> BoolArray:
    """Whether the boom's centre goes forwards in each step."""
    middle = (lines.heading_rad[1:] + lines.heading_rad[:-1]) / 2
    return np.diff(lines.x_m) * np.sin(middle) + np.diff(lines.y_m) * np.cos(middle) >= 0


def _batches(lines: BoomLines) -> IntArray:
    """Batch of each step: a new one when the heading has turned far or the boom changes direction."""
    limit = math.radians(CHUNK_TURN_DEG)
    middle = (lines.heading_rad[1:] + lines.heading_rad[:-1]) / 2
    forward = _forward(lines)
    turned = np.floor((middle - middle[0]) / limit + 0.5).astype(int)  # straight passes lie mid-bin
    change = (np.diff(turned) != 0) | (forward[1:] != forward[:-1]) | lines.cut[1:-1]
    return np.concatenate([[0], np.cumsum(change)])


def rotated(xy: FloatArray, angle: float) -> FloatArray:
    """*xy*, shape (..., 2), turned anticlockwise by *angle* [rad]."""
    cos, sin = math.cos(angle), math.sin(angle)
    return np.stack([xy[..., 0] * cos - xy[..., 1] * sin, xy[..., 0] * sin + xy[..., 1] * cos], axis=-1)
