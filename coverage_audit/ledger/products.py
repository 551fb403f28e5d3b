"""Products over a season on one field: dose spot by spot against the label's most, and the days after them."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.drive.plane import Plane
from coverage_audit.rate.places import cell_outline
from coverage_audit.units import HECTARE_M2

from .dose import above, dose_of, grid_for, middle_deg, share_on
from .model import AbovePlace, ProductSeason
from .tolerances import LEAST_DOSE_PLACE_M2, LEAST_DOSE_SHARE, MOST_DOSE_PLACES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import shapely

    from coverage_audit.arrays import IntArray
    from coverage_audit.read.result_record import RecordSurface

    from .dose import Dose, Share
    from .model import JobRow, ProductRow

    Use = tuple[JobRow, ProductRow]


def products_of(
    jobs: Sequence[JobRow], surfaces: Mapping[str, RecordSurface]
) -> tuple[tuple[ProductSeason, ...], list[shapely.Geometry]]:
    """Every product used on the field, by name, and ground in degrees above a season's most.

    Parameters
    ----------
    jobs : sequence of JobRow
        Jobs on the field, in the order they began.
    surfaces : mapping of str to RecordSurface
        Rate surface of each job that has one, by the job's folder.
    """
    shares: dict[str, Share] = {}
    if surfaces:
        grid = grid_for([surfaces[job.job] for job in jobs if job.job in surfaces])
        shares = {job: share_on(grid, surface) for job, surface in surfaces.items()}
    found, shapes = [], []
    for uses in _uses(jobs):
        known = [(job, one, shares[job.job]) for job, one in uses if job.job in shares and one.per_l is not None]
        told = _without_dose(uses)
        if known:
            dose = dose_of(grid, [(share, one.per_l or 0.0) for _, one, share in known])
            told, drawn = _with_dose(told, dose, known)
            shapes += drawn
        found.append(told)
    return tuple(found), shapes


def _uses(jobs: Sequence[JobRow]) -> list[list[Use]]:
    """Each product's uses; a product told in litres and in kilograms is two, as its amounts do not add up.

    A use without a rate may be of either, so it stands with both.
    """
    found: dict[str, list[Use]] = {}
    for job in jobs:
        for one in job.products:
            found.setdefault(one.key, []).append((job, one))
    told = []
    for _, uses in sorted(found.items()):
        units = sorted({one.unit for _, one in uses if one.unit is not None})
        told += [[use for use in uses if use[1].unit in (unit, None)] for unit in units] or [uses]
    return told


def _without_dose(uses: Sequence[Use]) -> ProductSeason:
    """What is known of a product before anything is laid on the ground."""
    first = uses[0][1]
    used = [one.used for _, one in uses]
    limits = [one.max_per_season for _, one in uses if one.max_per_season is not None]
    return ProductSeason(
        name=first.name,
        reg_no=next((one.reg_no for _, one in uses if one.reg_no), ""),
        unit=next((one.unit for _, one in uses if one.unit is not None), None),
        jobs=tuple(dict.fromkeys(job.job for job, _ in uses)),
        used=None if None in used else sum(amount or 0.0 for amount in used),
        most_per_ha=None,
        at_least_per_ha=None,
        max_per_season=min(limits, default=None),
        above_m2=None,
        unknown=tuple(dict.fromkeys(job.job for job, _ in uses)),
        assumed=any(job.assumed for job, _ in uses),
    )


def _with_dose(
    told: ProductSeason, dose: Dose, known: Sequence[tuple[JobRow, ProductRow, Share]]
) -> tuple[ProductSeason, list[shapely.Geometry]]:
    """*told* with its dose; where jobs are left whose dose nobody knows, the others' is only the least there was."""
    sure = [job.job for job, _, _ in known]
    unknown = tuple(job for job in told.jobs if job not in sure)
    most = float(dose.per_ha.max(initial=0.0))
    laid = sum((job.laid_l or 0.0) * (one.per_l or 0.0) for job, one, _ in known)
    values: dict[str, Any] = {
        **{name: getattr(told, name) for name in told.__dataclass_fields__},
        "unknown": unknown,
        "closing": dose.amount / laid if laid > 0 else None,
        "most_per_ha": None if unknown else most,
        "at_least_per_ha": most,
    }
    limit, shapes = told.max_per_season, []
    if limit is not None:
        area, places = above(dose, limit)
        named = [cells for cells in places if dose.area_m2[cells].sum() >= LEAST_DOSE_PLACE_M2][:MOST_DOSE_PLACES]
        values["above_m2"] = None if unknown and not area else area
        values["places"] = tuple(_place(dose, cells, known) for cells in named)
        shapes = [_ground(dose, cells) for cells in named]
    return ProductSeason(**values), shapes


def _place(dose: Dose, cells: IntArray, known: Sequence[tuple[JobRow, ProductRow, Share]]) -> AbovePlace:
    at = dose.at[cells]
    whole = float(dose.per_ha[cells] @ dose.area_m2[cells]) / HECTARE_M2
    made = []
    for job, one, share in known:
        index = np.minimum(np.searchsorted(share.at, at), len(share.at) - 1)
        own = float(share.litres[index[share.at[index] == at]].sum()) * (one.per_l or 0.0)
        if own >= LEAST_DOSE_SHARE * whole:
            made.append(job.job)
    lat, lon = middle_deg(dose, cells)
    return AbovePlace(
        float(dose.area_m2[cells].sum()), float(dose.per_ha[cells].max()), lat, lon, tuple(dict.fromkeys(made))
    )


def _ground(dose: Dose, cells: IntArray) -> shapely.Geometry:
    order = np.sort(cells)
    row, column = np.divmod(dose.at[order], dose.grid.columns)
    shape = cell_outline(row + dose.grid.row, column + dose.grid.column, dose.grid.cell_m)
    return Plane(dose.grid.origin).geometry_to_degrees(shape)


# --- days ------------------------------------------------------------------------------------------


def earliest(jobs: Sequence[JobRow], name: str) -> tuple[str | None, tuple[str, ...]]:
    """Earliest day after all jobs together, and products without that interval.

    Parameters
    ----------
    name : str
        "phi_days" or "grazing_days", which count from the local day on which a job ended.
    """
    days, without = [], []
    for job in jobs:
        for one in job.products:
            interval = getattr(one, name)
            if interval is None:
                without.append(one.name)
            else:
                days.append(_after(job.last_day, interval))
    return max(days, default=None), tuple(dict.fromkeys(without))


def _after(day: str, interval_days: float) -> str:
    """ISO date so many days later, a part of a day counted as a whole one; the calendar's last where it ends."""
    begun = dt.date.fromisoformat(day)
    left = (dt.date.max - begun).days
    return (begun + dt.timedelta(days=min(math.ceil(interval_days), left))).isoformat()
