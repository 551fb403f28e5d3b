"""One task in a process of its own, started by a worker that must outlive it.

``python -m coverage_audit.season.lone`` reads the task from its standard input and writes the answer to its standard
output. The workers of a cluster may not start processes the way `season.pool` does, and would not survive a job that
takes its process down.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from typing import TYPE_CHECKING, Any

from coverage_audit.threads import ONE_THREAD

from .model import KILLED, Ended
from .pool import out_of_time
from .work import prepare

if TYPE_CHECKING:
    from collections.abc import Callable

    from .model import Limits


def alone(function: Callable[[Any], Any], task: Any, limits: Limits) -> Any:  # noqa: ANN401 - what the function gives
    """What *function* makes of *task* in a process of its own, or how that :class:`Ended`."""
    asked = pickle.dumps((function, task, limits.memory_bytes, os.getpid()))
    try:
        done = subprocess.run(  # noqa: S603 - this interpreter and this module
            [sys.executable, "-m", __name__],
            input=asked,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **ONE_THREAD},
            timeout=limits.time_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return out_of_time(limits)
    if done.returncode:
        return Ended(KILLED, "its process died: it was killed, or the job broke it; the next run tries it again")
    return pickle.loads(done.stdout)  # noqa: S301 - written by the process that was just started


def main() -> None:
    """Do the task on standard input."""
    # written by the process that started this one
    function, task, memory_bytes, parent = pickle.loads(sys.stdin.buffer.read())  # noqa: S301
    prepare(memory_bytes, parent)
    sys.stdout.buffer.write(pickle.dumps(function(task)))


if __name__ == "__main__":
    main()
