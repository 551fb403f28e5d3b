"""The job file without its paths: frozen dataclasses, no algorithms. Metres, seconds, litres, bar."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as dataclass_field
from typing import TYPE_CHECKING

from .model_proof import ProofSettings

if TYPE_CHECKING:
    from .model_accuracy import AccuracySettings
    from .model_rate import ProductSettings, TankSettings
    from .model_touchup import TouchupSettings


@dataclass(frozen=True)
class FieldSettings:
    """[field] of the job file; lengths in metres."""

    select: tuple[str, ...] = ()
    setback_m: float = 0.0
    exclude_setback_m: float = 0.0
    grow_m: float = 0.0


@dataclass(frozen=True)
class TrackSettings:
    """[track] of the job file."""

    clock_offset_s: float = 0.0
    max_gap_s: float = 5.0


@dataclass(frozen=True)
class BoomSettings:
    """[boom] of the job file; lengths in metres.

    ``sections_m`` are the section widths from left to right (one entry for a boom without
    sections). ``section_nozzles`` is the number of nozzles per section, or () if unknown.
    ``intervals`` is "csv", "log", "segments", "marks" or "assume". ``antenna_ahead_m`` None =
    not given (taken as 0, with a caution); ``axle_behind_antenna_m`` None = unknown.
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
class JobSettings:
    """The job file without its paths: everything that the computing needs to know."""

    boom: BoomSettings
    name: str = ""
    operator: str = ""
    crop: str = ""
    notes: str = ""
    timezone: str = "UTC"
    timezone_given: bool = False
    field: FieldSettings = dataclass_field(default_factory=FieldSettings)
    track: TrackSettings = dataclass_field(default_factory=TrackSettings)
    rate: RateSettings = dataclass_field(default_factory=RateSettings)
    report: ReportSettings = dataclass_field(default_factory=ReportSettings)
    products: tuple[ProductSettings, ...] = ()
    accuracy: AccuracySettings | None = None
    touchup: TouchupSettings | None = None
    proof: ProofSettings = dataclass_field(default_factory=ProofSettings)
