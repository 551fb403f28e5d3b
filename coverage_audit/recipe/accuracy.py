"""The part of the recipe that says how sure the figures are."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.accuracy.counting import Booms
from coverage_audit.accuracy.draws import Question, assess
from coverage_audit.accuracy.error import error_model, jitter_of, noise_across, without_jitter
from coverage_audit.accuracy.gaps.probes import find_gaps
from coverage_audit.accuracy.jumps import clock_s, jumps_of, with_jumps
from coverage_audit.accuracy.model import BERKSON, REGIMES
from coverage_audit.accuracy.repeats import repeats_of
from coverage_audit.accuracy.standing import stands_of
from coverage_audit.drive.motion import build_motion, refine
from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.ground.boom_lines import boom_path, on_lines, thin
from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.threads import beside

from .machine_places import antenna_place, likely_boom, possible_booms, widest
from .together import with_common_ground
from .tolerances import (
    METHOD_REL,
    MOST_GAPS,
    PROBE_STEP_M,
    REPLICATE_THIN_M,
    REPLICATE_THIN_SIGMAS,
    UNASKED_REPLICATES,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from coverage_audit.accuracy.error import Jitter
    from coverage_audit.accuracy.jumps import Jumps
    from coverage_audit.accuracy.model import ErrorModel
    from coverage_audit.accuracy.standing import Spread
    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import Timeline, Track
    from coverage_audit.ground.model import BoomLines, Ground
    from coverage_audit.jobs.job import Job
    from coverage_audit.jobs.settings import BoomSettings

    from .machine_places import AntennaPlace
    from .result import Audit

    Progress = Callable[[str, float], None]

SEED = 20260530
"""The same job gives the same figures each time."""


def with_default_accuracy(job: Job) -> Job:
    """*job* as it is audited when nobody said how good its positions are: ranges beside the figures, no more."""
    if job.settings.accuracy is not None:
        return job
    unasked = AccuracySettings(replicates=UNASKED_REPLICATES, asked=False)
    return replace(job, settings=replace(job.settings, accuracy=unasked))


def with_accuracy(
    audit: Audit,
    track: Track,
    timeline: Timeline,
    lines: list[BoomLines],
    ground: Ground,
    tell: Progress,
    *,
    switched: bool,
) -> Audit:
    """*audit* with the accuracy of its figures and strips; *lines* are its boom lines, thinned.

    *switched*: its on-times are those of a switch, wherever the antenna stood, and not made from where it went.
    """
    settings = audit.job.settings.accuracy
    if settings is None or settings.replicates == 0:
        return audit

    done = itertools.count(1)

    def run_all(task: Callable[[int], FloatArray], count: int) -> Iterable[FloatArray]:
        with beside() as workers:
            for result in workers.map(task, range(count)):
                tell("how sure", min(next(done) / settings.replicates, 1.0))
                yield result

    boom, regimes = audit.job.settings.boom, REGIMES[settings.steering]
    places = [antenna_place(boom, audit.passes, by_receiver=one == BERKSON, switched=switched) for one in regimes]
    asked = {one: _question(audit, track, timeline, lines, ground, settings, one) for one in dict.fromkeys(places)}
    questions = {regime: asked[one] for regime, one in zip(regimes, places, strict=True)}
    accuracy = assess(questions, run_all, np.random.default_rng(SEED))
    drawn = [one for one in places if one is not None]
    if drawn and not accuracy.error.none:  # else nothing was drawn
        ahead, right = widest([one.ahead for one in drawn]), widest([one.right for one in drawn])
        accuracy = replace(accuracy, antenna_ahead_m=ahead, antenna_right_m=right)
        audit = _with_antenna(audit, ahead, right)
    if audit.together is not None:
        accuracy = with_common_ground(accuracy, audit.together)
    strips = tuple(
        replace(strip, probability=chance)
        for strip, chance in zip(audit.missed_strips, accuracy.probability, strict=True)
    )
    return replace(audit, accuracy=accuracy, missed_strips=strips)


def _with_antenna(audit: Audit, ahead: Spread | None, right: Spread | None) -> Audit:
    """*audit* whose caution on the antenna's place says which places the ranges hold. [m]"""
    ahead_m, right_m = (one and (one.best, one.low90, one.high90) for one in (ahead, right))
    told = Caution("antenna place unknown", ahead_m=ahead_m, right_m=right_m)
    cautions = tuple(told if one.code == told.code else one for one in audit.cautions)
    return replace(audit, cautions=cautions)


