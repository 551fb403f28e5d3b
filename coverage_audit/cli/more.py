"""The commands beside check and demo: propose, compare, look. Each takes its arguments and gives papers and text."""

from __future__ import annotations

import json
import re
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.jobs.accuracy import with_replicates
from coverage_audit.papers.words.safe import one_line, printable
from coverage_audit.read.source import is_there

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from coverage_audit.jobs.job import Job
    from coverage_audit.papers.compare_page import Price
    from coverage_audit.read.result_record import JobRecord
    from coverage_audit.recipe.result import Audit

    Progress = Callable[[str, float], None]
    AuditJob = Callable[[Job, Progress, str | None], Audit]


def add_commands(commands: argparse._SubParsersAction[Any], run: dict[str, object]) -> None:
    """Add the arguments of propose, compare and look; *run* maps each to the function that runs it."""
    propose = commands.add_parser(
        "propose", help="propose when the boom was on, for a log that does not say", allow_abbrev=False
    )
    propose.add_argument("job", metavar="JOB.toml", help="job file; its boom.intervals is not read")
    propose.add_argument("-o", "--output", type=Path, metavar="boom.csv", required=True, help="CSV file to write")
    compare = commands.add_parser("compare", help="put jobs side by side", allow_abbrev=False)
    compare.add_argument("jobs", nargs="+", metavar="JOB", help="job files, or result folders of check")
    compare.add_argument("--label", action="append", metavar="WORDS", help="name of each job, in the same order")
    compare.add_argument("--price", metavar="PRICE", help='price of the mix, such as "0.35 EUR/L"')
    compare.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the page")
    compare.add_argument("--json", action="store_true", help="print compare.json and nothing else")
    look = commands.add_parser("look", help="describe a log before any audit", allow_abbrev=False)
    look.add_argument("track", metavar="TRACK", help="GPX or NMEA log")
    look.add_argument("--timezone", metavar="NAME", help='time zone of local times, such as "America/Boise"')
    look.add_argument("--units", choices=("metric", "us"), default="metric", help="units of lengths and speeds")
    look.add_argument("--date", metavar="YYYY-MM-DD", help="UTC date of the first fix, for a log without dates")
    for name, parser in (("propose", propose), ("compare", compare), ("look", look)):
        parser.add_argument("--quiet", action="store_true", help="print nothing but errors, show no progress")
        parser.set_defaults(run=run[name])


# --- propose -------------------------------------------------------------------------------------


def proposed_csv(options: argparse.Namespace, progress: Progress) -> tuple[str, str]:
    """Give the CSV file of proposed on-times, and what to tell the person."""
    from coverage_audit.jobs.read import key_place, read_job  # noqa: PLC0415
    from coverage_audit.papers.propose_csv import proposal_csv  # noqa: PLC0415
    from coverage_audit.recipe.assumed import make_proposal  # noqa: PLC0415
    from coverage_audit.recipe.drive import job_plane  # noqa: PLC0415

    job = read_job(options.job, progress, intervals="assume")
    try:
        on_off = make_proposal(job, job_plane(job)).on_off_s()
    except InputError as error:
        raise InputError(error.what, key_place(error.place, Path(options.job).name)) from error
    text = proposal_csv(on_off, job.settings.timezone)
    name = printable(options.output.name)
    told = (
        f"{len(on_off)} boom-on times ASSUMED from the track are in {printable(str(options.output))}.\n"
        f'Correct them from memory, then set intervals = "{name}" in the job file. An audit carries an ASSUMED notice\n'
        'as long as any row says "yes" under assumed: clear it in the rows you are sure of.'
    )
    return text, told


# --- compare -------------------------------------------------------------------------------------


