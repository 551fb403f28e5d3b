"""What in a job contradicts itself, so that no proof is made of it: tricks of a seller, and honest slips alike."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.papers.words.display import length
from coverage_audit.recipe.assumed import make_proposal
from coverage_audit.solid import shrunk, widened
from coverage_audit.units import DAY_S

from .rests import zone_h
from .tolerances import (
    BESIDE_WIDTHS,
    CUT_EDGE_WIDTHS,
    GUESS_S,
    GUESS_SHARE,
    RUN_WIDTHS,
    STRIP_RATIO,
    STRIP_SHARE,
    WIDTH_REL,
    ZONE_H,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.recipe.result import Audit


def contradictions(audit: Audit) -> Iterator[tuple[str, str]]:
    """(what, where in the job file) of everything in *audit* that contradicts itself."""
    yield from _offset(audit)
    yield from _zone(audit)
    yield from _width(audit)
    yield from _cut_edge(audit)
    yield from _excluded_strips(audit)
    yield from _guessed_times(audit)


def _offset(audit: Audit) -> Iterator[tuple[str, str]]:
    days = abs(audit.job.settings.track.clock_offset_s) / DAY_S
    if days > 1:
        what = (
            f"{days:.1f} days are added to the log's times: no clock is set wrong by that much, and the date of the "
            "proof would be made up"
        )
        yield what, "track.clock_offset"


def _zone(audit: Audit) -> Iterator[tuple[str, str]]:
    """A time zone that is not of the place, which makes another day of the job."""
    off_h = (zone_h(audit) - audit.origin.lon_deg / 15 + 12) % 24 - 12
    if audit.job.settings.timezone_given and abs(off_h) > ZONE_H:
        what = (
            f'the time zone "{audit.job.settings.timezone}" is {abs(off_h):.0f} hours off the sun\'s time at the '
            "field, so that the date may be another; give the zone of the place"
        )
        yield what, "job.timezone"


def _width(audit: Audit) -> Iterator[tuple[str, str]]:
    """The caution about width against spacing, when it says more than the tolerance."""
    units = audit.job.settings.report.units
    for one in audit.cautions:
        values = dict(one.values)
        if one.code != "spacing off" or abs(values["spacing_m"] - values["width_m"]) <= WIDTH_REL * values["width_m"]:
            continue
        what = (
            f"the boom is said to be {length(values['width_m'], units)} wide, but its passes lie "
            f"{length(values['spacing_m'], units)} apart all over the field; measure "
            "it from the first nozzle to the last"
        )
        yield what, "boom.width"


def _cut_edge(audit: Audit) -> Iterator[tuple[str, str]]:
    """Spraying along the outline, but more than half a boom outside it: the outline leaves out ground of the job."""
    plane, width = Plane(audit.origin), audit.job.settings.boom.width_m
    kept = shapely.union_all([shapely.make_valid(plane.geometry_to_metres(one.geometry)) for one in audit.job.boundary])
    if audit.job.settings.field.grow_m:
        kept = widened(kept, audit.job.settings.field.grow_m)
    holes_filled = shapely.union_all([shapely.Polygon(one.exterior) for one in shapely.get_parts(kept)])
    ring = shapely.difference(
        widened(holes_filled, BESIDE_WIDTHS * width), widened(holes_filled, CUT_EDGE_WIDTHS * width)
    )
    runs = [shapely.intersection(one, ring) for one in audit.layers.passes]
    beside = sum(
        part.length
        for run in runs
        for part in shapely.get_parts(shapely.line_merge(run))
        if part.length > RUN_WIDTHS * width
    )
    if beside > 0:
        units = audit.job.settings.report.units
        what = (
            f"the boom sprayed {length(beside, units)} of way beside the outline, more than a boom's width beyond it: "
            "the outline leaves out ground that belongs to the job; give the whole field, or the outline of the "
            "neighbouring field too"
        )
        yield what, "field.boundary"


def _excluded_strips(audit: Audit) -> Iterator[tuple[str, str]]:
    """No-spray areas that are mostly strips between passes, narrower than the boom, and not islands."""
    plane, width = Plane(audit.origin), audit.job.settings.boom.width_m
    holes = [
        shapely.Polygon(ring) for one in shapely.get_parts(audit.layers.field) for ring in shapely.get_rings(one)[1:]
    ]
    typed = [shapely.make_valid(plane.geometry_to_metres(one.geometry)) for one in audit.job.exclude]
    ground = shapely.intersection(shapely.union_all([*holes, *typed]), audit.layers.field.convex_hull)
    for part in shapely.get_parts(widened(ground, width / 4)):  # pieces of one strip count as one
        own = shapely.intersection(ground, part)
        bare = shapely.difference(own, audit.layers.excluded_sprayed)
        strips = [one for one in shapely.get_parts(bare) if one.area > 0]
        joined = widened(shapely.union_all(strips), width / 4)
        narrow = sum(one.area for one in strips if _narrow(one, width))
        if own.area > 0 and narrow > STRIP_SHARE * own.area and any(map(_long, shapely.get_parts(joined))):
            what = (
                "a no-spray area is mostly a strip between passes that is narrower than the boom: it may hide ground "
                "that was missed. Leave it out of the no-spray areas; then it counts as missed"
            )
            yield what, "field.exclude"
            return


def _narrow(shape: BaseGeometry, width_m: float) -> bool:
    """Whether nothing as wide as the boom fits in."""
    return bool(shrunk(shape, width_m / 2).is_empty)


def _long(shape: BaseGeometry) -> bool:
    """Whether it is a strip."""
    around = shapely.minimum_rotated_rectangle(shape)
    corners = shapely.get_coordinates(around)
    if len(corners) < 4:
        return False
    sides = np.hypot(*np.diff(corners[:3], axis=0).T)
    return bool(sides.max() > STRIP_RATIO * sides.min())


def _guessed_times(audit: Audit) -> Iterator[tuple[str, str]]:
    """On-times handed in as logged that are what the program itself guesses from the track."""
    rows = audit.job.intervals
    if not rows:
        return
    settings = audit.job.settings
    boom = replace(settings.boom, intervals="assume", on_delay_s=0.0, off_delay_s=0.0)
    try:
        guess = make_proposal(
            replace(audit.job, settings=replace(settings, boom=boom), intervals=None), Plane(audit.origin)
        )
        guessed = guess.on_off_s()
    except InputError:
        return  # nothing can be guessed, so nothing was
    given = np.array([[one.on_s, one.off_s] for one in rows])
    apart = np.abs(given[:, None, :] - guessed[None, :, :]).max(axis=2).min(axis=1)
    if len(given) > 2 and (apart <= GUESS_S).mean() > GUESS_SHARE:
        what = (
            f"{int((apart <= GUESS_S).sum())} of {len(given)} on-times are to a tenth of a second what this "
            "program guesses from the track alone: nobody logged them, so coverage cannot be proven"
        )
        yield what, "boom.intervals"
