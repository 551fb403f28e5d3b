"""Ways driven to and fro over one line, found in the shape of a drive alone."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .smoothing import scatter_m
from .tolerances import (
    BACK_BASE_M,
    BACK_FAR_M,
    BACK_NEAR_M,
    BACK_NOISES,
    BACK_OFF_M,
    BACK_REACH_M,
    BACK_SHARE,
    BACK_SHARPLY,
    BACK_SMOOTH_M,
    BACK_STEP_S,
    BACK_WINDOW_S,
    BACK_WITHIN,
    LEAST_BACK_M,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


class Line(NamedTuple):
    """A run of fixes every metre of its way, jitter taken off.

    ``place`` (k, 2) [m]; ``time`` (k,) [s]; ``fix`` (k,): the fix before; ``first``, ``last``: the run's first fix and
    one past its last; ``noise_m``: what jitter is left of one coordinate.
    """

    place: FloatArray
    time: FloatArray
    fix: IntArray
    first: int
    last: int
    noise_m: float


def lines(time: FloatArray, x: FloatArray, y: FloatArray, run: IntArray) -> Iterator[Line]:
    """Every run of the drive that goes far enough to go back over it; arguments as of :func:`.shuttle.settled`.

    Places are running means, then a metre of way apart (textbook).
    """
    noise, step = scatter_m(x, y, run), float(np.median(np.diff(time)))
    least, most = BACK_STEP_S / step, max(BACK_WINDOW_S / step, 1.0)
    half = int(np.clip(np.ceil((noise / BACK_SMOOTH_M) ** 2), least, most)) // 2
    for first, last in pairwise(np.flatnonzero(np.diff(run, prepend=-1, append=-1)).tolist()):
        # jitter of fixes closer than that would add up to a way of its own
        kept = np.flatnonzero(np.diff(np.floor((time[first:last] - time[first]) / BACK_STEP_S), prepend=-1))
        kept = np.union1d(kept, [last - first - 1])
        px, py, t = (_mean(values[first:last], half)[kept] for values in (x, y, time))
        way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(px), np.diff(py)))])
        at = np.arange(int(way[-1]) + 1, dtype=float)
        if len(at) <= 2 * LEAST_BACK_M:
            continue
        moment = np.interp(at, way, t)
        place = np.column_stack([np.interp(at, way, values) for values in (px, py)])
        fix = np.searchsorted(time[first:last], moment, "right") - 1 + first
        yield Line(place, moment, np.maximum(fix, first), first, last, noise / np.sqrt(2 * half + 1))


def _mean(values: FloatArray, half: int) -> FloatArray:
    """Mean over so many fixes on both sides, and over fewer at the ends."""
    total = np.concatenate([[0.0], np.cumsum(values - values[0])])
    at = np.arange(len(values))
    side = np.minimum(half, np.minimum(at, len(values) - 1 - at))
    return values[0] + (total[at + side + 1] - total[at - side]) / (2 * side + 1)


def turning_points(line: Line, cusps: IntArray) -> list[int]:
    """Points of *line* at which it begins, turns back and ends; *cusps*: first fixes after reversals as read. [m]"""
    base, place = BACK_BASE_M, line.place
    before, after = place[base:-base] - place[: -2 * base], place[2 * base :] - place[base:-base]
    along = np.full(len(place), np.inf)
    along[base:-base] = (before * after).sum(axis=1) / base**2
    lowest = along.copy()
    for shift in range(1, BACK_NEAR_M + 1):
        lowest[shift:] = np.minimum(lowest[shift:], along[:-shift])
        lowest[:-shift] = np.minimum(lowest[:-shift], along[shift:])
    found = np.flatnonzero((along == lowest) & (along <= -BACK_SHARPLY)).tolist()
    read = np.searchsorted(line.fix, cusps[(cusps > line.first) & (cusps < line.last)], "left")
    gap = np.diff(read, prepend=-LEAST_BACK_M, append=len(place) + LEAST_BACK_M)
    lone = read[(gap[:-1] >= LEAST_BACK_M) & (gap[1:] >= LEAST_BACK_M)]  # of jitter, and of short turns, there are two
    bounds = {0, len(place) - 1}
    for point in [*found, *lone.tolist()]:
        if min(abs(point - each) for each in bounds) > BACK_NEAR_M:
            bounds.add(point)
    return sorted(bounds)


def goes_back(line: Line, bounds: list[int]) -> BoolArray:
    """For each inner one of *bounds* whether the way after it goes back over the line of the way before it.

    It leaves no room for a turn about the turning point, and further on most of it lies within what steering allows.
    Distances are square to the way (plane geometry). [m]
    """
    found = np.zeros(len(bounds) - 2, bool)
    for number, (begin, turn, end) in enumerate(zip(bounds, bounds[1:], bounds[2:], strict=False)):
        shorter = min(turn - begin, end - turn)
        if shorter < LEAST_BACK_M:
            continue
        step = np.arange(1, max(min(shorter, BACK_REACH_M), int(BACK_SHARE * shorter)) + 1)
        there, back = line.place[turn - step], line.place[turn + step]
        way = line.place[np.maximum(turn - step - BACK_BASE_M, begin)] - line.place[np.minimum(turn - step + 1, turn)]
        way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        off = np.abs((back - there)[:, 0] * way[:, 1] - (back - there)[:, 1] * way[:, 0])
        jitter = BACK_NOISES * line.noise_m
        close = (off[:BACK_NEAR_M] <= BACK_OFF_M + jitter).all()
        found[number] = close and (off <= BACK_FAR_M + jitter).mean() >= BACK_WITHIN
    return found


def blocks(back: BoolArray) -> list[tuple[int, int]]:
    """First way and one past the last of ways side by side, each of which goes *back* over a neighbour or is gone over.

    *back* (k - 1,) for k ways: whether each but the first goes back over the one before it.
    """
    member = np.concatenate([back, [False]]) | np.concatenate([[False], back])
    edges = np.flatnonzero(np.diff(np.concatenate([[False], member, [False]]).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
