"""Layers of the maps that show the passes by number, and the turns."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.recipe.result import Audit


def numbered_passes(audit: Audit) -> list[tuple[str, BaseGeometry]]:
    """(id, line) of each headland lap and straight pass."""
    found = audit.passes.passes if audit.passes else ()
    return [(f"P{one.n}", one.line) for one in found if one.kind in ("headland", "straight")]


def turn_lines(audit: Audit) -> list[BaseGeometry]:
    """Lines of the turns between passes."""
    found = audit.passes.passes if audit.passes else ()
    return [one.line for one in found if one.kind == "turn"]
