"""GeoPackage boundaries (OGC 12-128r19): the feature tables of a database, read in memory.

The database engine works on a copy of the bytes, may read tables and nothing else (no view,
function, attachment or virtual table), and is stopped when it takes too many steps.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from . import tolerances as tol
from .crs import named_crs, written_crs
from .drawn import drawn_shapes
from .form import OutlineForm
from .shapes import Builder, Layer
from .wkb import shape_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.read.source import InputFile, Source

    from .form import Shapes

_ENVELOPES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}  # bytes of each kind, table 7 of the standard
_GEOMETRY = (
    "SELECT g.table_name, g.column_name, g.srs_id, s.organization, s.organization_coordsys_id, s.definition"
    " FROM gpkg_geometry_columns g LEFT JOIN gpkg_spatial_ref_sys s ON s.srs_id = g.srs_id"
)


def geopackage_layers(data: bytes, file: str) -> list[Layer]:
    """Every feature table of a GeoPackage.

    Parameters
    ----------
    data : bytes
        Whole file.
    file : str
        Its name, for messages.

    Raises
    ------
    InputError
        A broken database, one that is no GeoPackage, a view, or a shape that cannot be read.
    """
    try:
        with closing(_database(data)) as base:
            builder = Builder(file)
            tables = dict(base.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'"))
            return [_layer(base, tables, entry, builder) for entry in base.execute(_GEOMETRY).fetchall()]
    except (sqlite3.Error, sqlite3.Warning, MemoryError, OverflowError, ValueError) as error:
        raise InputError(f"the file is broken or cut off ({error}); export it again", file) from error


def _database(data: bytes) -> sqlite3.Connection:
    """The bytes as a database in memory that can only be read."""
    base = sqlite3.connect(":memory:")
    try:
        plain = bytearray(data)
        plain[18:20] = b"\1\1"  # a write-ahead log, which a copy in memory cannot have (SQLite file format, 1.3.3)
        base.deserialize(bytes(plain))
        base.execute("PRAGMA trusted_schema = OFF")
        base.execute("PRAGMA query_only = ON")
        base.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
        base.text_factory = lambda text: text.decode("utf-8", "replace")
        base.set_authorizer(_only_reading)
        base.set_progress_handler(_stopped_after(tol.MAX_DATABASE_STEPS), 100_000)
    except BaseException:
        base.close()
        raise
    return base


def _only_reading(action: int, subject: str | None, *_: object) -> int:
    columns = action == sqlite3.SQLITE_PRAGMA and subject == "table_xinfo"
    reads = action in (sqlite3.SQLITE_SELECT, sqlite3.SQLITE_READ)
    return sqlite3.SQLITE_OK if reads or columns else sqlite3.SQLITE_DENY


def _stopped_after(steps: int) -> Callable[[], bool]:
    left = [steps // 100_000]

    def stop() -> bool:
        left[0] -= 1
        return left[0] < 0

    return stop


def _layer(base: sqlite3.Connection, tables: dict[str, Any], entry: tuple[Any, ...], builder: Builder) -> Layer:
    table, column, *system = entry
    sql = str(tables.get(table, ""))
    if not sql.lstrip().upper().startswith("CREATE TABLE"):
        raise InputError(f'its layer "{str(table)[:60]}" is no plain table; export it as a new file', builder.file)
    crs = _crs(tuple(system), builder.file)
    quoted = _quoted(table)
    columns = [one[1] for one in base.execute(f"PRAGMA table_xinfo({quoted})") if one[6] == 0]  # none that is computed
    place = columns.index(column)
    rows = []
    for cells in base.execute(f"SELECT {', '.join(map(_quoted, columns))} FROM {quoted}"):  # noqa: S608 - quoted names
        properties = {name: cell for name, cell in zip(columns, cells, strict=True) if name != column}
        rows.append(builder.row(properties, _shape(cells[place], builder)))
    return Layer(rows, crs)


def _quoted(name: object) -> str:
    """A name of the file's own as SQL takes it."""
    return '"' + str(name).replace('"', '""') + '"'


def _crs(system: tuple[Any, ...], file: str) -> CRS | None:
    """Reference system by its registry number, else by its text; 0 and -1 stand for none (clause 1.1.2.1.2)."""
    number, organization, code, definition = system
    if number in (0, -1):
        return None
    if isinstance(organization, str) and organization.upper() == "EPSG":
        return named_crs(f"EPSG:{code}", file)
    crs = written_crs(definition if isinstance(definition, str) else "-", file)
    return crs if crs is not None else written_crs("-", file)


def _shape(cell: object, builder: Builder) -> BaseGeometry | None:
    """A cell of the geometry column: a head, a bounding box that is not needed, and well-known binary."""
    if cell is None:
        return None
    if not isinstance(cell, bytes) or len(cell) < 8 or cell[:2] != b"GP":
        raise InputError("a shape in it is not written as a GeoPackage has it; export it again", builder.file)
    size = _ENVELOPES.get(cell[3] >> 1 & 7)
    if size is None:
        raise InputError("a shape in it is not written as a GeoPackage has it; export it again", builder.file)
    return shape_of(cell[8 + size :], builder)


def _read(file: InputFile, source: Source, name: str) -> Shapes:
    _check_written_out(file, source, name)
    return drawn_shapes(geopackage_layers(file.data, file.name), file.name)


def _check_written_out(file: InputFile, source: Source, name: str) -> None:
    """Raise when changes to a GeoPackage still lie in its write-ahead log."""
    if source.size(f"{name}-wal"):
        raise InputError(
            f"changes to it still lie in {file.name}-wal: it is open in another program; close it there first",
            file.name,
        )


GEOPACKAGE = OutlineForm("GeoPackage", lambda candidate: candidate.file.data.startswith(b"SQLite format 3\0"), _read)
"""As the registry knows it."""
