"""Orders to workers and what they answer: plain values, which travel between processes and machines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coverage_audit.ledger.model import JobRow

DONE, FAILED = "done", "failed"
INPUT, TIME, MEMORY, FAULT = "input", "time", "memory", "fault"
KILLED, WRITING, VERSION = "killed", "writing", "version"
"""Why a job failed: its files, its limits, a fault of this program; a worker that died, a disk, another program."""

KEPT = frozenset({INPUT, TIME, MEMORY, FAULT})
"""Failures that would come again as long as nothing changes; the others are tried anew by every run."""


@dataclass(frozen=True)
class Limits:
    """What one job may take: time [s], and memory for its data [byte]."""

    time_s: float
    memory_bytes: int


@dataclass(frozen=True)
class Order:
    """One job to audit: the farm's folder, the job's from there, the stamp of what it depends on, its limits."""

    farm: str
    job: str
    stamp: str
    limits: Limits


@dataclass(frozen=True)
class Outcome:
    """How a job ended; ``kind`` and ``reason`` are "" when it is done.

    ``row`` is what the ledger needs of it, where a worker has just audited it.
    """

    job: str
    state: str
    kind: str = ""
    reason: str = ""
    row: JobRow | None = None


@dataclass(frozen=True)
class Ended:
    """A task that gave no answer: ``kind`` as above, and what is known of why."""

    kind: str
    reason: str
