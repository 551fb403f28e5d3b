"""The figures of a coverage proof: one job and the touch-ups after it, as decimal strings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely

from coverage_audit.drive.plane import Plane
from coverage_audit.rate.tolerances import BAND_SLACK
from coverage_audit.recipe.audit import accuracy_unasked
from coverage_audit.units import HECTARE_M2

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.accuracy.model import Accuracy
    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.recipe.result import Audit

    Record = dict[str, Any]


def text(value: float, decimals: int) -> str:
    """A figure as a decimal string, never in exponents and never minus zero."""
    return f"{value + 0.0:.{decimals}f}".replace("-0." + "0" * decimals, "0." + "0" * decimals)


class Form(NamedTuple):
    """How one figure is written: digits after the point, unit, and where it comes from."""

    decimals: int
    unit: str
    origin: str


FORMS = {
    "target_m2": Form(1, "m2", "derived"),
    "proven_m2": Form(1, "m2", "derived"),
    "proven_share": Form(2, "%", "derived"),
    "logged_share": Form(2, "%", "derived"),
    "missed_first_m2": Form(1, "m2", "derived"),
    "missed_left_m2": Form(1, "m2", "derived"),
    "double_m2": Form(1, "m2", "derived"),
    "within_10pct_share": Form(2, "%", "derived"),
    "intended_l_ha": Form(1, "L/ha", "typed"),
    "covered_low90_share": Form(2, "%", "derived"),
}
"""Every figure of the proof: areas to 0.1 m2, shares to 0.01 %."""

MAY_BE_UNKNOWN = ("within_10pct_share", "intended_l_ha", "covered_low90_share")
"""Figures that a record may leave unknown; no proof is made without the others."""


def seen_alone(audit: Audit) -> Accuracy | None:
    """How sure the figures are by what the log itself says of its positions: nothing that was typed has a say."""
    sure = audit.accuracy
    if sure is not None and not sure.asked:
        return sure
    return accuracy_unasked(audit)


def figures(audits: Sequence[Audit], seen: Accuracy | None) -> Record:
    """Every figure of the proof, each in its one form; None where it is not known.

    What is proven is the lower of what was logged and the lower end of its range, and the range is that of the log
    alone (*seen*, of the first job): so no claim about receiver or steering moves it.
    """
    first = audits[0]
    areas = first.area_m2
    healed = _healed_m2(audits)
    logged = areas.proven + healed
    within = within_10pct_share(audits)
    low = seen.covered_m2.low90 if seen and seen.covered_m2.told else None
    proven = logged if low is None else min(logged, max(low - areas.covered + logged, 0.0))
    values = {
        "target_m2": areas.target,
        "proven_m2": proven,
        "proven_share": 100 * proven / areas.target,
        "logged_share": 100 * logged / areas.target,
        "missed_first_m2": areas.missed,
        "missed_left_m2": areas.missed - healed,
        "double_m2": areas.double,
        "within_10pct_share": None if within is None else 100 * within,
        "intended_l_ha": first.volume.target_l_ha,
        "covered_low90_share": None if low is None else 100 * low / areas.target,
    }
    return {name: _figure(values[name], form) for name, form in FORMS.items()}


def _figure(value: float | None, form: Form) -> Record:
    shown = None if value is None else text(value, form.decimals)
    return {"value": shown, "unit": form.unit, "origin": form.origin}


def shown_figures(figures: Record, place: str) -> Record:
    """Figures as the buyer sees them: areas to 0.1 ha where the place is not to be found by them."""
    return figures if place == "exact" else {name: _coarse(one) for name, one in figures.items()}


def _coarse(figure: Record) -> Record:
    if figure["unit"] != "m2" or figure["value"] is None:
        return figure
    return {"value": text(float(figure["value"]) / HECTARE_M2, 1), "unit": "ha", "origin": figure["origin"]}


def within_10pct_share(audits: Sequence[Audit]) -> float | None:
    """Share of the covered ground where what all jobs applied adds up to within 10 % of the intended rate. [1]

    Each job's rate counts as a share of its own intended rate. None where one of them is not known.
    """
    first = audits[0]
    if len(audits) == 1:
        within = first.rate.bands.within_10pct_m2 if first.rate else None
        return None if within is None else within / max(first.area_m2.covered, 1e-9)
    applied = [_Applied.by(audit) for audit in audits]
    known = [one for one in applied if one is not None]
    if len(known) < len(applied):
        return None
    within, whole = 0.0, 0.0
    for number, own in enumerate(known):
        states = [(own.weight, own.share)]
        for k, other in enumerate(known):
            if k != number:
                share, swept = other.at(_places_in(own.middles(), audits[number], audits[k]))
                # ground that an earlier job swept was counted with that job
                apart = [(weight * (1 - swept), applied_there) for weight, applied_there in states]
                joint = [(weight * swept, applied_there + share) for weight, applied_there in states]
                states = apart if k < number else apart + joint
        for weight, applied_there in states:
            good = (applied_there >= 0.9 * (1 - BAND_SLACK)) & (applied_there <= 1.1 * (1 + BAND_SLACK))
            within, whole = within + float(weight[good].sum()), whole + float(weight.sum())
    return within / whole if whole > 0 else None


@dataclass(frozen=True)
class _Applied:
    """Cells of one job's rate surface, by rising ``key``.

    ``share`` of its intended rate, ``swept`` share of the cell, ``weight`` its swept ground in the target [m2].
    """

    key: IntArray
    share: FloatArray
    swept: FloatArray
    weight: FloatArray
    cell_m: float

    @classmethod
    def by(cls, audit: Audit) -> _Applied | None:
        found = audit.rate
        if found is None or found.cells is None or found.bands.target_l_ha is None:
            return None
        cells = found.cells
        key = _key(cells.row, cells.column)
        order = np.argsort(key)
        share = cells.rate_l_ha[order] / found.bands.target_l_ha
        weight = cells.area_m2(cells.in_target[order])
        return cls(key[order], share, cells.swept[order], weight, cells.cell_m)

    def middles(self) -> FloatArray:
        """Middle of each cell, shape (n, 2). [m]"""
        number = np.column_stack([self.key % _KEYS, self.key // _KEYS]) - _KEYS // 2
        return np.asarray((number + 0.5) * self.cell_m, float)

    def at(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Share of the intended rate, and of the ground that got any, at *places* (n, 2) [m]."""
        column, row = np.floor(places / self.cell_m).astype(np.int64).T
        key = _key(row, column)
        found = np.minimum(np.searchsorted(self.key, key), len(self.key) - 1)
        here = self.key[found] == key
        return np.where(here, self.share[found], 0.0), np.where(here, self.swept[found], 0.0)


