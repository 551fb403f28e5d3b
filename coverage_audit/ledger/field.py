"""One field over the season: its jobs' records to its part of the ledger."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import shapely

from .mended import mended_strips, touchups_of, treatments_of
from .model import FieldLedger, PackedStrips
from .products import earliest, products_of
from .rows import shape_of, strip_rows
from .tolerances import MAP_SHARE

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.read.result_record import JobRecord

    from .model import JobRow


def field_ledger(name: str, jobs: Sequence[JobRow], record_of: Callable[[str], JobRecord]) -> FieldLedger:
    """Ledger of the field *name*.

    Parameters
    ----------
    jobs : sequence of JobRow
        Its jobs in the order they began; at least one.
    record_of : callable
        Record of a job by its folder.
    """
    records, surfaces = {}, {}
    for job in jobs:
        record = record_of(job.job)
        if record.surface is not None and job.products:
            surfaces[job.job] = record.surface
        records[job.job] = replace(record, surface=None)
    products, above = products_of(jobs, surfaces)
    mended, missed, told = mended_strips(jobs, records)
    cut, without_phi = earliest(jobs, "phi_days")
    graze, without_grazing = earliest(jobs, "grazing_days")
    return FieldLedger(
        field=name,
        jobs=tuple(jobs),
        products=products,
        earliest_cut=cut,
        earliest_grazing=graze,
        without_phi=without_phi,
        without_grazing=without_grazing,
        without_product=tuple(job.job for job in jobs if not job.products),
        mended=mended,
        touchups=tuple(job.job for job in jobs if job.job in touchups_of(mended)),
        treatments=treatments_of(jobs, records),
        strips=PackedStrips.of(row for job in jobs for row in strip_rows(job.job, records[job.job], mended, told)),
        outlines=tuple(shapely.to_wkb(shape_of(records[job.job], "field")) for job in jobs),
        shapes=_drawn(shape_of(records[jobs[0].job], "field"), missed, above),
    )


def _drawn(
    field: shapely.Geometry, missed: Sequence[shapely.Geometry], above: Sequence[shapely.Geometry]
) -> tuple[tuple[str, bytes], ...]:
    """What the field's map shows, in drawing order, as plain as a small map needs it."""
    west, south, east, north = field.bounds
    step = MAP_SHARE * max(east - west, north - south)
    found = [("field", field), *(("missed", one) for one in missed), *(("above", one) for one in above)]
    return tuple((kind, shapely.to_wkb(_plain(shape, step))) for kind, shape in found)


def _plain(shape: shapely.Geometry, step: float) -> shapely.Geometry:
    simple = shapely.simplify(shape, step)
    return shape if simple.is_empty else simple


def bare_field(name: str, jobs: Sequence[JobRow]) -> FieldLedger:
    """Ledger of a field whose ground could not be added up: no dose is known, and nothing is joined."""
    cut, without_phi = earliest(jobs, "phi_days")
    graze, without_grazing = earliest(jobs, "grazing_days")
    return FieldLedger(
        field=name,
        jobs=tuple(jobs),
        products=products_of(jobs, {})[0],
        earliest_cut=cut,
        earliest_grazing=graze,
        without_phi=without_phi,
        without_grazing=without_grazing,
        without_product=tuple(job.job for job in jobs if not job.products),
        mended=(),
        touchups=(),
    )
