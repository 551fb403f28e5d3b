"""How sure the figures of an audit are: the true job drawn again and again from what is known.

Steered by hand, or by another receiver, the log is truth plus error (classical error). The errors
are then drawn given the measured gaps (:mod:`.gap_model`) and taken off the log. Guided by the
receiver that logged, truth is the log plus error (Berkson error), and errors are drawn as they
come (Carroll et al. 2006, Measurement Error in Nonlinear Models, ch. 1). Every draw is counted
like the job itself; the draws' mean and quantiles are those of the truth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.accuracy.gaps.choice import pick, usual
from coverage_audit.accuracy.gaps.habits import Habits, Likelihood, fit_habits, other_habits
from coverage_audit.accuracy.gaps.posterior import Seen, conditioned_errors, simulate_errors, smallest_skip

from .model import CLASSICAL, REGIMES, Accuracy, Figure, RegimeResult
from .scan import Cuts, Scan, steps_of
from .tolerances import (
    CROSS_CUTS,
    CUT_REACH_SIGMAS,
    HABIT_GROUPS,
    HAND_SPREAD,
    KNOT_STEP_M,
    LEAST_DRAWS,
    MOST_AT_ONCE,
    SKIP_LENGTH_M,
    SURE,
    TOO_WIDE_ESTIMATE,
    TOO_WIDE_TARGET,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.drive.model import BoomPath
    from coverage_audit.ground.model import BoomLines, Strip
    from coverage_audit.jobs.settings import AccuracySettings

    from .model import ErrorModel, Gaps

    RunAll = Callable[[Callable[[int], FloatArray], int], Iterable[FloatArray]]

MISSED, DOUBLE, COVERED = 0, 1, 2


@dataclass(frozen=True)
class Question:
    """What is asked: the audit's own figures (missed, double, covered) [m2], and what they stand on.

    ``lines`` are the audit's own boom lines, ``calm`` those without the receiver's jitter.
    ``method_m2``: what the audit itself errs by, after ``bias_m2`` (missed, double) is taken off.
    """

    observed_m2: tuple[float, float, float]
    target: BaseGeometry
    strips: tuple[Strip, ...]
    width_m: float
    min_width_m: float
    lines: list[BoomLines]
    calm: list[BoomLines]
    path: BoomPath
    gaps: Gaps
    error: ErrorModel
    settings: AccuracySettings
    noise_m: float
    method_m2: float
    bias_m2: FloatArray


def assess(question: Question, run_all: RunAll, rng: np.random.Generator) -> Accuracy:
    """Accuracy of the figures of *question*.

    Parameters
    ----------
    run_all : callable
        (task, count) -> results of task(0) ... task(count - 1), in order.
    rng : Generator
        The one source of chance.
    """
    question = replace(question, gaps=pick(question.gaps, usual(question.gaps)))
    regimes = REGIMES[question.settings.steering]
    draws = 0
    if question.error.none:
        by_regime = {regime: _exact(question) for regime in regimes}
    else:
        draws = max(question.settings.replicates // len(regimes), 2)
        seen = Seen.of(question.gaps, question.error, question.noise_m)
        by_regime = {regime: _drawn(question, seen, regime, draws, run_all, rng) for regime in regimes}
    found = list(by_regime.values())
    skips = [one.smallest_detectable_skip_m for one in found]
    return Accuracy(
        regime=regimes[0] if len(regimes) == 1 else "unknown",
        missed_m2=_widest([one.missed_m2 for one in found], question.target.area),
        double_m2=_widest([one.double_m2 for one in found], question.target.area),
        covered_m2=_widest([one.covered_m2 for one in found], question.target.area),
        by_regime=by_regime,
        probability=tuple(min(chances) for chances in zip(*(one.probability for one in found), strict=True)),
        smallest_detectable_skip_m=None if None in skips else max(one for one in skips if one is not None),
        replicates=draws * len(regimes),
        steering=question.settings.steering,
        error=question.error,
        asked=question.settings.asked,
    )


def _exact(question: Question) -> RegimeResult:
    """Without any error every figure is what was observed."""
    missed, double, covered = (Figure(value, value, value, value, told=True) for value in question.observed_m2)
    return RegimeResult(missed, double, covered, (1.0,) * len(question.strips), question.min_width_m)


def _drawn(
    question: Question, seen: Seen, regime: str, count: int, run_all: RunAll, rng: np.random.Generator
) -> RegimeResult:
    """Draw the truth *count* times, count each, and tell what the draws say."""
    target = question.target.area
    habits, tried = _habits(question, count, rng) if regime == CLASSICAL and len(question.gaps) else (None, [])
    table = _counted(question, seen, tried, count, run_all, rng)
    areas = table[:, :2] - question.bias_m2 + question.method_m2 * rng.standard_normal((count, 2))
    spread = HAND_SPREAD if regime == CLASSICAL else 1.0
    areas = np.clip(areas.mean(axis=0) + spread * (areas - areas.mean(axis=0)), 0.0, target)
    chances = tuple(table[:, 2:].mean(axis=0).tolist())
    wanted = (SKIP_LENGTH_M, question.min_width_m, NormalDist().inv_cdf(SURE))
    skip = smallest_skip(seen, habits, wanted)
    skip = skip if skip is not None and skip < question.width_m else None
    told = skip is not None and count >= LEAST_DRAWS
    missed, double = (_figure(question.observed_m2[k], areas[:, k], question, told=told) for k in (MISSED, DOUBLE))
    covered = Figure(
        question.observed_m2[COVERED],
        None if missed.estimate is None else target - missed.estimate,
        target - missed.high90,
        target - missed.low90,
        told=missed.told,
    )
    return RegimeResult(missed, double, covered, chances, skip)


def _habits(question: Question, count: int, rng: np.random.Generator) -> tuple[Habits, list[Habits]]:
    """The driver's likeliest habits, and some that fit about as well: they are known only so well."""
    likelihood = Likelihood.of(question.gaps, question.error, question.noise_m)
    best = fit_habits(likelihood)
    return best, other_habits(likelihood, best, min(HABIT_GROUPS, count), rng)


