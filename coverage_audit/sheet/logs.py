"""What the logs of a job show before anything is audited: the drive, its gaps, and what they can tell at all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.jobs.cut import cut_log, cut_span
from coverage_audit.jobs.keys import TABLES
from coverage_audit.jobs.places import Places
from coverage_audit.read.packed import Memory, Zip
from coverage_audit.read.tracks.form import Asked
from coverage_audit.read.tracks.registry import logs_of
from coverage_audit.recipe.tolerances import ASSUMED_ERROR_ELSE_M, ASSUMED_ERROR_M

from .tolerances import DRAWN_WAY_M, MAX_GAP_S, RTK_CODES, SKETCH_M

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.arrays import FloatArray
    from coverage_audit.read.records import TrackLog
    from coverage_audit.read.source import InputFile

LOG, SEGMENTS, MARKS = "log", "segments", "marks"
RECEIVERS = ("fixed", "corrected", "plain", "unknown")


@dataclass(frozen=True, eq=False)
class DriveFacts:
    """The drive as logged. ``ways``: arrays (n, 3) of x [m], y [m] and time [s since 1970 UTC], cut at gaps.

    ``gaps``: (start, end) [s] and how far the machine had moved [m]. ``sources``: where the log itself says when
    the boom was on, in the words of ``boom.intervals``. ``receiver``: one of ``RECEIVERS``; it cannot tell skips
    narrower than ``narrowest_m`` from its own error.
    """

    origin: PlaneOrigin
    ways: tuple[FloatArray, ...]
    start_s: float
    end_s: float
    length_m: float
    step_s: float
    fixes: int
    gaps: tuple[tuple[float, float, float], ...]
    sources: tuple[str, ...]
    receiver: str
    narrowest_m: float

    @property
    def extent_m(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x, greatest y of the drive. [m]"""
        xy = np.concatenate([way[:, :2] for way in self.ways])
        return (*xy.min(axis=0).tolist(), *xy.max(axis=0).tolist())


def unpacked(file: InputFile) -> list[InputFile]:
    """Take a zip file apart; any other file is itself.

    Raises
    ------
    InputError
        The zip file is damaged, too large, or holds what leads elsewhere.
    """
    if not file.data.startswith(b"PK\x03\x04"):
        return [file]
    packed = Zip(file.data, file.name)
    return [packed.read(name) for name in packed.names if packed.size(name)]


def logs_in(file: InputFile) -> tuple[TrackLog, ...]:
    """Every log that a file holds: one, or those of a zip file.

    Raises
    ------
    InputError
        Of no form that is read, damaged, or without a usable fix.
    """
    return tuple(logs_of(Memory({file.name: file.data}), file.name, Asked()))


def within(logs: tuple[TrackLog, ...], track: Mapping[str, Any], timezone: str) -> tuple[TrackLog, ...]:
    """*logs* cut to ``track.from`` and ``track.to`` of a job file, where it has them.

    Raises
    ------
    InputError
        Times that are none, or nothing logged between them.
    """
    checked = {key: TABLES["track"].keys[key](track[key], f"track.{key}") for key in ("from", "to") if key in track}
    if not checked:
        return logs
    span = cut_span({"track": checked, "job": {"timezone": timezone}}, logs, Places(""))
    return tuple(cut_log(log, span, 0.0, "track.from") for log in logs)


def drive_facts(logs: tuple[TrackLog, ...]) -> DriveFacts:
    """Tell what *logs* show together.

    Raises
    ------
    InputError
        No fix is left that has a time and a place.
    """
    lon = np.concatenate([log.fixes.lon_deg for log in logs])
    lat = np.concatenate([log.fixes.lat_deg for log in logs])
    known = np.isfinite(lon) & np.isfinite(lat)
    if not known.any():
        raise InputError("no usable fix is left in the log", logs[0].file)
    origin = PlaneOrigin(float(np.median(lon[known])), float(np.median(lat[known])))
    track, _ = clean_track(logs, Plane(origin).to_metres, 0.0, MAX_GAP_S)
    points = np.column_stack([track.x_m, track.y_m, track.time_s])
    cut = np.flatnonzero(track.gap_after) + 1
    moved = np.hypot(np.diff(track.x_m), np.diff(track.y_m))
    gaps = np.flatnonzero(track.gap_after[:-1])
    receiver, error_m = _receiver(logs)
    return DriveFacts(
        origin=origin,
        ways=tuple(thinned(way) for way in np.split(points, cut) if len(way) > 1),
        start_s=float(track.time_s[0]),
        end_s=float(track.time_s[-1]),
        length_m=float(moved[~track.gap_after[:-1]].sum()),
        step_s=float(track.median_step_s),
        fixes=len(track.time_s),
        gaps=tuple((float(track.time_s[k]), float(track.time_s[k + 1]), float(moved[k])) for k in gaps),
        sources=_sources(logs),
        receiver=receiver,
        narrowest_m=2 * error_m,
    )


def thinned(way: FloatArray) -> FloatArray:
    """Points of a way (n, 3) without those that a drawing does not need."""
    if len(way) < 3:
        return way
    # the time is carried as the third coordinate, which simplifying keeps and does not look at
    return np.asarray(shapely.get_coordinates(shapely.simplify(shapely.LineString(way), DRAWN_WAY_M), include_z=True))


def simple_way(way: FloatArray) -> list[list[float]]:
    """Corners of a way for a picture of the size of a thumb, to the decimetre. [m]"""
    simple = shapely.get_coordinates(shapely.simplify(shapely.LineString(way[:, :2]), SKETCH_M))
    return np.round(simple, 1).tolist()


def plane_origin(lon_deg: float, lat_deg: float) -> PlaneOrigin:
    """Middle of a plane."""
    return PlaneOrigin(lon_deg, lat_deg)


def _sources(logs: Sequence[TrackLog]) -> tuple[str, ...]:
    found = []
    if any(log.has_switch for log in logs):
        found.append(LOG)
    if any("boom" in f"{mark.text} {mark.kind}".casefold() for log in logs for mark in log.marks):
        found.append(MARKS)
    if any(len(np.unique(log.fixes.segment)) > 1 for log in logs):
        found.append(SEGMENTS)
    return tuple(found)


def _receiver(logs: Sequence[TrackLog]) -> tuple[str, float]:
    """How good the fixes say they are, and the usual pass-to-pass error of such fixes. [m]

    Codes of NMEA 0183 GGA: 4 RTK, 5 RTK float, 2 corrected, 1 not.
    """
    codes, counts = np.unique(np.concatenate([log.fixes.quality for log in logs]), return_counts=True)
    usual = int(codes[np.argmax(counts)])
    word = {**dict.fromkeys(RTK_CODES, "fixed"), 2: "corrected", 5: "corrected", 1: "plain"}.get(usual, "unknown")
    return word, ASSUMED_ERROR_M.get(usual, ASSUMED_ERROR_ELSE_M)
