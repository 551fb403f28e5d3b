"""Drawn errors taken off the boom lines, and the ground of each draw counted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.gaps.posterior import drawn_to_condition, simulate_errors
from coverage_audit.threads import side_by_side

from .scan import Cuts, Scan
from .strips import cross_cuts, needed_m, real_strips
from .swept import steps_of
from .tolerances import CUT_REACH_SIGMAS, KNOT_STEP_M, MOST_AT_ONCE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import BoomPath
    from coverage_audit.ground.model import BoomLines

    from .draws import Question, RunAll, Source
    from .swept import Steps


@dataclass(frozen=True)
class Booms:
    """Boom lines as they lie with antenna and fixed axle at one place, and the path that they are of."""

    lines: list[BoomLines]
    path: BoomPath


@dataclass(frozen=True)
class Drawn:
    """Steps that draws are made of, and when the boom was at each of their lines, shape (boom lines,). [s]"""

    steps: Steps
    line_s: FloatArray

    @classmethod
    def of(cls, booms: Booms) -> Drawn:
        """Those between *booms*, with lines near enough to each other for errors to differ little between them."""
        lines = [with_knots(one, KNOT_STEP_M) for one in booms.lines]
        travel = np.concatenate([one.travel_m for one in lines])
        return cls(steps_of(lines), np.interp(travel, booms.path.travel_m, booms.path.time_s))

    def shifts(self, times: FloatArray, shift: FloatArray) -> FloatArray:
        """*shift* (times, 2), known at *times* that rise, at each boom line, shape (boom lines, 2). [m]"""
        return np.column_stack([np.interp(self.line_s, times, column) for column in shift.T])


def counted(
    question: Question, sources: Sequence[Source], count: int, run_all: RunAll, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Each draw's area missed and double [m2], and 1 for each strip that is real in it, shape (count, 2 + strips).

    And both areas (2,) as the log shows them with the antenna where it likely was. [m2]
    What scanning and thinning shift the areas by is put back. Draws take the places of antenna and axle in turns.
    """
    calm = Drawn.of(question.calm)
    drawn = [Drawn.of(one) for one in question.by_place] or [calm]
    scan = Scan.over(question.target, calm.steps, question.width_m)
    plain = steps_of([with_knots(one, KNOT_STEP_M) for one in question.lines])
    off = scan.areas(plain) - question.observed_m2[:2]
    across = cross_cuts(question.strips, _reach(question))
    needed = needed_m(question.strips, across)
    times = np.unique(calm.line_s)
    rows: list[FloatArray] = []
    for first in range(0, count, MOST_AT_ONCE):
        size = min(MOST_AT_ONCE, count - first)
        shift = _shifts(sources, times, size, rng)
        farthest = np.hypot(*np.moveaxis(shift, 1, 0)).max(axis=1)
        cuts = []
        for one in drawn:
            reach = np.interp(one.line_s, times, farthest)[one.steps.line].max(axis=1)
            cuts.append(Cuts.of(across.ravel(), question.target, one.steps, reach, question.width_m))

        def of_draw(number: int, shift: FloatArray = shift, cuts: list[Cuts] = cuts) -> FloatArray:
            turn = number % len(drawn)
            moved = drawn[turn].steps.moved(drawn[turn].shifts(times, shift[:, :, number]))
            real = real_strips(cuts[turn].missed_m(moved).reshape(across.shape), needed)
            return np.concatenate([scan.areas(moved) - off, real])

        rows += run_all(of_draw, size)
    seen = scan.areas(calm.steps) - off if question.placed else np.array(question.observed_m2[:2])
    return np.array(rows), seen


def _shifts(sources: Sequence[Source], times: FloatArray, count: int, rng: np.random.Generator) -> FloatArray:
    """By how much the truth lies beside the log in each draw, shape (times, 2, count). [m]

    Errors given the gaps, or knowing nothing of them, each group of draws by another particle.
    """
    shift = np.empty((len(times), 2, count))
    ends = np.round(count * np.cumsum([share for _, _, share in sources])).astype(int)
    sizes = np.diff(ends, prepend=0)

    def by_chance() -> Iterator[tuple[int, Callable[[], tuple[FloatArray, FloatArray]]]]:
        for (one, seen, _), size, end in zip(sources, sizes.tolist(), ends.tolist(), strict=True):
            if not size:
                continue
            if seen is None:
                yield end - size, _told(simulate_errors(times, one.error, size, rng))
            else:
                yield end - size, drawn_to_condition(times, seen, one, size, rng)

    def told(drawn: tuple[int, Callable[[], tuple[FloatArray, FloatArray]]]) -> None:
        wander, boundary = drawn[1]()
        shift[:, :, drawn[0] : drawn[0] + boundary.shape[1]] = boundary - wander

    side_by_side(told, by_chance())  # what is drawn by chance stays in order
    return shift


def _told(errors: tuple[FloatArray, FloatArray]) -> Callable[[], tuple[FloatArray, FloatArray]]:
    return lambda: errors


def _reach(question: Question) -> float:
    """How far beyond a strip its true place is looked for. [m]"""
    return min(CUT_REACH_SIGMAS * float(question.error.sigma_m.max()), question.width_m / 2)


def with_knots(lines: BoomLines, step_m: float) -> BoomLines:
    """*lines* with so many more between them that none is *step_m* or more from the next. [m]"""
    step = np.diff(lines.travel_m)
    count = np.maximum(np.ceil(step / step_m), 1).astype(int)
    count[lines.gap_after[:-1]] = 1
    base = np.repeat(np.arange(len(step)), count)
    share = (np.arange(len(base)) - np.repeat(np.cumsum(count) - count, count)) / count[base]
    last = share + 1 / count[base] > 1 - 1e-9

    def between(column: FloatArray) -> FloatArray:
        return np.append(column[base] + share * np.diff(column)[base], column[-1:])

    return replace(
        lines,
        x_m=between(lines.x_m),
        y_m=between(lines.y_m),
        heading_rad=between(lines.heading_rad),
        travel_m=between(lines.travel_m),
        gap_after=np.append(lines.gap_after[base] & last, [False]),
        bridged_after=np.append(lines.bridged_after[base], [False]),
        cut=np.append(lines.cut[base] & (share == 0), lines.cut[-1:]),
    )
