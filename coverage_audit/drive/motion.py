"""How the vehicle moved: from fixes to a curved path with a heading, forwards and in reverse.

The path is a cubic Hermite curve through the (smoothed) fixes; ``refine`` turns it into
points so close that everything between two of them may be taken as straight.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from .model import Motion
from .reversals import find_reversals
from .shuttle import Reading, settled
from .smoothing import local_parabolas, scatter_m
from .standing import held_places
from .tolerances import (
    COURSE_AGREES_DEG,
    COURSE_SPEED_M_S,
    CUSP_ANGLE_DEG,
    HEADING_NOISES,
    HEADING_SPEED_M_S,
    MAX_SMOOTHING_S,
    MIN_WINDOW_FIXES,
    MOST_HEADING_SPEED_M_S,
    REFINE_DEVIATION_M,
    REFINE_TURN_DEG,
    STAND_SPEED_M_S,
    TIP_NOISE_M,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .model import Track


def build_motion(track: Track, half_boom_m: float) -> Motion:
    """Path and heading of the antenna.

    Parameters
    ----------
    track : Track
        Used fixes, n >= 2.
    half_boom_m : float
        From the boom's centre to its tip: how far the tip is swung by an error of heading. [m]
    """
    x, y, vague = held_places(track)
    x_as_logged, y_as_logged = x, y
    time = track.time_s
    run = np.concatenate([[0], np.cumsum(track.gap_after[:-1])])
    cusps, reverse, doubts = settled(time, x, y, run, Reading(*find_reversals(time, x, y, run)), track.noted_on_s)
    part = run + np.searchsorted(cusps, np.arange(len(time)), side="right")
    noise = white_noise(time, x, y, part)
    half = window_half(time, x, y, noise, half_boom_m)
    if half:
        known, (smooth_x, smooth_y), (vx, vy) = local_parabolas(time, x, y, part, half)
        if not known.all():
            rough_x, rough_y = _circle_velocity(time, x, y, part)
            vx, vy = np.where(known, vx, rough_x), np.where(known, vy, rough_y)
        x, y = smooth_x, smooth_y
    else:
        vx, vy = _circle_velocity(time, x, y, part)
        vx, vy = _with_logged_course(vx, vy, track.course_rad)
    least = _least_speed(time, scatter_m(x_as_logged, y_as_logged, part), half)
    heading = _heading(vx, vy, reverse, run, (np.hypot(vx, vy) > least) & ~vague)
    unsure = tuple((float(time[first]), float(time[last])) for first, last in doubts)
    return Motion(time, x, y, vx, vy, heading, reverse, track.gap_after, noise, unsure_s=unsure)


def refine(motion: Motion) -> Motion:
    """The same motion with knots so close that steps between them may be taken as straight.

    A curve leaves its chord over a time dt by at most a dt^2 / 8, a being its acceleration (textbook of interpolation).
    """
    step = np.diff(motion.time_s)
    turn = np.abs(np.diff(motion.heading_rad))
    bend = np.hypot(np.diff(motion.vx_m_s), np.diff(motion.vy_m_s)) * step / 8
    pieces = np.maximum(np.degrees(turn) / REFINE_TURN_DEG, np.sqrt(bend / REFINE_DEVIATION_M))
    pieces = np.ceil(np.clip(pieces, 1, 240)).astype(int)
    pieces[motion.gap_after[:-1]] = 1
    if np.all(pieces == 1):
        return motion
    base = np.repeat(np.arange(len(pieces)), pieces)
    within = np.arange(len(base)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    share = within / pieces[base]
    x, y, vx, vy = _hermite(motion, base, share)
    heading = motion.heading_rad[base] + share * np.diff(motion.heading_rad)[base]
    # inside the step of a reversal the direction changes where the curve turns back
    backward = vx * np.sin(heading) + vy * np.cos(heading) < 0
    turning = motion.reverse[base] != motion.reverse[base + 1]
    reverse = np.where(turning, backward, motion.reverse[base])
    last = slice(-1, None)
    return Motion(
        np.append(motion.time_s[base] + share * step[base], motion.time_s[last]),
        np.append(x, motion.x_m[last]),
        np.append(y, motion.y_m[last]),
        np.append(vx, motion.vx_m_s[last]),
        np.append(vy, motion.vy_m_s[last]),
        np.append(heading, motion.heading_rad[last]),
        np.append(reverse, motion.reverse[last]),
        np.append(motion.gap_after[base] & (within == pieces[base] - 1), [False]),
        motion.noise_m,
        motion.fixes or len(motion.time_s),
        motion.unsure_s,
    )


def _hermite(
    motion: Motion, base: IntArray, share: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Position and velocity at *share* of the step after knot *base* (cubic Hermite)."""
    step = motion.time_s[base + 1] - motion.time_s[base]
    values = []
    for place, speed in ((motion.x_m, motion.vx_m_s), (motion.y_m, motion.vy_m_s)):
        p0, p1 = place[base], place[base + 1]
        m0, m1 = speed[base] * step, speed[base + 1] * step
        rise = p1 - p0
        c2, c3 = 3 * rise - 2 * m0 - m1, m0 + m1 - 2 * rise
        values.append(p0 + share * (m0 + share * (c2 + share * c3)))
        values.append((m0 + share * (2 * c2 + 3 * share * c3)) / step)
    return values[0], values[2], values[1], values[3]


