"""The ledger of a season as GeoParquet 1.1 (OGC), each row with the box of its ground (covering)."""

from __future__ import annotations

import importlib.util
import io
import json
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .ledger_files import AREAS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from coverage_audit.arrays import FloatArray
    from coverage_audit.ledger.model import JobRow, Ledger

VERSION = "1.1.0"
EDGES = ("xmin", "ymin", "xmax", "ymax")
SHAPES_AT_ONCE = 1000
"""Shapes that are read at a time for their boxes. [1]"""
TYPES = {3: "Polygon", 6: "MultiPolygon", 7: "GeometryCollection"}
"""Names that the standard has for kinds of ground, by the geometry library's numbers. Without a reference system of its
own a file is in OGC:CRS84."""


def season_parquet(ledger: Ledger) -> dict[str, bytes]:
    """``jobs.parquet``: a row an audited job with the outline of its field; ``strips.parquet``: a row a missed strip.

    Neither without the library that writes them, an extra: the ledger tells the same without it.
    """
    if importlib.util.find_spec("pyarrow") is None:
        return {}
    touchups = {job for one in ledger.fields for job in one.touchups}
    jobs = sorted(
        (
            (job, one.field, one.mended_m2(job.job), wkb)
            for one in ledger.fields
            for job, wkb in zip(one.jobs, one.outlines or [None] * len(one.jobs), strict=True)
        ),
        key=lambda row: row[0].job,
    )
    strips = sorted(((strip, one.field) for one in ledger.fields for strip in one.strips), key=lambda row: row[0].job)
    return {
        "jobs.parquet": _parquet(
            (
                {**_job(job), "field": field, "mended_m2": mended, "touchup": job.job in touchups}
                for job, field, mended, _ in jobs
            ),
            [wkb for *_, wkb in jobs],
            JOB_TYPES,
        ),
        "strips.parquet": _parquet(
            ({**vars(strip), "field": field} for strip, field in strips),
            [strip.wkb for strip, _ in strips],
            STRIP_TYPES,
        ),
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


def _parquet(rows: Iterable[dict[str, Any]], wkb: list[bytes | None], types: dict[str, str]) -> bytes:
    """A file of the rows with their ground, straight from the bytes: a frame of shapes takes twice the memory a job."""
    import pyarrow as pa  # noqa: PLC0415 - an extra
    import pyarrow.parquet as pq  # noqa: PLC0415

    kinds = {TEXT: pa.string(), FIGURE: pa.float64(), TRUTH: pa.bool_()}
    values: dict[str, list[Any]] = {name: [] for name in types}
    for row in rows:
        for name, column in values.items():
            column.append(row[name])
    columns = {name: pa.array(values.pop(name), kinds[kind]) for name, kind in types.items()}
    bounds, there = _places(wkb)
    box = pa.StructArray.from_arrays([pa.array(edge, from_pandas=True) for edge in bounds.T], names=list(EDGES))
    about = {
        "version": VERSION,
        "primary_column": "geometry",
        "columns": {
            "geometry": {
                "encoding": "WKB",
                "geometry_types": [TYPES[kind] for kind in there],
                "covering": {"bbox": {edge: ["bbox", edge] for edge in EDGES}},
            }
        },
    }
    table = pa.table({**columns, "geometry": pa.array(wkb, pa.binary()), "bbox": box})
    file = io.BytesIO()
    pq.write_table(table.replace_schema_metadata({"geo": json.dumps(about)}), file)
    return file.getvalue()


def _places(wkb: list[bytes | None]) -> tuple[FloatArray, list[int]]:
    """Box of each ground, shape (n, 4), and the kinds that there are; a few at a time, so that few shapes are held."""
    boxes: list[FloatArray] = [np.empty((0, 4))]
    kinds: set[int] = set()
    for first in range(0, len(wkb), SHAPES_AT_ONCE):
        shapes = shapely.from_wkb(np.array(wkb[first : first + SHAPES_AT_ONCE], dtype=object))
        boxes.append(shapely.bounds(shapes).reshape(-1, 4))
        kinds.update(kind for kind in shapely.get_type_id(shapes).tolist() if kind >= 0)
    return np.concatenate(boxes), sorted(kinds)
