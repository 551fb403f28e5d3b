"""Which files in a folder are this program's own: the mark it leaves beside the papers it wrote.

The mark names the papers by kind ("report", "proof" ...) with the SHA-256 of each, so that a file
of somebody else, and a paper that somebody has changed, are told from one that may be replaced.
While a set is exchanged the mark also says how to get back to the set before.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

PREFIX = ".coverage-audit."
MARK = f"{PREFIX}json"
SCHEMA = "coverage-audit papers 1"
PART, OLD = ".part", ".old"


@dataclass(frozen=True)
class PaperSet:
    """Papers of one kind: the job they tell of (a hash over its inputs, or ""), name to SHA-256."""

    job: str
    files: Mapping[str, str]


@dataclass(frozen=True)
class Undo:
    """The way back: new name to SHA-256 where there was no file before, and name to the copy of the old file."""

    fresh: Mapping[str, str]
    copies: Mapping[str, str]


@dataclass(frozen=True)
class Mark:
    """Sets by kind, and the way back while a set is being exchanged."""

    sets: Mapping[str, PaperSet] = field(default_factory=dict)
    undo: Undo | None = None

    def owns(self, name: str, sha256: str) -> bool:
        """Whether *name* was written by this program and is as it was written."""
        return any(one.files.get(name) == sha256 for one in self.sets.values())


def sha256_of(content: str | bytes) -> str:
    """SHA-256 of a file's content, in hex."""
    return hashlib.sha256(content.encode() if isinstance(content, str) else content).hexdigest()


def file_sha256(path: Path) -> str:
    """SHA-256 of a file, in hex."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def read_mark(folder: Path) -> Mark:
    """Mark of *folder*; an empty one where there is none, or none that can be read."""
    try:
        found = json.loads((folder / MARK).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return Mark()
    if not isinstance(found, dict) or found.get("schema") != SCHEMA:
        return Mark()
    sets = {kind: PaperSet(str(one.get("job", "")), _names(one.get("files"))) for kind, one in _tables(found, "sets")}
    way_back = found.get("undo")
    if not isinstance(way_back, dict):
        return Mark(sets)
    return Mark(sets, Undo(_names(way_back.get("fresh")), _names(way_back.get("copies"))))


def mark_text(mark: Mark) -> str:
    """JSON text of *mark*."""
    told: dict[str, Any] = {
        "schema": SCHEMA,
        "about": "names and hashes of the papers that coverage-audit wrote here, so that it replaces no other file",
        "sets": {kind: {"job": one.job, "files": dict(one.files)} for kind, one in sorted(mark.sets.items())},
    }
    if mark.undo is not None:
        told["undo"] = {"fresh": dict(mark.undo.fresh), "copies": dict(mark.undo.copies)}
    return json.dumps(told, indent=1) + "\n"


def _tables(found: dict[str, Any], key: str) -> list[tuple[str, dict[str, Any]]]:
    tables = found.get(key)
    return [(kind, one) for kind, one in tables.items() if isinstance(one, dict)] if isinstance(tables, dict) else []


def _names(found: object) -> dict[str, str]:
    """Plain names of files in the folder itself, each with its text; anything else in the mark is not ours."""
    if not isinstance(found, dict):
        return {}
    return {
        name: value
        for name, value in found.items()
        if isinstance(value, str) and name not in ("", ".", "..") and not set(name + value) & set("/\\:\0")
    }
