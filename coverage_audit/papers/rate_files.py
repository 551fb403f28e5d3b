"""The rate surface for map programs: an ESRI ASCII grid with its projection, and polygons by class."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.plane import Plane, plane_wkt
from coverage_audit.rate.classes import class_edges, class_of
from coverage_audit.units import HECTARE_M2

from .geojson import collection_text
from .tolerances import GRID_CELLS

if TYPE_CHECKING:
    from coverage_audit.rate.model import RateCells
    from coverage_audit.recipe.result import Audit

    from .geojson import Found

NODATA = -9999


def rate_files(audit: Audit) -> dict[str, str]:
    """File name to text of the rate surface; empty where no rate is known.

    ``rate.asc`` (ESRI ASCII grid, L/ha to 0.1, cell means) with ``rate.prj`` (OGC WKT of the plane),
    and ``rate_classes.geojson`` (RFC 7946).
    """
    found = audit.rate
    about = None if found is None else found.bands.target_l_ha or found.bands.mean_l_ha
    if found is None or found.cells is None or not about:
        return {}
    return {
        "rate.asc": ascii_grid(found.cells),
        "rate.prj": plane_wkt(audit.origin) + "\n",
        "rate_classes.geojson": classes_geojson(audit, found.cells, about),
    }


def ascii_grid(cells: RateCells) -> str:
    """Rows from north to south, ``NODATA`` where nothing was sprayed.

    A job whose parts lie far apart is written at a coarser cell (a whole multiple), so that the grid
    stays below ``GRID_CELLS``; a coarse cell holds the mean over its sprayed ground.
    """
    south, west = int(cells.row.min()), int(cells.column.min())
    rows, columns = int(cells.row.max()) - south + 1, int(cells.column.max()) - west + 1
    coarse = int(np.ceil(np.sqrt(max(1.0, rows * columns / GRID_CELLS))))
    rows, columns = -(-rows // coarse), -(-columns // coarse)
    at = (cells.row - south) // coarse * columns + (cells.column - west) // coarse
    swept = cells.swept
    area = np.bincount(at, weights=swept, minlength=rows * columns)
    volume = np.bincount(at, weights=swept * cells.rate_l_ha, minlength=rows * columns)
    tenths = np.full(rows * columns, 10.0 * NODATA)
    some = area > 0
    tenths[some] = np.rint(10 * volume[some] / area[some])
    # every value that occurs is written out once: there are far fewer than cells
    values, number = np.unique(tenths, return_inverse=True)
    words = np.array([f"{value / 10:g}" for value in values.tolist()], dtype=object)
    head = [
        f"ncols {columns}",
        f"nrows {rows}",
        f"xllcorner {west * cells.cell_m:.2f}",
        f"yllcorner {south * cells.cell_m:.2f}",
        f"cellsize {coarse * cells.cell_m:g}",
        f"NODATA_value {NODATA}",
    ]
    body = [" ".join(row) for row in words[number.reshape(rows, columns)][::-1].tolist()]
    return "\n".join([*head, *body]) + "\n"


def classes_geojson(audit: Audit, cells: RateCells, about_l_ha: float) -> str:
    """One multipolygon per class of the rate about *about_l_ha* [L/ha], outlines along the cells; WGS 84 degrees."""
    edges, swept = class_edges(about_l_ha), cells.swept
    number = class_of(cells.rate_l_ha, edges)
    found: list[Found] = []
    for own, (low, high) in enumerate(pairwise(edges)):
        chosen = np.flatnonzero(number == own)
        if not len(chosen):
            continue
        told = {
            "id": f"R{own + 1}",
            "kind": "rate",
            "from_l_ha": low,
            "to_l_ha": high if np.isfinite(high) else None,
            "area_m2": float(cells.area_m2(swept[chosen]).sum()),
            "mean_l_ha": float(np.average(cells.rate_l_ha[chosen], weights=swept[chosen])),
            "volume_l": float(cells.rate_l_ha[chosen] @ cells.area_m2(swept[chosen])) / HECTARE_M2,
        }
        found.append((_outline(cells, chosen), told))
    return collection_text(found, Plane(audit.origin))


def _outline(cells: RateCells, chosen: np.ndarray) -> shapely.Geometry:
    """Outline of some cells. [m]"""
    order = chosen[np.lexsort((cells.column[chosen], cells.row[chosen]))]
    row, column = cells.row[order], cells.column[order]
    fresh = np.append([True], (np.diff(row) != 0) | (np.diff(column) != 1))
    first = np.flatnonzero(fresh)
    last = np.append(first[1:], [len(order)]) - 1
    size = cells.cell_m
    boxes = shapely.box(column[first] * size, row[first] * size, (column[last] + 1) * size, (row[first] + 1) * size)
    return shapely.union_all(boxes)
