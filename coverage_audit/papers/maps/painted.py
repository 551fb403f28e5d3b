"""The still map as pixels: the same layers and hatches as in the report, for a picture that one sends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image, ImageChops, ImageDraw

from .layers import map_bounds, map_layers

if TYPE_CHECKING:
    from collections.abc import Callable

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.recipe.result import Audit

    Pattern = Callable[[np.ndarray, np.ndarray], np.ndarray]
    Pixels = Callable[[np.ndarray], np.ndarray]

PAPER, INK, WASH, PLUM, SLATE, SOFT = "#fbf9f4", "#1f2937", "#e3dccd", "#6a3d7c", "#2f5d86", "#5b6472"
PALE = "#a9adb3"
FINE = 2
"""Drawn so many times as large and made smaller: edges are smooth then. [1]"""


def _slanted(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return (x + y) % 14 < 5


def _crossed(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return ((x + y) % 18 < 3) | ((x - y) % 18 < 3)


def _lined(_x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return y % 20 < 3


def _dotted(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return (x % 12 < 5) & (y % 12 < 5)


def _ringed(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    away = np.hypot(x % 24 - 12, y % 24 - 12)
    return (away > 4) & (away < 7)


HATCHES: dict[str, tuple[Pattern | None, str, str, str]] = {
    "once": (None, WASH, WASH, ""),
    "excluded": (None, PAPER, PAPER, INK),
    "byothers": (_lined, SOFT, PAPER, SOFT),
    "bridged": (_dotted, SOFT, WASH, SOFT),
    "outside": (_dotted, SLATE, PAPER, SLATE),
    "excludedsprayed": (_slanted, SLATE, PAPER, SLATE),
    "double": (_crossed, PLUM, WASH, PLUM),
    "missed": (_slanted, INK, PAPER, INK),
    "perhaps": (_slanted, PALE, PAPER, PALE),
    "dry": (_dotted, SOFT, WASH, SOFT),
    "unknown": (_ringed, INK, PAPER, INK),
}
"""Hatch of each kind of ground: pattern (None = plain), its colour, the ground's, and the outline's ("" = none)."""

LINES = {"passes": (SLATE, 2), "field": (INK, 5)}
"""Colour and width of lines. [px, before the picture is made smaller]"""


PERIOD: dict[Pattern, int] = {_slanted: 14, _crossed: 18, _dotted: 12, _ringed: 24, _lined: 20}
"""How far apart a pattern repeats, along and across. [px, before the picture is made smaller]"""

COLOURS = (PAPER, INK, WASH, PLUM, SLATE, SOFT, PALE)
"""The picture is drawn in numbers of these: a byte a pixel instead of four."""


def painted_map(audit: Audit, width_px: int, most_high_px: int) -> tuple[Image.Image, Pixels]:
    """Picture of the layers of *audit*, north up, and the function from plane metres (n, 2) to its pixels."""
    west, south, east, north = map_bounds(audit)
    scale = min(width_px / (east - west), most_high_px / (north - south))
    size = (width_px * FINE, round((north - south) * scale) * FINE)
    left = (width_px - (east - west) * scale) / 2

    def pixels(xy_m: np.ndarray) -> np.ndarray:
        return (xy_m - (west, north)) * (scale, -scale) + (left, 0)

    image = _blank(size, PAPER)
    for layer in reversed(map_layers(audit)):
        for piece in layer.pieces if layer.shown else ():
            _paint(image, piece.kind, piece.geometry, lambda xy: pixels(xy) * FINE)
    return _smaller(image), pixels


def hatched(kind: str, size: tuple[int, int]) -> Image.Image:
    """A piece of the hatch of one kind of ground, for the legend."""
    pattern, colour, ground, _ = HATCHES[kind]
    large = _blank((size[0] * FINE, size[1] * FINE), ground)
    large.paste(COLOURS.index(colour), mask=_hatch(pattern, large.size))
    return _smaller(large)


def _blank(size: tuple[int, int], colour: str) -> Image.Image:
    image = Image.new("P", size, COLOURS.index(colour))
    image.putpalette(b"".join(bytes.fromhex(one[1:]) for one in COLOURS))
    return image


def _smaller(image: Image.Image) -> Image.Image:
    size = (image.width // FINE, image.height // FINE)
    return image.convert("RGB").resize(size, Image.Resampling.BOX)


def _hatch(pattern: Pattern | None, size: tuple[int, int]) -> Image.Image:
    """Mask of a pattern: one period of it, again and again."""
    if pattern is None:
        return Image.new("L", size)
    y, x = np.mgrid[0 : PERIOD[pattern], 0 : PERIOD[pattern]]
    one = (pattern(x, y) * 255).astype(np.uint8)
    times = [-(-long // PERIOD[pattern]) for long in reversed(size)]
    return Image.fromarray(np.ascontiguousarray(np.tile(one, times)[: size[1], : size[0]]))


def _paint(image: Image.Image, kind: str, shape: BaseGeometry, pixels: Pixels) -> None:
    draw = ImageDraw.Draw(image)
    if kind in LINES:
        colour, wide = LINES[kind]
        for line in _outlines(shape):
            draw.line([tuple(place) for place in pixels(line).tolist()], COLOURS.index(colour), wide)
        return
    if kind not in HATCHES:
        return
    pattern, colour, ground, edge = HATCHES[kind]
    mask = _mask(shape, image.size, pixels)
    image.paste(COLOURS.index(ground), mask=mask)
    if pattern is not None:
        image.paste(COLOURS.index(colour), mask=ImageChops.multiply(mask, _hatch(pattern, image.size)))
    for line in _outlines(shape) if edge else ():
        draw.line([tuple(place) for place in pixels(line).tolist()], COLOURS.index(edge), FINE)


def _mask(shape: BaseGeometry, size: tuple[int, int], pixels: Pixels) -> Image.Image:
    mask = Image.new("L", size)
    for part in _polygons(shape):
        rings = [[tuple(place) for place in pixels(ring).tolist()] for ring in _rings(part)]
        if len(rings) == 1:
            ImageDraw.Draw(mask).polygon(rings[0], 255)
            continue
        own = Image.new("L", size)
        draw = ImageDraw.Draw(own)
        for rank, ring in enumerate(rings):
            draw.polygon(ring, 0 if rank else 255)
        mask = ImageChops.lighter(mask, own)
    return mask


def _polygons(shape: BaseGeometry) -> list[BaseGeometry]:
    parts = shapely.get_parts(shapely.get_parts(shape))
    return list(parts[shapely.get_dimensions(parts) == 2])


def _rings(polygon: BaseGeometry) -> list[np.ndarray]:
    return [shapely.get_coordinates(ring) for ring in shapely.get_rings(polygon)]


def _outlines(shape: BaseGeometry) -> list[np.ndarray]:
    parts = shapely.get_parts(shapely.get_parts(shape))
    lines = [shapely.get_coordinates(part) for part in parts[shapely.get_dimensions(parts) == 1]]
    return lines + [ring for polygon in _polygons(shape) for ring in _rings(polygon)]
