"""The ledger of a season as GeoParquet 1.1 (OGC), each row with the box of its ground (covering)."""

from __future__ import annotations

import importlib.util
import io
import itertools
import json
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .ledger_files import AREAS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from coverage_audit.ledger.model import JobRow, Ledger

    Rows = tuple[list[dict[str, Any]], list[bytes | None]]

VERSION = "1.1.0"
EDGES = ("xmin", "ymin", "xmax", "ymax")
ROWS_AT_ONCE = 5000
"""Strips that are written as one group of rows: some five megabytes. [1]"""
TYPES = {3: "Polygon", 6: "MultiPolygon", 7: "GeometryCollection"}
"""Names that the standard has for kinds of ground, by the geometry library's numbers. Without a reference system of its
own a file is in OGC:CRS84."""


def season_parquet(ledger: Ledger) -> dict[str, bytes]:
    """``jobs.parquet``: a row an audited job with the outline of its field; ``strips.parquet``: a row a missed strip.

    Neither without the library that writes them, an extra: the ledger tells the same without it.
    """
    if importlib.util.find_spec("pyarrow") is None:
        return {}
    return {
        "jobs.parquet": _parquet(lambda: iter([_job_rows(ledger)]), JOB_TYPES),
        "strips.parquet": _parquet(lambda: _strip_rows(ledger), STRIP_TYPES),
    }


TEXT, FIGURE, TRUTH = "string", "float64", "bool"
JOB_TYPES = {
    **dict.fromkeys(("job", "name", "field", "machine", "day", "start", "end"), TEXT),
    **dict.fromkeys(("assumed", "touchup"), TRUTH),
    **dict.fromkeys((*(f"{name}_m2" for name in AREAS), "mended_m2"), FIGURE),
    **dict.fromkeys(("applied_l", "target_l_ha", "over_covered_l_ha"), FIGURE),
}
STRIP_TYPES = {
    **dict.fromkeys(("job", "field", "strip", "where", "cause"), TEXT),
    **dict.fromkeys(
        ("area_m2", "mended_m2", "shared_m2", "told_m2", "length_m", "mean_width_m", "max_width_m"), FIGURE
    ),
}
"""Columns of the two files and what they hold; SI units stand in the names."""


def _job_rows(ledger: Ledger) -> Rows:
    """All jobs in order of their folders, and the outlines of their fields."""
    touchups = {job for one in ledger.fields for job in one.touchups}
    jobs = sorted(
        (
            (job, one, wkb)
            for one in ledger.fields
            for job, wkb in zip(one.jobs, one.outlines or [None] * len(one.jobs), strict=True)
        ),
        key=lambda row: row[0].job,
    )
    rows = [
        {
            **_job(job),
            "field": one.field,
            "mended_m2": one.mended_m2(job.job),
            "touchup": job.job in touchups,
        }
        for job, one, _ in jobs
    ]
    return rows, [wkb for *_, wkb in jobs]


def _strip_rows(ledger: Ledger) -> Iterator[Rows]:
    """Strips field by field, and their ground; some at a time, since a season has tens of thousands."""
    strips = (({**vars(strip), "field": one.field}, strip.wkb) for one in ledger.fields for strip in one.strips)
    while block := list(itertools.islice(strips, ROWS_AT_ONCE)):
        yield [row for row, _ in block], [wkb for _, wkb in block]


def _job(job: JobRow) -> dict[str, Any]:
    return {
        "job": job.job,
        "name": job.name,
        "machine": job.machine,
        "day": job.first_day,
        "start": job.start,
        "end": job.end,
        "assumed": job.assumed,
        **{f"{name}_m2": job.area_m2.get(name) for name in AREAS},
        "applied_l": job.applied_l,
        "target_l_ha": job.target_l_ha,
        "over_covered_l_ha": job.over_covered_l_ha,
    }


def _parquet(groups: Callable[[], Iterator[Rows]], types: dict[str, str]) -> bytes:
    """A file of groups of rows with their ground, straight from the bytes; only one group is held at a time."""
    import pyarrow as pa  # noqa: PLC0415 - an extra
    import pyarrow.parquet as pq  # noqa: PLC0415

    kinds = {TEXT: pa.string(), FIGURE: pa.float64(), TRUTH: pa.bool_()}
    box = pa.struct([(edge, pa.float64()) for edge in EDGES])
    columns = [(name, kinds[kind]) for name, kind in types.items()]
    schema = pa.schema([*columns, ("geometry", pa.binary()), ("bbox", box)], {"geo": json.dumps(_about(groups()))})
    file = io.BytesIO()
    with pq.ParquetWriter(file, schema) as writer:
        for rows, wkb in groups():
            values = {name: [row[name] for row in rows] for name in types}
            bounds = shapely.bounds(_shapes(wkb)).reshape(-1, 4).T
            boxes = pa.StructArray.from_arrays([pa.array(edge, from_pandas=True) for edge in bounds], fields=list(box))
            writer.write_table(pa.table({**values, "geometry": wkb, "bbox": boxes}, schema))
    return file.getvalue()


def _about(groups: Iterator[Rows]) -> dict[str, Any]:
    """What the standard wants to be told of a file."""
    kinds = {kind for _, wkb in groups for kind in shapely.get_type_id(_shapes(wkb)).tolist() if kind >= 0}
    ground = {
        "encoding": "WKB",
        "geometry_types": [TYPES[kind] for kind in sorted(kinds)],
        "covering": {"bbox": {edge: ["bbox", edge] for edge in EDGES}},
    }
    return {"version": VERSION, "primary_column": "geometry", "columns": {"geometry": ground}}


def _shapes(wkb: list[bytes | None]) -> NDArray[np.object_]:
    return np.asarray(shapely.from_wkb(np.array(wkb, dtype=object)))
