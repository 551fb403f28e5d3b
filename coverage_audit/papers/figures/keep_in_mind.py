"""Cautions of this job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled
from coverage_audit.papers.tolerances import CAUTIONS_SHOWN
from coverage_audit.papers.words.cautions import caution_texts

from .figure import NOTHING, Figure

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup | str:
    cautions = caution_texts(sheet.audit)
    return filled("keep_in_mind.html", cautions=cautions, shown=CAUTIONS_SHOWN) if cautions else NOTHING


FIGURE = Figure("cautions", "Keep in mind", _body, folded=False)
