"""The part of the recipe for a field that several machines sprayed: what the others took of it is no skip of this one.

Every other machine is followed from its own log, with its own boom. Ground that it sprayed and this one did not is
taken off the target, so that all figures and papers are of what was left to this machine.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import shapely

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.ground.pieces import pieces_of
from coverage_audit.ground.together import Sprayed, common_ground
from coverage_audit.jobs.job import ASSUMED, boom_state, may_be_one_mix
from coverage_audit.solid import overlap, without

from .count import counted_ground
from .crowded import countable
from .drive import drive_of
from .result import Together
from .tolerances import NOTHING_LEFT_SHARE

if TYPE_CHECKING:
    from coverage_audit.accuracy.model import Accuracy, Figure
    from coverage_audit.drive.plane import Plane
    from coverage_audit.ground.model import Ground
    from coverage_audit.jobs.job import Job

    from .drive import Drive
    from .result import Layers


def with_others(job: Job, plane: Plane, ground: Ground) -> tuple[Ground, tuple[Caution, ...]]:
    """*ground* with what each other machine of the treatment sprayed of it, and cautions where that cannot be told."""
    others, told = [], []
    for other in job.together:
        try:
            one = _no_part(job, other) or _sprayed(other, plane, ground)
        except InputError as error:
            one = Caution("other unread", job=name_of(other), why=str(error))
        if isinstance(one, Sprayed) and one.covered.is_empty:
            one = Caution("other elsewhere", job=name_of(other))
        if isinstance(one, Sprayed):
            others.append(one)
        else:
            told.append(one)
    return replace(ground, others=tuple(others)), tuple(told)


def name_of(job: Job) -> str:
    """Machine of a job, or what else it is known by."""
    settings = job.settings
    return (settings.farm.machine if settings.farm else "") or settings.name or job.sources[0][0]


def _no_part(job: Job, other: Job) -> Caution | None:
    """Why *other* is no part of the same treatment that can be followed; None where it is."""
    if boom_state(other) == ASSUMED:
        return Caution("other assumed", job=name_of(other))
    names = [[product.name for product in one.settings.products] for one in (job, other)]
    return None if may_be_one_mix(*names) else Caution("other product", job=name_of(other))


def _sprayed(other: Job, plane: Plane, ground: Ground) -> Sprayed:
    drive = countable(drive_of(other, plane), other, plane)
    parts = counted_ground(drive, ground, other.settings.boom.width_m).parts
    covered, double = (parts.union(parts.in_target & (parts.visits > least)) for least in (0, 1))
    return Sprayed(ground.target, covered, double)


def left_to(drive: Drive, ground: Ground) -> Ground:
    """*ground* whose target is what this machine sprayed, and what none did.

    Raises
    ------
    InputError
        The others sprayed all of it, and this one nothing.
    """
    if not ground.others:
        return ground
    own = shapely.union_all([piece.polygon for one in drive.thinned for piece in pieces_of(one, drive.one_pivot_m2)])
    target = without(ground.whole, without(ground.by_others, own))
    if target.area < NOTHING_LEFT_SHARE * ground.whole.area:
        raise InputError("the other machines sprayed the whole field, and this one nothing of it", "job.together")
    return replace(ground, target=target)


def together_of(job: Job, ground: Ground, layers: Layers) -> Together | None:
    """What all machines did on their common ground; None where this one was alone."""
    if not ground.others:
        return None
    covered, double = (shapely.union_all(list(layers.by_visits[least:])) for least in (1, 2))
    machines = tuple(name_of(other) for other in job.together)
    return Together(
        machines,
        area_m2=common_ground([Sprayed(ground.whole, covered, double), *ground.others]),
        taken_m2=float(layers.by_others.area),
        both_m2=float(overlap(covered, ground.by_others).area),
        both_double_m2=float(overlap(double, ground.by_others).area),
    )


def with_common_ground(accuracy: Accuracy, together: Together) -> Accuracy:
    """*accuracy* of the ground that no other machine sprayed, with what both did beside it: that is covered anyhow."""

    def more(one: Figure, by: float) -> Figure:
        estimate = None if one.estimate is None else one.estimate + by
        return replace(one, observed=one.observed + by, estimate=estimate, low90=one.low90 + by, high90=one.high90 + by)

    both, twice = together.both_m2, together.both_double_m2
    regimes = {
        name: replace(one, double_m2=more(one.double_m2, twice), covered_m2=more(one.covered_m2, both))
        for name, one in accuracy.by_regime.items()
    }
    double, covered = more(accuracy.double_m2, twice), more(accuracy.covered_m2, both)
    return replace(accuracy, double_m2=double, covered_m2=covered, by_regime=regimes)
