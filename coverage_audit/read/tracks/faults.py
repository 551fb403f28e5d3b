"""Which fixes of a log cannot be used, and what to say when none is left.

The one rule for every reader of tracks; each fix is counted under the first reason that holds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NoReturn

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.read.tolerances import EARLIEST_TIME_S, LAST_YEAR, LATEST_TIME_S

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.arrays import BoolArray, FloatArray

ADVICE = {
    "no_position": "has no valid position: log again once the receiver has a fix",
    "out_of_range": "lies outside latitude -90..90, longitude -180..360: check the program that wrote the file",
    "zero_position": "is exactly 0, 0: the receiver had no fix, log again once it has one",
    "no_time": "has no time: export or log the track with times",
    "time_out_of_range": f"has a time outside the years 1900 to {LAST_YEAR}: check the clock of the logger",
}
"""Reasons in the order they are tried, and what a log with nothing else is told."""

RARE = frozenset({"time_out_of_range"})
"""Reasons that are told only where they occur."""


def out_of_range(lat_deg: FloatArray, lon_deg: FloatArray) -> BoolArray:
    """Whether each position lies off the globe's coordinates; False for NaN. Shapes (n,)."""
    return (np.abs(lat_deg) > 90.0) | (lon_deg < -180.0) | (lon_deg > 360.0)


def within_turn(lon_deg: FloatArray) -> FloatArray:
    """Longitudes, those of the 0..360 convention (beyond 180, up to 360) as they are west of Greenwich. [deg]

    The others, NaN too, stay as they are. Shape (n,), a turn taken off (textbook).
    """
    return np.where((lon_deg > 180.0) & (lon_deg <= 360.0), lon_deg - 360.0, lon_deg)


def zero_position(lat_deg: FloatArray, lon_deg: FloatArray) -> BoolArray:
    """Whether each position is exactly 0, 0, which receivers send without a fix. Shapes (n,)."""
    return np.equal(lat_deg, 0.0) & np.equal(lon_deg, 0.0)


def time_out_of_range(time_s: FloatArray) -> BoolArray:
    """Whether each time lies before or after all that a log can be of; False for NaN. Shapes (n,)."""
    return (time_s < EARLIEST_TIME_S) | (time_s >= LATEST_TIME_S)


def find_faults(time_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray) -> tuple[BoolArray, dict[str, int]]:
    """Tell the usable fixes from the others, which are counted by reason.

    Parameters
    ----------
    time_s : ndarray of float, shape (n,)
        NaN where there is none. [s]
    lat_deg, lon_deg : ndarray of float, shape (n,)
        NaN where there is no valid position. [deg]

    Returns
    -------
    usable : ndarray of bool, shape (n,)
    dropped : dict of str to int
        Every reason of `ADVICE`, with 0 where no fix fell to it; those of `RARE` only where one did.
    """
    holds = {
        "no_position": np.isnan(lat_deg) | np.isnan(lon_deg),
        "out_of_range": out_of_range(lat_deg, lon_deg),
        "zero_position": zero_position(lat_deg, lon_deg),
        "no_time": np.isnan(time_s),
        "time_out_of_range": time_out_of_range(time_s),
    }
    usable = np.ones(len(time_s), dtype=np.bool_)
    dropped = {}
    for reason in ADVICE:
        hit = usable & holds[reason]
        if hit.any() or reason not in RARE:
            dropped[reason] = int(hit.sum())
        usable &= ~hit
    return usable, dropped


def refuse_unusable(
    name: str, thing: str, dropped: Mapping[str, int], lat_deg: FloatArray, lon_deg: FloatArray
) -> NoReturn:
    """Raise the InputError for a log of which no fix can be used.

    Parameters
    ----------
    name : str
        File name, for the message.
    thing : str
        What the form calls a fix ("track point", "epoch").
    dropped : mapping of str to int
        Counts by reason, as from `find_faults`.
    lat_deg, lon_deg : ndarray of float, shape (n,)
        Positions as read. [deg]

    Raises
    ------
    InputError
        Always.
    """
    counts = {reason: dropped[reason] for reason in ADVICE if dropped.get(reason)}
    if len(counts) > 1:
        parts = ", ".join(f"{count} {reason.replace('_', ' ')}" for reason, count in counts.items())
        raise InputError(f"none of the {sum(counts.values())} {thing}s can be used ({parts}); log the job again", name)
    reason = next(iter(counts))
    advice = ADVICE[reason]
    if reason == "out_of_range" and not out_of_range(lon_deg, lat_deg).any():
        advice += "; latitude and longitude look swapped"
    raise InputError(f"every {thing} {advice}", name)
