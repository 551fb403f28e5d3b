"""Jumps sideways that no vehicle makes: a receiver that changed its satellites, or took a wrong fix.

From one fix to the next the way goes on as before, beside itself. The third difference of the fixes across the way then
goes J, -2 J, J; a vehicle that swerves turns while it does so. After a jump the error is another one: it is carried
through as if time had passed meanwhile, as much as makes a wandering error differ by so much.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .tolerances import (
    CLASS_OF_QUALITY,
    CLASSES,
    JUMP_ALIKE,
    JUMP_LEAST_M,
    JUMP_LEAST_SPEED_M_S,
    JUMP_MOST_FORGOTTEN,
    JUMP_MOST_STEP_S,
    JUMP_SPREADS,
    JUMP_TURN_RAD,
    LEAST_DIFFERENCES,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.drive.model import Track

    from .model import ErrorModel


@dataclass(frozen=True, eq=False)
class Jumps:
    """Jumps between a fix and the next: number of the fix before, and how far sideways, shape (k,). [m]

    ``fixed_m``: the farthest of those between two fixes that are marked RTK fixed, 0 when there is none. [m]
    """

    before: IntArray
    size_m: FloatArray
    fixed_m: float


NONE = Jumps(np.empty(0, int), np.empty(0), 0.0)


def jumps_of(track: Track) -> Jumps:
    """Jumps of *track* while it was driven straight on; none where fixes are too far apart to tell them from a turn."""
    if not 0 < track.median_step_s <= JUMP_MOST_STEP_S or len(track.x_m) < LEAST_DIFFERENCES:
        return NONE
    place = track.x_m + 1j * track.y_m
    step = np.diff(place)
    # six fixes: two steps before the one in question, itself, and two after
    before, after = step[:-4] + step[1:-3], step[3:-1] + step[4:]
    along = (before + after) / np.maximum(np.abs(before + after), 1e-9)
    third = np.diff(place, n=3)
    across = [(third[k : len(third) - 2 + k] * along.conj()).imag for k in range(3)]
    size = np.abs(across[1]) / 2
    fit = np.abs(np.angle(after * before.conj())) <= JUMP_TURN_RAD
    fit &= np.minimum(np.abs(before), np.abs(after)) >= 2 * JUMP_LEAST_SPEED_M_S * track.median_step_s
    even = np.abs(np.diff(track.time_s) - track.median_step_s) < track.median_step_s / 2
    even &= ~track.gap_after[:-1]
    fit &= np.all([even[k : len(even) - 4 + k] for k in range(5)], axis=0)
    usual = 1.4826 * float(np.median(size[fit])) if fit.any() else 0.0
    least = max(JUMP_LEAST_M, JUMP_SPREADS * usual)
    for side in (across[0], across[2]):  # of a lone jump half as large and the other way
        fit &= np.abs(2 * side + across[1]) <= JUMP_ALIKE * np.abs(across[1])
    found = np.flatnonzero(fit & (size >= least))
    fixed = np.array([CLASS_OF_QUALITY.get(code, 0) for code in track.quality.tolist()]) == len(CLASSES) - 1
    right = fixed[found + 2] & fixed[found + 3]
    return Jumps(found + 2, size[found], float(size[found][right].max(initial=0.0)))


def with_jumps(error: ErrorModel, jumps: Jumps) -> ErrorModel:
    """*error* on a clock of its own that goes on by more between the fixes of each jump; read :func:`clock_s` by it.

    A first-order Gauss-Markov error changes within t by sigma sqrt(2 (1 - exp(-t / T))) (Gelb 1974, section 3.8, from
    memory); t is the time that makes this the jump.
    """
    if not len(jumps.before):
        return error
    sigma = np.maximum(error.sigma_m[jumps.before], 1e-9)
    forgotten = np.minimum(np.square(jumps.size_m / sigma) / 2, JUMP_MOST_FORGOTTEN)
    more = np.zeros(len(error.time_s))
    np.add.at(more, jumps.before + 1, -error.time_constant_s * np.log1p(-forgotten))
    return replace(error, time_s=error.time_s + np.cumsum(more))


def clock_s(time_s: FloatArray, track: Track, error: ErrorModel) -> FloatArray:
    """*time_s* on the clock of *error*. [s]"""
    return np.interp(time_s, track.time_s, error.time_s) if len(track.time_s) > 1 else time_s
