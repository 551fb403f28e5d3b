"""What was recognised in the driven path: passes, steering, causes, assumed boom state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray

HEADLAND, STRAIGHT, TURN, TRANSPORT, STANDING = "headland", "straight", "turn", "transport", "standing"
REVERSING, GAP = "reversing", "gap"
KINDS = (HEADLAND, STRAIGHT, TURN, TRANSPORT, STANDING, REVERSING, GAP)
"""Kinds of a second of the drive: each is of one. "gap": the log says nothing of it."""


LEG, TAIL, AMID, BACK = "leg", "tail", "amid", "back"
"""Parts of a drive whose boom state was assumed, beside turns: the body of a leg, its tail over ground done by others,
such ground amid it, backing up."""


@dataclass(frozen=True, eq=False)
class Fixed:
    """The boom centre's place at every used fix. Arrays of shape (n,).

    ``noise_m`` is the white noise of one coordinate of the fixes themselves; ``on`` whether
    any section sprayed at each fix, None when nothing was logged. Times [s since 1970 UTC], places [m].
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    noise_m: float
    on: BoolArray | None


@dataclass(frozen=True)
class Span:
    """A part of the driven path of one kind, before it is numbered.

    ``block`` counts groups of neighbouring passes from 1 (0: none); ``direction_deg`` is that of
    its AB line in [0, 180) clockwise from true north, None where it has none; ``lap`` numbers the laps
    of the headland from 1 (0: none), whose sides may be spans of their own. Times [s since 1970 UTC], [deg].
    """

    kind: str
    start_s: float
    end_s: float
    block: int = 0
    direction_deg: float | None = None
    lap: int = 0


@dataclass(frozen=True)
class Deviation:
    """Cross-track deviation of a pass from its own best line. [m]

    Positive is to the right of travel. ``p95`` is the 95th percentile of the absolute value;
    ``rms`` and ``sd`` hold what is left when the white noise of single fixes is taken off,
    ``rms_logged`` what the fixes show. ``reference`` is the best line itself.
    """

    mean_m: float
    sd_m: float
    rms_m: float
    p95_m: float
    rms_logged_m: float
    reference: BaseGeometry


@dataclass(frozen=True, eq=False)
class Spacing:
    """Perpendicular distance from one pass to the neighbour driven before it.

    ``at_m`` (k,) are distances along the pass, ``distance_m`` (k,) the spacing there and
    ``apart_s`` (k,) how long before the neighbour was there. ``scatter_m`` is the standard
    deviation that the white noise of single fixes adds to each value. [m], [s]
    """

    number: int
    neighbour: int
    at_m: FloatArray
    distance_m: FloatArray
    apart_s: FloatArray
    scatter_m: float


@dataclass(frozen=True)
class LapPiece:
    """A piece of a headland lap about as long as a pass, with the ground nearest to it. [m], [m2], [s]"""

    start_s: float
    length_m: float
    missed_m2: float
    double_m2: float
    outside_m2: float


@dataclass(frozen=True)
class Pass:
    """One entry of the job's diary, in plane metres.

    Headland laps and straight passes are numbered from 1 in driving order; turns, transport, standing, reversing and
    gaps of the log carry the numbers after those. ``lap``: which lap of the headland it is (a part of). ``time_s``:
    seconds of its kind: without standing, reversing and gaps, which are entries of their own. ``heading_deg`` is the
    mean direction of travel clockwise from true north, None for what turns by more than ``LAP_TURN_DEG``.
    ``length_m`` is along the path without the scatter of standing. ``left`` and ``right`` are the neighbouring
    passes, looking along the AB line (0: none). ``on_late_m``/``off_early_m``: how far the boom
    went on, unsprayed, after its first part had crossed the headland's edge, and how far before its
    last part crossed it it was off (negative: on too early, off too late); None where it was not
    switched at the ends of the pass. ``missed_m2`` and so on: ground nearer to this pass than to others.
    Lengths [m], times [s], speeds [m/s], directions [deg], areas [m2].
    """

    n: int
    kind: str
    start_s: float
    end_s: float
    length_m: float
    heading_deg: float | None
    mean_speed_m_s: float | None
    line: BaseGeometry
    time_s: float
    block: int = 0
    lap: int = 0
    left: int = 0
    right: int = 0
    curved: bool = False
    on_s: float | None = None
    on_m: float | None = None
    deviation: Deviation | None = None
    spacing_mean_m: float | None = None
    spacing_sd_m: float | None = None
    on_late_m: float | None = None
    off_early_m: float | None = None
    missed_m2: float = 0.0
    double_m2: float = 0.0
    outside_m2: float = 0.0
    pieces: tuple[LapPiece, ...] = ()


