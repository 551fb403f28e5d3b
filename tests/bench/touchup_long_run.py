"""Long run of PyVRP on the 60 strips of tests/test_touchup_order.py: python tests/bench/touchup_long_run.py.

Ten minutes: 20 starts of 30 s. PyVRP (a general-purpose vehicle routing solver, MIT licence) is not
a dependency; install it first. Prints each start's way, and the plan's own beside the best.
"""

import sys
import time
from pathlib import Path

import pyvrp
import pyvrp.stop

sys.path.insert(0, str(Path(__file__).parent.parent))
from test_touchup_order import strips_in_a_field

from coverage_audit.touchup_order import cheapest

STARTS, SECONDS, CENTIMETRES = 20, 30.0, 100


def model_of(choice):
    """The same choice as groups of mutually exclusive places, distances in centimetres."""
    model = pyvrp.Model()
    home = model.add_location(0, 0)
    model.add_depot(home)
    model.add_vehicle_type(1)
    groups = [model.add_client_group(required=True) for _ in choice.leave]
    places = [model.add_location(0, 0) for _ in choice.strip]
    for place, strip in zip(places, choice.strip, strict=True):
        model.add_client(place, required=False, group=groups[int(strip)])
    for head, place in enumerate(places):
        model.add_edge(home, place, distance=round(CENTIMETRES * (choice.first[head] + choice.own[head])))
        model.add_edge(place, home, distance=0)
        for tail, other in enumerate(places):
            if tail != head:
                way = choice.between[tail, head] + choice.own[head]
                model.add_edge(other, place, distance=round(CENTIMETRES * way))
    return model.data()


def main():
    choice = strips_in_a_field(60, 5)
    data = model_of(choice)
    best = float("inf")
    for seed in range(STARTS):
        result = pyvrp.solve(data, pyvrp.stop.MaxRuntime(SECONDS), seed=seed, display=False)
        best = min(best, result.cost() / CENTIMETRES)
        print(f"start {seed}: {result.cost() / CENTIMETRES:.2f} m, best {best:.2f} m", flush=True)
    began = time.perf_counter()
    order, _ = cheapest(choice)
    own = choice.cost(order)
    print(f"plan: {own:.2f} m in {time.perf_counter() - began:.1f} s, {100 * (own / best - 1):.2f} % above")


if __name__ == "__main__":
    main()
