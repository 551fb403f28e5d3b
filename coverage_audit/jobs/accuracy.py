"""[accuracy] of the job file: its keys as settings, and what the command line asks for beside them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from .settings import AccuracySettings
from .tolerances import MAX_REPLICATES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .job import Job


def accuracy_settings(values: Mapping[str, Any] | None) -> AccuracySettings | None:
    """Settings from the checked table; None when the job file has none."""
    if values is None:
        return None
    units = {"sigma": "sigma_m", "time_constant": "time_constant_s", "noise": "noise_m", "boundary": "boundary_m"}
    return AccuracySettings(**{units.get(key, key): value for key, value in values.items()})


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
