"""The diary's spans: what is recognised laid end to end, so that every second of the drive is of one kind."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from .model import GAP, HEADLAND, REVERSING, STANDING, STRAIGHT, Span
from .tolerances import CORNER_MIN_DEG

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .way import Way

BREAKS = (REVERSING, STANDING, GAP)
"""What is told apart wherever it happens; the later ones come before the earlier ones."""


@dataclass(frozen=True)
class Cell:
    """Grid points ``first`` to ``last`` of the way that are of one kind; see :class:`Span`. [deg]"""

    first: int
    last: int
    kind: str
    block: int = 0
    direction_deg: float | None = None
    lap: int = 0


def laid_out(
    way: Way, marks: Sequence[Cell], between: Callable[[Cell | None, Cell], str], after: str
) -> Iterator[Cell]:
    """*marks* and what lies before, between and (of kind *after*) behind them, from the first point to the last."""
    previous: Cell | None = None
    for mark in marks:
        begin = previous.last if previous else 0
        if mark.first > begin:
            yield Cell(begin, mark.first, between(previous, mark))
        elif mark.first < begin:
            mark = replace(mark, first=begin)  # noqa: PLW2901 - two marks that overlap meet where the first one ends
        if mark.last > mark.first:
            yield mark
            previous = mark
    begin, last = previous.last if previous else 0, len(way.time_s) - 1
    if begin < last:
        yield Cell(begin, last, after)


def with_laps(way: Way, cells: Sequence[Cell]) -> Iterator[Cell]:
    """*cells* with the headland's numbered by lap: cut after each full turn, however many sides it has.

    Sides between which no straight pass was driven belong to one lap until the field has been gone round;
    what happens at a corner (backing up, a loop) counts as the corner alone.
    """
    lap, turned, left = 0, 0.0, True
    heading_rad = 0.0
    for cell in cells:
        if cell.kind == STRAIGHT:
            left = True
        if cell.kind != HEADLAND:
            yield cell
            continue
        own = way.heading_rad[cell.first : cell.last + 1]
        if left:
            lap, turned, left = lap + 1, 0.0, False
        else:
            turned += float((own[0] - heading_rad + np.pi) % (2 * np.pi) - np.pi)
        # a lap ends on the side it began on, before its first corner is turned again
        full = 2 * np.pi - np.radians(CORNER_MIN_DEG)
        rounds = np.maximum.accumulate(np.abs(turned + own - own[0])) // full
        cuts = [0, *(np.flatnonzero(np.diff(rounds) > 0) + 1).tolist(), len(own) - 1]
        lap += int(rounds[0] > 0)
        for number, (a, b) in enumerate((a, b) for a, b in pairwise(cuts) if b > a):
            yield replace(cell, first=cell.first + a, last=cell.first + b, lap=lap + number)
        lap += len(cuts) - 2
        turned, heading_rad = _since(turned + float(own[-1] - own[0]), full), float(own[-1])


def _since(turned_rad: float, full_rad: float) -> float:
    """What has been turned since the last lap ended. [rad]"""
    return float(np.sign(turned_rad) * (abs(turned_rad) % full_rad))


def broken(way: Way, cells: Sequence[Cell], breaks: Sequence[Span]) -> tuple[list[Cell], list[Cell]]:
    """*cells* with turns and transport cut at standing and *breaks*, and what of these lies within passes and laps."""
    state = _states(way, breaks)
    whole: list[Cell] = []
    within: list[Cell] = []
    for cell in cells:
        edges = np.flatnonzero(np.diff(state[cell.first : cell.last])) + 1
        cuts = [cell.first, *(edges + cell.first).tolist(), cell.last]
        parts = [(a, b, int(state[a])) for a, b in pairwise(cuts)]
        if cell.kind in (HEADLAND, STRAIGHT):
            whole.append(cell)
            within += [Cell(a, b, BREAKS[one - 1]) for a, b, one in parts if one]
        else:
            whole += [Cell(a, b, BREAKS[one - 1]) if one else replace(cell, first=a, last=b) for a, b, one in parts]
    return whole, within


def backing_up(way: Way, breaks: Sequence[Span]) -> BoolArray:
    """Whether the vehicle backed up in each step of the grid, shape (n - 1,)."""
    return np.asarray(_states(way, [one for one in breaks if one.kind == REVERSING]) == 1)


def standing_s(way: Way, breaks: Sequence[Span]) -> float:
    """Time that the vehicle stood, within passes and beside them, gaps of the log left out. [s]"""
    return float(np.diff(way.time_s)[_states(way, breaks) == BREAKS.index(STANDING) + 1].sum())


def _states(way: Way, breaks: Sequence[Span]) -> IntArray:
    """For each step of the grid 0, or the place of its kind in ``BREAKS`` from 1, shape (n - 1,)."""
    state = np.zeros(len(way.time_s) - 1, int)
    middle = way.time_s[:-1] + way.step_s / 2
    for kind, level in zip(BREAKS, range(1, len(BREAKS) + 1), strict=True):
        if kind == STANDING:
            state[way.standing[:-1]] = level
        for one in breaks:
            if one.kind == kind:
                a, b = np.searchsorted(middle, [one.start_s, one.end_s])
                state[a:b] = level
    return state


def as_spans(way: Way, cells: Sequence[Cell], end_s: float) -> tuple[Span, ...]:
    """*cells* as spans of time; the last one ends with the last fix. [s since 1970 UTC]"""
    time: FloatArray = way.time_s.copy()
    time[-1] = end_s
    return tuple(
        Span(one.kind, float(time[one.first]), float(time[one.last]), one.block, one.direction_deg, one.lap)
        for one in cells
    )
