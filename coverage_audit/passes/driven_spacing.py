"""How far apart the passes of a drive lie, told from the drive alone: no boom's width goes in."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .tolerances import (
    DRIVEN_ALIKE,
    DRIVEN_AXIS_RAD,
    DRIVEN_LEAST_M,
    DRIVEN_PASSES,
    DRIVEN_RUN_M,
    DRIVEN_SCAN_M,
    DRIVEN_SHARE,
    DRIVEN_STEP_M,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import FloatArray


def driven_spacing_m(ways: Sequence[FloatArray]) -> float | None:
    """Usual distance between passes that lie beside each other; None where most of them do not say the same. [m]

    Lines across the direction that most was driven in cut the ways; the distances between cuts that follow each
    other are counted, and the one that most of them share is taken.

    Parameters
    ----------
    ways : sequence of arrays of shape (n, 2)
        Unbroken parts of the drive within the field. [m]
    """
    parts = [_evenly(way) for way in ways]
    parts = [part for part in parts if len(part) > 1]
    if not parts:
        return None
    headings = [np.arctan2(*np.diff(part, axis=0).T[::-1]) for part in parts]
    axis = _axis(np.concatenate(headings))
    runs = [run for part, heading in zip(parts, headings, strict=True) for run in _runs(part, heading, axis)]
    return _usual(_distances(runs)) if len(runs) >= DRIVEN_PASSES else None


def _evenly(way: FloatArray) -> FloatArray:
    """Points of a way so far apart that noise hardly turns it. Shape (k, 2)."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
    at = np.arange(0.0, along[-1], DRIVEN_STEP_M)
    return np.column_stack([np.interp(at, along, way[:, axis]) for axis in (0, 1)])


def _axis(heading_rad: FloatArray) -> float:
    """Direction, either way along it, that most steps are close to. [rad]"""
    tried = np.arange(0.0, np.pi, DRIVEN_AXIS_RAD / 2)
    close = [int((_away(heading_rad, one) < DRIVEN_AXIS_RAD).sum()) for one in tried]
    near = heading_rad[_away(heading_rad, float(tried[int(np.argmax(close))])) < DRIVEN_AXIS_RAD]
    return float(np.angle(np.exp(2j * near).sum()) / 2)  # mean of directions without a sign (textbook)


def _away(heading_rad: FloatArray, axis_rad: float) -> FloatArray:
    """Angle between a heading and an axis, 0 to pi / 2. [rad]"""
    return np.abs((heading_rad - axis_rad + np.pi / 2) % np.pi - np.pi / 2)


def _runs(part: FloatArray, heading_rad: FloatArray, axis_rad: float) -> list[FloatArray]:
    """Runs along the axis as (along, across) with along rising, long enough to be passes. [m]"""
    unit = np.array([np.cos(axis_rad), np.sin(axis_rad)])
    turned = np.column_stack([part @ unit, part @ [-unit[1], unit[0]]])
    way = np.where(_away(heading_rad, axis_rad) < DRIVEN_AXIS_RAD, np.sign(np.diff(turned[:, 0])), 0.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], way, [0.0]])))
    found = []
    for first, last in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        run = turned[first : last + 1]
        if way[first] and np.ptp(run[:, 0]) >= DRIVEN_RUN_M:
            found.append(run[np.argsort(run[:, 0])])
    return found


def _distances(runs: Sequence[FloatArray]) -> FloatArray:
    """Distances between runs that follow each other along lines across the axis. [m]"""
    low, high = min(run[0, 0] for run in runs), max(run[-1, 0] for run in runs)
    found = []
    for at in np.arange(low + DRIVEN_SCAN_M / 2, high, DRIVEN_SCAN_M):
        cuts = [np.interp(at, *run.T) for run in runs if run[0, 0] <= at <= run[-1, 0]]
        found.append(np.diff(np.sort(cuts)))
    return np.concatenate(found)


def _usual(distance_m: FloatArray) -> float | None:
    """The distance that most share, those too short to be a boom left out; None where there is none. [m]"""
    apart = np.sort(distance_m[distance_m >= DRIVEN_LEAST_M])
    if not len(apart):
        return None
    first, last = (np.searchsorted(apart, apart * side) for side in (1 - DRIVEN_ALIKE, 1 + DRIVEN_ALIKE))
    best = int(np.argmax(last - first))
    alike = apart[first[best] : last[best]]
    return float(np.median(alike)) if len(alike) >= DRIVEN_SHARE * len(apart) else None
