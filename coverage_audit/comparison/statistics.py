"""What differs between two jobs, and whether by more than chance: passes resampled in blocks.

Each job is a row of passes in driving order. A measure is a ratio of sums over passes (missed ground
over ground, say). Its uncertainty comes from drawing the passes of each job anew, in blocks of
neighbours, since neighbouring passes drift together (block bootstrap: Kuensch 1989, Ann. Stat.
17:1217-1241; circular blocks: Politis & Romano 1992; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import stdtrit

from .tolerances import BLOCK_LEAST, BLOCK_MEMORY_S, DRIFT_SHARE, EXACT_REL, LEAST_PASSES, RESAMPLES

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray


@dataclass(frozen=True)
class Series:
    """One measure of one job, pass by pass. Arrays of shape (n,), passes in driving order.

    The measure is ``root(sum(part) / sum(whole))`` with ``root`` the square root for spreads
    (``square`` True); ``scale`` brings it into its unit. ``block`` is how many neighbouring passes
    are drawn together, ``step_s`` the usual time from pass to pass.
    """

    part: FloatArray
    whole: FloatArray
    block: int
    step_s: float
    square: bool = False
    scale: float = 1.0

    def value(self) -> float:
        """The measure over all passes."""
        return float(_ratio(self, self.part.sum(), self.whole.sum()))


@dataclass(frozen=True)
class Difference:
    """Difference b - a of a measure, with its 95 % interval; None where it cannot be told."""

    measure: str
    a: float | None
    b: float | None
    difference: float | None
    low95: float | None
    high95: float | None
    larger_than_chance: bool | None


def _ratio(series: Series, part: FloatArray | float, whole: FloatArray | float) -> FloatArray:
    ratio = np.asarray(part) / np.maximum(np.asarray(whole), 1e-300)
    return (np.sqrt(np.maximum(ratio, 0.0)) if series.square else ratio) * series.scale


def block_length(starts_s: FloatArray) -> int:
    """How many neighbouring passes to draw together: what a drift's memory covers, within n^(1/3) and n / 5."""
    count = len(starts_s)
    if count < 2:
        return 1
    step = pass_step_s(starts_s)
    drift = math.ceil(BLOCK_MEMORY_S / step) if step > 0 else BLOCK_LEAST
    most = max(round(count / 5), 1)
    return int(min(max(min(drift, round(2 * count ** (1 / 3))), BLOCK_LEAST), most))


def pass_step_s(starts_s: FloatArray) -> float:
    """Usual time from the start of a pass to that of the next. [s]"""
    return float(np.median(np.diff(starts_s))) if len(starts_s) > 1 else 0.0


def compare_series(
    measure: str, one: Series | None, other: Series | None, totals: tuple[float | None, float | None], seed: int
) -> Difference:
    """Difference of a measure between two jobs.

    Parameters
    ----------
    one, other : Series or None
        The measure by pass; None when the job does not have it.
    totals : (a, b)
        The whole jobs' figures, which are told as they are; the interval comes from the passes.
    seed : int
        For the resampling, so that the same jobs give the same interval.
    """
    a, b = totals
    if a is None or b is None:
        return Difference(measure, a, b, None, None, None, None)
    difference = b - a
    if one is None or other is None or min(len(one.part), len(other.part)) < LEAST_PASSES:
        return Difference(measure, a, b, difference, None, None, None)
    rng = np.random.default_rng(seed)
    half = math.hypot(_half_width(one, rng), _half_width(other, rng))
    exact = EXACT_REL * max(abs(a), abs(b), 1e-12)
    low, high = difference - half, difference + half
    return Difference(measure, a, b, difference, low, high, bool(abs(difference) > max(half, exact)))


def _half_width(series: Series, rng: np.random.Generator) -> float:
    """Half of the 95 % interval of one job's measure.

    The spread of the resampled values, made wider for the few blocks that it rests on (Student's t on
    blocks - 1 degrees of freedom) and for the drift that outlasts a block.
    """
    count, block = len(series.part), series.block
    blocks = max(round(count / block), 2)
    memory = _kept_by_blocks(count, block, series.step_s)
    starts = rng.integers(0, count, (RESAMPLES, math.ceil(count / block)))
    index = (starts[:, :, None] + np.arange(block)).reshape(RESAMPLES, -1)[:, :count] % count
    values = _ratio(series, series.part[index].sum(axis=1), series.whole[index].sum(axis=1))
    degrees = blocks - 1
    return float(values.std()) / math.sqrt(memory) * student_975(degrees)


def _kept_by_blocks(count: int, block: int, step_s: float) -> float:
    """Share of the variance of a mean of *count* passes, drifting together, that circular blocks show. [1]

    Blocks cannot show what moves the whole job. Exact for passes of which ``DRIFT_SHARE`` of the variance
    is a first-order Gauss-Markov drift that forgets in ``BLOCK_MEMORY_S`` and the rest is their own.
    """
    lag = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    alike = DRIFT_SHARE * np.exp(-lag * step_s / BLOCK_MEMORY_S) + (1 - DRIFT_SHARE) * np.eye(count)
    member = (np.arange(count)[None, :] - np.arange(count)[:, None]) % count < block
    weight = member / block - 1 / count
    shown = float(np.einsum("ij,jk,ik->", weight, alike, weight)) / count * block / count
    return min(shown / float(alike.mean()), 1.0)


def student_975(degrees: int) -> float:
    """97.5th percentile of Student's t with so many degrees of freedom. [1]"""
    return float(stdtrit(degrees, 0.975))
