"""What no track can show: stands in every report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled

from .figure import Figure

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(_sheet: Sheet) -> Markup:
    return filled("limits.html")


FIGURE = Figure("limits", "What no track can show", _body)
