"""What is found about rate, tank and product: frozen dataclasses, no algorithms."""

from __future__ import annotations

from dataclasses import dataclass, field
from dataclasses import field as dataclass_field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.facts import Caution
    from coverage_audit.jobs.settings import ProductSettings


TYPED_IN, BY_STOPS, NO_STOP, ONE_LOAD = "typed", "stops", "no stop", "one load"
"""Where refills of a tank come from: the job file, long stops with the boom off, nowhere, or none was needed."""


@dataclass(frozen=True, eq=False)
class RateCells:
    """The rate surface: cells of which something was swept. Arrays of shape (n,).

    A cell spans ``column`` to ``column + 1`` times ``cell_m`` east of the plane's origin, and
    ``row`` likewise north. ``rate_l_ha`` is its mean: volume over the part of it that was swept;
    ``sweeps`` its swept area, every sweep counted, as a share of the cell, ``swept`` the same
    ground counted once (never more than 1), ``in_target`` the part of that in the target area.
    ``cell_m`` [m], ``rate_l_ha`` [L/ha], shares [1].
    """

    cell_m: float
    row: IntArray
    column: IntArray
    rate_l_ha: FloatArray
    sweeps: FloatArray
    in_target: FloatArray

    @property
    def swept(self) -> FloatArray:
        """Share of each cell that was swept, shape (n,): worked out when asked: a column weighs 1.3 MB a ha. [1]"""
        return np.minimum(self.sweeps, 1.0)

    def area_m2(self, share: FloatArray) -> FloatArray:
        """Area of so much of each cell, shape (n,). [m2]"""
        return share * self.cell_m**2


@dataclass(frozen=True)
class RateBands:
    """Covered target ground by rate, in means of cells; None = no intended rate, or no flow known.

    Bands include their edges; within_10pct + under_90pct + over_110pct = covered.
    ``above_label_max_m2`` counts all swept ground; ``cv`` is a fraction. Rates [L/ha], areas [m2].
    """

    target_l_ha: float | None = None
    within_5pct_m2: float | None = None
    within_10pct_m2: float | None = None
    under_90pct_m2: float | None = None
    over_110pct_m2: float | None = None
    above_label_max_m2: float | None = None
    mean_l_ha: float | None = None
    cv: float | None = None


@dataclass(frozen=True)
class RateClass:
    """Ground that got ``low_l_ha`` up to ``high_l_ha`` (inf: and more), of the covered target. [m2]"""

    low_l_ha: float
    high_l_ha: float
    area_m2: float


@dataclass(frozen=True, eq=False)
class SpeedFigures:
    """Speed of the boom's centre while spraying, weighted by time; arrays for the drawn line. [m/s]

    ``profile_s`` (n,) and ``profile_m_s`` (n,): speed along the whole job, NaN across gaps;
    ``profile_on`` (n,) whether the boom was on.
    """

    mean_m_s: float | None
    p05_m_s: float | None
    p95_m_s: float | None
    profile_s: FloatArray
    profile_m_s: FloatArray
    profile_on: NDArray[np.bool_]


@dataclass(frozen=True)
class Capacity:
    """Field capacity [ha/h]; ``field_efficiency`` = actual / theoretical, a fraction."""

    theoretical_ha_h: float | None
    actual_ha_h: float | None
    field_efficiency: float | None


@dataclass(frozen=True)
class Standing:
    """Spray let out while the whole boom stood still (below 0.1 m/s): from when [s], how long [s], how much [L]."""

    id: str
    start_s: float
    seconds: float
    volume_l: float
    line: BaseGeometry


@dataclass(frozen=True)
class RatePlace:
    """Ground above the label's most in one connected place; ``cause`` in a word or two. Area [m2], rates [L/ha]."""

    id: str
    area_m2: float
    mean_l_ha: float
    max_l_ha: float
    cause: str
    polygon: BaseGeometry


