"""How far each fix may be off: a slowly wandering error and white noise.

The wandering part of each coordinate is a first-order Gauss-Markov process (Gelb 1974, Applied
Optimal Estimation, section 3.8, from memory): variance sigma^2, correlation exp(-t / T), so that two
moments t apart differ by sigma * sqrt(2 (1 - exp(-t / T))).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.smoothing import local_parabolas

from .model import ErrorModel
from .tolerances import (
    CLASS_NOISE_M,
    CLASS_OF_QUALITY,
    CLASS_SIGMA_M,
    CLASS_TIME_S,
    CLASSES,
    HDOP_RANGE,
    MOST_SIGMA_M,
    STRAIGHT_FIT_M,
    STRAIGHT_FIT_S,
    USUAL_HDOP,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import Track
    from coverage_audit.jobs.settings import AccuracySettings


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
    if settings.sigma_m is not None:
        sigma, source = np.full(len(number), settings.sigma_m), "stated in the job file"
    else:
        sigma = np.array(CLASS_SIGMA_M)[number]
        scaled = np.isfinite(track.hdop) & (track.hdop > 0)
        sigma = np.where(scaled, sigma * np.clip(track.hdop / USUAL_HDOP, *HDOP_RANGE), sigma)
        told = np.isfinite(track.gst_m) & (track.gst_m > 0)
        sigma = np.where(told, track.gst_m / math.sqrt(2), sigma)
        source = "the receiver's own estimate (GST)" if told.mean() > 0.5 else "usual for this class of fix"
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
    )


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
    keep = np.exp(-np.diff(at, prepend=at[0]) / memory)
    values = rng.standard_normal((len(at), count))
    fresh = np.sqrt(1 - keep**2)
    for k in range(1, len(at)):
        values[k] = keep[k] * values[k - 1] + fresh[k] * values[k]
    return values


def sigma_at(error: ErrorModel, time_s: FloatArray) -> FloatArray:
    """Wandering error of one coordinate at any moment, shape (n,). [m]"""
    return np.interp(time_s, error.time_s, error.sigma_m)


def tip_noise(error: ErrorModel, median_step_s: float, speed_m_s: float, half_boom_m: float) -> float:
    """Noise of a boom's tip that is new from one moment to the next: of place, and of heading times lever. [m]

    The heading comes from places about a second before and after (or one step, when that is longer).
    Independent errors add up by their squares (propagation of errors, textbook).
    """
    apart = 2 * max(median_step_s, 1.0)
    white = error.noise_m**2 * min(1.0, median_step_s)
    moved = 2 * white + difference_sd(float(np.median(error.sigma_m)), apart, error.time_constant_s) ** 2
    return math.sqrt(white + moved * (half_boom_m / (apart * max(speed_m_s, 0.5))) ** 2)


def noise_across(error: ErrorModel, median_step_s: float, half: int) -> float:
    """Noise of a boom's tips across their way, after :func:`without_jitter` over 2 *half* + 1 fixes. [m]

    Turning the boom moves its tips along the way only. A parabola through n fixes leaves
    3 (3 n^2 - 7) / 4 n (n^2 - 4) of the variance of white noise (Savitzky & Golay 1964), and strays from a
    random walk by 9/112 of what that grows by in half the parabola's time (its kernel's integral, squared).
    """
    white = error.noise_m**2 * min(1.0, median_step_s)
    if not half:
        return math.sqrt(white)
    grown = difference_sd(float(np.median(error.sigma_m)), half * median_step_s, error.time_constant_s) ** 2
    count = 2 * half + 1
    left = 3 * (3 * count**2 - 7) / (4 * count * (count**2 - 4))
    return math.sqrt(left * error.noise_m**2 + 9 / 112 * grown)


def fixes_smoothed(track: Track) -> int:
    """Fixes before and after, over which :func:`without_jitter` smooths; 0 where it does not."""
    half = round(STRAIGHT_FIT_S / track.median_step_s)
    return half if half >= 2 and len(track.x_m) > 2 * half else 0


def without_jitter(track: Track) -> Track:
    """*track* with its straight parts smoothed by parabolas over ``STRAIGHT_FIT_S``.

    No driver swerves within two seconds; what a sparse log shows of it is the receiver's. Where
    the parabola would move a fix farther than ``STRAIGHT_FIT_M`` beyond the noise, the vehicle turned.
    Parabolas as by Savitzky & Golay 1964; the bounds are common practice, no source.
    """
    half = fixes_smoothed(track)
    part = np.concatenate([[0], np.cumsum(track.gap_after[:-1])])
    if not half:
        return track
    _, (x, y), _ = local_parabolas(track.time_s, track.x_m, track.y_m, part, half)
    off = np.hypot(x - track.x_m, y - track.y_m)
    turned = off > STRAIGHT_FIT_M + 4 * float(np.median(off))
    near = np.convolve(turned, np.ones(2 * half + 1), "same") > 0
    return replace(track, x_m=np.where(near, track.x_m, x), y_m=np.where(near, track.y_m, y))
