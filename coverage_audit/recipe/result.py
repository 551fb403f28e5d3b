"""All that one audit found: frozen dataclasses, no algorithms. Geometry in plane metres."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from shapely import Polygon

from .answer import Answer, answer_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.accuracy.model import Accuracy
    from coverage_audit.drive.model import PlaneOrigin, Recall
    from coverage_audit.facts import Caution
    from coverage_audit.ground.driven_edge import DrivenEdge
    from coverage_audit.ground.model import Areas, Strip
    from coverage_audit.ground.unlogged import Break
    from coverage_audit.jobs.job import Job
    from coverage_audit.passes.model import Assumed, PassResult, Range
    from coverage_audit.rate.model import RateResult, Volume
    from coverage_audit.touchup.model import TouchupPlan


@dataclass(frozen=True)
class Layers:
    """The partition's polygons in plane metres, for maps. Empty geometries where nothing is.

    ``by_visits[k]`` is the target ground with exactly k visits (k = 0 missed).
    ``passes`` are the boom centre's lines while spraying, ``transport`` while not. ``unknown``: the part of the
    missed ground that only a paused or cut log could have covered. ``by_others``: what another machine sprayed and
    this one did not; it is no target.
    """

    field: BaseGeometry
    target: BaseGeometry
    excluded: BaseGeometry
    by_visits: tuple[BaseGeometry, ...]
    bridged: BaseGeometry
    outside: BaseGeometry
    excluded_sprayed: BaseGeometry
    passes: tuple[BaseGeometry, ...]
    transport: tuple[BaseGeometry, ...]
    unknown: BaseGeometry = field(default_factory=Polygon)
    by_others: BaseGeometry = field(default_factory=Polygon)


@dataclass(frozen=True, eq=False)
class InputCount:
    """How one track file's fixes were used; ``fixes_read`` = ``fixes_used`` + dropped."""

    file: str
    sha256: str
    form: str
    fixes_read: int
    fixes_used: int
    dropped: Mapping[str, int]
    notes: Mapping[str, int]


@dataclass(frozen=True)
class Checks:
    """The closing sums. Relative to the field area; ``ok`` = all within tolerance.

    ``closure_rel``: worst of sum A_k = target and sum of quads = swept + reswept.
    ``cross_check_rel``: worst of covered, missed and double between partition and raster count.
    ``raster_*``: the raster count's own figures. [m2]
    """

    closure_rel: float
    cross_check_rel: float
    ok: bool
    raster_covered_m2: float
    raster_missed_m2: float
    raster_double_m2: float


@dataclass(frozen=True)
class Together:
    """Machines that sprayed the field together. [m2]

    ``machines`` are the others. ``taken_m2``: what they sprayed and this one did not; ``both_m2``: what both did,
    ``both_double_m2`` of it this one alone twice. ``area_m2``: target, covered, missed and double of all together.
    """

    machines: tuple[str, ...]
    taken_m2: float
    both_m2: float
    both_double_m2: float
    area_m2: Mapping[str, float]


@dataclass(frozen=True)
class Memories:
    """What a person remembered of the boom state, and the range of each area over all that it may have been. [m2]

    ``ranges`` are the same as those of an assumed boom state where parts of it are assumed as well.
    """

    recalls: tuple[Recall, ...]
    ranges: Mapping[str, Range | tuple[Range, ...]] = field(default_factory=dict)
    draws: int = 0


@dataclass(frozen=True)
class Audit:
    """All that one audit found; writers turn it into papers. Geometry in plane metres.

    ``plan``: the touch-up planned for it, None when none was.
    """

    job: Job
    origin: PlaneOrigin
    start_s: float
    end_s: float
    inputs: tuple[InputCount, ...]
    area_m2: Areas
    distance_on_m: float
    distance_off_m: float
    time_on_s: float
    time_off_s: float
    time_gap_s: float
    median_step_s: float
    volume: Volume
    missed_strips: tuple[Strip, ...]
    double_patches: tuple[Strip, ...]
    checks: Checks
    layers: Layers
    on_intervals: tuple[tuple[float, float], ...]
    sprayed_fields: tuple[str, ...]
    cautions: tuple[Caution, ...]
    rate: RateResult | None = None
    passes: PassResult | None = None
    assumed: Assumed | None = None
    remembered: Memories | None = None
    accuracy: Accuracy | None = None
    edge: DrivenEdge | None = None
    unknown_places: tuple[Strip, ...] = ()
    breaks: tuple[Break, ...] = ()
    entered_m: tuple[float, float] | None = None
    plan: TouchupPlan | None = None
    together: Together | None = None

    @cached_property
    def answer(self) -> Answer:
        """The one answer that every paper tells, worked out once; with the touch-up's reckoning where there is one."""
        return answer_of(self)