def _error_shown(track: Track, settings: AccuracySettings) -> tuple[ErrorModel, Jitter, Jumps]:
    """The receiver's error, with the jitter and the jumps sideways that the log itself shows."""
    error, jitter, jumps = error_model(track, settings), jitter_of(track, settings.noise_m), jumps_of(track)
    if settings.noise_m is None and np.isfinite(jitter.noise_m):
        error = replace(error, noise_m=jitter.noise_m)
    return with_jumps(error, jumps), jitter, jumps


def _question(
    audit: Audit,
    track: Track,
    timeline: Timeline,
    lines: list[BoomLines],
    ground: Ground,
    settings: AccuracySettings,
    place: AntennaPlace | None,
) -> Question:
    """What is asked of the accuracy stage: the receiver's error, and the job without its jitter."""
    boom, areas, target = audit.job.settings.boom, audit.area_m2, ground.alone
    both, twice = (audit.together.both_m2, audit.together.both_double_m2) if audit.together else (0.0, 0.0)
    width = boom.width_m
    error, jitter, jumps = _error_shown(track, settings)
    within = float(np.clip(REPLICATE_THIN_SIGMAS * np.median(error.sigma_m), *REPLICATE_THIN_M))
    calm, by_place = _calm_booms(without_jitter(track, jitter.half), timeline, (boom, place), error, within)
    gaps = find_gaps(calm.lines, calm.path, ground.whole, width, PROBE_STEP_M)
    if len(gaps) > MOST_GAPS:
        gaps = find_gaps(calm.lines, calm.path, ground.whole, width, PROBE_STEP_M * len(gaps) / MOST_GAPS)
    return Question(
        observed_m2=(areas.missed, areas.double - twice, areas.covered - both),
        target=target,
        strips=audit.missed_strips,
        width_m=width,
        min_width_m=audit.job.settings.report.min_width_m,
        lines=thin(lines, within),
        calm=calm,
        gaps=gaps,
        error=error,
        settings=settings,
        method_m2=METHOD_REL * target.area * min(1.0, track.median_step_s),
        stands=tuple(stands_of(replace(track, time_s=error.time_s))),
        jump_fixed_m=jumps.fixed_m,
        repeats=repeats_of(calm.path, width),
        noise_m=noise_across(error, jitter.every * track.median_step_s, jitter.half // jitter.every),
        by_place=by_place,
        placed=place is not None,
    )


def _calm_booms(
    track: Track,
    timeline: Timeline,
    machine: tuple[BoomSettings, AntennaPlace | None],
    error: ErrorModel,
    within_m: float,
) -> tuple[Booms, tuple[Booms, ...]]:
    """Booms of a *track* without jitter, on the clock of *error*: as the machine likely is, and by places it may have.

    Places with which the drive could not have been driven are left out.
    """
    boom, place = machine
    motion = refine(build_motion(track, boom.width_m / 2))

    def booms(one: BoomSettings) -> Booms:
        path = boom_path(motion, one)
        lines = thin(on_lines(path, timeline, one.sections_m), within_m)
        return Booms(lines, replace(path, time_s=clock_s(path.time_s, track, error)))

    found = []
    for one in possible_booms(boom, place):
        try:
            found.append(booms(one))
        except InputError:  # such a vehicle would have been dragged: the log rules it out
            continue
    return booms(likely_boom(boom, place)), tuple(found)
