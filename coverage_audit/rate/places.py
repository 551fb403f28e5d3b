"""Where more fell than the label's most, in connected places, and why; where the boom stood spraying."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.units import HECTARE_M2

from .model import RatePlace, Standing
from .surface import laid_by_cell
from .tolerances import BAND_SLACK, LEAST_RATE_PLACE_M2, MOST_PLACE_CELLS, MOST_RATE_PLACES, STAND_S, START_S

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.model import Timeline

    from .model import RateCells
    from .quads import Laid
    from .steps import OpenParts, Steps

CAUSES = ("turn", "start", "slow-down")
"""Why one sweep alone can be too much; what it does not explain is overlap."""


def places_above(
    cells: RateCells, limit_l_ha: float, laid: Laid, steps: Steps, timeline: Timeline
) -> tuple[tuple[RatePlace, ...], float]:
    """Connected places above *limit_l_ha*, the largest first, and the area of those too small to name. [m2]

    Cells belong together when they share a side. The cause is what laid most of a place's spray:
    single sweeps that are too much by themselves (in a turn, just after switching on, or driven
    too slowly), or else the overlap of several.
    """
    above = np.flatnonzero(cells.rate_l_ha > limit_l_ha * (1 + BAND_SLACK))
    if not len(above):
        return (), 0.0
    order = above[np.lexsort((cells.column[above], cells.row[above]))]
    row, column = cells.row[order].astype(np.int64), cells.column[order].astype(np.int64)
    place = connected(row, column)
    swept_m2 = cells.area_m2(cells.swept[order])
    area = np.bincount(place, weights=swept_m2)
    named = np.flatnonzero(area >= LEAST_RATE_PLACE_M2)
    named = named[np.argsort(-area[named], kind="stable")][:MOST_RATE_PLACES]
    litres = cells.rate_l_ha[order] * swept_m2 / HECTARE_M2
    by_cause = _by_cause(row, column, litres, _excess(limit_l_ha, laid, steps, timeline))
    total = np.stack([np.bincount(place, weights=one, minlength=len(area)) for one in by_cause])
    members = np.split(np.argsort(place, kind="stable"), np.cumsum(np.bincount(place))[:-1])
    rate = cells.rate_l_ha[order]
    found = []
    for rank, number in enumerate(named.tolist(), 1):
        own = members[number]
        found.append(
            RatePlace(
                id=f"A{rank}",
                area_m2=float(area[number]),
                mean_l_ha=float(litres[own].sum() * HECTARE_M2 / area[number]),
                max_l_ha=float(rate[own].max()),
                cause=(*CAUSES, "overlap")[int(total[:, number].argmax())],
                polygon=cell_outline(row[own], column[own], cells.cell_m),
            )
        )
    return tuple(found), float(area.sum() - area[named].sum())


def connected(row: IntArray, column: IntArray) -> IntArray:
    """Number, from 0, of the connected place of each cell; cells in order of row and column, shape (n,)."""
    run, first, last = _runs(row, column)
    return np.asarray(_components(row[first], column[first], column[last])[run])


def cell_outline(row: IntArray, column: IntArray, cell_m: float) -> BaseGeometry:
    """One shape of connected cells, in metres, its staircases drawn as slanted lines."""
    south, west = int(row.min()) - 1, int(column.min()) - 1
    rows, columns = int(row.max()) - south + 2, int(column.max()) - west + 2
    if rows * columns > MOST_PLACE_CELLS:
        return _smoothed(_run_by_run(row, column, cell_m), cell_m)
    mask = np.zeros((rows, columns), np.int8)
    mask[row - south, column - west] = 1
    level, begin, end = _edge_runs(np.diff(mask, axis=0))
    upright, low, high = _edge_runs(np.diff(mask, axis=1).T)
    ends = np.concatenate(
        [
            np.stack([np.stack([begin, level], -1), np.stack([end, level], -1)], axis=1),
            np.stack([np.stack([upright, low], -1), np.stack([upright, high], -1)], axis=1),
        ]
    )
    faces = shapely.get_parts(shapely.polygonize(shapely.linestrings(ends.astype(float))))
    inside = np.floor(shapely.get_coordinates(shapely.point_on_surface(faces))).astype(int)
    kept = faces[mask[inside[:, 1], inside[:, 0]] > 0]  # the others are holes
    whole = shapely.transform(shapely.multipolygons(kept), lambda xy: (xy + np.array([west, south])) * cell_m)
    return _smoothed(whole, cell_m)


def _run_by_run(row: IntArray, column: IntArray, cell_m: float) -> BaseGeometry:
    """As :func:`cell_outline`, without a picture of the whole place; cells in order of row and column."""
    _, first, last = _runs(row, column)
    west, east, south = column[first] * cell_m, (column[last] + 1) * cell_m, row[first] * cell_m
    return shapely.union_all(shapely.box(west, south, east, south + cell_m))


def _smoothed(whole: BaseGeometry, cell_m: float) -> BaseGeometry:
    smooth = shapely.simplify(whole, cell_m * 0.75)
    return smooth if smooth.is_valid and not smooth.is_empty else whole


def _edge_runs(step: np.ndarray) -> tuple[IntArray, IntArray, IntArray]:
    """Runs of one value but 0 along the rows of *step*: line of the grid after the row, first place and end."""
    row, column = np.nonzero(np.diff(step, axis=1, prepend=0))
    value = step[row, column]
    first = np.flatnonzero(value)
    return row[first] + 1, column[first], column[first + 1]


def _runs(row: IntArray, column: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Unbroken runs along rows of cells in order: the run of each cell, and its first and last cell."""
    fresh = np.append([True], (np.diff(row) != 0) | (np.diff(column) != 1))[: len(row)]
    first = np.flatnonzero(fresh)
    return np.cumsum(fresh) - 1, first, np.append(first[1:] - 1, [len(row) - 1])[: len(first)]


