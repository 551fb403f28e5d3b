"""A finished audit as one file: the record to bytes, and back.

A zip file (PKWARE APPNOTE 6.3) of the audit's own papers (``summary.json``, ``findings.geojson``,
``passes.geojson``) and, where a rate is known, of its rate surface. The same record gives the same bytes.
"""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from coverage_audit.errors import InputError

from .packed import BROKEN, Zip
from .result import RESULT_FILES, read_result_of
from .result_record import RecordGround, RecordSurface
from .result_shape import lies_somewhere
from .tolerances import MOST_CELL_M, MOST_CELLS, RATE_BITS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

    from .packed import Packed
    from .result_record import JobRecord

GROUND = ("target", "missed", "double")
SURFACE, CELLS = "surface.json", "surface.npy"
_PLANES = 12
"""Bytes of one cell: where it lies, its rate and its swept share, four each."""


def packed_files(contents: Mapping[str, bytes]) -> bytes:
    """Zip file of *contents*; the same contents give the same bytes, whatever the clock says."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, data in contents.items():
            member = zipfile.ZipInfo(name)  # without a time it is of 1980
            member.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(member, data, compresslevel=1)
    return packed.getvalue()


def record_files(record: JobRecord) -> dict[str, bytes]:
    """Content by name of everything that a record is saved as."""
    texts = (record.summary, {"features": list(record.findings)}, {"features": list(record.lines)})
    files = {
        name: json.dumps(told, ensure_ascii=False, allow_nan=False).encode()
        for name, told in zip(RESULT_FILES, texts, strict=True)
    }
    if record.ground is not None:
        files |= {f"{name}.wkb": shapely.to_wkb(getattr(record.ground, name)) for name in GROUND}
    if record.surface is not None:
        files |= _surface_files(record.surface)
    return files


def load_record(path: Path, label: str, *, surface: bool = True) -> JobRecord:
    """Read a saved record, without its rate surface when that is not wanted.

    Raises
    ------
    InputError
        There is none, or it is damaged.
    """
    packed = SavedAudit(path)
    found = read_result_of(packed, label)
    return replace(found, ground=ground_of(packed), surface=surface_of(packed) if surface else None)


class SavedAudit(Zip):
    """The file of a saved audit, of which no more is read than what is asked for.

    Raises
    ------
    InputError
        There is none, or it is no zip file.
    """

    def __init__(self, path: Path) -> None:
        try:
            archive = zipfile.ZipFile(path)
        except BROKEN as error:
            raise InputError(f"this is no saved audit ({error}); run the audit again", str(path)) from error
        super().__init__(archive, str(path))


def ground_of(packed: Packed) -> RecordGround | None:
    """Ground among the files of a saved record; None where it has none.

    Raises
    ------
    InputError
        It is damaged.
    """
    names = [f"{name}.wkb" for name in GROUND]
    if not all(packed.exists(name, "") for name in names):
        return None
    try:
        return RecordGround(*(_polygons(packed.read(name).data) for name in names))
    except (shapely.errors.ShapelyError, ValueError, TypeError) as error:
        raise InputError(f"its ground is damaged ({error}); run the audit again", packed.place(names[0])) from error


def _polygons(data: bytes) -> BaseGeometry:
    found = shapely.from_wkb(data)
    if not (found.is_empty or found.geom_type in {"Polygon", "MultiPolygon", "GeometryCollection"}):
        raise ValueError(f"it is a {found.geom_type}")
    if not lies_somewhere(found):
        raise ValueError("it lies nowhere")
    return found


# --- the rate surface ------------------------------------------------------------------------------


def _surface_files(surface: RecordSurface) -> dict[str, bytes]:
    order = np.lexsort((surface.column, surface.row))
    row, column = surface.row[order].astype(np.int64), surface.column[order].astype(np.int64)
    south, west = int(row.min()), int(column.min())
    width = int(column.max()) - west + 1
    cells = np.diff((row - south) * width + column - west, prepend=0).astype("<i4")
    rate = _rounded(surface.rate_l_ha[order])
    swept = _rounded(surface.swept[order])
    planes = [one.view(np.uint8).reshape(-1, 4).T for one in (cells, rate, swept)]
    found = io.BytesIO()
    np.lib.format.write_array(found, np.ascontiguousarray(np.concatenate(planes)), allow_pickle=False)
    about = {
        "lon_deg": surface.lon_deg,
        "lat_deg": surface.lat_deg,
        "cell_m": surface.cell_m,
        "south": south,
        "west": west,
        "width": width,
    }
    return {SURFACE: json.dumps(about).encode(), CELLS: found.getvalue()}


def _rounded(values: FloatArray) -> np.ndarray:
    """Nearest numbers of ``RATE_BITS`` significant bits, as 32-bit floats: what follows is noise and packs badly."""
    single = np.ascontiguousarray(values, "<f4")
    drop = 24 - RATE_BITS
    bits = single.view("<u4") + np.uint32(1 << (drop - 1))
    return np.asarray((bits & ~np.uint32((1 << drop) - 1)).astype("<u4")).view("<f4")


def surface_of(packed: Packed) -> RecordSurface | None:
    """Rate surface among the files of a saved record; None where it has none.

    Raises
    ------
    InputError
        It is damaged.
    """
    if not packed.exists(SURFACE, ""):
        return None
    place = packed.place(CELLS)
    try:
        about = json.loads(packed.read(SURFACE).data)
        planes = np.lib.format.read_array(io.BytesIO(packed.read(CELLS).data), allow_pickle=False)
        return _surface(about, planes)
    except (ValueError, OverflowError, KeyError, TypeError, RecursionError) as error:
        raise InputError(f"the rate surface is damaged ({error}); run the audit again", place) from error


def _surface(about: Mapping[str, Any], planes: np.ndarray) -> RecordSurface:
    if planes.dtype != np.uint8 or planes.ndim != 2 or len(planes) != _PLANES:
        raise ValueError("it has another shape")
    with np.errstate(invalid="ignore"):  # what is no number is refused below
        steps, rate, swept = (
            np.ascontiguousarray(planes[k : k + 4].T).view(kind).ravel().astype(wide)
            for k, kind, wide in ((0, "<i4", np.int64), (4, "<f4", float), (8, "<f4", float))
        )
    lon, lat, cell_m = (float(about[name]) for name in ("lon_deg", "lat_deg", "cell_m"))
    width, south, west = (int(about[name]) for name in ("width", "south", "west"))
    if not (np.isfinite(rate).all() and np.isfinite(swept).all()):
        raise ValueError("it holds numbers that are none")
    if not (abs(lon) <= 180 and abs(lat) <= 90 and 0 < cell_m <= MOST_CELL_M and 0 < width <= MOST_CELLS):
        raise ValueError("its cells lie nowhere")
    if max(abs(south), abs(west)) > MOST_CELLS:
        raise ValueError("its cells lie too far off")
    row, column = np.divmod(np.cumsum(steps), width)
    return RecordSurface(
        lon_deg=lon,
        lat_deg=lat,
        cell_m=cell_m,
        row=row + south,
        column=column + west,
        rate_l_ha=rate,
        swept=swept,
    )
