"""A finished audit read from its papers: summary, findings and passes."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from .result_record import JobRecord
from .result_shape import FEATURES_SHAPE, SUMMARY_SHAPE
from .source import Folder

if TYPE_CHECKING:
    from pathlib import Path

    from .source import Source

SUMMARY_FILE = "summary.json"
RESULT_FILES = (SUMMARY_FILE, "findings.geojson", "passes.geojson")
"""The papers that a record is read from: its summary, findings, and lines."""
SUMMARY = "coverage-audit summary 1"
NEEDED = ("passes", "steering", "area_m2", "time_s", "volume_l")


def read_result(folder: Path, label: str) -> JobRecord:
    """Read what ``coverage-audit check`` left in *folder*.

    Raises
    ------
    InputError
        A file is missing, damaged, or of another kind.
    """
    return read_result_of(Folder(folder), label)


def read_result_of(source: Source, label: str) -> JobRecord:
    """Read the papers of an audit from any source.

    Raises
    ------
    InputError
        As :func:`read_result`.
    """
    summary = _json(source, SUMMARY_FILE)
    if summary.get("schema") != SUMMARY or any(key not in summary for key in NEEDED):
        raise InputError(
            "this is not the summary of an audit with its passes; run coverage-audit check on the job again",
            source.place(SUMMARY_FILE),
        )
    SUMMARY_SHAPE(summary, source.place(SUMMARY_FILE))
    found = {}
    for name in RESULT_FILES[1:]:
        found[name] = _json(source, name)
        FEATURES_SHAPE(found[name], source.place(name))
    findings, lines = (tuple(one["features"]) for one in found.values())
    return JobRecord(label, summary, findings, lines)


def _json(source: Source, name: str) -> dict[str, Any]:
    if not source.exists(name, source.place("")):
        raise InputError(
            f"there is no {name} in this folder; give a job file or the result folder of coverage-audit check",
            source.place(""),
        )
    place = source.place(name)
    try:
        found = json.loads(source.read(name).data)
    except (ValueError, RecursionError) as error:
        raise InputError(f"this is not JSON ({error}); run coverage-audit check on the job again", place) from error
    if not isinstance(found, dict):
        raise InputError("this is not the file of an audit; run coverage-audit check on the job again", place)
    return found
