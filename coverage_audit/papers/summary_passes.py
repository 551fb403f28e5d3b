"""The parts of ``summary.json`` that tell the passes."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.job import SEEN, boom_state
from coverage_audit.papers.words.display import utc_text
from coverage_audit.papers.words.passes import assumed_notice, by_memory, cause_words

if TYPE_CHECKING:
    from coverage_audit.ground.model import Strip
    from coverage_audit.passes.model import Deviation, LapPiece, Pass, Range
    from coverage_audit.recipe.result import Audit, Memories


def pass_keys(audit: Audit) -> dict[str, Any]:
    """Keys of ``summary.json``: ``passes``, ``steering``, ``assumed`` and ``assumed_ranges_m2``."""
    result = audit.passes
    found: dict[str, Any] = {"assumed": audit.assumed is not None, "boom_m": audit.job.settings.boom.width_m}
    if audit.assumed is not None:
        assumed = audit.assumed
        found["assumed_notice"] = assumed_notice(audit)
        names = [one.name for one in dataclasses.fields(audit.area_m2)]
        found["assumed_ranges_m2"] = {name: _range(assumed.ranges.get(name)) for name in names}
        found["assumed_draws"], found["assumed_unsure_s"] = assumed.draws, assumed.unsure_s
        found["assumed_volume_weighed"] = assumed.weighed
        found["assumed_parts"] = [
            {"start": utc_text(one.start_s), "end": utc_text(one.end_s), "kind": one.kind, "chance": one.chance}
            for one in assumed.parts
        ]
        found["position_error_m"] = assumed.error_m
    found |= _edge_keys(audit)
    found["remembered"] = None if audit.remembered is None else _remembered(audit, audit.remembered)
    if result is None:
        return {**found, "passes": None, "steering": None}
    found["passes"] = [_pass(one) for one in result.passes]
    found["steering"] = dataclasses.asdict(result.steering)
    found["time_by_kind_s"] = result.time_by_kind_s()
    found["passes_left_out"] = [{"passes": list(beside), "apart_m": apart} for beside, apart in result.gaps]
    found["pass_spacings"] = [
        {
            "pass": one.number,
            "neighbour": one.neighbour,
            "mean_m": float(one.distance_m.mean()),
            "sd_m": float(one.distance_m.std()),
            "least_m": float(one.distance_m.min()),
            "most_m": float(one.distance_m.max()),
            "apart_s": float(np.mean(one.apart_s)),
        }
        for one in result.spacings
    ]
    return found


def _edge_keys(audit: Audit) -> dict[str, Any]:
    """Key ``driven_edge``: how large the field may be whose edge was told from the drive; None where it was not."""
    edge = audit.edge
    if edge is None:
        return {"driven_edge": None}
    plane = Plane(audit.origin)
    islands = [(one.area, *plane.to_degrees(one.centroid.x, one.centroid.y)) for one in edge.islands]
    return {
        "driven_edge": {
            "area_m2": {"low90": edge.low_m2, "high90": edge.high_m2},
            "corners_m2": edge.corner_m2,
            "open_m": edge.open_m,
            "islands": [{"area_m2": m2, "lat": float(lat), "lon": float(lon)} for m2, lon, lat in islands],
        }
    }


def proven_m2(audit: Audit) -> float | None:
    """Ground proven covered; None where nobody saw when the boom was on. [m2]"""
    return audit.area_m2.proven if boom_state(audit.job) in SEEN else None


def _remembered(audit: Audit, found: Memories) -> dict[str, Any]:
    names = [one.name for one in dataclasses.fields(audit.area_m2)]
    return {
        "rows": [
            {
                "place": one.place,
                "said": one.said,
                "on": one.on,
                "start": utc_text(one.start_s),
                "end": utc_text(one.end_s),
                "start_within_s": one.start_within_s,
                "end_within_s": one.end_within_s,
                "changed_s": one.changed_s,
            }
            for one in found.recalls
        ],
        "ranges_m2": {name: _range(found.ranges.get(name)) for name in names},
        "draws": found.draws,
    }


def _range(one: Range | tuple[Range, ...] | None) -> Any:  # noqa: ANN401 - an object, a list of them, or None
    if one is None:  # the draws do not count it
        return None
    if isinstance(one, tuple):
        return [dataclasses.asdict(each) for each in one]
    return dataclasses.asdict(one)


def _pass(one: Pass) -> dict[str, Any]:
    return {
        "n": one.n,
        "kind": one.kind,
        "start": utc_text(one.start_s),
        "end": utc_text(one.end_s),
        "length_m": one.length_m,
        "heading_deg": one.heading_deg,
        "mean_speed_m_s": one.mean_speed_m_s,
        "time_s": one.time_s,
        "block": one.block or None,
        "lap": one.lap or None,
        "left": one.left or None,
        "right": one.right or None,
        "curved": one.curved,
        "on_s": one.on_s,
        "on_m": one.on_m,
        "cross_track_m": _deviation(one.deviation),
        "spacing_mean_m": one.spacing_mean_m,
        "spacing_sd_m": one.spacing_sd_m,
        "on_late_m": one.on_late_m,
        "off_early_m": one.off_early_m,
        "missed_m2": one.missed_m2,
        "double_m2": one.double_m2,
        "outside_m2": one.outside_m2,
        **({"pieces": [_piece(each) for each in one.pieces]} if one.pieces else {}),
    }


def _piece(one: LapPiece) -> dict[str, Any]:
    told = dataclasses.asdict(one)
    return {"start": utc_text(told.pop("start_s")), **told}


def _deviation(one: Deviation | None) -> dict[str, float] | None:
    if one is None:
        return None
    return {"mean": one.mean_m, "sd": one.sd_m, "rms": one.rms_m, "p95_abs": one.p95_m, "rms_logged": one.rms_logged_m}


def cause_keys(audit: Audit, strip: Strip) -> dict[str, Any]:
    """Key ``cause`` of a missed strip or double patch; None when the passes were not looked at."""
    cause = audit.passes.causes.get(strip.id) if audit.passes else None
    if cause is None:
        return {"cause": None}
    settings = audit.job.settings
    words = cause_words(cause, settings.report.units, settings.timezone) + by_memory(cause, audit)
    told = {
        **dataclasses.asdict(cause),
        "time": None if cause.time_s is None else utc_text(cause.time_s),
        "words": words.replace("\u00a0", " "),
    }
    del told["time_s"], told["where"]  # where it lies stands beside the cause
    return {"cause": told}
