"""Ground swept between neighbouring boom lines: steps that move with the lines, and runs of steps with one outline."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .tolerances import RUN_SECTORS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.ground.model import BoomLines


@dataclass(frozen=True, eq=False)
class Steps:
    """Ground swept between neighbouring boom lines: n four-cornered steps, in the order they were driven.

    ``corner_m`` (n, 4, 2): left and right tip after each other round the step; ``travel_m`` (n, 4)
    there. ``line`` (n, 4): which of all boom lines each corner is of. ``stretch`` (n,). ``ahead`` (n, 2): the middle
    direction of those that a step's boom is near to; ``onward`` (n,): whether a step goes on where the one before
    ended, with the same middle direction. [m]
    """

    corner_m: FloatArray
    travel_m: FloatArray
    line: IntArray
    stretch: IntArray
    ahead: FloatArray
    onward: BoolArray

    def moved(self, shift_m: FloatArray) -> Steps:
        """The steps with each boom line moved by its *shift_m*, shape (boom lines of all, 2). [m]"""
        return replace(self, corner_m=self.corner_m + shift_m[self.line])

    def starts(self) -> BoolArray:
        """Which steps begin a run, shape (n,); the ground of a run is one outline, and none of it is swept twice.

        For that its steps are convex, and both tips only advance in one direction, with all booms nearly square to it.
        """
        behind_left, left, right, behind_right = np.moveaxis(self.corner_m, (1, 2), (0, 1))
        on_left, on_right = left - behind_left, right - behind_right
        booms = behind_left - behind_right, left - right
        plain = np.ones(len(self.line), bool)
        for tip in (on_left, on_right):
            plain &= np.einsum("in,ni->n", tip, self.ahead) >= 0
            for boom in booms:
                plain &= tip[0] * boom[1] >= tip[1] * boom[0]
        joined = self.onward & plain
        joined[1:] &= plain[:-1]
        return np.asarray(~joined)


def steps_of(all_lines: Sequence[BoomLines]) -> Steps:
    """All steps that swept ground; those across a gap of the log did not."""
    parts = []
    first = 0
    for lines in all_lines:
        before = np.flatnonzero(~lines.gap_after[:-1])
        for left_m, right_m in lines.offsets_m:
            left, right = lines.tips(left_m), lines.tips(right_m)
            order = np.stack([before, before + 1, before + 1, before], axis=1)
            corner = np.stack([left[before], left[before + 1], right[before + 1], right[before]], axis=1)
            stretch = np.full(len(before), lines.stretch)
            parts.append((corner, lines.travel_m[order], first + order, stretch))
        first += len(lines.x_m)
    corner, travel, line, stretch = (np.concatenate(column) for column in zip(*parts, strict=True))
    ahead, sector = _sectors(corner[:, 0] - corner[:, 3])
    onward = np.zeros(len(line), bool)
    onward[1:] = (line[1:, 0] == line[:-1, 1]) & (sector[1:] == sector[:-1])
    return Steps(corner, travel, line, stretch, ahead, onward)


def _sectors(boom_m: FloatArray) -> tuple[FloatArray, IntArray]:
    """Middle direction of travel, shape (n, 2), and number of the sector that each *boom_m* (n, 2), to its left, is in.

    Sectors lie so that most booms are near a middle: passes to and fro and headlands square to them are not divided.
    """
    angle = np.arctan2(boom_m[:, 1], boom_m[:, 0])
    wide = 2 * np.pi / RUN_SECTORS
    first = np.angle(np.exp(1j * RUN_SECTORS * angle).sum()) / RUN_SECTORS
    sector = np.round((angle - first) / wide).astype(int) % RUN_SECTORS
    left = first + wide * sector
    return np.column_stack([np.sin(left), -np.cos(left)]), sector
