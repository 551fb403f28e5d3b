"""How the machine moved: frozen dataclasses, no algorithms.

All lengths are in metres in the local plane (x east, y north), times in seconds since
1970-01-01 UTC, headings in radians clockwise from north.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class PlaneOrigin:
    """Where the plane (x east, y north, metres, equal-area) touches the ellipsoid. [deg]"""

    lon_deg: float
    lat_deg: float


@dataclass(frozen=True, eq=False)
class Track:
    """Used fixes in time order, in plane metres. Arrays of shape (n,).

    ``course_rad`` (clockwise from north) and ``speed_m_s`` are the receiver's own, NaN where
    not logged; ``gap_after[i]``: the step from fix i to i + 1 is a gap of the log (last False).
    ``segment`` and ``file`` number the GPX segments and the files. ``gst_m``: the receiver's own estimate of
    its horizontal error. Times [s since 1970 UTC], places and ``gst_m`` [m], ``hdop`` [1]. ``noted_on_s`` (k, 2): when
    the boom was on, as somebody or something noted it; None where nobody did.
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    course_rad: FloatArray
    speed_m_s: FloatArray
    quality: IntArray
    hdop: FloatArray
    gst_m: FloatArray
    segment: IntArray
    file: IntArray
    gap_after: BoolArray
    median_step_s: float
    noted_on_s: FloatArray | None = None


@dataclass(frozen=True, eq=False)
class Motion:
    """Knots of the antenna's path, in time order: [s since 1970 UTC], [m], [m/s], [rad]. Arrays of shape (n,).

    ``heading_rad`` is where the vehicle points, clockwise from north, unwrapped;
    ``vx_m_s``/``vy_m_s`` the velocity over ground; ``gap_after`` as in the track;
    ``reverse`` is True where the vehicle backs up; ``noise_m`` is the white noise of one
    coordinate as estimated from the fixes (NaN when they are too sparse to tell); ``fixes`` is how
    many fixes the knots were made from, None when there is a knot for each. ``unsure_s``: begin and end of each time in
    which the log does not tell which ways were driven in reverse.
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    vx_m_s: FloatArray
    vy_m_s: FloatArray
    heading_rad: FloatArray
    reverse: BoolArray
    gap_after: BoolArray
    noise_m: float
    fixes: int | None = None
    unsure_s: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, eq=False)
class Timeline:
    """Slots of constant boom state, in time order, without slots in which all is off.

    ``start_s``/``end_s`` (m,); ``on`` (m, sections): which sections spray; ``stretch`` (m,)
    numbers the stretches: slots that touch belong to one. Times [s since 1970 UTC].
    """

    start_s: FloatArray
    end_s: FloatArray
    on: BoolArray
    stretch: IntArray


@dataclass(frozen=True, eq=False)
class BoomPath:
    """The boom's centre along the job, straight between points: [s since 1970 UTC], [m], [rad]. Arrays of shape (n,).

    ``heading_rad`` is square to the boom, clockwise from north; ``travel_m`` the distance its
    centre has covered since the first fix; ``gap_after``/``bridged_after``: the step to the
    next point crosses a gap of the log (not bridged / bridged). ``reverse``: backing up.
    ``fixes``: how many fixes the path was made from, None when there is a point for each.
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    heading_rad: FloatArray
    travel_m: FloatArray
    gap_after: BoolArray
    bridged_after: BoolArray
    reverse: BoolArray
    fixes: int | None = None


@dataclass(frozen=True)
class Recall:
    """What a person remembers, as a time of the drive with the boom *on* or off: [s since 1970 UTC].

    ``place`` is where it was written, ``said`` its start as typed ("" where that is a whole moment). Nine in ten such
    memories are right to within ``start_within_s`` and ``end_within_s``; ``tied``: the end goes with the start, and it
    lasted ``length_m`` where a distance was remembered. ``changed_s``: for how long that differs from what it is laid
    over.
    """

    place: str
    said: str
    on: bool
    start_s: float
    end_s: float
    start_within_s: float
    end_within_s: float
    tied: bool = False
    length_m: float | None = None
    changed_s: float | None = None
