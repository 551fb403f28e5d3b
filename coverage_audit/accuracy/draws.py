"""How sure the figures of an audit are: the true job drawn again and again from what is known.

Steered by hand, or by another receiver, the log is truth plus error (classical error). The errors
are then drawn given the measured gaps (:mod:`.gaps`) and taken off the log. Guided by the
receiver that logged, truth is the log plus error (Berkson error), and errors are drawn as they
come (Carroll et al. 2006, Measurement Error in Nonlinear Models, ch. 1), but for what fence and switch
tell of them. Every draw is counted like the job itself; the draws' middle and quantiles are those of the truth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.gaps.choice import pick, usual
from coverage_audit.accuracy.gaps.particles import Known, Particle, draw_particles
from coverage_audit.accuracy.gaps.posterior import Seen, smallest_skip
from coverage_audit.accuracy.gaps.probes import BETWEEN, EDGE

from .counting import counted
from .model import CLASSICAL, CONTRADICTED, WRONG_FIX, Accuracy, Figure, Learnt, RegimeResult
from .standing import Spread
from .strips import sure_sigmas, told_chance
from .tolerances import (
    BLIND_PARTICLES,
    BY_EYE_CHANCE,
    BY_EYE_SPREAD_M,
    CLASSES,
    FACTOR_SIGMA_M,
    FENCE_DOUBT,
    FENCE_DOUBT_SIGMAS,
    GUIDED_ABOVE,
    GUIDED_BELOW,
    GUIDED_DOUBT,
    GUIDED_SHIFT,
    HAND_ABOVE,
    HAND_BELOW,
    HAND_DOUBT,
    HAND_SHIFT,
    LEAST_DRAWS,
    METHOD_FREEDOM,
    MOST_METHOD,
    MOST_MOVED,
    PARTICLES,
    PROBE_REACH_WIDTHS,
    SKIP_LENGTH_M,
    SKIP_PARTICLES,
    TOO_WIDE_ESTIMATE,
    TOO_WIDE_TARGET,
    WRONG_FIX_M,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.ground.model import BoomLines, Strip
    from coverage_audit.jobs.settings import AccuracySettings

    from .counting import Booms
    from .model import ErrorModel, Gaps
    from .repeats import Repeats
    from .standing import Stand

    Source = tuple[Particle, Seen | None, float]
    RunAll = Callable[[Callable[[int], FloatArray], int], Iterable[FloatArray]]

MISSED, DOUBLE, COVERED = 0, 1, 2


@dataclass(frozen=True)
class Question:
    """What is asked: the audit's own figures (missed, double, covered) [m2], and what they stand on.

    ``lines`` are the audit's own boom lines, ``calm`` those without the receiver's jitter.
    ``method_m2``: what the audit itself errs by. ``stands``: times in which the machine stood.
    ``repeats``: lines driven again, which tell of the error by hand. ``jump_fixed_m``: how far the log jumps aside
    between fixes marked RTK fixed. ``by_place``: where antenna or fixed axle is not stated, the booms by the places
    that it may have, each as likely; ``placed``: the antenna's among them, and ``calm`` has it where it likely is.
    Times are on the clock of ``error``.
    """

    observed_m2: tuple[float, float, float]
    target: BaseGeometry
    strips: tuple[Strip, ...]
    width_m: float
    min_width_m: float
    lines: list[BoomLines]
    calm: Booms
    gaps: Gaps
    error: ErrorModel
    settings: AccuracySettings
    noise_m: float
    method_m2: float
    stands: tuple[Stand, ...] = ()
    jump_fixed_m: float = 0.0
    repeats: Repeats | None = None
    by_place: tuple[Booms, ...] = ()
    placed: bool = False


def assess(questions: Mapping[str, Question], run_all: RunAll, rng: np.random.Generator) -> Accuracy:
    """Accuracy of the figures of one job, asked by regime: the antenna may have another likely place in each.

    Parameters
    ----------
    run_all : callable
        (task, count) -> results of task(0) ... task(count - 1), in order.
    rng : Generator
        The one source of chance.
    """
    regimes, question, draws = tuple(questions), next(iter(questions.values())), 0
    if question.error.none:
        by_regime = {regime: _exact(question) for regime in regimes}
    else:
        draws = max(question.settings.replicates // len(regimes), 2)
        ready = {key: _ready(one) for key, one in {id(one): one for one in questions.values()}.items()}
        by_regime = {regime: _drawn(*ready[id(one)], regime, draws, run_all, rng) for regime, one in questions.items()}
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


def _ready(question: Question) -> tuple[Question, Seen]:
    """*question* with its usual gaps alone, and what these tell."""
    question = replace(question, gaps=pick(question.gaps, usual(question.gaps)))
    return question, Seen.of(question.gaps, question.error, question.noise_m)


def _drawn(
    question: Question, seen: Seen, regime: str, count: int, run_all: RunAll, rng: np.random.Generator
) -> RegimeResult:
    """Draw the truth *count* times, count each, and tell what the draws say."""
    target, by_hand = question.target.area, regime == CLASSICAL
    by_eye = None if by_hand else by_eye_chance(question.gaps)
    sources, moved = _sources(question, seen, count, rng, by_eye)
    table, observed = counted(question, sources, count, run_all, rng)
    table = _doubted(table, question, sources, rng)
    # sparse fixes cost little in most jobs and much in a few
    luck = np.clip(rng.standard_t(METHOD_FREEDOM, (count, 2)), -MOST_METHOD, MOST_METHOD)
    areas = table[:, :2] + question.method_m2 * luck
    learnt = _learnt(question, sources, moved)
    areas = about_the_log(areas, observed, by_eye, learnt.sigma_m.best, placed=question.placed)
    areas = np.clip(areas, 0.0, target)
    # draws prove nothing, however they agree
    chances = tuple(told_chance((table[:, 2:].sum(axis=0) + 0.5) / (count + 1), learnt.sigma_m.best).tolist())
    wanted = (SKIP_LENGTH_M, question.min_width_m, sure_sigmas(learnt.sigma_m.best))
    skip = smallest_skip(seen, [one for one, _, _ in sources[:SKIP_PARTICLES]], wanted, by_hand=by_hand)
    # by hand it is the gaps that tell, and none is measured beyond the probes' reach
    most = question.width_m * (PROBE_REACH_WIDTHS if by_hand else 1.0)
    skip = skip if skip is not None and skip < most and abs(moved) < MOST_MOVED else None
    told = skip is not None and count >= LEAST_DRAWS
    missed, double = (_figure(question.observed_m2[k], areas[:, k], question, told=told) for k in (MISSED, DOUBLE))
    covered = Figure(
        question.observed_m2[COVERED],
        None if missed.estimate is None else target - missed.estimate,
        target - missed.high90,
        target - missed.low90,
        told=missed.told,
    )
    return RegimeResult(missed, double, covered, chances, skip, learnt)


def about_the_log(
    areas: FloatArray, observed: FloatArray, by_eye: float | None, sigma_m: float, *, placed: bool = False
) -> FloatArray:
    """Drawn *areas* [m2], shape (draws, 2), moved and spread for what no model holds; *observed* shows the log.

    *by_eye*: chance that fence and switch were kept to by eye; None by hand. *sigma_m*: the receiver's slow error. [m]
    *placed*: the antenna's place was drawn too, which spreads areas as it is: none is drawn in.
    Factors that simulated jobs were held by; no source.
    """
    middle, sd = areas.mean(axis=0), areas.std(axis=0)
    way, off = observed - middle, areas - middle
    shift, below, above, doubted = np.full(2, _by_size(HAND_SHIFT, sigma_m)), HAND_BELOW, HAND_ABOVE, HAND_DOUBT
    if by_eye is not None:
        # ground that draws take away was kept to by eye, and there they err as by hand
        shift = by_eye * np.where(way > 0, shift, GUIDED_SHIFT)
        below, above, doubted = GUIDED_BELOW, GUIDED_ABOVE, GUIDED_DOUBT
    doubt = doubted * np.divide(way, sd, out=np.zeros(2), where=sd > 0)
    lower, upper = ([_by_size(one, sigma_m) for one in factors] for factors in (below, above))
    if placed:
        lower, upper = (np.maximum(factors, 1.0).tolist() for factors in (lower, upper))
    spread = np.where(off < 0, lower, upper)
    return np.asarray(middle + shift * way + np.hypot(spread, doubt) * off)


def _by_size(factors: tuple[float, ...], sigma_m: float) -> float:
    """The factor at a slow error of *sigma_m* [m], even between those of ``FACTOR_SIGMA_M`` by its logarithm."""
    return float(np.interp(np.log(max(sigma_m, FACTOR_SIGMA_M[0])), np.log(FACTOR_SIGMA_M), factors))


def _sources(
    question: Question, seen: Seen, count: int, rng: np.random.Generator, by_eye: float | None
) -> tuple[list[Source], float]:
    """What *count* draws are made by: particles, each with the gaps that its errors know of and its share of the draws.

    And how far the scale was moved. Who steers by the receiver still sees fence and switch: there the log is truth plus
    error, and those gaps tell of it. Unless they are as tight as only steering by the receiver makes them: then nothing
    tells. Between the two the draws are shared out: *by_eye* is the chance of the first, None by hand.
    """
    gaps, error, noise, stands = question.gaps, question.error, question.noise_m, question.stands
    few, many = min(PARTICLES, count), min(BLIND_PARTICLES, count)
    if by_eye is None:
        known = Known.of(gaps, error, noise, stands, question.repeats)
        particles, moved = draw_particles(known, few, rng)
        return [(one, seen if len(gaps) else None, 1 / few) for one in particles], moved
    error = replace(error, short_m=0.0)  # what is forgotten within seconds no machine follows: it is in the log alone
    blind, moved = draw_particles(Known.of(None, error, noise, stands), many, rng)
    if not by_eye:
        return [(one, None, 1 / many) for one in blind], moved
    seeing = pick(gaps, gaps.kind != BETWEEN)
    particles, moved_by_eye = draw_particles(Known.of(seeing, error, noise, stands), few, rng)
    seen_by_eye = Seen.of(seeing, error, noise)
    sources: list[Source] = [(one, seen_by_eye, by_eye / few) for one in particles]
    sources += [(one, None, (1 - by_eye) / many) for one in blind]
    return [sources[k] for k in rng.permutation(len(sources))], max(moved, moved_by_eye, key=abs)


def _learnt(question: Question, sources: Sequence[Source], moved: float) -> Learnt:
    """The receiver's slow error as far as the log tells, and what the log holds against what was taken."""
    values = [[float(np.median(one.error.sigma_m)), one.error.time_constant_s] for one, _, _ in sources]
    shares = np.array([share for _, _, share in sources])
    low, best, high = np.transpose([_weighed(column, shares) for column in np.transpose(values)]).tolist()
    wrong = question.error.fix_class == CLASSES[-1] and max(low[0], question.jump_fixed_m) > WRONG_FIX_M
    doubts = [(CONTRADICTED, abs(moved) >= MOST_MOVED), (WRONG_FIX, wrong)]
    sigma, time = (Spread(best[k], low[k], high[k]) for k in (0, 1))
    return Learnt(sigma, time, tuple(name for name, holds in doubts if holds))


