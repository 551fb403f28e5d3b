"""How it was worked out: every figure with its origin, the files, the closing sums."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled
from coverage_audit.papers.words.display import area, share

from .facts import FactGroup, fact_groups
from .figure import Figure
from .passes import steering_facts

if TYPE_CHECKING:
    from collections.abc import Mapping

    from markupsafe import Markup

    from coverage_audit.recipe.result import Audit, InputCount

    from .figure import Sheet

_DROPPED = {
    "bad_checksum": "sentences with a bad checksum, skipped",
    "no_position": "without a position",
    "no_time": "without a time",
    "duplicate": "repeated times",
    "backward": "times running backward",
    "outside_cut": "before or after the job, cut off",
}


def _body(sheet: Sheet) -> Markup:
    audit = sheet.audit
    groups = (*fact_groups(audit), FactGroup("Steering", steering_facts(audit)))
    return filled(
        "method.html",
        groups=[group for group in groups if group.title != "Volume and rates"],  # they have a figure of their own
        inputs=[_input_row(entry) for entry in audit.inputs],
        checks=_check_sentences(audit),
        sources=audit.job.sources,
    )


FIGURE = Figure("method", "How it was worked out", _body)


def _input_row(entry: InputCount) -> dict[str, str]:
    return {
        "file": entry.file,
        "form": entry.form,
        "read": f"{entry.fixes_read:,}",
        "used": f"{entry.fixes_used:,}",
        "dropped": _counts(entry.dropped) or "none",
        "notes": _counts(entry.notes),
        "sha256": entry.sha256,
    }


def _counts(counts: Mapping[str, int]) -> str:
    return "; ".join(f"{n} {_DROPPED.get(reason, reason.replace('_', ' '))}" for reason, n in counts.items() if n)


def _check_sentences(audit: Audit) -> list[str]:
    areas, checks, units = audit.area_m2, audit.checks, audit.job.settings.report.units
    summed = sum(areas.by_visits)
    return [
        (
            f"Ground missed, sprayed once, twice and so on adds up to {area(summed, units)}; "
            f"the target area is {area(areas.target, units)}. The sums close to {_per_million(checks.closure_rel)} "
            "of the field."
        ),
        (
            "A second, independent count laid a fine grid over the field and counted cells: "
            f"covered {area(checks.raster_covered_m2, units)} (above: {area(areas.covered, units)}), "
            f"missed {area(checks.raster_missed_m2, units)} ({area(areas.missed, units)}), "
            f"double {area(checks.raster_double_m2, units)} ({area(areas.double, units)}). "
            f"The worst difference is {share(checks.cross_check_rel, 1.0)} of the field."
        ),
        "Both checks passed." if checks.ok else "At least one check failed: take no figure here as proof.",
    ]


def _per_million(relative: float) -> str:
    return "better than one part in a million" if relative < 1e-6 else f"{relative * 1e6:.0f} parts in a million"
