"""What a season's ledger holds: frozen dataclasses of plain values, no algorithms.

Areas [m2], amounts of product [L or kg], places in degrees (WGS 84), days as ISO dates. None: cannot be told.
"""

from __future__ import annotations

import pickle
import zlib
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from typing import TYPE_CHECKING

from coverage_audit.jobs.job import product_key

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping


@dataclass(frozen=True)
class ProductRow:
    """One product in one job. ``unit`` is "L" or "kg", ``per_l`` [L or kg a litre of mix], the others per hectare."""

    name: str
    reg_no: str
    unit: str | None
    per_l: float | None
    used: float | None
    most_per_ha: float | None
    max_per_season: float | None
    phi_days: float | None
    grazing_days: float | None

    @property
    def key(self) -> str:
        """The same product by whichever letters it was typed in."""
        return product_key(self.name)


@dataclass(frozen=True)
class CauseRow:
    """Missed strips of one cause: how many, and their area. [m2]"""

    kind: str
    strips: int
    area_m2: float


@dataclass(frozen=True)
class JobRow:
    """One audited job as the ledger lists it.

    ``job`` is its folder from the farm's ("jobs/..."). ``start``, ``end`` are UTC, ``first_day``, ``last_day`` local
    dates. ``area_m2`` holds the areas of ``summary.json`` by name. ``laid_l`` is what lies on the ground by the rate
    surface [L]. ``box_deg`` is (west, south, east, north) of the field. ``part``: other machines did the rest of the
    field, and its target is what they left to it.
    """

    job: str
    name: str
    fields: tuple[str, ...]
    machine: str
    start: str
    end: str
    first_day: str
    last_day: str
    units: str
    assumed: bool
    area_m2: Mapping[str, float | None]
    applied_l: float | None
    laid_l: float | None
    over_covered_l_ha: float | None
    target_l_ha: float | None
    products: tuple[ProductRow, ...]
    box_deg: tuple[float, float, float, float]
    part: bool = False

    @property
    def field(self) -> str:
        """Name of the field, or of the fields that were sprayed as one."""
        return " and ".join(name for name in self.fields if name)


@dataclass(frozen=True)
class FailedJob:
    """A job that could not be audited, and why, in one line. ``kind`` says what sort of failure it was."""

    job: str
    kind: str
    reason: str


@dataclass(frozen=True)
class AbovePlace:
    """Connected ground that got more than the label's most per season. Area [m2], dose per hectare."""

    area_m2: float
    most_per_ha: float
    lat: float
    lon: float
    jobs: tuple[str, ...]


@dataclass(frozen=True)
class ProductSeason:
    """A product on one field over the season; amounts per hectare are of ``unit``.

    ``most_per_ha`` is the dose at the spot that got most, ``above_m2`` the ground above ``max_per_season``. Where
    ``unknown`` names jobs whose rate on the ground nobody knows, both are None, and ``at_least_per_ha`` is what the
    others alone add up to. ``closing``: amount in the grid over what the jobs put on the ground. [1]
    """

    name: str
    reg_no: str
    unit: str | None
    jobs: tuple[str, ...]
    used: float | None
    most_per_ha: float | None
    at_least_per_ha: float | None
    max_per_season: float | None
    above_m2: float | None
    places: tuple[AbovePlace, ...] = ()
    unknown: tuple[str, ...] = ()
    closing: float | None = None
    assumed: bool = False


@dataclass(frozen=True)
class Mended:
    """A missed strip that another job sprayed, wholly or in part. [m2]

    ``together``: by another machine in the same treatment, so that it was no skip; else by a later touch-up.
    """

    job: str
    strip: str
    by: str
    area_m2: float
    mended_m2: float
    together: bool = False


@dataclass(frozen=True)
class Treatment:
    """Jobs of several machines on one field on one day, as one: areas of their common ground. [m2]"""

    jobs: tuple[str, ...]
    area_m2: Mapping[str, float]


