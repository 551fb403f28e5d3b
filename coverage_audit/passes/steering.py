"""How the passes were steered: deviation from their own lines, spacing to their neighbours.

Terms follow ISO 12188. Deviation from a pass's own best line is a cross-track error relative to
that line; spacing to the pass driven before is a relative cross-track error (12188-2) about the
boom width, and pass-to-pass where both were driven within 15 minutes (12188-1). Every figure is
taken from logged positions, so the receiver's slow error is in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .cross_track import beside, best_line, cross_track_m
from .model import STRAIGHT, Deviation, Spacing, Steering
from .tolerances import (
    LONG_TERM_S,
    NEIGHBOUR_LEAST_M,
    NEIGHBOUR_MIN_WIDTHS,
    NEIGHBOUR_WIDTHS,
    PASS_TO_PASS_S,
    SPACED_WIDTHS,
    STEERING_STEP_M,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import FloatArray

    from .model import Fixed, Span


@dataclass(frozen=True)
class Driven:
    """One straight pass as driven. Arrays of shape (k,), about one place a metre.

    ``number`` is its place among the spans, ``direction_rad`` that of its AB line. [s], [m], [rad]
    """

    number: int
    block: int
    direction_rad: float
    time_s: FloatArray
    xy_m: FloatArray
    along_m: FloatArray


@dataclass(frozen=True)
class Neighbours:
    """Pairs of neighbouring passes (numbers among the spans), left one first, and how far apart. [m]"""

    left: int
    right: int
    apart_m: float


def driven_passes(fixed: Fixed, spans: Sequence[Span]) -> list[Driven]:
    """The straight passes of *spans*, where they sprayed if that is known."""
    found = []
    for number, span in enumerate(spans):
        if span.kind != STRAIGHT or span.direction_deg is None:
            continue
        a, b = np.searchsorted(fixed.time_s, [span.start_s, span.end_s])
        index = np.arange(a, b)
        if fixed.on is not None and fixed.on[a:b].any():
            on = np.flatnonzero(fixed.on[a:b])
            index = index[on[0] : on[-1] + 1]
        if len(index) < 3:
            continue
        xy = np.column_stack([fixed.x_m[index], fixed.y_m[index]])
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        stride = max(int(STEERING_STEP_M / max(along[-1] / len(along), 1e-6)), 1)
        keep = np.arange(0, len(index), stride)
        direction = float(np.radians(span.direction_deg))
        found.append(Driven(number, span.block, direction, fixed.time_s[index][keep], xy[keep], along[keep]))
    return [one for one in found if len(one.time_s) >= 3]


def deviations(passes: Sequence[Driven], noise_m: float) -> list[tuple[Deviation, bool, FloatArray]]:
    """Deviation of each pass from its own best line, whether that is a curve, and the deviations. [m]

    Cross-track error in the words of ISO 12188, relative to the pass's own line; independent noise is taken off by
    its square (textbook).
    """
    result = []
    for one in passes:
        line, curved = best_line(one.xy_m)
        off = cross_track_m(one.xy_m, line)
        square = float(np.mean(off**2))
        result.append(
            (
                Deviation(
                    mean_m=float(off.mean()),
                    sd_m=_without_noise(float(off.var()), noise_m),
                    rms_m=_without_noise(square, noise_m),
                    p95_m=float(np.percentile(np.abs(off), 95)),
                    rms_logged_m=float(np.sqrt(square)),
                    reference=line,
                ),
                curved,
                off,
            )
        )
    return result


def _without_noise(square_m2: float, noise_m: float) -> float:
    """Root of a mean square with the white noise of single fixes taken off, never below zero. [m]"""
    return float(np.sqrt(max(square_m2 - noise_m**2, 0.0)))


def find_neighbours(passes: Sequence[Driven], width_m: float) -> list[Neighbours]:
    """Pairs of passes that lie side by side with no other pass between them, for a boom of *width_m*. [m]"""
    lines = np.array([shapely.LineString(one.xy_m[[0, len(one.xy_m) // 2, -1]]) for one in passes], dtype=object)
    if len(lines) < 2:
        return []
    first, second = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=NEIGHBOUR_WIDTHS * width_m)
    nearest: dict[tuple[int, int], tuple[float, int]] = {}
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        if a >= b or passes[a].block != passes[b].block:
            continue
        apart = _apart(passes[a], passes[b])
        if apart is None or not NEIGHBOUR_MIN_WIDTHS * width_m < abs(apart) <= NEIGHBOUR_WIDTHS * width_m:
            continue
        sense = 1 if apart > 0 else -1
        for one, side, other in ((a, sense, b), (b, -sense, a)):
            nearest[one, side] = min(nearest.get((one, side), (np.inf, -1)), (abs(apart), other))
    pairs = {(a, b) if side > 0 else (b, a): apart for (a, side), (apart, b) in nearest.items()}
    return [Neighbours(a, b, apart) for (a, b), apart in sorted(pairs.items())]


def _apart(one: Driven, other: Driven) -> float | None:
    """How far right of *one* (looking along the AB line) *other* runs where both do. [m]"""
    sin, cos = np.sin(one.direction_rad), np.cos(one.direction_rad)
    ways = []
    for each in (one, other):
        few = each.xy_m[:: max(len(each.xy_m) // 40, 1)]
        v, u = few @ np.array([sin, cos]), few @ np.array([cos, -sin])
        order = np.argsort(v)
        ways.append((v[order], u[order]))
    low, high = max(way[0][0] for way in ways), min(way[0][-1] for way in ways)
    if high - low < NEIGHBOUR_LEAST_M:
        return None
    at = np.linspace(low, high, 15)
    return float(np.sort(np.interp(at, *ways[1]) - np.interp(at, *ways[0]))[7])


def spacings(passes: Sequence[Driven], pairs: Sequence[Neighbours], width_m: float, noise_m: float) -> list[Spacing]:
    """Spacing of each pair along the later pass, one value a metre. [m]

    Relative cross-track error of ISO 12188-2, about the boom width. *noise_m*: white noise of one coordinate;
    half-way between two fixes of the other pass only half of its variance is left, on average two thirds.
    """
    result = []
    for pair in pairs:
        if pair.apart_m > SPACED_WIDTHS * width_m:
            continue
        later, before = sorted((passes[pair.left], passes[pair.right]), key=lambda one: -float(one.time_s[0]))
        away, at, _ = beside(later.xy_m, before.xy_m)
        ends = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(before.xy_m, axis=0).T))])
        # a pass that bends away at its end (round a pond, say) is no neighbour there
        abreast = (at > 0) & (at < ends[-1]) & (np.abs(away) <= SPACED_WIDTHS * width_m)
        if abreast.sum() < 3:
            continue
        then = np.interp(at[abreast], ends, before.time_s)
        result.append(
            Spacing(
                later.number,
                before.number,
                later.along_m[abreast],
                away[abreast],
                later.time_s[abreast] - then,
                noise_m * float(np.sqrt(5 / 3)),
            )
        )
    return result


def judge(
    directions_deg: Sequence[float],
    off: Sequence[FloatArray],
    found: Sequence[Spacing],
    times_s: FloatArray,
    noise_m: float,
) -> Steering:
    """Steering of the whole job; *off* are the deviations [m], *times_s* (k,) the middle of each spacing.

    Pass-to-pass within 15 minutes as in ISO 12188-1, long-term beyond an hour.
    """
    all_off = np.concatenate(off) if off else np.empty(0)
    square = float(np.mean(all_off**2)) if off else None
    mean, sd, logged = _spread(found)
    near, far = _spread(found, most_s=PASS_TO_PASS_S)[1], _spread(found, least_s=LONG_TERM_S)[1]
    return Steering(
        ab_heading_deg=tuple(directions_deg),
        cross_track_rms_m=None if square is None else _without_noise(square, noise_m),
        cross_track_mean_m=float(all_off.mean()) if off else None,
        cross_track_sd_m=_without_noise(float(all_off.var()), noise_m) if off else None,
        cross_track_p95_m=float(np.percentile(np.abs(all_off), 95)) if off else None,
        cross_track_rms_logged_m=None if square is None else float(np.sqrt(square)),
        spacing_mean_m=mean,
        spacing_sd_m=sd,
        spacing_sd_logged_m=logged,
        pass_to_pass_sd_m=near,
        long_term_sd_m=far,
        drift_m_h=_drift(found, times_s),
        noise_m=noise_m,
    )


def _spread(
    found: Sequence[Spacing], least_s: float = -np.inf, most_s: float = np.inf
) -> tuple[float | None, float | None, float | None]:
    """Mean, standard deviation without and with the noise of single fixes, over all places. [m]"""
    chosen = [one.distance_m[(one.apart_s >= least_s) & (one.apart_s <= most_s)] for one in found]
    values = np.concatenate(chosen) if chosen else np.empty(0)
    if len(values) < 3:
        return None, None, None
    scatter = float(np.mean([one.scatter_m for one in found]))
    return float(values.mean()), _without_noise(float(values.var()), scatter), float(values.std())


def _drift(found: Sequence[Spacing], times_s: FloatArray) -> float | None:
    """Change of the mean spacing of passes per hour, by least squares. [m/h]"""
    if len(found) < 4 or float(np.ptp(times_s)) <= 0:
        return None
    means = np.array([one.distance_m.mean() for one in found])
    return float(np.polyfit((times_s - times_s[0]) / 3600.0, means, 1)[0])
