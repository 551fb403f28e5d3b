"""What a person must know before relying on an audit, as codes with values; ``papers`` has the sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.facts import Caution
from coverage_audit.jobs.cut import OUTSIDE_CUT
from coverage_audit.jobs.tolerances import MACHINE_WIDTH_M
from coverage_audit.rate.tolerances import RATE_CELL_M
from coverage_audit.units import DAY_S

from .tolerances import (
    FAR_FIXES_M,
    IDLE_RECALL_S,
    MUCH_DOUBLE,
    MUCH_OUTSIDE,
    RATE_CLOSURE,
    TOWED_BACKING_WIDTHS,
    UNSURE_WAY_M,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.drive.model import BoomPath, Recall, Timeline
    from coverage_audit.ground.model import Areas
    from coverage_audit.jobs.settings import AccuracySettings, BoomSettings
    from coverage_audit.rate.model import RateCells, TankResult
    from coverage_audit.rate.tank import Stop
    from coverage_audit.read.records import TrackLog

    from .result import Checks, InputCount


def boom_cautions(boom: BoomSettings, backed_up_m: float) -> list[Caution]:
    """Cautions about where the boom was; *backed_up_m* is the longest way in reverse. [m]"""
    cautions = []
    if boom.antenna_ahead_m is None:
        cautions.append(Caution("antenna place unknown"))
    machine = boom.machine
    if machine is not None and machine.taken:
        facts = {"width_m": boom.width_m, "count": len(boom.sections_m), "ahead_m": boom.antenna_ahead_m}
        cautions.append(Caution("boom from machine", name=machine.name, keys=machine.taken, **facts))
    if machine is not None and abs(machine.width_m - boom.width_m) > MACHINE_WIDTH_M:
        cautions.append(Caution("machine width", name=machine.name, machine_m=machine.width_m, width_m=boom.width_m))
    if boom.towed_m and backed_up_m > TOWED_BACKING_WIDTHS * boom.width_m:
        cautions.append(Caution("towed boom backed up"))
    return cautions


def direction_cautions(
    unsure_s: Sequence[tuple[float, float]], path: BoomPath, timeline: Timeline, boom: BoomSettings
) -> list[Caution]:
    """Caution where it matters for what was sprayed which way was driven in reverse, and the log does not tell.

    Parameters
    ----------
    unsure_s : sequence of (float, float)
        Begin and end of each time of which it does not. [s since 1970 UTC]
    """
    ahead, right = boom.antenna_ahead_m or 0.0, boom.antenna_right_m
    in_part = not timeline.on.all()  # then the two hands differ
    if not (ahead or right or in_part or boom.towed_m):
        return []
    sprayed = []
    for first, last in unsure_s:
        start, end = np.clip(timeline.start_s, first, last), np.clip(timeline.end_s, first, last)
        travel = np.interp(end, path.time_s, path.travel_m) - np.interp(start, path.time_s, path.travel_m)
        sprayed.append(float(travel.sum()))
    times = tuple(each for each, on_m in zip(unsure_s, sprayed, strict=True) if on_m >= UNSURE_WAY_M)
    if not times:
        return []
    back = bool(path.reverse[np.searchsorted(path.time_s, times[0][0])])
    mirrored = None if in_part or boom.towed_m or boom.axle_behind_antenna_m else (-ahead, -right)
    facts = {"on_m": sum(one for one in sprayed if one >= UNSURE_WAY_M), "apart_m": 2 * float(np.hypot(ahead, right))}
    return [Caution("direction unsure", times_s=times, back=back, mirrored_m=mirrored, **facts)]


def memory_cautions(recalls: Sequence[Recall]) -> list[Caution]:
    """That parts of the boom state were remembered, and which of them change nothing."""
    if not recalls:
        return []
    idle = tuple((one.said, one.on) for one in recalls if one.changed_s is not None and one.changed_s < IDLE_RECALL_S)
    most = max(max(one.start_within_s, one.end_within_s) for one in recalls)
    found = [Caution("remembered", count=len(recalls), most_s=most)]
    return [*found, *([Caution("remembered idle", rows=idle)] if idle else [])]


def gap_cautions(gaps_on_s: Sequence[float], areas: Areas, bridges: int) -> list[Caution]:
    """Cautions about gaps of the log.

    Parameters
    ----------
    gaps_on_s : sequence of float
        How long the boom was on in each gap that was not bridged. [s]
    bridges : int
        Number of bridged gaps.
    """
    cautions = []
    if gaps_on_s:
        cautions.append(Caution("gap", count=len(gaps_on_s), seconds=float(sum(gaps_on_s))))
    if areas.bridged > 0:
        cautions.append(Caution("bridged", share=areas.bridged / areas.target, count=bridges))
    return cautions


def check_cautions(checks: Checks) -> list[Caution]:
    """Caution when the closing sums or the second count do not hold."""
    if checks.ok:
        return []
    return [Caution("counts differ", cross_check_rel=checks.cross_check_rel, closure_rel=checks.closure_rel)]


def dropped_cautions(inputs: Sequence[InputCount]) -> list[Caution]:
    """One caution for each file of which fixes or sentences were left out, with the reasons."""
    cautions = []
    for one in inputs:
        sentences = one.dropped.get("bad_checksum", 0)
        lost = one.fixes_read - one.fixes_used - one.dropped.get(OUTSIDE_CUT, 0)  # what was cut off is not lost
        reasons = tuple(
            (reason, n) for reason, n in one.dropped.items() if n and reason not in ("bad_checksum", OUTSIDE_CUT)
        )
        if lost:
            cautions.append(Caution("dropped", file=one.file, lost=lost, read=one.fixes_read, reasons=reasons))
        if sentences:
            cautions.append(Caution("bad checksum", file=one.file, count=sentences))
    return cautions


def midnight_cautions(logs: Sequence[TrackLog]) -> list[Caution]:
    """One caution for each NMEA log that runs past midnight UTC: its sentences give times of day."""
    return [
        Caution("midnight", file=log.file)
        for log in logs
        if log.times_of_day and len(log.fixes) and np.ptp(log.fixes.time_s // DAY_S) > 0
    ]


def log_cautions(
    logs: Sequence[TrackLog], spacing_m: float, median_step_s: float, stated: AccuracySettings | None
) -> list[Caution]:
    """Cautions about what the log can show.

    Parameters
    ----------
    spacing_m : float
        Typical distance between fixes while spraying. [m]
    median_step_s : float
        Typical time between fixes. [s]
    stated : AccuracySettings, optional
        What the job file says of the positions.
    """
    cautions = []
    quality = np.concatenate([log.fixes.quality for log in logs])
    if np.all(quality <= 1) and (stated is None or stated.sigma_m is None):
        cautions.append(Caution("positions uncorrected" if np.any(quality == 1) else "positions of unknown quality"))
    if spacing_m > FAR_FIXES_M:
        cautions.append(Caution("fixes far apart", spacing_m=spacing_m, step_s=median_step_s))
    return cautions


def width_cautions(areas: Areas, width_m: float) -> list[Caution]:
    """Caution when so much was sprayed twice that the boom's width is likely wrong. [m]"""
    if areas.double <= MUCH_DOUBLE * areas.target:
        return []
    return [Caution("much double", share=areas.double / areas.target, width_m=width_m)]