@dataclass(frozen=True)
class StripRow:
    """A missed strip of one job, as the audit told it; ``wkb`` is its ground in degrees. [m], [m2]

    ``mended_m2`` of it a later job sprayed, ``shared_m2`` another machine in the same treatment; ``told_m2`` an earlier
    job of that treatment missed too, and tells.
    """

    job: str
    strip: str
    area_m2: float
    mended_m2: float
    shared_m2: float
    told_m2: float
    length_m: float
    mean_width_m: float
    max_width_m: float
    where: str
    cause: str
    wkb: bytes = dataclass_field(repr=False)


@dataclass(frozen=True, eq=False)
class PackedStrips:
    """Strips of one field as bytes, in which they travel between processes and take less memory.

    Tens of thousands of a season wait for its ledger, which looks at one field at a time.
    """

    packed: bytes = dataclass_field(repr=False)

    @classmethod
    def of(cls, strips: Iterable[StripRow]) -> PackedStrips:
        """The *strips*, packed."""
        return cls(zlib.compress(pickle.dumps(tuple(strips))))

    def __iter__(self) -> Iterator[StripRow]:
        yield from pickle.loads(zlib.decompress(self.packed))  # noqa: S301 - packed by this program, in this run


def told_by_cause(area_m2: float, elsewhere_m2: float) -> bool:
    """Whether a strip is one of its own job: no more than half of it other machines of the treatment took or tell."""
    return area_m2 - elsewhere_m2 > area_m2 / 2


@dataclass(frozen=True)
class FieldLedger:
    """One field over the season.

    ``earliest_cut`` and ``earliest_grazing`` hold for all jobs together; ``without_phi`` and ``without_grazing`` name
    products for which no interval was given, so that a day may be too early for them. ``without_product`` names jobs
    that say of no product. ``touchups`` are jobs that mended others. ``outlines`` are the field as each job has it,
    ``shapes`` what the map draws, in order: "field", "missed" (still so) and "above". Ground is well-known binary
    (OGC 06-103r4) in degrees, as it has to travel.
    """

    field: str
    jobs: tuple[JobRow, ...]
    products: tuple[ProductSeason, ...]
    earliest_cut: str | None
    earliest_grazing: str | None
    without_phi: tuple[str, ...]
    without_grazing: tuple[str, ...]
    without_product: tuple[str, ...]
    mended: tuple[Mended, ...]
    touchups: tuple[str, ...]
    treatments: tuple[Treatment, ...] = ()
    strips: Iterable[StripRow] = ()
    outlines: tuple[bytes, ...] = dataclass_field(default=(), repr=False)
    shapes: tuple[tuple[str, bytes], ...] = dataclass_field(default=(), repr=False)

    def mended_m2(self, job: str, *, together: bool = False) -> float:
        """What *job* missed and a later one sprayed, or with *together* another machine of its treatment. [m2]"""
        return sum(one.mended_m2 for one in self.mended if one.job == job and one.together == together)

    def causes(self, job: str) -> tuple[CauseRow, ...]:
        """What *job* missed in listed strips, by cause, and no other machine took or tells; none of a touch-up."""
        found: dict[str, tuple[int, float]] = {}
        for strip in self.strips if job not in self.touchups else ():
            elsewhere = strip.shared_m2 + strip.told_m2
            if strip.job == job and told_by_cause(strip.area_m2, elsewhere):
                count, area = found.get(strip.cause, (0, 0.0))
                found[strip.cause] = (count + 1, area + strip.area_m2 - elsewhere)
        return tuple(CauseRow(kind, count, area) for kind, (count, area) in sorted(found.items()))


@dataclass(frozen=True)
class Ledger:
    """A season of one farm; ``fields`` and ``failed`` in order of their names."""

    farm: str
    season: str
    units: str
    fields: tuple[FieldLedger, ...]
    failed: tuple[FailedJob, ...]

    @property
    def jobs(self) -> tuple[JobRow, ...]:
        """Every audited job, in order of its folder."""
        return tuple(sorted((job for one in self.fields for job in one.jobs), key=lambda job: job.job))
