"""Small map of one field over a season: what is still missed, and what got too much."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely
from markupsafe import escape

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane

from .still import scale_bar, svg_path

if TYPE_CHECKING:
    from coverage_audit.ledger.model import FieldLedger

WIDTH_PX, HEIGHT_PX = 300, 240
"""Most room that a field's map takes. [px]"""
MARGIN_PX, FOOT_PX = 6, 24


def ledger_map(one: FieldLedger, units: str) -> str:
    """SVG element of the field, north up, with a scale bar in the person's units; "" where there is no outline."""
    shapes = [(kind, shapely.from_wkb(wkb)) for kind, wkb in one.shapes]
    if not shapes:
        return ""
    west, south, east, north = shapes[0][1].bounds
    plane = Plane(PlaneOrigin((west + east) / 2, (south + north) / 2))
    drawn = [("once", shapes[0][1]), *shapes[1:], ("field", shapes[0][1])]
    placed = [(kind, plane.geometry_to_metres(shape)) for kind, shape in drawn]
    west, south, east, north = shapely.total_bounds(np.array([shape for _, shape in placed], dtype=object)).tolist()
    px_per_m = min((WIDTH_PX - 2 * MARGIN_PX) / (east - west), (HEIGHT_PX - 2 * MARGIN_PX) / (north - south))
    origin = np.array([west - MARGIN_PX / px_per_m, north + MARGIN_PX / px_per_m])
    paths = "".join(
        f'<path class="map-{"double" if kind == "above" else kind}" fill-rule="evenodd" '
        f'd="{svg_path(shape, lambda xy: (xy - origin) * (px_per_m, -px_per_m))}"/>'
        for kind, shape in placed
    )
    width = max((east - west) * px_per_m + 2 * MARGIN_PX, 160.0)
    height = math.ceil((north - south) * px_per_m) + 2 * MARGIN_PX
    bar = scale_bar(MARGIN_PX, height + 14, width, px_per_m, units)
    return (
        f'<svg class="pair" viewBox="0 0 {width:.0f} {height + FOOT_PX}" style="max-width:{width:.0f}px" role="img" '
        f'aria-label="{escape(f"Map of {one.field}, north up")}">{paths}{bar}</svg>'
    )