def compared(options: argparse.Namespace, progress: Progress, audit_job: AuditJob) -> tuple[dict[str, str], str]:
    """Papers of the comparison, and what to tell the person."""
    from coverage_audit.comparison.measures import MEASURES  # noqa: PLC0415
    from coverage_audit.comparison.statistics import compare_series  # noqa: PLC0415
    from coverage_audit.papers.compare_page import Comparison, compare_html, compare_json, notes, sentences  # noqa: PLC0415

    if len(options.jobs) < 2:
        raise InputError("give two jobs or more to compare", "arguments")
    price = parse_price(options.price)
    labels = _labels(options)
    jobs = [_record(Path(name), label, progress, audit_job) for name, label in zip(options.jobs, labels, strict=True)]
    values = [{measure.key: measure.total(job) for measure in MEASURES} for job in jobs]
    series = [{measure.key: measure.series(job) for measure in MEASURES} for job in jobs]
    seeds = count(1)
    differences = [
        (
            labels[k],
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
    found = Comparison(tuple(jobs), MEASURES, tuple(values), tuple(differences), price)
    papers = {"compare.html": compare_html(found), "compare.json": compare_json(found)}
    told = "\n".join([*sentences(found), "", *(f"  - {note}" for note in notes(found))])
    return papers, f"{told}\n\nOpen {printable(str(options.output / 'compare.html'))} in a web browser."


def _labels(options: argparse.Namespace) -> list[str]:
    given = list(options.label or ())
    if given and len(given) != len(options.jobs):
        raise InputError(f"{len(given)} labels stand beside {len(options.jobs)} jobs; give one for each", "--label")
    names = given or [
        Path(name).resolve().name if is_there(Path(name), "arguments") and Path(name).is_dir() else Path(name).stem
        for name in options.jobs
    ]
    names = [one_line(name) for name in names]
    if len(set(names)) < len(names):
        if given:
            raise InputError("two jobs have the same label; give each its own", "--label")
        names = [f"{name} ({place})" for place, name in enumerate(names, 1)]
    return names


def _record(path: Path, label: str, progress: Progress, audit_job: AuditJob) -> JobRecord:
    """Audit a job file, or read a finished result."""
    from coverage_audit.jobs.read import read_job  # noqa: PLC0415
    from coverage_audit.papers.summary import findings_geojson, passes_geojson, summary_dict  # noqa: PLC0415
    from coverage_audit.read.result import read_result  # noqa: PLC0415
    from coverage_audit.read.result_record import JobRecord  # noqa: PLC0415

    if not is_there(path, "arguments"):
        raise InputError("there is no such job file or result folder; check the name", str(path))
    if path.is_dir():
        return read_result(path, label)
    # what is compared does not rest on draws of the job
    audit = audit_job(with_replicates(read_job(path, progress), 0), progress, str(path))
    features = [tuple(json.loads(text(audit))["features"]) for text in (findings_geojson, passes_geojson)]
    return JobRecord(label, summary_dict(audit), *features)


_PRICE = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?([^\W\d_]{1,12}|[$€£]) ?(?:/|per) ?(.+)")


def parse_price(text: str | None) -> Price | None:
    """Price of the mix such as "0.35 EUR/L".

    Raises
    ------
    InputError
        It is not a number, a currency and a unit of volume.
    """
    from coverage_audit.papers.compare_page import Price  # noqa: PLC0415
    from coverage_audit.units import VOLUME_L, refuse_long  # noqa: PLC0415

    if text is None:
        return None
    refuse_long(text, "--price")
    match = _PRICE.fullmatch(" ".join(text.split()))
    unit = match[3] if match else ""
    if match is None or unit not in VOLUME_L:
        known = ", ".join(VOLUME_L)
        raise InputError(f'"{text}" is not a price of the mix; write it as "0.35 EUR/L" (volume in {known})', "--price")
    return Price(float(match[1]) / VOLUME_L[unit], match[2])


# --- look ----------------------------------------------------------------------------------------


def looked(options: argparse.Namespace) -> str:
    """Describe the log."""
    from coverage_audit.jobs import keys as job_schema  # noqa: PLC0415
    from coverage_audit.papers.look import look_text  # noqa: PLC0415
    from coverage_audit.read.tracks.registry import read_track  # noqa: PLC0415

    date = None if options.date is None else job_schema.date(options.date, "--date")
    timezone = "UTC" if options.timezone is None else job_schema.timezone(options.timezone, "--timezone")
    path = Path(options.track)
    if not is_there(path, "arguments"):
        raise InputError("there is no such file; check the name", str(path))
    return look_text(read_track(path, date), timezone, options.units)
