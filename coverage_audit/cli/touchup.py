"""``coverage-audit touchup``, and the same plan beside ``check --touchup``: arguments in, papers and text out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.papers.words.safe import printable

if TYPE_CHECKING:
    import argparse
    import datetime as dt
    from collections.abc import Callable

    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import TouchupPlan

    Progress = Callable[[str, float], None]


def add_touchup(
    commands: argparse._SubParsersAction[Any],
    check: argparse.ArgumentParser,
    run: Callable[[argparse.Namespace], None],
) -> None:
    """Add ``touchup`` with its arguments, run by *run*, and the options of *check* that give the same plan."""
    touchup = commands.add_parser(
        "touchup", help="decide whether going back for missed strips is worth it, and plan it", allow_abbrev=False
    )
    touchup.add_argument("job", metavar="JOB.toml", help="job file")
    touchup.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the plan")
    touchup.add_argument("--json", action="store_true", help="print touchup.json and nothing else")
    touchup.add_argument("--quiet", action="store_true", help="print nothing but errors, show no progress")
    touchup.set_defaults(run=run)
    check.add_argument("--touchup", action="store_true", help="also plan a touch-up pass, and show it in the report")
    for parser in (touchup, check):
        parser.add_argument(
            "--on",
            type=touchup_day,
            metavar="YYYY-MM-DD",
            help="local day of the touch-up (default: the day after the job)",
        )


def refuse_lost(options: argparse.Namespace) -> None:
    """Refuse options of *check* that would be without effect."""
    if options.on is not None and not options.touchup:
        raise InputError("a day is given but no touch-up is asked for; add --touchup", "--on")
    if options.touchup and options.output is None:
        raise InputError("the plan needs a folder to go into; add -o DIR", "--touchup")


def planned(audit: Audit, options: argparse.Namespace, progress: Progress) -> TouchupPlan:
    """Plan the touch-up of an audited job."""
    from coverage_audit.recipe.touchup import plan_touchup  # noqa: PLC0415

    return plan_touchup(audit, options.on, progress)


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


def touchup_papers(audit: Audit, plan: TouchupPlan) -> dict[str, str]:
    """File name to content of everything about the plan but the report."""
    from coverage_audit.papers.figures.touchup import touchup_sheet  # noqa: PLC0415
    from coverage_audit.papers.touchup_files import touchup_files  # noqa: PLC0415

    return {**touchup_files(audit, plan), "touchup_sheet.html": touchup_sheet(audit, plan)}


def told(audit: Audit, plan: TouchupPlan, folder: Path) -> str:
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
