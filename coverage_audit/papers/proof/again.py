"""A record held against the grower's full one, and against what the inputs say when they are computed again."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from coverage_audit.units import HECTARE_M2

from .figures import shown_figures
from .map import fitted
from .picture import drawn_map
from .record import grower_record, withheld_parts
from .sign import commitment, fingerprint
from .tolerances import SAME_REL

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.recipe.result import Audit

    Record = dict[str, Any]


def full_faults(buyer: Record, full: Record) -> list[str]:
    """What the grower's full record says otherwise than the buyer's copy; both are of their form.

    The full record names the one copy that was made with it, and the copy commits to every withheld part: so
    nothing in the copy, its map included, can be another's.
    """
    found = [
        f"{key} differs from the full record"
        for key in ("what", "says", "rests", "units", "later", "software")
        if buyer[key] != full[key]
    ]
    if buyer["made"] != full["made"][:10]:
        found.append("made differs from the full record")
    shown = shown_figures(full["figures"], buyer["place"])
    found += [f"{name} differs from the full record" for name in shown if buyer["figures"][name] != shown[name]]
    parts = {"/".join(path): value for path, value in withheld_parts(full).items()}
    for path in sorted(set(parts) | set(buyer["commitments"])):
        sealed, salt = buyer["commitments"].get(path), full.get("salts", {}).get(path)
        if path not in parts or salt is None or commitment(salt, parts[path]) != sealed:
            found.append(f"{path} is not what the buyer's copy is committed to")
    if not found and full.get("buyer") != fingerprint(buyer):
        found.append("the full record was not made with this copy: its map, its place or its form differs")
    return found


def again_faults(record: Record, audits: Sequence[Audit], *, same_versions: bool) -> list[str]:
    """What *record* says otherwise than the *audits* of the inputs."""
    again = grower_record(audits, record["made"])
    place = record.get("place", "exact")
    found = _figure_faults(record, again, place, same_versions=same_versions)
    keys = ["what", "units", "later", *(["says", "rests"] if same_versions else [])]
    if record["copy"] == "grower":
        keys += ["inputs", "settings", *(["grower"] if same_versions else [])]
    found += [f"{key}: the inputs say otherwise" for key in keys if record[key] != again[key]]
    if "map" in record and place == "exact" and same_versions and record["map"] != exact_map(audits[0]):
        found.append("map: the inputs say otherwise")
    return found


def exact_map(audit: Audit) -> Record:
    """The field and its missed strips as they are."""
    return fitted(drawn_map(audit, "exact"))


def _figure_faults(record: Record, again: Record, place: str, *, same_versions: bool) -> list[str]:
    """Figures that differ from those computed again: by a digit, or with other versions by a share of the field."""
    wanted = shown_figures(again["figures"], place)
    target = Decimal(again["figures"]["target_m2"]["value"])
    found = []
    for name, figure in record["figures"].items():
        one, other = figure["value"], wanted[name]["value"]
        same = one == other
        if not same and not same_versions and one is not None and other is not None:
            whole = {"ha": target / Decimal(HECTARE_M2), "m2": target}.get(figure["unit"], Decimal(100))
            last = Decimal(1).scaleb(-len(other.partition(".")[2]))
            same = abs(Decimal(one) - Decimal(other)) <= max(last, Decimal(SAME_REL) * whole)
        if not same:
            found.append(f"{name}: the record says {one}, the inputs say {other}")
    return found