def white_noise(time: FloatArray, x: FloatArray, y: FloatArray, part: IntArray) -> float:
    """White noise of one coordinate, from third differences (robust); NaN below 4 Hz. [m]

    Third differences of a smooth path at 4 Hz or more are millimetres; of white noise they
    have sqrt(20) times its standard deviation.
    """
    if float(np.median(np.diff(time))) > 0.26:
        return float("nan")
    return scatter_m(x, y, part) or float("nan")


def window_half(time: FloatArray, x: FloatArray, y: FloatArray, noise_m: float, half_boom_m: float) -> int:
    """Half-width of the smoothing window in fixes [1]; 0 where the log is too sparse to smooth.

    The slope of a line through n points dt apart errs by their noise times sqrt(12 / n^3) / dt (least squares,
    textbook, n large); the window is as wide as keeps the boom's tip steady within ``TIP_NOISE_M``.
    """
    step = float(np.median(np.diff(time)))
    widest = int(MAX_SMOOTHING_S / step + 1e-6)
    least = MIN_WINDOW_FIXES // 2
    if widest < least or np.isnan(noise_m):
        return 0
    moved = np.hypot(np.diff(x), np.diff(y)) / np.diff(time)
    speed = max(float(np.median(moved[moved > STAND_SPEED_M_S])) if (moved > STAND_SPEED_M_S).any() else 1.0, 0.5)
    # slope of a straight line through n points, dt apart: sd = noise * sqrt(12 / n^3) / dt
    wanted = (12 * (noise_m * half_boom_m / (TIP_NOISE_M * step * speed)) ** 2) ** (1 / 3)
    return int(np.clip(np.ceil((wanted - 1) / 2), least, widest))


