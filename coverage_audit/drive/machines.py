"""Whether a log holds two machines at once: it is in two places at the same time, and no way can be told from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError

from .tolerances import ALONE_S, MAX_SPEED_M_S, OTHER_DRIVES_M_S, TWO_PLACES_M, TWO_PLACES_S, TWO_PLACES_SHARE

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray


def refuse_two_machines(
    time_s: FloatArray, x_m: FloatArray, y_m: FloatArray, fixes: tuple[IntArray, IntArray], file: str
) -> None:
    """Refuse a log that is in two places at the same time for long.

    Parameters
    ----------
    time_s, x_m, y_m : arrays of shape (n,)
        All fixes in file order. [s], [m]
    fixes : tuple of arrays of int
        Indices of those that a log may be made of, and of those in time order that were taken.

    Raises
    ------
    InputError
        With how far apart the two places are.
    """
    given, kept = fixes
    kept = kept[np.isfinite(x_m[kept])]
    other = np.zeros(len(time_s), bool)
    other[given] = True
    other[kept] = False
    left = np.flatnonzero(other & np.isfinite(x_m))
    if len(kept) < 2:
        return
    apart = _beside_way(time_s, x_m, y_m, kept, left)
    if not _long_enough(apart, time_s[kept], len(given)):
        apart = _to_and_fro(time_s[kept], x_m[kept], y_m[kept])
        if not _long_enough(apart, time_s[kept], len(kept)):
            return
    raise InputError(
        f"it is in two places at the same times, usually {np.median(apart):.0f} m apart: two machines are in it, or "
        "its clock was set back; give each machine's log as a file of its own, and a job to each",
        file,
    )


def _long_enough(apart_m: FloatArray, time_s: FloatArray, count: int) -> bool:
    """Whether so many fixes lie beside the way that no fault of a clock or of a receiver explains it."""
    step = float(np.median(np.diff(time_s)))
    return len(apart_m) * step >= TWO_PLACES_S and len(apart_m) >= TWO_PLACES_SHARE * count


def _beside_way(time_s: FloatArray, x_m: FloatArray, y_m: FloatArray, kept: IntArray, left: IntArray) -> FloatArray:
    """How far each of the fixes *left* lies from where the others are at its moment, those that lie far. [m]"""
    after = np.searchsorted(time_s[kept], time_s[left])
    inside = (after > 0) & (after < len(kept))
    left, after = left[inside], after[inside]
    left = left[time_s[kept][after] - time_s[kept][after - 1] < ALONE_S]
    x, y = (np.interp(time_s[left], time_s[kept], one[kept]) for one in (x_m, y_m))
    away = np.hypot(x_m[left] - x, y_m[left] - y)
    return away[away > TWO_PLACES_M]


def _to_and_fro(time_s: FloatArray, x_m: FloatArray, y_m: FloatArray) -> FloatArray:
    """Lengths of jumps to another place and back, each with its way on as if there had been no jump. [m]"""
    if len(time_s) < 4:
        return np.zeros(0)
    out = np.hypot(np.diff(x_m), np.diff(y_m))
    over = np.hypot(x_m[2:] - x_m[:-2], y_m[2:] - y_m[:-2])
    quick = out > TWO_PLACES_M + MAX_SPEED_M_S * np.diff(time_s)
    there = np.flatnonzero(quick[:-1] & quick[1:] & (over < np.minimum(out[:-1], out[1:]) / 2))
    other = there + 1
    if len(other) > 1 and np.median(np.diff(other)) == 1:  # both in turn: every second is the other's
        other = other[::2]
    if len(other) < 2:
        return np.zeros(0)
    pace = np.hypot(np.diff(x_m[other]), np.diff(y_m[other])) / np.diff(time_s[other])
    driven = np.median(pace) > OTHER_DRIVES_M_S and np.quantile(pace, 0.9) < MAX_SPEED_M_S
    return out[there] if driven else np.zeros(0)
