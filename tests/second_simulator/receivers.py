"""Errors of receivers by class, as sums of processes whose statistics are known in closed form.

Centres are set by statistics of open-sky logs, told as the root of half the mean squared difference of one coordinate
over a lag: autonomous 0.06-0.14 m (10 s), 0.17-0.37 m (60 s), 0.35-0.60 m (240 s); RTK fixed 0.005 m standing,
0.03-0.05 m in motion, flat after 5-10 s; RTK float 0.05, 0.20, 0.45 m. Sessions of one class differ by a factor of e
or more either way, drawn log-normally here. How often satellites jump, fixes are wrong or lost: guessed, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import lfilter

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

KINDS = ("gm150", "gm2000", "gm600+steps", "walk+tones", "several")
GGA_QUALITY = {"autonomous": 1, "sbas": 2, "rtk": 4, "float": 5}


@dataclass(frozen=True)
class ClassFigures:
    """Centre and spread of one class: metres of one coordinate, and the sd of the logarithm of the session's factor."""

    slow_m: float
    short_m: float
    white_m: float
    spread_log: float
    step_m: tuple[float, float]


CLASSES = {
    "autonomous": ClassFigures(0.80, 0.040, 0.006, 0.65, (0.20, 0.50)),
    "sbas": ClassFigures(0.28, 0.025, 0.004, 0.60, (0.08, 0.25)),
    "rtk": ClassFigures(0.010, 0.020, 0.002, 0.40, (0.02, 0.05)),
    "float": ClassFigures(0.45, 0.030, 0.004, 0.50, (0.10, 0.40)),
}


@dataclass(frozen=True)
class Receiver:
    """One session of a receiver.

    ``slow`` are Gauss-Markov parts (sigma [m], time constant [s]); ``tones`` are (amplitude [m], period [s]);
    ``walk_m_rt_s`` is a random walk [m/sqrt(s)]; ``stated_m`` what its GST sentences tell, None when it sends none.
    """

    kind: str
    quality: int
    slow: tuple[tuple[float, float], ...]
    short: tuple[float, float]
    white_m: float
    offset_m: float = 0.0
    walk_m_rt_s: float = 0.0
    tones: tuple[tuple[float, float], ...] = ()
    steps_per_h: float = 0.0
    step_m: tuple[float, float] = (0.0, 0.0)
    wrong_fix_m: float = 0.0
    float_episode_m: float = 0.0
    stated_m: float | None = None
    hdop: float | None = None

    @property
    def sigma_m(self) -> float:
        """Standard deviation of the wandering part of one coordinate; for a random walk, after 600 s."""
        own = sum(s**2 for s, _ in self.slow) + sum(a**2 / 2 for a, _ in self.tones) + self.offset_m**2
        return float(np.sqrt(own + 600 * self.walk_m_rt_s**2))


