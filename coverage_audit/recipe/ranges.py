"""The part of the recipe that tells how far areas may be off when the boom's state was assumed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.accuracy.draws import narrow_enough
from coverage_audit.accuracy.model import Figure
from coverage_audit.passes.model import Range
from coverage_audit.passes.state_draws import Tried, noise_shown, quantile, volume_weights
from coverage_audit.passes.state_tolerances import EXACT_SWITCHING, RANGE_MARGIN, RANGE_TAILS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.accuracy.model import Accuracy, RegimeResult
    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.jobs.job import Job
    from coverage_audit.passes.work_ground import Units

    from .result import Audit

NINETY_SIDE = 1.645
"""Half the width of a normal range of nine in ten, in standard deviations. [1]"""

CELLS_AT_ONCE = 500_000
"""Cells of boom states that are counted together: some megabytes. [1]"""


@dataclass(frozen=True)
class Ranges:
    """Range of each area over boom states and, where it was worked out, the receiver's error.

    ``off_m2`` (draws,) is by how much each boom state alone differs from the likeliest one; ``weight`` (draws,) or
    None; ``bare`` (cells,): share of the draws that leave each cell missed.
    """

    areas: Mapping[str, Range | tuple[Range, ...]]
    off_m2: Mapping[str, FloatArray]
    weight: FloatArray | None
    bare: FloatArray
    draws: int

    @property
    def weighed(self) -> bool:
        """Whether the volume used had a say."""
        return self.weight is not None


def ranges_over(
    audit: Audit, units: Units, base: BoolArray, states: Sequence[BoolArray], rng: np.random.Generator
) -> Ranges:
    """Range of each area that the draws count: what they add to or take off the likeliest state, put on its figure.

    Parameters
    ----------
    base : array of shape (n,)
        The likeliest boom state of each unit, which the audit counted.
    states : sequence of arrays of shape (n,)
        Boom states drawn.
    """
    mine, tried, bare = Tried.of(units, base), [], np.zeros(units.cells)
    at_once = max(CELLS_AT_ONCE // max(units.cells, 1), 1)
    for first in range(0, len(states), at_once):
        some = np.array(states[first : first + at_once])
        visits = units.visits(some)
        bare += (visits == 0).sum(axis=0)
        tried += [Tried.of(units, *each) for each in zip(some, visits, strict=True)]
    weight = volume_weights(np.array([one.swept for one in tried]), _expected_m2(audit.job))
    figures = [one.figures() for one in tried]
    off = {name: np.array([one[name] for one in figures]) - was for name, was in mine.figures().items()}
    areas = _areas(audit, off, weight, rng)
    areas["by_visits"] = _by_visits(audit, mine, tried, weight)
    return Ranges(areas, off, weight, bare / max(len(states), 1), len(states))


def _expected_m2(job: Job) -> float | None:
    """Ground that the volume used was enough for at the wanted rate, if both are known. [m2]"""
    rate = job.settings.rate
    if rate.applied_l is None or not rate.target_l_ha:
        return None
    return rate.applied_l / rate.target_l_ha * 1e4


def _areas(
    audit: Audit, off: Mapping[str, FloatArray], weight: FloatArray | None, rng: np.random.Generator
) -> dict[str, Range | tuple[Range, ...]]:
    areas = audit.area_m2
    ranges: dict[str, Range | tuple[Range, ...]] = {
        name: Range(getattr(areas, name), getattr(areas, name)) for name in ("field", "target")
    }
    shown = {"missed": 0.0, "double": 0.0}
    if audit.accuracy is None:
        shown = dict(zip(shown, _shown_by_noise(audit), strict=True))
    for name, column in off.items():
        joint = column
        if audit.accuracy is not None and name in shown:
            joint = column + _receiver(getattr(audit.accuracy, f"{name}_m2"), len(column), rng)
        most = areas.target if name in ("missed", "double", "covered") else np.inf
        less = EXACT_SWITCHING if name == "double" else 0.0
        ranges[name] = _range(getattr(areas, name), joint, weight, shown.get(name, 0.0), most, less)
    missed = ranges["missed"]
    if isinstance(missed, Range):  # the target is either covered or missed
        ranges["covered"] = Range(areas.target - missed.high, areas.target - missed.low)
    return ranges


def _by_visits(audit: Audit, mine: Tried, tried: Sequence[Tried], weight: FloatArray | None) -> tuple[Range, ...]:
    areas = audit.area_m2
    deepest = max(len(areas.by_visits), *(len(one.by_visits) for one in (mine, *tried)))
    levels = np.array([_padded(one.by_visits, deepest) for one in (mine, *tried)])
    figures = _padded(areas.by_visits, deepest)
    return tuple(
        _range(figure, levels[1:, k] - levels[0, k], weight, 0.0, areas.target) for k, figure in enumerate(figures)
    )


def _padded(values: Sequence[float], count: int) -> tuple[float, ...]:
    return (*values, *[0.0] * (count - len(values)))


def _receiver(found: Figure, count: int, rng: np.random.Generator) -> FloatArray:
    """By how much the receiver's error may put a figure off: half a normal law to either side of its estimate. [m2]

    Each half is as wide as its side of the range, which is seldom even.
    """
    middle = (found.low90 + found.high90) / 2 if found.estimate is None else found.estimate
    luck = rng.standard_normal(count)
    side = np.where(luck < 0, middle - found.low90, found.high90 - middle) / NINETY_SIDE
    return np.asarray(middle - found.observed + side * luck)


def _range(
    figure: float, off: FloatArray, weight: FloatArray | None, shown_m2: float, most: float, less: float = 0.0
) -> Range:
    """Range about *figure*, which lies in it; *off* is what the draws differ by, *shown_m2* what only noise shows.

    The share *less* of the figure is what no draw takes off it, and a driver may.
    """
    low, high = (figure + quantile(off, share, weight) for share in (RANGE_TAILS, 1 - RANGE_TAILS))
    low = min(low, figure) - (RANGE_MARGIN + less) * figure - shown_m2
    high = max(high, figure) + RANGE_MARGIN * figure
    return Range(max(low, 0.0), min(high, most))


def _shown_by_noise(audit: Audit) -> tuple[float, float]:
    result = audit.passes
    if result is None or result.steering.spacing_mean_m is None:
        return 0.0, 0.0
    steering = result.steering
    width = audit.job.settings.boom.width_m
    logged, real = steering.spacing_sd_logged_m or 0.0, steering.spacing_sd_m or 0.0
    # headland laps lie beside each other and beside the edge as passes do
    return noise_shown(steering.spacing_mean_m or width, logged, real, width, audit.distance_on_m)


# --- joined with the receiver's error -----------------------------------------------------------------


def with_state(audit: Audit, ranges: Ranges, units: Units) -> Audit:
    """*audit* whose accuracy holds the boom's state, too: figures, and the chance of each missed strip."""
    if audit.accuracy is None:
        return audit
    chances = _chances(audit, ranges, units)
    accuracy = audit.accuracy
    by_regime = {}
    for name, one in accuracy.by_regime.items():
        missed, double, covered = _joined(audit, one, ranges)
        chance = _both(one.probability, chances)
        by_regime[name] = replace(one, missed_m2=missed, double_m2=double, covered_m2=covered, probability=chance)
    missed, double, covered = _joined(audit, accuracy, ranges)
    chance = _both(accuracy.probability, chances)
    joint = replace(
        accuracy, missed_m2=missed, double_m2=double, covered_m2=covered, probability=chance, by_regime=by_regime
    )
    strips = tuple(
        strip if strip.probability is None else replace(strip, probability=strip.probability * chance)
        for strip, chance in zip(audit.missed_strips, chances, strict=True)
    )
    return replace(audit, accuracy=joint, missed_strips=strips)


