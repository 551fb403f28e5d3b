"""Whether the clock of the boom's on-times runs with that of the track: told from where the machine turned."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .tolerances import (
    CLOCK_CLEAR,
    CLOCK_FITS,
    CLOCK_GAIN,
    CLOCK_MINUTES,
    CLOCK_MISFITS,
    CLOCK_MOST_S,
    CLOCK_PAUSE_S,
    CLOCK_QUARTERS,
    CLOCK_STEP_S,
    CLOCK_STRAIGHT_RAD,
    CLOCK_WINDOW_S,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.drive.model import BoomPath, Timeline


def clock_shift_s(path: BoomPath, timeline: Timeline, inside: BoolArray) -> float | None:
    """By how much the on-times fit the drive better when they are moved; None where they fit, or nothing fits. [s]

    A boom is on along passes and off while turning and outside the field. Moved by whole quarters of an hour (a time
    zone, daylight saving) and by whole minutes, the on-times are held against that by the phi coefficient (Pearson's
    correlation of two yes-and-no series, textbook).

    Parameters
    ----------
    inside : array of shape (n,)
        Whether each point of the path lies in the field.
    """
    grid = _moments(path.time_s)
    if len(grid) < 2:
        return None
    at = np.clip(np.searchsorted(path.time_s, grid), 0, len(path.time_s) - 1)
    ends = [np.interp(grid + side * CLOCK_WINDOW_S / 2, path.time_s, path.heading_rad) for side in (-1, 1)]
    working = inside[at] & (np.abs(ends[1] - ends[0]) < CLOCK_STRAIGHT_RAD)
    shifts = sorted({0.0, *(900.0 * k for k in CLOCK_QUARTERS), *(60.0 * k for k in CLOCK_MINUTES)}, key=abs)
    fits = [_fit(grid, timeline, shift, working) for shift in shifts]
    best = int(np.argmax(fits))
    if fits[0] > CLOCK_MISFITS or fits[best] < CLOCK_FITS or fits[best] < fits[0] + CLOCK_GAIN:
        return None
    # passes that are all alike fit as well one pass later: then nothing is told
    rivals = [fit for shift, fit in zip(shifts, fits, strict=True) if shift != shifts[best]]
    return shifts[best] if fits[best] >= max(rivals) + CLOCK_CLEAR else None


def _moments(time_s: FloatArray) -> FloatArray:
    """Moments ``CLOCK_STEP_S`` apart, none in a long pause; none at all where they would be too many. [s]"""
    cuts = np.flatnonzero(np.diff(time_s) > CLOCK_PAUSE_S) + 1
    begins, ends = time_s[np.append(0, cuts)], time_s[np.append(cuts - 1, len(time_s) - 1)]
    if (ends - begins).sum() > CLOCK_MOST_S:
        return np.empty(0)
    return np.concatenate([np.arange(begin, end, CLOCK_STEP_S) for begin, end in zip(begins, ends, strict=True)])


def _fit(grid: FloatArray, timeline: Timeline, shift_s: float, working: BoolArray) -> float:
    """Correlation of the on-times, moved by *shift_s*, with the work; 0 where there is none. [1]"""
    begun = np.searchsorted(timeline.start_s + shift_s, grid, side="right")
    over = np.searchsorted(timeline.end_s + shift_s, grid, side="right")
    on = begun > over
    if on.all() or not on.any() or working.all() or not working.any():
        return 0.0
    return float(np.corrcoef(on, working)[0, 1])
