"""What passes driven to and fro tell of a machine: an antenna beside the boom's middle, switches all late or early."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.facts import Caution
from coverage_audit.passes.model import STRAIGHT

from .tolerances import (
    BESIDE_LEAST_M,
    BESIDE_LEAST_WIDTHS,
    LAG_ALIKE,
    LAG_LEAST_M,
    LAG_LEAST_S,
    OFFSET_SURE,
    OFFSET_TOLD_OF,
    OPPOSITE_DEG,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray
    from coverage_audit.passes.model import Pass, PassResult

SE_MEDIAN = 1.2533
MAD_SD = 1.4826
"""Standard error of a median against that of a mean; standard deviation by the median of distances from the middle.
[1] Of a normal error (textbook)."""


def antenna_beside(found: PassResult, width_m: float) -> list[Caution]:
    """Caution where passes lie closer to the neighbour on one hand than on the other, all over the field.

    An antenna that stands *a* to the right of where it is said to be takes 2 *a* off the distance to a neighbour on the
    right that was driven the other way, and adds it on the left (plane geometry).
    """
    seen = beside(found)
    if seen is None or abs(seen[0]) < max(BESIDE_LEAST_M, BESIDE_LEAST_WIDTHS * width_m, OFFSET_SURE * seen[1]):
        return []
    return [Caution("antenna beside", beside_m=seen[0], error_m=seen[1])]


def beside(found: PassResult, fewest: int = OFFSET_TOLD_OF, least_m: float = 0.0) -> tuple[float, float] | None:
    """How far the antenna looks to stand to the right of where it is said to, and the standard error. [m]

    By the spacings to either hand (plane geometry); None where fewer than *fewest* are known. *least_m*: what they
    spread by at least, however alike a few of them are. [m]
    """
    passes = {one.n: one for one in found.passes if one.kind == STRAIGHT and one.heading_deg is not None}
    sides: dict[bool, list[float]] = {True: [], False: []}
    for one in found.spacings:
        own, other = passes.get(one.number), passes.get(one.neighbour)
        if own is None or other is None or not _opposite(own, other):
            continue
        sides[_on_the_right(own, other)].append(float(one.distance_m.mean()))
    right, left = np.array(sides[True]), np.array(sides[False])
    if min(len(right), len(left)) < fewest:
        return None
    aside = (float(np.median(left)) - float(np.median(right))) / 4
    return aside, float(np.hypot(_error(left, least_m), _error(right, least_m))) / 4


def switches_lag(found: PassResult) -> list[Caution]:
    """Caution where the boom comes on and goes off too late, or both too early, at the ends of most passes.

    Half of what on is later than off tells a lag alone: a driver who is cautious, or generous, at both ends cancels.
    """
    lag, speed, error = lags(found)
    if len(lag) < 2 * OFFSET_TOLD_OF:
        return []
    middle, seconds = float(np.median(lag)), float(np.median(lag / speed))
    alike = (lag * np.sign(middle) >= abs(middle) / 2).mean()
    small = abs(middle) < max(LAG_LEAST_M, OFFSET_SURE * error) or abs(seconds) < LAG_LEAST_S
    if small or alike < LAG_ALIKE:
        return []
    return [Caution("switches lag", lag_m=middle, lag_s=seconds, count=len(lag))]


def lags(found: PassResult) -> tuple[FloatArray, FloatArray, float]:
    """How late passes were switched [m], on and off alike, their speeds [m/s], standard error of the median lag. [m]"""
    both = [
        (one.on_late_m, one.off_early_m, one.mean_speed_m_s)
        for one in found.passes
        if one.on_late_m is not None and one.off_early_m is not None and one.mean_speed_m_s
    ]
    late, early, speed = np.array(both).reshape(-1, 3).T
    lag = (late - early) / 2
    return lag, speed, _error(lag) if len(lag) else np.inf


def _opposite(one: Pass, other: Pass) -> bool:
    """Whether two passes were driven in opposite directions."""
    turned = abs(((one.heading_deg or 0.0) - (other.heading_deg or 0.0)) % 360 - 180)
    return turned <= OPPOSITE_DEG


def _on_the_right(one: Pass, other: Pass) -> bool:
    """Whether *other* lies on the right hand of who drives *one*."""
    heading = np.radians(one.heading_deg or 0.0)
    here = one.line.interpolate(0.5, normalized=True)
    there = other.line.interpolate(other.line.project(here))
    return bool((there.x - here.x) * np.cos(heading) - (there.y - here.y) * np.sin(heading) > 0)


def _error(values: FloatArray, least: float = 0.0) -> float:
    """Standard error of the median of *values* that spread by *least* or more."""
    spread = max(MAD_SD * float(np.median(np.abs(values - np.median(values)))), least)
    return SE_MEDIAN * spread / float(np.sqrt(len(values)))
