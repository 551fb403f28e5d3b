"""What the canvases of a sheet draw, as numbers: plane metres, x east, y north, to the centimetre."""

from __future__ import annotations

import json
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.read.source import read_bytes
from coverage_audit.sheet.boom import with_said
from coverage_audit.sheet.outline import driven_edge, ground_m, rings_m

from .desk import REPORT
from .fields import USUAL_HALF_M
from .pictures import picture_under

if TYPE_CHECKING:
    from coverage_audit.sheet.facts import SheetFacts

    from .desk import Desk, JobFolder


def drawn(facts: SheetFacts, job: JobFolder, desk: Desk) -> dict[str, Any]:
    """Everything to draw of one job; empty without a drive."""
    drive = facts.drive
    if drive is None:
        return {"ways": []}
    on = with_said(facts.boom.base, facts.said) if facts.boom else ()
    under = picture_under(desk, drive)
    edge: list[tuple[float, float]] = []
    with suppress(InputError):
        edge = driven_edge(drive, USUAL_HALF_M)
    return {
        "mark": job.mark,
        "start": drive.start_s,
        "ways": [_flat(way) for way in drive.ways],
        "rings": [_flat(ring) for ring in rings_m(facts.field.areas, drive.origin)] if facts.field else [],
        "off": [_flat(ring) for ring in rings_m(facts.field.no_spray, drive.origin)] if facts.field else [],
        "corners": _flat(facts.corners),
        "cornersOff": _flat(facts.corners_off),
        "picture": under[1] if under else None,
        "edge": _flat(edge),
        "isEdge": bool(job.notes.get("edge")),
        "stretches": [
            {"number": one.number, "pass": one.is_pass, "from": one.start_s, "to": one.end_s, "way": _flat(one.way)}
            for one in (facts.boom.stretches if facts.boom else ())
        ],
        "on": [[a, b] for a, b in on],
        "said": [[one.from_s, one.to_s, one.on] for one in facts.said],
        "found": _findings(facts, job),
        "named": _named(facts),
        "units": facts.units,
        "timezone": facts.timezone,
    }


def _findings(facts: SheetFacts, job: JobFolder) -> list[dict[str, Any]]:
    """Missed and double ground of the last answer."""
    if facts.answer is None or facts.drive is None:
        return []
    with suppress(InputError, ValueError, KeyError, TypeError):
        features = json.loads(read_bytes(job.path / REPORT / "findings.geojson").data)["features"]
        return [
            {
                "kind": one["properties"]["kind"],
                "id": one["properties"]["id"],
                "rings": [[_flat(ring) for ring in part] for part in ground_m(one["geometry"], facts.drive.origin)],
            }
            for one in features
            if one["properties"].get("kind") in ("missed", "double")
        ]
    return []


def _named(facts: SheetFacts) -> list[str]:
    """Missed strips that the answer names or that are worth a walk: only they are lettered on its map."""
    answer = facts.answer or {}
    found = [*answer.get("decision", {}).get("strips", ()), *answer.get("answer", {}).get("walk", ())]
    return list(dict.fromkeys(str(one) for one in found))


def _flat(points: Any) -> list[list[float]]:  # noqa: ANN401 - an array or a list of points
    return [[round(float(value), 2) for value in point] for point in points]
