"""What an audit found as text for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.words import display
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.papers.words.passes import told_causes, verdict_of
from coverage_audit.papers.words.safe import one_line, printable

from .tolerances import LISTED_STRIPS

if TYPE_CHECKING:
    from coverage_audit.recipe.result import Audit


def terminal_text(audit: Audit) -> str:
    """Short text for the terminal: verdict, cautions, the job's figures, the largest missed strips."""
    settings = audit.job.settings
    told = verdict_of(audit)
    lines = [_title(audit), "", told.headline, *(f"  {sentence}" for sentence in told.sentences)]
    cautions = [*([told.caution] if told.caution else []), *caution_texts(audit)]
    if cautions:
        lines += ["", "Cautions:", *(f"  - {caution}" for caution in cautions)]
    if audit.missed_strips:
        lines += ["", *_strip_table(audit, settings.report.units)]
    return "\n".join(printable(line) for line in lines) + "\n"


def _title(audit: Audit) -> str:
    settings = audit.job.settings
    start = display.local_datetime(audit.start_s, settings.timezone)
    worked = display.duration(audit.end_s - audit.start_s)
    return f"{one_line(settings.name) or 'Spray job'}, {start}, {worked} from first to last fix"


def _strip_table(audit: Audit, units: str) -> list[str]:
    strips, causes = audit.missed_strips, told_causes(audit)
    shown = strips[:LISTED_STRIPS]
    rows = [
        (
            strip.id,
            display.small_area(strip.area_m2, units),
            display.length(strip.length_m, units),
            display.length(strip.mean_width_m, units),
            causes[strip.id],
        )
        for strip in shown
    ]
    cells = [("", "area", "length", "mean width", "where"), *rows]
    wide = [max(len(row[column]) for row in cells) for column in range(4)]
    largest = f", the largest {len(shown)} of {len(strips)}" if len(strips) > len(shown) else ""
    return [
        f"Missed strips{largest}:",
        *(
            f"  {row[0]:<{wide[0]}}  {row[1]:>{wide[1]}}  {row[2]:>{wide[2]}}  {row[3]:>{wide[3]}}  {row[4]}"
            for row in cells
        ),
    ]
