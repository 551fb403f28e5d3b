"""A season: audits every job that is not up to date, and adds them up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.jobs.stamp import job_stamp
from coverage_audit.ledger.field import bare_field
from coverage_audit.ledger.fields import by_field
from coverage_audit.ledger.model import FailedJob, Ledger
from coverage_audit.read.source import Folder

from .cluster import on_cluster
from .farm import farm_facts
from .jobs import job_folders, latest, named_day, season_of
from .model import DONE, FAILED, INPUT, WRITING, Ended, Order, Outcome
from .pool import on_this_machine
from .program import program_stamp
from .store import store, stored
from .work import JOB_FILE, FieldOrder, audit_order, field_order, one_line_reason, row_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from coverage_audit.ledger.model import FieldLedger, JobRow

    from .farm import FarmFacts
    from .model import Limits

    Workers = Callable[[Callable[[Any], Any], Sequence[Any]], Iterator[tuple[Any, Any]]]
    Tell = Callable[[int, int, int], None]


@dataclass(frozen=True)
class Season:
    """A season's ledger; ``audited`` names the jobs that were not up to date."""

    ledger: Ledger
    audited: tuple[str, ...]


def local_workers(workers: int, limits: Limits) -> Workers:
    """Workers on this machine."""
    return lambda function, tasks: on_this_machine(function, tasks, workers, limits)


def cluster_workers(address: str, limits: Limits) -> Workers:
    """Workers of a cluster, by the address of its scheduler."""
    return lambda function, tasks: on_cluster(function, tasks, address, limits)


def run_season(farm: Path, wanted: str | None, limits: Limits, workers: Workers, tell: Tell) -> Season:
    """Bring a farm's season up to date and add it up.

    Parameters
    ----------
    farm : Path
        Its folder.
    wanted : str or None
        The season, named by the year it begins in; None for the latest one.
    limits : Limits
        What one job may take.
    workers : callable
        Takes a function and tasks, gives each task with its answer.
    tell : callable
        Called with how many jobs are done, left and failed.

    Raises
    ------
    InputError
        This is no farm's folder, or the season has no job.
    """
    facts, folders = farm_facts(farm), job_folders(farm)
    days = {job: named_day(job) for job in folders}
    season = wanted or latest(days.values(), facts.season_starts)
    chosen = [job for job, day in days.items() if season is None or day is None or _in(season, day, facts)]
    outcomes, orders = sorted_out(farm, chosen, limits)
    _work(farm, orders, outcomes, workers, tell)
    rows, failed = _rows(farm, [outcomes[job] for job in chosen])
    season = season or latest((row.first_day for row in rows), facts.season_starts)
    rows = [row for row in rows if season is not None and _in(season, row.first_day, facts)]
    if not rows and not failed:
        raise InputError(f"there is no job of the season {season} in it; give another with --season", str(farm))
    units = facts.units or (rows[0].units if rows else "metric")
    fields = tuple(_fields(farm, rows, workers))
    ledger = Ledger(facts.name, season or "", units, fields, tuple(failed))
    return Season(ledger, tuple(order.job for order in orders))


def _in(season: str, day: str, facts: FarmFacts) -> bool:
    return season_of(day, facts.season_starts) == season


# --- jobs ------------------------------------------------------------------------------------------


def sorted_out(farm: Path, jobs: Iterable[str], limits: Limits) -> tuple[dict[str, Outcome], list[Order]]:
    """Outcome of each job that need not be audited, and orders for the others."""
    outcomes: dict[str, Outcome] = {}
    orders = []
    for job in jobs:
        folder = farm / job
        try:
            kept = stored(folder, job)
            stamp = f"{program_stamp()} {job_stamp(Folder(folder), JOB_FILE)}"
        except InputError as error:
            outcomes[job] = Outcome(job, FAILED, INPUT, one_line_reason(str(error), folder))
            continue
        if kept is not None and kept.holds(stamp, limits, folder):
            outcomes[job] = kept.outcome
        else:
            orders.append(Order(str(farm.resolve()), job, stamp, limits))
    return outcomes, orders


def _work(farm: Path, orders: list[Order], outcomes: dict[str, Outcome], workers: Workers, tell: Tell) -> None:
    """Have the *orders* done, and add how they ended to *outcomes*."""
    left, failed = len(orders), 0
    tell(0, left, failed)
    for order, answer in workers(audit_order, orders):
        outcome = answer
        if isinstance(answer, Ended):
            outcome = Outcome(order.job, FAILED, answer.kind, one_line_reason(answer.reason))
            outcome = _kept(farm, order, outcome)
        elif outcome.state == DONE:
            outcome = _arrived(farm, order, outcome)
        outcomes[order.job] = outcome
        left -= 1
        failed += outcome.state == FAILED
        tell(len(orders) - left, left, failed)


def _kept(farm: Path, order: Order, outcome: Outcome) -> Outcome:
    try:
        store(farm / order.job, order, outcome, None)
    except InputError as error:
        return Outcome(
            order.job, FAILED, WRITING, one_line_reason(f"{outcome.reason}; besides, {error}", farm / order.job)
        )
    return outcome


def _arrived(farm: Path, order: Order, outcome: Outcome) -> Outcome:
    """*outcome*, when the record that the worker left is the one that lies here."""
    try:
        kept = stored(farm / order.job, order.job)
    except InputError:
        kept = None
    if kept is not None and kept.stamp == order.stamp:
        return outcome
    reason = "its worker wrote to another place; the farm's folder has to be the same under one path on every machine"
    return Outcome(order.job, FAILED, WRITING, reason)


def _rows(farm: Path, outcomes: Iterable[Outcome]) -> tuple[list[JobRow], list[FailedJob]]:
    """Rows of the jobs that are done, and the others with their reason."""
    rows, failed = [], []
    for one in outcomes:
        if one.state != DONE:
            failed.append(FailedJob(one.job, one.kind, one.reason))
            continue
        try:
            rows.append(one.row or row_of(farm, one.job))
        except InputError as error:
            failed.append(FailedJob(one.job, INPUT, one_line_reason(str(error), farm / one.job)))
    return rows, failed


# --- fields ----------------------------------------------------------------------------------------


def _fields(farm: Path, rows: Sequence[JobRow], workers: Workers) -> list[FieldLedger]:
    """Ledger of each field, in order of their names."""
    orders = [FieldOrder(str(farm.resolve()), name, jobs) for name, jobs in by_field(rows)]
    found = {order.field: answer for order, answer in workers(field_order, orders)}
    return [
        bare_field(order.field, order.jobs) if isinstance(found[order.field], Ended) else found[order.field]
        for order in orders
    ]
