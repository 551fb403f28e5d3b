"""One job as read: its settings and everything that they name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coverage_audit.jobs.settings import JobSettings
    from coverage_audit.read.records import Interval, NamedArea, TrackLog


@dataclass(frozen=True)
class Job:
    """All that was read for one job, ready for :func:`coverage_audit.recipe.audit.audit_job`.

    ``intervals`` is None unless the boom state comes from a CSV file. ``sources`` lists
    (file, sha256) of every input file; ``cautions`` are the readers' sentences. ``derived_outline``: the field's
    outline was made from a drive over it.
    """

    settings: JobSettings
    logs: tuple[TrackLog, ...]
    boundary: tuple[NamedArea, ...]
    exclude: tuple[NamedArea, ...] = ()
    intervals: tuple[Interval, ...] | None = None
    sources: tuple[tuple[str, str], ...] = ()
    cautions: tuple[str, ...] = ()
    derived_outline: bool = False
