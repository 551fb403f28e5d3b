"""How far a driven line is from another, measured square to the segments of the other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import CURVE_DEGREE, CURVED_GAIN, CURVED_SAGITTA_M, LEG_END_FIT_M, SHORTEST_PASS_M

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray


def cross_track_m(points_m: FloatArray, reference: BaseGeometry) -> FloatArray:
    """Cross-track distance of points from a reference path, positive to its right.

    The distance is square to the nearest *segment* of the path, not to its nearest logged point:
    that would add up to half the step between points (Rounsaville, Dvorak & Stombaugh 2016,
    Trans. ASABE 59(6):1609-1616).

    Parameters
    ----------
    points_m : array of shape (n, 2)
        Places. [m]
    reference : linestring
        The path, in its direction of travel. [m]

    Returns
    -------
    array of shape (n,)
        [m]
    """
    away, _, sign = beside(points_m, shapely.get_coordinates(reference))
    return away * sign


def beside(points_m: FloatArray, line_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Distance of points from a line, how far along it their feet lie [m], and their side (1 = right).

    Feet of perpendiculars, as ISO 12188-2 asks for relative cross-track error, never the nearest logged point.

    On a line that always goes forward a point is tried against the segments it is abreast of, else
    against all.

    Parameters
    ----------
    points_m : array of shape (n, 2)
        Places. [m]
    line_m : array of shape (k, 2)
        Corners of the line, k >= 2. [m]
    """
    step = np.diff(line_m, axis=0)
    kept = np.hypot(step[:, 0], step[:, 1]) > 0
    line_m, step = line_m[np.append(True, kept)], step[kept]
    length = np.hypot(step[:, 0], step[:, 1])
    start = np.concatenate([[0.0], np.cumsum(length)])
    chord = line_m[-1] - line_m[0]
    abreast = line_m @ chord
    if np.all(np.diff(abreast) > 0):
        near = np.searchsorted(abreast, points_m @ chord)[:, None] + np.arange(-2, 2)
        near = np.clip(near, 0, len(length) - 1)
    else:
        near = np.broadcast_to(np.arange(len(length)), (len(points_m), len(length)))
    off = points_m[:, None, :] - line_m[near]
    way = step[near]
    along = np.clip((off * way).sum(axis=2) / length[near], 0.0, length[near])
    rest = off - (along / length[near])[:, :, None] * way
    away = np.hypot(rest[:, :, 0], rest[:, :, 1])
    row, best = np.arange(len(points_m)), away.argmin(axis=1)
    side = np.sign(way[:, :, 1] * off[:, :, 0] - way[:, :, 0] * off[:, :, 1])
    return away[row, best], start[near[row, best]] + along[row, best], side[row, best]


def best_line(points_m: FloatArray) -> tuple[BaseGeometry, bool]:
    """Best line through a pass, in its direction of travel, and whether it is a curve.

    A straight line by least squares; where the pass bows by more than steering explains, the best
    smooth curve (a polynomial over the chord) in its place. It reaches a little beyond both ends.
    Places [m]. Least squares in Legendre polynomials (textbook); when a pass counts as curved is common practice,
    no source.
    """
    start, way = points_m[0], points_m[-1] - points_m[0]
    angle = np.arctan2(way[0], way[1])
    ahead, right = np.array([np.sin(angle), np.cos(angle)]), np.array([np.cos(angle), -np.sin(angle)])
    along, across = (points_m - start) @ ahead, (points_m - start) @ right
    low, high = float(along.min()), float(along.max())
    moved = high - low > SHORTEST_PASS_M
    high = max(high, low + SHORTEST_PASS_M)
    unit = 2 * (along - low) / (high - low) - 1
    fits = {1: np.polynomial.legendre.legfit(unit, across, 1) if moved else np.array([across.mean(), 0.0])}
    curved = False
    if moved and len(points_m) > 4 * CURVE_DEGREE:  # fewer points tell no curve from a straight line
        fits[2] = np.polynomial.legendre.legfit(unit, across, 2)
        rest = {k: float(np.std(across - np.polynomial.legendre.legval(unit, fit))) for k, fit in fits.items()}
        curved = 1.5 * abs(float(fits[2][2])) > CURVED_SAGITTA_M and rest[2] < CURVED_GAIN * rest[1]
    if curved:
        fit = np.polynomial.legendre.legfit(unit, across, CURVE_DEGREE)
        at = np.linspace(low, high, max(int((high - low) / 2), 8))
    else:
        fit, at = fits[1], np.array([low, high])
    line = np.polynomial.legendre.legval(2 * (at - low) / (high - low) - 1, fit)
    path = start + at[:, None] * ahead + line[:, None] * right
    first, last = path[0] - path[1], path[-1] - path[-2]
    path = np.vstack(
        [
            path[0] + first / np.hypot(*first) * LEG_END_FIT_M,
            path,
            path[-1] + last / np.hypot(*last) * LEG_END_FIT_M,
        ]
    )
    return shapely.LineString(path), curved
