"""Replicates that the command line asks for beside [accuracy] of the job file."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

from .settings import AccuracySettings
from .tolerances import MAX_REPLICATES

if TYPE_CHECKING:
    from .job import Job


def with_replicates(job: Job, replicates: int | None) -> Job:
    """*job* with so many replicates; None leaves it to the job file and, without a word there, to the recipe."""
    if replicates is None:
        return job
    stated = replace(job.settings.accuracy or AccuracySettings(), replicates=replicates)
    return replace(job, settings=replace(job.settings, accuracy=stated))


def whole_replicates(text: str) -> int:
    """``--replicates`` as a number.

    Raises
    ------
    InputError
        Not a whole number from 0 to ``MAX_REPLICATES``.
    """
    if text.isascii() and text.isdigit() and int(text) <= MAX_REPLICATES:
        return int(text)
    raise InputError(f'"{text}" is not a whole number from 0 to {MAX_REPLICATES}', "--replicates")
