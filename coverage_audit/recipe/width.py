"""What the passes tell of the boom's width: one caution where they lie as far apart as it does not reach."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.facts import Caution
from coverage_audit.passes.driven_spacing import driven_spacing_m
from coverage_audit.units import FOOT_M

from .tolerances import TWO_WIDTHS, TYPED_WRONG, WIDTH_ALIKE, WIDTH_FAR_OFF, WIDTH_OFF, WIDTH_SPACINGS, WIDTH_SURE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import BoomPath
    from coverage_audit.passes.model import Spacing

SE_MEDIAN = 1.2533
MAD_SD = 1.4826
"""Standard error of a median against that of a mean; standard deviation by the median of distances from the middle.
[1] Of a normal error (textbook)."""


def spacing_cautions(
    spacings: Sequence[Spacing], middle_s: FloatArray, path: BoomPath, outer: BaseGeometry, width_m: float
) -> list[Caution]:
    """Caution when the passes lie as far apart all over as the boom of the job file does not reach.

    One figure for the whole job: told from the drive alone where it is far off the width, since passes are matched by
    that width; else the middle of all spacings, if most of them say the same; else two of them, if the earlier and the
    later passes each say another, as two machines do.

    Parameters
    ----------
    spacings : sequence of Spacing
        One of each pass to its neighbour.
    middle_s : array of shape (n,)
        Middle of the time of each of these passes. [s]
    """
    apart = driven_spacing_m(_ways(path, outer))
    if apart is not None and not 1 - WIDTH_FAR_OFF < apart / width_m < 1 / (1 - WIDTH_FAR_OFF):
        return [Caution("spacing off", spacing_m=apart, width_m=width_m, typed=_typed_in(apart / width_m))]
    means = np.array([one.distance_m.mean() for one in spacings])
    if len(means) < WIDTH_SPACINGS:
        return []
    if two := _two(means[np.argsort(middle_s)], width_m):
        return [two]
    middle = float(np.median(means))
    off = middle - width_m
    error = SE_MEDIAN * MAD_SD * float(np.median(np.abs(means - middle))) / np.sqrt(len(means))
    alike = (means - width_m) * np.sign(off) >= abs(off) / 4
    if abs(off) < max(WIDTH_OFF[int(off > 0)] * width_m, WIDTH_SURE * error) or alike.mean() < WIDTH_ALIKE:
        return []
    return [Caution("spacing off", spacing_m=middle, width_m=width_m, typed="")]


def _two(means_m: FloatArray, width_m: float) -> Caution | None:
    """Caution where spacings, in the order of time, are of one kind first and of another afterwards."""
    splits = range(WIDTH_SPACINGS, len(means_m) - WIDTH_SPACINGS + 1)
    if not splits:
        return None
    parts = [(means_m[:k], means_m[k:]) for k in splits]
    first, later = min(parts, key=lambda pair: sum(float(np.abs(one - np.median(one)).sum()) for one in pair))
    middles = [float(np.median(one)) for one in (first, later)]
    apart = abs(middles[0] - middles[1])
    if apart < TWO_WIDTHS * width_m:
        return None
    alike = [(np.abs(one - middle) < apart / 4).mean() for one, middle in zip((first, later), middles, strict=True)]
    if min(alike) < WIDTH_ALIKE:
        return None
    return Caution("two spacings", first_m=middles[0], later_m=middles[1], count=len(first), width_m=width_m)


def _ways(path: BoomPath, outer: BaseGeometry) -> list[FloatArray]:
    """Unbroken parts of the drive within the field. Arrays of shape (n, 2). [m]"""
    shapely.prepare(outer)
    inside = shapely.contains_xy(outer, path.x_m, path.y_m)
    cut = np.flatnonzero(path.gap_after[:-1] | (inside[1:] != inside[:-1])) + 1
    parts = zip(np.split(np.column_stack([path.x_m, path.y_m]), cut), np.split(inside, cut), strict=True)
    return [part for part, within in parts if within[0] and len(part) > 1]


def _typed_in(ratio: float) -> str:
    """Unit that the width was typed in by mistake, told from spacing over width; "" where no unit explains it."""
    low, high = TYPED_WRONG
    if low <= ratio * FOOT_M <= high:
        return "ft"
    return "m" if low <= ratio / FOOT_M <= high else ""
