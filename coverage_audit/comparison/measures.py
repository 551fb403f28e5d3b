"""The measures of a comparison: of the whole job, and pass by pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.recipe.tolerances import MUCH_OUTSIDE

from .statistics import Series, block_length, pass_step_s

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from coverage_audit.arrays import FloatArray
    from coverage_audit.read.result_record import JobRecord


MIN_ROWS = 2
"""Fewer passes have no spread. [1]"""


@dataclass(frozen=True)
class Measure:
    """A measure of the comparison: its key, the unit it is told in, and how it is found.

    ``total`` gives the whole job's figure, ``series`` the figure by pass; either may be None.
    """

    key: str
    unit: str
    total: Callable[[JobRecord], float | None]
    series: Callable[[JobRecord], Series | None]


def _area(job: JobRecord, name: str) -> float | None:
    value = job.summary["area_m2"].get(name)
    return None if value is None else float(value)


def _share(name: str) -> Callable[[JobRecord], float | None]:
    """Area as a share of the target."""

    def total(job: JobRecord) -> float | None:
        value, target = _area(job, name), _area(job, "target")
        return None if value is None or not target else value / target

    return total


def _starts(passes: list[Mapping[str, Any]]) -> FloatArray:
    return np.array([np.datetime64(one["start"].rstrip("Z"), "ms").astype(np.int64) / 1e3 for one in passes])


def _drawn(starts_s: FloatArray) -> tuple[int, float]:
    """How many neighbouring passes are drawn together, and their usual distance in time [s]."""
    return block_length(starts_s), pass_step_s(starts_s)


def _by_pass(part: str) -> Callable[[JobRecord], Series | None]:
    """Ground of each pass, and of each piece of a headland lap, over the ground that it sprayed."""

    def series(job: JobRecord) -> Series | None:
        width = job.width_m
        if not width:
            return None
        rows = [(one, float(one["on_m"] or 0.0)) for one in job.straight]
        rows += [(piece, float(piece["length_m"])) for one in job.passes for piece in one.get("pieces", ())]
        rows = sorted((row for row in rows if row[1] > 0), key=lambda row: str(row[0]["start"]))
        if len(rows) < MIN_ROWS:
            return None
        values = np.array([float(one[part]) for one, _ in rows])
        whole = width * np.array([length for _, length in rows])
        return Series(values, whole, *_drawn(_starts([one for one, _ in rows])))

    return series


def _spread(job: JobRecord, name: str) -> float | None:
    steering = job.summary.get("steering") or {}
    value = steering.get(name)
    return None if value is None else float(value)


def _cross_track(job: JobRecord) -> Series | None:
    passes = [one for one in job.straight if one.get("cross_track_m")]
    if len(passes) < 2:
        return None
    length = np.array([float(one["on_m"] or one["length_m"]) for one in passes])
    square = np.array([float(one["cross_track_m"]["rms"]) ** 2 for one in passes])
    return Series(square * length, length, *_drawn(_starts(passes)), square=True)


def _spacing_error(job: JobRecord) -> Series | None:
    """Spacing about the boom width: mean and spread of each pass together."""
    passes = [one for one in job.straight if one.get("spacing_mean_m") is not None]
    width = job.width_m
    if len(passes) < 2 or not width:
        return None
    length = np.array([float(one["on_m"] or one["length_m"]) for one in passes])
    square = np.array([(one["spacing_mean_m"] - width) ** 2 + (one["spacing_sd_m"] or 0.0) ** 2 for one in passes])
    return Series(square * length, length, *_drawn(_starts(passes)), square=True)


def _spacing_total(job: JobRecord) -> float | None:
    series = _spacing_error(job)
    return None if series is None else series.value()


def _hours_per_ha(job: JobRecord) -> float | None:
    target, times = _area(job, "target"), job.summary["time_s"]
    if not target:
        return None
    return float(times["on"] + times["off"] + times["gap"]) / 3600 / (target / 10_000)


def _cycle(job: JobRecord) -> Series | None:
    """Time from the start of each pass to the start of the next, over the ground it sprayed [h/ha]."""
    passes, width = job.straight, job.width_m
    if len(passes) < 3 or not width:
        return None
    starts = _starts(passes)
    ground = np.array([width * (one["on_m"] or 0.0) for one in passes])[:-1]
    used = ground > 0
    return Series(np.diff(starts)[used] / 3600, ground[used] / 10_000, *_drawn(starts))


def _efficiency(job: JobRecord) -> float | None:
    times = job.summary["time_s"]
    total = times["on"] + times["off"] + times["gap"]
    return float(times["on"]) / total if total else None


def _working(job: JobRecord) -> Series | None:
    passes = job.straight
    if len(passes) < 3:
        return None
    starts = _starts(passes)
    on = np.array([float(one["on_s"] or 0.0) for one in passes])[:-1]
    return Series(on, np.diff(starts), *_drawn(starts))


def _mix(job: JobRecord) -> float | None:
    target, litres = _area(job, "target"), job.summary["volume_l"].get("applied")
    return None if not target or litres is None else float(litres) / (target / 10_000)


def _mix_series(job: JobRecord) -> Series | None:
    """Mix over target ground: what went out while a pass sprayed, over its own ground less the double."""
    passes, width = job.straight, job.width_m
    litres, on_s = job.summary["volume_l"].get("applied"), job.summary["time_s"]["on"]
    if len(passes) < 2 or not width or litres is None or not on_s:
        return None
    out = np.array([float(litres) * float(one["on_s"] or 0.0) / float(on_s) for one in passes])
    ground = np.array([width * (one["on_m"] or 0.0) - one["double_m2"] + one["missed_m2"] for one in passes])
    used = ground > 0
    return Series(out[used], ground[used] / 10_000, *_drawn(_starts(passes)[used]))


def _rate_spread(job: JobRecord) -> float | None:
    """Spread of the rate from pass to pass, from speed at steady flow: its coefficient of variation."""
    speed = [one["mean_speed_m_s"] for one in job.straight if one["mean_speed_m_s"]]
    if len(speed) < 2:
        return None
    pace = 1 / np.array(speed, float)
    return float(pace.std() / pace.mean())


def _rate_series(job: JobRecord) -> Series | None:
    passes = [one for one in job.straight if one["mean_speed_m_s"]]
    if len(passes) < 2:
        return None
    pace = 1 / np.array([float(one["mean_speed_m_s"]) for one in passes])
    off = (pace / pace.mean() - 1) ** 2
    return Series(off, np.ones(len(off)), *_drawn(_starts(passes)), square=True)


def _field(name: str) -> Callable[[JobRecord], float | None]:
    return lambda job: _spread(job, name)


def other_field_m2(job: JobRecord) -> float | None:
    """Ground sprayed outside the field when there is so much that the log holds another one, else None. [m2]"""
    outside, target = _area(job, "outside"), _area(job, "target")
    return outside if outside and outside > MUCH_OUTSIDE * (target or 0.0) else None


MEASURES = (
    Measure("missed_share", "share", _share("missed"), _by_pass("missed_m2")),
    Measure("double_share", "share", _share("double"), _by_pass("double_m2")),
    Measure("outside_share", "share", _share("outside"), _by_pass("outside_m2")),
    Measure("spacing_error_m", "m", _spacing_total, _spacing_error),
    Measure("cross_track_rms_m", "m", _field("cross_track_rms_m"), _cross_track),
    Measure("rate_spread", "share", _rate_spread, _rate_series),
    Measure("hours_per_ha", "h_ha", _hours_per_ha, _cycle),
    Measure("efficiency", "share", _efficiency, _working),
    Measure("mix_l_ha", "l_ha", _mix, _mix_series),
)
"""Every measure of a comparison, in the order of the table."""
