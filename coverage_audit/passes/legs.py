"""Straight or gently curved legs of a driven way, and where exactly each begins and ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .tolerances import (
    BEND_MIN_DEG,
    BEND_RADIUS_M,
    LEG_END_FIT_M,
    LEG_END_NOISES,
    LEG_END_OFF_M,
    LEG_MIN_M,
    LEG_ODD_M,
    SLIGHT_BEND_DEG,
    SLIGHT_RADIUS_M,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from coverage_audit.arrays import BoolArray, FloatArray

    from .way import Way


@dataclass(frozen=True)
class Leg:
    """Grid points ``first`` to ``last`` (included) of a way, driven without a turn.

    ``begin_rad``/``end_rad``: direction of travel (unwrapped) at its ends; ``direction_rad`` that of
    its chord. [rad], [m]
    """

    first: int
    last: int
    begin_rad: float
    end_rad: float
    direction_rad: float
    length_m: float


def find_legs(way: Way) -> list[Leg]:
    """Legs of *way* in driving order; what lies between them is turning."""
    bounds = list(_between(_bends(way, BEND_RADIUS_M, BEND_MIN_DEG), len(way.time_s)))
    parts = [part for first, last in bounds for part in _without_slight_bends(way, first, last)]
    parts = [(first, last) for first, last in parts if way.along_m[last] - way.along_m[first] >= LEG_MIN_M / 2]
    found = []
    for place, (first, last) in enumerate(parts):
        lowest = parts[place - 1][1] if place else 0
        highest = parts[place + 1][0] if place + 1 < len(parts) else len(way.time_s) - 1
        begin, end = _begin(way, first, last, lowest), _end(way, first, last, highest)
        if end > begin and way.along_m[end] - way.along_m[begin] >= LEG_MIN_M:
            found.append(leg_between(way, begin, end))
    return found


def leg_between(way: Way, first: int, last: int) -> Leg:
    """Leg from one grid point of *way* to another."""
    inner = min(way.reach, (last - first) // 4)
    x0, x1, y0, y1 = way.x_m[first], way.x_m[last], way.y_m[first], way.y_m[last]
    return Leg(
        first,
        last,
        float(way.heading_rad[first + inner]),
        float(way.heading_rad[last - inner]),
        float(np.arctan2(x1 - x0, y1 - y0)),
        float(way.along_m[last] - way.along_m[first]),
    )


def _bends(way: Way, radius_m: float, least_deg: float, first: int = 0, last: int | None = None) -> list[list[int]]:
    """(first, last) grid points of runs turned tighter than *radius_m* and by *least_deg* or more."""
    stop = len(way.time_s) - 1 if last is None else last
    index = np.arange(first, stop + 1)
    low, high = np.maximum(index - way.reach, first), np.minimum(index + way.reach, stop)
    turned = np.abs(way.heading_rad[high] - way.heading_rad[low])
    driven = way.along_m[high] - way.along_m[low]
    bent = (turned * radius_m > driven) & (turned > np.radians(least_deg) / 4)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], bent, [False]]).astype(np.int8)))
    runs: list[list[int]] = []
    for a, b in zip((edges[::2] + first).tolist(), (edges[1::2] + first - 1).tolist(), strict=True):
        if runs and way.along_m[a] - way.along_m[runs[-1][1]] < LEG_MIN_M / 2:
            runs[-1][1] = b
        else:
            runs.append([a, b])
    least = np.radians(least_deg)
    return [run for run in runs if _swing(way, max(run[0] - way.reach, first), min(run[1] + way.reach, stop)) >= least]


def _swing(way: Way, first: int, last: int) -> float:
    """Greatest difference between two headings. [rad]"""
    return float(np.ptp(way.heading_rad[first : last + 1]))


def _between(runs: list[list[int]], count: int) -> Iterator[tuple[int, int]]:
    """What the runs leave of the grid."""
    first = 0
    for a, b in runs:
        if a > first:
            yield first, a
        first = b
    if first < count - 1:
        yield first, count - 1


def _without_slight_bends(way: Way, first: int, last: int) -> Iterator[tuple[int, int]]:
    """The leg itself, or its parts when it swings round something: no smooth curve fits it."""
    if _curve_residual(way, first, last) <= max(LEG_ODD_M, LEG_END_NOISES * way.noise_m):
        yield first, last
        return
    runs = _bends(way, SLIGHT_RADIUS_M, SLIGHT_BEND_DEG, first, last)
    begin = first
    for a, b in runs:
        if a > begin:
            yield begin, a
        begin = b
    if begin < last:
        yield begin, last


def _curve_residual(way: Way, first: int, last: int) -> float:
    """Root mean square distance of the leg from the best parabola over its chord. [m]"""
    along, across = _turned(way, first, last)
    if len(along) < 8 or np.ptp(along) < LEG_MIN_M:
        return 0.0
    unit = 2 * (along - along.min()) / np.ptp(along) - 1
    basis = np.column_stack([np.ones_like(unit), unit, unit**2])
    fit = np.linalg.lstsq(basis, across, rcond=None)[0]
    return float(np.sqrt(np.mean((across - basis @ fit) ** 2)))


def _turned(way: Way, first: int, last: int) -> tuple[FloatArray, FloatArray]:
    """Grid points first to last along and across (to the right of) their chord. [m]"""
    x, y = way.x_m[first : last + 1] - way.x_m[first], way.y_m[first : last + 1] - way.y_m[first]
    angle = np.arctan2(x[-1], y[-1])
    return x * np.sin(angle) + y * np.cos(angle), x * np.cos(angle) - y * np.sin(angle)


def _begin(way: Way, first: int, last: int, lowest: int) -> int:
    """Where the leg really begins: the end of the same leg driven backwards."""
    order = np.arange(last, lowest - 1, -1)
    return last - _end_along(way, order, last - first)


def _end(way: Way, first: int, last: int, highest: int) -> int:
    return first + _end_along(way, np.arange(first, highest + 1), last - first)


def _end_along(way: Way, order: np.ndarray, last: int) -> int:
    """Position in *order* at which the way leaves the line of the leg that ends near *last*.

    A turn of radius R takes the way d = s^2 / 2R off its line, so from the places where it is off
    by d and by 4 d (distances s and 2 s into the turn) the turn began at s - (2 s - s).
    """
    x, y = way.x_m[order], way.y_m[order]
    driven = np.abs(way.along_m[order] - way.along_m[order[0]])
    begin = int(np.searchsorted(driven, driven[last] - LEG_END_FIT_M))
    inner = max(begin + 2, last - way.reach // 2)
    inner = min(inner, last)
    if inner - begin < 3:
        return last
    angle = np.arctan2(x[inner] - x[begin], y[inner] - y[begin])
    along = (x - x[begin]) * np.sin(angle) + (y - y[begin]) * np.cos(angle)
    across = (x - x[begin]) * np.cos(angle) - (y - y[begin]) * np.sin(angle)
    fit = _end_fit(way, along[begin : inner + 1], across[begin : inner + 1])
    reach = min(len(order), last + 1 + int(np.searchsorted(driven[last:], driven[last] + LEG_END_FIT_M)))
    off = np.abs(across[begin:reach] - np.polyval(fit, along[begin:reach]))
    small = max(LEG_END_OFF_M, LEG_END_NOISES * way.noise_m)
    near = _lasting(off > small, begin, inner)
    far = _lasting(off > 4 * small, begin, inner)
    if near is None:
        return reach - 1 if reach == len(order) else last
    if far is None:
        return near
    start = 2 * driven[near] - driven[far]
    return int(np.clip(np.searchsorted(driven, start), min(inner, near), near))


def _end_fit(way: Way, along: FloatArray, across: FloatArray) -> FloatArray:
    """Line through the end of a leg, or a parabola where the leg itself is curved: its coefficients."""
    span = float(np.ptp(along))
    mean = along.mean()
    slope = float((along - mean) @ across / max((along - mean) @ (along - mean), 1e-12))
    line = np.array([slope, across.mean() - slope * mean])
    if span < LEG_END_FIT_M / 2:
        return line
    bow = abs(float((across - np.polyval(line, along))[len(along) // 2]))
    if bow < (LEG_END_OFF_M + LEG_END_NOISES * way.noise_m) / 4:
        return line
    curve = np.polyfit(along, across, 2)
    sagitta = abs(curve[0]) * span**2 / 4
    return curve if sagitta > max(LEG_END_OFF_M, LEG_END_NOISES * way.noise_m) else line


def _lasting(off: BoolArray, begin: int, inner: int) -> int | None:
    """First place after the fitted part from which on the way stays off the line."""
    tail = off[inner - begin :]
    if not tail.any():
        return None
    on = np.flatnonzero(~tail)
    first = int(np.argmax(tail))
    back = on[on > first]
    if len(back) and back[0] - first < 3 and tail[back[0] :].any():
        first = int(back[0] + np.argmax(tail[back[0] :]))
    return inner + first
