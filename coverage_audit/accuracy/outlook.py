"""One look before the season: the smallest skip that can be told, by class of receiver and way of steering.

Worked out as in an audit, for a plain job that nobody has driven yet: passes side by side, each begun where the one
before ended, errors and habits as they are expected before any log has spoken. A log of one's own tells more.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.jobs.settings import GUIDED, HAND

from .gaps.particles import Known, draw_particles
from .gaps.posterior import Seen, smallest_skip
from .model import ErrorModel, Gaps
from .strips import sure_sigmas
from .tolerances import (
    CLASS_NOISE_M,
    CLASS_SHORT_M,
    CLASS_SIGMA_LOG_SD,
    CLASS_SIGMA_M,
    CLASS_TIME_LOG_SD,
    CLASS_TIME_S,
    CLASSES,
    OUTLOOK_PARTICLES,
    OUTLOOK_PASS_M,
    OUTLOOK_PASSES,
    OUTLOOK_SPEED_M_S,
    OUTLOOK_STEP_M,
    OUTLOOK_TURN_S,
    SKIP_LENGTH_M,
    STATED_LOG_SD,
    USUAL_AHEAD_M,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray

    from .standing import Standing

SEED = 20260530
"""The same table each time."""

NINETY = 3.29
"""Width of a normal range of nine in ten, in standard deviations. [1]"""

JOB_S = np.array([0.0, OUTLOOK_PASSES * (OUTLOOK_PASS_M / OUTLOOK_SPEED_M_S + OUTLOOK_TURN_S)])
"""Begin and end of the plain job. [s]"""


def outlook(least_m: float) -> dict[str, dict[str, float | None]]:
    """Smallest skip by class of fix and steering; *least_m*: narrower ones are not listed anyway. [m]"""
    return {name: skips_with(expected_error(number), least_m) for number, name in enumerate(CLASSES)}


def skips_with(error: ErrorModel, least_m: float) -> dict[str, float | None]:
    """Smallest skip that a receiver with this *error* can tell, by steering. [m]"""
    gaps, rng = plain_gaps(), np.random.default_rng(SEED)
    particles, _ = draw_particles(Known.of(None, error, 0.0, ()), OUTLOOK_PARTICLES, rng)
    seen = Seen.of(gaps, error, error.noise_m)
    wanted = (SKIP_LENGTH_M, least_m, sure_sigmas(float(np.median(error.sigma_m))))
    return {way: smallest_skip(seen, particles, wanted, by_hand=way == HAND) for way in (HAND, GUIDED)}


def measured_error(found: Standing) -> ErrorModel | None:
    """Error of a receiver that was measured standing; None when that was not enough."""
    if not found.enough or found.sigma_m is None or found.time_constant_s is None or found.noise_m is None:
        return None
    sigma = found.sigma_m
    return ErrorModel(
        JOB_S,
        np.full(2, sigma.best),
        found.noise_m.best,
        found.time_constant_s.best,
        0.0,
        "",
        "measured",
        short_m=found.noise_m.best,
        sigma_log_sd=float(np.log(sigma.high90 / sigma.low90)) / NINETY,
        time_log_sd=STATED_LOG_SD,
    )


def expected_error(number: int) -> ErrorModel:
    """Error of a receiver of class *number* before anything is known of it."""
    return ErrorModel(
        JOB_S,
        np.full(2, CLASS_SIGMA_M[number]),
        CLASS_NOISE_M[number],
        CLASS_TIME_S[number],
        0.0,
        CLASSES[number],
        "",
        short_m=CLASS_SHORT_M[number],
        sigma_log_sd=CLASS_SIGMA_LOG_SD[number],
        time_log_sd=CLASS_TIME_LOG_SD[number],
    )


def plain_gaps() -> Gaps:
    """Gaps between passes of a plain job, as a driver leaves them (spread as far as his switching), there and back."""
    at = np.arange(OUTLOOK_STEP_M / 2, OUTLOOK_PASS_M, OUTLOOK_STEP_M)
    count, number = len(at), np.arange(1, OUTLOOK_PASSES)
    begin_s = OUTLOOK_PASS_M / OUTLOOK_SPEED_M_S + OUTLOOK_TURN_S
    gap = USUAL_AHEAD_M * np.random.default_rng(SEED).standard_normal(count * len(number))
    own_s = (number[:, None] * begin_s + at / OUTLOOK_SPEED_M_S).ravel()
    other_s = ((number[:, None] - 1) * begin_s + (OUTLOOK_PASS_M - at) / OUTLOOK_SPEED_M_S).ravel()
    own_m, other_m = (_travel(number - back, at if not back else OUTLOOK_PASS_M - at) for back in (0, 1))
    side = np.where(np.repeat(number, count) % 2, 1.0, -1.0)
    size = len(gap)
    return Gaps(
        gap_m=gap,
        normal=np.column_stack([-np.ones(size), np.zeros(size)]),
        kind=np.zeros(size, int),
        own_s=own_s,
        other_s=other_s,
        own_travel_m=own_m,
        other_travel_m=other_m,
        own_lean=side,
        other_lean=-side,
        own_stretch=np.repeat(number, count),
        other_stretch=np.repeat(number - 1, count),
    )


def _travel(number: IntArray, at_m: FloatArray) -> FloatArray:
    """Travel at *at_m* along each of the passes *number*. [m]"""
    return np.asarray((number[:, None] * OUTLOOK_PASS_M + at_m).ravel())
