"""Cautions of what a drive tells of its machine, its field and its clock, in sentences."""

from __future__ import annotations

import datetime as dt
import math

from coverage_audit.papers.words.display import area, duration
from coverage_audit.units import FOOT_M

from .touchup import compass

TIMES_OFF = 1.5
"""From so many times on a distance is told in times, not in per cent. [1]"""


def way_words(m: float, units: str, form: str) -> str:
    """A length [m] with the digits of *form* in metres; in feet with as many as say the same."""
    if units != "us":
        return f"{m:{form}} m"
    feet = m / FOOT_M
    return f"{feet:{form}} ft" if form != "g" else f"{feet:.2g} ft" if feet < 10 else f"{round(feet, 1):g} ft"


def much_double(units: str, *, share: float, width_m: float) -> str:
    """So much is double that the width may be wrong."""
    return (
        f"{100 * share:.0f} % of the target area counts as sprayed twice or more: check that the boom is really "
        f"{way_words(width_m, units, 'g')} wide (boom.width) and that its on-times are right."
    )


def spacing_off(units: str, *, spacing_m: float, width_m: float, typed: str = "") -> str:
    """Passes lie closer or farther apart than the boom is wide; *typed*: the unit that was given by mistake."""
    apart, wide = way_words(spacing_m, units, ".1f"), way_words(width_m, units, "g")
    off = spacing_m - width_m
    told = f"{100 * abs(off) / width_m:.0f} % {'closer than' if off < 0 else 'farther apart than'} the boom is wide"
    if off > 0 and spacing_m >= TIMES_OFF * width_m:
        told = f"{spacing_m / width_m:.1f} times as far as the boom is wide"
    meant = "the passes overlap on purpose" if off < 0 else "every pass leaves a gap"
    number = f"{width_m / FOOT_M if typed == 'ft' else width_m:.3g}"
    slip = f" Was {number} {typed} written where {number} {'m' if typed == 'ft' else 'ft'} was meant?" if typed else ""
    return (
        f"The passes lie {apart} apart all over the field, {told} by the job file ({wide}).{slip} If the boom is not "
        f"{apart} wide (boom.width), {meant}; every area here rests on the width stated."
    )


def two_spacings(units: str, *, first_m: float, later_m: float, count: int, width_m: float) -> str:
    """Earlier and later passes lie differently far apart."""
    first, later = way_words(first_m, units, ".1f"), way_words(later_m, units, ".1f")
    return (
        f"The first {count} passes lie {first} apart, those after them {later}. Did two machines spray this field, or "
        f"was part of the boom folded? Every area here rests on one boom of {way_words(width_m, units, 'g')} "
        "(boom.width): with two, make a job of each."
    )


def never_driven(units: str, *, share: float, area_m2: float) -> str:
    """A large part of the field was never driven over."""
    return (
        f"{area(area_m2, units)} in one piece, {100 * share:.0f} % of the target, was never driven over in these logs. "
        "Is another log of this job missing (track.files)? Until that is settled, missed ground says nothing there."
    )


def outline_elsewhere(units: str, *, shift_m: float, heading_deg: float, share: float) -> str:
    """The outline would fit the drive in another place."""
    return (
        f"Moved some {way_words(shift_m, units, '.0f')} to the {compass(math.radians(heading_deg))} the outline would "
        f"fit this drive, {100 * share:.0f} % of it driven over. Is it the outline of this field, and in its place? It "
        "was not moved. Until that is settled, neither missed ground nor ground outside says anything."
    )


def long_pause(_units: str, *, pause_s: float) -> str:
    """The log stands still for days in its midst."""
    return (
        f"These logs hold a pause of {duration(pause_s)}. A job is one treatment of a field: if what lies on one side "
        "of the pause is another, this audit takes both for one. Cut the logs into jobs with coverage-audit day, or "
        "write track.from and track.to."
    )


def clock_off(_units: str, *, shift_s: float) -> str:
    """On-times fit the drive far better when moved."""
    hours, minutes = divmod(round(abs(shift_s) / 60), 60)
    told = " ".join(part for part in (f"{hours} h" * bool(hours), f"{minutes} min" * bool(minutes)) if part)
    way = "later" if shift_s > 0 else "earlier"
    return (
        f"The boom's on-times fit the drive far better when they are moved {told} {way}: they would then begin and end "
        "where the machine turned. A clock or a time zone is off by that. Nothing was moved, and no figure here holds "
        f'until it is settled: correct the times, or set track.clock_offset = "{-shift_s:.0f} s".'
    )


def direction_unsure(
    units: str,
    *,
    times_s: tuple[tuple[float, float], ...],
    back: bool,
    mirrored_m: tuple[float, float] | None,
    on_m: float,
    apart_m: float,
) -> str:
    """Ways lead to and fro, and nobody knows which of them were driven in reverse."""
    clock = [[dt.datetime.fromtimestamp(each, dt.UTC).strftime("%H:%M:%S") for each in pair] for pair in times_s]
    when = ", ".join(f"{first} to {last}" for first, last in clock)
    side = f"the boom was {way_words(apart_m, units, '.1f')} from where it is drawn" if apart_m else "left was right"
    keys = [
        f'{key} = "{way_words(own, units, "g")}"'
        for key, own in zip(("boom.antenna_ahead", "boom.antenna_right"), mirrored_m or (), strict=False)
        if own
    ]
    hint = f" If so, make a job of that time (track.from, track.to) with {' and '.join(keys)}." if keys else ""
    return (
        f"The drive goes back over its own ways ({when} UTC, {way_words(on_m, units, '.0f')} of them sprayed), and "
        "this log does not tell which of them were driven in reverse. The first was taken to be driven "
        f"{'in reverse' if back else 'forwards'}; if it was not, {side}, and no figure holds there.{hint} A log that "
        "begins on the way to the field tells it, and so do on-times where the boom was off on the ways back."
    )


