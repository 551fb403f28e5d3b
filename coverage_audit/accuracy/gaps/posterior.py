"""What the measured gaps tell of the receiver's error: a linear Gaussian model of both.

A measured gap is the true gap plus the error at one moment less that at another. Drivers aim at
even gaps, receivers wander slowly; the two differ in how they vary along the job and from pass to
pass, so the measured gaps tell how much is whose (kriging with known covariances; Matheron's rule
for simulations given data: Journel & Huijbregts 1978, Mining Geostatistics, ch. 7, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.error import decayed_sums, gauss_markov, sigma_at
from coverage_audit.accuracy.tolerances import (
    BLUNDER_M,
    CLUSTER_SKIPS,
    OUTLIER_SPREADS,
    REAL_SHARE,
    ROUNDING_REL,
    SHORT_MEMORY_S,
)
from coverage_audit.later import scipy

from .habits import ErrorGaps, TrueGaps, runs_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.accuracy.model import ErrorModel, Gaps
    from coverage_audit.arrays import FloatArray, IntArray

    from .particles import Particle


@dataclass(frozen=True)
class Seen:
    """Measured gaps and what makes them vary, whatever the sizes: receiver's error, true gaps, white noise [m2], runs.

    ``runs`` (n, runs): which gaps are of one run, as :func:`.habits.runs_of` numbers them.
    """

    gaps: Gaps
    errors: ErrorGaps
    true: TrueGaps
    white_m2: float
    runs: FloatArray

    @classmethod
    def of(cls, gaps: Gaps, error: ErrorModel, noise_m: float) -> Seen:
        """Put together what does not depend on the particle; *noise_m* is that of one edge. [m]"""
        return cls(gaps, ErrorGaps.of(gaps, error), TrueGaps.of(gaps), 2 * noise_m**2 + 1e-10, runs_of(gaps))

    def errors_m2(self, one: Particle) -> FloatArray:
        """Covariance of the errors' part of the gaps, shape (n, n). [m2]"""
        return self.errors.covariance(one.scale, one.error.time_constant_s, one.error.short_m)

    def true_m2(self, one: Particle) -> FloatArray:
        """Covariance of the true gaps, the runs that were set wrong included, shape (n, n). [m2]"""
        wrong = self.runs[:, one.flagged]
        return np.asarray(self.true.covariance(one.habits) + BLUNDER_M**2 * wrong @ wrong.T)

    def white_beside(self, errors_m2: FloatArray) -> float:
        """White noise of a gap; beside errors of hundreds of metres no less than rounding leaves of them. [m2]"""
        return self.white_m2 + ROUNDING_REL * float(errors_m2.max(initial=0.0))


