"""Which strips to treat, how, and in what order: the cheapest choice over known costs.

A *mode* is one way to treat one strip: a method and the direction it is driven in. Every strip gets
one of its modes or is left. Up to ``EXACT_STRIPS`` strips the cheapest plan is found exactly, by the
dynamic programme over subsets (Held & Karp 1962, J. SIAM 10:196-210, from memory) with a mode as
its last place; beyond that by the routing solver of OR-Tools (strips as disjunctions of modes).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError

from .tolerances import EXACT_STRIPS, LIBRARY_MOST_S, LIBRARY_SOLUTIONS, LIBRARY_UNIT

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Choice:
    """Costs of a plan's parts, in one unit; inf = cannot be.

    ``strip`` (m,) numbers the strip of each mode from 0; ``first`` (m,) is the way from the start
    to it, ``between`` (m, m) that from the row's mode to the column's, ``own`` (m,) the mode itself;
    ``leave`` (s,) what leaving each strip costs (inf = it must be treated).
    """

    strip: IntArray
    first: FloatArray
    between: FloatArray
    own: FloatArray
    leave: FloatArray

    def cost(self, order: tuple[int, ...]) -> float:
        """Cost of treating the modes *order* one after another and leaving all other strips. [money]"""
        way = sum(float(self.between[a, b]) for a, b in pairwise(order))
        begin = float(self.first[order[0]]) if order else 0.0
        own = sum(float(self.own[mode]) for mode in order)
        left = np.delete(self.leave, [int(self.strip[mode]) for mode in order])
        return begin + way + own + float(left.sum())


def most_ordered(wanted: int) -> int:
    """How many of *wanted* strips can be ordered here: beyond ``EXACT_STRIPS`` it takes OR-Tools, an extra."""
    try:
        import ortools  # noqa: F401, PLC0415 - only whether it is there
    except ImportError:
        return min(wanted, EXACT_STRIPS)
    return wanted


def cheapest(choice: Choice) -> tuple[tuple[int, ...], bool]:
    """Modes of the cheapest plan in order, and whether it is proven the cheapest."""
    if len(choice.leave) <= EXACT_STRIPS:
        return exact_order(choice), True
    return library_order(choice, LIBRARY_SOLUTIONS), False


def exact_order(choice: Choice) -> tuple[int, ...]:
    """Modes of the cheapest plan, in order, by dynamic programming over sets of strips.

    Of plans that cost the same, one with the fewest strips is given.
    """
    best = _table(choice)
    count = len(choice.leave)
    members = (np.arange(1 << count)[:, None] >> np.arange(count)) & 1
    left = np.where(members == 0, choice.leave, 0.0).sum(axis=1)
    total = best.min(axis=1, initial=np.inf) + left
    total[0] = left[0]
    size = members.sum(axis=1)
    lowest = total.min()
    slack = 1e-9 * max(1.0, abs(float(lowest))) if np.isfinite(lowest) else 0.0
    good = np.flatnonzero(total <= lowest + slack)
    chosen = int(good[np.argmin(size[good])])
    return _walk_back(choice, best, chosen)


def _table(choice: Choice) -> FloatArray:
    """Least cost of each set of strips (row) that ends in each mode (column), strips left not counted."""
    count, modes = len(choice.leave), len(choice.strip)
    best = np.full((1 << count, modes), np.inf)
    sets = np.arange(1 << count)
    size = ((sets[:, None] >> np.arange(count)) & 1).sum(axis=1)
    for mode in range(modes):
        best[1 << int(choice.strip[mode]), mode] = choice.first[mode] + choice.own[mode]
    for many in range(2, count + 1):
        layer = sets[size == many]
        for strip in range(count):
            rows = layer[(layer >> strip) & 1 == 1]
            here = np.flatnonzero(choice.strip == strip)
            before = best[rows ^ (1 << strip)]
            for column in here.tolist():
                best[rows, column] = (before + choice.between[:, column]).min(axis=1) + choice.own[column]
    return best


def _walk_back(choice: Choice, best: FloatArray, members: int) -> tuple[int, ...]:
    """Order that leads to the set *members* (one bit a strip) at its least cost."""
    order: list[int] = []
    taken = 0
    while taken != members:
        row = best[members - taken]
        order.append(int(np.argmin(row + choice.between[:, order[-1]] if order else row)))
        taken += 1 << int(choice.strip[order[-1]])
    return tuple(reversed(order))


def library_order(choice: Choice, solutions: int) -> tuple[int, ...]:
    """Modes of a good plan, in order, by the routing solver of OR-Tools (guided local search).

    Parameters
    ----------
    choice : Choice
        Costs.
    solutions : int
        Neighbouring plans it may accept before it stops.

    Raises
    ------
    InputError
        OR-Tools is not installed.
    """
    try:  # imported here: an extra that smaller jobs do not need
        from ortools.constraint_solver import pywrapcp, routing_enums_pb2  # noqa: PLC0415
    except ImportError as error:
        raise InputError(
            f"{len(choice.leave)} strips are worth a visit; to order more than {EXACT_STRIPS} an extra library is "
            "needed. Install it in the program's folder: .venv/bin/pip install '.[touchup]'",
            "touchup",
        ) from error
    usable = np.flatnonzero(np.isfinite(choice.own) & np.isfinite(choice.first))
    arcs, scale = _whole_numbers(choice, usable)
    count = len(usable)
    manager = pywrapcp.RoutingIndexManager(count + 2, 1, [0], [count + 1])
    routing = pywrapcp.RoutingModel(manager)
    routing.SetArcCostEvaluatorOfAllVehicles(routing.RegisterTransitMatrix(arcs))
    for strip, leave in enumerate(choice.leave):
        nodes = [manager.NodeToIndex(k + 1) for k in np.flatnonzero(choice.strip[usable] == strip)]
        if nodes:
            penalty = round(float(leave) * scale) if np.isfinite(leave) else _never(arcs)
            routing.AddDisjunction(nodes, penalty, 1)
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.solution_limit = solutions
    search.time_limit.seconds = LIBRARY_MOST_S
    found = routing.SolveWithParameters(search)
    if found is None:
        return ()
    order, index = [], routing.Start(0)
    while not routing.IsEnd(index := found.Value(routing.NextVar(index))):
        order.append(int(usable[manager.IndexToNode(index) - 1]))
    return tuple(order)


def _never(arcs: list[list[int]]) -> int:
    return 4 * len(arcs) * max(max(row) for row in arcs) + 1


def _whole_numbers(choice: Choice, usable: IntArray) -> tuple[list[list[int]], float]:
    """Arc costs as whole numbers (node 0 = start, the last = anywhere), and how many make one unit."""
    between = choice.between[np.ix_(usable, usable)] + choice.own[usable]
    first = choice.first[usable] + choice.own[usable]
    finite = np.concatenate([between[np.isfinite(between)], first, choice.leave[np.isfinite(choice.leave)]])
    scale = LIBRARY_UNIT / max(float(finite.max(initial=0.0)), 1e-12)
    count = len(usable)
    arcs = np.zeros((count + 2, count + 2))
    arcs[0, 1:-1] = first
    arcs[1:-1, 1:-1] = between
    whole = np.where(np.isfinite(arcs), np.round(arcs * scale), 10 * LIBRARY_UNIT).astype(np.int64)
    return whole.tolist(), scale
