"""Shortest ways between poses for a vehicle of a given turning radius, for many pairs at once.

Source: L. E. Dubins 1957, Am. J. Math. 79:497-516 (from memory). The simulator of the
tests has the same for one pair; the tests hold the two together. Headings are clockwise from north.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from .tolerances import WAY_SAMPLE_M

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray

WORDS = np.array([(1, 0, 1), (-1, 0, -1), (1, 0, -1), (-1, 0, 1), (1, -1, 1), (-1, 1, -1)], dtype=float)
"""Signs of the curvature of the three legs of each way: 1 turns right, 0 is straight, -1 turns left."""

FULL_TURN_SLACK = 1e-7
"""An arc a hair short of a full turn is no turn at all, spoilt by rounding. [rad]"""


def turn_legs(start: FloatArray, goal: FloatArray, radius_m: float) -> FloatArray:
    """Lengths of the legs of the six candidate ways from each start to its goal.

    Parameters
    ----------
    start, goal : array, shape (n, 3)
        x [m], y [m], heading [rad].
    radius_m : float
        Turning radius. [m]

    Returns
    -------
    array, shape (6, n, 3)
        Lengths in the order of :data:`WORDS`; inf where there is no such way. [m]
    """
    lines = [_arc_line_arc(start, goal, radius_m, first, last) for first, _, last in WORDS[:4]]
    arcs = [_arc_arc_arc(start, goal, radius_m, side) for side, _, _ in WORDS[4:]]
    return np.stack([*lines, *arcs])


def way_points(
    start: FloatArray, words: IntArray, legs_m: FloatArray, radius_m: float, step_m: float = WAY_SAMPLE_M
) -> tuple[FloatArray, IntArray]:
    """Points along many ways, both ends included.

    Parameters
    ----------
    start : array, shape (n, 3)
        Poses.
    words : array of int, shape (n,)
        Rows of :data:`WORDS`.
    legs_m : array, shape (n, 3)
        Their lengths. [m]
    radius_m, step_m : float
        Turning radius, and the greatest distance between points. [m]

    Returns
    -------
    points, way : array, shape (m, 3), and array of int, shape (m,)
        x [m], y [m], heading [rad], and the way each belongs to.
    """
    total = legs_m.sum(axis=1)
    count = np.ceil(total / step_m).astype(np.int64) + 1
    way = np.repeat(np.arange(len(start)), count)
    first = np.repeat(np.cumsum(count) - count, count)
    along = (np.arange(len(way)) - first) / np.maximum(count[way] - 1, 1) * total[way]
    curvature = WORDS[words] / radius_m
    begins = [start.astype(float)]
    for leg in range(2):
        begins.append(_advance(begins[-1], curvature[:, leg], legs_m[:, leg]))
    before = np.cumsum(legs_m, axis=1)
    leg = (along > before[way, 0]).astype(np.int8) + (along > before[way, 1])
    row = way * 3 + leg
    offset = along - np.concatenate([np.zeros((len(start), 1)), before[:, :2]], axis=1).ravel()[row]
    return _advance(np.stack(begins, axis=1).reshape(-1, 3)[row], curvature.ravel()[row], offset), way


def _advance(pose: FloatArray, curvature: FloatArray, length: FloatArray) -> FloatArray:
    """Poses after *length* on an arc or line; the half-angle form serves both, as sinc(0) = 1."""
    half = curvature * length / 2
    chord = length * np.sinc(half / np.pi)
    middle = pose[:, 2] + half
    x, y = pose[:, 0] + chord * np.sin(middle), pose[:, 1] + chord * np.cos(middle)
    return np.column_stack([x, y, pose[:, 2] + 2 * half])


def _centre(pose: FloatArray, reach: float) -> tuple[FloatArray, FloatArray]:
    """Centre of the turning circle, *reach* to the right."""
    return pose[:, 0] + reach * np.cos(pose[:, 2]), pose[:, 1] - reach * np.sin(pose[:, 2])


def _swing(start: FloatArray, end: FloatArray, side: float) -> FloatArray:
    """Angle turned to *side*, in [0, 2 pi)."""
    angle = np.mod(side * (end - start), 2 * np.pi)
    return np.where(2 * np.pi - angle < FULL_TURN_SLACK, 0.0, angle)


def _arc_line_arc(start: FloatArray, goal: FloatArray, radius: float, first: float, last: float) -> FloatArray:
    ax, ay = _centre(start, first * radius)
    bx, by = _centre(goal, last * radius)
    gap = np.hypot(bx - ax, by - ay)
    crossing = radius * (first - last)
    with np.errstate(invalid="ignore", divide="ignore"):
        lean = np.arcsin(np.where(gap > 0, crossing / gap, 0.0)) if crossing else 0.0
        line = np.sqrt(gap**2 - crossing**2)
    bearing = np.where(gap > FULL_TURN_SLACK, np.arctan2(bx - ax, by - ay), start[:, 2])
    heading = bearing + lean
    legs = np.stack(
        [radius * _swing(start[:, 2], heading, first), line, radius * _swing(heading, goal[:, 2], last)], axis=1
    )
    return np.where((gap >= abs(crossing))[:, None], legs, np.inf)


def _arc_arc_arc(start: FloatArray, goal: FloatArray, radius: float, side: float) -> FloatArray:
    ax, ay = _centre(start, side * radius)
    bx, by = _centre(goal, side * radius)
    gap = np.hypot(bx - ax, by - ay)
    fits = (gap > FULL_TURN_SLACK) & (gap < 4 * radius)
    bend = np.arccos(np.clip(gap / (4 * radius), -1.0, 1.0))
    # The heading is at right angles to the spoke from a circle's centre to its tangent point.
    one = np.arctan2(bx - ax, by - ay) + side * (bend + np.pi / 2)
    middle = np.pi + 2 * bend
    two = one - side * middle
    first, last = _swing(start[:, 2], one, side), _swing(two, goal[:, 2], side)
    legs = radius * np.stack([first, middle, last], axis=1)
    return np.where(fits[:, None], legs, np.inf)


def tightest_radius(line: FloatArray) -> float:
    """Least radius of the circles through three successive points of *line* (n, 2); inf when straight. [m]

    Product of the sides over four times the triangle's area (textbook).
    """
    if len(line) < 3:
        return math.inf
    a, b, c = line[:-2], line[1:-1], line[2:]
    sides = [np.hypot(*(p - q).T) for p, q in ((a, b), (b, c), (c, a))]
    cross = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    with np.errstate(divide="ignore"):
        return float((sides[0] * sides[1] * sides[2] / (2 * cross)).min())
