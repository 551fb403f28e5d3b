"""``coverage-audit touchup``, and the options that give the same plan beside ``check --touchup``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.papers.words.safe import printable

from . import terminal
from .output import note, start, write

if TYPE_CHECKING:
    import argparse
    import datetime as dt

    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import TouchupPlan


def add_touchup(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``touchup`` with its arguments, and the options of ``check`` that give the same plan."""
    touchup = commands.add_parser(
        "touchup", help="decide whether going back for missed strips is worth it, and plan it", allow_abbrev=False
    )
    touchup.add_argument("job", metavar="JOB.toml", help="job file")
    touchup.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the plan")
    touchup.add_argument("--json", action="store_true", help="print touchup.json and nothing else")
    terminal.add_quiet(touchup)
    touchup.set_defaults(run=touchup_command)
    check: argparse.ArgumentParser = commands.choices["check"]
    check.add_argument("--touchup", action="store_true", help="also plan a touch-up pass, and show it in the report")
    for parser in (touchup, check):
        parser.add_argument(
            "--on",
            type=touchup_day,
            metavar="YYYY-MM-DD",
            help="local day of the touch-up (default: the day after the job)",
        )


def touchup_command(options: argparse.Namespace) -> None:
    """Plan the touch-up and write its papers."""
    start(options, run.REPORT_PAPERS)
    with terminal.progress_bar(options) as progress:
        job = run.read(options.job, progress)
        audit = run.audited(job, progress, options.job)
        plan = run.planned(audit, options.on, progress)
        papers = run.papers(run.with_plan(audit, plan))
    note(options, job)
    write(options, papers, kind="report", job=run.token(job), beside=True)
    if options.json:
        terminal.show_json(str(papers["touchup.json"]))
    else:
        terminal.say(options, _told(audit, plan, options.output))


def touchup_day(text: str) -> dt.date:
    """Day of ``--on``.

    Raises
    ------
    InputError
        It is no date, or out of range.
    """
    from coverage_audit.jobs import keys as job_schema  # noqa: PLC0415

    day: dt.date = job_schema.date(text, "--on")
    return day


def _told(audit: Audit, plan: TouchupPlan, folder: Path) -> str:
    """What to tell the person on the terminal."""
    from coverage_audit.papers.words import touchup as words  # noqa: PLC0415
    from coverage_audit.papers.words.display import duration, length  # noqa: PLC0415

    units, count = audit.job.settings.report.units, len(audit.job.settings.boom.sections_m)
    lines = [words.headline(plan, units), ""]
    lines += [
        f"  {one.id:<4} {words.METHOD_WORDS[one.advice]:<10} {words.reason(one, plan, units)}"
        for one in plan.strips[:12]
    ]
    if len(plan.strips) > 12:
        lines.append(f"  and {len(plan.strips) - 12} more strips: see touchup.json")
    if plan.stops:
        lines += ["", "The way:"]
        lines += [f"  {k}. {words.stop_words(stop, count, units)}" for k, stop in enumerate(plan.stops, start=1)]
        lines += ["", f"{length(plan.path_m, units)} to drive, about {duration(plan.time_s)}."]
        lines.append(words.mix_words(plan, units))
    lines += [*words.date_words(plan), words.after_words(plan, audit.area_m2.missed, audit.area_m2.double, units)]
    lines += ["", "Cautions:", *(f"  - {text}" for text in words.cautions(plan, units))]
    lines += [
        "",
        f"Print {folder / 'touchup_sheet.html'} and take it along; beside it: report.html, touchup.gpx (for a phone),",
        "touchup.geojson and touchup.json.",
    ]
    return "\n".join(printable(line) for line in lines)
