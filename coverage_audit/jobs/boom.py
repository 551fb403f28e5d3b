"""[boom] of a job file as settings: keys that must fit one another."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from . import tolerances as tol
from .keys import TABLES
from .settings import BoomSettings

if TYPE_CHECKING:
    from .places import Places

INTERVAL_SOURCES = ("log", "segments", "marks", "assume")
"""Words that ``boom.intervals`` may hold; anything else is the name of a CSV file."""


def boom_settings(values: dict[str, Any], places: Places) -> BoomSettings:
    """Boom geometry and timing of the checked [boom] table.

    Raises
    ------
    InputError
        No width, widths that do not agree, or a trailer whose wheels stand at its hitch.
    """
    nozzles = values.get("nozzles", {})
    count, spacing = nozzles.get("count"), nozzles.get("spacing")
    sections = values.get("sections")
    widths = {
        "width": values.get("width"),
        "sections": math.fsum(sections) if sections else None,
        "nozzles": count * spacing if spacing else None,
    }
    stated = {key: width for key, width in widths.items() if width is not None}
    if not stated:
        missing = "give boom.width, boom.sections, or boom.nozzles with count and spacing"
        raise InputError(f"the boom has no width; {missing}", places["boom.width"])
    width = next(iter(stated.values()))
    for key, other in stated.items():
        if abs(other - width) > tol.WIDTH_AGREEMENT_M + 1e-9:  # 1e-9 m: adding section widths rounds
            first = next(iter(stated))
            raise InputError(
                f"the boom is {other:.3f} m wide by this, but {width:.3f} m by boom.{first}; correct one of them",
                places[f"boom.{key}"],
            )
    if width > tol.MAX_BOOM_M:
        raise InputError(f"a boom of {width:g} m is out of range; at most {tol.MAX_BOOM_M:g} m", places["boom.width"])
    widths_m = sections or (width,)
    return BoomSettings(
        sections_m=widths_m,
        intervals=values["intervals"] if values["intervals"] in INTERVAL_SOURCES else "csv",
        section_nozzles=_section_nozzles(widths_m, count),
        nozzle_count=count,
        **_boom_lengths(values, places),
    )


def _boom_lengths(values: dict[str, Any], places: Places) -> dict[str, Any]:
    """Lever arms and delays under the names of :class:`BoomSettings`."""
    found = TABLES["boom"].values(values)
    towed = values.get("towed", 0.0)
    found["towed_axle_m"] = values.get("towed_axle", towed) if towed else 0.0
    if towed and not found["towed_axle_m"]:
        raise InputError(
            "a trailer's wheels cannot stand at its hitch; give the distance, or leave it out when the boom is"
            " above the wheels",
            places["boom.towed_axle"],
        )
    return found


def _section_nozzles(sections_m: tuple[float, ...], count: int | None) -> tuple[int, ...]:
    """Nozzles per section when they spread evenly into whole numbers, else ()."""
    if count is None:
        return ()
    shares = [count * section / math.fsum(sections_m) for section in sections_m]
    whole = tuple(round(share) for share in shares)
    even = all(abs(share - number) < 0.1 for share, number in zip(shares, whole, strict=True))
    return whole if even and sum(whole) == count and min(whole) > 0 else ()
