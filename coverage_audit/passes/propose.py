"""When the boom was probably on, for a log that does not say: from passes, headland and field."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .cross_track import beside
from .model import HEADLAND, STRAIGHT
from .switching import boom_over, inside_headland
from .tolerances import PROPOSED_LEAST_M

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

    from .model import Fixed, Span
    from .steering import Driven


def propose(
    fixed: Fixed,
    spans: Sequence[Span],
    passes: Sequence[tuple[Driven, BaseGeometry]],
    target: BaseGeometry,
    width_m: float,
) -> list[tuple[Span, list[FloatArray]]]:
    """Where each headland run and each pass should have sprayed, as places along it.

    The headland is sprayed from where the boom's centre enters the target to where it leaves it; a pass
    wherever a part of the boom is over ground inside the headland.

    Parameters
    ----------
    fixed : Fixed
        The boom's centre at every fix.
    spans : sequence of Span
        The diary, told without any boom state.
    passes : sequence of (Driven, reference line)
        The straight passes with their best lines.
    target : polygon or multipolygon
        Ground to be sprayed. [m]
    width_m : float
        Boom width. [m]

    Returns
    -------
    list of (Span, list of arrays (k, 2))
        For each part that sprays: the times [s] and the distances along it [m] of its fixes, and the
        (on, off) places on that distance.
    """
    laps = [line for span in spans if span.kind == HEADLAND for line in _headland_line(fixed, span)]
    inner = inside_headland(target, laps, width_m)
    shapely.prepare(target)
    shapely.prepare(inner)
    lines = {one.number: line for one, line in passes}
    found: list[tuple[Span, list[FloatArray]]] = []
    for number, span in enumerate(spans):
        a, b = np.searchsorted(fixed.time_s, [span.start_s, span.end_s])
        time, xy = fixed.time_s[a:b], np.column_stack([fixed.x_m[a:b], fixed.y_m[a:b]])
        if len(time) < 2:
            continue
        if span.kind == HEADLAND:
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
            inside = np.flatnonzero(shapely.contains_xy(target, xy[:, 0], xy[:, 1]))
            if len(inside):
                found.append((span, [np.column_stack([time, along]), along[inside[[0, -1]]].reshape(1, 2)]))
        elif span.kind == STRAIGHT and number in lines:
            _, along, _ = beside(xy, shapely.get_coordinates(lines[number]))
            wanted = boom_over(lines[number], inner, width_m)
            wanted = wanted[np.diff(wanted, axis=1)[:, 0] >= PROPOSED_LEAST_M]
            if len(wanted):
                found.append((span, [np.column_stack([time, np.maximum.accumulate(along)]), wanted]))
    return found


def _headland_line(fixed: Fixed, span: Span) -> list[BaseGeometry]:
    """Line of the boom's centre along a lap; none for a lap of a single fix."""
    a, b = np.searchsorted(fixed.time_s, [span.start_s, span.end_s])
    if b - a < 2:
        return []
    return [shapely.simplify(shapely.LineString(np.column_stack([fixed.x_m[a:b], fixed.y_m[a:b]])), 0.1)]


def on_times(proposed: Sequence[tuple[Span, list[FloatArray]]], early_m: float = 0.0) -> FloatArray:
    """On-times (k, 2) of what :func:`propose` found, in order and joined where they touch. [s]

    Parameters
    ----------
    early_m : float
        The boom comes on so much before its place and goes off so much behind it on every pass;
        negative: late on, early off. The headland keeps its times. [m]
    """
    rows = []
    for span, (ways, places) in proposed:
        time, along = ways.T
        shift = early_m if span.kind == STRAIGHT else 0.0
        for on, off in places:
            low, high = np.interp([on - shift, off + shift], along, time)
            if high > low:
                rows.append((low, high))
    rows.sort()
    joined: list[list[float]] = []
    for low, high in rows:
        if joined and low <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], high)
        else:
            joined.append([low, high])
    return np.array(joined).reshape(-1, 2)


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
