"""Coordinate reference systems of boundary files, and the way to degrees on WGS 84.

Only systems that PROJ's own registry or the file's own text defines: no link is followed, no
grid is fetched, and a text that names a file of its own is refused.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError
from pyproj.network import set_network_enabled  # type: ignore[attr-defined] # documented, not marked as exported

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.tracks.faults import within_turn

from . import tolerances as tol

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

_NAMED = re.compile(
    r"(?:urn:ogc:def:crs:|https?://www\.opengis\.net/def/crs/)?(EPSG|OGC)[:/](?:[0-9.]{0,8}[:/])?([0-9]{1,6}|CRS(?:84|83|27))",
    re.IGNORECASE,
)
"""Names of OGC 09-048r5 and the usual short form."""

_NAMES_A_FILE = re.compile(r"grids\s*=(?!\s*@null\b)|PARAMETERFILE", re.IGNORECASE)
"""A grid of its own, in the text of PROJ or in well-known text; "@null" stands for none."""


def named_crs(name: object, file: str) -> CRS:
    """Reference system by its name in the registry.

    Raises
    ------
    InputError
        A name that is none, or that the registry does not have.
    """
    text = name if isinstance(name, str) else ""
    found = _NAMED.fullmatch(text[:200].strip())
    if found is None:
        raise _unreadable(file)
    _stay_offline()
    try:
        return CRS.from_authority(found[1].upper(), found[2].upper())
    except CRSError as error:
        raise _unreadable(file) from error


def written_crs(text: str, file: str) -> CRS | None:
    """Reference system by its well-known text (OGC 01-009, ISO 19162 or as ESRI writes it); None for blank text.

    Raises
    ------
    InputError
        Text that cannot be read, or that leads to another file.
    """
    if not text.strip(" \t\r\n\0\ufeff"):
        return None
    if len(text) > tol.MAX_CRS_CHARS or _NAMES_A_FILE.search(text):
        raise _unreadable(file)
    _stay_offline()
    try:
        return CRS.from_wkt(text.strip(" \t\r\n\0\ufeff"))
    except CRSError as error:
        raise _unreadable(file) from error


def _unreadable(file: str) -> InputError:
    return InputError(
        "it states a coordinate reference system that cannot be read; export it as WGS 84 degrees (EPSG:4326)", file
    )


def _stay_offline() -> None:
    """PROJ would fetch grids where the environment allows it; where a field lies must not leave the machine."""
    set_network_enabled(active=False)


def in_degrees(
    shapes: Sequence[BaseGeometry | None], crs: CRS | None, file: str, cautions: list[Caution]
) -> list[BaseGeometry | None]:
    """Shapes on WGS 84, x = longitude; what was assumed or turned is added to *cautions*."""
    if crs is None:
        shapes = _within_turn(shapes)
        _check_degrees(shapes, file, "it states no coordinate reference system")
        cautions.append(Caution("reference system assumed", file=file))
        return list(shapes)
    if crs.equals("OGC:CRS84") or crs.to_2d().equals("EPSG:4326", ignore_axis_order=True):
        shapes = _within_turn(shapes)
        _check_degrees(shapes, file, "it is read as WGS 84 degrees")
        return list(shapes)
    try:
        _stay_offline()
        to_wgs84 = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
        turned = [
            None if shape is None else shapely.transform(shape, to_wgs84.transform, interleaved=False)
            for shape in shapes
        ]
    except RuntimeError as error:  # what pyproj's errors derive from
        raise InputError(
            f'its coordinate reference system "{crs.name}" does not lead to degrees; export it as WGS 84', file
        ) from error
    cautions.append(Caution("reference system turned", file=file, name=crs.name))
    _check_degrees(turned, file, f'it states the coordinate reference system "{crs.name}"')
    return turned


def _within_turn(shapes: Sequence[BaseGeometry | None]) -> list[BaseGeometry | None]:
    """Shapes whose longitudes go on beyond 180, where a field lies across it or all count from 0 to 360. [deg]"""

    def turned(xy: FloatArray) -> FloatArray:
        return np.column_stack([within_turn(xy[:, 0]), xy[:, 1]])

    return [
        shape if shape is None or not shapely.bounds(shape)[2] > 180.0 else shapely.transform(shape, turned)
        for shape in shapes
    ]


def _check_degrees(shapes: Sequence[Any], file: str, why: str) -> None:
    """Raise unless every coordinate can be a longitude and a latitude; *why* they should be."""
    xy = shapely.get_coordinates(shapes)
    bad = ~((np.abs(xy[:, 0]) <= 180) & (np.abs(xy[:, 1]) <= 90))  # turned coordinates may be no numbers
    if not bad.any():
        return
    x, y = xy[bad][0]
    if np.all(np.abs(xy[:, 0]) <= 90) and np.all(np.abs(xy[:, 1]) <= 180):
        cure = "latitude and longitude seem to be swapped: longitude stands first"
    else:
        cure = (
            "these look like projected coordinates without a coordinate reference system:"
            " export it as WGS 84 degrees (EPSG:4326) or together with its system"
        )
    raise InputError(f"{why}, but the point {x:.8g}, {y:.8g} is no longitude and latitude; {cure}", file)
