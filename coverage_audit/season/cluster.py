"""Tasks on the machines of a Dask cluster that is there already. Paths and plain values travel."""

from __future__ import annotations

from collections import deque
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from .lone import alone
from .model import KILLED, Ended
from .tolerances import CONNECT_S, MOST_TRIES, WAITING_PER_WORKER

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from .model import Limits


def on_cluster(
    function: Callable[[Any], Any], tasks: Sequence[Any], address: str, limits: Limits
) -> Iterator[tuple[Any, Any]]:
    """As :func:`.pool.on_this_machine`, on the cluster of the scheduler at *address* ("tcp://192.0.2.7:8786").

    A task whose process died is tried again on another worker, ``MOST_TRIES`` times in all; one whose worker was lost
    with its machine goes to another by the scheduler's own rules.

    Raises
    ------
    InputError
        The library is not installed, no scheduler answers, or it has no worker.
    """
    if not tasks:
        return
    with _client(address) as client:
        from distributed import as_completed  # noqa: PLC0415 - an extra

        workers = client.scheduler_info(n_workers=-1)["workers"]
        if not workers:
            raise InputError("the scheduler has no worker; start some", address)
        window = (1 + WAITING_PER_WORKER) * sum(one["nthreads"] for one in workers.values())
        waiting: deque[Any] = deque(tasks)
        running: dict[Any, tuple[Any, int]] = {}
        ended = as_completed(loop=client.loop)

        def start(task: Any, tries: int, elsewhere: list[str] | None = None) -> None:  # noqa: ANN401 - any task
            where = {"workers": elsewhere, "allow_other_workers": True} if elsewhere else {}
            future = client.submit(placed, function, task, limits, pure=False, **where)
            running[future] = (task, tries)
            ended.add(future)

        while waiting or running:
            while waiting and len(running) < window:
                start(waiting.popleft(), 1)
            future = next(ended)
            task, tries = running.pop(future)
            answer, place = _answer(future)
            if isinstance(answer, Ended) and answer.kind == KILLED and place and tries < MOST_TRIES:
                start(task, tries + 1, [one for one in client.scheduler_info(n_workers=-1)["workers"] if one != place])
            else:
                yield task, answer


def placed(function: Callable[[Any], Any], task: Any, limits: Limits) -> tuple[Any, str]:  # noqa: ANN401 - as alone
    """Answer of a task, and the address of the worker that this runs on."""
    from distributed import get_worker  # noqa: PLC0415

    return alone(function, task, limits), get_worker().address


def _answer(future: Any) -> tuple[Any, str]:  # noqa: ANN401 - what the function gives
    try:
        answer, place = future.result()
    except Exception as error:  # noqa: BLE001 - what a task raises is its own end and no other's
        told = f"its workers failed ({type(error).__name__}: {error}); the next run tries it again"
        return Ended(KILLED, told), ""
    finally:
        future.release()
    return answer, place


@contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client  # noqa: PLC0415
    except ImportError as error:
        raise InputError(
            "a cluster needs one more library; install it in the program's folder: .venv/bin/pip install '.[cluster]'",
            "--cluster",
        ) from error
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(f"no Dask scheduler answers there ({error}); check the address", address) from error
    with client:
        yield client
