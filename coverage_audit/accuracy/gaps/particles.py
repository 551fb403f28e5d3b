"""Which sizes of the receiver's error and which habits of the driver a log allows: drawn, never maximised.

The receiver's scale, memory and short part and the driver's habits are unknown in every job. Each has a log-normal
prior; what the log tells (gaps between passes when steered by hand, stops in any case) weighs them. Many sets, the
particles, are drawn by adaptive multiple importance sampling (Cornuet, Marin, Mira & Robert 2012, Scand. J. Stat.
39:798-812): from the prior first, then from normal laws about what fitted, all weighed together.

No driver and no receiver is quite of the kind that the likelihood describes, so what it says is raised to a power
below one (coarsened posterior: Miller & Dunson 2019, J. Am. Stat. Assoc. 114:1113-1125): it may rule out what fits
badly, and does not choose between what fits about as well. Passes that were set wrong are flagged one by one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.standing import log_likelihood
from coverage_audit.accuracy.tolerances import (
    BELIEF,
    BLUNDER_M,
    BLUNDER_SHARE,
    HABIT_LOG_SD,
    MEMORY_RANGE_S,
    MOST_BLUNDERS,
    MOST_TUNING_GAPS,
    PARTICLE_ROUNDS,
    PARTICLES_AT_FIRST,
    PARTICLES_LATER,
    SHORT_LOG_SD,
    TUNING_STEP_M,
    WEIGHT_LEAST,
)
from coverage_audit.later import scipy
from coverage_audit.threads import side_by_side

from .choice import pick
from .habits import ErrorGaps, Habits, TrueGaps, lower_of, runs_of, scaled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.accuracy.model import ErrorModel, Gaps
    from coverage_audit.accuracy.repeats import Repeats
    from coverage_audit.accuracy.standing import Stand
    from coverage_audit.arrays import BoolArray, FloatArray

SIZE = 8
"""Unknowns of a particle: scale, memory and short part of the error; wander, its length, offset, switching, follow."""


@dataclass(frozen=True)
class Particle:
    """One set of what is unknown: the receiver's error, the driver's habits, and which runs of gaps were set wrong.

    ``scale``: the slow error's size, in usual ones. ``flagged`` (runs,) as :func:`.habits.runs_of` numbers them.
    """

    error: ErrorModel
    habits: Habits
    scale: float
    flagged: BoolArray


@dataclass(frozen=True)
class Known:
    """What a log tells of receiver and driver: few of its gaps, its stops, and lines driven again; each may be none."""

    error: ErrorModel
    gap_m: FloatArray
    gaps: ErrorGaps | None
    true: TrueGaps | None
    short_m2: FloatArray
    runs: FloatArray
    white_m2: float
    stands: tuple[Stand, ...]
    repeats: Repeats | None = None

    @classmethod
    def of(
        cls,
        gaps: Gaps | None,
        error: ErrorModel,
        noise_m: float,
        stands: Sequence[Stand],
        repeats: Repeats | None = None,
    ) -> Known:
        """Of some of the gaps: closer ones tell of the vehicle and of jitter. *noise_m*: white noise of an edge. [m]"""
        none = np.zeros((0, 0))
        if gaps is None or not len(gaps):
            return cls(error, np.zeros(0), None, None, none, none, 0.0, tuple(stands), repeats)
        chosen = _apart(gaps)
        few, runs = pick(gaps, chosen), runs_of(gaps)[chosen]
        parts = ErrorGaps.of(few, error)
        # a little of its own for each gap: without any, gaps to the boundary repeat one another
        white = 2 * noise_m**2 + 1e-10 + 1e-8 * float(error.sigma_m.max() ** 2 + error.boundary_m**2)
        short, true = parts.short * parts.facing, TrueGaps.of(few)
        return cls(error, few.gap_m, parts, true, short, runs, white, tuple(stands), repeats)

    def log_weights(self, drawn: FloatArray) -> FloatArray:
        """Log posterior of particles (k, SIZE), each figure in standard deviations of its prior, up to a constant."""
        total = -np.square(drawn).sum(axis=1) / 2
        scale, memory, short = errors_of(drawn, self.error)
        for one in self.stands:
            sigma = scale * float(np.median(np.interp(one.time_s, self.error.time_s, self.error.sigma_m)))
            quick = np.hypot(short, self.error.noise_m)
            total += BELIEF * log_likelihood(one, np.maximum(sigma, 1e-6), memory, np.maximum(quick, 1e-6))
        if self.repeats is not None and len(self.repeats):
            sigma = scale * float(np.median(self.error.sigma_m))
            total += BELIEF * self.repeats.log_likelihood(sigma, memory, short)
        if self.gaps is not None:
            total += BELIEF * np.array(side_by_side(lambda one: self._fit(one)[0], drawn))
        return np.asarray(total)

    def _fit(self, one: FloatArray) -> tuple[float, FloatArray]:
        """Log likelihood of the gaps under one particle, and the log odds that each run was set wrong."""
        if self.gaps is None or self.true is None:
            return 0.0, np.zeros(0)
        (scale,), (memory,), (short,) = errors_of(one[None], self.error)
        below = self.gaps.below(scale, memory, 0.0)
        below += short**2 * self.short_m2 + self.true.below(habits_of(one))
        total = lower_of(below)
        total[np.diag_indices(len(total))] += self.white_m2
        root = scipy("linalg").cholesky(total, lower=True, overwrite_a=True, check_finite=False)
        seen = np.column_stack([self.gap_m, self.runs])
        white = scipy("linalg").solve_triangular(root, seen, lower=True, overwrite_b=True, check_finite=False)
        plain = -float(np.log(np.diag(root)).sum()) - float(white[:, 0] @ white[:, 0]) / 2
        gained, odds = set_wrong(white[:, 1:].T @ white[:, 1:], white[:, 0] @ white[:, 1:])
        return plain + gained, odds

    def particle(self, one: FloatArray, rng: np.random.Generator) -> Particle:
        """The particle whose figures are *one*, its flags drawn."""
        _, odds = self._fit(one)
        (scale,), (memory,), (short,) = errors_of(one[None], self.error)
        flagged = rng.random(len(odds)) < 1 / (1 + np.exp(-np.clip(odds, -50, 50)))
        return Particle(scaled(self.error, scale, memory, short), habits_of(one), float(scale), flagged)


def set_wrong(shared: FloatArray, pull: FloatArray) -> tuple[float, FloatArray]:
    """What it adds to the log likelihood that some runs were set wrong, and the log odds of each.

    A run that was set wrong has an offset of its own on top (rank-one update of a normal law, textbook). The one that
    gains most comes first and the rest are seen given it, since neighbouring runs share a pass and would each claim
    what one of them explains.

    Parameters
    ----------
    shared : (runs, runs) float
        Runs times the inverse covariance of the gaps, times runs.
    pull : (runs,) float
        Gaps times the inverse covariance, times runs.
    """
    shared, pull, chosen = shared.copy(), pull.copy(), np.full(len(pull), -np.inf)
    before, gained = math.log(BLUNDER_SHARE / (1 - BLUNDER_SHARE)), 0.0
    while True:
        more = 1 + BLUNDER_M**2 * np.diag(shared)
        odds = before + (BLUNDER_M**2 * pull**2 / more - np.log(more)) / 2
        free = np.where(np.isneginf(chosen), odds, -np.inf)
        if not len(free) or free.max() <= 0 or np.isfinite(chosen).sum() >= MOST_BLUNDERS:
            return gained, np.where(np.isneginf(chosen), odds, chosen)
        best = int(free.argmax())
        chosen[best], gained = free[best], gained + float(free[best])
        share = BLUNDER_M**2 / more[best]
        column, own = shared[:, best].copy(), pull[best]
        shared -= share * np.outer(column, column)
        pull -= share * own * column


def errors_of(drawn: FloatArray, error: ErrorModel) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Scale [1], memory [s] and short part [m] of particles (k, SIZE), each of shape (k,)."""
    memory = np.clip(error.time_constant_s * np.exp(error.time_log_sd * drawn[:, 1]), *MEMORY_RANGE_S)
    return np.exp(error.sigma_log_sd * drawn[:, 0]), memory, error.short_m * np.exp(SHORT_LOG_SD * drawn[:, 2])


