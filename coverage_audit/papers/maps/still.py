"""The still picture of the map: one inline SVG that needs no script."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.papers.words.display import SPACE, number
from coverage_audit.units import FOOT_M

from .layers import MapLayer, map_bounds, map_layers

if TYPE_CHECKING:
    from collections.abc import Callable

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.result import Audit

WIDTH_PX = 720
MAX_HEIGHT_PX = 900
FOOT_PX = 44
"""Strip under the drawing for the scale bar. [px]"""

PIXEL_SHARE = 0.25
"""Shapes are simplified to a quarter of a pixel, which cannot be seen."""

LABELS = 12
"""Strips named in the picture; more would hide the ground. The list has them all."""

LABEL_GAP_PX = 26
"""A label nearer than this to another is left out, as the two could not be read. [px]"""


@dataclass(frozen=True)
class _Frame:
    """From plane metres to picture pixels (y down)."""

    west_m: float
    north_m: float
    px_per_m: float
    left_px: float
    height_px: float

    def pixels(self, xy_m: np.ndarray) -> np.ndarray:
        return (xy_m - (self.west_m, self.north_m)) * (self.px_per_m, -self.px_per_m) + (self.left_px, 0)


def static_map(audit: Audit) -> str:
    """SVG element that shows the layers of *audit*, north up, with a scale bar in the person's units."""
    frame = _frame(map_bounds(audit))
    drawn = "".join(_group(layer, frame) for layer in reversed(map_layers(audit)) if layer.shown)
    height = frame.height_px + FOOT_PX
    bar = scale_bar(12, frame.height_px + 26, WIDTH_PX, frame.px_per_m, audit.job.settings.report.units)
    return (
        f'<svg class="still" viewBox="0 0 {WIDTH_PX} {height:.0f}" role="img" aria-labelledby="still-title still-text">'
        f'<title id="still-title">Map of the sprayed field, north up</title>'
        f'<desc id="still-text">{escape(_description(audit))}</desc>'
        f'<svg width="{WIDTH_PX}" height="{frame.height_px:.0f}">{drawn}</svg>'
        f"{_labels(audit.answer.listed, frame)}{north_arrow(WIDTH_PX - 24, frame.height_px + 6)}{bar}</svg>"
    )


def _description(audit: Audit) -> str:
    strips = ", ".join(strip.id for strip in audit.answer.listed[:LABELS]) or "none"
    return (
        "Ground sprayed once is plain, ground sprayed twice or more is cross-hatched, surely missed ground is hatched "
        "with one set of slanted lines, perhaps missed ground with the same in a paler ink. "
        f"Missed strips named in the picture: {strips}. "
        "The same strips stand in the list below with their places."
    )


def _frame(bounds_m: tuple[float, float, float, float]) -> _Frame:
    west, south, east, north = bounds_m
    px_per_m = min(WIDTH_PX / (east - west), MAX_HEIGHT_PX / (north - south))
    left_px = (WIDTH_PX - (east - west) * px_per_m) / 2
    return _Frame(west, north, px_per_m, left_px, (north - south) * px_per_m)


def _group(layer: MapLayer, frame: _Frame) -> str:
    whole = np.array([piece.geometry for piece in layer.pieces], dtype=object)
    simple = shapely.simplify(whole, PIXEL_SHARE / frame.px_per_m, preserve_topology=False)
    # What is narrower than the tolerance would vanish; it is drawn as it is.
    drawn = np.where(shapely.is_empty(simple), whole, simple)
    paths = (
        f'<path class="map-{piece.kind}" fill-rule="evenodd" d="{svg_path(shape, frame.pixels)}"/>'
        for piece, shape in zip(layer.pieces, drawn, strict=True)
    )
    return f"<g>{''.join(paths)}</g>"


def svg_path(shape: BaseGeometry, pixels: Callable[[np.ndarray], np.ndarray]) -> str:
    """Data of an SVG path along the rings and lines of *shape*; *pixels* turns metres (n, 2) into picture pixels."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    dimension = shapely.get_dimensions(parts)
    rings = [_line(ring, pixels) + "Z" for ring in shapely.get_rings(parts[dimension == 2])]
    lines = [_line(line, pixels) for line in parts[dimension == 1]]
    return "".join(rings + lines)


def _line(line: BaseGeometry, pixels: Callable[[np.ndarray], np.ndarray]) -> str:
    points = np.round(pixels(shapely.get_coordinates(line)), 1).tolist()
    return "M" + " ".join(f"{x:g},{y:g}" for x, y in points)


def _labels(strips: tuple[Strip, ...], frame: _Frame) -> str:
    placed: list[tuple[float, float]] = []
    texts = []
    for strip in strips[:LABELS]:
        x, y = frame.pixels(shapely.get_coordinates(strip.label_point))[0].tolist()
        if any(math.dist((x, y), other) < LABEL_GAP_PX for other in placed):
            continue
        placed.append((x, y))
        texts.append(f'<text class="tag" x="{x:.1f}" y="{y - 6:.1f}" text-anchor="middle">{escape(strip.id)}</text>')
    return "".join(texts)


def north_arrow(x_px: float, y_px: float) -> str:
    """SVG of the arrow that shows north, its point at a place of the picture. [px]"""
    return (
        f'<g class="rule"><path d="M{x_px} {y_px:.0f}l-7 20l7 -5l7 5z"/>'
        f'<text x="{x_px - 12}" y="{y_px + 18:.0f}" text-anchor="end">North</text></g>'
    )


def scale_bar(begin_px: float, y_px: float, widest_px: float, px_per_m: float, units: str) -> str:
    """SVG of a scale bar with its length in the person's units.

    Parameters
    ----------
    begin_px, y_px : float
        Where it begins, and the level it lies on. [px]
    widest_px : float
        Width of the picture; the bar takes up to a quarter of it. [px]
    px_per_m : float
        Scale of the picture. [px/m]
    """
    bar_m = scale_length_m(widest_px / px_per_m / 4, units)
    end_px = begin_px + bar_m * px_per_m
    words = scale_words(bar_m, units)
    return (
        f'<g class="rule"><path class="bar" d="M{begin_px:.0f} {y_px - 6:.0f}v6H{end_px:.1f}v-6"/>'
        f'<text x="{end_px + 8:.0f}" y="{y_px + 2:.0f}">{words}</text></g>'
    )


def scale_words(bar_m: float, units: str) -> str:
    """Length of a scale bar [m] in the person's units: "200 ft"."""
    return f"{number(bar_m / FOOT_M, 0, units)}{SPACE}ft" if units == "us" else f"{number(bar_m)}{SPACE}m"


def scale_length_m(longest_m: float, units: str) -> float:
    """Longest length [m] within *longest_m* that is 1, 2 or 5 times a power of ten in metres or feet."""
    unit_m = FOOT_M if units == "us" else 1.0
    power = 10.0 ** math.floor(math.log10(longest_m / unit_m))
    return max(step * power * unit_m for step in (1, 2, 5) if step * power * unit_m <= longest_m * (1 + 1e-9))
