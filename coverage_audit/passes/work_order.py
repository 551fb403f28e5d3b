"""Who comes first over a spot sprays it: tails and turns held against what was done before them and after."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from .model import TAIL, TURN
from .state_tolerances import (
    DOUBT,
    FIRST_CHANCE,
    FIRST_SHARE,
    INSIDE_SHARE,
    LATER_SHARE,
    LATER_UNITS,
    OVER_AGAIN_CHANCE,
    OVER_AGAIN_SHARE,
    SMOOTHED_UNITS,
    TAIL_FIRST_SHARE,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .work_ground import Units
    from .work_state import Segment


def in_order(units: Units, found: Sequence[Segment]) -> list[Segment]:
    """Segments with tails and turns cut where the ground below them was fresh when they came, and where it was not.

    Ground that a driver comes to first is done on the way; he does not know that he will come again. Ground that was
    done before is not done again while turning.
    """
    on = np.zeros(len(units.length_m), bool)
    for one in found:
        on[one.first : one.last] = one.chance > DOUBT
    before, after = _shares(units, on)
    within = units.inside > INSIDE_SHARE
    first = {
        TAIL: within & (before < TAIL_FIRST_SHARE),
        TURN: within & (before < FIRST_SHARE) & (after < LATER_SHARE),
    }
    again = before >= OVER_AGAIN_SHARE
    parts: list[Segment] = []
    for one in found:
        if one.kind not in first:
            parts.append(one)
            continue
        state = np.where(first[one.kind], 1, np.where(again & (one.kind == TURN), -1, 0))[one.first : one.last]
        for a, b in _runs(state):
            parts.append(replace(one, first=one.first + a, last=one.first + b, chance=_chance(one, int(state[a]))))
    return parts


def _chance(one: Segment, state: int) -> float:
    """Chance of a part that came first (1), that went over ground done before (-1), or neither."""
    if state > 0:
        return max(one.chance, FIRST_CHANCE)
    return min(one.chance, OVER_AGAIN_CHANCE) if state < 0 else one.chance


def _shares(units: Units, on: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Share of each unit's cells that units *on* visited before it, and after it but not before. Shape (n,)."""
    count = len(on)
    first, last = np.full(units.cells, count + LATER_UNITS), np.full(units.cells, -1 - LATER_UNITS)
    done = on[units.unit]
    np.minimum.at(first, units.cell[done], units.unit[done])
    np.maximum.at(last, units.cell[done], units.unit[done])
    before = first[units.cell] < units.unit - LATER_UNITS
    after = ~before & (last[units.cell] > units.unit + LATER_UNITS)
    size = np.maximum(np.bincount(units.unit, minlength=count), 1)
    found = [np.bincount(units.unit, weights=one, minlength=count) / size for one in (before, after)]
    return _smoothed(found[0]), _smoothed(found[1])


def _smoothed(values: FloatArray) -> FloatArray:
    """Mean over a few neighbours, fewer at the ends."""
    window = np.ones(SMOOTHED_UNITS)
    size = np.convolve(np.ones(len(values)), window, "same")
    return np.convolve(values, window, "same") / size if len(values) >= SMOOTHED_UNITS else values


def _runs(state: IntArray) -> list[tuple[int, int]]:
    """Begin and end of each run of one state."""
    cuts = [0, *(np.flatnonzero(np.diff(state)) + 1).tolist(), len(state)]
    return list(pairwise(cuts))