def _counted(
    question: Question, seen: Seen, habits: list[Habits], count: int, run_all: RunAll, rng: np.random.Generator
) -> FloatArray:
    """Each draw's area missed and double [m2], and 1 for each strip that is real in it, shape (count, 2 + strips).

    What scanning and thinning shift the areas by is put back. No *habits*: the errors know nothing of the gaps.
    """
    base, plain = ([with_knots(one, KNOT_STEP_M) for one in lines] for lines in (question.calm, question.lines))
    travel = np.concatenate([lines.travel_m for lines in base])
    times, back = np.unique(np.interp(travel, question.path.travel_m, question.path.time_s), return_inverse=True)
    steps = steps_of(base)
    scan = Scan.over(question.target, steps, question.width_m)
    off = scan.areas(steps_of(plain)) - question.observed_m2[:2]
    across = cross_cuts(question.strips, _reach(question))
    rows: list[FloatArray] = []
    for first in range(0, count, MOST_AT_ONCE):
        size = min(MOST_AT_ONCE, count - first)
        if habits:
            drawn, boundary = _conditioned(seen, times, habits, size, rng)
        else:
            drawn, boundary = simulate_errors(times, question.error, size, rng)
        shift = (boundary - drawn)[back]
        farthest = np.hypot(*np.moveaxis(shift, 1, 0)).max(axis=1)
        cuts = Cuts.of(across.ravel(), question.target, steps, farthest[steps.line].max(axis=1), question.width_m)

        def one(number: int, shift: FloatArray = shift, cuts: Cuts = cuts) -> FloatArray:
            moved = steps.moved(shift[:, :, number])
            real = real_strips(cuts.missed_m(moved).reshape(across.shape), question.min_width_m)
            return np.concatenate([scan.areas(moved) - off, real])

        rows += run_all(one, size)
    return np.array(rows)


