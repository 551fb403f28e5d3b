"""Places worth a walk, in walking order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled
from coverage_audit.papers.tolerances import WALK_SHOWN
from coverage_audit.papers.words.answer import strip_chance, strip_size
from coverage_audit.papers.words.passes import told_causes
from coverage_audit.recipe.decision import GO_BACK

from .figure import NOTHING, Figure
from .places import degrees

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup | str:
    strips = sheet.audit.answer.walk
    if not strips:
        return NOTHING
    causes, places = told_causes(sheet.audit), degrees([strip.label_point for strip in strips], sheet.plane)
    rows = [
        {
            "id": strip.id,
            "size": strip_size(strip, sheet.units),
            "chance": strip_chance(strip),
            "cause": causes[strip.id],
            "lat": lat,
            "lon": lon,
        }
        for strip, (lat, lon) in zip(strips, places, strict=True)
    ]
    going = sheet.audit.answer.decision.kind == GO_BACK
    return filled("walk.html", rows=rows, shown=WALK_SHOWN, going=going)


FIGURE = Figure("walk", "Places worth a walk", _body, "(boom state ASSUMED)", folded=False)
