"""What the boom let out in each step of its way, and which part of the boom laid it where.

A step is a quadrilateral between two boom lines. It is cut across into parts that moved at
nearly one speed; each part spreads its own share of the step's volume over its own ground,
the less the farther out in a turn. So the rate follows the speed of every part of the boom, and
no volume is lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.tolerances import STAND_SPEED_M_S
from coverage_audit.errors import TooFineError

from .quads import Laid, uncrossed
from .tolerances import (
    LONGEST_STEP_M,
    MOST_QUADS,
    NARROW_STEP_M,
    NOISE_TURNS,
    PART_SPEED_SHARE,
    SPEED_WINDOW_S,
    STEP_M,
    STEP_SPEED_SHARE,
    STEP_TURN_DEG,
    TIP_RATE_NOISE,
)

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.model import BoomPath, Timeline

    from .flow import Flow


@dataclass(frozen=True)
class SprayLines:
    """Boom lines while something sprays, slot after slot. Arrays of shape (n,).

    ``broken_after``: the slot ends here, or a gap of the log that is not bridged follows.
    ``speed_m_s`` (of the centre, negative in reverse) and ``turn_rad_s`` are taken over a window.
    Times [s since 1970 UTC], places and travel [m], headings [rad], speeds [m/s].
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    heading_rad: FloatArray
    travel_m: FloatArray
    speed_m_s: FloatArray
    turn_rad_s: FloatArray
    slot: IntArray
    broken_after: BoolArray

    def tips(self, at: IntArray, offset_m: FloatArray) -> FloatArray:
        """Points *offset_m* right of the centre of the lines *at*, shape (n, 2); a plane rotation (textbook). [m]"""
        heading = self.heading_rad[at]
        return np.column_stack([self.x_m[at] + offset_m * np.cos(heading), self.y_m[at] - offset_m * np.sin(heading)])


@dataclass(frozen=True)
class OpenParts:
    """Runs of open sections with one flow per metre; arrays (p,), ordered by slot.

    ``left_m``/``right_m``: ends, to the right of the boom's centre [m]. ``share``: of the volume that
    :class:`Steps` holds. [1]
    """

    slot: IntArray
    left_m: FloatArray
    right_m: FloatArray
    share: FloatArray


@dataclass(frozen=True)
class Steps:
    """Steps between boom lines ``first`` and ``last`` (indices). Arrays of shape (n,).

    ``litres`` by the whole boom (or, with a logged flow, by its open sections); ``standing`` where
    the whole boom stands.
    """

    lines: SprayLines
    first: IntArray
    last: IntArray
    litres: FloatArray
    standing: BoolArray

    def take(self, keep: BoolArray) -> Steps:
        """The steps selected by *keep*, shape (n,)."""
        return Steps(self.lines, self.first[keep], self.last[keep], self.litres[keep], self.standing[keep])


@dataclass(frozen=True)
class Scale:
    """How fine steps can be: ``length_m`` of the longest, ``window_s`` over which speeds are taken.

    ``noise`` is that of a change of heading (one sigma): sqrt(2) times the heading's own. [rad]
    """

    length_m: float
    window_s: float
    noise: float


def scale_of(heading_noise_rad: float, half_boom_m: float, pace_m_s: float) -> Scale:
    """Scale at which white noise leaves the tips' rate within ``TIP_RATE_NOISE``; noise 0 = not known.

    Two headings' noise [rad] adds up to sqrt(2) times one's (textbook), times the half boom over the step's length.
    """
    noise = math.sqrt(2) * heading_noise_rad
    length = float(np.clip(noise * half_boom_m / TIP_RATE_NOISE, STEP_M, LONGEST_STEP_M))
    window = length / (2 * max(pace_m_s, STAND_SPEED_M_S)) if noise > 0 else 0.0
    return Scale(length, max(SPEED_WINDOW_S, window), noise)


def spray_lines(path: BoomPath, timeline: Timeline, window_s: float) -> SprayLines:
    """Boom lines of every slot, with speeds over *window_s* [s]; ends interpolated at the moments of switching."""
    first = np.searchsorted(path.time_s, timeline.start_s, "right")
    last = np.searchsorted(path.time_s, timeline.end_s, "left")
    parts = [
        np.concatenate([[start], path.time_s[a:b], [end]])
        for start, end, a, b in zip(timeline.start_s, timeline.end_s, first, last, strict=True)
    ]
    time = np.concatenate(parts)
    slot = np.repeat(np.arange(len(parts)), [len(part) for part in parts])
    x, y, heading, travel = (
        np.interp(time, path.time_s, column) for column in (path.x_m, path.y_m, path.heading_rad, path.travel_m)
    )
    step = np.clip(np.searchsorted(path.time_s, time, "right") - 1, 0, len(path.time_s) - 2)
    broken = path.gap_after[step] | np.append(np.diff(slot) > 0, [True])
    speed, turn = speeds(path, time, window_s)
    return SprayLines(time, x, y, heading, travel, speed, turn, slot, broken)