def habits_of(one: FloatArray) -> Habits:
    """Habits of one particle (SIZE,)."""
    usual = Habits()
    names = ("wander_m", "length_m", "offset_m", "ahead_m")
    shown = {name: getattr(usual, name) * math.exp(HABIT_LOG_SD[k] * one[3 + k]) for k, name in enumerate(names)}
    return Habits(**shown, follow=math.erfc(-one[7] / math.sqrt(2)) / 2)


def draw_particles(known: Known, count: int, rng: np.random.Generator) -> tuple[list[Particle], float]:
    """*count* particles that the log allows, and by how many prior standard deviations it moves the error's scale."""
    if known.gaps is None and not known.stands and not known.repeats:
        return [known.particle(one, rng) for one in rng.standard_normal((count, SIZE))], 0.0
    drawn = rng.standard_normal((PARTICLES_AT_FIRST, SIZE))
    laws = [(np.zeros(SIZE), np.eye(SIZE), PARTICLES_AT_FIRST)]
    fits = known.log_weights(drawn)
    for _ in range(PARTICLE_ROUNDS):
        weight = _flattened(fits - _log_mixture(drawn, laws))
        mean = weight @ drawn
        spread = (drawn - mean).T @ (weight[:, None] * (drawn - mean)) + 0.05 * np.eye(SIZE)
        fresh = mean + rng.standard_normal((PARTICLES_LATER, SIZE)) @ np.linalg.cholesky(spread).T
        laws.append((mean, spread, PARTICLES_LATER))
        drawn, fits = np.concatenate([drawn, fresh]), np.concatenate([fits, known.log_weights(fresh)])
    weight = _flattened(fits - _log_mixture(drawn, laws))
    # one even comb over the weights leaves less to luck than single draws (systematic resampling, textbook)
    comb = (np.arange(count) + rng.random()) / count
    chosen = np.minimum(np.searchsorted(np.cumsum(weight), comb), len(weight) - 1)
    return [known.particle(drawn[k], rng) for k in rng.permutation(chosen)], float(weight @ drawn[:, 0])


