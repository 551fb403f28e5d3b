"""What should have been sprayed: the field, its no-spray areas and setbacks, in plane metres."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.edges import crossing_pairs, edges_of
from coverage_audit.errors import InputError
from coverage_audit.read.outlines.tolerances import MAX_FIELD_SPAN_M, MAX_OUTLINE_M
from coverage_audit.solid import overlap, shrunk, solid, widened, without

from .model import Ground
from .tolerances import BUFFER_QUAD_SEGS, LEAST_TARGET_M, MOST_GROWN_CROSSINGS, NEAREST_TOLD_M, SPRAYED_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.jobs.settings import FieldSettings


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
        The boom never sprayed inside any of them, or its way is not made of numbers.
    """
    if sprayed.is_empty:
        raise InputError(
            "the boom was on only in gaps of the log, so nothing is known of where it sprayed", "track.files"
        )
    if not np.isfinite(shapely.get_coordinates(sprayed)).all():
        raise InputError(
            "the boom's way cannot be worked out from these settings: check antenna_ahead, axle_behind_antenna, towed"
            " and towed_axle, which place the boom behind the antenna",
            "boom",
        )
    steps = shapely.linestrings(edges_of(sprayed))
    wanted = {name.casefold() for name in select}
    chosen = [(name, polygon) for name, polygon in areas if not wanted or name.casefold() in wanted]
    inside = np.array([_length_inside(steps, polygon) for _, polygon in chosen])
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


def _length_inside(steps: np.ndarray, polygon: BaseGeometry) -> float:
    """Length of *steps* in *polygon*, one by one: a way that crosses itself ten thousand times is never noded. [m]"""
    shapely.prepare(polygon)
    whole = shapely.contains_properly(polygon, steps)
    part = ~whole & shapely.intersects(polygon, steps)
    lengths = shapely.length(steps[whole]).sum() + shapely.length(shapely.intersection(steps[part], polygon)).sum()
    return float(lengths)


def lay_out(fields: Sequence[BaseGeometry], exclude: Sequence[BaseGeometry], settings: FieldSettings) -> Ground:
    """Field and target ground: holes and no-spray areas (widened) and setbacks along every outer ring taken off.

    Field that lies in a hole, as an island does, has an outer ring of its own.

    Raises
    ------
    InputError
        Nothing is left to spray, or the field is larger than one job can be.
    """
    field = shapely.union_all(list(fields))
    _check_size(field)
    outer = shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(field)])
    holes = without(outer, field)
    no_spray = shapely.union_all([holes, *(sound(area) for area in exclude)])
    if settings.exclude_setback_m > 0:
        no_spray = widened(no_spray, settings.exclude_setback_m, quad_segs=BUFFER_QUAD_SEGS)
    allowed = outer
    if settings.setback_m > 0:
        allowed = shrunk(outer, settings.setback_m, quad_segs=BUFFER_QUAD_SEGS)
        allowed = without(allowed, _island_setbacks(field, settings.setback_m))
    target = without(allowed, no_spray)
    if target.is_empty:
        raise InputError("no ground is left to spray once setbacks and no-spray areas are taken off", "field")
    _check_wide(target)
    return Ground(outer, field, target, overlap(no_spray, outer))


def _island_setbacks(field: BaseGeometry, setback_m: float) -> BaseGeometry:
    """The strips of *setback_m* along the outer rings of those parts of *field* that lie in a hole of another. [m]"""
    filled = _filled(shapely.get_parts(field))
    inner, around = shapely.STRtree(filled).query(filled, predicate="within")
    islands = filled[np.unique(inner[inner != around])]
    strips = [without(one, shrunk(one, setback_m, quad_segs=BUFFER_QUAD_SEGS)) for one in islands]
    return shapely.union_all(strips)


def grown(polygon: BaseGeometry, by_m: float) -> BaseGeometry:
    """*polygon*, valid, with its outer rings moved outward by *by_m*, corners kept sharp. [m]

    Holes keep their size: it is the way round the field that was driven inside its edge, and ground that is not to be
    sprayed never becomes target by a setting of the outline.

    Raises
    ------
    InputError
        The outline is so jagged that moved outward it crosses itself more often than can be worked out.
    """
    whole = sound(polygon)
    if by_m <= 0 or whole.is_empty:
        return whole
    parts = shapely.get_parts(whole)
    filled = whole if not shapely.get_num_interior_rings(parts).any() else shapely.MultiPolygon(_filled(parts))
    sides = _moved_sides(filled, by_m)
    if crossing_pairs(sides, MOST_GROWN_CROSSINGS) > MOST_GROWN_CROSSINGS:
        raise InputError(
            f"the boundary has {len(shapely.get_coordinates(whole))} corners, so jagged that moved outward by"
            f" {by_m:g} m it crosses itself over and over; give a smaller field.grow, or smooth it in a map program",
            "field.grow",
        )
    if filled is whole:
        return shapely.buffer(whole, by_m, join_style="mitre")
    wider = shapely.buffer(_filled(parts), by_m, join_style="mitre")
    return shapely.union_all(without(wider, without(_filled(parts), parts)))


def _filled(parts: np.ndarray) -> np.ndarray:
    """Each of *parts*, shape (n,), without its holes."""
    return np.array([shapely.Polygon(part.exterior) for part in parts], dtype=object)


def _moved_sides(polygon: BaseGeometry, by_m: float) -> list[BaseGeometry]:
    """The sides of each ring of *polygon*, each moved outward by *by_m*, joined in their order. [m]"""
    ways = []
    for ring in shapely.get_rings(shapely.orient_polygons(polygon)):  # the ground lies to the left
        ends = shapely.get_coordinates(shapely.remove_repeated_points(ring))
        step = np.diff(ends, axis=0)
        out = np.column_stack([step[:, 1], -step[:, 0]]) * by_m / np.hypot(*step.T)[:, None]
        ways.append(shapely.LineString(np.stack([ends[:-1] + out, ends[1:] + out], axis=1).reshape(-1, 2)))
    return ways


def sound(polygon: BaseGeometry) -> BaseGeometry:
    """*polygon* as laid into the plane, valid there too.

    A hair-thin part that just holds in degrees may cross itself by rounding in metres. Ground on
    the other side of the Earth, where the plane ends, is no ground of this job: empty.
    """
    if not np.isfinite(shapely.get_coordinates(polygon)).all():
        return shapely.Polygon()
    return solid(polygon)


def _check_wide(target: BaseGeometry) -> None:
    """Raise when all the ground is a line rather than an area."""
    wide_m = 2 * target.area / target.length
    if wide_m < LEAST_TARGET_M:
        raise InputError(
            f"the ground to spray is a strip {target.length / 2:.0f} m long and less than {LEAST_TARGET_M * 100:.0f} cm"
            " wide: check the boundary, its setbacks and no-spray areas",
            "field",
        )


def _check_size(field: BaseGeometry) -> None:
    """Raise when the field is wider, or its outline longer, than those of one job."""
    west, south, east, north = field.bounds
    span = max(east - west, north - south)
    if span > MAX_FIELD_SPAN_M:
        raise InputError(
            f"the sprayed fields span {span / 1000:.0f} km, more than one job can (limit {MAX_FIELD_SPAN_M / 1000:.0f}"
            " km): check the boundary, or name those of this job with field.select",
            "field.boundary",
        )
    if field.length > MAX_OUTLINE_M:
        raise InputError(
            f"the outline of the field is {field.length / 1000:.0f} km long, more than any (limit"
            f" {MAX_OUTLINE_M / 1000:.0f} km): it runs to and fro; draw it again in a map program",
            "field.boundary",
        )
