"""The values that pass between the rooms: frozen dataclasses, no algorithms.

Degrees appear only in the ``*_deg`` fields of what was read from files; every other
length is in metres, every time in seconds since 1970-01-01 UTC (``*_s``).
"""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as dataclass_field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from .model_accuracy import Accuracy
    from .model_passes import Assumed, PassResult
    from .model_rate import RateResult
    from .model_settings import JobSettings

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int64]
    BoolArray = NDArray[np.bool_]


# --- what was read from files -----------------------------------------------------------


@dataclass(frozen=True)
class Fixes:
    """Fixes in file order. All arrays have shape (n,).

    ``time_s`` is NaN where the log has no time, ``lat_deg``/``lon_deg`` NaN where it has no
    position; ``quality`` is the NMEA GGA code (-1 not stated, 0 no fix), ``satellites`` -1 and
    ``hdop``/``gst_m`` (horizontal 1-sigma error from GST) NaN where not stated. ``course_deg``
    is clockwise from true north, ``speed_m_s`` over ground; NaN where the log has none.
    ``segment`` numbers the GPX track segments from 0 (always 0 for NMEA).
    """

    time_s: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    course_deg: FloatArray
    speed_m_s: FloatArray
    quality: IntArray
    satellites: IntArray
    hdop: FloatArray
    gst_m: FloatArray
    segment: IntArray

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True)
class SwitchChange:
    """One change of a logged boom switch, placed in time by the reader.

    ``section`` is 0 for the whole boom, else the section's number from 1 at the left.
    """

    time_s: float
    section: int
    on: bool


@dataclass(frozen=True)
class Series:
    """A quantity logged over time (flow [L/min] or pressure [bar]); arrays of shape (n,)."""

    time_s: FloatArray
    value: FloatArray


@dataclass(frozen=True)
class Mark:
    """A GPX waypoint with a time; ``text`` is its name, ``kind`` its type element."""

    time_s: float
    text: str
    kind: str


@dataclass(frozen=True)
class TrackLog:
    """One GPX or NMEA file. ``dropped`` counts, by reason, what the reader could not use.

    ``fixes_read`` (epochs, merged) = len(fixes) + the sum of ``dropped`` except
    ``bad_checksum``, which counts sentences. ``notes`` counts oddities that cost no fix
    (an unreadable optional field, say). ``cautions`` are sentences for the person.
    """

    file: str
    sha256: str
    form: str  # "GPX 1.0", "GPX 1.1" or "NMEA 0183"
    fixes: Fixes
    fixes_read: int
    dropped: Mapping[str, int]
    notes: Mapping[str, int] = dataclass_field(default_factory=dict)
    switch: tuple[SwitchChange, ...] = ()
    has_switch: bool = False
    marks: tuple[Mark, ...] = ()
    flow: Series | None = None
    pressure: Series | None = None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Interval:
    """Spray on from ``on_s`` to ``off_s``; ``sections`` numbers from 1 at the left, () = all.

    ``place`` says where it was read ("boom.csv, line 4").
    """

    on_s: float
    off_s: float
    sections: tuple[int, ...] = ()
    place: str = ""
    assumed: bool = False  # nobody logged or confirmed it


@dataclass(frozen=True)
class NamedArea:
    """A polygon or multipolygon in degrees (x = longitude, y = latitude, WGS 84)."""

    name: str
    geometry: BaseGeometry


# --- the job ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Job:
    """All that was read for one job, ready for :func:`coverage_audit.recipe.audit.audit_job`.

    ``intervals`` is None unless the boom state comes from a CSV file. ``sources`` lists
    (file, sha256) of every input file; ``cautions`` are the readers' sentences.
    """

    settings: JobSettings
    logs: tuple[TrackLog, ...]
    boundary: tuple[NamedArea, ...]
    exclude: tuple[NamedArea, ...] = ()
    intervals: tuple[Interval, ...] | None = None
    sources: tuple[tuple[str, str], ...] = ()
    cautions: tuple[str, ...] = ()


# --- what the stages pass on ----------------------------------------------------------------


@dataclass(frozen=True)
class Strip:
    """A missed strip or a double patch, in plane metres.

    ``line`` is its middle line, ``label_point`` a point on it; ``orientation_deg`` is that of
    the middle line, in [0, 180) clockwise from true north; ``max_visits`` 0 for missed ground.
    """

    id: str
    area_m2: float
    length_m: float
    mean_width_m: float
    max_width_m: float
    orientation_deg: float
    where: str
    polygon: BaseGeometry
    line: BaseGeometry
    label_point: BaseGeometry
    max_visits: int = 0
    probability: float | None = None  # that it is real; None = GPS error was not carried through


@dataclass(frozen=True)
class Areas:
    """The totals of the partition; see the glossary in DEVELOPERS.md. [m2]

    ``perhaps_dry``: unbridged target whose every spray came after a load would have run dry; None = no tank given.
    """

    field: float
    target: float
    covered: float
    missed: float
    missed_slivers: float
    double: float
    double_slivers: float
    double_bridged: float
    by_visits: tuple[float, ...]
    bridged: float
    outside: float
    excluded_sprayed: float
    swept: float
    swept_net: float
    reswept: float
    perhaps_dry: float | None = None

    @property
    def proven(self) -> float:
        """Covered without what rests on bridged gaps or on a tank that may have been empty. [m2]"""
        return self.covered - self.bridged - (self.perhaps_dry or 0.0)


@dataclass(frozen=True)
class Layers:
    """The partition's polygons in plane metres, for maps. Empty geometries where nothing is.

    ``by_visits[k]`` is the target ground with exactly k visits (k = 0 missed).
    ``passes`` are the boom centre's lines while spraying, ``transport`` while not.
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


@dataclass(frozen=True)
class Volume:
    """Whole-job volume and rates; None = could not be computed, ``why`` says why.

    ``by_source`` maps each source that is present to its volume [L]; ``source`` is the one
    used. ``in_gaps_l`` is what went out, by ``source``, during gaps of the log that were not
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
    why: str = ""


@dataclass(frozen=True)
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
class PlaneOrigin:
    """Where the plane (x east, y north, metres, equal-area) touches the ellipsoid. [deg]"""

    lon_deg: float
    lat_deg: float


@dataclass(frozen=True)
class Audit:
    """All that one audit found; writers turn it into papers. Geometry in plane metres."""

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
    cautions: tuple[str, ...]
    rate: RateResult | None = None
    passes: PassResult | None = None
    assumed: Assumed | None = None
    accuracy: Accuracy | None = None