def _components(row: IntArray, first: IntArray, last: IntArray) -> IntArray:
    """Number of the connected place that each run of cells belongs to; runs in order of row and column.

    Runs touch when they overlap in neighbouring rows. Every run takes the least number among those
    it touches until nothing changes, following numbers to their own number each time.
    """
    width = int(last.max(initial=0) - first.min(initial=0)) + 2
    begin, end = row * width + first - first.min(initial=0), row * width + last - first.min(initial=0)
    low = np.searchsorted(end, begin + width)  # first run of the next row that ends at or after this one begins
    count = np.maximum(np.searchsorted(begin, end + width, "right") - low, 0)
    one = np.repeat(np.arange(len(row)), count)
    other = np.arange(len(one)) + np.repeat(low - (np.cumsum(count) - count), count)
    label = np.arange(len(row))
    while True:
        least = np.minimum(label[one], label[other])
        fresh = label.copy()
        np.minimum.at(fresh, label[one], least)
        np.minimum.at(fresh, label[other], least)
        while (fresh[fresh] != fresh).any():
            fresh = fresh[fresh]
        fresh = fresh[label]
        if (fresh == label).all():
            return np.unique(label, return_inverse=True)[1]
        label = fresh


def _excess(limit_l_ha: float, laid: Laid, steps: Steps, timeline: Timeline) -> list[tuple[Laid, BoolArray]]:
    """For each of ``CAUSES``, which quadrilaterals are too much by themselves because of it."""
    lines = steps.lines
    first = steps.first[laid.step]
    began = _stretch_starts(timeline)[lines.slot[first]]
    own = laid.litres / np.where(laid.point, laid.cell_m**2, laid.area_m2) * HECTARE_M2
    pace = np.abs(lines.travel_m[steps.last] - lines.travel_m[steps.first])[laid.step]
    pace = pace / np.maximum(lines.time_s[steps.last[laid.step]] - lines.time_s[first], 1e-9)
    # what the same part would have laid at the speed of the boom's centre
    straight = own * np.where(laid.point, 0.0, laid.speed_m_s) / np.maximum(pace, 1e-9)
    much = own > limit_l_ha
    turn = much & (straight <= limit_l_ha)
    start = much & ~turn & (lines.time_s[first] - began < START_S)
    return [(laid, turn), (laid, start), (laid, much & ~turn & ~start)]


def _stretch_starts(timeline: Timeline) -> FloatArray:
    """When the stretch of each slot began. [s]"""
    fresh = np.append([True], np.diff(timeline.stretch) != 0)
    return timeline.start_s[np.flatnonzero(fresh)[np.cumsum(fresh) - 1]]


def _by_cause(
    row: IntArray, column: IntArray, litres: FloatArray, excess: list[tuple[Laid, BoolArray]]
) -> list[FloatArray]:
    """Litres in each cell by cause, the rest (overlap) last."""
    width = int(column.max(initial=0)) - int(column.min(initial=0)) + 1
    key = row * width + column - column.min(initial=0)
    result = []
    for laid, chosen in excess:
        found = np.zeros(len(key))
        if chosen.any():
            own_row, own_column, own_litres = laid_by_cell(laid, chosen)
            near = (own_column >= column.min(initial=0)) & (own_column <= column.max(initial=0))
            own = own_row[near].astype(np.int64) * width + own_column[near] - column.min(initial=0)
            at = np.minimum(np.searchsorted(key, own), len(key) - 1)
            same = key[at] == own
            np.add.at(found, at[same], own_litres[near][same])
        result.append(found)
    return [*result, np.maximum(litres - sum(result), 0.0)]


def standing_places(steps: Steps, parts: OpenParts, share_of_slot: FloatArray) -> tuple[Standing, ...]:
    """Stands of ``STAND_S`` or more with the boom on, by falling volume.

    Parameters
    ----------
    share_of_slot : (slots,) float
        Share of ``steps.litres`` that the open parts of each slot let out.
    """
    lines = steps.lines
    index = np.flatnonzero(steps.standing)
    found: list[tuple[float, float, float, BaseGeometry]] = []
    for group in np.split(index, np.flatnonzero(steps.first[index[1:]] != steps.last[index[:-1]]) + 1):
        if not len(group):
            continue
        first, last = steps.first[group[0]], steps.last[group[-1]]
        seconds = float(lines.time_s[last] - lines.time_s[first])
        if seconds >= STAND_S:
            open_here = parts.slot == lines.slot[first]
            ends = [lines.tips(first, side) for side in (parts.left_m[open_here].min(), parts.right_m[open_here].max())]
            litres = float(steps.litres[group] @ share_of_slot[lines.slot[steps.first[group]]])
            found.append((litres, float(lines.time_s[first]), seconds, shapely.LineString(np.concatenate(ends))))
    found.sort(key=lambda one: -one[0])
    return tuple(
        Standing(f"S{rank}", start, seconds, litres, line)
        for rank, (litres, start, seconds, line) in enumerate(found, 1)
    )
