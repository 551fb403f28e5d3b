"""Visits counted literally as defined, from a motion known at every moment: slow and obvious.

The boom line is sampled every few millimetres along and across; a cell's centre counts as
swept when a sample falls next to it; a cell is visited anew when the stretch is another one or
the boom's centre has travelled more than pi/2 boom widths since the cell was last swept.
"""

import math

import numpy as np
import shapely

CELL_M = 0.1
NEAR_M = 0.006
SAMPLE_M = 0.008


def brute_count(pose, spans, width_m, ground):
    """Covered, missed and double area of *ground* [m2].

    Parameters
    ----------
    pose : callable
        Times [s] -> x, y [m] and heading [rad clockwise from north] of the boom's centre.
    spans : list of (on_s, off_s, parts)
        When and which parts of the boom sprayed; parts are (left, right) offsets [m].
    """
    west, south, east, north = ground.bounds
    columns, rows = int((east - west) / CELL_M) + 1, int((north - south) / CELL_M) + 1
    last = np.full(columns * rows, -np.inf)
    visits = np.zeros(columns * rows, int)
    travelled, ended = 0.0, None
    for on, off, parts in spans:
        if ended is None or on > ended:
            travelled += 1e6  # another stretch
        ended = off
        x, y, heading = pose(_times(pose, on, off, width_m))
        travel = travelled + np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
        aside = np.concatenate([np.arange(left + SAMPLE_M / 2, right, SAMPLE_M) for left, right in parts])
        for k in range(len(x)):
            cell = _cells(
                x[k] + aside * np.cos(heading[k]) - west, y[k] - aside * np.sin(heading[k]) - south, columns, rows
            )
            visits[cell[travel[k] - last[cell] > math.pi / 2 * width_m]] += 1
            last[cell] = travel[k]
        travelled = travel[-1]
    centre_x, centre_y = np.meshgrid(
        west + (np.arange(columns) + 0.5) * CELL_M, south + (np.arange(rows) + 0.5) * CELL_M
    )
    found = visits[shapely.contains_xy(ground, centre_x.ravel(), centre_y.ravel())]
    return tuple(np.count_nonzero(chosen) * CELL_M**2 for chosen in (found > 0, found == 0, found > 1))


def _times(pose, on, off, width_m):
    """Times so close that neither tip moves farther than a sample between them."""
    rough = np.linspace(on, off, 2000)
    x, y, heading = pose(rough)
    step = np.hypot(np.diff(x), np.diff(y)) + width_m / 2 * np.abs(np.diff(heading))
    way = np.concatenate([[0.0], np.cumsum(step)])
    return np.interp(np.arange(0.0, way[-1], SAMPLE_M), way, rough)


def _cells(x, y, columns, rows):
    column, row = np.floor(x / CELL_M).astype(int), np.floor(y / CELL_M).astype(int)
    near = (np.abs(x - (column + 0.5) * CELL_M) < NEAR_M) & (np.abs(y - (row + 0.5) * CELL_M) < NEAR_M)
    near &= (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
    return np.unique(row[near] * columns + column[near])
