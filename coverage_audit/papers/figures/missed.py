"""Missed strips, largest first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .figure import Figure
from .places import listed

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup:
    return listed(sheet, sheet.audit.missed_strips, "missed", "Missed strips", "None wide enough to walk to.")


FIGURE = Figure("missed", "Missed strips, largest first", _body, "(ASSUMED)")
