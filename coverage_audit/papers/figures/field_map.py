"""The map: a still picture with its legend, and the frame that the live map is drawn in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from coverage_audit.papers.maps.layers import map_layers
from coverage_audit.papers.maps.live import MAP_ID, legend_label
from coverage_audit.papers.maps.still import static_map
from coverage_audit.papers.templating import filled
from coverage_audit.papers.words.accuracy import chances_asked

from .figure import Figure

if TYPE_CHECKING:
    from .figure import Sheet


def _body(sheet: Sheet) -> Markup:
    audit = sheet.audit
    return filled(
        "map.html",
        map_id=MAP_ID,
        still=Markup(static_map(audit)),  # noqa: S704 - made by static_map, which escapes
        legend=[Markup(legend_label(layer)) for layer in map_layers(audit) if layer.shown],  # noqa: S704 - holds constants only
        paler=chances_asked(audit) and bool(audit.missed_strips),
    )


FIGURE = Figure("map", "Map", _body, "(boom state ASSUMED)", folded=False, quiet=True)