def _circle_velocity(time: FloatArray, x: FloatArray, y: FloatArray, part: IntArray) -> tuple[FloatArray, FloatArray]:
    """Velocity at each fix along the circle through it and its neighbours; exact on arcs.

    At the ends of a part the circle of the next fix is carried on, so that an arc begins on its
    tangent and not on its chord.
    """
    dt = np.diff(time)
    ax, ay = np.diff(x), np.diff(y)
    joined = np.diff(part) == 0
    chord = np.hypot(ax, ay)
    course = np.arctan2(ax, ay)
    sure = chord > HEADING_SPEED_M_S * dt  # a step from or to a standing fix is scatter, no direction
    both = joined[1:] & joined[:-1] & sure[1:] & sure[:-1]
    bend = np.where(both, (course[1:] - course[:-1] + np.pi) % (2 * np.pi) - np.pi, 0.0)
    # half angles of the two chords: they share the bend in proportion to their lengths
    total = np.where(both, chord[1:] + chord[:-1], 1.0)
    before, after = bend * chord[:-1] / total, bend * chord[1:] / total
    half = np.zeros(len(chord))  # half the turn along each chord
    weight = np.zeros(len(chord))
    for where, angle in ((slice(0, -1), before), (slice(1, None), after)):
        half[where] += np.where(both, angle, 0.0)
        weight[where] += both
    half = np.where(weight > 0, half / np.maximum(weight, 1), 0.0)
    speed = chord / np.sinc(half / np.pi) / dt
    count = len(time)
    vx, vy = np.zeros(count), np.zeros(count)
    inner = np.flatnonzero(both) + 1
    tangent = course[inner - 1] + before[inner - 1]
    pace = (speed[inner - 1] * dt[inner] + speed[inner] * dt[inner - 1]) / (dt[inner] + dt[inner - 1])
    vx[inner], vy[inner] = pace * np.sin(tangent), pace * np.cos(tangent)
    done = np.zeros(count, bool)
    done[inner] = True
    for k in np.flatnonzero(~done):  # ends of parts and neighbours of standing fixes
        if k < count - 1 and joined[k] and chord[k] > 0 and (sure[k] or not (k and joined[k - 1] and sure[k - 1])):
            angle, pace_k = course[k] - half[k], speed[k]
        elif k > 0 and joined[k - 1] and chord[k - 1] > 0:
            angle, pace_k = course[k - 1] + half[k - 1], speed[k - 1]
        else:
            continue
        vx[k], vy[k] = pace_k * np.sin(angle), pace_k * np.cos(angle)
    return vx, vy


def _with_logged_course(vx: FloatArray, vy: FloatArray, course: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Velocity turned to the receiver's own course where that agrees with the path as a whole."""
    speed = np.hypot(vx, vy)
    usable = (speed > COURSE_SPEED_M_S) & np.isfinite(course)
    if usable.sum() < len(speed) / 4:
        return vx, vy
    own = np.where(usable, course, 0.0)
    difference = (own - np.arctan2(vx, vy) + np.pi) % (2 * np.pi) - np.pi
    if np.median(np.abs(difference[usable])) > np.radians(COURSE_AGREES_DEG):
        return vx, vy
    usable &= np.abs(difference) < np.radians(CUSP_ANGLE_DEG) / 2
    return np.where(usable, speed * np.sin(own), vx), np.where(usable, speed * np.cos(own), vy)


def _least_speed(time: FloatArray, scatter_m: float, half: int) -> float:
    """Speed below which the direction of travel is scatter, for a window of 2 *half* + 1 fixes (0: none). [m/s]"""
    fixes = 2 * half + 1
    slope = math.sqrt(12 / fixes**3) if half else math.sqrt(0.5)  # of a fitted line; of a central difference
    noise = slope * scatter_m / float(np.median(np.diff(time)))
    return float(np.clip(HEADING_NOISES * noise, HEADING_SPEED_M_S, MOST_HEADING_SPEED_M_S))


def _heading(vx: FloatArray, vy: FloatArray, reverse: BoolArray, run: IntArray, moving: BoolArray) -> FloatArray:
    """Heading at each knot, unwrapped; carried over where the vehicle is not *moving* enough to tell. [rad]"""
    sign = np.where(reverse, -1.0, 1.0)
    speed = np.hypot(vx, vy)
    if not moving.any():
        moving = speed > 0
    if not moving.any():
        return np.zeros(len(vx))
    heading = np.unwrap(np.arctan2(sign[moving] * vx[moving], sign[moving] * vy[moving]))
    known = np.flatnonzero(moving)
    filled = np.interp(np.arange(len(vx)), known, heading)
    # a run that starts or ends standing keeps its own first or last heading, not its neighbour's
    bounds = np.flatnonzero(np.diff(run, prepend=-1, append=-1))
    for first, last in pairwise(bounds):
        inside = known[(known >= first) & (known < last)] if len(bounds) > 2 else known
        if len(inside):
            filled[first : inside[0]] = filled[inside[0]]
            filled[inside[-1] + 1 : last] = filled[inside[-1]]
    return filled
