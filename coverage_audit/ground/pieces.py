"""Pieces: the ground swept between boom lines, as polygons that sweep no spot twice."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .model import BoomLines, Piece
from .tolerances import (
    CHUNK_TURN_DEG,
    ONE_PIVOT_M,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from coverage_audit.arrays import FloatArray, IntArray


def pieces_of(lines: BoomLines, one_pivot_m2: float = 0.0) -> list[Piece]:
    """The ground swept between *lines*, cut into pieces that sweep no spot twice.

    *one_pivot_m2*: pivots of a piece are one place where that changes its ground by no more. [m2]
    """
    result: list[Piece] = []
    for left_m, right_m in lines.offsets_m:
        left, right = lines.tips(left_m), lines.tips(right_m)
        sense = _sense(lines.heading_rad, left, right)
        runs = [run for run in _runs(lines, sense) if not lines.gap_after[run[0]]]
        kinds: tuple[list[tuple[int, int]], list[tuple[int, int]]] = ([], [])
        for first, last in runs:
            kinds[bool(abs(sense[first]) == 1 and last - first > 1)].append((first, last))
        plain, pivoting = kinds
        result.extend(_outlined(lines, left, right, plain))
        result.extend(_pivoted(lines, (left, right), pivoting, one_pivot_m2))
    return result


def _sense(heading: FloatArray, left: FloatArray, right: FloatArray) -> IntArray:
    """How the tips go in each step: 3 both forwards, -3 both backwards, 1 only the left forwards, -1 only the right.

    0 where one of them stands.
    """
    middle = (heading[1:] + heading[:-1]) / 2
    ahead = np.column_stack([np.sin(middle), np.cos(middle)])
    forward = [np.sign(np.einsum("ij,ij->i", np.diff(tips, axis=0), ahead)) for tips in (left, right)]
    return np.where(forward[0] * forward[1] == 0, 0, 2 * forward[0] + forward[1]).astype(int)


def _runs(lines: BoomLines, sense: IntArray) -> Iterator[tuple[int, int]]:
    """(first, last) boom line of each longest run that may become one outline."""
    limit = math.radians(CHUNK_TURN_DEG)
    alone = (sense == 0) | lines.gap_after[:-1] | lines.bridged_after[:-1]
    ends = alone[1:] | alone[:-1] | (np.diff(sense) != 0) | lines.cut[1:-1]
    bounds = [0, *(np.flatnonzero(ends) + 1).tolist(), len(sense)]
    for first, last in pairwise(bounds):
        begin = first
        while begin < last:
            turned = np.abs(lines.heading_rad[begin + 1 : last + 1] - lines.heading_rad[begin]) > limit
            stop = begin + max(1, int(turned.argmax())) if turned.any() else last
            yield begin, stop
            begin = stop


def _outlined(lines: BoomLines, left: FloatArray, right: FloatArray, runs: list[tuple[int, int]]) -> list[Piece]:
    """Pieces of *runs*, whose tips go the same way; an outline that crosses itself is halved until it does not."""
    result = []
    while runs:
        rings = [np.concatenate([left[a : b + 1], right[a : b + 1][::-1]]) for a, b in runs]
        polygons = shapely.polygons(
            shapely.linearrings(np.concatenate(rings), indices=np.repeat(np.arange(len(rings)), [*map(len, rings)]))
        )
        valid = shapely.is_valid(polygons)
        halves = []
        for (first, last), polygon, good in zip(runs, polygons, valid, strict=True):
            bridged = bool(lines.bridged_after[first])
            if good:
                result.append(Piece(polygon, lines, first, last, bridged))
            elif last - first > 1:
                middle = (first + last) // 2
                halves += [(first, middle), (middle, last)]
            else:  # a bow-tie: one tip went backwards past the other
                parts = shapely.get_parts(shapely.make_valid(polygon))
                result += [Piece(part, lines, first, last, bridged) for part in parts if part.geom_type == "Polygon"]
        runs = halves
    return [piece for piece in result if piece.polygon.area > 0]


def _pivoted(
    lines: BoomLines, tips: tuple[FloatArray, FloatArray], runs: list[tuple[int, int]], one_pivot_m2: float
) -> list[Piece]:
    """Pieces of *runs* in which one tip goes forwards and the other back: two wings on either side of the pivot.

    Each boom line crosses the next one at the pivot of that step, and both pivots of a line lie on it: so the wings of
    the steps join to one outline, the way of the tip and back along the pivots. Step by step they would be thousands
    of slivers that all meet near the pivot. What does not cross, or crosses itself, is halved.
    """
    left, right = tips
    result: list[Piece] = []
    while runs:
        halves: list[tuple[int, int]] = []
        for first, last in runs:
            wings = _wings(left[first : last + 1], right[first : last + 1], one_pivot_m2)
            bridged = bool(lines.bridged_after[first])
            if wings is not None and shapely.is_valid(wings).all():
                result += [Piece(wing, lines, first, last, bridged) for wing in wings if wing.area > 0]
            elif last - first > 2:
                middle = (first + last) // 2
                halves += [(first, middle), (middle, last)]
            else:
                result += _outlined(lines, left, right, [(step, step + 1) for step in range(first, last)])
        runs = halves
    return result


def _wings(left: FloatArray, right: FloatArray, one_pivot_m2: float) -> np.ndarray | None:
    """Ground that the left and right parts of pivoting boom lines (n, 2) sweep; None where two lines do not cross."""
    along = right - left
    across = _cross(along[:-1], along[1:])
    if not across.all():
        return None
    apart = np.diff(left, axis=0)
    share, other = _cross(apart, along[1:]) / across, _cross(apart, along[:-1]) / across
    if min(share.min(), other.min()) < 0 or max(share.max(), other.max()) > 1:
        return None
    pivots = (left[:-1] + share[:, None] * along[:-1])[::-1]
    if np.ptp(pivots, axis=0).max() < ONE_PIVOT_M:
        pivots = pivots[:1]
    elif one_pivot_m2:
        pivots = _one_pivot(left, along, pivots, one_pivot_m2)
    return np.array([shapely.Polygon(np.concatenate([tips, pivots])) for tips in (left, right)], dtype=object)


def _one_pivot(left: FloatArray, along: FloatArray, pivots: FloatArray, most_m2: float) -> FloatArray:
    """Where the first and the last boom line cross in place of all *pivots*, if both wings change by little. [m]

    That place lies on both lines, so pieces that follow each other meet as they do along all pivots.
    """
    apart, (first, last) = left[-1:] - left[:1], (along[:1], along[-1:])
    across = _cross(first, last)
    if not across.all():
        return pivots
    share, other = _cross(apart, last) / across, _cross(apart, first) / across
    if min(share[0], other[0]) < 0 or max(share[0], other[0]) > 1:
        return pivots
    place = left[:1] + share[:, None] * first
    between = shapely.Polygon(np.concatenate([place, pivots])) if len(pivots) > 1 else shapely.Polygon()
    return place if 2 * between.area <= most_m2 else pivots


def travel_at(piece: Piece, x_m: FloatArray, y_m: FloatArray) -> FloatArray:
    """Travel of the boom's centre when *piece* swept the points x, y; shape (n,). [m]"""
    lines = piece.lines
    span = slice(piece.first, piece.last + 1)
    heading, travel = lines.heading_rad[span], lines.travel_m[span]
    ahead = (x_m[:, None] - lines.x_m[span]) * np.sin(heading) + (y_m[:, None] - lines.y_m[span]) * np.cos(heading)
    if len(travel) == 2:  # most pieces where the boom comes back at once
        before, after = ahead.T
        step = 0
    else:
        sign = np.sign(ahead)
        passed = sign[:, 1:] != sign[:, :-1]
        nearest = np.minimum(np.abs(ahead).argmin(axis=1), len(travel) - 2)
        step = np.where(passed.any(axis=1), passed.argmax(axis=1), nearest)
        row = np.arange(len(x_m))
        before, after = ahead[row, step], ahead[row, step + 1]
    share = np.minimum(np.maximum(before / np.where(before == after, 1.0, before - after), 0), 1)
    return travel[step] + share * (travel[step + 1] - travel[step])


