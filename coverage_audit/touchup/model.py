"""What is planned for a touch-up pass: frozen dataclasses, no algorithms.

Geometry in plane metres, headings in radians clockwise from north. Money has the person's own unit.
Product amounts are in L or kg.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray

LEAVE, SPOT, BOOM = "leave", "spot", "boom"
METHODS = (LEAVE, SPOT, BOOM)
"""In order of preference between options that cost the same: the less is sprayed, the better."""

NO_PLACE, NO_FIT, TOO_BENT, TOO_SHORT, TOO_MUCH = "no place", "no fit", "too bent", "too short", "too much"
"""Why an option cannot be done."""


@dataclass(frozen=True)
class Terms:
    """The settings with every default filled in; ``assumed`` names the keys that were not given.

    ``rate_l_ha`` is the boom's planned rate, ``first_l_ha`` what one visit of the job put down;
    None = not known. ``strengths`` are (name, product in a litre of mix, L or kg). Worth [money/m2], labour [money/s],
    mix [money/L], spot work [m2/s], rates [L/ha], times [s], lengths [m].
    """

    value_m2: float
    labour_s: float
    mix_cost_l: float
    spot_rate_l_ha: float | None
    spot_m2_s: float
    turning_radius_m: float
    reserve_l: float
    reserve_share: float
    speed_m_s: float
    setup_s: float
    rate_l_ha: float | None
    first_l_ha: float | None
    strengths: tuple[tuple[str, float, str], ...] = ()
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Limit:
    """A most that binds a dose. ``per_l``: product in a litre of mix (1 for a limit in mix).

    ``scope`` is "application" (each one), "season" or "mix" (both: all on one spot, added up; the
    last is ``rate.label_max``). ``most`` is in ``unit`` (L or kg) per hectare; ``per_l`` None = the
    product's own rate is not known, so the limit cannot be checked. [L or kg per ha], [L or kg per L]
    """

    name: str
    scope: str
    most: float
    per_l: float | None
    unit: str


@dataclass(frozen=True)
class Excess:
    """A limit that an option breaks: the dose some ground would get, per hectare; None = cannot be told."""

    limit: Limit
    dose: float | None


@dataclass(frozen=True, eq=False)
class DrivenLine:
    """A way along a strip: ``line`` (n, 2) in the direction of travel. [m]"""

    line: FloatArray
    length_m: float


@dataclass(frozen=True)
class Option:
    """One way to deal with one strip.

    ``ways`` are driven one after another, in this order or backwards. ``spray`` is the ground
    sprayed, ``swaths`` that of each way by itself. ``highest_l_ha`` is the most mix any
    ground sprayed again gets in all. ``broken`` are the limits that forbid it; ``why_not`` says why it
    cannot be done at all. ``own_cost`` leaves out the way there and counts the worth of what stays
    uncured. Areas [m2], times [s], ways [m], mix [L], rates [L/ha], costs [money].
    """

    method: str
    possible: bool
    ways: tuple[DrivenLine, ...] = ()
    spray: BaseGeometry | None = None
    swaths: tuple[BaseGeometry, ...] = ()
    sections: tuple[int, ...] = ()
    cured_m2: float = 0.0
    sprayed_m2: float = 0.0
    resprayed_m2: float = 0.0
    highest_l_ha: float | None = None
    time_s: float = 0.0
    distance_m: float = 0.0
    mix_l: float | None = None
    product: tuple[tuple[str, float, str], ...] = ()
    own_cost: float = 0.0
    broken: tuple[Excess, ...] = ()
    why_not: str = ""

    @property
    def allowed(self) -> bool:
        """Whether the figures given allow it."""
        return not self.broken


@dataclass(frozen=True)
class StripPlan:
    """The three options of one strip, in the order of ``METHODS``, and the one advised.

    ``way_cost`` is what the way there adds to the plan with each (inf = it cannot be reached);
    ``pays_above_m`` the mean width from which a boom pass would be advised, None = at none.
    ``considered`` is False for strips beyond the number planned for, ``doubtful``: not surely missed, so not planned
    for; ``sure``: surely missed. Lengths [m], costs and worth [money].
    """

    id: str
    length_m: float
    mean_width_m: float
    worth: float
    options: tuple[Option, Option, Option]
    advice: str
    way_cost: tuple[float, float, float]
    pays_above_m: float | None = None
    considered: bool = True
    doubtful: bool = False
    sure: bool = True

    @property
    def chosen(self) -> Option:
        """The option advised."""
        return self.options[METHODS.index(self.advice)]

    @property
    def boom(self) -> Option:
        """The boom pass."""
        return self.options[METHODS.index(BOOM)]


@dataclass(frozen=True)
class Stop:
    """One treated strip along the way, in order; ``start``/``end`` (x, y) of what is driven. [m]

    ``length_m`` is what is sprayed: the way with the boom, the whole strip with the wand.
    ``sections`` are the open ones, empty with the wand; ``parts``: stretches with the boom on, off between them.
    """

    id: str
    method: str
    start: tuple[float, float]
    end: tuple[float, float]
    length_m: float
    heading_rad: float
    sections: tuple[int, ...]
    parts: int = 1


@dataclass(frozen=True, eq=False)
class Leg:
    """A part of the planned way: ``kind`` is "drive", "back" or "work"; points (n, 2). [m]"""

    kind: str
    points: FloatArray
    strip: str = ""


@dataclass(frozen=True)
class Mix:
    """Mix to prepare; ``prepare_l`` is ``needed_l`` + reserve, rounded up to what can be measured. [L]

    ``product`` are (name, amount, L or kg) in ``prepare_l``.
    """

    needed_l: float
    reserve_l: float
    prepare_l: float
    product: tuple[tuple[str, float, str], ...] = ()


@dataclass(frozen=True)
class Dates:
    """Day of the touch-up and what may be done from when on; None = no interval given.

    ``same_day``: it belongs to the same application as the job. ``rei_days`` before entry. [days]
    """

    on: dt.date
    same_day: bool
    cut: dt.date | None = None
    graze: dt.date | None = None
    planned_cut: dt.date | None = None
    rei_days: float | None = None

    @property
    def too_late(self) -> bool:
        """Whether the earliest cutting date (without an interval: the touch-up itself) lies after the planned one."""
        return self.planned_cut is not None and (self.cut or self.on) > self.planned_cut

    @property
    def fine(self) -> bool | None:
        """Whether the planned cut may stay; None = it is planned, but no interval to cutting is known."""
        unknown = self.planned_cut is not None and self.cut is None and not self.too_late
        return None if unknown else not self.too_late


@dataclass(frozen=True)
class After:
    """The field as the plan would leave it, counted by the audit's own partition. [m2]"""

    missed_m2: float
    double_m2: float
    outside_m2: float
    closure_rel: float


@dataclass(frozen=True)
class TouchupPlan:
    """The recommended plan. Costs are in the person's money; ``net_value`` = worth cured - cost.

    ``exact``: the order and choice are proven the cheapest over the ways known.
    ``start_outside_m`` is how far the start lies from ground that may be driven on. ``assumed_state``: when
    the boom was on is assumed. ``unordered``: strips that may be worth a visit, and were left since no library is
    installed that orders so many. [m], [s], [money]
    """

    strips: tuple[StripPlan, ...]
    stops: tuple[Stop, ...]
    legs: tuple[Leg, ...]
    start: tuple[float, float]
    path_m: float
    time_s: float
    way_cost: float
    cost: float
    leave_cost: float
    net_value: float
    mix: Mix | None
    dates: Dates
    after: After
    terms: Terms
    limits: tuple[Limit, ...]
    exact: bool
    starts_at_entry: bool
    start_outside_m: float
    assumed_state: bool = False
    unordered: int = 0

    @property
    def treated(self) -> tuple[StripPlan, ...]:
        """Strips that are not left."""
        return tuple(one for one in self.strips if one.advice != LEAVE)
