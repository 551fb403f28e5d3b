"""A finished result folder: its summary, findings and passes, for comparing."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from .result_record import JobRecord
from .result_shape import FEATURES_SHAPE, SUMMARY_SHAPE
from .source import is_there, read_bytes

if TYPE_CHECKING:
    from pathlib import Path

SUMMARY = "coverage-audit summary 1"
NEEDED = ("passes", "steering", "area_m2", "time_s", "volume_l")


def read_result(folder: Path, label: str) -> JobRecord:
    """Read what ``coverage-audit check`` left in *folder*.

    Raises
    ------
    InputError
        A file is missing, damaged, or of another kind.
    """
    summary = _json(folder / "summary.json")
    if summary.get("schema") != SUMMARY or any(key not in summary for key in NEEDED):
        raise InputError(
            "this is not the summary of an audit with its passes; run coverage-audit check on the job again",
            str(folder / "summary.json"),
        )
    SUMMARY_SHAPE(summary, str(folder / "summary.json"))
    found = {}
    for name in ("findings.geojson", "passes.geojson"):
        found[name] = _json(folder / name)
        FEATURES_SHAPE(found[name], str(folder / name))
    findings, lines = (tuple(one["features"]) for one in found.values())
    return JobRecord(label, summary, findings, lines)


def _json(path: Path) -> dict[str, Any]:
    if not is_there(path, str(path.parent)):
        raise InputError(
            f"there is no {path.name} in this folder; give a job file or the result folder of coverage-audit check",
            str(path.parent),
        )
    try:
        found = json.loads(read_bytes(path).data)
    except (ValueError, RecursionError) as error:
        raise InputError(f"this is not JSON ({error}); run coverage-audit check on the job again", str(path)) from error
    if not isinstance(found, dict):
        raise InputError("this is not the file of an audit; run coverage-audit check on the job again", str(path))
    return found
