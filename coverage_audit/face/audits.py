"""A job audited, as a notebook wants it: figures as a dict, findings as frames, the rest as the frozen record."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.files.whole_sets import Permit, check_folder, write_all

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from coverage_audit.jobs.job import Job
    from coverage_audit.read.result_record import JobRecord
    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import TouchupPlan

    Progress = Callable[[str, float], None]


class Audited:
    """One audit. Two of them are equal only when they are the same object."""

    def __init__(self, result: Audit) -> None:
        self.result = result

    @property
    def job(self) -> Job:
        """What was audited."""
        return self.result.job

    @cached_property
    def summary(self) -> dict[str, Any]:
        """Everything that ``summary.json`` holds, in SI units (L and L/ha for the spray), unrounded."""
        return run.summary(self.result)

    @property
    def areas(self) -> dict[str, Any]:
        """Areas by name: target, covered, missed, double, outside and the like. [m2]"""
        areas: dict[str, Any] = self.summary["area_m2"]
        return areas

    @cached_property
    def missed(self) -> Any:  # noqa: ANN401 - geopandas has no types
        """Missed strips: a GeoDataFrame of polygons in EPSG:4326, by id; columns say their units."""
        return self._frames().findings_frame(self._record, "missed")

    @cached_property
    def double(self) -> Any:  # noqa: ANN401 - geopandas has no types
        """Places sprayed twice or more: as :attr:`missed`, with ``max_visits``."""
        return self._frames().findings_frame(self._record, "double")

    @cached_property
    def passes(self) -> Any:  # noqa: ANN401 - geopandas has no types
        """Passes, laps, turns and transport in driving order: a GeoDataFrame of lines in EPSG:4326."""
        return self._frames().passes_frame(self._record)

    @cached_property
    def _record(self) -> JobRecord:
        return run.record(self.result, self.result.job.settings.name)

    @staticmethod
    def _frames() -> Any:  # noqa: ANN401 - a module
        from . import frames  # noqa: PLC0415 - geopandas takes a second to import, and not everybody asks for frames

        return frames

    def __repr__(self) -> str:
        from coverage_audit.papers.words.display import count as counted  # noqa: PLC0415 - with the papers

        told, result = run.verdict(self.result), self.result
        name = " ".join(result.job.settings.name.split()) or "spray job"
        areas = ", ".join(f"{word} {self.areas[word]:.0f} m2" for word in ("target", "covered", "missed", "double"))
        found = [
            counted(len(result.missed_strips), "missed strip", "missed strips"),
            counted(len(result.double_patches), "place sprayed twice or more", "places sprayed twice or more"),
            counted(len(result.passes.passes) if result.passes else 0, "pass", "passes"),
        ]
        lines = [
            f"<audit of {name[:80]}: {told.headline}",
            *([f"  Caution: {told.caution}"] if told.caution else []),
            f"  {areas}",
            f"  {', '.join(found)}",
            f"  {counted(len(result.cautions), 'caution', 'cautions')} in .summary['cautions']>",
        ]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        return run.notebook_html(self.result)


def read_job(path: str | Path, progress: Progress | None = None) -> Job:
    """Read a job file and every file it names.

    Parameters
    ----------
    path : str or Path
        The TOML file; relative paths in it start at its folder.
    progress : callable, optional
        Called with what is being done and the part of it that is done (0 to 1).

    Raises
    ------
    InputError
        Anything in the job file or in a file it names that cannot be used.
    """
    return run.read(path, progress)


def audit(job: Job, progress: Progress | None = None) -> Audited:
    """Audit *job*, with the defaults of the command ``check``.

    Parameters
    ----------
    job : Job
        From :func:`read_job` or :func:`coverage_audit.job`.
    progress : callable, optional
        As in :func:`read_job`.

    Raises
    ------
    InputError
        What was read cannot be audited: no fix on the field, no boom state, and the like.
    """
    job_file = job.sources[0][0] if job.sources else None  # so that a key at fault is named as it was given
    return Audited(run.audited(job, progress, job_file))


def plan_touchup(audit: Audited, day: dt.date | None = None, progress: Progress | None = None) -> TouchupPlan:
    """Decide strip by strip whether going back is worth it, and plan the way.

    Parameters
    ----------
    audit : Audited
        The job, audited.
    day : datetime.date, optional
        Local day of the touch-up; default: the day after the job.
    progress : callable, optional
        As in :func:`read_job`.
    """
    return run.planned(audit.result, day, progress)


def write(
    audit: Audited,
    folder: str | Path,
    plan: TouchupPlan | None = None,
    *,
    rate_grid: bool = False,
    replace: bool = False,
) -> tuple[str, ...]:
    """Write the papers that ``check`` writes, all or none, over nobody else's files.

    Parameters
    ----------
    audit : Audited
        The job, audited.
    folder : str or Path
        Made when it is not there.
    plan : TouchupPlan, optional
        Its papers too, and the plan in the report.
    rate_grid : bool
        Also the rate surface for map programs.
    replace : bool
        Also replace files in the folder that this program did not write, or that were changed since.

    Returns
    -------
    tuple of str
        Names of the files.

    Raises
    ------
    InputError
        The folder cannot be written to, or holds somebody else's file of such a name.
    """
    target, job = Path(folder), audit.job
    permit = Permit({sha256 for _, sha256 in job.sources}, replace)
    check_folder(target, run.REPORT_PAPERS, permit)
    papers = run.papers(run.with_plan(audit.result, plan), rate_grid=rate_grid)
    write_all(target, papers, kind="report", job=run.token(job), permit=permit)
    return tuple(papers)