def other_field(units: str, *, area_m2: float) -> str:
    """The log holds another field."""
    return (
        f"Outside this field about {area(area_m2, units)} were driven in passes beside each other: the log holds "
        "another field. It is no part of this audit. Cut a whole day's log into one job a field with coverage-audit "
        "day, or write track.from and track.to."
    )


def antenna_unplaced(
    units: str,
    *,
    ahead_m: tuple[float, float, float] | None = None,
    right_m: tuple[float, float, float] | None = None,
) -> str:
    """Nobody said where the antenna stands; the places that ranges and chances take it at: best, least and most. [m]"""
    unsaid = "The job file does not say where the antenna stands (boom.antenna_ahead)"
    if ahead_m is None and right_m is None:
        return f"{unsaid}; it was taken to be right above the boom. Every switching place is off by the true distance."
    sides = []
    if ahead_m is not None:
        best, low, high = (_to_side(one, ("ahead", "behind"), units) for one in ahead_m)
        sides.append(f"between {low} and {high} of the boom, most likely {best} by when it was switched")
    if right_m is not None:
        _, low, high = (_to_side(one, ("right", "left"), units) for one in right_m)
        sides.append(f"between {low} and {high} of its middle")
    return (
        f"{unsaid}. Areas, strips and map take it right above the boom's middle; ranges and chances take it "
        f"{', and '.join(sides)}. Measure once from the boom forward to the antenna, and from its middle to the side: "
        "that makes all of them sharper."
    )


def _to_side(m: float, sides: tuple[str, str], units: str) -> str:
    return f"{way_words(abs(m), units, '.1f')} {sides[m < 0]}"


def antenna_beside(units: str, *, beside_m: float, error_m: float) -> str:
    """The antenna stands beside where it is said to stand."""
    hand = "right" if beside_m > 0 else "left"
    apart, about = way_words(abs(beside_m), units, ".2f"), way_words(2 * error_m, units, ".2f")
    return (
        "All over the field passes lie closer to the neighbour on one hand than on the other, as if the antenna stood "
        f"{apart} (give or take {about}) farther to the {hand} of the boom's middle than the job file says "
        "(boom.antenna_right), or the driver always held the boom to that side. Nothing was moved: if it is the "
        "antenna, part of what is told as missed or double between passes was neither."
    )


def switches_lag(units: str, *, lag_m: float, lag_s: float, count: int) -> str:
    """The boom comes on and goes off too late, or too early, at both ends of the passes."""
    way = "late" if lag_m > 0 else "early"
    return (
        f"On {count} passes the boom comes on and goes off {way_words(abs(lag_m), units, '.1f')}, or "
        f"{abs(lag_s):.1f} s, too {way} at both ends. Either the two clocks differ by that (track.clock_offset = "
        f'"{lag_s:.1f} s" would bring them together), or spray and switch do (boom.on_delay, boom.off_delay), or the '
        f"antenna stands {way_words(abs(lag_m), units, '.1f')} farther {'forward' if lag_m > 0 else 'back'} than said "
        "(boom.antenna_ahead). Nothing was moved."
    )


def shifted(units: str, *, shift_m: float, heading_deg: float, error_m: float) -> str:
    """The outline lies beside where the passes ran."""
    apart, about = way_words(shift_m, units, ".1f"), way_words(2 * error_m, units, ".1f")
    return (
        f"The outline lies {apart} (give or take {about}) to the {compass(math.radians(heading_deg))} of where the "
        "headland laps run: it was drawn off, or the positions in the log are off by as much. It was not moved. Until "
        "that is settled, ground along the edge counts as missed on one side and as beyond the field on the other."
    )


def circles_coarse(_units: str, *, lat: float, lon: float, first_s: float, last_s: float) -> str:
    """The boom went round one spot so often that it was worked out more coarsely."""
    return (
        f"The boom was on while it went round and round, most of all {_spot(lat, lon, first_s, last_s)}: where such "
        "ground was sprayed a second time was worked out more coarsely than usual, to within half a boom width."
    )


def circles_left_out(_units: str, *, lat: float, lon: float, first_s: float, last_s: float) -> str:
    """The boom went round one spot so often that only its first rounds were counted."""
    return (
        f"The boom was on while it went round and round {_spot(lat, lon, first_s, last_s)}, more often than can be "
        "counted: between a first and a last round that time was left out of the areas. Ground there "
        "may have been sprayed more often than is told, and ground that is called missed beside it may not be."
    )


def _spot(lat: float, lon: float, first_s: float, last_s: float) -> str:
    """Place and times (UTC) of a spot, in words."""
    first, last = (dt.datetime.fromtimestamp(one, dt.UTC).strftime("%H:%M:%S") for one in (first_s, last_s))
    return f"about {lat:.6f}, {lon:.6f} (lat, lon; {first} to {last} UTC)"