@dataclass(frozen=True)
class Wander:
    """Error of position on an even grid of time: ``error_m`` (n, 2) east, north, and the GGA quality (n,)."""

    step_s: float
    error_m: NDArray[np.float64]
    quality: NDArray[np.int64]

    def at(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Errors (k, 2) at *times_s* (k,), linear between the points of the grid."""
        grid = np.arange(len(self.error_m)) * self.step_s
        return np.column_stack([np.interp(times_s, grid, self.error_m[:, axis]) for axis in (0, 1)])


def draw_receiver(rng: Generator, name: str) -> Receiver:
    """Draw a session of class *name*, one of its kinds of error, its scale log-normal about the class's centre."""
    figures = CLASSES[name]
    scale = float(np.exp(np.clip(rng.normal(0, figures.spread_log), -1.6, 1.6)))
    kind = KINDS[rng.integers(len(KINDS))]
    short = (figures.short_m * float(np.exp(rng.normal(0, 0.3))), float(rng.uniform(1.5, 6.0)))
    plain = Receiver(kind, GGA_QUALITY[name], (), short, figures.white_m, step_m=figures.step_m)
    slow = figures.slow_m * scale
    if kind == "walk+tones":
        tones = tuple((0.25 * slow * float(rng.uniform(0.3, 1.0)), float(rng.uniform(40, 130))) for _ in range(2))
        made = replace(plain, offset_m=slow, walk_m_rt_s=0.8 * slow / np.sqrt(600), tones=tones)
    elif kind == "several":
        made = replace(plain, slow=((slow, float(rng.uniform(900, 2500))), (0.25 * slow, float(rng.uniform(40, 150)))))
    else:
        constant = {"gm150": 150.0, "gm2000": 2000.0, "gm600+steps": 600.0}[kind]
        made = replace(plain, slow=((slow, constant),), steps_per_h=8.0 if "steps" in kind else 0.0)
    if name == "rtk":
        made = replace(
            made,
            wrong_fix_m=float(rng.uniform(0.2, 1.0)) if rng.random() < 0.03 else 0.0,
            float_episode_m=0.45 if rng.random() < 0.06 else 0.0,
        )
    return with_statements(rng, made)


def with_statements(rng: Generator, receiver: Receiver) -> Receiver:
    """Add what it says of itself: GST in 6 of 10 (off by a factor of its own), HDOP in 7 of 10."""
    own = float(np.hypot(receiver.sigma_m, receiver.short[0]) * np.exp(rng.normal(0, 0.5)))
    hdop = float(rng.uniform(0.6, 1.6))
    return replace(receiver, stated_m=own if rng.random() < 0.6 else None, hdop=hdop if rng.random() < 0.7 else None)


def gauss_markov(rng: Generator, count: int, step_s: float, sigma_m: float, constant_s: float) -> NDArray[np.float64]:
    """Stationary first-order Gauss-Markov process: autocovariance sigma^2 exp(-lag / constant) (any textbook on it)."""
    keep = np.exp(-step_s / constant_s)
    drive = rng.normal(0, sigma_m * np.sqrt(1 - keep**2), count)
    drive[0] = rng.normal(0, sigma_m)
    return lfilter([1.0], [1.0, -keep], drive)


def wander(rng: Generator, receiver: Receiver, length_s: float, step_s: float = 0.1) -> Wander:
    """Let *receiver* run for *length_s*."""
    count = int(np.ceil(length_s / step_s)) + 1
    error = np.column_stack([_coordinate(rng, receiver, count, step_s) for _ in range(2)])
    quality = np.full(count, receiver.quality)
    if receiver.wrong_fix_m:
        first, angle = rng.uniform(0.1, 0.6), rng.uniform(0, 2 * np.pi)
        held = _span(count, first, rng.uniform(300, 900) / step_s)
        error[held] += receiver.wrong_fix_m * np.array([np.cos(angle), np.sin(angle)])
    if receiver.float_episode_m:
        held = _span(count, rng.uniform(0.1, 0.7), rng.uniform(120, 480) / step_s)
        size = held.stop - held.start
        for axis in (0, 1):
            error[held, axis] += gauss_markov(rng, size, step_s, receiver.float_episode_m, 200.0)
        quality[held] = GGA_QUALITY["float"]
    return Wander(step_s, error, quality)


def _span(count: int, first: float, size: float) -> slice:
    start = int(first * count)
    return slice(start, min(count, start + int(size)))


def _coordinate(rng: Generator, receiver: Receiver, count: int, step_s: float) -> NDArray[np.float64]:
    time = np.arange(count) * step_s
    error = np.full(count, rng.normal(0, receiver.offset_m) if receiver.offset_m else 0.0)
    for sigma, constant in (*receiver.slow, receiver.short):
        error += gauss_markov(rng, count, step_s, sigma, constant)
    for amplitude, period in receiver.tones:
        error += amplitude * np.sin(2 * np.pi * time / period + rng.uniform(0, 2 * np.pi))
    error += np.cumsum(rng.normal(0, receiver.walk_m_rt_s * np.sqrt(step_s), count))
    for _ in range(rng.poisson(receiver.steps_per_h * time[-1] / 3600)):
        jump = rng.choice([-1.0, 1.0]) * rng.uniform(*receiver.step_m)
        error[rng.integers(count) :] += jump
    return error + rng.normal(0, receiver.white_m, count)