def simulate_errors(
    time_s: FloatArray, error: ErrorModel, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Errors that know nothing of the gaps: of the boom's place (n, 2, count), of the boundary (2, count). [m]"""
    shape = (len(time_s), 2, count)
    drawn = gauss_markov(time_s, error.time_constant_s, 2 * count, rng).reshape(shape)
    drawn *= sigma_at(error, time_s)[:, None, None]
    if error.short_m > 0:
        drawn += error.short_m * gauss_markov(time_s, SHORT_MEMORY_S, 2 * count, rng).reshape(shape)
    return drawn, error.boundary_m * rng.standard_normal((2, count))


def conditioned_errors(
    time_s: FloatArray, seen: Seen, one: Particle, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Errors at rising *time_s* [s] given the measured gaps; shapes as :func:`simulate_errors`. [m]

    Matheron's rule: a draw of all, corrected by what it misses the data by (Journel & Huijbregts 1978, from memory).
    """
    return drawn_to_condition(time_s, seen, one, count, rng)()


def drawn_to_condition(
    time_s: FloatArray, seen: Seen, one: Particle, count: int, rng: np.random.Generator
) -> Callable[[], tuple[FloatArray, FloatArray]]:
    """What :func:`conditioned_errors` draws, drawn now; the work that needs no chance is done when it is called."""
    gaps, error = seen.gaps, one.error
    other = np.where(np.isfinite(gaps.other_s), gaps.other_s, gaps.own_s)
    times, back = np.unique(np.concatenate([time_s, gaps.own_s, other]), return_inverse=True)
    wander, boundary = simulate_errors(times, error, count, rng)
    here, own, met = np.split(back, [len(time_s), len(time_s) + len(gaps)])
    luck = rng.standard_normal((len(gaps), count))

    def conditioned() -> tuple[FloatArray, FloatArray]:
        felt, moved = _missed_by(seen, one, times, (wander, boundary), (own, met), luck)
        return wander[here] + felt[here], boundary + moved

    return conditioned


def _missed_by(
    seen: Seen,
    one: Particle,
    times: FloatArray,
    drawn: tuple[FloatArray, FloatArray],
    ends: tuple[IntArray, IntArray],
    luck: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """By how much what was *drawn* at *times* has to move, so that the gaps are those measured. [m]

    *ends*: at which of the times each gap begins and ends; *luck* (n, count): normal numbers for the true gaps.
    """
    gaps, error, (wander, boundary), (own, met) = seen.gaps, one.error, drawn, ends
    met_field = gaps.kind == 1
    of_other = np.where(met_field[:, None, None], boundary[None], wander[met])
    simulated = np.einsum("ni,nik->nk", gaps.normal, of_other - wander[own])
    true, errors = seen.true_m2(one), seen.errors_m2(one)
    true[np.diag_indices(len(gaps))] += seen.white_beside(errors)
    simulated += np.linalg.cholesky(true) @ luck
    weight = scipy("linalg").solve(errors + true, gaps.gap_m[:, None] - simulated, assume_a="pos")
    pull = gaps.normal[:, :, None] * weight[:, None, :]
    sides = np.concatenate([np.full(len(gaps), -1.0), np.where(met_field, 0.0, 1.0)])
    at = np.concatenate([own, met]), np.tile(np.arange(len(gaps)), 2)
    gathered = scipy("sparse").csr_array((sides, at), (len(times), len(gaps))) @ pull.reshape(len(gaps), -1)
    strength = gathered.reshape(wander.shape)
    sigma = sigma_at(error, times)[:, None, None]
    felt = sigma * _felt(times, sigma * strength, error.time_constant_s)
    if error.short_m > 0:
        felt += error.short_m**2 * _felt(times, strength, SHORT_MEMORY_S)
    return felt, error.boundary_m**2 * pull[met_field].sum(axis=0)


def _felt(time_s: FloatArray, strength: FloatArray, memory_s: float) -> FloatArray:
    """At each moment the sum of all *strength* (n, ...) times exp(-time between / memory): one pass each way."""
    before = decayed_sums(time_s, memory_s, strength)
    after = decayed_sums(-time_s[::-1], memory_s, strength[::-1])[::-1]
    return before + after - strength


def smallest_skip(
    seen: Seen, particles: Sequence[Particle], wanted: tuple[float, float, float], *, by_hand: bool
) -> float | None:
    """Width that a skip must look to be real with probability ``SURE``; None when no gap was measured. [m]

    Real: in truth ``REAL_SHARE`` of what it looks. Narrower ones than wanted are not listed.

    The median over *particles*. By hand the mean of the skip's true gaps is kriged from the measured ones (Journel &
    Huijbregts 1978, from memory); else truth is the log plus error, and every measured gap is believed whole.

    Parameters
    ----------
    wanted : (length, width, sure) float
        Length of the skip [m], width of the narrowest listed [m], and the normal quantile of being sure [1].
    """
    windows = _windows(seen.gaps, wanted[0])
    if not windows.shape[1]:
        return None
    found = [
        _kriged(seen, one, windows, wanted) if by_hand else _plain(seen, one, windows, wanted) for one in particles
    ]
    return float(np.median(found))


def _windows(gaps: Gaps, length_m: float) -> FloatArray:
    """Mean over the gaps beside each of some places: one column a place, shape (n, places)."""
    between = np.flatnonzero(gaps.kind == 0)
    places = between[np.linspace(0, len(between) - 1, min(CLUSTER_SKIPS, len(between))).astype(int)]
    windows = np.zeros((len(gaps), len(places)))
    for column, at in enumerate(places):
        beside = np.abs(gaps.own_travel_m - gaps.own_travel_m[at]) <= length_m / 2
        beside &= (gaps.kind == 0) & (gaps.normal @ gaps.normal[at] > 0)
        beside &= (gaps.own_stretch == gaps.own_stretch[at]) & (gaps.other_stretch == gaps.other_stretch[at])
        windows[:, column] = beside / beside.sum()
    return windows


def _plain(seen: Seen, one: Particle, windows: FloatArray, wanted: tuple[float, float, float]) -> FloatArray:
    """Width at each place, by one particle, where the log is believed whole, shape (places,). [m]"""
    spread = np.sqrt(np.einsum("nk,nk->k", windows, seen.errors_m2(one) @ windows))
    return np.asarray(np.maximum(wanted[1], wanted[2] * spread / (1 - REAL_SHARE)))


def _kriged(seen: Seen, one: Particle, windows: FloatArray, wanted: tuple[float, float, float]) -> FloatArray:
    """Width at each place, by one particle, where gaps tell true gaps from errors, shape (places,). [m]"""
    gaps, plain, true = seen.gaps, _plain(seen, one, windows, wanted), seen.true_m2(one)
    errors = seen.errors_m2(one)
    total = errors + true + seen.white_beside(errors) * np.eye(len(gaps))
    near = true @ windows
    gain = scipy("linalg").solve(total, near, assume_a="pos")
    believed = np.maximum(((windows > 0) * gain).sum(axis=0), 1e-9)
    spread = np.sqrt(np.maximum(np.einsum("nk,nk->k", windows, near) - np.einsum("nk,nk->k", near, gain), 0.0))
    between = gaps.kind == 0
    middle = float(np.median(gaps.gap_m[between]))
    usual_m = OUTLIER_SPREADS * 1.4826 * float(np.median(np.abs(gaps.gap_m[between] - middle)))
    off = wanted[2] * spread - (1 - believed) * middle  # truth lies about believed * width + (1 - believed) * middle
    real = np.where(believed > REAL_SHARE, off / np.maximum(believed - REAL_SHARE, 1e-9), np.inf)
    shrunk = np.maximum(wanted[1], real)
    return np.asarray(np.minimum(shrunk, np.maximum(plain, middle + usual_m)))
