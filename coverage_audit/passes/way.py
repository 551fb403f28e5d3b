"""The driven way on an even grid of time, smoothed just enough to see turns through the noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.tolerances import STAND_SPEED_M_S, STAND_WINDOW_S

from .tolerances import (
    ALIKE_NOISES,
    MOST_PAUSE_S,
    MOST_WAY_STEPS,
    WAY_HEADING_RAD,
    WAY_MAX_WINDOW_M,
    WAY_MIN_WINDOW_M,
    WAY_STEP_M,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray

    from .model import Fixed


@dataclass(frozen=True)
class Way:
    """Smoothed way on a grid of ``step_s``. Arrays of shape (n,).

    ``heading_rad`` is the direction of travel, unwrapped; ``along_m`` the distance driven without
    the scatter of noise; ``standing`` whether the vehicle stood. ``reach`` is the half-width of the
    smoothing window in grid steps, ``noise_m`` the noise left in a smoothed coordinate. [s], [m], [rad]
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    heading_rad: FloatArray
    along_m: FloatArray
    standing: BoolArray
    step_s: float
    reach: int
    noise_m: float

    @property
    def speed_m_s(self) -> float:
        """Median speed while moving. [m/s]"""
        moving = ~self.standing[1:]
        return float(np.median(np.diff(self.along_m)[moving]) / self.step_s) if moving.any() else 0.0


def white_noise_m(
    time_s: FloatArray,
    x_m: FloatArray,
    y_m: FloatArray,
    heading_rad: FloatArray | None = None,
    straight: BoolArray | None = None,
) -> float:
    """White noise of one coordinate at any rate of fixes: median of third differences. [m]

    Third differences of white noise have sqrt(20) times its standard deviation (1 + 9 + 9 + 1, textbook); those of a
    driven line are small everywhere but in turns, which the median passes over. At 1 Hz steering wanders
    between fixes and looks like noise; speed changes less, so with the *heading* at each fix the
    smaller of the scatters along and across it is taken. *straight* says which fixes lie on passes.
    """
    even = np.abs(np.diff(time_s) - np.median(np.diff(time_s))) < 0.1 * np.median(np.diff(time_s))
    whole = even[2:] & even[1:-1] & even[:-2] if len(even) > 2 else np.zeros(0, bool)
    moved = np.hypot(x_m[3:] - x_m[:-3], y_m[3:] - y_m[:-3]) > STAND_SPEED_M_S * (time_s[3:] - time_s[:-3])
    used = whole & moved
    if straight is not None:
        used &= straight[3:] & straight[2:-1] & straight[1:-2] & straight[:-3]
    if used.sum() < 8:
        return 0.0
    third_x, third_y = np.diff(x_m, 3)[used], np.diff(y_m, 3)[used]
    if heading_rad is None:
        return float(np.hypot(_typical(third_x), _typical(third_y)) / np.sqrt(40))
    sin, cos = np.sin(heading_rad[1:-2][used]), np.cos(heading_rad[1:-2][used])
    along, across = _typical(third_x * sin + third_y * cos), _typical(third_x * cos - third_y * sin)
    alike = max(along, across) < ALIKE_NOISES * min(along, across)
    return float(np.hypot(along, across) / np.sqrt(2) if alike else min(along, across)) / float(np.sqrt(20))


def _typical(values: FloatArray) -> float:
    """Standard deviation about zero with outliers cut back to four of them."""
    robust = 1.4826 * float(np.median(np.abs(values)))
    return float(np.sqrt(np.mean(np.minimum(values**2, (4 * robust) ** 2))))


def smooth_way(fixed: Fixed) -> Way:
    """Smooth *fixed* over a window as wide as its noise asks for.

    Means of n values have 1 / sqrt(n) of their noise (textbook); the window is as wide as makes the direction
    between two of them sure within ``WAY_HEADING_RAD``.
    """
    time, noise = fixed.time_s, fixed.noise_m
    gap_s = float(np.median(np.diff(time)))
    speed = usual_speed_m_s(fixed)
    # slope between two half-window means: sd = noise * sqrt(2 dt / h) / (v h)
    wanted = (noise * np.sqrt(2 * gap_s) / (speed * WAY_HEADING_RAD)) ** (2 / 3)
    half = float(np.clip(wanted, max(WAY_MIN_WINDOW_M / speed, 1.01 * gap_s), WAY_MAX_WINDOW_M / speed))
    step = min(WAY_STEP_M / speed, 1.0)
    clock, time = time, _pressed(time, step)
    reach = max(round(half / step), 1)
    half = reach * step
    grid = np.arange(time[0], time[-1] + step / 2, step)
    x, y = (_means(time, values, grid, half) for values in (fixed.x_m, fixed.y_m))
    vx, vy = x[1], y[1]
    pace = np.hypot(vx, vy)
    blur = noise * np.sqrt(2 * gap_s / half) / half  # what noise alone shows as speed
    standing = _standing(grid, np.array([x[0], y[0]]), pace, max(STAND_SPEED_M_S, min(3 * blur, 0.4 * speed)))
    heading = _headings(vx, vy, standing)
    along = np.concatenate([[0.0], np.cumsum(np.where(standing, 0.0, pace)[1:] * step)])
    left = noise * float(np.sqrt(min(1.0, gap_s / half)))
    moments = grid if time is clock else np.interp(grid, time, clock)
    return Way(moments, x[0], y[0], heading, along, standing, step, reach, left)


