"""Edges of outlines, and how many of them lie near each other: what noding an outline costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    from .arrays import FloatArray

_PAIRS_AT_ONCE = 5_000_000  # edges of one look times all edges: bounds the memory of the look


def edges_of(outlines: Any) -> FloatArray:  # noqa: ANN401 - a geometry or an array of them
    """Edges of all lines and rings, shape (n, 2, 2)."""
    lines = shapely.get_parts(shapely.get_parts(outlines))
    points, line = shapely.get_coordinates(lines, return_index=True)
    joined = np.diff(line) == 0
    return np.stack([points[:-1][joined], points[1:][joined]], axis=1)


def near_pairs(outlines: Any, limit: int) -> int:  # noqa: ANN401 - a geometry or an array of them
    """Pairs of edges whose boxes meet, neighbours along a line left out; counting stops above *limit*.

    Noding takes time and memory by the crossings, which are no more than these pairs.
    """
    edges = shapely.linestrings(edges_of(outlines))
    tree = shapely.STRtree(edges)
    step = max(1, _PAIRS_AT_ONCE // max(1, len(edges)))
    pairs = 0
    for first in range(0, len(edges), step):
        one, other = tree.query(edges[first : first + step])
        pairs += int(np.count_nonzero(other > one + first + 1))
        if pairs > limit:
            break
    return pairs
