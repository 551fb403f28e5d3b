"""Read, audit, papers as {name: content}: the one way in for command, page, season and notebook.

In: a job file, or what stands for one. Out: a job, an audit, a plan, papers by file name. May touch: the files
that are read. Nothing here writes or prints. The rooms below are imported where they are used, so that help and
mistakes in the arguments answer at once.
"""

# ruff: noqa: PLC0415 - see above

from __future__ import annotations

import hashlib
import threading
from dataclasses import replace
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Mapping, Sequence

    from coverage_audit.accuracy.standing import Standing
    from coverage_audit.farm.day import DayResult
    from coverage_audit.jobs.job import Job
    from coverage_audit.papers.compare_page import Comparison, Price
    from coverage_audit.papers.words.display import Verdict
    from coverage_audit.read.result_record import JobRecord
    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import TouchupPlan

    Progress = Callable[[str, float], None]

REPORT_PAPERS = (
    *("report.html", "summary.json", "findings.geojson", "missed.gpx", "passes.geojson"),
    *("report.png", "report.pdf"),
)
"""What an audit gives in any case."""

COMPARISON_PAPERS = ("compare.html", "compare.json")


# --- read -----------------------------------------------------------------------------------------


def read(
    job_file: str | Path,
    progress: Progress | None = None,
    *,
    intervals: str | None = None,
    replicates: int | None = None,
) -> Job:
    """Read a job file and every file it names.

    Parameters
    ----------
    job_file : str or Path
        The TOML file.
    progress : callable, optional
        Called with what is being done and the part of it that is done (0 to 1).
    intervals : str, optional
        Stands in for the file's boom.intervals.
    replicates : int, optional
        Stands in for the file's accuracy.replicates: draws of the job that carry GPS error through, 0 for none.

    Raises
    ------
    InputError
        Anything in the job file or in a file it names that cannot be used.
    """
    from coverage_audit.jobs.accuracy import with_replicates
    from coverage_audit.jobs.read import read_job

    return with_replicates(read_job(job_file, progress, intervals=intervals), replicates)


def read_given(given: Mapping[str, Any], progress: Progress | None = None, *, replicates: int | None = None) -> Job:
    """Job without a job file, from the options of *check* that stand for its keys, by name (``antenna_ahead``).

    Raises
    ------
    InputError
        As :func:`read`; the place is the option.
    """
    from coverage_audit.jobs.accuracy import with_replicates
    from coverage_audit.jobs.read import job_from_options

    return with_replicates(job_from_options(**given, progress=progress), replicates)


def read_files(contents: Mapping[str, str | bytes], job_file: str, progress: Progress | None = None) -> Job:
    """Read a job whose files are in memory, name to content; *job_file* is the name of the TOML file among them.

    Raises
    ------
    InputError
        As :func:`read`.
    """
    from coverage_audit.jobs.read import read_job_from
    from coverage_audit.read.packed import Memory

    files = {name: one.encode() if isinstance(one, str) else one for name, one in contents.items()}
    return read_job_from(Memory(files), job_file, progress)


def token(job: Job) -> str:
    """What tells a job from others: a hash over everything it was read from."""
    return hashlib.sha256("".join(sorted(sha256 for _, sha256 in job.sources)).encode()).hexdigest()


# --- audit ----------------------------------------------------------------------------------------


def audited(job: Job, progress: Progress | None = None, job_file: str | Path | None = None) -> Audit:
    """Audit *job*; a key that is at fault is named as the person gave it in *job_file*.

    Raises
    ------
    InputError
        What was read cannot be audited: no fix on the field, no boom state, and the like.
    """
    from coverage_audit.jobs.read import key_place
    from coverage_audit.recipe.audit import audit_job

    try:
        return audit_job(job, progress or _silent)
    except InputError as error:
        name = None if job_file is None else Path(job_file).name
        raise InputError(error.what, key_place(error.place, name)) from error


def planned(audit: Audit, day: dt.date | None = None, progress: Progress | None = None) -> TouchupPlan:
    """Plan the touch-up of an audited job for a local *day* (default: the day after the job)."""
    from coverage_audit.recipe.touchup import plan_touchup

    return plan_touchup(audit, day, progress or _silent)


