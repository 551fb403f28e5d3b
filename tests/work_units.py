"""The drive in units over cells, given by hand, for the tests of assumed boom states."""

import numpy as np

from coverage_audit.passes.work_ground import Grid, Units


def units(swept, cells, *, length_m=1.0, inside=1.0, beyond=0.0, reverse=(), apart=(), pace_s=1.0):
    """Units that follow one another, each over the cells listed; a cell's pairs *apart* begin a visit."""
    count = len(swept)
    pairs = sorted((cell, unit) for unit, own in enumerate(swept) for cell in own)
    cell, unit = (np.array([pair[k] for pair in pairs], int) for k in (0, 1))
    fresh = np.array([k == 0 or pairs[k - 1][0] != pairs[k][0] or pairs[k] in apart for k in range(len(pairs))], bool)
    start = np.arange(count) * pace_s
    length = np.zeros(count) + length_m
    back = np.zeros(count, bool)
    back[list(reverse)] = True
    grid = Grid(0.0, 0.0, 2.0, np.zeros((1, 1), int), cells)
    times, even = np.column_stack([start, start + pace_s]), np.zeros(count)
    hits = np.full(len(pairs), 4)
    return Units(times, length, back, 10 * length, even + inside, even + beyond, unit, cell, hits, fresh, grid)
