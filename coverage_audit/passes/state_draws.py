"""What a drive without a boom log leaves open: boom states drawn again and again, and the areas each would leave."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.tolerances import LENGTH_WITHIN

from .model import TAIL, TURN
from .state_tolerances import (
    DOUBT,
    HABIT_MEAN_S,
    HABIT_SD_S,
    LEAST_WEIGHED,
    NINETY_SD,
    SCATTER_SD_S,
    SHARED,
    THROUGH_CHANCE,
    THROUGH_ON,
    VOLUME_SD,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.model import Recall

    from .work_ground import Units
    from .work_state import Segment


@dataclass(frozen=True)
class Tried:
    """Areas of one boom state. [m2] ``by_visits[k]``: target visited k times."""

    by_visits: tuple[float, ...]
    outside: float
    excluded: float
    swept: float

    @classmethod
    def of(cls, units: Units, on: BoolArray, visited: IntArray | None = None) -> Tried:
        """Count the areas with *units* on (n,); *visited* (cells,) if they are known."""
        visits = np.bincount(units.visits(on) if visited is None else visited) * units.cell_m2
        swath = units.swath_m2[on]
        beyond = float(swath @ units.beyond[on])
        kept_dry = float(swath @ (1 - units.inside[on] - units.beyond[on]))
        swept = float(visits @ np.arange(len(visits))) + beyond + kept_dry
        return cls(tuple(visits.tolist()), beyond, kept_dry, swept)

    def figures(self) -> dict[str, float]:
        """Areas by the names that the audit gives them."""
        missed, double = self.by_visits[0], float(sum(self.by_visits[2:]))
        covered = float(sum(self.by_visits[1:]))
        return {
            "missed": missed,
            "double": double,
            "covered": covered,
            "outside": self.outside,
            "excluded_sprayed": self.excluded,
            "swept": self.swept,
            "swept_net": covered + self.outside + self.excluded,
        }


def likeliest(units: Units, found: Sequence[Segment]) -> BoolArray:
    """Whether each unit was on more likely than not, shape (n,)."""
    on = np.zeros(len(units.length_m), bool)
    for one in found:
        on[one.first : one.last] = one.chance > DOUBT
    return on


def drawn(units: Units, found: Sequence[Segment], usual_m_s: float, rng: np.random.Generator) -> BoolArray:
    """One boom state that may have been: which segments were on, and how early or late every switch was, shape (n,).

    What decides a segment is partly its own and partly shared by all of its kind, as a driver's habit is.
    """
    shared = {kind: float(rng.standard_normal()) for kind in SHARED}
    own = rng.standard_normal(len(found)).tolist()
    through = rng.random() < THROUGH_CHANCE
    on = np.zeros(len(units.length_m), bool)
    for one, luck in zip(found, own, strict=True):
        part = SHARED[one.kind]
        chance = max(one.chance, THROUGH_ON) if through and one.kind in (TURN, TAIL) else one.chance
        on[one.first : one.last] = part**0.5 * shared[one.kind] + (1 - part) ** 0.5 * luck < _quantile(chance)
    return switched(units, on, usual_m_s, rng)


@lru_cache(maxsize=10_000)  # the segments of a job keep their chances from draw to draw
def _quantile(chance: float) -> float:
    """Normal number that is undercut with this chance. [1]"""
    return NormalDist().inv_cdf(chance) if 0 < chance < 1 else math.copysign(math.inf, chance - 0.5)


def switched(units: Units, on: BoolArray, usual_m_s: float, rng: np.random.Generator) -> BoolArray:
    """*on* with every switch thrown so much earlier or later as drivers do, shape (n,)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    begin, end = edges[::2], edges[1::2]
    late, early = HABIT_MEAN_S + HABIT_SD_S * rng.standard_normal(2)
    scatter = SCATTER_SD_S * rng.standard_normal((2, len(begin)))
    travel = np.concatenate([[0.0], np.cumsum(units.length_m)])
    first = np.searchsorted(travel, travel[begin] + (late + scatter[0]) * usual_m_s)
    last = np.searchsorted(travel, travel[end] - (early + scatter[1]) * usual_m_s)
    first, last = np.clip(first, 0, len(on)), np.clip(last, 0, len(on))
    moved = np.zeros(len(on) + 1, int)
    np.add.at(moved, first[last > first], 1)
    np.add.at(moved, last[last > first], -1)
    return np.asarray(np.cumsum(moved)[:-1] > 0)


def recalled(
    units: Units, on: BoolArray, recalls: Sequence[Recall], rng: np.random.Generator | None = None
) -> BoolArray:
    """*on* with what was remembered laid over it: as told, or with *rng* as it may have been, shape (n,)."""
    on = on.copy()
    travel = np.cumsum(units.length_m)
    middle = units.time_s.mean(axis=1)
    for one in recalls:
        luck = rng.standard_normal(3) if rng is not None else np.zeros(3)
        start = one.start_s + one.start_within_s / NINETY_SD * luck[0]
        longer = math.exp(LENGTH_WITHIN / NINETY_SD * luck[1])
        end = start + (one.end_s - one.start_s) * longer
        if not one.tied:
            end = one.end_s + one.end_within_s / NINETY_SD * luck[2]
        first, last = np.searchsorted(middle, [start, end])
        if one.length_m is not None and first < len(travel):
            last = np.searchsorted(travel, travel[first] + one.length_m * longer)
        on[first:last] = one.on
    return on


def volume_weights(swept_m2: FloatArray, expected_m2: float | None) -> FloatArray | None:
    """Weight of each draw by how well its swept ground fits what the volume used was enough for; None: not known.

    None, too, when hardly any draw fits (none within two standard deviations): then rate, volume or track is not what
    it seems.
    """
    if expected_m2 is None:
        return None
    weight = np.exp(-(((swept_m2 / expected_m2 - 1) / VOLUME_SD) ** 2) / 2)
    if weight.max() < math.exp(-2) or weight.sum() ** 2 / np.square(weight).sum() < LEAST_WEIGHED:
        return None
    return np.asarray(weight / weight.sum())


def quantile(values: FloatArray, share: float, weight: FloatArray | None) -> float:
    """Value below which *share* of the draws lie."""
    order = np.argsort(values)
    weight = np.full(len(values), 1 / len(values)) if weight is None else weight
    below = np.cumsum(weight[order]) - weight[order] / 2
    return float(np.interp(share, below, values[order]))


def noise_shown(mean_m: float, sd_logged_m: float, sd_m: float, width_m: float, length_m: float) -> tuple[float, float]:
    """Missed and double area that only the noise of the fixes shows between passes. [m2]

    The gap between two swaths is taken as normal, with and without the noise: E max(0, N(m, s)) =
    s phi(m/s) + m Phi(m/s).

    Parameters
    ----------
    mean_m, sd_logged_m, sd_m : float
        Spacing: mean, and standard deviation with and without noise. [m]
    length_m : float
        Length over which passes run side by side. [m]
    """
    gap = mean_m - width_m
    extra = [_mean_excess(sign * gap, sd_logged_m) - _mean_excess(sign * gap, sd_m) for sign in (1.0, -1.0)]
    return extra[0] * length_m, extra[1] * length_m


def _mean_excess(mean: float, sd: float) -> float:
    """Mean of what a normal value has above zero."""
    if sd <= 0:
        return max(mean, 0.0)
    ratio = mean / sd
    density = float(np.exp(-(ratio**2) / 2) / np.sqrt(2 * np.pi))
    share = (1 + math.erf(ratio / math.sqrt(2))) / 2
    return sd * density + mean * share