def proposed(job_file: str | Path, progress: Progress | None = None) -> tuple[int, str]:
    """How many boom-on times the track lets one assume, and the CSV file that holds them.

    Raises
    ------
    InputError
        As :func:`read` and :func:`audited`.
    """
    from coverage_audit.jobs.read import key_place
    from coverage_audit.papers.propose_csv import proposal_csv
    from coverage_audit.recipe.driven_edge import proposal_of

    job = read(job_file, progress, intervals="assume")
    try:
        on_off = proposal_of(job).on_off_s()
    except InputError as error:
        raise InputError(error.what, key_place(error.place, Path(job_file).name)) from error
    return len(on_off), proposal_csv(on_off, job.settings.timezone)


def described(track: Path, date: dt.date | None, timezone: str, units: str) -> str:
    """Text about a log, or every log of a zip file or of task data, before any audit."""
    from coverage_audit.papers.look import look_text
    from coverage_audit.read.source import Folder
    from coverage_audit.read.tracks.form import Asked
    from coverage_audit.read.tracks.registry import logs_of

    asked = Asked(date, "" if timezone == "UTC" else timezone, each_task=True)
    return "\n".join(look_text(log, timezone, units) for log in logs_of(Folder(track.parent), track.name, asked))


def receiver(track: Path, date: dt.date | None = None) -> Standing:
    """What a log shows of its receiver's error while it stands.

    Raises
    ------
    InputError
        The log cannot be read, or its fixes are too few or too far apart.
    """
    from coverage_audit.read.tracks.registry import read_track
    from coverage_audit.recipe.receiver import receiver_of

    return receiver_of(read_track(track, date))


def receiver_papers(found: Standing, name: str, units: str) -> tuple[str, str]:
    """What is known of a receiver and the smallest skip that it can tell: in words for the person, and as JSON."""
    from coverage_audit.papers.receiver import receiver_json, receiver_text
    from coverage_audit.recipe.receiver import skips_of

    skips = skips_of(found)
    return receiver_text(found, name, units, skips), receiver_json(found, skips)


def receiver_keys(found: Standing) -> dict[str, str]:
    """The lines of ``[accuracy]`` that say what is known of a receiver; none when it is not enough."""
    from coverage_audit.papers.receiver import receiver_keys as keys

    return keys(found) if found.enough else {}


def with_receiver(farm_text: str, machine: str, keys: Mapping[str, str], place: str) -> str:
    """A farm's file with these ``accuracy`` keys of one machine; all else stays."""
    from coverage_audit.papers.receiver import with_receiver as changed

    return changed(farm_text, machine, keys, place)


def _silent(_stage: str, _fraction: float) -> None:
    """Tell nobody how far the work is."""


# --- papers ---------------------------------------------------------------------------------------


def fetch_report_room() -> None:
    """Import what the papers need, and compile their pages, while the audit computes: a second on a small machine."""
    threading.Thread(target=_fetched, daemon=True).start()


def _fetched() -> None:
    from coverage_audit.papers.report_set import fetch

    fetch()


def summary(audit: Audit) -> dict[str, Any]:
    """Everything that ``summary.json`` holds, in SI units (L and L/ha for the spray), unrounded."""
    from coverage_audit.papers.summary import summary_dict

    return summary_dict(audit)


def verdict(audit: Audit) -> Verdict:
    """What the audit found, in sentences."""
    from coverage_audit.papers.words.passes import verdict_of

    return verdict_of(audit)


def notebook_html(audit: Audit) -> str:
    """Verdict and still map as a piece of HTML that needs nothing but itself."""
    from coverage_audit.papers.notebook import notebook_html as html

    return html(audit)


def summary_text(audit: Audit) -> str:
    """``summary.json`` as text."""
    from coverage_audit.papers.summary import summary_json

    return summary_json(audit)


def with_plan(audit: Audit, plan: TouchupPlan | None) -> Audit:
    """*audit* whose papers all tell the touch-up *plan* and answer by its reckoning."""
    return replace(audit, plan=plan)


def papers(audit: Audit, *, rate_grid: bool = False) -> dict[str, str | bytes]:
    """File name to content of everything that an audit gives, with its touch-up plan when there is one.

    Parameters
    ----------
    rate_grid : bool
        Also the rate surface in open formats.

    Raises
    ------
    InputError
        A rate grid is asked for and no rate is known.
    """
    from coverage_audit.papers.report_set import report_set

    return {
        **report_set(audit),
        **({} if audit.plan is None else _plan_papers(audit, audit.plan)),
        **(_rate_grid(audit) if rate_grid else {}),
    }