@dataclass(frozen=True)
class Catch:
    """A nozzle catch against the maker's rating and the boom's average.

    ``spread`` = (most - least) / mean; nozzles are numbered from 1 at the left. ``rating_l_min``
    None: no rating was given. ``far_off_average`` is the other published rule. Flows [L/min].
    """

    flows_l_min: tuple[float, ...]
    mean_l_min: float
    spread: float
    rating_l_min: float | None
    off_rating: tuple[int, ...]
    off_average: tuple[int, ...]
    far_off_average: tuple[int, ...]


@dataclass(frozen=True)
class Load:
    """One tank load: from ``start_s`` (first spraying, or refill) to ``end_s``.

    ``volume_l`` is what was in the tank at its start, ``used_l`` what the flow let out by the
    next refill, ``left_l`` what remained (never below 0), ``dry_s`` the moment it would have run
    dry, None if it did not. ``swept_m2`` counts every sweep. Volumes [L], times [s since 1970 UTC].
    """

    start_s: float
    end_s: float
    volume_l: float
    added_l: float
    used_l: float
    left_l: float
    swept_m2: float
    dry_s: float | None


@dataclass(frozen=True)
class DryGround:
    """Ground sprayed only after a load would have run dry.

    ``polygon`` all of it, ``in_target`` the part in the target area; ``point`` is where it began. [m2]
    """

    id: str
    start_s: float
    load: int
    area_m2: float
    in_target_m2: float
    polygon: BaseGeometry
    in_target: BaseGeometry
    point: BaseGeometry


@dataclass(frozen=True)
class TankResult:
    """Loads and what may have been sprayed dry; ``refills`` is where its refills come from; ``left_l`` is left. [L]"""

    loads: tuple[Load, ...]
    dry: tuple[DryGround, ...]
    refills: str
    left_l: float


@dataclass(frozen=True)
class ProductUse:
    """Use of one product. Amounts in L or kg (``settings.rate.kind``); None = cannot be computed.

    ``per_l`` of mix; ``used`` went out, ``intended`` = rate x target area, ``left`` is in the mix
    left over, ``per_load`` in each load; ``mean_per_ha`` over covered ground, ``most_per_ha`` the
    highest cell, ``above_max_m2`` ground above the most per application. [L or kg], per hectare; [m2]
    """

    settings: ProductSettings
    per_l: float | None = None
    used: float | None = None
    intended: float | None = None
    left: float | None = None
    per_load: tuple[float, ...] = ()
    mean_per_ha: float | None = None
    most_per_ha: float | None = None
    above_max_m2: float | None = None


@dataclass(frozen=True, eq=False)
class RateResult:
    """All about rate, tank and product that one audit found: [L], [L/ha], [m2].

    ``closure`` = (spray on the ground + while standing) / spray out of the nozzles.
    ``above_label_small_m2`` is the ground above the label's most in places too small to name.
    ``disagreements`` and ``cautions`` are for the person, as codes with values.
    """

    source: str | None
    bands: RateBands
    speed: SpeedFigures
    capacity: Capacity
    cells: RateCells | None = None
    classes: tuple[RateClass, ...] = ()
    standing_l: float | None = None
    closure: float | None = None
    standing: tuple[Standing, ...] = ()
    places: tuple[RatePlace, ...] = ()
    above_label_small_m2: float | None = None
    max_l_ha: float | None = None
    catch: Catch | None = None
    tank: TankResult | None = None
    products: tuple[ProductUse, ...] = ()
    by_source_share: Mapping[str, float] = field(default_factory=dict)
    disagreements: tuple[Caution, ...] = ()
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True, eq=False)
class Volume:
    """Whole-job volume and rates; None = could not be computed.

    ``by_source`` maps each source that is present to its volume [L]; ``source`` is the one
    used, None when none is given. ``in_gaps_l`` is what went out, by ``source``, during gaps of the log that were not
    bridged; it is not part of ``applied_l``.
    """

    applied_l: float | None = None
    source: str | None = None
    by_source: Mapping[str, float] = dataclass_field(default_factory=dict)
    in_gaps_l: float | None = None
    target_l_ha: float | None = None
    over_swept_l_ha: float | None = None
    over_covered_l_ha: float | None = None
    over_target_area_l_ha: float | None = None