def elsewhere_cautions(areas: Areas) -> list[Caution]:
    """Caution when so much was sprayed outside the field that the log may hold another one."""
    if areas.outside <= MUCH_OUTSIDE * areas.target:
        return []
    return [Caution("sprayed elsewhere", outside_m2=areas.outside)]


def closure_cautions(closure: float | None) -> tuple[Caution, ...]:
    """Caution when spray on the ground over spray let out, *closure*, is not 1. [1]"""
    if closure is None or abs(closure - 1) <= RATE_CLOSURE:
        return ()
    return (Caution("rate not closed", off=closure - 1),)


def cell_cautions(cells: RateCells | None) -> tuple[Caution, ...]:
    """Caution when the sprayed ground was too large for cells of the usual size."""
    if cells is None or cells.cell_m <= RATE_CELL_M:
        return ()
    return (Caution("large rate cells", usual_m=RATE_CELL_M, cell_m=cells.cell_m),)


def tank_cautions(tank: TankResult, stops: tuple[Stop, ...], missing: int, target_m2: float) -> tuple[Caution, ...]:
    """Cautions about refills and a tank that may have run dry.

    Parameters
    ----------
    stops : tuple of Stop
        Long stops that were taken for refills.
    missing : int
        Refills that could not be placed.
    target_m2 : float
        Target area. [m2]
    """
    cautions = []
    if stops:
        cautions.append(Caution("refills assumed", count=len(stops)))
    if missing:
        cautions.append(Caution("refills missing", count=missing))
    if tank.dry:
        share = sum(one.in_target_m2 for one in tank.dry) / target_m2
        cautions.append(Caution("perhaps dry", count=len(tank.dry), first=tank.dry[0].load, share=share))
    return tuple(cautions)
