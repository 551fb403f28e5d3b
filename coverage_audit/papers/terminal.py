"""What an audit found as text for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.words import display
from coverage_audit.papers.words.answer import (
    answer_figures,
    break_words,
    figure_line,
    first_line,
    notices,
    told_datetime,
    untold_words,
)
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.papers.words.passes import told_causes, verdict_of
from coverage_audit.papers.words.safe import one_line, printable

from .tolerances import LISTED_STRIPS

if TYPE_CHECKING:
    from coverage_audit.recipe.answer import Answer
    from coverage_audit.recipe.result import Audit


def terminal_text(audit: Audit) -> str:
    """Short text for the terminal: the answer, the places worth a walk, what the log shows, cautions."""
    found = audit.answer
    lines = [_title(audit), "", first_line(found, audit)]
    rest = [*notices(audit), *(figure_line(one) for one in answer_figures(found, audit)), untold_words(found, audit)]
    if audit.area_m2.unknown > 0:
        rest += [break_words(one, audit) for one in audit.breaks]
    lines += [f"  {sentence}" for sentence in rest if sentence]
    if found.walk:
        lines += ["", *_walk_table(found, audit)]
    told = verdict_of(audit)
    lines += ["", "What the log shows:", *(f"  {sentence}" for sentence in (told.headline, *told.sentences))]
    cautions = [*([told.caution] if told.caution else []), *caution_texts(audit)]
    if cautions:
        lines += ["", "Cautions:", *(f"  - {caution}" for caution in cautions)]
    return "\n".join(printable(line) for line in lines) + "\n"


def _title(audit: Audit) -> str:
    settings = audit.job.settings
    start = told_datetime(audit.start_s, settings)
    worked = display.duration(audit.end_s - audit.start_s)
    return f"{one_line(settings.name) or 'Spray job'}, {start}, {worked} from first to last fix"


def _walk_table(found: Answer, audit: Audit) -> list[str]:
    units, causes = audit.job.settings.report.units, told_causes(audit)
    shown = found.walk[:LISTED_STRIPS]
    rows = [
        (
            strip.id,
            display.small_area(strip.area_m2, units),
            display.length(strip.length_m, units),
            display.length(strip.mean_width_m, units),
            "" if strip.probability is None else f"{round(100 * strip.probability)} in 100",
            causes[strip.id],
        )
        for strip in shown
    ]
    cells = [("", "area", "length", "mean width", "chance", "where"), *rows]
    wide = [max(len(row[column]) for row in cells) for column in range(len(cells[0]) - 1)]
    more = f", the first {len(shown)} of {len(found.walk)}" if len(found.walk) > len(shown) else ""
    return [
        f"Places worth a walk, in walking order{more}:",
        *(
            f"  {row[0]:<{wide[0]}}  "
            + "  ".join(f"{cell:>{size}}" for cell, size in zip(row[1:-1], wide[1:], strict=True) if size)
            + f"  {row[-1]}"
            for row in cells
        ),
    ]
