"""Ground seen along a way: *along* it and *across* it, to the right."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.solid import solid

from .tolerances import CURVE_STEP_M, ROUND_SLACK

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray


class Frame:
    """Along and across a line that is drawn straight on beyond its ends. [m]"""

    def __init__(self, line: FloatArray, beyond_m: float) -> None:
        ends = [line[0] - line[1], line[-1] - line[-2]]
        out = [end / np.hypot(*end) * beyond_m for end in ends]
        self.points = np.concatenate([[line[0] + out[0]], line, [line[-1] + out[1]]])
        self.line = shapely.LineString(self.points)
        self.beyond_m = beyond_m
        step = np.diff(self.points, axis=0)
        self.length = np.concatenate([[0.0], np.cumsum(np.hypot(step[:, 0], step[:, 1]))])
        self.heading = np.arctan2(step[:, 0], step[:, 1])

    def along_across(self, xy: FloatArray) -> FloatArray:
        """(along, across) of points (n, 2), by the perpendicular (textbook); along counts from the line's start. [m]"""
        points = shapely.points(xy)
        along = shapely.line_locate_point(self.line, points)
        foot = shapely.get_coordinates(shapely.line_interpolate_point(self.line, along))
        segment = np.clip(np.searchsorted(self.length, along, "right") - 1, 0, len(self.heading) - 1)
        heading = self.heading[segment]
        off = xy - foot
        right = off[:, 0] * np.cos(heading) - off[:, 1] * np.sin(heading)
        across = np.copysign(np.hypot(off[:, 0], off[:, 1]), right)
        return np.column_stack([along - self.beyond_m, across])

    def flat(self, ground: BaseGeometry, across_m: float = math.inf) -> BaseGeometry:
        """*ground* with along and across in place of x and y; round a bend what lies beyond *across_m* may be left out.

        Ground beyond the middle of a bend folds over itself: with a jagged edge there, thousands of crossings.
        """
        if len(self.points) == 4:
            return self._turned(ground)
        near = shapely.segmentize(ground, CURVE_STEP_M / 2)
        if math.isfinite(across_m):  # no step that reaches within is cut: what lies there stays to the last digit
            near = near & shapely.buffer(self.line, across_m * ROUND_SLACK + CURVE_STEP_M / 2)
        # what still folds over itself is ground all the same; by its lines alone GEOS takes a second for 800 corners
        return solid(shapely.transform(near, self.along_across))

    def _turned(self, ground: BaseGeometry) -> BaseGeometry:
        """*ground* seen along a straight line, as far as it is drawn: what lies beyond would fold onto its ends."""
        east, north = math.sin(self.heading[0]), math.cos(self.heading[0])
        turn = np.array([[east, north], [north, -east]])
        seen = solid(shapely.transform(ground, lambda xy: (xy - self.points[1]) @ turn))
        if seen.is_empty:
            return seen
        first, left, last, right = seen.bounds
        end = float(self.length[-1]) - self.beyond_m
        drawn = shapely.box(-self.beyond_m, left - 1, end, right + 1)
        return seen if -self.beyond_m <= first and last <= end else seen & drawn
