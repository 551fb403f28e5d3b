"""Tasks on the cores of this machine, by Pebble: a worker that dies or hangs costs its own task and no other."""

from __future__ import annotations

import os
import sys
from collections import deque
from concurrent.futures import FIRST_COMPLETED, wait
from concurrent.futures import TimeoutError as OutOfTimeError
from multiprocessing.context import SpawnContext, SpawnProcess
from types import ModuleType
from typing import TYPE_CHECKING, Any

from .model import KILLED, MEMORY, TIME, Ended
from .tolerances import WAITING_PER_WORKER
from .work import prepare

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from .model import Limits


class _Process(SpawnProcess):
    """A process that starts afresh, without the script that this one runs: it may be anybody's, and not guarded.

    One that forks would keep the parent's locks and memory.
    """

    @staticmethod
    def _Popen(process: Any) -> Any:  # noqa: ANN401, N802 - where the library itself makes each kind of start
        main = sys.modules["__main__"]
        sys.modules["__main__"] = ModuleType("__main__")
        try:
            return SpawnProcess._Popen(process)  # noqa: SLF001 - what it replaces
        finally:
            sys.modules["__main__"] = main


class _Context(SpawnContext):
    Process = _Process


def on_this_machine(
    function: Callable[[Any], Any], tasks: Sequence[Any], workers: int, limits: Limits
) -> Iterator[tuple[Any, Any]]:
    """Each task with what *function* made of it, or with how it :class:`.model.Ended`, as they come in.

    Parameters
    ----------
    function : callable
        Of a module, so that another process finds it.
    workers : int
        Processes at work at a time.
    """
    if not tasks:
        return
    from pebble import ProcessPool  # noqa: PLC0415 - only workers need it

    pool = ProcessPool(
        max_workers=min(workers, len(tasks)),
        context=_Context(),
        initializer=prepare,
        initargs=(limits.memory_bytes, os.getpid()),
    )
    try:
        waiting: deque[Any] = deque(tasks)
        running: dict[Any, Any] = {}
        while waiting or running:
            while waiting and len(running) < workers * (1 + WAITING_PER_WORKER):
                task = waiting.popleft()
                running[pool.schedule(function, args=[task], timeout=limits.time_s)] = task
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                yield running.pop(future), _answer(future, limits)
        pool.close()
    finally:
        pool.stop()
        pool.join()


def _answer(future: Any, limits: Limits) -> Any:  # noqa: ANN401 - what the function gives
    from pebble import ProcessExpired  # noqa: PLC0415

    try:
        return future.result()
    except OutOfTimeError:
        return out_of_time(limits)
    except ProcessExpired:
        return Ended(KILLED, "its worker died: it was killed, or the job broke it; the next run tries it again")
    except MemoryError:
        return Ended(MEMORY, "it needs more memory than it may have")
    except Exception as error:  # noqa: BLE001 - what a task raises is its own end and no other's
        return Ended(KILLED, f"its worker failed ({type(error).__name__}: {error}); the next run tries it again")


def out_of_time(limits: Limits) -> Ended:
    """How a task ended that took too long."""
    return Ended(TIME, f"it took longer than {limits.time_s:g} s; look at its log, or give it more with --time-limit")
