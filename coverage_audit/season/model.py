"""Orders to workers and what they answer: plain values, which travel between processes and machines."""

from __future__ import annotations

from dataclasses import dataclass

DONE, FAILED = "done", "failed"
INPUT, TIME, MEMORY, KILLED, WRITING, FAULT = "input", "time", "memory", "killed", "writing", "fault"
"""Why a job failed: its files, its limits, a worker that died, a disk, or a fault of this program."""

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
    """How a job ended; ``kind`` and ``reason`` are "" when it is done."""

    job: str
    state: str
    kind: str = ""
    reason: str = ""
