"""Edges of outlines, and how many of them lie near each other: what noding an outline costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from .arrays import BoolArray, FloatArray, IntArray

_STEPS_A_PART = 50
_SQUARES_ACROSS = 200  # of a grid over edges, at most
_SQUARES_AN_EDGE = 20  # that edges may lie in, on average
_PAIRS_AT_ONCE = 5_000_000  # edges of one look times all edges: bounds the memory of the look


def edges_of(outlines: Any) -> FloatArray:  # noqa: ANN401 - a geometry or an array of them
    """Edges of all lines and rings, shape (n, 2, 2)."""
    lines = shapely.get_parts(shapely.get_parts(outlines))
    points, line = shapely.get_coordinates(lines, return_index=True)
    joined = np.diff(line) == 0
    return np.stack([points[:-1][joined], points[1:][joined]], axis=1)


def parted(lines: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    """*lines* cut into parts of a few dozen steps each.

    A buffer round one way that crosses itself thousands of times takes the square of that in time and memory; round its
    parts, united afterwards, it does not.
    """
    parts = []
    for line in lines:
        points = shapely.get_coordinates(line)
        parts += [
            shapely.LineString(points[k : k + _STEPS_A_PART + 1]) for k in range(0, len(points) - 1, _STEPS_A_PART)
        ]
    return parts


def near_pairs(outlines: Any, limit: int) -> int:  # noqa: ANN401 - a geometry or an array of them
    """Pairs of edges whose boxes meet, neighbours along a line left out; counting stops above *limit*.

    Noding takes time and memory by the crossings, which are no more than these pairs.
    """
    pairs = 0
    for one, _ in _looks(edges_of(outlines)):
        pairs += len(one)
        if pairs > limit:
            break
    return pairs


def most_pairs(outlines: Any) -> float:  # noqa: ANN401 - a geometry or an array of them
    """No fewer than the pairs of edges whose boxes meet, in a quarter of the time that counting them takes.

    They are those that share a square of a grid. Infinite where edges lie in too many squares.
    """
    edges = edges_of(outlines)
    if not len(edges):
        return 0.0
    if not np.isfinite(edges).all():
        return np.inf
    low, high = np.minimum(edges[:, 0], edges[:, 1]), np.maximum(edges[:, 0], edges[:, 1])
    origin = low.min(axis=0)
    extent = float((high.max(axis=0) - origin).max())
    side = max(float((high - low).mean()), extent / _SQUARES_ACROSS) or 1.0
    first, last = ((corner - origin) // side for corner in (low, high))
    wide, tall = (last - first + 1.0).T.astype(np.int64)
    held = wide * tall
    if held.sum() > _SQUARES_AN_EDGE * len(edges):
        return np.inf
    within = np.arange(held.sum()) - np.repeat(np.cumsum(held) - held, held)
    row, column = np.divmod(within, np.repeat(wide, held))
    south_west = (first[:, 1] * (_SQUARES_ACROSS + 1) + first[:, 0]).astype(np.int64)
    number = np.bincount(np.repeat(south_west, held) + row * (_SQUARES_ACROSS + 1) + column)
    return float((number * (number - 1) / 2).sum())


def crossing_pairs(outlines: Any, limit: int) -> int:  # noqa: ANN401 - a geometry or an array of them
    """Pairs of edges that cross within both; counting stops above *limit*.

    Noding makes about as many faces.
    """
    edges, crossings = edges_of(outlines), 0
    for one, other in _looks(edges):
        a, b = edges[one], edges[other]
        apart = _sides(a, b) & _sides(b, a)
        crossings += int(np.count_nonzero(apart))
        if crossings > limit:
            break
    return crossings


def _looks(edges: FloatArray) -> Iterator[tuple[IntArray, IntArray]]:
    """Pairs of edges whose boxes meet, each once and neighbours along a line left out, some at a time."""
    lines = shapely.linestrings(edges)
    tree = shapely.STRtree(lines)
    step = max(1, _PAIRS_AT_ONCE // max(1, len(lines)))
    for first in range(0, len(lines), step):
        one, other = tree.query(lines[first : first + step])
        once = other > one + first + 1
        yield one[once] + first, other[once]


def _sides(one: FloatArray, other: FloatArray) -> BoolArray:
    """Whether the ends of *other*, shape (n, 2, 2), lie on either side of the line through *one*."""
    along = one[:, 1] - one[:, 0]
    first, last = (other[:, k] - one[:, 0] for k in (0, 1))
    product = [along[:, 0] * end[:, 1] - along[:, 1] * end[:, 0] for end in (first, last)]
    return np.asarray(product[0] * product[1] < 0)
