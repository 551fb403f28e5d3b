"""Well-known binary shapes (OGC 06-103r4, clause 8; ISO and older marks of height) within limits."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError

from . import tolerances as tol
from .shapes import Builder, collected

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

_LINE, _POLYGON, _POINTS = 2, 3, (1, 4)
_COLLECTIONS = (5, 6, 7)  # of lines, polygons, anything
_MEASURES = (2, 3, 3, 4)  # numbers a position has in plain, Z, M and ZM shapes


def shape_of(data: bytes, builder: Builder) -> BaseGeometry | None:
    """The shape in *data*; None for points.

    Raises
    ------
    InputError
        Bytes cut off or of a kind that has curves or surfaces.
    """
    try:
        return _Reader(data, builder).shape(0)
    except struct.error:
        raise InputError("a shape in it is cut off; export it again", builder.file) from None


class _Reader:
    """Reads on from where it stands."""

    def __init__(self, data: bytes, builder: Builder) -> None:
        self._data, self._at, self._builder = data, 0, builder

    def shape(self, depth: int) -> BaseGeometry | None:
        """The next shape; *depth* collections lie about it."""
        order = "<" if self._number("B") else ">"
        code = self._number(order + "I")
        if code & 0x20000000:  # a reference system before the shape, as an older format has it
            self._number(order + "I")
        flags = (code >> 31 & 1) | (code >> 30 & 1) << 1
        thousands, kind = divmod(code & 0x0FFFFFFF, 1000)
        if thousands > 3 or depth > tol.MAX_SHAPE_DEPTH:
            kind = -1
        width = _MEASURES[(thousands | flags) & 3]
        if kind in _POINTS:
            self._skip_points(kind, order, width)
            return None
        if kind == _LINE:
            return self._builder.line(self._points(order, width))
        if kind == _POLYGON:
            rings = self._number(order + "I")
            return self._builder.polygon([self._points(order, width) for _ in range(rings)])
        if kind in _COLLECTIONS:
            parts = self._number(order + "I")
            return collected([self.shape(depth + 1) for _ in range(parts)])
        raise InputError("a shape in it has curves or is of an unknown kind; export plain polygons", self._builder.file)

    def _skip_points(self, kind: int, order: str, width: int) -> None:
        if kind == 1:
            self._take(8 * width)
            return
        for _ in range(self._number(order + "I")):
            self._take(5 + 8 * width)

    def _points(self, order: str, width: int) -> FloatArray:
        count = self._number(order + "I")
        return np.frombuffer(self._take(8 * width * count), order + "f8").reshape(-1, width)[:, :2].astype(float)

    def _number(self, form: str) -> int:
        return int(struct.unpack(form, self._take(struct.calcsize(form)))[0])

    def _take(self, count: int) -> bytes:
        piece = self._data[self._at : self._at + count]
        if len(piece) < count:
            raise struct.error
        self._at += count
        return piece
