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

from coverage_audit.accuracy.error import gauss_markov, sigma_at
from coverage_audit.accuracy.tolerances import CLUSTER_SKIPS, OUTLIER_SPREADS

from .habits import TrueGaps, error_covariance

if TYPE_CHECKING:
    from coverage_audit.accuracy.model import ErrorModel, Gaps
    from coverage_audit.arrays import FloatArray

    from .habits import Habits


@dataclass(frozen=True)
class Seen:
    """Measured gaps and what makes them vary: the receiver's error (n, n) [m2], true gaps, and white noise [m2]."""

    gaps: Gaps
    error: ErrorModel
    errors_m2: FloatArray
    true: TrueGaps
    white_m2: float

    @classmethod
    def of(cls, gaps: Gaps, error: ErrorModel, noise_m: float) -> Seen:
        """Put together what does not depend on the driver's habits; *noise_m* is that of one edge. [m]"""
        return cls(gaps, error, error_covariance(gaps, error), TrueGaps.of(gaps), 2 * noise_m**2 + 1e-10)


def simulate_errors(
    time_s: FloatArray, error: ErrorModel, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Errors that know nothing of the gaps: of the boom's place (n, 2, count), of the boundary (2, count). [m]"""
    unit = gauss_markov(time_s, error.time_constant_s, 2 * count, rng).reshape(len(time_s), 2, count)
    return unit * sigma_at(error, time_s)[:, None, None], error.boundary_m * rng.standard_normal((2, count))


def conditioned_errors(
    time_s: FloatArray, seen: Seen, habits: Habits, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Errors at rising *time_s* [s] given the measured gaps; shapes as :func:`simulate_errors`. [m]

    Matheron's rule: a draw of all, corrected by what it misses the data by (Journel & Huijbregts 1978, from memory).
    """
    gaps, error = seen.gaps, seen.error
    other = np.where(np.isfinite(gaps.other_s), gaps.other_s, gaps.own_s)
    times, back = np.unique(np.concatenate([time_s, gaps.own_s, other]), return_inverse=True)
    wander, boundary = simulate_errors(times, error, count, rng)
    here, own, met = np.split(back, [len(time_s), len(time_s) + len(gaps)])
    met_field = gaps.kind == 1
    of_other = np.where(met_field[:, None, None], boundary[None], wander[met])
    simulated = np.einsum("ni,nik->nk", gaps.normal, of_other - wander[own])
    true = seen.true.covariance(habits)
    true[np.diag_indices(len(gaps))] += seen.white_m2
    simulated += np.linalg.cholesky(true) @ rng.standard_normal((len(gaps), count))
    weight = np.linalg.solve(seen.errors_m2 + true, gaps.gap_m[:, None] - simulated)
    pull = gaps.normal[:, :, None] * weight[:, None, :]
    strength = np.zeros_like(wander)
    np.add.at(strength, own, -pull)
    np.add.at(strength, met, np.where(met_field[:, None, None], 0.0, pull))
    sigma = sigma_at(error, times)[:, None, None]
    felt = sigma * _felt(times, sigma * strength, error.time_constant_s)
    return wander[here] + felt[here], boundary + error.boundary_m**2 * pull[met_field].sum(axis=0)


def _felt(time_s: FloatArray, strength: FloatArray, memory_s: float) -> FloatArray:
    """At each moment the sum of all *strength* (n, ...) times exp(-time between / memory): one pass each way."""
    keep = np.exp(-np.diff(time_s) / memory_s)
    before, after = strength.copy(), strength.copy()
    for k in range(1, len(time_s)):
        before[k] += keep[k - 1] * before[k - 1]
    for k in range(len(time_s) - 2, -1, -1):
        after[k] += keep[k] * after[k + 1]
    return before + after - strength


def smallest_skip(seen: Seen, habits: Habits | None, wanted: tuple[float, float, float]) -> float | None:
    """Width of a skip that is at least so wide in truth with probability ``SURE``; None when no gap was measured. [m]

    The mean of the skip's true gaps is kriged from the measured ones (Journel & Huijbregts 1978, from memory).

    Parameters
    ----------
    habits : Habits or None
        None when truth is the log plus error: then every measured gap is believed whole.
    wanted : (length, width, sure) float
        Length of the skip [m], least true width [m], and the normal quantile of being sure [1].
    """
    gaps = seen.gaps
    between = np.flatnonzero(gaps.kind == 0)
    places = between[np.linspace(0, len(between) - 1, min(CLUSTER_SKIPS, len(between))).astype(int)]
    windows = np.zeros((len(gaps), len(places)))
    for column, at in enumerate(places):
        beside = np.abs(gaps.own_travel_m - gaps.own_travel_m[at]) <= wanted[0] / 2
        beside &= (gaps.kind == 0) & (gaps.normal @ gaps.normal[at] > 0)
        beside &= (gaps.own_stretch == gaps.own_stretch[at]) & (gaps.other_stretch == gaps.other_stretch[at])
        windows[:, column] = beside / beside.sum()
    if not len(places):
        return None
    plain = wanted[1] + wanted[2] * np.sqrt(np.einsum("nk,nk->k", windows, seen.errors_m2 @ windows))
    if habits is None:
        return float(np.median(plain))
    true = seen.true.covariance(habits)
    total = seen.errors_m2 + true + seen.white_m2 * np.eye(len(gaps))
    near = true @ windows
    gain = np.linalg.solve(total, near)
    believed = np.maximum(((windows > 0) * gain).sum(axis=0), 1e-9)
    spread = np.sqrt(np.maximum(np.einsum("nk,nk->k", windows, near) - np.einsum("nk,nk->k", near, gain), 0.0))
    middle = float(np.median(gaps.gap_m[between]))
    usual_m = OUTLIER_SPREADS * 1.4826 * float(np.median(np.abs(gaps.gap_m[between] - middle)))
    shrunk = (wanted[1] + wanted[2] * spread - (1 - believed) * middle) / believed
    return float(np.median(np.minimum(shrunk, np.maximum(plain, middle + usual_m))))
