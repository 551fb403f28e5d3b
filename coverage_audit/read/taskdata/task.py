"""Tasks of the index: what they are called, their time logs, field, operator and products."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.read.records import Task

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.read.xml import Element

    from .files import TaskData


@dataclass(frozen=True)
class LoggedTask:
    """One task: its key, what it says of itself, its field's name, and names of its time logs."""

    key: str
    facts: Task
    field: str
    logs: tuple[str, ...]

    @property
    def title(self) -> str:
        """What a person calls it."""
        return self.facts.name or self.key


def tasks_of(data: TaskData) -> list[LoggedTask]:
    """Every task of the index, with logs or without."""
    names = {one["A"]: one["B"] for one in data.every("PDT")}
    workers = {one["A"]: " ".join(filter(None, (one["C"], one["B"]))) for one in data.every("WKR")}
    fields = {one["A"]: one["C"] for one in data.every("PFD")}
    return [_task(one, names, workers, fields) for one in data.every("TSK")]


def _task(one: Element, products: dict[str, str], workers: dict[str, str], fields: dict[str, str]) -> LoggedTask:
    used = [products.get(other["A"], "") for other in one.all("PAN")]
    who = [workers.get(other["A"], "") for other in one.all("WAN")] or [workers.get(one["F"], "")]
    facts = Task(
        name=_line(one["B"]),
        operator=_line(", ".join(dict.fromkeys(filter(None, who)))),
        products=tuple(dict.fromkeys(_line(name) for name in used if name)),
    )
    logs = tuple(dict.fromkeys(other["A"] for other in one.all("TLG") if other["A"]))
    return LoggedTask(one["A"], facts, _line(fields.get(one["E"], "")), logs)


def _line(text: str) -> str:
    """A name on one line, cut where no person would write on."""
    return " ".join(text.split())[:120]


def chosen(tasks: Sequence[LoggedTask], wanted: Sequence[str], told: Sequence[str], file: str) -> list[LoggedTask]:
    """Tasks with time logs that the job is about.

    Parameters
    ----------
    tasks : sequence of LoggedTask
        Those with time logs.
    wanted : sequence of str
        Names or keys; empty = the only one.
    told : sequence of str
        Each task in words, for messages.

    Raises
    ------
    InputError
        A name that none of them has, or several tasks and no name.
    """
    listed = "; ".join(told)
    if not wanted:
        if len(tasks) == 1:
            return list(tasks)
        raise InputError(f"it holds {len(tasks)} logged tasks: {listed}. Name the job's in track.task", file)
    found: list[LoggedTask] = []
    for name in wanted:
        text = name.strip().casefold()
        fits = [one for one in tasks if text in (one.key.casefold(), one.title.casefold())]
        if not fits:
            raise InputError(f'it has no logged task "{name}"; it has: {listed}', file)
        if len(fits) > 1:
            keys = ", ".join(one.key for one in fits)
            raise InputError(f'{len(fits)} of its tasks are called "{name}"; give their keys: {keys} ({listed})', file)
        found += [one for one in fits if one not in found]
    return found
