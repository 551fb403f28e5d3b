"""Where antenna and fixed axle stood when nobody said: by when the boom was switched, and by custom."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.standing import Spread

from .offsets import lags
from .tolerances import (
    ANTENNA_AHEAD_M,
    ANTENNA_PLACES,
    AXLE_PLACES,
    BOOM_BEHIND_AXLE_M,
    HAND_LATE_S,
    MOST_AXLE_M,
    OFFSET_TOLD_OF,
)

if TYPE_CHECKING:
    from coverage_audit.jobs.settings import BoomSettings
    from coverage_audit.passes.model import PassResult


@dataclass(frozen=True)
class AntennaPlace:
    """How far ahead of the boom the antenna probably stood: a normal law, mean and standard deviation. [m]"""

    mean_m: float
    sd_m: float

    def at(self, share: float) -> float:
        """Quantile. [m]"""
        from statistics import NormalDist  # noqa: PLC0415 - needed by few jobs

        return NormalDist(self.mean_m, self.sd_m).inv_cdf(share)

    @property
    def spread(self) -> Spread:
        """Median and the range that holds nine in ten. [m]"""
        return Spread(self.mean_m, self.at(0.05), self.at(0.95))


def antenna_place(boom: BoomSettings, found: PassResult | None) -> AntennaPlace | None:
    """Where the antenna stood, by custom and by the switching of the passes *found*; None where it is stated.

    An antenna *a* ahead of a boom that is taken to be below it makes every switching look late by *a*, on and off. A
    hand on a switch is late too, by its reaction: what is left is the antenna (two normal laws combined, textbook).
    """
    if boom.antenna_ahead_m is not None:
        return None
    middle, sd = ANTENNA_AHEAD_M
    usual = AntennaPlace(middle + boom.towed_m, sd)
    lag, speed, error = lags(found) if found is not None else (np.empty(0), np.empty(0), np.inf)
    if len(lag) < OFFSET_TOLD_OF:
        return usual
    pace, (late, about) = float(np.median(speed)), HAND_LATE_S
    seen, doubt = float(np.median(lag)) - late * pace, float(np.hypot(about * pace, error))
    weight = usual.sd_m**2 / (usual.sd_m**2 + doubt**2)
    return AntennaPlace(usual.mean_m + weight * (seen - usual.mean_m), doubt * weight**0.5)


def likely_boom(boom: BoomSettings, place: AntennaPlace | None) -> BoomSettings:
    """*boom* as it probably hung."""
    return boom if place is None else replace(boom, antenna_ahead_m=place.mean_m)


def possible_booms(boom: BoomSettings, place: AntennaPlace | None) -> tuple[BoomSettings, ...]:
    """*boom* by each place that antenna and fixed axle may have, each as likely; none where both are known."""
    if place is None:
        return tuple(replace(boom, axle_behind_antenna_m=behind) for behind in axle_places(boom))
    aheads = [place.at((k + 0.5) / ANTENNA_PLACES) for k in range(ANTENNA_PLACES)]
    return tuple(_with_an_axle(replace(boom, antenna_ahead_m=ahead), k) for k, ahead in enumerate(aheads))


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
