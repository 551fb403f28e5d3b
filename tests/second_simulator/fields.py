"""Fields of 1.5 to 3 ha: L-shaped, slanted, wedge, cut corners; one in four with a hollow that is not to be sprayed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Point, Polygon

if TYPE_CHECKING:
    from numpy.random import Generator

SHAPES = ("L", "slanted", "wedge", "cut corners")
AREA_M2 = (15_000.0, 30_000.0)
HOLLOW_SHARE = 0.25


@dataclass(frozen=True)
class Field:
    """A field in the local plane, its passes running along *heading_rad*."""

    shape: str
    outline: Polygon
    hollow: Polygon | None
    heading_rad: float

    @property
    def target(self) -> Polygon:
        """What is to be sprayed."""
        return self.outline if self.hollow is None else self.outline.difference(self.hollow)


def draw_field(rng: Generator, width_m: float) -> Field:
    """Draw a field about the origin; a hollow stays two boom widths and more off the fence."""
    shape = SHAPES[rng.integers(len(SHAPES))]
    ratio = rng.uniform(1.2, 1.9)
    raw = Polygon(_corners(shape, rng)) if shape != "L" else Polygon(_l_corners(rng))
    raw = affinity.scale(raw, ratio, 1.0, origin=(0, 0))
    factor = np.sqrt(rng.uniform(*AREA_M2) / raw.area)
    outline = affinity.scale(raw, factor, factor, origin=(0, 0))
    heading = rng.uniform(0, 2 * np.pi)
    centre = outline.centroid
    outline = affinity.rotate(affinity.translate(outline, -centre.x, -centre.y), heading, (0, 0), use_radians=True)
    return Field(shape, outline, _hollow(rng, outline, width_m), heading)


def _corners(shape: str, rng: Generator) -> list[tuple[float, float]]:
    """Corners of a convex field on about the unit square; its lower side is straight and the longest."""
    if shape == "slanted":
        lean, other = rng.uniform(-0.35, 0.35, 2)
        return [(0, 0), (1, 0), (1 - abs(other) * 0.5, 1), (abs(lean) * 0.5, 1)]
    if shape == "wedge":
        return [(0, 0), (1, 0), (1, rng.uniform(0.9, 1.1)), (0, rng.uniform(0.35, 0.65))]
    left, right = rng.uniform(0.1, 0.35, 2)
    return [(0, 0), (1, 0), (1, 1 - right), (1 - right, 1), (left * 0.6, 1), (0, 1 - left)]


def _l_corners(rng: Generator) -> list[tuple[float, float]]:
    across, along = rng.uniform(0.35, 0.55), rng.uniform(0.4, 0.6)
    return [(0, 0), (1, 0), (1, 1 - across), (1 - along, 1 - across), (1 - along, 1), (0, 1)]


def _hollow(rng: Generator, outline: Polygon, width_m: float) -> Polygon | None:
    wanted, radius = rng.random() < HOLLOW_SHARE, rng.uniform(5.0, 12.0)
    room = outline.buffer(-(2.2 * width_m + radius + 2))
    if not wanted or room.is_empty:
        return None
    box = room.bounds
    places = rng.uniform(box[:2], box[2:], (200, 2))
    inside = places[shapely.contains_xy(room, *places.T)]
    if not len(inside):
        return None
    round_one = affinity.scale(Point(inside[0]).buffer(radius, quad_segs=6), 1.0, rng.uniform(0.5, 1.0))
    return affinity.rotate(round_one, rng.uniform(0, 180))
