"""What the headland laps tell of the outline: a caution when all of it lies beside the edge that was driven along."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.accuracy.error import error_model
from coverage_audit.facts import Caution
from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.passes.edge_shift import Samples, find_shift, sample_lap
from coverage_audit.passes.model import HEADLAND
from coverage_audit.passes.tolerances import EDGE_LEAST_M, EDGE_RECEIVER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.drive.model import BoomPath, Track
    from coverage_audit.jobs.settings import JobSettings
    from coverage_audit.passes.model import Span


def edge_cautions(
    settings: JobSettings, track: Track, path: BoomPath, spans: Sequence[Span], outer: BaseGeometry
) -> list[Caution]:
    """Caution when the outermost headland lap says that the outline is shifted; it is told and never moved.

    Parameters
    ----------
    spans : sequence of Span
        The diary's, with its laps.
    outer : polygon or multipolygon
        The field with its holes filled. [m]
    """
    laps = [
        _samples(path, [one for one in spans if one.lap == lap], outer, settings.boom.width_m) for lap in _laps(spans)
    ]
    laps = [one for one in laps if len(one.gap_m)]
    if not laps:
        return []
    outermost = min(laps, key=lambda one: float(np.median(one.gap_m)))
    error = error_model(track, settings.accuracy or AccuracySettings())
    shift = find_shift(outermost, max(EDGE_LEAST_M, EDGE_RECEIVER * float(np.median(error.sigma_m))))
    if shift is None:
        return []
    heading = float(np.degrees(np.arctan2(shift.east_m, shift.north_m)) % 360)
    return [Caution("outline shifted", shift_m=shift.length_m, heading_deg=heading, error_m=shift.error_m)]


def _laps(spans: Sequence[Span]) -> list[int]:
    return sorted({one.lap for one in spans if one.kind == HEADLAND})


def _samples(path: BoomPath, spans: Sequence[Span], outer: BaseGeometry, width_m: float) -> Samples:
    """Samples of one lap along every part of the field."""
    found: list[Samples] = []
    for span in spans:
        if span.kind != HEADLAND:
            continue
        first, last = np.searchsorted(path.time_s, [span.start_s, span.end_s])
        if last - first < 2:
            continue
        for part in shapely.get_parts(outer):
            one = sample_lap(path.x_m[first:last], path.y_m[first:last], part, width_m)
            base = sum(int(other.block.max()) + 1 for other in found if len(other.block))
            found.append(Samples(one.gap_m, one.normal, one.block + base))
    if not found:
        return Samples(np.zeros(0), np.zeros((0, 2)), np.zeros(0, int))
    return Samples(*(np.concatenate([getattr(one, name) for one in found]) for name in ("gap_m", "normal", "block")))
