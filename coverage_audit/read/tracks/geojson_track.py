"""Read GeoJSON (RFC 7946) with times: lines whose properties list a time for every place, or points with one each."""

from __future__ import annotations

import json
import re
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution

from .form import SEGMENTS, TrackForm
from .plain import LOCAL, UTC, cut_caution, plain_log, seconds_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from coverage_audit.read.records import TrackLog

    from .form import Asked

LISTS = ("coordTimes", "times")
"""Properties of a line that hold a time for every place; exporters agree on these without any standard."""

POINT_TIMES = {
    "time": "", "timestamp": "", "datetime": "", "when": "", "time_utc": UTC, "timestamp_utc": UTC, "time_local": LOCAL
}  # fmt: skip
"""Properties of a point that hold its time, and what their name says of the zone."""

_FEATURES = re.compile(r'"features"\s*:\s*\[')


def is_geojson(data: bytes) -> bool:
    """Whether bytes look like GeoJSON."""
    head = data[:65536].removeprefix(b"\xef\xbb\xbf").lstrip()
    return head.startswith(b"{") and any(word in head for word in (b'"coordinates"', b'"Feature', b'"LineString"'))


def read_geojson_track(data: bytes, name: str, asked: Asked) -> TrackLog:
    """Read places with times; a collection of features that is cut off is read to its last whole one.

    Raises
    ------
    InputError
        No JSON, no place with a time, times without a zone, or none that can be used.
    """
    features, torn = _features(data, name)
    rows: list[tuple[object, Any, int, str]] = []
    uneven = others = 0
    for number, feature in enumerate(features):
        line = list(_line_rows(feature, number))
        uneven += sum(len(times) != len(places) for _, times, places in line)
        rows += [
            (time, place, number, "") for _, times, places in line for time, place in zip(times, places, strict=False)
        ]
        point = _point_row(feature)
        rows += point
        others += not line and not point
    if all(row[0] is None for row in rows):
        raise InputError(
            "no place with a time is in it; export points with a time each, or a line with coordTimes", name
        )
    said = {kind for time, *_, kind in rows if time is not None}
    times = seconds_of([row[0] for row in rows], said.pop() if len(said) == 1 else "", asked.timezone, name)
    lon, lat = np.array([_lonlat(row[1]) for row in rows], float).reshape(-1, 2).T
    columns = {
        "time_s": times,
        "lat_deg": lat,
        "lon_deg": lon,
        "segment": np.cumsum([0, *(a[2] != b[2] for a, b in pairwise(rows))]).astype(float),
    }
    cautions = cut_caution(name, "end", len(rows) if torn else 0, "place")
    if uneven:
        cautions.append(Caution("times uneven", file=name, count=uneven))
    lost, notes = {"cut_off": int(torn)}, {"feature_without_times": others}
    return plain_log(*(data, name, "GeoJSON", "place", columns), lost=lost, notes=notes, cautions=cautions)


def _features(data: bytes, name: str) -> tuple[list[Any], bool]:
    """Features of the file, and whether it breaks off within one."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError("the file is broken: this is not UTF-8 text, as GeoJSON is; export it again", name) from error
    try:
        top = json.loads(text)
    except (ValueError, RecursionError) as error:
        found = list(_whole_features(text))
        if not found:
            raise InputError("the file is broken or cut off; export it again", name) from error
        return found, True
    if not isinstance(top, dict):
        raise InputError("this is JSON, but not GeoJSON; export it again as GeoJSON", name)
    features = top.get("features")
    return (features if isinstance(features, list) else [top]), False


def _whole_features(text: str) -> Iterator[Any]:
    """Features of a collection that breaks off, one after the other, as far as they are whole."""
    start = _FEATURES.search(text)
    at = start.end() if start else len(text)
    decoder = json.JSONDecoder()
    while at < len(text):
        while at < len(text) and text[at] in " \t\r\n,":
            at += 1
        try:
            feature, at = decoder.raw_decode(text, at)
        except (ValueError, RecursionError):
            return
        yield feature


def _line_rows(feature: Any, number: int) -> Iterator[tuple[int, list[Any], list[Any]]]:  # noqa: ANN401 - any JSON
    """(number, times, places) of every line of a feature that has times."""
    geometry, properties = _parts(feature)
    places = geometry.get("coordinates")
    inner = properties.get("coordinateProperties")
    lists = [properties.get(key) for key in LISTS] + [inner.get("times") if isinstance(inner, dict) else None]
    times = next((one for one in lists if isinstance(one, list)), None)
    if times is None or not isinstance(places, list):
        return
    if geometry.get("type") == "LineString":
        yield number, times, places
    elif geometry.get("type") == "MultiLineString":
        for one, many in zip(times, places, strict=False):
            if isinstance(one, list) and isinstance(many, list):
                yield number, one, many


def _point_row(feature: Any) -> list[tuple[object, Any, int, str]]:  # noqa: ANN401 - any JSON
    """Time and place of a point, None for a time that it lacks; empty where it is no point."""
    geometry, properties = _parts(feature)
    if geometry.get("type") != "Point":
        return []
    by_name = {str(key).lower(): value for key, value in properties.items()}
    for key, kind in POINT_TIMES.items():
        if key in by_name:
            return [(by_name[key], geometry.get("coordinates"), -1, kind)]
    return [(None, geometry.get("coordinates"), -1, "")]


def _parts(feature: Any) -> tuple[dict[str, Any], dict[str, Any]]:  # noqa: ANN401 - any JSON
    """Geometry and properties of a feature, empty where it has none."""
    one = feature if isinstance(feature, dict) else {}
    geometry, properties = one.get("geometry"), one.get("properties")
    return (geometry if isinstance(geometry, dict) else {}), (properties if isinstance(properties, dict) else {})


def _lonlat(place: Any) -> tuple[float, float]:  # noqa: ANN401 - any JSON
    """Longitude and latitude of a position, NaN where it is none."""
    if not isinstance(place, list) or len(place) < 2:
        return np.nan, np.nan
    lon, lat = place[:2]
    if any(isinstance(one, bool) or not isinstance(one, int | float) or abs(one) > 1e6 for one in (lon, lat)):
        return np.nan, np.nan
    return float(lon), float(lat)


GEOJSON_TRACK = TrackForm("GeoJSON", frozenset({SEGMENTS}), is_geojson, read_geojson_track)
"""As the registry knows it."""
