"""When the boom was probably on, from the drive alone: where the boom passes over ground that nothing else covers.

Nobody who works a field sprays the same ground twice for long, nor leaves ground that he drives over: so of all
ways over a spot one was probably on. Which, is told from the shape of the drive: legs of steady direction before
turns, the pace of the work before quicker drives; what all the others cover already was probably transport.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .legs import find_legs
from .model import AMID, BACK, LEG, TAIL, TURN
from .state_tolerances import (
    AMID_CHANCE,
    AMID_SHARE,
    AMID_UNITS,
    APART_S,
    BACK_ODDS,
    CORNER_CHANCE,
    CORNER_DEG,
    CORNER_UNITS,
    DOUBT,
    EDGE_SHARE,
    IDLE_SHARE,
    IDLE_WEIGHT,
    KEPT_NEEDLESS,
    LEG_ODDS,
    OUTSIDE_WEIGHT,
    ROUND_DEG,
    SPEED_RATIO,
    SPEED_WEIGHT,
    TAIL_CHANCE,
    TURN_FRESH,
    TURN_ODDS,
)
from .work_order import in_order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .way import Way
    from .work_ground import Units


@dataclass(frozen=True)
class Segment:
    """Units ``first`` to before ``last`` that were on or off together, and the chance that they were on.

    ``kind``: the body of a leg, its tail over ground done by others, such ground amid it, a turn (whatever lies
    between legs), backing up.
    """

    first: int
    last: int
    kind: str
    chance: float


class _Part(NamedTuple):
    """Units ``first`` to before ``last``: a leg, backing up, or what lies between."""

    first: int
    last: int
    kind: str


@dataclass(frozen=True)
class _Board:
    """The cells with how often what is on so far covers them: the one thing here that changes.

    ``cell`` (m,) are the cells of unit k from ``start[k]`` to before ``start[k + 1]``.
    """

    units: Units
    start: IntArray
    cell: IntArray
    count: IntArray

    @classmethod
    def of(cls, units: Units) -> _Board:
        """Board with nothing on."""
        order = np.argsort(units.unit, kind="stable")
        start = np.searchsorted(units.unit[order], np.arange(len(units.length_m) + 1))
        return cls(units, start, units.cell[order], np.zeros(units.cells, int))

    def cells(self, first: int, last: int) -> IntArray:
        """Cells of units *first* to before *last*, each once."""
        return np.unique(self.cell[self.start[first] : self.start[last]])

    def fresh(self, first: int, last: int, own: int = 0) -> FloatArray:
        """Share of each unit's swath that is target and not covered by what is on, shape (last - first,).

        *own* is 1 while the units themselves are on.
        """
        low, high = self.start[first], self.start[last]
        free = np.concatenate([[0], np.cumsum(self.count[self.cell[low:high]] <= own)])
        bounds = self.start[first : last + 1]
        each = np.diff(free[bounds - low])
        return np.asarray(each / np.maximum(np.diff(bounds), 1) * self.units.inside[first:last])


def segments(units: Units, way: Way) -> list[Segment]:
    """The drive in segments, in driving order; standing is in none."""
    board = _Board.of(units)
    parts = _parts(units, way)
    legs = [part for part in parts if part.kind == LEG]
    found = _worked(board, legs)
    # what comes before and after counts, so that a corner between two sides of a lap goes with them
    on = {edge for one in found if one.chance > DOUBT for edge in ((one.last, "ends"), (one.first, "begins"))}
    for part in parts:
        if part.kind != LEG:
            beside = ((part.first, "ends") in on, (part.last, "begins") in on)
            for one in _between(board, part, beside, _swing_deg(units, way, part)):
                found.append(one)
                if one.chance > DOUBT:
                    board.count[board.cells(one.first, one.last)] += 1
    return in_order(units, sorted(found, key=lambda one: one.first))


def _parts(units: Units, way: Way) -> list[_Part]:
    """The drive in legs and what lies between them; a stop parts no leg."""
    middle = units.time_s.mean(axis=1)
    kind = np.ones(len(middle), int)
    number = np.zeros(len(middle), int)
    for k, leg in enumerate(find_legs(way)):
        a, b = np.searchsorted(middle, way.time_s[[leg.first, leg.last]])
        kind[a:b], number[a:b] = 0, k + 1
    kind[units.reverse] = 2
    apart = np.append(False, units.time_s[1:, 0] - units.time_s[:-1, 1] > APART_S)[: len(kind)]
    fresh = (np.diff(kind, prepend=-1) != 0) | (np.diff(number, prepend=-1) != 0) | (apart & (kind != 0))
    bounds = [*np.flatnonzero(fresh).tolist(), len(middle)]
    names = (LEG, TURN, BACK)
    joined: list[_Part] = []
    for a, b in pairwise(bounds):
        same = joined and kind[a] == 0 and joined[-1].kind == LEG and number[a] == number[joined[-1].first]
        if same:
            joined[-1] = _Part(joined[-1].first, b, LEG)
        else:
            joined.append(_Part(a, b, names[kind[a]]))
    return joined


# --- legs -------------------------------------------------------------------------------------------


def _worked(board: _Board, legs: Sequence[_Part]) -> list[Segment]:
    """Segments of the legs; the board then has those on that probably were.

    Inner legs are trimmed first: at the headland it is the pass that is switched, not the lap.
    """
    kept, needless = _kept(board, legs)
    found = []
    depth = [_depth(board, leg) for leg in legs]
    for k in np.argsort(depth, kind="stable").tolist():
        leg, chance = legs[k], _odds(*LEG_ODDS, needless[k])
        if not kept[k]:
            found.append(Segment(leg.first, leg.last, LEG, chance))
            continue
        board.count[board.cells(leg.first, leg.last)] -= 1
        for one in _trimmed(board.fresh(leg.first, leg.last), leg.first, chance):
            found.append(one)
            if one.chance > DOUBT:
                board.count[board.cells(one.first, one.last)] += 1
    return found


def _depth(board: _Board, leg: _Part) -> float:
    """Order of trimming: a leg whose ground many others cross lies along the headland and comes last."""
    cells = board.cells(leg.first, leg.last)
    return float((board.count[cells] > 1).mean()) if len(cells) else 0.0


def _kept(board: _Board, legs: Sequence[_Part]) -> tuple[BoolArray, list[float]]:
    """Which legs are needed to cover the ground, and how needless each is (1: others cover all of it).

    All are taken to be on; the most needless is taken off, again and again, until none is more needless than
    ``KEPT_NEEDLESS``. A leg much quicker than most of the work, or mostly outside the field, goes before others.
    """
    cells = [board.cells(leg.first, leg.last) for leg in legs]
    for one in cells:
        board.count[one] += 1
    handicap = _handicap(board.units, legs)
    current = np.array([_needless(board, *each) for each in zip(legs, cells, strict=True)])
    kept, sure = np.ones(len(legs), bool), np.ones(len(legs), bool)
    while kept.any():
        score = np.where(kept, current + handicap, -np.inf)
        worst = int(np.argmax(score))
        if score[worst] < KEPT_NEEDLESS:
            break
        if not sure[worst]:  # a leg grows less needless with every other that is taken off, never more
            current[worst], sure[worst] = _needless(board, legs[worst], cells[worst]), True
            continue
        kept[worst] = False
        board.count[cells[worst]] -= 1
        sure[:] = False
    for k in np.flatnonzero(kept & ~sure).tolist():
        current[k] = _needless(board, legs[k], cells[k])
    return kept, (current + handicap).tolist()


def _needless(board: _Board, leg: _Part, cells: IntArray) -> float:
    """How needless a leg is, which is on: 1 when others cover all its ground, 0 when they cover none.

    What counts most is the length over which hardly anything is left for it: a pass that fills a narrow strip is
    needed all along, a way across the field here and there.
    """
    if not len(cells):
        return 1.0
    length = board.units.length_m[leg.first : leg.last]
    idle = float(length[board.fresh(leg.first, leg.last, 1) < IDLE_SHARE].sum() / max(float(length.sum()), 1e-9))
    return IDLE_WEIGHT * idle + (1 - IDLE_WEIGHT) * float((board.count[cells] > 1).mean())


def _handicap(units: Units, legs: Sequence[_Part]) -> FloatArray:
    """What speaks against each leg beside the ground it covers: a quick drive, and one outside the field."""
    length, inside, pace = (np.zeros(len(legs)) for _ in range(3))
    for k, leg in enumerate(legs):
        own = slice(leg.first, leg.last)
        length[k], inside[k] = units.length_m[own].sum(), units.inside[own].mean()
        pace[k] = length[k] / max(float(np.diff(units.time_s[own], axis=1).sum()), 1e-3)
    weight = length * inside
    if not weight.any():
        return np.ones(len(legs))
    order = np.argsort(pace)
    usual = pace[order][np.searchsorted(np.cumsum(weight[order]), weight.sum() / 2)]
    quick = np.clip(np.log(np.maximum(pace, 1e-3) / max(usual, 1e-3)) / np.log(SPEED_RATIO), 0.0, 1.0)
    return np.asarray(SPEED_WEIGHT * quick + OUTSIDE_WEIGHT * (1 - inside))


def _trimmed(fresh: FloatArray, first: int, chance: float) -> list[Segment]:
    """A leg's body between its tails, and what amid it is covered by others; *fresh* as the others leave it."""
    begin, end = _best_prefix(EDGE_SHARE - fresh), len(fresh) - _best_prefix(EDGE_SHARE - fresh[::-1])
    if end <= begin:
        return [Segment(first, first + len(fresh), TAIL, TAIL_CHANCE)]
    amid = [(a + begin, b + begin) for a, b in _runs(fresh[begin:end] < AMID_SHARE) if b - a >= AMID_UNITS]
    cuts = sorted({0, begin, end, len(fresh), *(edge for run in amid for edge in run)})
    found = []
    for a, b in pairwise(cuts):
        covered = any(low <= a < high for low, high in amid)
        kind, own = (AMID, AMID_CHANCE * chance) if covered else (LEG, chance)
        kind, own = (TAIL, TAIL_CHANCE) if b <= begin or a >= end else (kind, own)
        found.append(Segment(first + a, first + b, kind, own))
    return found