@dataclass(frozen=True)
class Steering:
    """How the job was steered; None = could not be computed. [m], [deg]

    ``ab_heading_deg``: each AB direction found, in [0, 180) from true north, the longest first.
    Cross-track: deviation from each pass's own best line, all passes together. Spacing: to the
    neighbour driven before, all places together. ``pass_to_pass_sd_m`` is the spacing's standard
    deviation where both passes were driven within 15 minutes; ``long_term_sd_m`` where more than
    an hour lay between. ``drift_m_h``: change of the mean spacing per hour of work.
    """

    ab_heading_deg: tuple[float, ...]
    cross_track_rms_m: float | None
    cross_track_mean_m: float | None
    cross_track_sd_m: float | None
    cross_track_p95_m: float | None
    cross_track_rms_logged_m: float | None
    spacing_mean_m: float | None
    spacing_sd_m: float | None
    spacing_sd_logged_m: float | None
    pass_to_pass_sd_m: float | None
    long_term_sd_m: float | None
    drift_m_h: float | None
    noise_m: float


REMEMBERED_OFF = "remembered off"
"""Kind of a cause: driven over while somebody remembers the boom to be off, where nobody logged it."""


@dataclass(frozen=True)
class Cause:
    """Where a missed strip or a double patch lies, and what made it.

    ``kind``: "spacing" (too wide), "overlap" (too narrow), "late on", "early off", "on early",
    "off late", "slanted end", "boom off" (amid a pass, or all along it), "boom off across" (several passes),
    "section off", "gap" (no positions), "assumed off" (nobody logged the boom), "remembered off", "crossing",
    "no-spray area" and "field edge" (it lies along one), "beside". ``where`` is one of "between passes",
    "headland", "field edge", "no-spray area", "late on", "early off". ``passes`` are the passes'
    numbers, none where none is near;
    ``amount_m`` how much too wide, too narrow, late or early; ``length_m`` how long; ``time_s`` when the
    last of the passes was there, None without passes. [m], [s since 1970 UTC]
    """

    kind: str
    where: str
    passes: tuple[int, ...]
    amount_m: float
    length_m: float
    time_s: float | None


@dataclass(frozen=True, eq=False)
class PassResult:
    """The diary of the job in driving order, its steering, and the cause of each finding by id.

    ``gaps`` are places where a pass was left out, ground that nothing was ever driven over: the numbers of the
    passes beside it (one or two) and how far apart these are [m], None beside one alone.
    """

    passes: tuple[Pass, ...]
    steering: Steering
    causes: Mapping[str, Cause]
    spacings: tuple[Spacing, ...]
    gaps: tuple[tuple[tuple[int, ...], float | None], ...] = ()

    def time_by_kind_s(self) -> dict[str, float]:
        """Seconds of each kind; together they are the drive from its first fix to its last. [s]"""
        return {kind: sum(one.time_s for one in self.passes if one.kind == kind) for kind in KINDS}


@dataclass(frozen=True)
class Range:
    """Least and greatest value of an area in nine of ten boom states that may have been. [m2]"""

    low: float
    high: float


@dataclass(frozen=True)
class AssumedPart:
    """A part of the drive with the chance that the boom was on in it; ``kind``: leg, tail, amid, turn or back."""

    start_s: float
    end_s: float
    kind: str
    chance: float


@dataclass(frozen=True, eq=False)
class Assumed:
    """What rests on an assumed boom state: [s since 1970 UTC], [m].

    ``on_off_s`` (k, 2) are the proposed on-times; ``ranges`` maps the name of an area to its range over ``draws``
    boom states that may have been. ``parts``: what was told on or off, and how likely; empty when a person's list
    was taken. ``unsure_s``: seconds of those that may have been either. ``weighed``: the volume used had a say;
    ``with_receiver``: the receiver's error is in the ranges.
    ``mean_overlap_m`` is boom width less mean spacing; ``error_m`` the usual pass-to-pass error of such
    positions, so that skips narrower than ``narrowest_m`` cannot be told from it.
    """

    on_off_s: FloatArray
    ranges: Mapping[str, Range | tuple[Range, ...]]
    draws: int
    parts: tuple[AssumedPart, ...]
    unsure_s: float
    weighed: bool
    with_receiver: bool
    mean_overlap_m: float | None
    error_m: float
    narrowest_m: float