def speeds(path: BoomPath, time_s: FloatArray, window_s: float) -> tuple[FloatArray, FloatArray]:
    """Speed of the boom's centre [m/s] and its turning [rad/s] over *window_s* to both sides."""
    window = max(window_s, float(np.median(np.diff(path.time_s))))
    before = np.maximum(time_s - window, path.time_s[0])
    after = np.minimum(time_s + window, path.time_s[-1])
    span = np.maximum(after - before, 1e-9)
    way, turn = (
        np.interp(after, path.time_s, column) - np.interp(before, path.time_s, column)
        for column in (path.travel_m, path.heading_rad)
    )
    return way / span, turn / span


def open_parts(sections_m: tuple[float, ...], share: FloatArray, on: BoolArray, *, whole_boom: bool) -> OpenParts:
    """Runs of open sections, split where the flow per metre differs.

    Parameters
    ----------
    sections_m : (sections,) float
        Widths from left to right. [m]
    share : (sections,) float
        Share of the whole boom's flow by section.
    on : (slots, sections) bool
        Which sections spray.
    whole_boom : bool
        Whether volumes are the whole boom's; else those of the open sections together.
    """
    edges = np.concatenate([[0.0], np.cumsum(sections_m)]) - sum(sections_m) / 2
    density = share / np.asarray(sections_m)
    rows: list[tuple[int, float, float, float]] = []
    for slot, row in enumerate(on):
        open_share = 1.0 if whole_boom else float(row @ share)
        first = -1
        for number in range(len(row) + 1):
            ends = number == len(row) or not row[number]
            differs = not ends and first >= 0 and not math.isclose(density[number], density[first], rel_tol=1e-9)
            if first >= 0 and (ends or differs):
                part = float(share[first:number].sum()) / open_share
                rows.append((slot, float(edges[first]), float(edges[number]), part))
                first = -1
            if not ends and first < 0:
                first = number
    columns = np.array(rows).reshape(-1, 4).T
    return OpenParts(columns[0].astype(np.int64), *columns[1:])


def steps_between(lines: SprayLines, flow: Flow, parts: OpenParts, scale: Scale) -> Steps:
    """Steps as long as speed, turning and noise allow, with what was let out in each."""
    slots = int(lines.slot[-1]) + 1
    left, right = np.full(slots, np.inf), np.full(slots, -np.inf)
    np.minimum.at(left, parts.slot, parts.left_m)
    np.maximum.at(right, parts.slot, parts.right_m)
    left, right = left[lines.slot], right[lines.slot]
    standing = _standing(lines, left, right)
    half = np.maximum(np.abs(left), np.abs(right))
    cost = _cost(lines, half, scale)
    special = lines.broken_after[:-1] | (np.append(standing[1:], [False]) != standing)
    running = np.floor(np.concatenate([[0.0], np.cumsum(cost)]))
    keep = np.append([True], np.diff(running) > 0) | np.append([True], special) | np.append(special, [True])
    keep[1:] |= lines.broken_after[:-1]
    kept = np.flatnonzero(keep)
    first, last = kept[:-1], kept[1:]
    whole = ~lines.broken_after[first]
    first, last = first[whole], last[whole]
    total = flow.litres_until(lines.time_s)
    return Steps(lines, first, last, total[last] - total[first], standing[first])


def _standing(lines: SprayLines, left_m: FloatArray, right_m: FloatArray) -> BoolArray:
    """Whether no part of the boom moves at ``STAND_SPEED_M_S`` in the step after each line, shape (n - 1,)."""
    index = np.arange(len(lines.time_s))
    span = np.maximum(np.diff(lines.time_s), 1e-9)
    fastest = np.zeros(len(span))
    smooth = np.zeros(len(span))
    for offset in (left_m, right_m):
        tip = lines.tips(index, offset)
        np.maximum(fastest, np.hypot(np.diff(tip[:, 0]), np.diff(tip[:, 1])) / span, out=fastest)
        both = np.abs(lines.speed_m_s) + np.abs(lines.turn_rad_s * offset)
        np.maximum(smooth, np.maximum(both[1:], both[:-1]), out=smooth)
    return np.minimum(fastest, smooth) < STAND_SPEED_M_S