_KEYS = 2**24
"""More rows and columns than a field has cells. [1]"""


def _key(row: IntArray, column: IntArray) -> IntArray:
    return (row.astype(np.int64) + _KEYS // 2) * _KEYS + column.astype(np.int64) + _KEYS // 2


def _places_in(places: FloatArray, own: Audit, other: Audit) -> FloatArray:
    """*places* (n, 2) in the plane of one audit, in that of another. [m]"""
    if own is other:
        return places
    return np.column_stack(Plane(other.origin).to_metres(*Plane(own.origin).to_degrees(*places.T)))


def _healed_m2(audits: Sequence[Audit]) -> float:
    """Ground missed by the first job that later jobs certainly swept. [m2]"""
    first = audits[0]
    missed = first.layers.by_visits[0]
    swept = [_in_plane(shapely.union_all(list(one.layers.by_visits[1:])), one, first) for one in audits[1:]]
    unsure = [_in_plane(_unsure(one), one, first) for one in audits[1:]]
    sure = [shapely.difference(ground, doubt) for ground, doubt in zip(swept, unsure, strict=True)]
    return float(shapely.intersection(missed, shapely.union_all(sure)).area) if sure else 0.0


def _unsure(audit: Audit) -> BaseGeometry:
    dry = [one.in_target for one in audit.rate.tank.dry] if audit.rate and audit.rate.tank else []
    return shapely.union_all([audit.layers.bridged, *dry])


def _in_plane(ground: BaseGeometry, own: Audit, other: Audit) -> BaseGeometry:
    return Plane(other.origin).geometry_to_metres(Plane(own.origin).geometry_to_degrees(ground))
