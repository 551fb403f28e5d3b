"""What a job file says, without its paths: frozen dataclasses, no algorithms. Metres, seconds, litres, bar."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as dataclass_field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt


@dataclass(frozen=True)
class ProofSettings:
    """[proof] of the job file: names and statements typed by the seller; "" = not stated.

    ``hay_leaving_farm``, ``feeding`` and ``manure_compost`` are what the label says of them, in the seller's
    words. ``applicator``, ``certificate`` and ``location`` are fields of an application record.
    ``max_bridged``: share of the target that may rest on bridged gaps of the log.
    """

    field_name: str = ""
    crop_name: str = ""
    hay_leaving_farm: str = ""
    feeding: str = ""
    manure_compost: str = ""
    applicator: str = ""
    certificate: str = ""
    location: str = ""
    max_bridged: float = 0.01


@dataclass(frozen=True)
class RecordSettings:
    """[record] of the job file: what an application record asks for beyond the rest; "" = not stated."""

    type_of_use: str = ""
    eppo_code: str = ""
    bbch: str = ""


HAND, GUIDED, GUIDED_OTHER, UNKNOWN = "hand", "guided", "guided-other", "unknown"
"""How the machine was steered: by eye; by the receiver that logged; by another one; not said."""


@dataclass(frozen=True)
class AccuracySettings:
    """[accuracy] of the job file; None = by the class of each fix.

    ``sigma_m`` and ``noise_m``: standard deviation of the slowly wandering and of the white
    error of one coordinate; ``time_constant_s`` of the wandering part. ``boundary_m``: that of
    one coordinate of the whole boundary. ``replicates`` 0 = say nothing of accuracy. ``asked``:
    the person stated how the job was steered or how good its positions are, so that verdict and
    strips speak accordingly; else the ranges only stand beside what the log shows.
    """

    sigma_m: float | None = None
    time_constant_s: float | None = None
    noise_m: float | None = None
    boundary_m: float = 0.0
    steering: str = UNKNOWN
    replicates: int = 200
    asked: bool = True


@dataclass(frozen=True)
class TankSettings:
    """[rate] tank, loads and refills: ``tank_l`` what the tank holds, ``loads_l`` what was mixed each time.

    ``refills_s`` are the moments at which the second and later loads were in the tank.
    """

    tank_l: float | None = None
    loads_l: tuple[float, ...] = ()
    refills_s: tuple[float, ...] = ()


@dataclass(frozen=True)
class Amount:
    """An amount of product: ``value`` in L or kg, per hectare or per litre of mix (``per``), or alone.

    ``kind`` is "L" or "kg"; ``per`` is "ha", "L" (of mix) or "". ``unit`` and ``size`` are the
    unit it was typed in and how many L or kg (per ha, per L) that is, for showing it again.
    """

    value: float
    kind: str
    per: str
    unit: str
    size: float


@dataclass(frozen=True)
class ProductSettings:
    """One [[product]] of the job file; None = not given. Intervals in days."""

    name: str
    reg_no: str = ""
    rate: Amount | None = None
    max_per_application: Amount | None = None
    max_per_season: Amount | None = None
    phi_days: float | None = None
    grazing_days: float | None = None
    rei_days: float | None = None


@dataclass(frozen=True)
class TouchupSettings:
    """[touchup] of the job file; None = not given, and the default of ``tolerances_touchup`` is taken.

    ``spot_rate_l_ha`` is the mix put down with the wand (default: the boom's rate),
    ``spot_m2_s`` the ground a person does with it; ``entry_deg`` (lat, lon) is where the way starts
    (default: where the field was entered); ``reserve_l`` or ``reserve_share`` is mix made beyond what is needed.
    ``planned_cut`` is that of [job].
    """

    value_m2: float | None = None
    labour_s: float | None = None
    mix_cost_l: float | None = None
    spot_rate_l_ha: float | None = None
    spot_m2_s: float | None = None
    turning_radius_m: float | None = None
    entry_deg: tuple[float, float] | None = None
    reserve_l: float | None = None
    reserve_share: float | None = None
    speed_m_s: float | None = None
    setup_s: float = 0.0
    planned_cut: dt.date | None = None


@dataclass(frozen=True)
class FieldSettings:
    """[field] of the job file; lengths in metres. ``driven``: its edge is to be told from the drive itself."""

    select: tuple[str, ...] = ()
    setback_m: float = 0.0
    exclude_setback_m: float = 0.0
    grow_m: float = 0.0
    driven: bool = False


@dataclass(frozen=True)
class TrackSettings:
    """[track] of the job file; the log was cut to the time from ``from_s`` to ``to_s`` (UTC), None = not cut there."""

    clock_offset_s: float = 0.0
    max_gap_s: float = 5.0
    from_s: float | None = None
    to_s: float | None = None


@dataclass(frozen=True)
class MachineBoom:
    """What the machine itself says of its boom: its name and width, and which keys of [boom] were taken from it."""

    name: str
    width_m: float
    taken: tuple[str, ...] = ()


@dataclass(frozen=True)
class BoomSettings:
    """[boom] of the job file; lengths in metres.

    ``sections_m`` are the section widths from left to right (one entry for a boom without
    sections). ``section_nozzles`` is the number of nozzles per section, or () if unknown.
    ``intervals`` is "csv", "log", "segments", "marks" or "assume". ``antenna_ahead_m`` None =
    not given (taken as 0, with a caution); ``axle_behind_antenna_m`` None = unknown. ``machine``: what the log says.
    """

    sections_m: tuple[float, ...]
    intervals: str
    section_nozzles: tuple[int, ...] = ()
    nozzle_count: int | None = None
    antenna_ahead_m: float | None = None
    antenna_right_m: float = 0.0
    axle_behind_antenna_m: float | None = None
    towed_m: float = 0.0
    towed_axle_m: float = 0.0
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0
    invert_switch: bool = False
    machine: MachineBoom | None = None

    @property
    def width_m(self) -> float:
        """Full boom width. [m]"""
        return sum(self.sections_m)


@dataclass(frozen=True)
class NozzleSettings:
    """[rate] nozzles: flow of each nozzle at one pressure, and the pressure sprayed at."""

    flow_l_min: float
    at_bar: float
    pressure_bar: float | None = None
    count: int | None = None


@dataclass(frozen=True)
class RateSettings:
    """[rate] of the job file; None = not given."""

    target_l_ha: float | None = None
    flow_l_min: float | None = None
    nozzles: NozzleSettings | None = None
    applied_l: float | None = None
    label_max_l_ha: float | None = None
    catch_l_min: tuple[float, ...] = ()
    tank: TankSettings | None = None


@dataclass(frozen=True)
class ReportSettings:
    """[report] of the job file. ``units`` is "metric" or "us"."""

    units: str = "metric"
    min_width_m: float = 0.3


@dataclass(frozen=True)
class FarmUse:
    """What a job took from its farm file.

    ``file`` is the file's name, ``name`` the farm's, ``machine`` and ``products`` the names of the farm's tables
    ("" for a product of the job's own). ``taken``: every key that the farm filled ("boom.width",
    "product[1].phi"), where it stands there ("farm.toml, machine.quad.boom.width"), and its value as typed.
    """

    file: str
    name: str
    machine: str
    products: tuple[str, ...]
    taken: tuple[tuple[str, str, str], ...]

    @property
    def places(self) -> dict[str, str]:
        """Where each key that the farm filled stands."""
        return {key: place for key, place, _ in self.taken}


@dataclass(frozen=True)
class JobSettings:
    """The job file without its paths: everything that the computing needs to know."""

    boom: BoomSettings
    name: str = ""
    operator: str = ""
    crop: str = ""
    notes: str = ""
    timezone: str = "UTC"
    timezone_given: bool = False
    date_given: bool = False
    field: FieldSettings = dataclass_field(default_factory=FieldSettings)
    track: TrackSettings = dataclass_field(default_factory=TrackSettings)
    rate: RateSettings = dataclass_field(default_factory=RateSettings)
    report: ReportSettings = dataclass_field(default_factory=ReportSettings)
    products: tuple[ProductSettings, ...] = ()
    accuracy: AccuracySettings | None = None
    touchup: TouchupSettings | None = None
    proof: ProofSettings = dataclass_field(default_factory=ProofSettings)
    record: RecordSettings = dataclass_field(default_factory=RecordSettings)
    farm: FarmUse | None = None
