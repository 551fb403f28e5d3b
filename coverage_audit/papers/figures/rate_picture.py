"""The rate surface as a picture: a PNG of a few colours, with the outline of the field over it."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image

from coverage_audit.papers.maps.still import svg_path
from coverage_audit.papers.tolerances import PICTURE_SIDE_PX
from coverage_audit.rate.classes import RAMP, class_edges, class_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.rate.model import RateCells


class RatePicture:
    """Picture of *cells* in the classes about *about_l_ha*, north up."""

    def __init__(self, cells: RateCells, about_l_ha: float) -> None:
        south, north = int(cells.row.min()), int(cells.row.max()) + 1
        west, east = int(cells.column.min()), int(cells.column.max()) + 1
        coarse = -(-max(north - south, east - west) // PICTURE_SIDE_PX)
        self.pixel_m = coarse * cells.cell_m
        self.height, self.width = -(-(north - south) // coarse), -(-(east - west) // coarse)
        self.west_m, self.north_m = west * cells.cell_m, south * cells.cell_m + self.height * self.pixel_m
        image = np.zeros((self.height, self.width), np.uint8)
        down = self.height - 1 - (cells.row - south) // coarse
        image[down, (cells.column - west) // coarse] = class_of(cells.rate_l_ha, class_edges(about_l_ha)) + 1
        self.png = indexed_png(image, ("#000000", *RAMP))

    @property
    def bounds_m(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the picture. [m]"""
        return (
            self.west_m,
            self.north_m - self.height * self.pixel_m,
            self.west_m + self.width * self.pixel_m,
            self.north_m,
        )

    @property
    def data_uri(self) -> str:
        """The picture as an address that loads nothing."""
        return "data:image/png;base64," + base64.b64encode(self.png).decode("ascii")

    def path(self, shape: BaseGeometry) -> str:
        """SVG path of the outlines of *shape* in the picture's pixels."""
        simple = shapely.simplify(shape, self.pixel_m / 2)
        return svg_path(simple, lambda xy_m: (xy_m - (self.west_m, self.north_m)) * (1, -1) / self.pixel_m)


def indexed_png(image: np.ndarray, colours: tuple[str, ...]) -> bytes:
    """PNG (W3C, second edition) of colour numbers (h, w); number 0 is transparent.

    Parameters
    ----------
    colours : tuple of str
        "#rrggbb" per number; at most 16, so that a pixel takes half a byte.
    """
    picture = Image.fromarray(image, mode="P")
    picture.putpalette(b"".join(bytes.fromhex(colour[1:]) for colour in colours))
    paper = io.BytesIO()
    picture.save(paper, "PNG", transparency=0, bits=4, compress_level=6)
    return paper.getvalue()
