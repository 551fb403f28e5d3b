"""What was read from files: frozen dataclasses, no algorithms.

Degrees appear only in the ``*_deg`` fields; times are seconds since 1970-01-01 UTC (``*_s``).
"""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as dataclass_field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray, IntArray
    from coverage_audit.facts import Caution


@dataclass(frozen=True, eq=False)
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


@dataclass(frozen=True, eq=False)
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
class Machine:
    """The boom as the machine itself describes it: section widths from left to right [m], and where the antenna is.

    ``antenna_ahead_m`` and ``antenna_right_m`` are counted from the boom's middle; None where it is not stated.
    """

    name: str
    sections_m: tuple[float, ...]
    antenna_ahead_m: float | None = None
    antenna_right_m: float | None = None


@dataclass(frozen=True)
class Task:
    """What a terminal says of the task that it logged; "" and () where it says nothing."""

    name: str = ""
    operator: str = ""
    products: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class TrackLog:
    """One track log. ``dropped`` counts, by reason, what the reader could not use.

    ``fixes_read`` (epochs, merged) = len(fixes) + the sum of ``dropped`` except
    ``bad_checksum``, which counts sentences. ``notes`` counts oddities that cost no fix
    (an unreadable optional field, say). ``cautions`` are for the person, as facts.
    ``form`` is its name on paper. ``times_of_day``: its fixes state a time of day, whose date was found by
    counting midnights. ``no_switch`` says why a log that has a boom state cannot tell it. ``machine`` and ``task`` are
    what it says of the boom and the work, None where it says nothing. ``beside`` lists (file, sha256) of what else was
    read with it.
    """

    file: str
    sha256: str
    form: str
    fixes: Fixes
    fixes_read: int
    dropped: Mapping[str, int]
    notes: Mapping[str, int] = dataclass_field(default_factory=dict)
    switch: tuple[SwitchChange, ...] = ()
    has_switch: bool = False
    marks: tuple[Mark, ...] = ()
    flow: Series | None = None
    pressure: Series | None = None
    times_of_day: bool = False
    cautions: tuple[Caution, ...] = ()
    no_switch: str = ""
    machine: Machine | None = None
    task: Task | None = None
    beside: tuple[tuple[str, str], ...] = ()


LOGGED, MARKED, REMEMBERED, PROPOSED = "logged", "marked", "remembered", "proposed"
"""Where the moments of an on-time came from: an instrument, a person while driving, one afterwards, the program."""


@dataclass(frozen=True)
class Interval:
    """Spray on from ``on_s`` to ``off_s``; ``sections`` numbers from 1 at the left, () = all.

    ``place`` says where it was read ("boom.csv, line 4"), ``how`` where its moments came from; of remembered ones nine
    in ten are right to within ``within_s`` (None: not said).
    """

    on_s: float
    off_s: float
    sections: tuple[int, ...] = ()
    place: str = ""
    how: str = LOGGED
    within_s: float | None = None


@dataclass(frozen=True)
class NamedArea:
    """A polygon or multipolygon in degrees (x = longitude, y = latitude, WGS 84)."""

    name: str
    geometry: BaseGeometry
