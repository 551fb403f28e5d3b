"""The part of the recipe that makes a drive countable whose boom goes round and round on one spot."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.ground.boom_lines import on_lines, thin
from coverage_audit.ground.crowded import Spot, crowded_spot, rounds_left_out
from coverage_audit.ground.partition import too_crowded
from coverage_audit.ground.tolerances import (
    COARSER,
    MOST_COARSE_M,
    MOST_LEFT_OUT_SHARE,
    MOST_SPOTS,
    ONE_PIVOT_REL,
)

from .drive import fine_m, on_totals, smallest_m2

if TYPE_CHECKING:
    from coverage_audit.drive.plane import Plane
    from coverage_audit.jobs.job import Job

    from .drive import Drive


def countable(drive: Drive, job: Job, plane: Plane) -> Drive:
    """*drive* as it is where its ground can be counted; else cut more coarsely; else without rounds of some spots.

    Raises
    ------
    InputError
        The boom swept so much of its ground over and over that neither helps; with the place and the times.
    """
    if not too_crowded(drive.thinned):
        return drive
    spot = crowded_spot(drive.lines, job.settings.boom.width_m)
    for factor, share in COARSER:
        coarse = _coarser(drive, job, plane, factor)
        if not too_crowded(coarse.thinned, share, coarse.one_pivot_m2):
            return _told(coarse, [Caution("circles coarse", **_place(spot, drive, plane))])
    found = _without_rounds(coarse, job, plane, share)
    if found is None:
        raise _refusal(spot, drive, plane)
    return found


def _coarser(drive: Drive, job: Job, plane: Plane, factor: float) -> Drive:
    """*drive* with boom lines so many times as far apart where they are many."""
    smallest = smallest_m2(job, plane)
    lines = on_lines(drive.path, drive.timeline, job.settings.boom.sections_m, fine_m(job, plane), factor)
    within = max(drive.within_m, min(factor * drive.within_m, MOST_COARSE_M))
    pivot = ONE_PIVOT_REL * smallest if np.isfinite(smallest) else 0.0
    return replace(drive, lines=lines, thinned=thin(lines, within), within_m=within, one_pivot_m2=pivot)


def _without_rounds(drive: Drive, job: Job, plane: Plane, share: float) -> Drive | None:
    """*drive* without all rounds between a first and a last one of its most crowded spots; None where that is too much.

    *share* of what can be noded. [1]
    """
    cautions, left_out_m, most_m = [], 0.0, MOST_LEFT_OUT_SHARE * on_totals(drive)[1]
    for _ in range(MOST_SPOTS):
        spot = crowded_spot(drive.thinned, job.settings.boom.width_m)
        lines, (first, last) = rounds_left_out(drive.lines, spot)
        left_out_m += last - first
        if last <= first or left_out_m > most_m:
            return None
        left = spot._replace(first_m=first, last_m=last)
        cautions.append(Caution("circles left out", **_place(left, drive, plane)))
        drive = replace(drive, lines=lines, thinned=thin(lines, drive.within_m))
        if not too_crowded(drive.thinned, share, drive.one_pivot_m2):
            return _told(drive, cautions)
    return None


def _told(drive: Drive, cautions: list[Caution]) -> Drive:
    return replace(drive, cautions=(*drive.cautions, *cautions))


def _place(spot: Spot, drive: Drive, plane: Plane) -> dict[str, float]:
    """Where and when the boom went round *spot*. [deg], [s]"""
    lon, lat = plane.to_degrees(spot.x_m, spot.y_m)
    first, last = np.interp([spot.first_m, spot.last_m], drive.path.travel_m, drive.path.time_s)
    return {"lat": float(lat), "lon": float(lon), "first_s": float(first), "last_s": float(last)}


def _refusal(spot: Spot, drive: Drive, plane: Plane) -> InputError:
    place = _place(spot, drive, plane)
    first, last = (dt.datetime.fromtimestamp(place[key], dt.UTC) for key in ("first_s", "last_s"))
    return InputError(
        "while it was on, the boom swept the same ground over and over, more than one audit can count: worst about"
        f" {place['lat']:.6f}, {place['lon']:.6f} (lat, lon), from {first:%Y-%m-%d %H:%M:%S} to {last:%H:%M:%S} UTC."
        " Check boom.width and the positions there; if the boom was off then, say so in boom.intervals; or cut the job"
        " with track.from and track.to",
        "track.files",
    )
