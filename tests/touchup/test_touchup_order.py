"""Which strips, how, in what order: against full enumeration, and a long run of another optimiser."""

import itertools
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.errors import InputError
from coverage_audit.touchup.order import Choice, cheapest, exact_order, library_order
from coverage_audit.touchup.turns import turn_legs

LONG_RUN_M = 3435.60
"""Best way of 60 strips that PyVRP 0.14.1 (hybrid genetic search and iterated local search, MIT licence) found
in 20 starts of 30 s each, by tests/bench/touchup_long_run.py; 3 of its 20 starts found it, the worst 3500.39. The
long run of OR-Tools 9.15 itself, 20 starts of 30 s too, found 3436.00; the plan's 3453.61 takes two seconds. [m]"""


def strips_in_a_field(strips, seed, radius=5.0):
    """Strips along passes 9 m apart in a field of 400 x 300 m, to be driven either way; all must be treated."""
    rng = np.random.default_rng(seed)
    x = 9.0 * rng.integers(1, 44, strips)
    low = rng.uniform(10, 250, strips)
    high = low + rng.uniform(8, 40, strips)
    north, south = np.zeros(strips), np.full(strips, np.pi)
    entry = np.concatenate([np.column_stack([x, low, north]), np.column_stack([x, high, south])])
    leave = np.concatenate([np.column_stack([x, high, north]), np.column_stack([x, low, south])])
    count = len(entry)
    tail, head = np.divmod(np.arange(count**2), count)
    between = turn_legs(leave[tail], entry[head], radius).sum(axis=2).min(axis=0).reshape(count, count)
    start = np.tile([0.0, 0.0, np.pi / 4], (count, 1))
    first = turn_legs(start, entry, radius).sum(axis=2).min(axis=0)
    return Choice(np.tile(np.arange(strips), 2), first, between, np.tile(high - low, 2), np.full(strips, np.inf))


def enumerated(choice):
    """Least cost over every subset, order and mode: slow and obvious."""
    modes = [np.flatnonzero(choice.strip == strip).tolist() for strip in range(len(choice.leave))]
    return min(
        choice.cost(picked)
        for size in range(len(modes) + 1)
        for order in itertools.permutations(modes, size)
        for picked in itertools.product(*order)
    )


@st.composite
def choices(draw, least=1, most=4, *, optional=True):
    """Random costs of one to three modes a strip, some impossible."""
    strips = draw(st.integers(least, most))
    strip = np.repeat(np.arange(strips), [draw(st.integers(1, 3)) for _ in range(strips)])
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    count = len(strip)
    between, first = rng.uniform(0, 10, (count, count)), rng.uniform(0, 10, count)
    own = np.where(rng.random(count) < 0.1, np.inf, rng.uniform(0, 10, count))
    leave = rng.uniform(0, 25, strips) if optional else np.full(strips, np.inf)
    return Choice(strip, first, between, own, leave)


@given(choices())
@settings(max_examples=60, deadline=None)
def test_dynamic_programme_finds_what_enumeration_finds(choice):
    assert choice.cost(exact_order(choice)) == pytest.approx(enumerated(choice), abs=1e-9)  # sums of tens


@pytest.mark.parametrize("strips", [5, 6, 7])
def test_dynamic_programme_up_to_seven_strips(strips):
    """Seven strips, two ways each: 7! x 2^7 = 645 120 orders, counted here by extending every order at once."""
    choice = strips_in_a_field(strips, seed=strips)
    orders = np.array(list(itertools.permutations(range(strips))))
    least = np.inf
    for ways in itertools.product((0, 1), repeat=strips):
        modes = orders + strips * np.array(ways)[orders]
        total = choice.first[modes[:, 0]] + choice.own[modes].sum(axis=1)
        least = min(least, float((total + choice.between[modes[:, :-1], modes[:, 1:]].sum(axis=1)).min()))
    order = exact_order(choice)
    assert len(order) == strips
    assert choice.cost(order) == pytest.approx(least, abs=1e-6)  # micrometres over hundreds of metres


def chosen_only(choice, strips):
    """The choice among some of its strips only."""
    modes = np.flatnonzero(np.isin(choice.strip, strips))
    number = np.searchsorted(strips, choice.strip[modes])
    return Choice(
        number, choice.first[modes], choice.between[np.ix_(modes, modes)], choice.own[modes], choice.leave[strips]
    )


@given(st.integers(0, 10_000), st.integers(2, 7))
@settings(max_examples=25, deadline=None)
def test_adding_a_strip_never_shortens_the_best_path(seed, strips):
    """Shortest turns keep to the triangle inequality, so a visit more is never a way less."""
    whole = strips_in_a_field(strips, seed)
    part = chosen_only(whole, np.arange(strips - 1))
    assert whole.cost(exact_order(whole)) >= part.cost(exact_order(part)) - 1e-6  # micrometres: rounding


@given(choices(least=2, most=6))
@settings(max_examples=40, deadline=None)
def test_adding_an_optional_strip_never_lowers_the_net_value(choice):
    """Net value = what leaving everything costs less the plan's cost."""
    part = chosen_only(choice, np.arange(len(choice.leave) - 1))

    def net(one):
        return float(one.leave.sum()) - one.cost(exact_order(one))

    assert net(choice) >= net(part) - 1e-9


def test_twelve_strips_are_proven_and_thirteen_are_not():
    assert cheapest(strips_in_a_field(12, 1))[1]
    order, proven = cheapest(strips_in_a_field(13, 1))
    assert not proven
    assert len(order) == 13


def test_library_agrees_with_the_dynamic_programme():
    """Ten strips, each optional: the library may lose two per cent, it may not win."""
    whole = strips_in_a_field(10, 3)
    choice = Choice(whole.strip, whole.first, whole.between, whole.own, np.full(10, 120.0))
    best, found = choice.cost(exact_order(choice)), choice.cost(library_order(choice, 150))
    assert best - 1e-3 <= found <= 1.02 * best


def test_more_strips_without_the_extra_library_say_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "ortools.constraint_solver", None)
    assert cheapest(strips_in_a_field(3, 1))[1]
    with pytest.raises(InputError, match=r"pip install '\.\[touchup\]'"):
        cheapest(strips_in_a_field(13, 1))


def test_sixty_strips_within_five_per_cent_of_a_long_run():
    choice = strips_in_a_field(60, 5)
    order, _ = cheapest(choice)
    assert sorted(choice.strip[list(order)].tolist()) == list(range(60))
    assert choice.cost(order) <= 1.05 * LONG_RUN_M
