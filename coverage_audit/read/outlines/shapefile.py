"""Shapefile boundaries (ESRI Shapefile Technical Description, July 1998) from the bytes of their parts.

The table is dBASE III; its text is in the code page that a .cpg names, else ISO 8859-1.
"""

from __future__ import annotations

import re
import struct
from pathlib import PurePath
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.errors import InputError

from . import tolerances as tol
from .crs import written_crs
from .drawn import drawn_shapes
from .form import OutlineForm, Shapes
from .shapes import NAME_COLUMNS, Builder, Layer, Row, collected, nested

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.read.source import InputFile, Source

_SIDECARS = (".shx", ".dbf", ".prj", ".cpg")
_LINES, _POLYGONS = (3, 13, 23), (5, 15, 25)
_NO_AREA = (0, 1, 8, 11, 18, 21, 28)


def shapefile_layers(parts: Mapping[str, bytes], file: str) -> list[Layer]:
    """The one layer of a Shapefile.

    Parameters
    ----------
    parts : mapping of str to bytes
        Content by ending: ".shp" and ".shx", and ".dbf", ".prj", ".cpg" where there are some.
    file : str
        Name of the .shp, for messages.

    Raises
    ------
    InputError
        Parts that are cut off or do not belong together, or a system that cannot be read.
    """
    crs = written_crs(parts.get(".prj", b"").decode("utf-8", "replace"), file)
    builder = Builder(file)
    try:
        shapes = [_shape(record, builder) for record in _records(parts[".shp"], parts[".shx"])]
        cells = _table(parts[".dbf"], parts.get(".cpg", b"")) if parts.get(".dbf") else [{}] * len(shapes)
    except (struct.error, ValueError, shapely.errors.GEOSException) as error:
        raise InputError("the file is broken or cut off; copy all files of the Shapefile again", file) from error
    if len(cells) != len(shapes):
        raise InputError(
            f"it has {len(shapes)} shapes, but its .dbf has {len(cells)} rows; copy all its files again",
            file,
        )
    rows = [Row(row, shape) for row, shape in zip(cells, shapes, strict=True) if row is not None]
    return [Layer(rows, crs)]


def _records(shp: bytes, shx: bytes) -> list[bytes]:
    """Content of each record, found by the index: big-endian offset and length in words of two bytes."""
    index = np.frombuffer(shx[100 : len(shx) - (len(shx) - 100) % 8], ">i4").reshape(-1, 2).astype(np.int64) * 2
    if len(shx) < 100 or len(index) > tol.MAX_BOUNDARY_RINGS:
        raise ValueError
    records = [shp[at + 8 : at + 8 + length] for at, length in index.tolist()]
    for (at, length), record in zip(index.tolist(), records, strict=True):
        if at < 100 or length < 4 or len(record) < length:
            raise ValueError
    return records


def _shape(record: bytes, builder: Builder) -> BaseGeometry | None:
    """One record; None for points and empty ones."""
    (kind,) = struct.unpack_from("<i", record)
    if kind in _NO_AREA:
        return None
    if kind not in _LINES + _POLYGONS:
        raise InputError("a shape in it is of no kind that has a plain outline; export it as polygons", builder.file)
    count, total = struct.unpack_from("<ii", record, 36)
    if not 0 <= count <= tol.MAX_BOUNDARY_RINGS or not 0 <= total <= tol.MAX_BOUNDARY_POINTS:
        raise ValueError
    starts = np.frombuffer(record, "<i4", count, 44)
    points = np.frombuffer(record, "<f8", 2 * total, 44 + 4 * count).reshape(-1, 2).astype(float)
    if count and (starts[0] != 0 or np.any(np.diff(starts) < 0) or starts[-1] > total):
        raise ValueError
    lines = np.split(points, starts[1:]) if count else []
    if kind in _LINES:
        return collected([builder.line(line) for line in lines])
    if len(lines) > tol.MAX_SHAPE_RINGS:
        raise InputError(f"a shape in it has over {tol.MAX_SHAPE_RINGS} rings; export only the field", builder.file)
    return collected(nested([line for line in lines if len(line)], builder))


def _table(dbf: bytes, cpg: bytes) -> list[dict[str, str] | None]:
    """Rows as text by column; None for one marked as deleted."""
    count, head, size = struct.unpack_from("<IHH", dbf, 4)
    if size < 1 or head < 33 or len(dbf) < head + count * size or count > tol.MAX_BOUNDARY_RINGS:
        raise ValueError
    encoding = _encoding(cpg)
    columns, at = [], 1
    for place in range(32, min(head, 32 * 256) - 31, 32):
        if dbf[place] == 0x0D:
            break
        name = dbf[place : place + 11].partition(b"\0")[0].decode(encoding, "replace")
        columns.append((name, dbf[place + 11 : place + 12], at, at + dbf[place + 16]))
        at += dbf[place + 16]
    rows: list[dict[str, str] | None] = []
    for number in range(count):
        row = dbf[head + number * size : head + (number + 1) * size]
        rows.append(None if row[:1] == b"*" else _cells(row, columns, encoding))
    return rows


def _cells(row: bytes, columns: list[tuple[str, bytes, int, int]], encoding: str) -> dict[str, str]:
    return {
        name: row[first:last].decode(encoding, "replace").strip(" \0")
        for name, kind, first, last in columns
        if kind == b"C" or name.lower() in NAME_COLUMNS
    }


def _encoding(cpg: bytes) -> str:
    """Python's name of the code page in a .cpg ("UTF-8", "1252", "ANSI 1252", "8859-1"); ISO 8859-1 failing that."""
    text = cpg[:40].decode("ascii", "replace").strip().lower().removeprefix("ansi ").removeprefix("oem ")
    if re.fullmatch(r"[0-9]{3,5}", text):
        text = "utf-8" if text == "65001" else f"cp{text}"
    elif re.fullmatch(r"8859-?[0-9]{1,2}", text):
        text = f"iso8859-{text[4:].lstrip('-')}"
    try:
        b"  ".decode(text)
    except (LookupError, ValueError):
        return "iso8859-1"
    return text


def _read(file: InputFile, source: Source, name: str) -> Shapes:
    beside = _sidecars(file, source, name)
    parts = {".shp": file.data, **{suffix: one.data for suffix, one in beside.items()}}
    shapes = drawn_shapes(shapefile_layers(parts, file.name), file.name)
    shapes.beside += beside.values()
    return shapes


def _sidecars(file: InputFile, source: Source, name: str) -> dict[str, InputFile]:
    """The files beside a Shapefile that have content, by their ending."""
    place, stem = source.folder_of(name), PurePath(source.base_name(name))
    beside = {suffix: place.alike(str(stem.with_suffix(suffix))) for suffix in _SIDECARS}
    if beside[".shx"] is None:
        raise InputError("the .shx file is missing beside it; copy all files of the Shapefile", file.name)
    found = {}
    for suffix, other in beside.items():
        # a .cpg or .dbf may rightly be empty
        if other is None or place.size(other) == 0:
            continue
        if not place.together(source.base_name(name), other):
            raise InputError("it is a link into another folder; copy all files of the Shapefile into one", other)
        found[suffix] = place.read(other, tol.MAX_BOUNDARY_BYTES)
    if ".shx" not in found:
        raise InputError("the .shx file beside it is empty; copy all files of the Shapefile", file.name)
    return found


SHAPEFILE = OutlineForm(
    "Shapefile (.shp)",
    # file code 9994, ESRI Shapefile Technical Description, July 1998, p. 4
    lambda candidate: candidate.file.data.startswith(b"\0\0\x27\x0a"),
    _read,
)
"""As the registry knows it."""
