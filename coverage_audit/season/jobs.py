"""The jobs of a farm's folder, and the season that each belongs to."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

from .work import JOB_FILE

if TYPE_CHECKING:
    from collections.abc import Iterable

JOBS = "jobs"
_DATED = re.compile(r"(\d{4})-(\d\d)-(\d\d)(?!\d)")


def job_folders(farm: Path) -> tuple[str, ...]:
    """Folders of jobs from the farm's ("jobs/2026-05-30-east-bench"), by name.

    Raises
    ------
    InputError
        The farm has no jobs.
    """
    folder = farm / JOBS
    if not folder.is_dir():
        raise InputError(
            'there is no folder "jobs" in it, so this is no farm\'s folder; give the one that holds farm.toml',
            str(farm),
        )
    found = tuple(f"{JOBS}/{path.parent.name}" for path in sorted(folder.glob(f"*/{JOB_FILE}")))
    if not found:
        raise InputError("it holds no job (a folder with a job.toml in it)", str(folder))
    return found


def named_day(job: str) -> str | None:
    """ISO date that the name of a job's folder begins with; None where it has none."""
    match = _DATED.match(Path(job).name)
    if match is None:
        return None
    try:
        return dt.date(*(int(part) for part in match.groups())).isoformat()
    except ValueError:  # not in the calendar
        return None


def season_of(day: str, starts: tuple[int, int]) -> str:
    """Season of an ISO date, named by the year it begins in; *starts* is the month and day on which one begins."""
    date = dt.date.fromisoformat(day)
    return str(date.year if (date.month, date.day) >= starts else date.year - 1)


def latest(days: Iterable[str | None], starts: tuple[int, int]) -> str | None:
    """Latest season that any of the *days* lies in."""
    return max((season_of(day, starts) for day in days if day is not None), default=None)
