"""Findings and passes as GeoDataFrames in WGS 84, units in the column names."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
from shapely.geometry import shape

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from coverage_audit.read.result_record import JobRecord

WGS84 = "EPSG:4326"
FINDING_COLUMNS = (
    *("id", "area_m2", "length_m", "mean_width_m", "max_width_m", "orientation_deg", "lat_deg", "lon_deg"),
    *("where", "probability", "cause"),
)
PASS_COLUMNS = (
    *("n", "kind", "start", "end", "length_m", "heading_deg", "mean_speed_m_s", "time_s", "block", "lap", "left"),
    *("right", "curved", "on_s", "on_m", "cross_track_mean_m", "cross_track_sd_m", "cross_track_rms_m"),
    *("cross_track_p95_abs_m", "spacing_mean_m", "spacing_sd_m", "on_late_m", "off_early_m", "missed_m2"),
    *("double_m2", "outside_m2"),
)
COUNTS = ("n", "block", "lap", "left", "right", "max_visits")
QUANTITIES = ("_m", "_m2", "_s", "_deg", "probability")
"""Ends of the names of columns that hold numbers; what is not known is NaN there."""


def findings_frame(record: JobRecord, kind: str) -> Any:  # noqa: ANN401 - geopandas has no types
    """Findings of one kind ("missed", "double") as polygons, largest first as in every paper, by their id."""
    columns = (*FINDING_COLUMNS, "max_visits") if kind == "double" else FINDING_COLUMNS
    features = [one for one in record.findings if one["properties"]["kind"] == kind]
    rows = [
        {**one["properties"], "lat_deg": one["properties"]["lat"], "lon_deg": one["properties"]["lon"]}
        for one in features
    ]
    return _frame(rows, columns, features).set_index("id")


def passes_frame(record: JobRecord) -> Any:  # noqa: ANN401 - geopandas has no types
    """Passes, laps, turns and transport as lines in driving order; "left" and "right" are neighbours' numbers."""
    rows = [{**one, **_cross_track(one)} for one in record.summary["passes"] or ()]
    features = [one for one in record.lines if "n" in one["properties"]]
    frame = _frame(rows, PASS_COLUMNS, features)
    for name in ("start", "end"):
        frame[name] = pd.to_datetime(frame[name], utc=True, format="ISO8601")
    return frame


def _cross_track(one: Mapping[str, Any]) -> dict[str, Any]:
    """Deviation of a pass from its own line, under names of its own; nothing where it was not measured."""
    return {f"cross_track_{name}_m": value for name, value in (one["cross_track_m"] or {}).items()}


def _frame(rows: list[dict[str, Any]], columns: Iterable[str], features: list[Mapping[str, Any]]) -> Any:  # noqa: ANN401
    table = pd.DataFrame(rows, columns=list(columns))
    for name in table.columns:
        if name in COUNTS:
            table[name] = table[name].astype("Int64")
        elif name.endswith(QUANTITIES):
            table[name] = table[name].astype(float)
    shapes = [shape(one["geometry"]) for one in features]
    return gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes, index=table.index, crs=WGS84), crs=WGS84)