def _weighed(values: FloatArray, shares: FloatArray) -> FloatArray:
    """5, 50 and 95 % quantiles of *values* that have a say of *shares*, shape (3,)."""
    order = np.argsort(values)
    middle = np.cumsum(shares[order]) - shares[order] / 2
    return np.interp((0.05, 0.5, 0.95), middle / shares.sum(), values[order])


def by_eye_chance(gaps: Gaps) -> float:
    """Chance that fence and switch were kept to by eye, from how far the gaps to the fence spread. [1]"""
    if (gaps.kind == BETWEEN).all():
        return 0.0
    edge = gaps.gap_m[gaps.kind == EDGE]
    if not len(edge):
        return BY_EYE_CHANCE[0]
    spread = 1.4826 * float(np.median(np.abs(edge - np.median(edge))))
    return float(np.interp(spread, BY_EYE_SPREAD_M, BY_EYE_CHANCE))


def _doubted(table: FloatArray, question: Question, sources: Sequence[Source], rng: np.random.Generator) -> FloatArray:
    """*table* in which wide strips along the fence, that no gap could be measured across, are error in some draws."""
    values = np.array([np.median(one.error.sigma_m) for one, _, _ in sources])
    sigma = float(_weighed(values, np.array([share for _, _, share in sources]))[1])
    result = table.copy()
    for number, strip in enumerate(question.strips):
        wide = strip.where == "field edge" and strip.max_width_m > PROBE_REACH_WIDTHS * question.width_m
        if wide and strip.mean_width_m < FENCE_DOUBT_SIGMAS * sigma:
            gone = rng.random(len(table)) < FENCE_DOUBT
            result[:, MISSED] -= strip.area_m2 * gone * table[:, 2 + number]
            result[gone, 2 + number] = 0.0
    result[:, MISSED] = np.maximum(result[:, MISSED], 0.0)
    return result


def _figure(observed: float, draws: FloatArray, question: Question, *, told: bool) -> Figure:
    low, high = range_of(draws)
    # a few draws go far; those within the range say where the middle lies
    off = float(draws[(draws >= low) & (draws <= high)].mean()) - observed
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
