"""One job as read: its settings and everything that they name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.read.records import LOGGED, MARKED, PROPOSED, REMEMBERED

if TYPE_CHECKING:
    from collections.abc import Iterable

    from coverage_audit.facts import Caution
    from coverage_audit.jobs.settings import JobSettings
    from coverage_audit.read.records import Interval, NamedArea, TrackLog

    from .remembered import Remembered


@dataclass(frozen=True)
class Job:
    """All that was read for one job, ready for :func:`coverage_audit.recipe.audit.audit_job`.

    ``intervals`` is None unless the boom state comes from a CSV file; ``remembered`` takes the place of whatever it
    comes from. ``sources`` lists (file, sha256) of every input file; ``cautions`` are the readers'.
    ``derived_outline``: the field's outline was made from a drive over it; ``own_lap``: from one in the course of this
    very job. ``together``: jobs of other machines in the same treatment, each without its own.
    """

    settings: JobSettings
    logs: tuple[TrackLog, ...]
    boundary: tuple[NamedArea, ...]
    exclude: tuple[NamedArea, ...] = ()
    intervals: tuple[Interval, ...] | None = None
    sources: tuple[tuple[str, str], ...] = ()
    cautions: tuple[Caution, ...] = ()
    derived_outline: bool = False
    remembered: tuple[Remembered, ...] = ()
    own_lap: bool = False
    together: tuple[Job, ...] = ()


ASSUMED = "assumed"
SEEN = (LOGGED, MARKED)
"""Kinds of boom state that somebody or something noted while driving: a proof takes no other."""


def boom_state(job: Job) -> str:
    """Kind of boom state that all of the job's figures rest on: logged, marked, remembered or assumed.

    Where parts of it are of several kinds, the least certain one counts.
    """
    how = {one.how for one in job.intervals or ()}
    source = job.settings.boom.intervals
    if source == "assume" or PROPOSED in how:
        return ASSUMED
    if job.remembered or REMEMBERED in how:
        return REMEMBERED
    return MARKED if source == "marks" or MARKED in how else LOGGED


def product_key(name: str) -> str:
    """The same product by whichever letters its *name* was typed in."""
    return " ".join(name.casefold().split())


def may_be_one_mix(one: Iterable[str], other: Iterable[str]) -> bool:
    """Whether two jobs, by the names of their products, share one, or one of them does not say."""
    keys = [{product_key(name) for name in names} for names in (one, other)]
    return bool(keys[0] & keys[1]) or not all(keys)
