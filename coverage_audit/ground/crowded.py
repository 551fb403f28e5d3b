"""Where the boom swept the same ground over and over: the spot, and boom lines without most of its rounds."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .tolerances import KEPT_TURN_RAD, SPOT_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import FloatArray, IntArray

    from .model import BoomLines


class Spot(NamedTuple):
    """A place gone round over and over: its middle, and the travel of the boom's centre at its begin and end. [m]"""

    x_m: float
    y_m: float
    first_m: float
    last_m: float


def crowded_spot(all_lines: Sequence[BoomLines], width_m: float) -> Spot:
    """The spot about which a boom of *width_m* turned most, of those with most boom lines.

    It is the longest turning without leaving a circle about the square that most boom lines have their middle in
    (no source).
    """
    x, y = (np.concatenate([getattr(one, axis) for one in all_lines]) for axis in ("x_m", "y_m"))
    squares = np.floor(np.column_stack([x, y]) / width_m)
    _, square, count = np.unique(squares, axis=0, return_inverse=True, return_counts=True)
    inside = square.ravel() == count.argmax()
    middle_x, middle_y = float(x[inside].mean()), float(y[inside].mean())
    most, found = -1.0, (0.0, 0.0)
    for lines in all_lines:
        near = np.hypot(lines.x_m - middle_x, lines.y_m - middle_y) <= SPOT_WIDTHS * width_m
        turned = _turned(lines.heading_rad)
        change = np.flatnonzero(np.diff(np.concatenate([[False], near, [False]]).astype(np.int8)))
        for first, beyond in zip(change[::2], change[1::2], strict=True):
            turn = float(turned[beyond - 1] - turned[first])
            if turn > most:
                most, found = turn, (float(lines.travel_m[first]), float(lines.travel_m[beyond - 1]))
    return Spot(middle_x, middle_y, *found)


def rounds_left_out(all_lines: Sequence[BoomLines], spot: Spot) -> tuple[list[BoomLines], tuple[float, float]]:
    """*all_lines* that sweep nothing between the first round at *spot* and the last one.

    Returns
    -------
    lines : list of BoomLines
        With a gap in place of the other rounds.
    travel : tuple of float
        Travel of the boom's centre at begin and end of what was left out; the same twice where nothing was. [m]
    """
    result, left_out = [], (spot.last_m, spot.last_m)
    for lines in all_lines:
        within = np.flatnonzero((lines.travel_m >= spot.first_m) & (lines.travel_m <= spot.last_m))
        rest = _between_rounds(lines, within)
        if len(rest) < 2:
            result.append(lines)
            continue
        gap, cut, keep = lines.gap_after.copy(), lines.cut.copy(), np.ones(len(lines.x_m), bool)
        gap[rest[0]] = True
        cut[rest[[0, -1]]] = False
        keep[rest[1:-1]] = False
        result.append(replace(lines, gap_after=gap, cut=cut).take(keep))
        begin, end = lines.travel_m[rest[[0, -1]]]
        left_out = (float(begin), float(end)) if left_out[0] == left_out[1] else (left_out[0], float(end))
    return result, left_out


def _between_rounds(lines: BoomLines, within: IntArray) -> IntArray:
    """Those of the boom lines *within* a spot that come after its first round and before its last one."""
    if not len(within):
        return within
    turned = _turned(lines.heading_rad)[within]
    return within[(turned - turned[0] >= KEPT_TURN_RAD) & (turned[-1] - turned >= KEPT_TURN_RAD)]


def _turned(heading_rad: FloatArray) -> FloatArray:
    """How far the boom has turned up to each line, to whichever side. [rad]"""
    return np.concatenate([[0.0], np.cumsum(np.abs(np.diff(heading_rad)))])