def _pressed(time: FloatArray, step_s: float) -> FloatArray:
    """Times with long pauses pressed together: a grid over them must not grow with a night or a wrong clock. [s]"""
    longest = min(MOST_PAUSE_S, MOST_WAY_STEPS * step_s / len(time))
    steps = np.diff(time)
    if not len(steps) or steps.max() <= longest:
        return time
    return time[0] + np.concatenate([[0.0], np.cumsum(np.minimum(steps, longest))])


def usual_speed_m_s(fixed: Fixed) -> float:
    """Median speed over so long that noise does not add to it; at least 0.3 (common practice, no source). [m/s]"""
    time = _pressed(fixed.time_s, STAND_WINDOW_S)
    grid = np.arange(time[0], time[-1], STAND_WINDOW_S)
    x, y = np.interp(grid, time, fixed.x_m), np.interp(grid, time, fixed.y_m)
    pace = np.hypot(np.diff(x), np.diff(y)) / STAND_WINDOW_S
    quick = pace > max(STAND_SPEED_M_S, fixed.noise_m / STAND_WINDOW_S)
    return max(float(np.median(pace[quick])) if quick.any() else 1.0, 0.3)


def _means(time: FloatArray, values: FloatArray, grid: FloatArray, half_s: float) -> tuple[FloatArray, FloatArray]:
    """Mean over half a window about each grid time, and the slope between the means beside it."""
    slope = np.diff(values) / np.diff(time)
    area = np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(time))])

    def integral(moment: FloatArray) -> FloatArray:
        k = np.clip(np.searchsorted(time, moment, "right") - 1, 0, len(slope) - 1)
        past = moment - time[k]
        return area[k] + past * (values[k] + slope[k] * past / 2)

    ends = (float(time[0]), float(time[-1]))
    middle = np.clip(grid, ends[0] + min(half_s, (ends[1] - ends[0]) / 2), ends[1] - min(half_s, np.ptp(time) / 2))
    low, mid, high = integral(np.maximum(middle - half_s, ends[0])), integral(middle), integral(middle + half_s)
    rate = (high - 2 * mid + low) / half_s**2
    a, b = np.clip(grid - half_s / 2, *ends), np.clip(grid + half_s / 2, *ends)
    span = np.maximum(b - a, 1e-9)
    # a window cut off by an end of the track lies to one side: shifted back along the slope
    place = (integral(b) - integral(a)) / span + (grid - (a + b) / 2) * rate
    return place, rate


def _standing(grid: FloatArray, place: FloatArray, pace: FloatArray, limit_m_s: float) -> BoolArray:
    """Grid points (n,) at which the vehicle stood; *place* is where it was, shape (2, n).

    What noise shows as a start between two stands in one place is part of the stop: its direction is noise, too,
    and would cut a pass in two.
    """
    slow = pace < limit_m_s
    edges = np.flatnonzero(np.diff(np.concatenate([[False], slow, [False]]).astype(np.int8)))
    stands = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if grid[b - 1] - grid[a] >= STAND_WINDOW_S]
    standing = np.zeros(len(grid), bool)
    before = None
    for first, last in stands:
        standing[first:last] = True
        if before is not None and grid[first] - grid[before] < STAND_WINDOW_S:
            moved = float(np.hypot(*(place[:, first] - place[:, before])))
            standing[before:first] |= moved < limit_m_s * STAND_WINDOW_S
        before = last - 1
    return standing


def _headings(vx: FloatArray, vy: FloatArray, standing: BoolArray) -> FloatArray:
    """Direction of travel, unwrapped, carried over where the vehicle stands."""
    known = np.flatnonzero(~standing & (np.hypot(vx, vy) > 0))
    if not len(known):
        return np.zeros(len(vx))
    return np.interp(np.arange(len(vx)), known, np.unwrap(np.arctan2(vx[known], vy[known])))
