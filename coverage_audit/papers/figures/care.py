"""The usual cautions about spraying: stand in every report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled

from .figure import Figure

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(_sheet: Sheet) -> Markup:
    return filled("care.html")


FIGURE = Figure("care", "Before you go back: usual cautions", _body, folded=False)
