"""What should have been sprayed: the field, its no-spray areas and setbacks, in plane metres."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from .errors import InputError
from .model_core import Ground
from .tolerances import BUFFER_QUAD_SEGS, NEAREST_TOLD_M, SPRAYED_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from .model_settings import FieldSettings


def sprayed_fields(
    areas: Sequence[tuple[str, BaseGeometry]], sprayed: BaseGeometry, select: Sequence[str], width_m: float
) -> tuple[list[tuple[str, BaseGeometry]], list[str]]:
    """The polygons that this job is about, and the names of the others.

    Parameters
    ----------
    areas : sequence of (name, polygon)
        Everything in the boundary file. [m]
    sprayed : lines
        Way of the boom's centre while spraying. [m]
    select : sequence of str
        Names asked for; empty = every polygon that was sprayed at all.
    width_m : float
        Boom width. [m]

    Raises
    ------
    InputError
        The boom never sprayed inside any of them.
    """
    if sprayed.is_empty:
        raise InputError(
            "the boom was on only in gaps of the log, so nothing is known of where it sprayed", "track.files"
        )
    wanted = {name.casefold() for name in select}
    chosen = [(name, polygon) for name, polygon in areas if not wanted or name.casefold() in wanted]
    inside = np.array([shapely.length(shapely.intersection(sprayed, polygon)) for _, polygon in chosen])
    if not (inside > 0).any():
        union = shapely.union_all([polygon for _, polygon in chosen])
        away = float(shapely.distance(union, sprayed))
        where = (
            "it only touched its edge, or stood"
            if away < NEAREST_TOLD_M
            else f"at its nearest it was {away:.0f} m away"
        )
        raise InputError(
            f"the boom never sprayed inside the field: {where}. Check that boundary and track belong to the same job",
            "field.boundary",
        )
    if wanted:
        return chosen, []
    least = SPRAYED_WIDTHS * width_m if (inside >= SPRAYED_WIDTHS * width_m).any() else 0.0
    used = (inside >= least) & (inside > 0)
    return (
        [one for one, is_used in zip(chosen, used, strict=True) if is_used],
        [name for (name, _), is_used in zip(chosen, used, strict=True) if not is_used],
    )


def lay_out(fields: Sequence[BaseGeometry], exclude: Sequence[BaseGeometry], settings: FieldSettings) -> Ground:
    """Field and target ground: holes and no-spray areas (widened) and outer setbacks taken off.

    Raises
    ------
    InputError
        Nothing is left to spray.
    """
    field = shapely.union_all(list(fields))
    outer = shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(field)])
    holes = shapely.difference(outer, field)
    no_spray = shapely.union_all([holes, *exclude])
    if settings.exclude_setback_m > 0:
        no_spray = shapely.buffer(no_spray, settings.exclude_setback_m, quad_segs=BUFFER_QUAD_SEGS)
    allowed = outer
    if settings.setback_m > 0:
        allowed = shapely.buffer(outer, -settings.setback_m, quad_segs=BUFFER_QUAD_SEGS)
    target = shapely.difference(allowed, no_spray)
    if target.is_empty:
        raise InputError("no ground is left to spray once setbacks and no-spray areas are taken off", "field")
    return Ground(outer, field, target, shapely.intersection(no_spray, outer))


def grown(polygon: BaseGeometry, by_m: float) -> BaseGeometry:
    """*polygon* with its outline moved outward by *by_m*, corners kept sharp. [m]"""
    return shapely.buffer(polygon, by_m, join_style="mitre") if by_m > 0 else polygon
