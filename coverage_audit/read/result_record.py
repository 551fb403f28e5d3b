"""A finished audit as the comparison sees it: its summary and its map, from memory or a result folder."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, eq=False)
class JobRecord:
    """One job: its label, its ``summary.json``, and the features of its two GeoJSON files."""

    label: str
    summary: Mapping[str, Any]
    findings: tuple[Mapping[str, Any], ...]
    lines: tuple[Mapping[str, Any], ...]

    @property
    def passes(self) -> list[Mapping[str, Any]]:
        """Headland laps and straight passes, in driving order."""
        return [one for one in self.summary.get("passes") or () if one["kind"] in ("headland", "straight")]

    @property
    def straight(self) -> list[Mapping[str, Any]]:
        """Straight passes, in driving order."""
        return [one for one in self.passes if one["kind"] == "straight"]

    @property
    def width_m(self) -> float | None:
        """Boom width. [m]"""
        width = self.summary.get("boom_m")
        return None if width is None else float(width)
