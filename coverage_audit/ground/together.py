"""Machines that sprayed one field together: each one's ground, and what it comes to on their common ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely

from coverage_audit.solid import overlap, without

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True)
class Sprayed:
    """One machine's ground in plane metres: what was to be sprayed, what of it was visited, and what more than once."""

    target: BaseGeometry
    covered: BaseGeometry
    double: BaseGeometry


def common_ground(parts: Sequence[Sprayed]) -> dict[str, float]:
    """Areas ``target``, ``covered``, ``missed`` and ``double`` of all machines together. [m2]

    Ground that two of them sprayed counts as sprayed twice, as does what one of them did; ground is missed when none
    sprayed it.
    """
    target = shapely.union_all([one.target for one in parts])
    double = shapely.union_all([one.double for one in parts])
    covered: BaseGeometry = shapely.MultiPolygon()
    for one in parts:
        double = shapely.union(double, overlap(covered, one.covered))
        covered = shapely.union(covered, one.covered)
    missed = without(target, covered)
    return {"target": target.area, "covered": covered.area, "missed": missed.area, "double": double.area}
