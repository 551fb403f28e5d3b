"""A finished audit as one typed record: its summary, its map and its rate surface, from memory or from files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class RecordSurface:
    """What every cell of the sprayed ground got. Arrays of shape (n,).

    The plane is the equal-area one about ``lon_deg``, ``lat_deg`` (see ``drive.plane``); a cell spans ``column``
    to ``column + 1`` times ``cell_m`` [m] east of there, and ``row`` likewise north. ``rate_l_ha`` is the mean over
    the part of it that was swept, ``swept`` that part. [L/ha], [1]
    """

    lon_deg: float
    lat_deg: float
    cell_m: float
    row: IntArray
    column: IntArray
    rate_l_ha: FloatArray
    swept: FloatArray


@dataclass(frozen=True, eq=False)
class RecordGround:
    """Ground of a job in degrees (WGS 84): its target, what of it was never visited, and what twice or more.

    All of it, also what is too narrow to be listed among the findings.
    """

    target: BaseGeometry
    missed: BaseGeometry
    double: BaseGeometry


@dataclass(frozen=True, eq=False)
class JobRecord:
    """One job: its label, its ``summary.json``, the features of its two GeoJSON files, its rate surface if known.

    ``ground`` is None in a record that was read from a result folder.
    """

    label: str
    summary: Mapping[str, Any]
    findings: tuple[Mapping[str, Any], ...]
    lines: tuple[Mapping[str, Any], ...]
    surface: RecordSurface | None = None
    ground: RecordGround | None = None

    @property
    def passes(self) -> list[Mapping[str, Any]]:
        """Headland laps and straight passes that were sprayed along, in driving order: ways of transport are none."""
        driven = [one for one in self.summary.get("passes") or () if one["kind"] in ("headland", "straight")]
        return [one for one in driven if one.get("on_m") is None or one["on_m"] > 0]

    @property
    def straight(self) -> list[Mapping[str, Any]]:
        """Straight passes, in driving order."""
        return [one for one in self.passes if one["kind"] == "straight"]

    @property
    def width_m(self) -> float | None:
        """Boom width. [m]"""
        width = self.summary.get("boom_m")
        return None if width is None else float(width)
