"""How far each fix may be off: a slowly wandering error and white noise.

The wandering part of each coordinate is a first-order Gauss-Markov process (Gelb 1974, Applied
Optimal Estimation, section 3.8, from memory): variance sigma^2, correlation exp(-t / T), so that two
moments t apart differ by sigma * sqrt(2 (1 - exp(-t / T))).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.smoothing import local_parabolas

from .model import ErrorModel
from .tolerances import (
    CLASS_NOISE_M,
    CLASS_OF_QUALITY,
    CLASS_SHORT_M,
    CLASS_SIGMA_LOG_SD,
    CLASS_SIGMA_M,
    CLASS_TIME_LOG_SD,
    CLASS_TIME_S,
    CLASSES,
    GST_LOG_SD,
    HDOP_RANGE,
    JITTER_STEP_S,
    LEAST_DIFFERENCES,
    MEMORIES_AT_ONCE,
    MOST_SHORT_SHARE,
    MOST_SIGMA_M,
    MOST_SMOOTH_S,
    SMOOTH_GAIN,
    SMOOTH_HALVES,
    SQUARE_MEDIAN,
    STATED_LOG_SD,
    STRAIGHT_FIT_M,
    USUAL_HDOP,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import Track
    from coverage_audit.jobs.settings import AccuracySettings


BY_CLASS = "usual for this class of fix"
BY_GST = "the receiver's own estimate (GST)"
BY_FILE = "stated in the job file"
SCALE_LOG_SD = {BY_GST: GST_LOG_SD, BY_FILE: STATED_LOG_SD}
"""By which factor e^this a scale from there may be off; from elsewhere as its class may. [1]"""


def error_model(track: Track, settings: AccuracySettings) -> ErrorModel:
    """Error of the fixes of *track*: as stated, else from GST, else by class and HDOP.

    A GST sentence's horizontal deviation is that of both coordinates together, sqrt(2) times
    one's. The time constant and the noise are those of the commonest class. An error grows with HDOP as
    the range's error does (textbook of satellite positioning, from memory).
    """
    number = np.array([CLASS_OF_QUALITY.get(code, 0) for code in track.quality.tolist()])
    common = int(np.bincount(number, minlength=len(CLASSES)).argmax())
    unstated = not np.isin(track.quality, list(CLASS_OF_QUALITY)).any()
    stated = True
    short = CLASS_SHORT_M[common]
    if settings.sigma_m is not None:
        short = _short_beside(settings.sigma_m)
        sigma, source = np.full(len(number), settings.sigma_m), BY_FILE
    else:
        sigma = np.array(CLASS_SIGMA_M)[number]
        scaled = np.isfinite(track.hdop) & (track.hdop > 0)
        sigma = np.where(scaled, sigma * np.clip(track.hdop / USUAL_HDOP, *HDOP_RANGE), sigma)
        told = np.isfinite(track.gst_m) & (track.gst_m > 0)
        sigma = np.where(told, track.gst_m / math.sqrt(2), sigma)
        source = BY_GST if told.mean() > 0.5 else BY_CLASS
        stated = bool(not unstated or told.any())
        if not stated:
            source = "the log does not state the class of its fixes, so the worst was taken"
    return ErrorModel(
        track.time_s,
        np.minimum(sigma, MOST_SIGMA_M),
        CLASS_NOISE_M[common] if settings.noise_m is None else settings.noise_m,
        CLASS_TIME_S[common] if settings.time_constant_s is None else settings.time_constant_s,
        settings.boundary_m,
        CLASSES[common],
        source,
        stated,
        short,
        SCALE_LOG_SD.get(source, CLASS_SIGMA_LOG_SD[common]),
        CLASS_TIME_LOG_SD[common] if settings.time_constant_s is None else STATED_LOG_SD,
    )


def _short_beside(sigma_m: float) -> float:
    """Short part that goes with a slow error that was stated: that of the class whose slow error is nearest. [m]"""
    if not sigma_m:
        return 0.0
    near = int(np.abs(np.log(sigma_m / np.array(CLASS_SIGMA_M))).argmin())
    return min(CLASS_SHORT_M[near], MOST_SHORT_SHARE * sigma_m)


def difference_sd(sigma: float, apart_s: float, time_constant_s: float) -> float:
    """Standard deviation of the difference of two wandering errors *apart_s* [s] apart, in the unit of *sigma*.

    sigma sqrt(2 (1 - exp(-t / T))): Gelb 1974, section 3.8, from memory.
    """
    return sigma * math.sqrt(-2 * math.expm1(-apart_s / time_constant_s))


def gauss_markov(at: FloatArray, memory: float, count: int, rng: np.random.Generator) -> FloatArray:
    """First-order Gauss-Markov sequences of unit variance at uneven moments, shape (len(at), count).

    Each value keeps exp(-step / memory) of the last (Gelb 1974, section 3.8, from memory).

    Parameters
    ----------
    at : (n,) float
        Rising moments or distances.
    memory : float
        Over this the correlation falls to 1/e; in the unit of *at*.
    """
    fresh = np.sqrt(-np.expm1(-2 * np.diff(at) / memory))
    values = rng.standard_normal((len(at), count))
    values[1:] *= fresh[:, None]
    return decayed_sums(at, memory, values)


def decayed_sums(at: FloatArray, memory: float, values: FloatArray) -> FloatArray:
    """At each of the moments *at* (n,) the sum of all *values* (n, ...) up to it, each times exp(-time since / memory).

    Within some memories the sums grow evenly once the decay is taken out: block by block, whole columns at once. The
    decay is the correlation of a first-order Gauss-Markov process (Gelb 1974, section 3.8, from memory).
    """
    sums = np.empty_like(values)
    block = np.floor((at - at[0]) / (MEMORIES_AT_ONCE * memory))
    bounds = [0, *(np.flatnonzero(np.diff(block)) + 1).tolist(), len(at)]
    sides = (-1,) + (1,) * (values.ndim - 1)
    for first, last in pairwise(bounds):
        grown = np.exp((at[first:last] - at[first]) / memory).reshape(sides)
        np.cumsum(values[first:last] * grown, axis=0, out=sums[first:last])
        if first:
            sums[first:last] += sums[first - 1] * math.exp((at[first - 1] - at[first]) / memory)
        sums[first:last] /= grown
    return sums


def sigma_at(error: ErrorModel, time_s: FloatArray) -> FloatArray:
    """Wandering error of one coordinate at any moment, shape (n,). [m]"""
    return np.interp(time_s, error.time_s, error.sigma_m)


def noise_across(error: ErrorModel, median_step_s: float, half: int) -> float:
    """Noise of a boom's tips across their way, after :func:`without_jitter` over 2 *half* + 1 fixes. [m]

    Turning the boom moves its tips along the way only. A parabola through n fixes leaves :func:`kept_share` of the
    variance of white noise, and strays from a random walk by 9/112 of what that grows by in half the parabola's time
    (its kernel's integral, squared; the kernel is that of Savitzky & Golay 1964, Anal. Chem. 36:1627-1639).
    """
    white = error.noise_m**2 * min(1.0, median_step_s)
    if not half:
        return math.sqrt(white)
    grown = difference_sd(float(np.median(error.sigma_m)), half * median_step_s, error.time_constant_s) ** 2
    return math.sqrt(kept_share(half) * error.noise_m**2 + 9 / 112 * grown)


def kept_share(half: int) -> float:
    """Share of the variance of white noise that a parabola through n = 2 *half* + 1 fixes leaves at its middle.

    3 (3 n^2 - 7) / 4 n (n^2 - 4): Savitzky & Golay 1964, Anal. Chem. 36:1627-1639.
    """
    count = 2 * half + 1
    return 3 * (3 * count**2 - 7) / (4 * count * (count**2 - 4)) if half else 1.0


@dataclass(frozen=True)
class Jitter:
    """White noise of one coordinate that the log shows (NaN: too short to show any), and how it is best smoothed. [m]

    ``half``: fixes before and after over which smoothing leaves the least error; 0 where it would take more of the
    drive than of the noise. ``every``: so many fixes of a denser log make one, as noise is looked at.
    """

    noise_m: float
    half: int
    every: int = 1


def jitter_of(track: Track, stated_m: float | None = None) -> Jitter:
    """How *track* jitters, and how widely it is best smoothed; *stated_m*: noise that the job file states. [m]

    White noise from third differences (von Neumann 1941, Ann. Math. Stat. 12:367-395, carried on to third ones, of
    variance 20). Of each width tried the error left is noted: what the parabola leaves of the noise, and all that it
    takes away beyond the rest of it, which is the drive itself (Mallows 1973, Technometrics 15:661-675). A cycle of
    steering of ten seconds stays so, jitter goes.

    A log of many fixes a second is looked at once a second: what a receiver forgets within seconds is smooth from fix
    to fix, so that it would pass for the drive, and is as good as white from gap to gap.
    """
    every = max(1, round(JITTER_STEP_S / track.median_step_s))
    x_m, y_m, time_s = (one[::every] for one in (track.x_m, track.y_m, track.time_s))
    part = np.concatenate([[0], np.cumsum(track.gap_after[:-1])])[::every]
    third = np.diff(np.stack([x_m, y_m]), n=3)
    if third.shape[1] < LEAST_DIFFERENCES:
        return Jitter(math.nan, 0)
    shown = math.sqrt(float(np.median(np.square(third))) / (SQUARE_MEDIAN * 20))
    noise = shown if stated_m is None else stated_m
    best, least = 0, noise**2
    for half in SMOOTH_HALVES:
        if half * every * track.median_step_s > MOST_SMOOTH_S or len(x_m) <= 2 * half:
            break
        _, (x, y), _ = local_parabolas(time_s, x_m, y_m, part, half)
        off = float(np.median(np.square([x - x_m, y - y_m]))) / SQUARE_MEDIAN
        left = kept_share(half) * noise**2
        left += max(off - (1 - kept_share(half)) * noise**2, 0.0)
        if left < SMOOTH_GAIN * least:
            best, least = half, left
    return Jitter(noise, best * every, every)


def without_jitter(track: Track, half: int) -> Track:
    """*track* with its straight parts smoothed by parabolas over *half* fixes before and after.

    Where the parabola would move a fix farther than ``STRAIGHT_FIT_M`` beyond the noise, the vehicle turned.
    Parabolas as by Savitzky & Golay 1964; the bounds are common practice, no source.
    """
    if not half:
        return track
    part = np.concatenate([[0], np.cumsum(track.gap_after[:-1])])
    _, (x, y), _ = local_parabolas(track.time_s, track.x_m, track.y_m, part, half)
    off = np.hypot(x - track.x_m, y - track.y_m)
    turned = off > STRAIGHT_FIT_M + 4 * float(np.median(off))
    near = np.convolve(turned, np.ones(2 * half + 1), "same") > 0
    return replace(track, x_m=np.where(near, track.x_m, x), y_m=np.where(near, track.y_m, y))