def _cost(lines: SprayLines, half_m: FloatArray, scale: Scale) -> FloatArray:
    """How much of a step each stretch between lines uses up: 1 is a whole step, shape (n - 1,).

    Changes of speed are summed over knots one window apart, since noise summed from line to line
    would look like change.
    """
    pace = np.maximum(np.abs(lines.speed_m_s), STAND_SPEED_M_S)
    fresh = np.diff(np.floor(lines.time_s / scale.window_s)) > 0
    knots = np.append([True], fresh | lines.broken_after[:-1]) | lines.broken_after
    change = [
        np.abs(np.diff(np.interp(lines.time_s, lines.time_s[knots], value[knots])))
        for value in (np.log(pace), lines.turn_rad_s * half_m / pace)
    ]
    turning = np.abs(lines.turn_rad_s[1:] + lines.turn_rad_s[:-1]) / 2
    used = [
        np.abs(np.diff(lines.travel_m)) / scale.length_m,
        turning * np.diff(lines.time_s) / max(math.radians(STEP_TURN_DEG), NOISE_TURNS * scale.noise),
        change[0] / (STEP_SPEED_SHARE + 2 * scale.noise),
        change[1] / (STEP_SPEED_SHARE + 2 * scale.noise * float(half_m.max()) / scale.length_m),
    ]
    return np.asarray(np.maximum.reduce(used))


def lay(steps: Steps, parts: OpenParts, cell_m: float) -> Laid:
    """Lay the spray of *steps* on the ground, part by part of the boom, for cells of *cell_m*. [m]

    Raises
    ------
    TooFineError
        More than ``MOST_QUADS`` parts would be needed.
    """
    lines = steps.lines
    slot = lines.slot[steps.first]
    begin = np.searchsorted(parts.slot, slot, "left")
    count = np.searchsorted(parts.slot, slot, "right") - begin
    _bounded(int(count.sum()))
    step = np.repeat(np.arange(len(slot)), count)
    part = np.arange(len(step)) + np.repeat(begin - (np.cumsum(count) - count), count)
    left, right = parts.left_m[part], parts.right_m[part]
    litres = steps.litres[step] * parts.share[part]
    pieces = _pieces_across(lines, steps.first[step], steps.last[step], left, right, cell_m)
    _bounded(int(pieces.sum()))
    piece = np.repeat(np.arange(len(step)), pieces)
    number = np.arange(len(piece)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    width = ((right - left) / pieces)[piece]
    quads = _quads(steps, step[piece], left[piece] + number * width, width, (litres / pieces)[piece], cell_m)
    return uncrossed(quads)


def _bounded(quads: int) -> None:
    if quads > MOST_QUADS:
        raise TooFineError


def _pieces_across(
    lines: SprayLines, first: IntArray, last: IntArray, left_m: FloatArray, right_m: FloatArray, cell_m: float
) -> IntArray:
    """Into how many pieces each part of the boom is cut, by how its speed differs from end to end."""
    middle = (lines.heading_rad[first] + lines.heading_rad[last]) / 2
    sin, cos = np.sin(middle), np.cos(middle)
    ways = []
    for offset in (left_m, right_m):
        moved = lines.tips(last, offset) - lines.tips(first, offset)
        ways.append(moved[:, 0] * sin + moved[:, 1] * cos)
    most = np.ceil((right_m - left_m) / cell_m)
    slowest = np.where(ways[0] * ways[1] > 0, np.minimum(np.abs(ways[0]), np.abs(ways[1])), 0.0)
    wanted = np.ceil(np.abs(ways[1] - ways[0]) / np.maximum(PART_SPEED_SHARE * slowest, 1e-12))
    return np.where(slowest < NARROW_STEP_M, most, np.clip(wanted, 1, most)).astype(np.int64)


def _quads(
    steps: Steps, step: IntArray, left_m: FloatArray, width_m: FloatArray, litres: FloatArray, cell_m: float
) -> Laid:
    lines, first, last = steps.lines, steps.first[step], steps.last[step]
    corners = np.stack(
        [
            lines.tips(first, left_m),
            lines.tips(last, left_m),
            lines.tips(last, left_m + width_m),
            lines.tips(first, left_m + width_m),
        ],
        axis=1,
    )
    diagonals = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    area = np.abs(diagonals[0][:, 0] * diagonals[1][:, 1] - diagonals[0][:, 1] * diagonals[1][:, 0]) / 2
    across = corners[:, 3] - corners[:, 0] + corners[:, 2] - corners[:, 1]
    ways = [
        side[:, 0] * across[:, 1] - side[:, 1] * across[:, 0]
        for side in (corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 3])
    ]
    point = (ways[0] * ways[1] <= 0) | (area < NARROW_STEP_M * width_m)
    span = np.maximum(lines.time_s[last] - lines.time_s[first], 1e-9)
    return Laid(corners, litres, area, point, step, area / (width_m * span), cell_m)
