"""Audits one after the other behind the page: how far they are, and how they are stopped."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.sheet.facts import WorkFacts

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Any

    Tell = Callable[..., None]
    Recipe = Callable[[Tell], None]


class StoppedError(Exception):
    """Somebody stopped the work, or something newer takes its place."""


class Work:
    """One worker; of each job only the newest work counts."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="audit")
        self._lock = threading.Lock()
        self._facts: dict[str, WorkFacts] = {}
        self._run: dict[str, int] = {}

    def begin(self, job: str, recipe: Recipe) -> None:
        """Work on *job*; older work on it is stopped. *recipe* is called with what it tells its progress to."""
        with self._lock:
            number = self._run.get(job, 0) + 1
            self._run[job] = number
        self._put(job, number, stage="waiting", what="", part=0.0, fault="", areas={})
        self._pool.submit(self._do, job, number, recipe)

    def stop(self, job: str) -> None:
        """Stop the work on *job*, if there is any."""
        with self._lock:
            number = self._run.get(job, 0)
            self._run[job] = number + 1
            if self._facts.get(job, WorkFacts()).is_working:
                self._set(job, stage="stopped", what="", part=0.0)

    def close(self) -> None:
        """Stop everything; nothing new is begun."""
        with self._lock:
            self._run = {job: number + 1 for job, number in self._run.items()}
        self._pool.shutdown(wait=False, cancel_futures=True)

    def facts(self, job: str) -> WorkFacts:
        """How far the work on *job* is."""
        with self._lock:
            return self._facts.get(job, WorkFacts())

    @property
    def is_working(self) -> bool:
        """Whether anything is being worked on."""
        with self._lock:
            return any(one.is_working for one in self._facts.values())

    def _do(self, job: str, number: int, recipe: Recipe) -> None:
        def tell(**changes: Any) -> None:  # noqa: ANN401 - fields of WorkFacts
            if not self._put(job, number, **changes):
                raise StoppedError

        try:
            tell(stage="plain")
            recipe(tell)
            self._put(job, number, stage="done", what="", part=1.0)
        except StoppedError:
            pass  # whoever stopped it has said so
        except InputError as error:
            self._put(job, number, stage="failed", what="", fault=str(error))
        except Exception as error:  # noqa: BLE001 - the last door: a fault of ours is told, and the page goes on
            told = f"a fault of this program, not of what you gave it ({type(error).__name__}: {error})"
            self._put(job, number, stage="failed", what="", fault=told)

    def _put(self, job: str, number: int, **changes: Any) -> bool:  # noqa: ANN401 - fields of WorkFacts
        """Change the facts if this work is still the newest; whether it is."""
        with self._lock:
            if self._run.get(job) != number:
                return False
            self._set(job, **changes)
            return True

    def _set(self, job: str, **changes: Any) -> None:  # noqa: ANN401 - fields of WorkFacts
        before = self._facts.get(job, WorkFacts())
        self._facts[job] = replace(before, serial=before.serial + 1, **changes)


def plain_areas(summary: Mapping[str, Any]) -> dict[str, float]:
    """The areas that are told while the rest is still being worked out. [m2]"""
    areas = summary["area_m2"]
    return {name: areas[name] for name in ("target", "covered", "missed", "double") if areas[name] is not None}
