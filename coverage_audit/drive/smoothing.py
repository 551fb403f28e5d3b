"""Noise of positions, and their smoothing by parabolas fitted over a window (Savitzky & Golay 1964)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .tolerances import EVEN_STEP_SHARE, STANDING_STEP_M

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


def local_parabolas(
    time: FloatArray, x: FloatArray, y: FloatArray, part: IntArray, half: int
) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Parabola fitted to 2 *half* + 1 fixes about each fix: its value and slope there; zero phase.

    Windows stop where *part* changes (gaps and reversals). Even steps of time are fitted by one
    convolution (Savitzky & Golay 1964, Anal. Chem. 36:1627-1639), the rest by their normal equations.

    Returns
    -------
    known : (n,) bool
        False where fewer than three fixes are in the window.
    place : (2, n) float
        Smoothed x and y. [m]
    velocity : (2, n) float
        Velocity along x and y. [m/s]
    """
    values = np.stack([x, y])
    place, velocity = values.copy(), np.zeros_like(values)
    known = np.ones(len(time), bool)
    even = _even_windows(time, part, half)
    if even.any():
        tau = np.arange(-half, half + 1) * float(np.median(np.diff(time)))
        s0, s2, s4 = len(tau), float((tau**2).sum()), float((tau**4).sum())
        kernel = (s4 - s2 * tau**2) / (s0 * s4 - s2**2)
        for row in range(2):  # a symmetric kernel for the value, an odd one for the slope
            place[row, even] = np.convolve(values[row], kernel, "same")[even]
            velocity[row, even] = np.convolve(values[row], -tau / s2, "same")[even]
    rest = np.flatnonzero(~even)
    if len(rest):
        known[rest], place[:, rest], velocity[:, rest] = _fitted(time, values, part, half, rest)
    return known, place, velocity


def _even_windows(time: FloatArray, part: IntArray, half: int) -> BoolArray:
    """Where the whole window lies in one part and has even steps of time."""
    step = np.diff(time)
    median = float(np.median(step))
    broken = (np.abs(step - median) > EVEN_STEP_SHARE * median) | (np.diff(part) != 0)
    before = np.concatenate([[0], np.cumsum(broken)])
    even = np.zeros(len(time), bool)
    if len(time) > 2 * half:
        even[half : len(time) - half] = before[2 * half :] == before[: len(time) - 2 * half]
    return even


def _fitted(
    time: FloatArray, values: FloatArray, part: IntArray, half: int, index: IntArray
) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Value and slope at the fixes *index* by weighted normal equations, for any steps of time."""
    other = index[:, None] + np.arange(-half, half + 1)
    inside = (other >= 0) & (other < len(time))
    other = np.clip(other, 0, len(time) - 1)
    weight = (inside & (part[other] == part[index][:, None])).astype(float)
    tau = time[other] - time[index][:, None]
    powers = weight[..., None] * tau[..., None] ** np.arange(5)
    s = powers.sum(axis=1).T
    # cofactors of the symmetric 3 x 3 matrix [[s0 s1 s2] [s1 s2 s3] [s2 s3 s4]]
    c00, c01, c02 = s[2] * s[4] - s[3] ** 2, s[2] * s[3] - s[1] * s[4], s[1] * s[3] - s[2] ** 2
    c11, c12 = s[0] * s[4] - s[2] ** 2, s[1] * s[2] - s[0] * s[3]
    determinant = s[0] * c00 + s[1] * c01 + s[2] * c02
    known = s[0] > 2.5
    safe = np.where(known, determinant, 1.0)
    place, slope = np.empty((2, len(index))), np.empty((2, len(index)))
    for row in range(2):
        offset = values[row][other] - values[row][index][:, None]
        r0, r1, r2 = (powers[..., :3] * offset[..., None]).sum(axis=1).T
        place[row] = values[row][index] + (c00 * r0 + c01 * r1 + c02 * r2) / safe
        slope[row] = (c01 * r0 + c11 * r1 + c12 * r2) / safe
    place[:, ~known] = values[:, index[~known]]
    return known, place, slope


def scatter_m(x: FloatArray, y: FloatArray, part: IntArray) -> float:
    """Scatter of one coordinate from third differences (robust); 0 where there are too few moving fixes. [m]

    At 1 Hz tight turns look like scatter, too, but most of a job is straight.
    """
    if len(x) < 8:
        return 0.0
    moving = (part[3:] == part[:-3]) & (np.hypot(x[3:] - x[:-3], y[3:] - y[:-3]) > STANDING_STEP_M)
    if not moving.any():
        return 0.0
    spread_x, spread_y = (float(np.median(np.abs(np.diff(values, 3)[moving]))) for values in (x, y))
    return float(np.hypot(spread_x, spread_y) / np.sqrt(2) * 1.4826 / np.sqrt(20))
