"""Shortest ways between two poses for a vehicle with a least turning radius (Dubins, Am. J. Math. 79, 1957)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

WORDS = ("LSL", "RSR", "LSR", "RSL", "RLR", "LRL")


def shortest(start: NDArray[np.float64], end: NDArray[np.float64], radius_m: float, step_m: float = 0.1) -> NDArray:
    """Poses (n, 3) x, y, heading along the shortest way from pose *start* to pose *end*, *end* itself left out."""
    gap = (end[:2] - start[:2]) / radius_m
    distance, bearing = float(np.hypot(*gap)), float(np.arctan2(gap[1], gap[0]))
    found = [(word, _lengths(word, start[2] - bearing, end[2] - bearing, distance)) for word in WORDS]
    word, lengths = min(((w, x) for w, x in found if x is not None), key=lambda each: sum(each[1]))
    along = np.arange(0, sum(lengths) * radius_m, step_m) / radius_m
    return _poses(start, word, lengths, along, radius_m)


def _lengths(word: str, a: float, b: float, d: float) -> tuple[float, float, float] | None:
    """Lengths of the three parts in radii, by centres of the turning circles; None when there is no such way."""
    turn = {"L": 1.0, "R": -1.0}
    first, last = turn[word[0]], turn[word[2]]
    here = np.array([-first * np.sin(a), first * np.cos(a)])
    there = np.array([d - last * np.sin(b), last * np.cos(b)])
    gap = there - here
    size, bearing = float(np.hypot(*gap)), float(np.arctan2(gap[1], gap[0]))
    if word[1] != "S":
        if size > 4:
            return None
        inner = first * float(np.arccos(size / 4))
        middle_centre = here + 2 * np.array([np.cos(bearing + inner), np.sin(bearing + inner)])
        leave = bearing + inner + first * np.pi / 2
        back = np.arctan2(*(there - middle_centre)[::-1])
        enter = float(back) - first * np.pi / 2
        return _round(first, leave - a), _round(-first, enter - leave), _round(last, b - enter)
    if first == last:
        return _round(first, bearing - a), size, _round(last, b - bearing)
    if size < 2:
        return None
    heading = bearing + first * float(np.arcsin(2 / size))
    return _round(first, heading - a), float(np.sqrt(size**2 - 4)), _round(last, b - heading)


def _round(side: float, angle: float) -> float:
    left = float(np.mod(side * angle, 2 * np.pi))
    return 0.0 if left > 2 * np.pi - 1e-9 else left


def _poses(start: NDArray, word: str, lengths: tuple[float, ...], along: NDArray, radius_m: float) -> NDArray:
    x, y, heading = (np.empty(len(along)) for _ in range(3))
    px, py, ph, done = start[0], start[1], start[2], 0.0
    for kind, length in zip(word, lengths, strict=True):
        here = (along >= done) & (along <= done + length)
        for part, target in ((along[here] - done, here), (np.array([length]), None)):
            side = {"L": 1.0, "R": -1.0, "S": 0.0}[kind]
            turned = ph + side * part
            if side:
                qx = px + radius_m * side * (np.sin(turned) - np.sin(ph))
                qy = py - radius_m * side * (np.cos(turned) - np.cos(ph))
            else:
                qx, qy = px + radius_m * part * np.cos(ph), py + radius_m * part * np.sin(ph)
            if target is None:
                px, py, ph = float(qx[0]), float(qy[0]), float(turned[0])
            else:
                x[target], y[target], heading[target] = qx, qy, turned
        done += length
    return np.column_stack([x, y, heading])