def _plan_papers(audit: Audit, plan: TouchupPlan) -> dict[str, str]:
    from coverage_audit.papers.figures.touchup import touchup_sheet
    from coverage_audit.papers.touchup_files import touchup_files

    return {**touchup_files(audit, plan), "touchup_sheet.html": touchup_sheet(audit, plan)}


def _rate_grid(audit: Audit) -> dict[str, str]:
    from coverage_audit.papers.rate_files import rate_files

    found = rate_files(audit)
    if not found:
        raise InputError("no rate is known, so there is no grid; give a flow or a volume under [rate]", "--rate-grid")
    return found


# --- comparison -----------------------------------------------------------------------------------


def record(audit: Audit, label: str) -> JobRecord:
    """An audit as the comparison and the season see it."""
    from coverage_audit.papers.record import job_record

    return job_record(audit, label)


def finished(path: Path, label: str) -> JobRecord:
    """A finished audit as the comparison sees it, from a result folder or a saved record.

    Raises
    ------
    InputError
        A file is missing, damaged, or of another kind.
    """
    from coverage_audit.read.result import read_result
    from coverage_audit.read.result_saved import load_record

    return read_result(path, label) if path.is_dir() else load_record(path, label, surface=False)


def compared(jobs: Sequence[JobRecord], price: Price | None = None) -> Comparison:
    """Put jobs side by side: their measures, and the differences of each from the first.

    Raises
    ------
    InputError
        The log of a job holds another field as well, so none of its figures is of this one.
    """
    from coverage_audit.comparison.measures import MEASURES, other_field_m2
    from coverage_audit.comparison.statistics import compare_series
    from coverage_audit.papers.compare_page import Comparison
    from coverage_audit.papers.words.cautions import other_field_words

    for job in jobs:
        beyond_m2 = other_field_m2(job)
        if beyond_m2 is not None:
            units = str(job.summary["job"].get("units") or "metric")
            raise InputError(other_field_words(units, outside_m2=beyond_m2), job.label)
    values = [{measure.key: measure.total(job) for measure in MEASURES} for job in jobs]
    series = [{measure.key: measure.series(job) for measure in MEASURES} for job in jobs]
    seeds = count(1)
    differences = [
        (
            jobs[k].label,
            compare_series(
                measure.key,
                series[0][measure.key],
                series[k][measure.key],
                (values[0][measure.key], values[k][measure.key]),
                next(seeds),
            ),
        )
        for k in range(1, len(jobs))
        for measure in MEASURES
    ]
    return Comparison(tuple(jobs), MEASURES, tuple(values), tuple(differences), price)


def comparison_sentences(found: Comparison) -> tuple[list[str], list[str]]:
    """What differs by more than chance, and what the comparison can and cannot say."""
    from coverage_audit.papers.compare_page import notes, sentences

    return sentences(found), notes(found)


def comparison_papers(found: Comparison) -> dict[str, str]:
    """File name to content of a comparison."""
    from coverage_audit.papers.compare_page import compare_html, compare_json

    return dict(zip(COMPARISON_PAPERS, (compare_html(found), compare_json(found)), strict=True))


# --- the farm -------------------------------------------------------------------------------------


def new_farm(name: str) -> dict[str, str]:
    """File name to content of a new farm."""
    from coverage_audit.farm.keep import new_farm

    return new_farm(name)


def fields_added(folder: str | Path, file: str | Path, name: str | None, *, no_spray: bool = False) -> dict[str, str]:
    """File name, from the farm's *folder*, to content of what keeping the fields of a *file* writes."""
    from coverage_audit.farm.keep import fields_added

    return fields_added(folder, file, name, no_spray=no_spray)


def day_cut(
    folder: str | Path, logs: Sequence[str | Path] = (), machine: str | None = None, progress: Progress | None = None
) -> DayResult:
    """Cut whole days of logs of a farm's *folder* into jobs: facts, and files by name; nothing is written."""
    from coverage_audit.farm.day import day_cut

    return day_cut(folder, logs, machine, progress or _silent)
