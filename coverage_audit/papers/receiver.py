"""What a log shows of its receiver: in words with the lines to paste, as JSON, and put into a farm's file."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from coverage_audit.accuracy.tolerances import SKIP_LENGTH_M
from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import GUIDED, HAND

from .words import display

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.accuracy.standing import Spread, Standing

STEERED = {HAND: "steered by hand", GUIDED: "guided by it"}
FIGURES = (
    ("sigma_m", "Slow error of one coordinate"),
    ("time_constant_s", "... forgotten over"),
    ("noise_m", "Short error of one coordinate"),
)
LONGER = "leave the receiver on a fence post in the open for half an hour or longer, and log every second"
UNSHOWN = (
    "It shows how the receiver wanders where it stood, under that sky. Beside trees or buildings it is worse, and so "
    "it is where corrections are lost; an error that stays the same all the while cannot show."
)


def receiver_dict(found: Standing, skips: Mapping[str, float | None]) -> dict[str, Any]:
    """Figures with their ranges, SI units and unrounded; null where nothing can be told."""
    told = {name: _ends(getattr(found, name)) for name, _ in FIGURES}
    more = {"smallest_skip_m": {way: skips.get(way) for way in STEERED}}
    return {**told, "hours": found.standing_s / 3600, "stands": found.stands, "enough": found.enough, **more}


def _ends(spread: Spread | None) -> dict[str, float | None]:
    names = ("best", "low90", "high90")
    return {name: None if spread is None else getattr(spread, name) for name in names}


def receiver_json(found: Standing, skips: Mapping[str, float | None]) -> str:
    """:func:`receiver_dict` as text."""
    return json.dumps(receiver_dict(found, skips), indent=1, allow_nan=False) + "\n"


def receiver_text(found: Standing, name: str, units: str, skips: Mapping[str, float | None]) -> str:
    """What is known of the receiver, whether that is enough, and the lines for a job file."""
    stood = display.duration(found.standing_s)
    if found.pinned:
        return (
            f"{name}: the positions stay on one spot for {stood}, to the last digit. The receiver or the app pins them "
            "while it stands, so this log cannot tell its error.\nSwitch that off, or log with another app.\n"
        )
    if found.sigma_m is None:
        return f"{name}: the receiver never stands for a minute and a half, so nothing can be told; {LONGER}.\n"
    where = "" if found.stands == 1 else f" in {found.stands} places"
    lines = [f"{name}: the receiver stands for {stood}{where}.", ""]
    for key, title in FIGURES:
        spread = getattr(found, key)
        shown = display.duration if key.endswith("_s") else lambda value: _small(value, units)
        lines.append(f"{title}: {shown(spread.best)}, 9 chances in 10: {shown(spread.low90)} to {shown(spread.high90)}")
    if not found.enough:
        lines += ["", f"This is too short to tell; {LONGER}. The ranges above say how little is known."]
        return "\n".join(lines) + "\n"
    lines += ["", "For the job file:", "", "[accuracy]"]
    lines += [f'{key} = "{value}"' for key, value in receiver_keys(found).items()]
    lines += [
        "",
        f"Before anything is driven: the narrowest skip {display.length(SKIP_LENGTH_M, units)} long that it can tell",
    ]
    lines += [f"{STEERED[way]}: {display.length(width, units)} as logged" for way, width in skips.items() if width]
    return "\n".join([*lines, "", UNSHOWN]) + "\n"


def _small(m: float, units: str) -> str:
    """Length [m] in millimetres or inches where metres or feet would show nothing of it."""
    if units == "us":
        return display.length(m, units) if m >= 0.3048 else f"{m / 0.0254:.2g} in"
    return display.length(m, units) if m >= 0.1 else f"{1000 * m:.2g} mm"


def receiver_keys(found: Standing) -> dict[str, str]:
    """Keys of ``[accuracy]`` with their values as a job file takes them; none when nothing can be told."""
    told = (("sigma", found.sigma_m, "m"), ("time_constant", found.time_constant_s, "s"), ("noise", found.noise_m, "m"))
    return {key: f"{float(f'{one.best:.2g}'):g} {unit}" for key, one, unit in told if one is not None}


def with_receiver(farm_text: str, machine: str, keys: Mapping[str, str], place: str) -> str:
    """*farm_text*, a farm's file, with the ``accuracy`` *keys* of one machine set; all else stays as it was written.

    Raises
    ------
    InputError
        The file is not TOML, or has no such machine.
    """
    try:
        farm = tomlkit.parse(farm_text)
    except TOMLKitError as error:
        raise InputError(f"is not TOML: {error}; correct the line", place) from error
    machines = farm.get("machine")
    names = sorted(machines) if isinstance(machines, dict) else []
    if machine not in names or not isinstance(farm["machine"][machine], dict):
        known = f"it has {', '.join(names)}" if names else "it has none"
        raise InputError(f'there is no machine "{machine}" in this file; {known}', place)
    own: Any = farm["machine"][machine]
    accuracy = own.get("accuracy")
    if isinstance(accuracy, dict):
        for key, value in keys.items():
            accuracy[key] = value
        return tomlkit.dumps(farm)
    for key, value in keys.items():
        own.append(tomlkit.key(["accuracy", key]), value)
    return re.sub(r"\n{3,}", "\n\n", tomlkit.dumps(farm))
