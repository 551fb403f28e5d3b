"""Ground that nobody can speak for: the log was paused or cut, and only the driver knows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled
from coverage_audit.papers.words.answer import break_words
from coverage_audit.papers.words.display import area

from .figure import NOTHING, Figure
from .places import strip_places

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup | str:
    audit = sheet.audit
    if audit.area_m2.unknown <= 0:
        return NOTHING
    return filled(
        "unknown.html",
        whole=area(audit.area_m2.unknown, sheet.units),
        breaks=[break_words(one, audit) for one in audit.breaks],
        places=strip_places(audit, audit.unknown_places, sheet.plane),
    )


FIGURE = Figure("unknown", "Unknown: were you spraying?", _body, folded=False)