def _flattened(log_weight: FloatArray) -> FloatArray:
    """Weights that sum to 1, raised to the highest power up to 1 that leaves ``WEIGHT_LEAST`` particles their say."""

    def at(power: float) -> FloatArray:
        weight = np.exp(power * (log_weight - log_weight.max()))
        return np.asarray(weight / weight.sum())

    def enough(power: float) -> bool:
        return bool(1 / np.square(at(power)).sum() >= WEIGHT_LEAST)

    low, high = 0.0, 1.0
    if enough(high):
        return at(high)
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if enough(middle) else (low, middle)
    return at(low)


def _log_mixture(drawn: FloatArray, laws: Sequence[tuple[FloatArray, FloatArray, int]]) -> FloatArray:
    """Log density of the mixture that the particles were drawn from, shape (k,), up to a constant."""
    parts = []
    for mean, spread, count in laws:
        root = np.linalg.cholesky(spread)
        white = scipy("linalg").solve_triangular(root, (drawn - mean).T, lower=True)
        parts.append(math.log(count) - np.log(np.diag(root)).sum() - np.square(white).sum(axis=0) / 2)
    return np.asarray(np.logaddexp.reduce(parts, axis=0))


def _apart(gaps: Gaps) -> BoolArray:
    """Which gaps are about ``TUNING_STEP_M`` apart along a pass, and no more than ``MOST_TUNING_GAPS``, shape (n,)."""
    beside = gaps.kind != 2
    travel = gaps.own_travel_m[beside]
    apart = np.abs(np.diff(travel))
    near = float(np.median(apart[apart > 0])) if (apart > 0).any() else TUNING_STEP_M
    step = max(math.ceil(TUNING_STEP_M / near - 0.5), math.ceil(len(travel) / MOST_TUNING_GAPS), 1)
    keep = ~beside
    keep[np.flatnonzero(beside)[::step]] = True
    return keep
