"""[boom] of a job file as settings: keys that must fit one another."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from . import tolerances as tol
from .keys import TABLES
from .settings import BoomSettings, MachineBoom

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.read.records import Machine

    from .places import Places

INTERVAL_SOURCES = ("log", "segments", "marks", "assume")
"""Words that ``boom.intervals`` may hold; anything else is the name of a CSV file."""

_FROM_MACHINE = ("width", "sections", "antenna_ahead", "antenna_right")


def boom_settings(values: dict[str, Any], places: Places) -> BoomSettings:
    """Boom geometry and timing of the checked [boom] table.

    Raises
    ------
    InputError
        No width, widths that do not agree, or a trailer whose wheels stand at its hitch.
    """
    count, sections = values.get("nozzles", {}).get("count"), values.get("sections")
    stated = _stated_widths(values)
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


def states_width(values: dict[str, Any]) -> bool:
    """Whether a checked [boom] table says how wide the boom is."""
    return bool(_stated_widths(values))


def _stated_widths(values: dict[str, Any]) -> dict[str, float]:
    """Width of the whole boom by each key that states it. [m]"""
    nozzles, sections = values.get("nozzles", {}), values.get("sections")
    spacing = nozzles.get("spacing")
    widths = {
        "width": values.get("width"),
        "sections": math.fsum(sections) if sections else None,
        "nozzles": nozzles["count"] * spacing if spacing else None,
    }
    return {key: width for key, width in widths.items() if width is not None}


def with_machine(values: dict[str, Any], machines: Sequence[Machine], places: Places) -> BoomSettings:
    """Boom of the checked [boom] table, what it leaves out taken from the machine as the log describes it.

    Sections are taken where they add up to the width that is typed, or none is; the antenna's place where it is not
    typed.

    Raises
    ------
    InputError
        As :func:`boom_settings`; a log with states of sections that do not add up to the width typed.
    """
    if not machines:
        return boom_settings(values, places)
    machine = machines[0]
    width, typed = math.fsum(machine.sections_m), _stated_widths(values)
    agrees = all(abs(one - width) <= tol.MACHINE_WIDTH_M for one in typed.values())
    if not agrees and "sections" not in typed and values["intervals"] == "log" and len(machine.sections_m) > 1:
        raise InputError(
            f"the boom is {next(iter(typed.values())):g} m wide by this, but {machine.name} says {width:g} m in"
            f" {len(machine.sections_m)} sections; correct it, or list the widths in boom.sections",
            places[f"boom.{next(iter(typed))}"],
        )
    taken = dict(values)
    if not typed or (agrees and "sections" not in typed and len(machine.sections_m) > 1):
        taken = (
            {**values, "sections": machine.sections_m} if len(machine.sections_m) > 1 else {**values, "width": width}
        )
        taken.pop("width" if len(machine.sections_m) > 1 else "sections", None)
    if machine.antenna_ahead_m is not None and "antenna_ahead" not in values:
        taken["antenna_ahead"] = machine.antenna_ahead_m
    if machine.antenna_right_m is not None and "antenna_right" not in values:
        taken["antenna_right"] = machine.antenna_right_m
    told = MachineBoom(machine.name, width, tuple(key for key in _FROM_MACHINE if taken.get(key) != values.get(key)))
    return replace(boom_settings(taken, places), machine=told)


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
