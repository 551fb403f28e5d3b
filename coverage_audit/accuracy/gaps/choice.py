"""Which measured gaps are of the kind that a driver aims at: those of mistakes and chance are left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.tolerances import (
    OUTLIER_SPREADS,
    RUN_BREAK_STEPS,
    SHORT_RUN,
    SIDE_TURN,
    SLANT,
    SLANT_M,
)

if TYPE_CHECKING:
    from coverage_audit.accuracy.model import Gaps
    from coverage_audit.arrays import FloatArray, IntArray


def pick(gaps: Gaps, keep: np.ndarray) -> Gaps:
    """The gaps selected by *keep* (mask or index)."""
    return type(gaps)(**{name: value[keep] for name, value in vars(gaps).items()})


def usual(gaps: Gaps) -> np.ndarray:
    """Which gaps are of the usual kind, shape (n,).

    A gap far out of the usual is a mistake or meant so; that the driver aims at even gaps tells
    nothing there. Spread by the median absolute deviation of its kind, and between whole passes by
    that of the pairs' means.
    """
    keep, aimed = np.zeros(len(gaps), bool), ~_left_over(gaps)
    for kind in np.unique(gaps.kind[aimed]):
        own = aimed & (gaps.kind == kind)
        off = np.abs(gaps.gap_m - np.median(gaps.gap_m[own]))
        keep |= own & (off <= OUTLIER_SPREADS * 1.4826 * np.median(off[own]))
    return keep & ~_slanting(gaps)


def _left_over(gaps: Gaps) -> np.ndarray:
    """Gaps on the farther side of passes that close a lane, shape (n,).

    A pass with earlier ground on both sides was aimed at the one done last; the other gap is what was left.
    So is the gap to the field edge, of a pass beside another one.
    """
    result = np.zeros(len(gaps), bool)
    between = gaps.kind == 0
    for stretch in np.unique(gaps.own_stretch[between]):
        own = between & (gaps.own_stretch == stretch)
        sides = [own & (gaps.own_lean > 0), own & (gaps.own_lean < 0)]
        if all(side.any() for side in sides):
            result |= min(sides, key=lambda side: float(np.median(gaps.other_travel_m[side])))
    return result | ((gaps.kind == 1) & np.isin(gaps.own_travel_m, gaps.own_travel_m[between]))


def _slanting(gaps: Gaps) -> np.ndarray:
    """Gaps along passes that run askew to the edge they were measured to, or hardly along it, shape (n,)."""
    beside = np.flatnonzero(gaps.kind != 2)
    names = np.column_stack([gaps.kind, gaps.own_stretch, gaps.other_stretch, np.sign(gaps.own_lean)])[beside]
    order = np.lexsort((gaps.own_travel_m[beside], *names.T))
    at, gap = gaps.own_travel_m[beside][order], gaps.gap_m[beside][order]
    step = np.diff(at, prepend=-np.inf)
    fresh = np.any(np.diff(names[order], axis=0, prepend=-2) != 0, axis=1)
    normal = gaps.normal[beside][order]
    turned = np.hypot(*np.diff(normal, axis=0, prepend=normal[:1]).T) > SIDE_TURN
    far = step > RUN_BREAK_STEPS * np.median(step[~fresh]) if not fresh.all() else fresh
    run = np.cumsum(fresh | turned | far) - 1
    slope, length, count = _trends(run, at, gap)
    askew = (slope > SLANT) & (slope * length > SLANT_M) | (count < SHORT_RUN)
    result = np.zeros(len(gaps), bool)
    result[beside[order]] = askew[run]
    return result


def _trends(run: IntArray, at_m: FloatArray, gap_m: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Slope of the gaps along each run, without sign [1], its length [m] and its count of gaps."""
    count = np.bincount(run)

    def less_mean(value: FloatArray) -> FloatArray:
        return value - (np.bincount(run, weights=value) / count)[run]

    along, aside = less_mean(at_m), less_mean(gap_m)
    square, both = np.bincount(run, weights=along**2), np.bincount(run, weights=along * aside)
    # n even points over a way of length l have a variance of l^2 (n + 1) / 12 (n - 1)
    length = np.sqrt(12 * square / count * (count - 1) / (count + 1))
    return np.abs(both) / np.maximum(square, 1e-9), length, count
