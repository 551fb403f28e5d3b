"""Where the vehicle backed up: told from standing jitter and tight turns by the whole story of a drive."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .tolerances import (
    CUSP_ANGLE_DEG,
    CUSP_CHORD_M,
    CUSP_SAMPLE_S,
    JITTER_M,
    REVERSE_COST_M,
    SAME_WAY_DEG,
    SWITCH_COST_RAD,
    TURNING_RADIUS_M,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


class _Leg(NamedTuple):
    """Chords that go on in much the same direction: first and last chord, length, run."""

    first: int
    last: int
    length_m: float
    run: int


class _Chords(NamedTuple):
    """Moves long enough to have a direction. Arrays of shape (n,); ``start``/``end`` index fixes."""

    start: IntArray
    end: IntArray
    course: FloatArray
    length: FloatArray
    run: IntArray


def find_reversals(time: FloatArray, x: FloatArray, y: FloatArray, run: IntArray) -> tuple[IntArray, BoolArray]:
    """Where travel reverses, and which fixes are driven in reverse.

    The drive is cut into legs of steady direction. Each leg goes forwards or backwards; of all
    ways to choose, the one is taken that asks for the least: turning on the spot costs its
    angle, a reversal what it lacks of a half turn, and every metre in reverse a little
    (the cheapest path through two states, Viterbi 1967).

    Parameters
    ----------
    time, x, y : (n,) float
        Fixes, scatter of standing taken out. [s], [m]
    run : (n,) int
        Number of the run between gaps.

    Returns
    -------
    cusps : (m,) int
        First fix after each reversal.
    reverse : (n,) bool
        True where the vehicle backs up.
    """
    chords = _chords(time, x, y, run)
    legs = _legs(chords)
    backwards = _cheapest(legs, chords)
    cusps = []
    reverse = np.zeros(len(time), bool)
    for number, leg in enumerate(legs):
        if number and legs[number - 1].run == leg.run and backwards[number] != backwards[number - 1]:
            begin = _turning_fix(chords, legs[number - 1].last, leg.first, x, y)
            cusps.append(begin)
        elif number and legs[number - 1].run != leg.run:
            begin = int(np.searchsorted(run, leg.run))
        else:
            begin = int(chords.start[leg.first]) if number else 0
        reverse[begin:] = backwards[number]
    return np.unique(np.array(cusps, int)), reverse


def _chords(time: FloatArray, x: FloatArray, y: FloatArray, run: IntArray) -> _Chords:
    # the first fix of each sampling step: as many as there are fixes at most, however long the drive
    number = np.floor((time - time[0]) / CUSP_SAMPLE_S)
    first = np.concatenate([[True], np.diff(number) > 0])
    first[-1] = True
    sample = np.flatnonzero(first)
    dx, dy = np.diff(x[sample]), np.diff(y[sample])
    length = np.hypot(dx, dy)
    keep = np.flatnonzero((length > CUSP_CHORD_M) & (np.diff(run[sample]) == 0))
    start = sample[keep]
    return _Chords(start, sample[keep + 1], np.arctan2(dx[keep], dy[keep]), length[keep], run[start])


def _legs(chords: _Chords) -> list[_Leg]:
    """Chords joined while each goes on within ``SAME_WAY_DEG`` of the one before."""
    if not len(chords.start):
        return []
    turn = np.abs((np.diff(chords.course) + np.pi) % (2 * np.pi) - np.pi)
    breaks = np.flatnonzero((turn > math.radians(SAME_WAY_DEG)) | (np.diff(chords.run) != 0)) + 1
    bounds = [0, *breaks.tolist(), len(chords.start)]
    way = np.concatenate([[0.0], np.cumsum(chords.length)])
    legs = [_Leg(a, b - 1, float(way[b] - way[a]), int(chords.run[a])) for a, b in pairwise(bounds)]
    driven = [leg for leg in legs if leg.length_m >= JITTER_M]  # the rest is the scatter of standing
    return driven or legs


def _cheapest(legs: list[_Leg], chords: _Chords) -> list[bool]:
    """For each leg whether it goes backwards, by the least total cost."""
    if not legs:
        return []
    cost = [0.0, legs[0].length_m / REVERSE_COST_M]
    came: list[tuple[int, int]] = []
    for before, leg in pairwise(legs):
        onward, back = _joint(before, leg, chords)
        own = (0.0, leg.length_m / REVERSE_COST_M)
        chosen = []
        totals = []
        for state in (0, 1):
            through = [cost[old] + (onward if old == state else back) for old in (0, 1)]
            best = 0 if through[0] <= through[1] else 1
            chosen.append(best)
            totals.append(through[best] + own[state])
        came.append((chosen[0], chosen[1]))
        cost = totals
    state = 0 if cost[0] <= cost[1] else 1
    found = [bool(state)]
    for choice in reversed(came):
        state = choice[state]
        found.append(bool(state))
    return found[::-1]


def _joint(before: _Leg, leg: _Leg, chords: _Chords) -> tuple[float, float]:
    """Cost of going on in the same sense from one leg to the next, and of reversing between them."""
    first, second = before.last, leg.first
    turn = abs(math.remainder(float(chords.course[second] - chords.course[first]), 2 * math.pi))
    if before.run != leg.run:
        # who drives on the same way after a gap would have to have turned round in it to back up now
        return 0.0, math.pi - turn if turn < math.radians(SAME_WAY_DEG) else 0.0
    shorter = float(min(chords.length[first], chords.length[second]))
    if shorter >= 2 * TURNING_RADIUS_M * math.sin(turn / 2):
        return 0.0, math.pi  # wide enough to be driven round
    doubt = min(1.0, min(before.length_m, leg.length_m) / JITTER_M)
    reversing = math.pi if turn < math.radians(CUSP_ANGLE_DEG) and doubt == 1.0 else math.pi - turn
    return doubt * turn, doubt * reversing + SWITCH_COST_RAD


def _turning_fix(chords: _Chords, first: int, second: int, x: FloatArray, y: FloatArray) -> int:
    """First fix after the reversal between two chords: where the way reaches farthest out."""
    low, high = int(chords.start[first]), int(chords.end[second])
    ux = math.sin(chords.course[first]) - math.sin(chords.course[second])
    uy = math.cos(chords.course[first]) - math.cos(chords.course[second])
    reach = x[low : high + 1] * ux + y[low : high + 1] * uy
    top = int(np.argmax(reach))
    # the turning point lies on the side of the farthest fix where the neighbour is farther out
    left = reach[top - 1] if top > 0 else -np.inf
    right = reach[top + 1] if top + 1 < len(reach) else -np.inf
    return low + top + (1 if right >= left else 0)
