"""Drivers and machines as they are met on small fields: common practice, no source, unless said otherwise.

A driver by hand aims at the edge of the pass before, so that errors add up from pass to pass, and follows part of its
bends; steering swings in a limit cycle; the tip is kept at an own distance from the fence; switches are thrown late, by
the boom's middle or as soon as any of it is over ground not yet sprayed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter1d

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Machine:
    """A rigid boom behind the axle; the antenna above or ahead of it."""

    width_m: float
    boom_behind_axle_m: float
    antenna_ahead_of_axle_m: float
    radius_m: float
    speed_m_s: float
    axle_stated: bool
    antenna_right_m: float = 0.0


@dataclass(frozen=True)
class Driver:
    """Habits of one job. ``pass_error_m`` and ``edge_following`` hold by hand; ``lag_s`` when guided."""

    laps: float
    fence_m: float
    overlap_m: float
    pass_error_m: float
    edge_following: bool
    bend_share: float
    cycle_m: float
    cycle_s: float
    wander_m: float
    lag_s: float
    late_s: float
    scatter_s: float
    by_middle: bool
    blunder_m: float
    forgotten_m: float
    stop_s: float


def draw_machine(rng: Generator) -> Machine:
    """Draw a machine: boom of 6 to 12 m in half metres."""
    return Machine(
        width_m=float(rng.integers(12, 25)) / 2,
        boom_behind_axle_m=float(rng.uniform(0.8, 2.5)),
        antenna_ahead_of_axle_m=float(rng.uniform(0.0, 1.5)),
        radius_m=float(rng.uniform(3.5, 5.0)),
        speed_m_s=float(rng.uniform(1.8, 3.0)),
        axle_stated=bool(rng.random() < 0.5),
    )


def unplaced_machine(rng: Generator, machine: Machine) -> Machine:
    """Draw where the antenna of *machine* stands among all places that are met: most in a cab ahead of the boom."""
    kind = rng.choice(["cab", "over the boom", "boom in front"], p=[0.7, 0.2, 0.1])
    behind = -float(rng.uniform(1.0, 2.5)) if kind == "boom in front" else machine.boom_behind_axle_m
    ahead = {"cab": float(rng.uniform(0.2, 2.0)), "over the boom": -behind, "boom in front": float(rng.uniform(0, 1))}
    aside = float(rng.uniform(-0.5, 0.5)) if rng.random() < 0.5 else 0.0  # half of them stand over the middle
    return replace(machine, boom_behind_axle_m=behind, antenna_ahead_of_axle_m=ahead[str(kind)], antenna_right_m=aside)


def draw_driver(rng: Generator, *, guided: bool) -> Driver:
    """Draw a driver with everything that goes wrong in its own share of jobs."""
    sign = rng.choice([-1.0, 1.0])
    return Driver(
        laps=float(rng.choice([1.5, 2.0])),
        fence_m=float(rng.uniform(-0.1, 0.6)),
        overlap_m=float(rng.uniform(0.0, 0.15) if guided else rng.uniform(-0.05, 0.35)),
        pass_error_m=float(rng.uniform(0.05, 0.18)),
        edge_following=True,
        bend_share=float(rng.uniform(0.2, 0.8)),
        cycle_m=float(rng.uniform(0.02, 0.06) if guided else rng.uniform(0.05, 0.20)),
        cycle_s=float(rng.uniform(8, 20)),
        wander_m=float(rng.uniform(0.01, 0.04) if guided else rng.uniform(0.03, 0.10)),
        lag_s=float(rng.uniform(1.5, 3.0)),
        late_s=0.2,
        scatter_s=0.3,
        by_middle=bool(rng.random() < 0.4),
        blunder_m=float(sign * rng.uniform(0.6, 1.0)) if rng.random() < 0.35 else 0.0,
        forgotten_m=float(rng.uniform(8, 25)) if rng.random() < 0.35 else 0.0,
        stop_s=float(rng.uniform(300, 720)) if rng.random() < 0.25 else 0.0,
    )


def steady_driver(rng: Generator) -> Driver:
    """Draw a driver without bad habits, for stresses one by one: even passes, each with its own error of 8 cm."""
    return Driver(
        laps=2.0,
        fence_m=float(rng.normal(0.1, 0.05)),
        overlap_m=float(rng.uniform(0.0, 0.2)),
        pass_error_m=0.08,
        edge_following=False,
        bend_share=0.0,
        cycle_m=0.02,
        cycle_s=12.0,
        wander_m=0.04,
        lag_s=2.0,
        late_s=0.0,
        scatter_s=0.3,
        by_middle=False,
        blunder_m=0.0,
        forgotten_m=0.0,
        stop_s=0.0,
    )


def steering(rng: Generator, driver: Driver, times_s: NDArray[np.float64], along_m: NDArray[np.float64]) -> NDArray:
    """Sideways swing of the hand at wheel: a limit cycle whose phase slips, and a slow wander over some 30 m. [m]

    Parameters
    ----------
    times_s, along_m : arrays (n,)
        Time and way along the pass, both rising; the way in even steps.
    """
    step_s = np.diff(times_s, prepend=times_s[0])
    slip = np.cumsum(rng.normal(0, 1, len(times_s)) * 0.25 * np.sqrt(step_s / driver.cycle_s))
    slip = gaussian_filter1d(slip, 20)
    cycle = driver.cycle_m * np.sin(2 * np.pi * times_s / driver.cycle_s + slip + rng.uniform(0, 2 * np.pi))
    return cycle + driver.wander_m * smooth_noise(rng, along_m, 30.0)


def smooth_noise(rng: Generator, along_m: NDArray[np.float64], length_m: float) -> NDArray[np.float64]:
    """Smooth noise of unit variance over even steps *along_m* (n,), correlated over about *length_m*."""
    step = along_m[1] - along_m[0] if len(along_m) > 1 else 1.0
    width = max(length_m / 2 / step, 1e-6)
    pad = int(4 * width)
    raw = rng.normal(0, 1, len(along_m) + 2 * pad)
    smooth = gaussian_filter1d(raw, width)[pad : pad + len(along_m)]
    return smooth * np.sqrt(2 * np.sqrt(np.pi) * width)  # white noise through a Gaussian of that width


def lagged(error_m: NDArray[np.float64], along_m: NDArray[np.float64], reach_m: float) -> NDArray[np.float64]:
    """Follow *error_m* (n,) with a first-order lag of *reach_m* along the way; settled at the start of the pass."""
    keep = np.exp(-np.diff(along_m) / reach_m)
    followed = np.empty_like(error_m)
    followed[0] = now = error_m[0]
    for index, share in enumerate(keep):
        now = share * now + (1 - share) * error_m[index + 1]
        followed[index + 1] = now
    return followed
