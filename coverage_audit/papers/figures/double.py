"""Sprayed twice or more, largest first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .figure import Figure
from .places import listed

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup:
    return listed(sheet, sheet.audit.double_patches, "double", "Double-sprayed patches", "None wide enough to list.")


FIGURE = Figure("double", "Sprayed twice or more, largest first", _body, "(ASSUMED)")
