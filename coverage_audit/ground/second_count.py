"""The second route: the ground counted cell by cell, sharing no geometry code with the partition.

Every step of the boom, as it was before thinning, marks the cell centres between its two boom
lines, in time order; each cell remembers when it was last swept.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise, starmap
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.errors import InputError

from .model import RasterCount
from .second_steps import Steps, laid_steps, rotated
from .tolerances import (
    RASTER_ALONG_DEG,
    RASTER_BAND_CROSSINGS,
    RASTER_BORDER_REL,
    RASTER_CELL_M,
    RASTER_CELLS_ACROSS,
    RASTER_CELLS_ALONG,
    RASTER_FINEST_M,
    RASTER_MAX_TILES,
    RASTER_MOST_CROSSINGS,
    RASTER_MOST_RUNS,
    RASTER_MOST_TILED,
    RASTER_STEPS_A_VISIT,
    RASTER_STEPS_AT_ONCE,
    RASTER_TILE_CELLS,
    RASTER_TURNS_DEG,
    VISIT_WIDTHS,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray, IntArray

    from .model import BoomLines


def raster_count(all_lines: Sequence[BoomLines], target: BaseGeometry, width_m: float) -> RasterCount:
    """Count the target's cells by visits, at ``RASTER_CELL_M`` or finer where boom or field is small.

    Only tiles that a step touches are laid out cell by cell; what lies elsewhere is counted by
    the length of its rows, so that the work grows with the ground swept and not with the field.

    Parameters
    ----------
    all_lines : sequence of BoomLines
        Boom lines of all slots, in time order, not thinned.
    target : polygon or multipolygon
        Ground to count. [m]
    width_m : float
        Full boom width. [m]

    Raises
    ------
    InputError
        The boom lines touch more than ``RASTER_MAX_TILES``.
    """
    visit_m = VISIT_WIDTHS * width_m
    side_m = _cell_m(all_lines, target, width_m)
    turn = _turn(all_lines, target)
    steps = laid_steps(all_lines, turn, visit_m, _part_m(all_lines, target, width_m, side_m))
    # small ground is laid out larger, which makes cells finer
    scale = RASTER_CELL_M / side_m
    steps = replace(steps, corners=steps.corners * scale)
    outline = shapely.transform(target, lambda xy: rotated(xy, turn) * scale)
    west, south, east, north = outline.bounds
    columns, rows = (math.ceil((high - low) / RASTER_CELL_M) + 1 for low, high in ((west, east), (south, north)))
    edges = _edges(outline)
    whole = (west, south, columns, rows, 0)
    inside = _cells_inside(edges, whole)
    counts = np.zeros(2)
    for frame, near in _tiles(steps.corners, whole):
        counts += _count_tile(steps, near, edges, frame, visit_m)
    cell_m2 = (RASTER_CELL_M / scale) ** 2
    return RasterCount(*(float(cells) * cell_m2 for cells in (counts[0], inside - counts[0], counts[1])))


Frame = tuple[float, float, int, int, int]  # west, south [m], columns, rows, number of the first row
Runs = tuple["IntArray", "IntArray", "IntArray"]  # row, first column, column past the last
GOLDEN_RATIO = (1 + math.sqrt(5)) / 2
_INSIDE = 1 << 20  # added to a cell's visits when it lies in the target: more visits than any log has


def _cell_m(all_lines: Sequence[BoomLines], target: BaseGeometry, width_m: float) -> float:
    """Side of a cell: fine enough for boom and field, not so fine that way or outline cross too many. [m]"""
    way_m = _way_m(all_lines)
    fine = min(width_m / RASTER_CELLS_ACROSS, math.sqrt(target.area) / RASTER_CELLS_ALONG)
    tiled = way_m / (RASTER_TILE_CELLS * RASTER_MAX_TILES / 4)
    finest = max(fine, tiled, target.length / RASTER_MOST_CROSSINGS, RASTER_FINEST_M)
    return min(RASTER_CELL_M, finest)


def _part_m(all_lines: Sequence[BoomLines], target: BaseGeometry, width_m: float, side_m: float) -> float:
    """How long a part of a step may be where ground may be swept again, for cells of *side_m*. [m]"""
    sharp = RASTER_BORDER_REL * target.area / width_m
    quick = _way_m(all_lines) * width_m / side_m / RASTER_MOST_RUNS
    return min(VISIT_WIDTHS * width_m / RASTER_STEPS_A_VISIT, max(sharp, quick))


def _way_m(all_lines: Sequence[BoomLines]) -> float:
    return sum(float(np.ptp(one.travel_m)) for one in all_lines)


def _cells_inside(edges: FloatArray, whole: Frame) -> int:
    """Cells of the whole frame inside the outline, counted a band of rows at a time."""
    west, south, columns, rows, _ = whole
    crossings = float(np.abs(np.diff(edges[:, :, 1], axis=1)).sum()) / RASTER_CELL_M
    band = max(1, int(rows * min(1.0, RASTER_BAND_CROSSINGS / max(1.0, crossings))))
    inside = 0
    for first in range(0, rows, band):
        frame = (west, south + first * RASTER_CELL_M, columns, min(band, rows - first), first)
        _, start, end = _fill_outline(edges, frame)
        inside += int((end - start).sum())
    return inside


def _tiles(corners: FloatArray, whole: Frame) -> Iterator[tuple[Frame, IntArray]]:
    """Square tiles of the frame that steps touch, and which steps do, in their order."""
    west, south, columns, rows, _ = whole
    side = RASTER_TILE_CELLS * RASTER_CELL_M
    across, along = -(-columns // RASTER_TILE_CELLS), -(-rows // RASTER_TILE_CELLS)
    boxes = [np.floor((corners[:, :, axis] - (west, south)[axis]) / side) for axis in (0, 1)]
    x0, x1 = np.clip(boxes[0].min(axis=1), 0, across), np.clip(boxes[0].max(axis=1), -1, across - 1)
    y0, y1 = np.clip(boxes[1].min(axis=1), 0, along), np.clip(boxes[1].max(axis=1), -1, along - 1)
    wide, high = np.maximum(x1 - x0 + 1, 0).astype(np.int64), np.maximum(y1 - y0 + 1, 0).astype(np.int64)
    if int((share := wide * high).max(initial=0)) > RASTER_MAX_TILES or int(share.sum()) > RASTER_MOST_TILED:
        raise _too_wide(corners)
    step = np.repeat(np.arange(len(corners)), share)
    place = np.arange(len(step)) - np.repeat(np.cumsum(share) - share, share)
    row, column = np.divmod(place, np.maximum(wide, 1)[step])
    tile = (y0.astype(np.int64)[step] + row) * across + x0.astype(np.int64)[step] + column
    order = np.argsort(tile, kind="stable")
    bounds = np.flatnonzero(np.diff(tile[order], prepend=-1, append=-1))
    if len(bounds) - 1 > RASTER_MAX_TILES:
        raise _too_wide(corners)
    for first, stop in pairwise(bounds):
        j, i = divmod(int(tile[order[first]]), across)
        left, low = i * RASTER_TILE_CELLS, j * RASTER_TILE_CELLS
        size = (min(RASTER_TILE_CELLS, columns - left), min(RASTER_TILE_CELLS, rows - low))
        yield (west + left * RASTER_CELL_M, south + low * RASTER_CELL_M, *size, low), step[order[first:stop]]


def _too_wide(corners: FloatArray) -> InputError:
    span = float(np.ptp(corners.reshape(-1, 2), axis=0).max())
    return InputError(
        f"the boom sprayed along a way that spans {span / 1000:.3g} km, over more ground than one job can; check the"
        " positions and the boom's on-times, or cut the log into one job",
        "track.files",
    )


def _count_tile(steps: Steps, near: IntArray, edges: FloatArray, frame: Frame, visit_m: float) -> IntArray:
    """Cells of one tile inside the outline that were visited, and visited again."""
    plain = steps.plain[near]
    cells = np.zeros(frame[2] * frame[3] + 1, np.int32)
    _add_runs(cells, _fill_outline(edges, frame), frame, _INSIDE)
    _add_runs(cells, _fill_quads(steps.corners[near[plain]], frame)[:3], frame, 1)
    np.cumsum(cells, out=cells)
    _count_again(cells, steps, near[~plain], frame, visit_m)
    return np.array([np.count_nonzero(cells > _INSIDE), np.count_nonzero(cells > _INSIDE + 1)])


def _turn(all_lines: Sequence[BoomLines], target: BaseGeometry) -> float:
    """Angle that lays the commonest line of travel a little off the columns of cells, the outline along no row. [rad]

    The boom then lies nearly along the rows, which makes the fewest and longest runs of cells. A side along a row would
    be rounded the same way all along.
    """
    doubled = sum(
        complex(np.sum(np.diff(one.travel_m) * np.exp(2j * (one.heading_rad[1:] + one.heading_rad[:-1]) / 2)))
        for one in all_lines
    )
    turns = float(np.angle(doubled)) / 2 + np.radians(RASTER_TURNS_DEG)
    run = np.diff(_edges(target), axis=1)[:, 0]
    length, angle = np.hypot(*run.T), np.degrees(np.arctan2(run[:, 1], run[:, 0]) + turns[:, None])
    off = np.abs(angle - 180 * np.round(angle / 180))
    return float(turns[np.where(off < RASTER_ALONG_DEG, length, 0.0).sum(axis=1).argmin()])


def _edges(outline: BaseGeometry) -> FloatArray:
    """Edges of all rings, shape (n, 2, 2)."""
    rings = shapely.get_rings(shapely.get_parts(outline))
    points, ring = shapely.get_coordinates(rings, return_index=True)
    joined = np.diff(ring) == 0
    return np.stack([points[:-1][joined], points[1:][joined]], axis=1)


def _add_runs(cells: np.ndarray, runs: Runs, frame: Frame, weight: int) -> None:
    """Mark where *weight* begins and ends along the flat cells; summed up along them it fills the runs."""
    row, start, end = runs
    some = end > start
    first, own = row[some] * frame[2], cells.dtype.type(weight)  # of another type it takes thirty times as long
    np.add.at(cells, first + start[some], own)
    np.add.at(cells, first + end[some], -own)


def _count_again(cells: np.ndarray, steps: Steps, near: IntArray, frame: Frame, visit_m: float) -> None:
    """Add to *cells* the visits by the steps *near*, each cell remembering its last sweep."""
    if not len(near):
        return
    last = np.full(len(cells), -np.inf, np.float32)
    base = float(steps.travel_m[near[0], 0])  # float32 keeps centimetres only near 0
    for some in np.split(near, range(RASTER_STEPS_AT_ONCE, len(near), RASTER_STEPS_AT_ONCE)):
        row, start, end, owner = _fill_quads(steps.corners[some], frame)
        amid_m = (steps.travel_m[some].mean(axis=1) - base).astype(np.float32)[owner]  # one for all cells of a part
        bounds = np.flatnonzero(np.diff(steps.batch[some][owner], prepend=-1, append=-1))
        for runs in starmap(slice, pairwise(bounds)):
            cell = _cells(row[runs], start[runs], end[runs], frame)
            travel = np.repeat(amid_m[runs], np.maximum(end[runs] - start[runs], 0))
            cells[cell[travel - last[cell] > visit_m]] += 1
            last[cell] = travel


def _fill_outline(edges: FloatArray, frame: Frame) -> Runs:
    """Runs (row, start, end) of cell centres inside closed rings, by the even-odd rule.

    Cells start <= column < end of the row lie inside. *edges*: (n, 2, 2), in metres.
    """
    west, south, columns, rows, _ = frame
    y = (edges[:, :, 1] - south) / RASTER_CELL_M - 0.5
    low = np.clip(np.ceil(y.min(axis=1)), 0, rows).astype(np.int64)
    length = np.clip(np.ceil(y.max(axis=1)), 0, rows).astype(np.int64) - low  # half open: no centre twice
    edge = np.repeat(np.arange(len(edges)), length)
    row = np.arange(len(edge)) + np.repeat(low - (np.cumsum(length) - length), length)
    share = (row - y[edge, 0]) / (y[edge, 1] - y[edge, 0])
    place = edges[edge, 0, 0] + share * (edges[edge, 1, 0] - edges[edge, 0, 0])
    x = (place - west) / RASTER_CELL_M - _centres(frame)[row]
    order = np.lexsort((x, row))
    column = np.clip(np.ceil(x[order]), 0, columns).astype(np.int64)
    return row[order][::2], column[::2], column[1::2]


def _fill_quads(corners: FloatArray, frame: Frame) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """Runs of cell centres between the boom lines of each step, and the step of each run.

    A row crosses such a quadrilateral once, from its first edge to its last, so nothing is
    sorted; that is what makes the count fast.
    """
    west, south, columns, rows, _ = frame
    x = (corners[:, :, 0] - west) / RASTER_CELL_M
    y = (corners[:, :, 1] - south) / RASTER_CELL_M - 0.5
    low = np.clip(np.ceil(y.min(axis=1)), 0, rows).astype(np.int64)
    length = np.clip(np.ceil(y.max(axis=1)), 0, rows).astype(np.int64) - low  # half open: no centre twice
    quad = np.repeat(np.arange(len(corners)), length)
    row = np.arange(len(quad)) + np.repeat(low - (np.cumsum(length) - length), length)
    first, last = np.full(len(quad), np.inf), np.full(len(quad), -np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (np.roll(x, -1, axis=1) - x) / (np.roll(y, -1, axis=1) - y)
    for edge in range(4):
        y0, y1 = y[quad, edge], y[quad, (edge + 1) % 4]
        crosses = (y0 < row) != (y1 < row)
        place = x[quad, edge] + (row - y0) * slope[quad, edge]
        np.minimum(first, place, out=first, where=crosses)
        np.maximum(last, place, out=last, where=crosses)
    centre = _centres(frame)[row]
    start, end = (np.clip(np.ceil(one - centre), 0, columns).astype(np.int64) for one in (first, last))
    return row, start, end, quad


def _centres(frame: Frame) -> FloatArray:
    """Where in its cells each row's centres lie, shape (rows,): by half a cell to and fro. [cells]

    In one line, a side that goes a whole number of columns aside in a few rows would be rounded the same way all along:
    half a cell of 90 m is 3 m2. The fractions of n squared times the golden ratio keep step with no straight line
    (Weyl 1916, Math. Ann. 77:313-352).
    """
    number = frame[4] + np.arange(frame[3], dtype=float)
    return np.asarray(np.mod(number * np.mod(number * GOLDEN_RATIO, 1.0), 1.0))


def _cells(row: IntArray, start: IntArray, end: IntArray, frame: Frame) -> IntArray:
    """Flat cell numbers of the runs."""
    length = np.maximum(end - start, 0)
    shift = np.repeat(row * frame[2] + start - (np.cumsum(length) - length), length)
    return np.arange(len(shift)) + shift