def quad_area(lines: BoomLines) -> float:
    """Sum of the areas of all steps between boom lines, straight from their tips. [m2]

    A bow-tie counts as its two triangles. A second route to what the pieces add up to.
    """
    total = 0.0
    used = ~lines.gap_after[:-1]
    for left_m, right_m in lines.offsets_m:
        left, right = lines.tips(left_m), lines.tips(right_m)
        a, b, c, d = left[:-1][used], left[1:][used], right[1:][used], right[:-1][used]
        plain = np.abs(_cross(c - a, d - b)) / 2
        # the boom lines cross, or the ways of the tips do; never both
        total += float(np.maximum.reduce([plain, _tied(a, b, c, d), _tied(b, c, d, a)]).sum())
    return total


def _tied(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """Area of the two triangles of a bow-tie whose edges a-d and b-c cross, 0 where they do not. [m2]"""
    crossed = (_cross(d - a, b - a) * _cross(d - a, c - a) < 0) & (_cross(c - b, a - b) * _cross(c - b, d - b) < 0)
    # how far along d - a the lines cross
    along = np.divide(_cross(b - a, c - b), _cross(d - a, c - b), where=crossed, out=np.zeros(len(a)))
    meet = a + along[:, None] * (d - a)
    tied = (np.abs(_cross(meet - a, b - a)) + np.abs(_cross(c - meet, d - meet))) / 2
    return np.asarray(np.where(crossed, tied, 0.0))


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
