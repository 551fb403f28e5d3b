"""Classes that the rate is told in, and their colours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .tolerances import BAND_SLACK

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.arrays import FloatArray

CLASS_EDGES = (0.0, 0.5, 0.75, 0.9, 1.1, 1.25, 1.5, 2.0, float("inf"))
"""Edges of the rate classes as shares of the intended (or else the mean) rate. [1]"""

RAMP = ("#f9e9dc", "#efcdb3", "#e3b18c", "#d59568", "#bb7a4c", "#9a6038", "#774626", "#512c13")
"""One hue from light (little) to dark (much): CIE lightness falls in steps of about ten."""


_FINE = 200
"""Every edge is a whole number of 200ths of the highest one, so that a table tells the class. [1]"""


def class_edges(about_l_ha: float) -> tuple[float, ...]:
    """Edges of the rate classes. [L/ha]"""
    return tuple(edge * about_l_ha for edge in CLASS_EDGES)


def class_of(rate_l_ha: FloatArray, edges: Sequence[float]) -> np.ndarray:
    """Number of the class that each rate [L/ha] lies in, from 0; *edges* as :func:`class_edges` makes them."""
    shares = np.array(CLASS_EDGES[1:-1]) / CLASS_EDGES[-2]
    table = np.searchsorted(shares, (np.arange(_FINE + 1) + 0.5) / _FINE, "right").astype(np.uint8)
    with np.errstate(over="ignore"):  # a rate beyond all measure is in the highest class
        fine = rate_l_ha / edges[-2] * (_FINE * (1 + BAND_SLACK))
    return table[np.clip(fine, 0, _FINE, out=fine).astype(np.int16)]