def _joined(audit: Audit, found: Accuracy | RegimeResult, ranges: Ranges) -> list[Figure]:
    """Missed, double and covered ground by one regime, or by all, with the boom's state in them."""
    target = audit.area_m2.target
    rng = np.random.default_rng(ranges.draws)  # the same luck for every regime
    figures = []
    for name, own in (("missed", found.missed_m2), ("double", found.double_m2)):
        off = ranges.off_m2[name]
        joint = _range(own.observed, off + _receiver(own, len(off), rng), ranges.weight, 0.0, target)
        all_told = ranges.areas[name]
        if own is getattr(audit.accuracy, f"{name}_m2") and isinstance(all_told, Range):
            joint = all_told  # the same figure is told in one way only
        middle = own.observed if own.estimate is None else own.estimate
        estimate = min(max(middle + quantile(off, 0.5, ranges.weight), joint.low), joint.high)
        told = own.told and narrow_enough(joint.low, joint.high, estimate, target)
        estimated = None if own.estimate is None else estimate
        figures.append(Figure(own.observed, estimated, joint.low, joint.high, told=told))
    missed = figures[0]
    least, most = target - missed.high90, target - missed.low90
    covered = None if missed.estimate is None else target - missed.estimate
    return [*figures, Figure(found.covered_m2.observed, covered, least, most, told=missed.told)]


def _chances(audit: Audit, ranges: Ranges, units: Units) -> list[float]:
    """Share of the draws that leave the middle of each missed strip missed."""
    if not audit.missed_strips:
        return []
    places = shapely.get_coordinates([strip.label_point for strip in audit.missed_strips])
    cell = units.grid.cells_at(*places.T)
    return np.where(cell >= 0, ranges.bare[np.maximum(cell, 0)], 1.0).tolist()


def _both(receiver: Sequence[float], state: Sequence[float]) -> tuple[float, ...]:
    return tuple(a * b for a, b in zip(receiver, state, strict=True))
