"""How an audit ended, kept beside its job: one file with the outcome and, when it was done, the saved record."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.files.one_file import remove_parts, replace_file
from coverage_audit.read.result_saved import SavedAudit, load_record, packed_files, record_files
from coverage_audit.run import REPORT_PAPERS

from .model import DONE, FAILED, KEPT, MEMORY, TIME, Outcome

if TYPE_CHECKING:
    from pathlib import Path

    from coverage_audit.read.result_record import JobRecord

    from .model import Limits, Order

AUDIT, REPORT = "audit.zip", "report"
"""File and folder in a job's folder: the saved audit, and the papers."""

OUTCOME = "outcome.json"
SCHEMA = "coverage-audit audit 1"


@dataclass(frozen=True)
class Stored:
    """What a job's folder tells of its last audit; limits are those it was audited under. [s], [byte]"""

    stamp: str
    outcome: Outcome
    time_s: float
    memory_bytes: int

    def holds(self, stamp: str, limits: Limits, folder: Path) -> bool:
        """Whether an audit now would come to the same end."""
        if self.stamp != stamp:
            return False
        if self.outcome.state == DONE:
            return all((folder / REPORT / name).is_file() for name in REPORT_PAPERS)
        more = {TIME: limits.time_s > self.time_s, MEMORY: limits.memory_bytes > self.memory_bytes}
        return not more.get(self.outcome.kind, False)


def stored(folder: Path, job: str) -> Stored | None:
    """What the folder of *job* keeps of an audit; None where there is nothing, or nothing whole.

    Raises
    ------
    InputError
        A file of that name is there which this program did not write.
    """
    path = folder / AUDIT
    if not path.exists():
        return None
    try:
        return _stored(json.loads(SavedAudit(path).read(OUTCOME).data), job)
    except (InputError, ValueError, OverflowError, KeyError, TypeError, RecursionError) as error:
        raise InputError(f"this file is not one that this program wrote ({error}); move it away", str(path)) from error


def _stored(told: dict[str, Any], job: str) -> Stored:
    if told["schema"] != SCHEMA:
        raise ValueError("another kind of file")
    stamp, state, kind, reason = (told[name] for name in ("stamp", "state", "kind", "reason"))
    if not all(isinstance(one, str) for one in (stamp, state, kind, reason)):
        raise TypeError("what should be text is none")
    return Stored(stamp, Outcome(job, state, kind, reason), float(told["time_s"]), int(told["memory_bytes"]))


def store(folder: Path, order: Order, outcome: Outcome, record: JobRecord | None) -> None:
    """Keep the outcome of *order*, with its *record* when it is done; nothing of a failure that may not come again.

    Raises
    ------
    InputError
        It cannot be written.
    """
    if outcome.state == FAILED and outcome.kind not in KEPT:
        return
    told: dict[str, Any] = {
        "schema": SCHEMA,
        "stamp": order.stamp,
        "state": outcome.state,
        "kind": outcome.kind,
        "reason": outcome.reason,
        "time_s": order.limits.time_s,
        "memory_bytes": order.limits.memory_bytes,
    }
    files = {OUTCOME: json.dumps(told, ensure_ascii=False).encode()}
    if record is not None:
        files |= record_files(record)
    remove_parts(folder, AUDIT)
    replace_file(folder / AUDIT, packed_files(files))


def record_of(farm: Path, job: str, *, surface: bool = True) -> JobRecord:
    """Saved record of a job that is done.

    Raises
    ------
    InputError
        It is damaged.
    """
    return load_record(farm / job / AUDIT, job, surface=surface)
