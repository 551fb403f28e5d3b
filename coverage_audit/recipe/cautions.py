"""What a person must know before relying on an audit, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.units import DAY_S

from .tolerances import FAR_FIXES_M, MUCH_DOUBLE, TOWED_BACKING_WIDTHS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.ground.model import Areas
    from coverage_audit.jobs.settings import AccuracySettings, BoomSettings
    from coverage_audit.read.records import TrackLog

    from .result import Checks, InputCount


def boom_cautions(boom: BoomSettings, backed_up_m: float) -> list[str]:
    """Cautions about where the boom was; *backed_up_m* is the longest way in reverse. [m]"""
    cautions = []
    if boom.antenna_ahead_m is None:
        cautions.append(
            "The job file does not say where the antenna stands (boom.antenna_ahead); it was taken to be right above "
            "the boom. Every switching place is off by the true distance."
        )
    if boom.towed_m and backed_up_m > TOWED_BACKING_WIDTHS * boom.width_m:
        cautions.append(
            "A towed boom was backed up farther than its own width; where it swung to cannot be told from the track."
        )
    return cautions


def gap_cautions(gaps_on_s: Sequence[float], areas: Areas, bridges: int) -> list[str]:
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
        cautions.append(
            f"The log has {len(gaps_on_s)} gap(s) while the boom was on, {sum(gaps_on_s):.0f} s in all, too long or "
            "too crooked to bridge: what was sprayed in them counts as missed."
        )
    if areas.bridged > 0:
        share = 100 * areas.bridged / areas.target
        cautions.append(
            f"{share:.2f} % of the target rests on bridging {bridges} gap(s) of the log and is not counted as proven."
        )
    return cautions


def check_cautions(checks: Checks) -> list[str]:
    """Caution when the closing sums or the second count do not hold."""
    if checks.ok:
        return []
    differ = f"by {100 * checks.cross_check_rel:.3f} % of the field"
    close = f"sums close to {checks.closure_rel:.1e}"
    return [f"The two independent counts of the ground do not agree ({differ}; {close}): do not rely on this audit."]


def dropped_cautions(inputs: Sequence[InputCount]) -> list[str]:
    """One caution for each file of which fixes or sentences were left out, with the reasons."""
    cautions = []
    for one in inputs:
        lost = one.fixes_read - one.fixes_used
        sentences = one.dropped.get("bad_checksum", 0)
        reasons = ", ".join(
            f"{count} {reason.replace('_', ' ')}"
            for reason, count in one.dropped.items()
            if count and reason != "bad_checksum"
        )
        if lost:
            cautions.append(f"{one.file}: {lost} of {one.fixes_read} fixes could not be used ({reasons}).")
        if sentences:
            cautions.append(f"{one.file}: {sentences} sentences with a bad checksum were skipped.")
    return cautions


def midnight_cautions(logs: Sequence[TrackLog]) -> list[str]:
    """One caution for each NMEA log that runs past midnight UTC: its sentences give times of day."""
    return [
        f"{log.file} runs past midnight UTC; times after it were taken as the next day's."
        for log in logs
        if log.times_of_day and len(log.fixes) and np.ptp(log.fixes.time_s // DAY_S) > 0
    ]


def log_cautions(
    logs: Sequence[TrackLog], spacing_m: float, median_step_s: float, stated: AccuracySettings | None
) -> list[str]:
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
        said = "that they are uncorrected" if np.any(quality == 1) else "nothing of how good they are"
        cautions.append(
            f"Of its positions the log says {said}. A phone or a receiver without corrections is off by a metre or "
            "more: a strip narrower than that may not be there, and one as narrow may be missing here."
        )
    if spacing_m > FAR_FIXES_M:
        cautions.append(
            f"Fixes lie {spacing_m:.0f} m apart while spraying (one every {median_step_s:.1f} s): narrow skips and the "
            "places of switching are guesses. Log one fix a second, no distance filter."
        )
    return cautions


def width_cautions(areas: Areas, width_m: float) -> list[str]:
    """Caution when so much was sprayed twice that the boom's width is likely wrong."""
    if areas.double <= MUCH_DOUBLE * areas.target:
        return []
    told = f"{100 * areas.double / areas.target:.0f} % of the target area counts as sprayed twice or more"
    return [f"{told}: check that the boom is really {width_m:g} m wide (boom.width) and that its on-times are right."]
