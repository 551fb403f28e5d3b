"""Where antenna and fixed axle stood when nobody said: by when the boom was switched, and by custom."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.standing import Spread

from .offsets import beside, lags
from .tolerances import (
    ANTENNA_AHEAD_M,
    ANTENNA_BESIDE_M,
    AXLE_PLACES,
    BOOM_BEHIND_AXLE_M,
    GUIDED_BESIDE_M,
    HAND_BESIDE_M,
    HAND_LATE_S,
    MOST_AXLE_M,
    OFFSET_TOLD_OF,
    PLACES_TO_SIDE,
    SPACINGS_SPREAD_M,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.jobs.settings import BoomSettings
    from coverage_audit.passes.model import PassResult


@dataclass(frozen=True)
class Law:
    """A normal law: mean and standard deviation. [m]"""

    mean_m: float
    sd_m: float

    def at(self, share: float) -> float:
        """Quantile. [m]"""
        from statistics import NormalDist  # noqa: PLC0415 - needed by few jobs

        return NormalDist(self.mean_m, self.sd_m).inv_cdf(share) if self.sd_m else self.mean_m

    def with_seen(self, seen_m: float, doubt_m: float) -> Law:
        """What is left of it after a measurement good to *doubt_m* (two normal laws combined, textbook). [m]"""
        weight = self.sd_m**2 / (self.sd_m**2 + doubt_m**2)
        return Law(self.mean_m + weight * (seen_m - self.mean_m), doubt_m * weight**0.5)


def widest(laws: Sequence[Law]) -> Spread | None:
    """Median of the first law and the range that holds nine in ten of each [m]; None where nothing is open."""
    if not any(one.sd_m for one in laws):
        return None
    return Spread(laws[0].mean_m, min(one.at(0.05) for one in laws), max(one.at(0.95) for one in laws))


@dataclass(frozen=True)
class AntennaPlace:
    """How far ahead of the boom, and to the right of its middle, the antenna probably stood."""

    ahead: Law
    right: Law


def antenna_place(
    boom: BoomSettings, found: PassResult | None, *, by_receiver: bool, switched: bool
) -> AntennaPlace | None:
    """Where the antenna stood, by custom and by the passes *found*; None where it is stated.

    *by_receiver*: the driver steered by it, so that its own spacings are even wherever it stood.
    *switched*: on-times are a switch's. Those made from where the antenna went follow it, and say nothing of its place.
    """
    if boom.antenna_ahead_m is not None:
        return None
    ahead = _ahead(boom, found) if switched else Law(0.0, 0.0)
    stated = Law(boom.antenna_right_m, 0.0) if boom.antenna_right_m else None
    return AntennaPlace(ahead, stated or _right(found, by_receiver=by_receiver))


def _ahead(boom: BoomSettings, found: PassResult | None) -> Law:
    """An antenna *a* ahead of a boom that is taken to be below it makes every switching look late by *a*, on and off.

    A hand on a switch is late too, by its reaction: what is left is the antenna (no source).
    """
    middle, sd = ANTENNA_AHEAD_M
    usual = Law(middle + boom.towed_m, sd)
    lag, speed, error = lags(found) if found is not None else (np.empty(0), np.empty(0), np.inf)
    if len(lag) < OFFSET_TOLD_OF:
        return usual
    pace, (late, about) = float(np.median(speed)), HAND_LATE_S
    return usual.with_seen(float(np.median(lag)) - late * pace, float(np.hypot(about * pace, error)))


def _right(found: PassResult | None, *, by_receiver: bool) -> Law:
    """An antenna beside the boom's middle parts the spacings to one hand from those to the other (no source).

    So does a driver who holds the boom to one side.
    """
    if by_receiver:
        return Law(0.0, GUIDED_BESIDE_M)
    seen = beside(found, 1, SPACINGS_SPREAD_M) if found is not None else None
    law = Law(0.0, ANTENNA_BESIDE_M)
    return law if seen is None else law.with_seen(seen[0], float(np.hypot(seen[1], HAND_BESIDE_M)))


def likely_boom(boom: BoomSettings, place: AntennaPlace | None) -> BoomSettings:
    """*boom* as it probably hung."""
    if place is None:
        return boom
    return replace(boom, antenna_ahead_m=place.ahead.mean_m, antenna_right_m=place.right.mean_m)


def possible_booms(boom: BoomSettings, place: AntennaPlace | None) -> tuple[BoomSettings, ...]:
    """*boom* by each place that antenna and fixed axle may have, each as likely; none where both are known."""
    if place is None:
        return tuple(replace(boom, axle_behind_antenna_m=behind) for behind in axle_places(boom))
    share = [(k + 0.5) / len(PLACES_TO_SIDE) for k in range(len(PLACES_TO_SIDE))]
    placed = [
        replace(boom, antenna_ahead_m=place.ahead.at(one), antenna_right_m=place.right.at(share[other]))
        for one, other in zip(share, PLACES_TO_SIDE, strict=True)
    ]
    return tuple(_with_an_axle(one, k) for k, one in enumerate(placed))


def axle_places(boom: BoomSettings) -> tuple[float, ...]:
    """Places behind the antenna that the axle may have, each as likely; none where it is stated or cannot be told. [m]

    A boom behind the antenna hangs behind the axle, one ahead of it leaves the axle behind.
    """
    ahead = boom.antenna_ahead_m
    if boom.axle_behind_antenna_m is not None or boom.towed_m or not ahead:
        return ()
    most = MOST_AXLE_M if ahead < 0 else min(ahead - BOOM_BEHIND_AXLE_M, MOST_AXLE_M)
    return tuple(most * (k + 0.5) / AXLE_PLACES for k in range(AXLE_PLACES)) if most > 0 else ()


def _with_an_axle(boom: BoomSettings, number: int) -> BoomSettings:
    """*boom* with one of the places that its axle may have: near and far ones in turns, whatever the antenna's."""
    places = axle_places(boom)
    return replace(boom, axle_behind_antenna_m=places[3 * number % len(places)]) if places else boom
