"""Long runs of two optimisers on the 60 strips of tests/test_touchup_order.py.

    python tests/bench/touchup_long_run.py pyvrp      # or: ortools

Ten minutes: 20 starts of 30 s. OR-Tools (Apache License 2.0) starts from ten first solutions with two
metaheuristics each; PyVRP (a general-purpose vehicle routing solver, MIT licence) from 20 seeds. PyVRP
is not a dependency; install it first. Prints each start's way, and the plan's own beside the best.
"""

import sys
import time
from pathlib import Path

import numpy as np
from ortools.constraint_solver import pywrapcp, routing_enums_pb2

sys.path.insert(0, str(Path(__file__).parent.parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "touchup"))
from test_touchup_order import strips_in_a_field

from coverage_audit.touchup.order import cheapest

STARTS, SECONDS, CENTIMETRES = 20, 30, 100
FIRST = (
    *("PATH_CHEAPEST_ARC", "PATH_MOST_CONSTRAINED_ARC", "SEQUENTIAL_CHEAPEST_INSERTION", "SAVINGS", "CHRISTOFIDES"),
    *("BEST_INSERTION", "PARALLEL_CHEAPEST_INSERTION", "LOCAL_CHEAPEST_INSERTION", "GLOBAL_CHEAPEST_ARC", "AUTOMATIC"),
)
THEN = ("GUIDED_LOCAL_SEARCH", "SIMULATED_ANNEALING")


def centimetres(choice):
    """Way from each place to each, its own length included, in whole centimetres; place 0 is the start."""
    first = choice.first + choice.own
    between = choice.between + choice.own
    back = np.zeros((len(first) + 1, 1))
    table = np.round(CENTIMETRES * np.vstack([first, between])).astype(int)
    return np.hstack([back.astype(int), table])


def ortools_run(choice, start):
    """Best way of one start. [m]"""
    table = centimetres(choice)
    manager = pywrapcp.RoutingIndexManager(len(table), 1, 0)
    routing = pywrapcp.RoutingModel(manager)
    routing.SetArcCostEvaluatorOfAllVehicles(routing.RegisterTransitMatrix(table.tolist()))
    for strip in range(len(choice.leave)):
        nodes = [manager.NodeToIndex(int(mode) + 1) for mode in np.flatnonzero(choice.strip == strip)]
        routing.AddDisjunction(nodes, int(table.sum()), 1)
    search = pywrapcp.DefaultRoutingSearchParameters()
    strategies, methods = routing_enums_pb2.FirstSolutionStrategy, routing_enums_pb2.LocalSearchMetaheuristic
    search.first_solution_strategy = getattr(strategies, FIRST[start % len(FIRST)])
    search.local_search_metaheuristic = getattr(methods, THEN[start // len(FIRST)])
    search.time_limit.seconds = SECONDS
    found = routing.SolveWithParameters(search)
    return found.ObjectiveValue() / CENTIMETRES if found else float("inf")


def pyvrp_run(choice, start):
    """Best way of one start. [m]"""
    import pyvrp  # noqa: PLC0415
    import pyvrp.stop  # noqa: PLC0415

    table, model = centimetres(choice), pyvrp.Model()
    home = model.add_location(0, 0)
    model.add_depot(home)
    model.add_vehicle_type(1)
    groups = [model.add_client_group(required=True) for _ in choice.leave]
    places = [home] + [model.add_location(0, 0) for _ in choice.strip]
    for place, strip in zip(places[1:], choice.strip, strict=True):
        model.add_client(place, required=False, group=groups[int(strip)])
    for tail, one in enumerate(places):
        for head, other in enumerate(places):
            if tail != head:
                model.add_edge(one, other, distance=int(table[tail, head]))
    stop = pyvrp.stop.MaxRuntime(SECONDS)
    return pyvrp.solve(model.data(), stop, seed=start, display=False).cost() / CENTIMETRES


def main():
    run = {"ortools": ortools_run, "pyvrp": pyvrp_run}[sys.argv[1]]
    choice = strips_in_a_field(60, 5)
    found = []
    for start in range(STARTS):
        found.append(run(choice, start))
        print(f"start {start}: {found[-1]:.2f} m, best {min(found):.2f} m", flush=True)
    began = time.perf_counter()
    order, _ = cheapest(choice)
    own = choice.cost(order)
    spent = time.perf_counter() - began
    print(f"plan: {own:.2f} m in {spent:.1f} s, {100 * (own / min(found) - 1):.2f} % above the best")


if __name__ == "__main__":
    main()
