"""Missed strips, by area times chance."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .figure import Figure
from .places import listed

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup:
    return listed(sheet, sheet.audit.answer.listed, "missed", "Missed strips", "None that this log can show.")


FIGURE = Figure("missed", "Missed strips, by size and chance", _body, "(ASSUMED)")
