"""Work that would go on beside other work, where there is one core for both."""

from __future__ import annotations

from concurrent.futures import Executor, Future
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

Made = TypeVar("Made")


class OneAfterAnother(Executor):
    """Does each task at once, in the caller's own thread."""

    def submit(self, fn: Callable[..., Made], /, *args: Any, **kwargs: Any) -> Future[Made]:  # noqa: ANN401 - as theirs
        """What *fn* makes, done already; what it raises is raised where the result is asked for."""
        done: Future[Made] = Future()
        try:
            done.set_result(fn(*args, **kwargs))
        except Exception as error:  # noqa: BLE001 - told where it is asked for
            done.set_exception(error)
        return done

    def map(
        self,
        fn: Callable[..., Made],
        *iterables: Iterable[Any],
        timeout: float | None = None,  # noqa: ARG002 - as theirs
        chunksize: int = 1,  # noqa: ARG002
    ) -> Iterator[Made]:
        """What *fn* makes of each, as it is asked for."""
        return map(fn, *iterables)
