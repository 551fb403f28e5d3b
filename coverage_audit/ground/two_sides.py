"""Middle lines of strips with two sides: both run along the strip without turning back. All strips in one pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import (
    CUTS_PER_WIDTH,
    MIDDLE_LINE_SLICES,
    MOST_CUTS,
    SIDE_SLACK_M,
    STRAIGHT_STRIP_RATIO,
    STRAIGHT_STRIP_SLOPE,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class _Outlines:
    """Outlines of strips, each in a frame of its own along and across, one after another.

    Each begins and ends at its least along, which is 0, and turns at its greatest, its point number ``turn``.
    """

    along_m: FloatArray
    across_m: FloatArray
    size: IntArray
    turn: IntArray

    @property
    def start(self) -> IntArray:
        return np.cumsum(self.size) - self.size

    @property
    def strip(self) -> IntArray:
        """Number of the strip of each point."""
        return np.repeat(np.arange(len(self.size)), self.size)

    @property
    def within(self) -> IntArray:
        """Number of each point in its outline."""
        return np.arange(len(self.along_m)) - np.repeat(self.start, self.size)


def between_sides(polygons: np.ndarray) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Which of *polygons* (n,) have two sides, the points of the middle lines of these and their greatest widths.

    Such a strip is cut across at many places, and the middles of the cuts are joined (plane geometry, textbook).

    Returns
    -------
    (n,) bool, (m, points, 2) [m], (m,) [m]
    """
    corner = shapely.get_coordinates(shapely.oriented_envelope(polygons)).reshape(-1, 5, 2)
    sides = np.diff(corner[:, :3], axis=1)
    size = np.hypot(sides[..., 0], sides[..., 1])
    row = np.arange(len(polygons))
    long, short = size.max(axis=1), size.min(axis=1)
    width = shapely.area(polygons) / long
    narrow = short <= np.maximum(STRAIGHT_STRIP_RATIO * width, STRAIGHT_STRIP_SLOPE * long)
    two = narrow & (shapely.get_num_interior_rings(polygons) == 0)
    ahead = sides[row, np.argmax(size, axis=1)] / long[:, None]
    ahead, width, long = ahead[two], width[two], long[two]
    if not len(ahead):
        return two, np.empty((0, 0, 2)), np.empty(0)
    outlines, first = _in_their_frames(shapely.get_exterior_ring(polygons[two]), ahead)
    runs = _run_along(outlines)
    two[two] = runs
    count = np.minimum(np.maximum(CUTS_PER_WIDTH * long / width, MIDDLE_LINE_SLICES), MOST_CUTS).astype(int)
    frame, radius = _cut_across(outlines, count)
    frame[..., 0] += first[:, None]
    frame, radius, ahead = frame[runs], radius[runs], ahead[runs, None]
    points = np.stack(
        [
            frame[..., 0] * ahead[..., 0] - frame[..., 1] * ahead[..., 1],
            frame[..., 0] * ahead[..., 1] + frame[..., 1] * ahead[..., 0],
        ],
        axis=-1,
    )
    return two, points, 2 * radius


def _in_their_frames(rings: np.ndarray, ahead: FloatArray) -> tuple[_Outlines, FloatArray]:
    """Outlines of *rings* along unit vectors *ahead* (n, 2), and the least along of each. [m]"""
    points, owner = shapely.get_coordinates(rings, return_index=True)
    size = np.bincount(owner)
    start = np.cumsum(size) - size
    along = points[:, 0] * ahead[owner, 0] + points[:, 1] * ahead[owner, 1]
    across = points[:, 1] * ahead[owner, 0] - points[:, 0] * ahead[owner, 1]
    least = np.minimum.reduceat(along, start)
    left = _first(along == least[owner], owner) - start
    within = np.arange(len(along)) - start[owner]
    rolled = start[owner] + (within + left[owner]) % (size - 1)[owner]  # a ring's last point is its first
    along, across = along[rolled] - least[owner], across[rolled]
    turn = _first(along == np.maximum.reduceat(along, start)[owner], owner) - start
    return _Outlines(along, across, size, turn), least


