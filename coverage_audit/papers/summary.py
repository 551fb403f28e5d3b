"""What an audit found as ``summary.json``."""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.words.accuracy import accuracy_keys
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.papers.words.decision import decision_sentence
from coverage_audit.papers.words.safe import json_text
from coverage_audit.recipe.decision import UNKNOWN

from .summary_passes import cause_keys, pass_keys, proven_m2
from .summary_rate import rate_keys, volume_keys
from .words import display

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.ground.model import Strip
    from coverage_audit.recipe.answer import Answer
    from coverage_audit.recipe.result import Audit, InputCount

SCHEMA = "coverage-audit summary 1"


def summary_dict(audit: Audit) -> dict[str, Any]:
    """Everything that ``summary.json`` holds, in SI units (L and L/ha for the spray), unrounded.

    Returns
    -------
    dict
        Plain Python values only. What could not be computed is None. Times are UTC.
    """
    volume, plane = audit.volume, Plane(audit.origin)
    answer = audit.answer
    found = {
        "schema": SCHEMA,
        "job": _job(audit),
        "inputs": [_input(one) for one in audit.inputs],
        "area_m2": {**dataclasses.asdict(audit.area_m2), "proven": proven_m2(audit)},
        "distance_m": {"on": audit.distance_on_m, "off": audit.distance_off_m},
        "time_s": {"on": audit.time_on_s, "off": audit.time_off_s, "gap": audit.time_gap_s},
        "median_step_s": audit.median_step_s,
        "volume_l": {
            "applied": volume.applied_l,
            "source": volume.source,
            "by_source": volume.by_source,
            "in_gaps": volume.in_gaps_l,
            **volume_keys(audit),
        },
        "rate_l_ha": {
            "target": volume.target_l_ha,
            "over_swept": volume.over_swept_l_ha,
            "over_covered": volume.over_covered_l_ha,
            "over_target_area": volume.over_target_area_l_ha,
        },
        **rate_keys(audit),
        "missed_strips": [
            {**keys, "ground": answer.decision.standing.get(keys["id"], UNKNOWN)}
            for keys in _findings((*audit.missed_strips, *audit.unknown_places), audit, plane)
        ],
        "double_patches": _doubles(audit, plane),
        **pass_keys(audit),
        **accuracy_keys(audit),
        **decision_keys(audit, answer),
        "checks": dataclasses.asdict(audit.checks),
        "cautions": caution_texts(audit),
    }
    told: dict[str, Any] = plain(found)
    return told


def decision_keys(audit: Audit, answer: Answer) -> dict[str, Any]:
    """What is decided, and what it rests on.

    ``missed_ground`` adds up to what is logged as missed. ``together`` is what other machines did in the same
    treatment, null where this one was alone.
    """
    found = answer.decision
    sentence = decision_sentence(found, audit).replace(display.SPACE, " ")
    return {
        "decision": {"kind": found.kind, "strips": found.strips, "sentence": sentence},
        "missed_ground": {
            "sure_m2": found.sure_m2,
            "cannot_tell_m2": found.cannot_tell_m2,
            "unknown_m2": found.unknown_m2,
        },
        "boom_state": found.state,
        "together": None if audit.together is None else dataclasses.asdict(audit.together),
        "answer": {
            "surely_m2": dataclasses.asdict(answer.surely),
            "perhaps_m2": dataclasses.asdict(answer.perhaps),
            "twice_m2": dataclasses.asdict(answer.twice),
            "walk": [strip.id for strip in answer.walk],
        },
    }


def _job(audit: Audit) -> dict[str, Any]:
    settings = audit.job.settings
    return {
        "name": settings.name,
        "start": display.utc_text(audit.start_s),
        "end": display.utc_text(audit.end_s),
        "timezone": settings.timezone,
        "units": settings.report.units,
        "fields": audit.sprayed_fields,
        "machine": None if settings.farm is None else settings.farm.machine or None,
    }


def _findings(strips: Sequence[Strip], audit: Audit, plane: Plane) -> list[dict[str, Any]]:
    return [{**keys, **cause_keys(audit, strip)} for keys, strip in zip(strip_keys(strips, plane), strips, strict=True)]


def _doubles(audit: Audit, plane: Plane) -> list[dict[str, Any]]:
    found = zip(_findings(audit.double_patches, audit, plane), audit.double_patches, strict=True)
    return [{**keys, "max_visits": patch.max_visits} for keys, patch in found]


def summary_json(audit: Audit) -> str:
    """``summary.json`` as text, indented, one line end at its end."""
    return json_text(summary_dict(audit), indent=2)


def plain(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """JSON's own types: arrays and tuples as lists, numbers that are not finite as None."""
    if isinstance(value, dict) or hasattr(value, "items"):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _input(one: InputCount) -> dict[str, Any]:
    return {
        "file": one.file,
        "sha256": one.sha256,
        "form": one.form,
        "fixes_read": one.fixes_read,
        "fixes_used": one.fixes_used,
        "dropped": {"bad_checksum": 0, "no_position": 0, **one.dropped},
        "notes": one.notes,
    }


def strip_keys(strips: Sequence[Strip], plane: Plane) -> list[dict[str, Any]]:
    """Measures and place of each strip or patch: metres, square metres, degrees clockwise from north and of WGS 84."""
    places = shapely.get_coordinates([strip.label_point for strip in strips])  # all at once: PROJ is slow to begin
    lons, lats = plane.to_degrees(*places.T)
    return [
        {
            "id": strip.id,
            "area_m2": strip.area_m2,
            "length_m": strip.length_m,
            "mean_width_m": strip.mean_width_m,
            "max_width_m": strip.max_width_m,
            "orientation_deg": strip.orientation_deg,
            "lat": lat,
            "lon": lon,
            "where": strip.where,
            "probability": strip.probability,
        }
        for strip, lat, lon in zip(strips, lats.tolist(), lons.tolist(), strict=True)
    ]
