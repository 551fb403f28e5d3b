"""AB directions: which directions the passes were driven in, and exactly."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .model import STRAIGHT
from .tolerances import DIRECTION_TRIM, FAMILY_DEG, FAMILY_LEAST_SHARE, STRAY_LEAST_DEG, STRAY_SPREADS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray

    from .legs import Leg
    from .model import Fixed, Span


def find_families(legs: Sequence[Leg], headland: BoolArray) -> tuple[list[int], list[float]]:
    """For each leg the number of its AB direction (-1: none), and the directions [deg].

    The direction driven most is found first, in steps: the leg with most length near its own
    direction leads, legs within ``FAMILY_DEG`` of the mean follow.
    """
    angle = np.degrees(np.array([leg.direction_rad for leg in legs])) % 180.0
    weight = np.array([leg.length_m for leg in legs])
    free = ~headland & (weight > 0)
    family = np.full(len(angle), -1)
    directions: list[float] = []
    total = float(weight[free].sum())
    while free.any():
        near = np.abs((angle[:, None] - angle[None, :] + 90) % 180 - 90) <= FAMILY_DEG / 2
        score = (near & free) @ weight
        score[~free] = -1.0
        lead = int(np.argmax(score))
        mean = axial_mean(angle[near[lead] & free], weight[near[lead] & free])
        members = free & (np.abs((angle - mean + 90) % 180 - 90) <= FAMILY_DEG)
        if not members.any() or weight[members].sum() < FAMILY_LEAST_SHARE * total:
            break
        family[members] = len(directions)
        directions.append(axial_mean(angle[members], weight[members]))
        free &= ~members
    return family.tolist(), directions


def axial_mean(angle_deg: FloatArray, weight: FloatArray) -> float:
    """Mean of directions that are the same both ways, in [0, 180). [deg]

    Doubled angles make them one way (Mardia & Jupp 2000, Directional Statistics, from memory).
    """
    return float(np.degrees(np.angle(np.sum(weight * np.exp(2j * np.radians(angle_deg))))) / 2 % 180.0)


def _without_strays(angle_deg: FloatArray, weight: FloatArray) -> float:
    """Mean direction without passes far off the others: one that holds an approach on a slant, say. [deg]"""
    off = (angle_deg - axial_mean(angle_deg, weight) + 90) % 180 - 90
    away = np.abs(off - np.median(off))
    near = away <= max(STRAY_SPREADS * 1.4826 * float(np.median(away)), STRAY_LEAST_DEG)
    return axial_mean(angle_deg[near], weight[near])


def mean_directions(fixed: Fixed, spans: Sequence[Span], directions: list[float]) -> list[float]:
    """AB directions from the fixes themselves: each pass by its principal axis, long ones count most. [deg]

    The variance of a fitted slope falls at least with the square of the line's length (least squares, textbook):
    so its weight grows.
    """
    refined, lengths = [], []
    for direction in directions:
        angles, weights = [], []
        for span in spans:
            if span.kind != STRAIGHT or span.direction_deg != direction:
                continue
            trim = DIRECTION_TRIM * (span.end_s - span.start_s)  # an end may hold the beginning of a turn
            a, b = np.searchsorted(fixed.time_s, [span.start_s + trim, span.end_s - trim])
            x, y = fixed.x_m[a:b], fixed.y_m[a:b]
            if len(x) < 3:
                continue
            spread = np.cov(x, y)
            angles.append(np.degrees(np.arctan2(2 * spread[0, 1], spread[1, 1] - spread[0, 0]) / 2) % 180)
            weights.append(np.hypot(np.ptp(x), np.ptp(y)))
        if angles:
            refined.append(_without_strays(np.array(angles), np.array(weights) ** 2))
            lengths.append(sum(weights))
    return [refined[k] for k in np.argsort([-one for one in lengths], kind="stable")]