# --- what lies between legs ---------------------------------------------------------------------------


def _between(board: _Board, part: _Part, beside: tuple[bool, bool], swing_deg: float) -> list[Segment]:
    """What lies between legs: on where it is fresh, from either end or as a whole; *beside*: those legs are on."""
    fresh = board.fresh(part.first, part.last)
    if part.kind == BACK:
        return [Segment(part.first, part.last, BACK, _odds(*BACK_ODDS, float(fresh.mean())))]
    if all(beside) and swing_deg <= CORNER_DEG and len(fresh) <= CORNER_UNITS:
        return [Segment(part.first, part.last, TURN, CORNER_CHANCE)]
    begin, end = _best_prefix(fresh - TURN_FRESH), len(fresh) - _best_prefix(fresh[::-1] - TURN_FRESH)
    cuts = [0, len(fresh)] if begin >= end else sorted({0, begin, end, len(fresh)})
    found = []
    for a, b in pairwise(cuts):
        joined = int(beside[0] and a == 0) + int(beside[1] and b == len(fresh))
        joined = min(joined, 1) if swing_deg > ROUND_DEG else joined
        chance = _odds(*TURN_ODDS[joined], float(fresh[a:b].mean()))
        found.append(Segment(part.first + a, part.first + b, TURN, chance))
    return found


def _swing_deg(units: Units, way: Way, part: _Part) -> float:
    """How far the direction of travel changes from before *part* to behind it. [deg]"""
    reach_s = way.reach * way.step_s
    ends = np.array([units.time_s[part.first, 0] - reach_s, units.time_s[part.last - 1, 1] + reach_s])
    return float(np.degrees(abs(np.diff(np.interp(ends, way.time_s, way.heading_rad))[0])))


def _odds(steepness: float, even: float, value: float) -> float:
    """Chance that falls (or, *steepness* being negative, rises) with *value* and is a half at *even*."""
    return float(1 / (1 + np.exp(np.clip(steepness * (value - even), -30, 30))))


def _best_prefix(gain: FloatArray) -> int:
    """How many of the first values have the greatest sum; the longest such run."""
    total = np.concatenate([[0.0], np.cumsum(gain)])
    return int(len(total) - 1 - np.argmax(total[::-1]))


def _runs(inside: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
