"""Maps of the compared jobs, north up, all at one scale, from their GeoJSON features."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
import shapely.geometry
from markupsafe import escape

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane

from .still import PIXEL_SHARE, scale_bar, svg_path

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.read.result_record import JobRecord

MAP_PX, SMALL_MAP_PX = 460, 240
"""Width of the widest map of two jobs, and of more. [px]"""

DRAWN = (("target", "once"), ("double", "double"), ("missed", "missed"), ("outside", "outside"))
"""Kinds of ground in drawing order, and the map class each is filled like."""


def compared_maps(jobs: Sequence[JobRecord], units: str) -> list[str]:
    """One SVG element for each job, at one scale and with one scale bar each."""
    drawings = [_shapes(job) for job in jobs]
    boxes = [shapely.total_bounds(np.array([shape for _, shape in drawing], dtype=object)) for drawing in drawings]
    widest = max(float(max(box[2] - box[0], 1.0)) for box in boxes)
    width_px = MAP_PX if len(jobs) < 3 else SMALL_MAP_PX
    px_per_m = width_px / (1.06 * widest)
    pairs = zip(jobs, drawings, boxes, strict=True)
    return [_svg(job, drawing, box, px_per_m, width_px, units) for job, drawing, box in pairs]


def _shapes(job: JobRecord) -> list[tuple[str, Any]]:
    """(map class, shape in metres) in drawing order."""
    features = [*job.lines, *job.findings]
    every = [(str(one["properties"].get("kind")), shapely.geometry.shape(one["geometry"])) for one in features]
    outline = next((shape for kind, shape in every if kind == "field"), every[0][1] if every else shapely.Point(0, 0))
    plane = Plane(PlaneOrigin(outline.centroid.x, outline.centroid.y))
    drawn = [(css, shape) for wanted, css in DRAWN for kind, shape in every if kind == wanted]
    sprayed = {one["n"] for one in job.passes}
    drawn += [
        ("passes", shapely.geometry.shape(one["geometry"]))
        for one in features
        if one["properties"].get("n") in sprayed and one["properties"].get("kind") in ("headland", "straight")
    ]
    drawn.append(("field", outline))
    return [(css, plane.geometry_to_metres(shape)) for css, shape in drawn]


def _svg(
    job: JobRecord, drawing: list[tuple[str, Any]], box: np.ndarray, px_per_m: float, width_px: int, units: str
) -> str:
    margin = 0.03 * float(box[2] - box[0])
    west, north = float(box[0]) - margin, float(box[3]) + margin
    width, height = (float(box[2]) + margin - west) * px_per_m, (north - float(box[1]) + margin) * px_per_m
    paths = "".join(
        f'<path class="map-{css}" fill-rule="evenodd" d="{_drawn(shape, west, north, px_per_m)}"/>'
        for css, shape in drawing
    )
    title = escape(f"Map of {job.label}, north up")
    bar = scale_bar(6, height + 16, width_px, px_per_m, units)
    return (
        f'<svg class="pair" viewBox="0 0 {width:.0f} {height + 34:.0f}" style="max-width:{width:.0f}px" role="img" '
        f'aria-label="{title}">{paths}{bar}</svg>'
    )


def _drawn(shape: Any, west: float, north: float, px_per_m: float) -> str:  # noqa: ANN401 - any geometry
    simple = shapely.simplify(shape, PIXEL_SHARE / px_per_m, preserve_topology=False)
    return svg_path(simple, lambda xy_m: (xy_m - (west, north)) * (px_per_m, -px_per_m))


def strip_plot(rows: Sequence[tuple[str, Sequence[float]]], ticks: Mapping[float, str], name: str) -> str:
    """Picture *name*: dots of each job's passes along one axis, a bar at the median; *ticks* are (place, words)."""
    values = [value for _, own in rows for value in own]
    places = [*values, *ticks]
    low, high = min(places, default=0.0), max(places, default=1.0)
    span = (high - low) or 1.0
    left, width = 8.0, 444.0
    text = []
    for k, (label, own) in enumerate(rows):
        y = 34 + 46 * k
        text.append(f'<text x="{left}" y="{y - 12}">{escape(label)}</text>')
        text += [f'<circle class="dot" cx="{left + width * (one - low) / span:.1f}" cy="{y}" r="4"/>' for one in own]
        if own:
            x = left + width * (float(np.median(own)) - low) / span
            text.append(f'<path class="median" d="M{x:.1f} {y - 11}v22"/>')
    base = 34 + 46 * len(rows)
    for place, words in ticks.items():
        x = left + width * (place - low) / span
        anchor = "start" if x < 60 else "end" if x > 400 else "middle"
        text.append(f'<path class="tick" d="M{x:.1f} 16V{base - 20}"/>')
        text.append(f'<text x="{x:.1f}" y="{base}" text-anchor="{anchor}">{escape(words)}</text>')
    return (
        f'<svg class="dots" viewBox="0 0 460 {base + 10}" role="img" aria-label="{escape(name)}">{"".join(text)}</svg>'
    )
