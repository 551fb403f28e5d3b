"""What a worker does: audits one job and leaves its papers and record beside it; or adds up one field."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.lock import FolderBusyError
from coverage_audit.files.whole_sets import Permit, write_all
from coverage_audit.ledger.field import field_ledger
from coverage_audit.ledger.rows import job_row
from coverage_audit.threads import CORES

from .model import DONE, FAILED, FAULT, INPUT, MEMORY, VERSION, WRITING, Outcome
from .program import program_stamp
from .store import REPORT, record_of, store
from .tolerances import BUSY_STEP_S, BUSY_WAIT_S, LONGEST_REASON, PARENT_STEP_S

if TYPE_CHECKING:
    from coverage_audit.ledger.model import FieldLedger, JobRow
    from coverage_audit.read.result_record import JobRecord

    from .model import Order

JOB_FILE = "job.toml"
OTHER_VERSION = "its worker has another version of this program, of Python or of a library; install the same everywhere"


def one_line_reason(text: str, folder: Path | None = None) -> str:
    """*text* on one line, cut where it is very long; files in the job's *folder* by their names alone."""
    line = " ".join((text if folder is None else text.replace(f"{folder}{os.sep}", "")).split())
    return line if len(line) <= LONGEST_REASON else f"{line[: LONGEST_REASON - 1]}…"


def audit_order(order: Order) -> Outcome:
    """Audit one job as ``check`` does, write its papers into its report folder, and keep its record.

    Whatever goes wrong is the outcome: a job stops nothing but itself.
    """
    folder = Path(order.farm) / order.job
    if not order.stamp.startswith(program_stamp()):
        return Outcome(order.job, FAILED, VERSION, OTHER_VERSION)
    try:
        papers, record, sources, token = _audited(folder / JOB_FILE, order.job)
    except InputError as error:
        return _kept(order, folder, Outcome(order.job, FAILED, INPUT, one_line_reason(str(error), folder)))
    except MemoryError:
        return _kept(order, folder, too_large(order))
    except Exception as error:  # noqa: BLE001 - the last door of one job among many
        reason = f"a fault of this program, not of the input ({type(error).__name__}: {error}); report it"
        return _kept(order, folder, Outcome(order.job, FAILED, FAULT, one_line_reason(reason, folder)))
    try:
        _written(folder / REPORT, papers, sources, token)
        store(folder, order, Outcome(order.job, DONE), record)
        row = row_of(Path(order.farm), order.job)
    except InputError as error:
        return Outcome(order.job, FAILED, WRITING, one_line_reason(str(error), folder))
    return Outcome(order.job, DONE, row=row)


def row_of(farm: Path, job: str) -> JobRow:
    """The ledger's row of a job that is done, from what is kept of it.

    Raises
    ------
    InputError
        That is damaged.
    """
    return job_row(job, record_of(farm, job, surface=False))


def too_large(order: Order) -> Outcome:
    """Outcome of a job that needs more memory than it may have."""
    most = order.limits.memory_bytes / 1024**3
    reason = f"it needs more than {most:.3g} GiB of memory; give it more with --memory-limit, or cut its log"
    return Outcome(order.job, FAILED, MEMORY, reason)


def _audited(job_file: Path, label: str) -> tuple[dict[str, str | bytes], JobRecord, frozenset[str], str]:
    job = run.read(job_file)
    audit = run.audited(job, None, job_file)
    sources = frozenset(sha256 for _, sha256 in job.sources)
    return run.papers(audit), run.record(audit, label), sources, run.token(job)


def _kept(order: Order, folder: Path, outcome: Outcome) -> Outcome:
    """*outcome*, kept for the next run; one that cannot be kept is found anew."""
    try:
        store(folder, order, outcome, None)
    except InputError as error:
        return Outcome(order.job, FAILED, WRITING, one_line_reason(f"{outcome.reason}; besides, {error}", folder))
    return outcome


def _written(folder: Path, papers: dict[str, str | bytes], sources: frozenset[str], token: str) -> None:
    """Write the papers; a run that was ended a moment ago may still hold the folder."""
    until = time.monotonic() + BUSY_WAIT_S
    while True:
        try:
            write_all(folder, papers, kind="report", job=token, permit=Permit(sources))
        except FolderBusyError:
            if time.monotonic() > until:
                raise
            time.sleep(BUSY_STEP_S)
        else:
            return


# --- a field ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class FieldOrder:
    """One field to add up: the farm's folder, the field's name, its jobs' rows."""

    farm: str
    field: str
    jobs: tuple[JobRow, ...]


def field_order(order: FieldOrder) -> FieldLedger:
    """Ledger of one field, from the saved records of its jobs."""
    farm = Path(order.farm)
    return field_ledger(order.field, order.jobs, lambda job: record_of(farm, job))


# --- the worker's own process ----------------------------------------------------------------------


def prepare(memory_bytes: int, parent: int) -> None:
    """Make this process a worker: one core, its memory bounded, and gone when the process *parent* is gone."""
    os.environ[CORES] = "1"  # there are as many workers as cores are to be used
    if sys.platform != "win32":
        import resource  # noqa: PLC0415 - not there on Windows

        # the data of the process and not its address space: libraries reserve far more than they use
        resource.setrlimit(resource.RLIMIT_DATA, (memory_bytes, resource.getrlimit(resource.RLIMIT_DATA)[1]))
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # who started it decides
        threading.Thread(target=_follow, args=(parent,), daemon=True).start()


def _follow(parent: int) -> None:
    """End this process when its parent has ended: nobody would hear of what it does."""
    while os.getppid() == parent:
        time.sleep(PARENT_STEP_S)
    if sys.platform != "win32":
        os.kill(os.getpid(), signal.SIGKILL)
