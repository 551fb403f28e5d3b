"""A job from what is in memory: fixes, boom times and areas as frames, arrays or geometry.

They are put down as the files that a person would have, and read by the readers of the command: so every check and
every rule is the same by both doors.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from coverage_audit import run
from coverage_audit.errors import InputError

if TYPE_CHECKING:
    from coverage_audit.jobs.job import Job

JOB, FIXES, BOOM, FIELD, EXCLUDE = "job", "fixes.gpx", "boom.csv", "field.geojson", "exclude.geojson"
"""Names under which the parts stand in messages and papers."""
WGS84 = "EPSG:4326"
WORDS = ("assume",)
"""Words that *boom* may be; the others of a job file ask a log for what a table of fixes does not hold."""


def job(
    fixes: Any,  # noqa: ANN401 - a frame, or a mapping of columns
    *,
    field: Any,  # noqa: ANN401 - a frame or a shape
    boom: Any,  # noqa: ANN401 - a frame, or pairs, or a word
    width: str | None = None,
    antenna_ahead: str | None = None,
    exclude: Any = None,  # noqa: ANN401 - a frame or a shape
    name: str | None = None,
    timezone: str | None = None,
    units: str | None = None,
    settings: Mapping[str, Any] | None = None,
) -> Job:
    """Job from fixes, boom times and a field that are in memory.

    Parameters
    ----------
    fixes : GeoDataFrame, DataFrame or mapping
        One row for each fix, in the order logged. Places: points with a coordinate system, or columns ``lon``
        and ``lat`` [deg, WGS 84]. Times: a column ``time``, or an index of times. UTC where they name no zone;
        numbers are seconds since 1970-01-01 UTC.
    field : GeoDataFrame, GeoSeries or shapely geometry
        The field's polygons; a shape alone is in longitude and latitude on WGS 84.
    boom : DataFrame, sequence of pairs, or "assume"
        When the boom was on: columns ``on`` and ``off`` (and ``sections``, ``assumed`` as in a boom file), or
        pairs (on, off), with times as in *fixes*. "assume" works it out from the track, and says so.
    width, antenna_ahead : str, optional
        Quantities with their unit, such as "9 m". The width may stand in *settings* as sections or nozzles instead.
    exclude : as *field*, optional
        No-spray areas.
    name, timezone, units : str, optional
        As in the job file; "metric" or "us" for units.
    settings : mapping, optional
        Any table of the job file with its keys, such as ``{"rate": {"flow": "19.4 L/min"}}``.

    Raises
    ------
    InputError
        Something given cannot be used, as for a job file.
    """
    tables = {key: dict(value) if isinstance(value, Mapping) else value for key, value in (settings or {}).items()}
    files = {FIXES: _gpx(fixes), FIELD: _geojson(field, "field")}
    given: dict[str, dict[str, Any]] = {
        "field": {"boundary": FIELD},
        "track": {"files": [FIXES]},
        "boom": {"intervals": boom, "width": width, "antenna_ahead": antenna_ahead},
        "job": {"name": name, "timezone": timezone},
        "report": {"units": units},
    }
    if not isinstance(boom, str):
        files[BOOM] = _csv(boom)
        given["boom"]["intervals"] = BOOM
    elif boom not in WORDS:
        raise InputError(f'"{boom}" is not one of {", ".join(WORDS)}; give the times when the boom was on', "boom")
    if exclude is not None:
        files[EXCLUDE] = _geojson(exclude, "exclude")
        given["field"]["exclude"] = [EXCLUDE]
    for table, keys in given.items():
        own = tables.setdefault(table, {})
        for key, value in keys.items():
            if value is not None and key in own:
                raise InputError("this is given twice; leave it out of the settings", f"{table}.{key}")
            own.update({} if value is None else {key: value})
    return run.read_files({JOB: _toml(tables), **files}, JOB)


# --- fixes and times ----------------------------------------------------------------------------------


def _gpx(fixes: Any) -> str:  # noqa: ANN401
    """GPX 1.1 of the fixes: places to the last digit, times to the microsecond."""
    lon, lat, times = _places_and_times(fixes)
    if not len(times) == len(lon) == len(lat):
        raise InputError("times, longitudes and latitudes are not equally many", "fixes")
    rows = (
        f'<trkpt lat="{y!r}" lon="{x!r}"><time>{escape(time)}</time></trkpt>'
        for x, y, time in zip(lon.tolist(), lat.tolist(), times, strict=True)
        if np.isfinite(x) and np.isfinite(y)
    )
    body = "\n".join(rows)
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="" xmlns="http://www.topografix.com/GPX/1/1">'
    return f"{head}<trk><trkseg>\n{body}\n</trkseg></trk></gpx>\n"


def _places_and_times(fixes: Any) -> tuple[np.ndarray, np.ndarray, list[str]]:  # noqa: ANN401
    """Longitudes, latitudes [deg] and times of a frame or a mapping of columns."""
    if isinstance(fixes, gpd.GeoDataFrame):
        points = _in_degrees(fixes.geometry, "fixes")
        if not (points.geom_type == "Point").all():
            raise InputError("there are shapes other than points; give one point for each fix", "fixes")
        return points.x.to_numpy(), points.y.to_numpy(), _times(_time_column(fixes), "fixes, time")
    if not isinstance(fixes, (pd.DataFrame, Mapping)):
        raise InputError("give a GeoDataFrame of points, or columns time, lon and lat", "fixes")
    if missing := [name for name in ("lon", "lat") if name not in fixes]:
        raise InputError(f"there is no column {missing[0]}; give time, lon and lat", "fixes")
    try:
        lon, lat = (np.asarray(fixes[name], dtype=float) for name in ("lon", "lat"))
    except (TypeError, ValueError) as error:
        raise InputError("lon and lat are to be numbers, in degrees", "fixes") from error
    return lon, lat, _times(_time_column(fixes), "fixes, time")


def _time_column(fixes: Any) -> Any:  # noqa: ANN401
    """Column "time", or the index when that holds times."""
    if "time" in fixes:
        return fixes["time"]
    index = getattr(fixes, "index", None)
    if isinstance(index, pd.DatetimeIndex):
        return index
    raise InputError('there are no times; give a column "time"', "fixes")


def _times(values: Any, place: str) -> list[str]:  # noqa: ANN401
    """Times in ISO 8601, UTC, to the microsecond."""
    column = pd.Series(list(values))
    how = {}
    if pd.api.types.is_numeric_dtype(column):
        how = {"unit": "s"}
    elif pd.api.types.is_string_dtype(column):
        how = {"format": "ISO8601"}
    try:
        moments = pd.to_datetime(column, utc=True, **how)
    except (ValueError, TypeError, OverflowError) as error:
        raise InputError("these are not times; give datetimes, ISO 8601 texts, or seconds since 1970", place) from error
    if moments.isna().any():
        raise InputError(f"row {int(moments.isna().argmax()) + 1} has no time; leave such rows out", place)
    rounded = moments.dt.round("us").dt.tz_localize(None).to_numpy()
    return [f"{text}Z" for text in np.datetime_as_string(rounded, unit="us").tolist()]


def _csv(boom: Any) -> str:  # noqa: ANN401
    """Boom file of the on and off times."""
    if isinstance(boom, (pd.DataFrame, Mapping)):
        table = pd.DataFrame(boom)
        if missing := [name for name in ("on", "off") if name not in table]:
            raise InputError(f"there is no column {missing[0]}; give on and off", "boom")
    else:
        pairs = [tuple(pair) for pair in boom] if isinstance(boom, (Sequence, np.ndarray)) else [()]
        if any(len(pair) != 2 for pair in pairs):
            raise InputError("give a table with columns on and off, or pairs (on, off)", "boom")
        table = pd.DataFrame(pairs, columns=["on", "off"])
    for name in ("on", "off"):
        table = table.assign(**{name: _times(table[name], f"boom, {name}")})
    text: str = table.to_csv(index=False, lineterminator="\n")
    return text


# --- areas ---------------------------------------------------------------------------------------------


def _in_degrees(shapes: Any, place: str) -> Any:  # noqa: ANN401 - geopandas has no types
    """A geometry column on WGS 84."""
    if shapes.crs is None:
        raise InputError("the frame says no coordinate system; set it, as in frame.set_crs(4326)", place)
    return shapes.to_crs(WGS84)


def _geojson(areas: Any, place: str) -> str:  # noqa: ANN401
    """GeoJSON of the areas, coordinates to the last digit; a column "name" names them."""
    if isinstance(areas, BaseGeometry):
        areas = gpd.GeoSeries([areas], crs=WGS84)
    if not isinstance(areas, (gpd.GeoDataFrame, gpd.GeoSeries)):
        raise InputError("give a GeoDataFrame, a GeoSeries or a shapely polygon", place)
    shapes = _in_degrees(areas.geometry, place)
    named = list(areas["name"]) if isinstance(areas, gpd.GeoDataFrame) and "name" in areas else [place] * len(shapes)
    features = [
        {"type": "Feature", "properties": {"name": str(name)}, "geometry": mapping(shape)}
        for name, shape in zip(named, shapes, strict=True)
        if shape is not None and not shape.is_empty
    ]
    return json.dumps({"type": "FeatureCollection", "features": features})


# --- settings ------------------------------------------------------------------------------------------


def _toml(tables: Mapping[str, Any]) -> str:
    """TOML of the tables of a job file."""
    return "".join(f"{_text(name)} = {_value(table, name)}\n" for name, table in tables.items() if table != {})


def _value(value: Any, place: str) -> str:  # noqa: ANN401
    """TOML of one value."""
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_text(str(key))} = {_value(one, f'{place}.{key}')}" for key, one in value.items())
        return f"{{{inside}}}"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(_value(one, place) for one in value)}]"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, (dt.datetime, dt.date)):
        return value.isoformat()
    if isinstance(value, (bool, int, float)):
        return str(value).lower()
    raise InputError(f"a {type(value).__name__} cannot stand in a job; give text, a number, a list or a table", place)


def _text(text: str) -> str:
    # JSON's text is TOML's but for the delete character, which TOML wants escaped
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
