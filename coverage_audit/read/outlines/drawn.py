"""Shapes drawn in a map program: layers with their reference systems to named shapes in degrees."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

from .crs import in_degrees
from .form import Shapes
from .shapes import names

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .shapes import Layer


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
            shapes.named += zip(names(layer.rows), turned, strict=True)
    if not shapes.named:
        raise InputError(" ".join(["there is no shape in it; export the field's polygon", *shapes.cautions]), name)
    total = len(shapes.named)
    fallback = [f"field {number}" if total > 1 else "field" for number in range(1, total + 1)]
    shapes.named = [(given or other, shape) for (given, shape), other in zip(shapes.named, fallback, strict=True)]
    return shapes