def _conditioned(
    seen: Seen, times: FloatArray, habits: list[Habits], count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Errors given the gaps, each group of draws under other habits."""
    drawn = [
        conditioned_errors(times, seen, one, len(share), rng)
        for one, share in zip(habits, np.array_split(np.arange(count), len(habits)), strict=True)
        if len(share)
    ]
    return np.concatenate([one for one, _ in drawn], axis=2), np.concatenate([one for _, one in drawn], axis=1)


def _figure(observed: float, draws: FloatArray, question: Question, *, told: bool) -> Figure:
    low, high = range_of(draws)
    off = float(draws.mean()) - observed
    # a correction within what the audit itself errs by is no better than none
    estimate = observed + math.copysign(max(abs(off) - question.method_m2, 0.0), off)
    estimate = min(max(estimate, low), high)
    return Figure(observed, estimate, low, high, told=told and narrow_enough(low, high, estimate, question.target.area))


def range_of(draws: FloatArray) -> tuple[float, float]:
    """Range that holds one more such draw with 9 chances in 10.

    Below the k-th smallest of n draws one more falls with a chance of k / (n + 1) (order statistics: Hyndman &
    Fan 1996, Am. Stat. 50:361-365, definition 6); numpy's usual quantiles would make the range too narrow.
    """
    low, high = np.quantile(draws, (0.05, 0.95), method="weibull").tolist()
    return low, high


def narrow_enough(low: float, high: float, estimate: float, target: float) -> bool:
    """Whether a 90 % range says anything: no wider than half the target, nor twice the estimate. [m2]"""
    return high - low <= min(TOO_WIDE_TARGET * target, TOO_WIDE_ESTIMATE * estimate)


def _widest(figures: list[Figure], target: float) -> Figure:
    """The range that holds the ranges of all regimes; no estimate when there are several."""
    if len(figures) == 1:
        return figures[0]
    low, high = min(one.low90 for one in figures), max(one.high90 for one in figures)
    middle = float(np.mean([one.estimate for one in figures if one.estimate is not None]))
    told = all(one.told for one in figures) and narrow_enough(low, high, middle, target)
    return Figure(figures[0].observed, None, low, high, told=told)


def _reach(question: Question) -> float:
    """How far beyond a strip its true place is looked for. [m]"""
    return min(CUT_REACH_SIGMAS * float(question.error.sigma_m.max()), question.width_m / 2)


def with_knots(lines: BoomLines, step_m: float) -> BoomLines:
    """*lines* with so many more between them that none is *step_m* or more from the next. [m]"""
    step = np.diff(lines.travel_m)
    count = np.maximum(np.ceil(step / step_m), 1).astype(int)
    count[lines.gap_after[:-1]] = 1
    base = np.repeat(np.arange(len(step)), count)
    share = (np.arange(len(base)) - np.repeat(np.cumsum(count) - count, count)) / count[base]
    last = share + 1 / count[base] > 1 - 1e-9

    def between(column: FloatArray) -> FloatArray:
        return np.append(column[base] + share * np.diff(column)[base], column[-1:])

    return replace(
        lines,
        x_m=between(lines.x_m),
        y_m=between(lines.y_m),
        heading_rad=between(lines.heading_rad),
        travel_m=between(lines.travel_m),
        gap_after=np.append(lines.gap_after[base] & last, [False]),
        bridged_after=np.append(lines.bridged_after[base], [False]),
        cut=np.append(lines.cut[base] & (share == 0), lines.cut[-1:]),
    )


def cross_cuts(strips: Sequence[Strip], reach_m: float) -> np.ndarray:
    """Lines across each strip, square to its middle line and *reach_m* [m] beyond, shape (strips, CROSS_CUTS)."""
    if not strips:
        return np.empty((0, CROSS_CUTS), dtype=object)
    lines = np.array([max(shapely.get_parts(strip.line), key=lambda part: part.length) for strip in strips])
    share = (np.arange(CROSS_CUTS) + 0.5) / CROSS_CUTS
    at, before, after = (
        shapely.get_coordinates(
            shapely.line_interpolate_point(lines[:, None], np.clip(share + aside, 0, 1)[None, :], normalized=True)
        ).reshape(len(strips), CROSS_CUTS, 2)
        for aside in (0.0, -0.5 / CROSS_CUTS, 0.5 / CROSS_CUTS)
    )
    along = after - before
    square = np.stack([along[..., 1], -along[..., 0]], axis=-1) / np.linalg.norm(along, axis=-1, keepdims=True)
    half = np.array([strip.max_width_m / 2 + reach_m for strip in strips])[:, None, None] * square
    return shapely.linestrings(np.stack([at - half, at + half], axis=2))


def real_strips(missed_m: FloatArray, min_width_m: float) -> BoolArray:
    """Whether each strip is missed at *min_width_m* or more along at least half its length, shape (strips,).

    *missed_m*: how much of each cut across it is missed, shape (strips, cuts). [m]
    """
    return (missed_m >= min_width_m).mean(axis=1) >= 0.5
