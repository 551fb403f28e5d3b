"""Shapes drawn in a map program: layers with their reference systems to named shapes in degrees."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

from .crs import in_degrees
from .form import Shapes
from .shapes import names

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from .shapes import Layer, Row

KIND, NO_SPRAY = "kind", "no-spray"
"""A shape whose column of this name says this word is ground not to be sprayed."""

OUTLINE, DERIVED = "outline", "derived"
"""A shape whose column of this name says this word was made from a drive over the field, and proves nothing of it."""


def drawn_shapes(layers: Sequence[Layer], name: str) -> Shapes:
    """Every shape of every layer, in degrees.

    Raises
    ------
    InputError
        There is none, or one does not lie on the Earth.
    """
    shapes = Shapes()
    for layer in layers:
        shapes.cautions += layer.cautions
        if layer.rows:
            turned = in_degrees([row.shape for row in layer.rows], layer.crs, name, shapes.cautions)
            for row, given, shape in zip(layer.rows, names(layer.rows), turned, strict=True):
                kept = shapes.no_spray if _says(row, KIND, NO_SPRAY) else shapes.named
                kept.append((given, shape))
            shapes.derived |= any(_says(row, OUTLINE, DERIVED) for row in layer.rows)
    if not shapes.named and not shapes.no_spray:
        linked = any(one.code == "links not opened" for one in shapes.cautions)
        why = "; it only points at other places (NetworkLink), which were not opened" if linked else ""
        raise InputError(f"there is no shape in it{why}; export the field's polygon", name)
    shapes.named, shapes.no_spray = _all_named(shapes.named, "field"), _all_named(shapes.no_spray, "no-spray area")
    return shapes


def _all_named(shapes: list[tuple[str, BaseGeometry | None]], word: str) -> list[tuple[str, BaseGeometry | None]]:
    """Shapes of which those without a name are numbered."""
    alone = len(shapes) == 1
    return [
        (given or (word if alone else f"{word} {number}"), shape) for number, (given, shape) in enumerate(shapes, 1)
    ]


def _says(row: Row, column: str, word: str) -> bool:
    """Whether a shape says this *word* in this *column*, in any case."""
    return any(
        name.casefold() == column and isinstance(value, str) and value.strip().casefold() == word
        for name, value in row.properties.items()
    )
