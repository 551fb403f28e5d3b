"""From the saved job to its papers: what ``check`` does, with the plain areas told on the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit import run
from coverage_audit.files.whole_sets import Permit, check_folder, write_all
from coverage_audit.jobs.accuracy import with_replicates
from coverage_audit.sheet.boom import taken_for_granted
from coverage_audit.sheet.draft import JOB_FILE

from .desk import REPORT
from .view import likeliest_on
from .work import plain_areas

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from .desk import Desk

    Tell = Callable[..., None]


def answered(desk: Desk, wanted: str, tell: Tell) -> None:
    """Audit the job *wanted* and write its papers into its report, as ``check`` does.

    Raises
    ------
    InputError
        Anything in the job or what it names that cannot be used; a paper that somebody has changed since.
    """
    folder = desk.job(wanted)
    job_file, report = folder.path / JOB_FILE, folder.path / REPORT
    with desk.alone:
        check_folder(report, run.REPORT_PAPERS)
    job = run.read(job_file, lambda what, part: tell(what=what, part=part))
    permit = Permit({sha256 for _, sha256 in job.sources})
    on_times = likeliest_on(folder)
    counted = with_replicates(job, 0) if on_times is None else taken_for_granted(job, on_times)
    plain = run.audited(counted, lambda what, part: tell(what=what, part=part), job_file)
    tell(stage="sure", areas=plain_areas(run.summary(plain)), part=0.0)
    audit = run.audited(job, lambda what, part: tell(what=what, part=part), job_file)
    tell(what="writing the report", part=1.0)
    papers = run.papers(audit)
    tell(what="writing the report", part=1.0)
    with desk.alone:
        write_all(report, papers, kind="report", job=run.token(job), permit=permit)


def planned(desk: Desk, job_file: Path, folder: Path, tell: Tell) -> None:
    """Plan the touch-up and write its papers into *folder*, as ``touchup`` does.

    Raises
    ------
    InputError
        As :func:`answered`.
    """
    with desk.alone:
        check_folder(folder, run.REPORT_PAPERS)
    job = run.read(job_file, lambda what, part: tell(what=what, part=part))
    audit = run.audited(job, lambda what, part: tell(what=what, part=part), job_file)
    plan = run.planned(audit, None, lambda what, part: tell(what=what, part=part))
    permit = Permit({sha256 for _, sha256 in job.sources})
    papers = run.papers(run.with_plan(audit, plan))
    with desk.alone:
        write_all(folder, papers, kind="report", job=run.token(job), beside=True, permit=permit)