def _first(found: BoolArray, owner: IntArray) -> IntArray:
    """Where the first point of each owner is that was found; each has one."""
    place = np.flatnonzero(found)
    return place[np.unique(owner[place], return_index=True)[1]]


def _run_along(outlines: _Outlines) -> BoolArray:
    """Which of *outlines* run along to their turn and back, without turning before."""
    step = np.diff(outlines.along_m, append=0.0)
    step[outlines.start + outlines.size - 1] = 0.0
    there = outlines.within < outlines.turn[outlines.strip]
    back = np.where(there, -step, step)
    return np.asarray(np.maximum.reduceat(back, outlines.start) <= SIDE_SLACK_M)


def _cut_across(outlines: _Outlines, count: IntArray) -> tuple[FloatArray, FloatArray]:
    """Middle lines (n, points, 2) along and across, and radii of the largest circles (n,), by *count* cuts each. [m]"""
    reach = outlines.along_m[outlines.start + outlines.turn]
    begin = np.cumsum(reach) - reach  # laid end to end, so that all are cut at once
    owner = outlines.strip
    along, laid = outlines.along_m, begin[owner]
    there = outlines.within <= outlines.turn[owner]
    back = np.flatnonzero(outlines.within >= outlines.turn[owner])[::-1]
    back = back[np.argsort(owner[back], kind="stable")]
    step = reach / count
    strip = np.repeat(np.arange(len(count)), count)
    number = np.arange(len(strip)) - np.repeat(np.cumsum(count) - count, count)
    x = (number + 0.5) * step[strip]
    one, other = (
        np.interp(x + begin[strip], np.maximum.accumulate(along[side] + laid[side]), outlines.across_m[side])
        for side in (there, back)
    )
    middle = (one + other) / 2
    from_end = np.minimum(number, np.repeat(count, count) - 1 - number)
    bound = np.minimum(np.abs(one - other) / 2, (from_end + 0.5) * step[strip])
    radius = _clear(middle, (one, other), strip, step, bound)
    widest = np.maximum.reduceat(radius, np.cumsum(count) - count)
    return _bent(x, middle, count, reach), widest


def _clear(
    middle: FloatArray, sides: tuple[FloatArray, FloatArray], strip: IntArray, step: FloatArray, bound: FloatArray
) -> FloatArray:
    """Way from each place of the middle lines to the nearest cut end of the own strip, if less than *bound*. [m]

    Ends of cuts farther along than the nearest one so far cannot be nearer: fewer places are left at each step. As
    *bound* is no more than the way to the strip's own end, no step reaches into another strip.
    """
    nearest = bound**2
    left = np.arange(len(middle))
    for shift in range(1, len(middle)):
        aside = (shift * step[strip[left]]) ** 2
        left, aside = left[nearest[left] > aside], aside[nearest[left] > aside]
        if not len(left):
            break
        for there in (left - shift, left + shift):
            across = np.minimum(*((middle[left] - side[there]) ** 2 for side in sides)) + aside
            nearest[left] = np.minimum(nearest[left], across)
    return np.sqrt(nearest)


def _bent(x: FloatArray, middle: FloatArray, count: IntArray, reach: FloatArray) -> FloatArray:
    """The middle lines through some of their cuts, drawn straight on to both ends: (n, points, 2). [m]"""
    bend = np.arange(MIDDLE_LINE_SLICES) * (count[:, None] - 1) // (MIDDLE_LINE_SLICES - 1)
    place = (np.cumsum(count) - count)[:, None] + bend
    line = np.stack([x[place], middle[place]], axis=-1)
    start, end = np.zeros_like(reach), reach
    ends = [
        near + (near - next_) * ((at - near[:, 0]) / (near[:, 0] - next_[:, 0]))[:, None]
        for at, near, next_ in ((start, line[:, 0], line[:, 1]), (end, line[:, -1], line[:, -2]))
    ]
    return np.concatenate([ends[0][:, None], line, ends[1][:, None]], axis=1)
