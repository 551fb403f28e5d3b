"""Which of the strips that look missed are missed in a drawn job, seen along lines across them."""

from __future__ import annotations

from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .tolerances import CHANCE_POWER, CHANCE_SIGMA_M, CROSS_CUTS, REAL_SHARE, SURE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.ground.model import Strip


def cross_cuts(strips: Sequence[Strip], reach_m: float) -> np.ndarray:
    """Lines across each strip, square to its middle line and *reach_m* [m] beyond, shape (strips, CROSS_CUTS)."""
    if not strips:
        return np.empty((0, CROSS_CUTS), dtype=object)
    lines = np.array([max(shapely.get_parts(strip.line), key=lambda part: part.length) for strip in strips])
    share = (np.arange(CROSS_CUTS) + 0.5) / CROSS_CUTS
    at, before, after = (
        shapely.get_coordinates(
            shapely.line_interpolate_point(lines[:, None], np.clip(share + aside, 0, 1)[None, :], normalized=True)
        ).reshape(len(strips), CROSS_CUTS, 2)
        for aside in (0.0, -0.5 / CROSS_CUTS, 0.5 / CROSS_CUTS)
    )
    along = after - before
    square = np.stack([along[..., 1], -along[..., 0]], axis=-1) / np.linalg.norm(along, axis=-1, keepdims=True)
    half = np.array([strip.max_width_m / 2 + reach_m for strip in strips])[:, None, None] * square
    return shapely.linestrings(np.stack([at - half, at + half], axis=2))


def needed_m(strips: Sequence[Strip], cuts: np.ndarray) -> FloatArray:
    """What has to be missed along each of *cuts* for a strip to be real there: half of what looks missed, their shape.

    Cuts reach beyond the strip, since its true place is another: wherever ground is missed along them counts. [m]
    """
    ground = np.array([strip.polygon for strip in strips], dtype=object).reshape(-1, 1)
    looks = shapely.length(shapely.intersection(cuts, ground))
    mean = np.array([strip.mean_width_m for strip in strips]).reshape(-1, 1)
    return np.asarray(REAL_SHARE * np.where(looks > 0, looks, mean))


def told_chance(share: FloatArray, sigma_m: float) -> FloatArray:
    """Chance that is told of strips that are real in a *share* of the draws, same shape. [1]

    *sigma_m*: the receiver's slow error. [m]
    """
    return np.asarray(share ** _power(sigma_m))


def sure_sigmas(sigma_m: float) -> float:
    """Standard deviations of the error that half of a skip must be, so that its chance is told as ``SURE``. [1]

    Quantile of the normal distribution. *sigma_m*: the receiver's slow error. [m]
    """
    return NormalDist().inv_cdf(SURE ** (1 / _power(sigma_m)))


def _power(sigma_m: float) -> float:
    """Power of the share of draws that is told as a chance, even between its bounds by the error's logarithm. [1]"""
    return float(np.interp(np.log(max(sigma_m, CHANCE_SIGMA_M[0])), np.log(CHANCE_SIGMA_M), CHANCE_POWER))


def real_strips(missed_m: FloatArray, needed: FloatArray) -> BoolArray:
    """Whether each strip is real: missed as wide as *needed* along at least half its length, shape (strips,).

    *missed_m*, *needed* [m]: of each cut across it, shape (strips, cuts).
    """
    return (missed_m >= needed).mean(axis=1) >= 0.5
