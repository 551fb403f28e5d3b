"""Threads: how many the linear algebra under NumPy takes, by its makers' names, and work laid side by side."""

from __future__ import annotations

import os
from collections import deque
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from concurrent.futures import Executor, Future

ONE_THREAD = dict.fromkeys(
    ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS", "OMP_NUM_THREADS"), "1"
)
"""For the environment of a process. Sums of several threads differ in their last digits with the number of
processors, and small ones take longer; the libraries read this when they are first imported."""

MOST_AT_ONCE = 4
"""Threads that arrays and geometry, which let go of the interpreter, are worked on by: each needs some memory, and
more gain little. [1]"""

CORES = "COVERAGE_AUDIT_CORES"
"""In the environment: how many cores this process may use, instead of all. The workers of a season take one each."""

LONGEST_COUNT = 4
"""Digits from which on no number of cores is meant. [1]"""

Item = TypeVar("Item")
Made = TypeVar("Made")


def cores() -> int:
    """Threads that work side by side here: one a core, since more would only wait for one another."""
    told = os.environ.get(CORES, "")
    own = int(told) if told.isdecimal() and len(told) < LONGEST_COUNT else 0
    return min(MOST_AT_ONCE, own or os.cpu_count() or 1)


def beside() -> Executor:
    """Workers for what goes on beside the caller's own work; with one core it is done when it is asked for."""
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415 - help and mistakes answer at once

    from .one_core import OneAfterAnother  # noqa: PLC0415 - likewise

    return ThreadPoolExecutor(cores()) if cores() > 1 else OneAfterAnother()


def side_by_side(work: Callable[[Item], Made], items: Iterable[Item]) -> list[Made]:
    """*work* on each of *items*, in their order, on every core; what they make must not depend on one another.

    Items are taken as they are needed, so that few of them are held at a time.
    """
    made: list[Made] = []
    begun: deque[Future[Made]] = deque()
    with beside() as workers:
        for item in items:
            begun.append(workers.submit(work, item))
            if len(begun) > 2 * cores():
                made.append(begun.popleft().result())
        return made + [one.result() for one in begun]
