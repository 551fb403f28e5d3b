"""How much left the nozzles, and the job's mean rates."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from .model import Volume

if TYPE_CHECKING:
    from collections.abc import Callable

    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import Timeline
    from coverage_audit.ground.model import Areas
    from coverage_audit.jobs.settings import BoomSettings, RateSettings
    from coverage_audit.read.records import Series, TrackLog

SOURCES = ("logged flow", "logged pressure", "nozzles", "flow", "applied")
"""Sources of the volume in the order in which the first one present is used."""


def litres_per_hectare(flow_l_min: float, speed_m_s: float, width_m: float) -> float:
    """Rate of a boom that spreads *flow_l_min* over *width_m* at *speed_m_s*. [L/ha]

    600 q / (v W) with v in km/h (check: Mesa County CO, stationary calibration method; the
    constant is a unit identity), here with v in m/s.
    """
    return flow_l_min * 10_000.0 / (60.0 * speed_m_s * width_m)


def nozzle_flow(flow_l_min: float, at_bar: float, pressure_bar: float) -> float:
    """Flow of a nozzle at *pressure_bar* that lets out *flow_l_min* at *at_bar*. [L/min]

    Flow grows with the square root of pressure (Iowa State University Crop News 844).
    """
    return flow_l_min * math.sqrt(pressure_bar / at_bar)


def nozzle_count(settings: RateSettings, boom: BoomSettings) -> int | None:
    """Nozzles on the whole boom: as [rate] says, else as [boom] does; None when neither says."""
    return (settings.nozzles.count if settings.nozzles else None) or boom.nozzle_count


def job_volume(
    settings: RateSettings,
    boom: BoomSettings,
    timeline: Timeline,
    gaps: tuple[tuple[float, float], ...],
    logs: tuple[TrackLog, ...],
    clock_offset_s: float,
) -> Volume:
    """Volume of every source that is present; rates are added by :func:`with_rates`.

    Parameters
    ----------
    gaps : tuple of (start, end)
        Gaps of the log that were not bridged; what went out in them is told apart. [s]
    """
    share = open_share(boom, timeline)
    flows = _flows(settings, boom, share, logs, clock_offset_s)
    volumes: dict[str, float] = {}
    in_gaps: dict[str, float] = {}
    for source, litres in flows.items():
        total = sum(litres(k, a, b) for k, (a, b) in enumerate(zip(timeline.start_s, timeline.end_s, strict=True)))
        lost = sum(
            litres(k, max(a, first), min(b, last))
            for k, (a, b) in enumerate(zip(timeline.start_s, timeline.end_s, strict=True))
            for first, last in gaps
            if max(a, first) < min(b, last)
        )
        volumes[source], in_gaps[source] = total - lost, lost
    if settings.applied_l is not None:
        volumes["applied"] = settings.applied_l
    used = next((name for name in SOURCES if name in volumes), None)
    return Volume(
        applied_l=volumes.get(used) if used else None,
        source=used,
        by_source=volumes,
        in_gaps_l=in_gaps.get(used) if used else None,
        target_l_ha=settings.target_l_ha,
    )


def with_rates(volume: Volume, areas: Areas) -> Volume:
    """*volume* with its mean rates over the swept, the covered and the target ground. [L/ha]"""
    if volume.applied_l is None:
        return volume
    litres = volume.applied_l

    def over(area_m2: float) -> float | None:
        return litres * 10_000.0 / area_m2 if area_m2 > 0 else None

    return Volume(
        applied_l=litres,
        source=volume.source,
        by_source=volume.by_source,
        in_gaps_l=volume.in_gaps_l,
        target_l_ha=volume.target_l_ha,
        over_swept_l_ha=over(areas.swept),
        over_covered_l_ha=over(areas.covered),
        over_target_area_l_ha=over(areas.target),
    )


def open_share(boom: BoomSettings, timeline: Timeline) -> FloatArray:
    """Share of the whole boom's flow that each slot's open sections let out, shape (m,).

    By number of nozzles where known, else by width: a closed section takes its share away and
    no other flow rises (no rate control).
    """
    weight = np.asarray(boom.section_nozzles or boom.sections_m, float)
    return timeline.on @ (weight / weight.sum())


def _flows(
    settings: RateSettings,
    boom: BoomSettings,
    share: FloatArray,
    logs: tuple[TrackLog, ...],
    clock_offset_s: float,
) -> dict[str, Callable[[int, float, float], float]]:
    """For each source present, the litres let out in slot k between two times [s]."""
    result: dict[str, Callable[[int, float, float], float]] = {}
    logged = joined([log.flow for log in logs], clock_offset_s)
    pressure = joined([log.pressure for log in logs], clock_offset_s)
    nozzles, count = settings.nozzles, nozzle_count(settings, boom)
    if logged is not None:
        result["logged flow"] = lambda _, a, b: _integral(*logged, a, b)
    if pressure is not None and nozzles is not None and count:
        flow = count * nozzle_flow(nozzles.flow_l_min, nozzles.at_bar, 1.0)
        root = (pressure[0], flow * np.sqrt(np.maximum(pressure[1], 0.0)))
        result["logged pressure"] = lambda k, a, b: float(share[k]) * _integral(*root, a, b)
    if nozzles is not None and count:
        steady = count * nozzle_flow(nozzles.flow_l_min, nozzles.at_bar, nozzles.pressure_bar or nozzles.at_bar)
        result["nozzles"] = lambda k, a, b: float(share[k]) * steady * (b - a) / 60.0
    if settings.flow_l_min is not None:
        stated = settings.flow_l_min
        result["flow"] = lambda k, a, b: float(share[k]) * stated * (b - a) / 60.0
    return result


def joined(series: list[Series | None], clock_offset_s: float) -> tuple[FloatArray, FloatArray] | None:
    """One series in time order from those that are present: times [s] and values; None without any."""
    present = [one for one in series if one is not None and len(one.time_s)]
    if not present:
        return None
    time = np.concatenate([one.time_s for one in present]) + clock_offset_s
    order = np.argsort(time, kind="stable")
    return time[order], np.concatenate([one.value for one in present])[order]


def _integral(time_s: FloatArray, flow_l_min: FloatArray, start_s: float, end_s: float) -> float:
    """Litres from *start_s* to *end_s* of a logged flow, straight between its values."""
    if end_s <= start_s:
        return 0.0
    inner = time_s[(time_s > start_s) & (time_s < end_s)]
    moments = np.concatenate([[start_s], inner, [end_s]])
    return float(np.trapezoid(np.interp(moments, time_s, flow_l_min), moments)) / 60.0
