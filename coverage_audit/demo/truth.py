"""What was really on the ground of the built-in job, beside what an audit of it finds."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from shapely.geometry import shape

from coverage_audit.drive.plane import Plane
from coverage_audit.papers.words import display
from coverage_audit.passes.model import STRAIGHT

from .job import shipped

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from coverage_audit.recipe.result import Audit

AREA_WORDS = {
    "target": "target area",
    "covered": "covered",
    "missed": "missed",
    "double": "sprayed twice or more",
    "outside": "sprayed outside the field",
    "excluded_sprayed": "sprayed into the pond",
}
"""Areas of an audit in the order they are told."""


def truth() -> dict[str, Any]:
    """The truth as shipped.

    Returns
    -------
    dict
        ``area_m2`` by the names of ``AREA_WORDS``; ``typical_error_m`` of the logged positions (root mean
        square); ``faults``, each with its ``sentence``, the ``passes`` (as simulated) it names, the moments
        [s since 1970] at which those were driven, ``missed_m2`` and its zone in degrees (GeoJSON).
    """
    found: dict[str, Any] = json.loads(shipped("truth.json"))
    return found


def truth_text(audit: Audit) -> str:
    """Truth and finding of the built-in job side by side, and why they differ.

    Returns
    -------
    str
        Lines for the terminal, in the units of the job.
    """
    told, units = truth(), audit.job.settings.report.units
    rows = [(words, told["area_m2"][name], getattr(audit.area_m2, name)) for name, words in AREA_WORDS.items()]
    plane, missed = Plane(audit.origin), audit.layers.by_visits[0]
    fault_rows = [
        (
            fault_words(fault, audit),
            fault["missed_m2"],
            missed.intersection(plane.geometry_to_metres(shape(fault["zone_deg"]))).area,
        )
        for fault in told["faults"]
    ]
    return "\n".join(
        [
            "This job was simulated, so the truth is known:",
            *_table(("", "truth", "audit"), rows, lambda value: display.small_area(value, units)),
            "",
            "Faults built in on purpose, and the ground missed by each:",
            *_table(("", "truth", "audit"), fault_rows, lambda value: display.small_area(value, units)),
            "",
            *_why(told["typical_error_m"], units),
        ]
    )


def fault_words(fault: Mapping[str, Any], audit: Audit) -> str:
    """One built-in fault, its passes numbered as in the report of *audit*, or as simulated where it tells none."""
    numbers = [_reported(audit, at) or n for at, n in zip(fault["moments_s"], fault["passes"], strict=True)]
    words: str = fault["sentence"].format(*numbers)
    return words


def _reported(audit: Audit, moment_s: float) -> int:
    """Number of the pass that *audit* tells of at a moment [s]; 0 when it tells of none."""
    passes = audit.passes.passes if audit.passes else ()
    during = (one.n for one in passes if one.kind == STRAIGHT and one.start_s <= moment_s <= one.end_s)
    return next(during, 0)


def _table(
    heads: tuple[str, str, str], rows: Iterable[tuple[str, float, float]], show: Callable[[float], str]
) -> list[str]:
    cells = [heads, *((name, show(truth), show(found)) for name, truth, found in rows)]
    wide = [max(len(row[column]) for row in cells) for column in range(3)]
    return [f"  {name:<{wide[0]}}  {truth:>{wide[1]}}  {found:>{wide[2]}}" for name, truth, found in cells]


def _why(typical_m: float, units: str) -> list[str]:
    far = display.length(typical_m, units)
    return [
        "They differ because the audit knows only the log: here the logged positions lie typically",
        f"{far} from the true ones, and an error that changes between two passes looks like",
        "a skip or an overlap of that width. The truth comes from the simulated path, not from the log.",
    ]
