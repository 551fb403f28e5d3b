"""Ground sprayed beyond the field or in no-spray ground, by place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled
from coverage_audit.papers.tolerances import LEAST_PLACE_M2, ROWS_SHOWN
from coverage_audit.papers.words.display import small_area

from .figure import Figure
from .places import ground_places

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup:
    layers = sheet.audit.layers
    return filled(
        "beyond.html",
        outside=ground_places(layers.outside, "O", sheet.plane, sheet.units),
        excluded=ground_places(layers.excluded_sprayed, "N", sheet.plane, sheet.units),
        least_place=small_area(LEAST_PLACE_M2, sheet.units),
        rows_shown=ROWS_SHOWN,
    )


FIGURE = Figure("beyond", "Sprayed beyond the field or in no-spray ground", _body)
