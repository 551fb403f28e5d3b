"""Picture of the touch-up plan: one inline SVG with the field, the strips, the way and the stops."""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.touchup.model import BOOM

from .still import PIXEL_SHARE, north_arrow, scale_bar, svg_path

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import TouchupPlan

FOOT_PX = 40
MARGIN_PX = 26
ARROW_PX = 90
"""About so far apart along the way stand the arrows that show its direction. [px]"""
STOP_PX = 11
"""Half the size of a stop's number plate. [px]"""


class _Frame:
    """From plane metres to picture pixels (y down)."""

    def __init__(self, bounds_m: tuple[float, float, float, float], width_px: float, height_px: float) -> None:
        west, south, east, north = bounds_m
        inner = (width_px - 2 * MARGIN_PX, height_px - 2 * MARGIN_PX)
        self.px_per_m = min(inner[0] / (east - west), inner[1] / (north - south))
        self.height_px = (north - south) * self.px_per_m + 2 * MARGIN_PX
        left = (width_px - (east - west) * self.px_per_m) / 2
        self.shift = np.array([left - west * self.px_per_m, MARGIN_PX + north * self.px_per_m])

    def pixels(self, xy_m: FloatArray) -> FloatArray:
        return np.asarray(xy_m * np.array([self.px_per_m, -self.px_per_m]) + self.shift)


def touchup_map(audit: Audit, plan: TouchupPlan, width_px: int, height_px: int) -> str:
    """SVG of at most *width_px* x *height_px* [px], north up, with a scale bar in the person's units."""
    layers = audit.layers
    shapes = [layers.field, *(shapely.LineString(leg.points) for leg in plan.legs), shapely.Point(plan.start)]
    frame = _Frame(tuple(shapely.total_bounds(np.array(shapes, dtype=object)).tolist()), width_px, height_px - FOOT_PX)
    advice = {one.id: one.advice for one in plan.strips}
    drawn = [
        _shape(layers.field, "map-field", frame),
        _shape(layers.excluded, "map-excluded", frame),
        *(_shape(strip.polygon, f"map-missed touch-{advice[strip.id]}", frame) for strip in audit.missed_strips),
        *(_shape(one.chosen.spray, "touch-spray", frame) for one in plan.treated if one.advice == BOOM),
        *(_line(leg.points, f"touch-{leg.kind}", frame) for leg in plan.legs),
        *_arrows(plan, frame),
        *_stops(plan, frame),
        scale_bar(12, frame.height_px + 20, width_px, frame.px_per_m, audit.job.settings.report.units),
        north_arrow(width_px - 20, frame.height_px + 4),
    ]
    height = frame.height_px + FOOT_PX
    return (
        f'<svg class="touch-map" viewBox="0 0 {width_px} {height:.0f}" role="img" aria-label="Map of the touch-up, '
        f'north up: the way from the start through the numbered stops">{"".join(drawn)}</svg>'
    )


def _shape(shape: BaseGeometry | None, style: str, frame: _Frame) -> str:
    if shape is None or shape.is_empty:
        return ""
    simple = shapely.simplify(shape, PIXEL_SHARE / frame.px_per_m)
    path = svg_path(shape if simple.is_empty else simple, frame.pixels)
    return f'<path class="{style}" fill-rule="evenodd" d="{path}"/>'


def _line(points: FloatArray, style: str, frame: _Frame) -> str:
    simple = shapely.simplify(shapely.LineString(points), PIXEL_SHARE / frame.px_per_m)
    return f'<path class="{style}" d="{svg_path(simple, frame.pixels)}"/>'


def _arrows(plan: TouchupPlan, frame: _Frame) -> list[str]:
    """Small arrow heads along the way, where it leads somewhere else."""
    arrows = []
    for leg in plan.legs:
        if leg.kind == "back":
            continue
        line = shapely.LineString(frame.pixels(leg.points))
        count = int(line.length // ARROW_PX) or int(line.length > ARROW_PX / 3)
        for k in range(count):
            at = line.length * (k + 0.5) / count
            low, high = (line.interpolate(max(at - 1, 0)), line.interpolate(min(at + 1, line.length)))
            angle = math.degrees(math.atan2(high.y - low.y, high.x - low.x))
            arrows.append(
                f'<path class="touch-arrow" d="M5 0L-4 -4L-4 4Z" '
                f'transform="translate({high.x:.1f} {high.y:.1f}) rotate({angle:.0f})"/>'
            )
    return arrows


def _stops(plan: TouchupPlan, frame: _Frame) -> list[str]:
    """The start and the numbered stops; plates that would hide one another move apart."""
    x, y = frame.pixels(np.array([plan.start]))[0].tolist()
    marks = [f'<circle class="touch-start" cx="{x:.1f}" cy="{y:.1f}" r="6"/>']
    marks.append(f'<text class="tag" x="{x + 9:.1f}" y="{y - 8:.1f}">Start</text>')
    placed: list[tuple[float, float]] = []
    for rank, stop in enumerate(plan.stops, start=1):
        x, y = frame.pixels(np.array([stop.start]))[0].tolist()
        while any(math.dist((x, y), other) < 2 * STOP_PX for other in placed):
            x += 2 * STOP_PX
        placed.append((x, y))
        marks.append(
            f'<circle class="touch-plate" cx="{x:.1f}" cy="{y:.1f}" r="{STOP_PX}"/>'
            f'<text class="touch-number" x="{x:.1f}" y="{y + 4.5:.1f}" text-anchor="middle">{escape(str(rank))}</text>'
        )
    return marks
