"""The answer's three figures: surely missed, perhaps missed, sprayed twice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled
from coverage_audit.papers.words.answer import answer_figures, untold_words

from .figure import Figure

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup:
    return filled(
        "three_figures.html",
        figures=answer_figures(sheet.audit.answer, sheet.audit),
        untold=untold_words(sheet.audit.answer, sheet.audit),
    )


FIGURE = Figure("figures", "Three figures", _body, folded=False, quiet=True)
