"""Cautions of the readers of files, in sentences: logs, task data, outlines."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.words.display import small_area
from coverage_audit.units import RATE_L_HA, VOLUME_L

from .cautions_drive import way_words

if TYPE_CHECKING:
    from collections.abc import Callable

MOST_LINES = 5
"""Lines of a file that a caution names; the rest is counted. [1]"""

HOW_CUT = {
    "end": "the file is cut off at its end",
    "row": "its last row breaks off",
    "damaged": "the file is damaged or breaks off",
}
NOT_MEASURED = {"estimated": "estimated (dead reckoning)", "typed in": "typed in by hand", "simulated": "simulated"}


# --- logs -------------------------------------------------------------------------------------------


def _cut_off(_units: str, *, file: str, how: str, count: int, thing: str, line: int) -> str:
    at = f" (line {line})" if line else ""
    return f"{file}: {HOW_CUT[how]}{at}; {count} {thing}(s) before that were read. What was driven after is not in it."


def _file_checksum(_units: str, *, file: str) -> str:
    return f"{file}: its checksum is wrong, so some of it may be damaged unseen."


def _times_uneven(_units: str, *, file: str, count: int) -> str:
    return f"{file}: {count} line(s) have other numbers of times than of places; the first of both were paired."


def _unreadable(_units: str, *, file: str, fields: tuple[tuple[str, int], ...]) -> str:
    parts = ", ".join(f"{count} {label}" for label, count in fields)
    return f"{file}: optional fields that could not be read were left out ({parts})."


def _no_satellites(_units: str, *, file: str, count: int) -> str:
    return f'{file}: {count} points say fix "none", so their places are not from satellites.'


def _no_checksums(_units: str, *, file: str) -> str:
    return f"{file}: no sentence has a checksum, so damaged ones cannot be told."


def _broken(_units: str, *, file: str, count: int) -> str:
    return f"{file}: {count} sentences whose begin is damaged were skipped."


def _not_measured(_units: str, *, file: str, count: int, kind: str) -> str:
    return f"{file}: {count} positions are {NOT_MEASURED[kind]}, not measured."


def _job_date(_units: str, *, file: str, job_date: str, logged: str) -> str:
    return f"{file}: job.date is {job_date}, but the log itself says {logged}; the log is followed."


def _rolled_over(_units: str, *, file: str, logged: str, right: str) -> str:
    return f"{file}: the log says {logged}; the receiver's week counter rolled over and was set to {right}."


def _week_doubtful(_units: str, *, file: str, logged: str) -> str:
    return f"{file}: the log says {logged}; if that is 1024 weeks early, set job.date to the true date."


def _transducers(_units: str, *, file: str, names: tuple[str, ...]) -> str:
    return (
        f"{file}: the log begins and ends with XDR {', '.join(names)}, so it may belong to the fix before it; it was "
        "given to the fix after it."
    )


def _packed_others(_units: str, *, file: str, count: int, names: tuple[str, ...]) -> str:
    return f"{file}: {count} of its files are no logs and were left out ({', '.join(names)})."


# --- task data --------------------------------------------------------------------------------------


def _not_of_the_time(_units: str, *, file: str, count: int) -> str:
    return f"{file}: none of its {count} fixes lies in the time of this job (track.from, track.to); it was left out."


def _clock_local(_units: str, *, file: str, timezone: str) -> str:
    zone = f"read in {timezone}" if timezone else "read as UTC, as no time zone is given (job.timezone)"
    return f"{file}: its positions state no UTC; the terminal's clock, which is local, was {zone}."


def _clock_unset(_units: str, *, file: str) -> str:
    return f"{file}: the terminal's clock was never set: it shows the year 1980."


def _parts_missing(_units: str, *, file: str, names: tuple[str, ...]) -> str:
    return f"{file}: {', '.join(names)} belong to it and are not there; copy the whole folder."


def _logs_cut(_units: str, *, file: str, count: int) -> str:
    return f"{file}: {count} time log(s) are cut off at the end and were read to the last whole record."


def _logs_damaged(_units: str, *, file: str, count: int) -> str:
    return f"{file}: {count} place(s) of the time logs are damaged and were stepped over."


def _no_place(_units: str, *, file: str, count: int) -> str:
    return f"{file}: {count} logged value(s) have no place in their header and were left out."


def _state_errors(_units: str, *, file: str, count: int) -> str:
    return f'{file}: {count} work state(s) say "error" and were taken as off.'


def _sections_unplaced(_units: str, *, device: str) -> str:
    return f"{device} does not say where its sections sit; they were taken as numbered from the left."


def _otherwise(_units: str, *, device: str) -> str:
    return (
        f"{device} does not number its sections from the left; the states it logged of all of them together were taken "
        "from the left, as ISO 11783-11 has them."
    )


def _sections_apart(units: str, *, device: str, apart_m: float) -> str:
    how = "overlapping by" if apart_m < 0 else "with gaps of"
    return f"{device} has sections {how} {way_words(abs(apart_m), units, '.2f')}; they were taken side by side."


def _products(_units: str, *, file: str, names: tuple[str, ...]) -> str:
    listed = ", ".join(f'"{name}"' for name in names)
    return f"{file}: the task names {listed}; list it as [[product]] with what its label says, to have that checked."


def _rate_logged(units: str, *, file: str, mean_l_ha: float) -> str:
    mean = f"{mean_l_ha / RATE_L_HA['gal/ac']:.4g} gal/ac" if units == "us" else f"{mean_l_ha:.4g} L/ha"
    return f"{file}: the terminal logged {mean} on average while anything came out."


def _counted(units: str, *, file: str, total_l: float) -> str:
    total = f"{total_l / VOLUME_L['gal']:.4g} gal" if units == "us" else f"{total_l:.4g} L"
    return f"{file}: the terminal counted {total} put down; rate.applied takes what left the tank."


def _width_varied(units: str, *, file: str, least_m: float, most_m: float) -> str:
    least, most = way_words(least_m, units, "g"), way_words(most_m, units, "g")
    return (
        f"{file}: the logged working width went from {least} to {most}, and no section states were logged; the boom "
        "counts as equally wide all the time."
    )


# --- outlines ---------------------------------------------------------------------------------------


def _closed(units: str, *, place: str, gap_m: float) -> str:
    return f"{place}: its ends lie {way_words(gap_m, units, '.1f')} apart; it was closed with a straight line."


def _without_area(_units: str, *, file: str, count: int) -> str:
    return f"{file}: {count} shape(s) without an area (points, lines) were left out."


def _repaired(units: str, *, place: str, doubt_m2: float) -> str:
    told = small_area(doubt_m2, units)
    least = told.removeprefix("less than ")
    most = f"more than {told}" if least == told else f"{least} or more"
    return f"{place}: the boundary was not valid and was repaired; no reading of it differs by {most}."


def _system_assumed(_units: str, *, file: str) -> str:
    return f"{file}: it states no coordinate reference system; taken as WGS 84 degrees."


def _system_turned(_units: str, *, file: str, name: str) -> str:
    return f'{file}: its coordinates were turned from "{name}" into WGS 84 degrees.'


def _from_drive(_units: str, *, file: str) -> str:
    return f"{file}: this outline was made from a drive over the field, so a skip along the edge does not show."


def _links(_units: str, *, file: str) -> str:
    return f"{file}: it points at other places (NetworkLink), which were not opened."


def _lap_untimed(_units: str, *, file: str) -> str:
    return (
        f"{file}: its line has no times. If it is a drive of this very job, ground missed along the edge does not show."
    )


def _own_lap(_units: str, *, file: str) -> str:
    return (
        f"{file}: this outline was driven in the course of this very job. That goes round in a circle: nothing can be "
        "told missed at the edge, and nothing is proven. A lap of another day, or an outline that was drawn, can."
    )


def _other_lap(_units: str, *, file: str, day: str, clock: str) -> str:
    return (
        f"{file}: this outline was driven or walked on {day} at {clock}, not in the course of this job, so ground "
        "missed along it shows. It lies as far inside the true edge as that way kept from it: say field.grow."
    )


def _shapes_inside(_units: str, *, file: str, count: int) -> str:
    return f"{file}: {count} shape(s) drawn inside another were taken as holes in it, which are not to be sprayed."


def _undrawn(_units: str, *, file: str, names: tuple[str, ...], more: int) -> str:
    others = f" and {more} more" if more else ""
    return f"{file}: no boundary is in it of {', '.join(names)}{others}."


def _no_spray(_units: str, *, file: str, kinds: tuple[tuple[str, int], ...]) -> str:
    listed = ", ".join(f"{count} {kind}" for kind, count in kinds)
    return f"{file}: areas in it were taken as not to be sprayed ({listed})."


def _no_length(_units: str, *, file: str, lines: tuple[int, ...]) -> str:
    more = f" and {len(lines) - MOST_LINES} more" if len(lines) > MOST_LINES else ""
    shown = ", ".join(map(str, lines[:MOST_LINES])) + more
    return f"{file}: rows that go on and off at the same moment were left out (line {shown})."


FILE_SENTENCES: dict[str, Callable[..., str]] = {
    "file cut off": _cut_off,
    "file checksum wrong": _file_checksum,
    "times uneven": _times_uneven,
    "fields unreadable": _unreadable,
    "points without satellites": _no_satellites,
    "no checksums": _no_checksums,
    "sentences broken": _broken,
    "positions not measured": _not_measured,
    "job date differs": _job_date,
    "week rolled over": _rolled_over,
    "week doubtful": _week_doubtful,
    "transducers doubtful": _transducers,
    "packed others": _packed_others,
    "log not of the time": _not_of_the_time,
    "terminal clock local": _clock_local,
    "terminal clock unset": _clock_unset,
    "parts missing": _parts_missing,
    "time logs cut off": _logs_cut,
    "time logs damaged": _logs_damaged,
    "values without a place": _no_place,
    "work states in error": _state_errors,
    "sections unplaced": _sections_unplaced,
    "sections numbered otherwise": _otherwise,
    "sections apart": _sections_apart,
    "products named": _products,
    "rate logged": _rate_logged,
    "volume counted": _counted,
    "width varied": _width_varied,
    "outline closed": _closed,
    "shapes without area": _without_area,
    "outline repaired": _repaired,
    "reference system assumed": _system_assumed,
    "reference system turned": _system_turned,
    "outline from drive": _from_drive,
    "links not opened": _links,
    "lap without times": _lap_untimed,
    "lap of this job": _own_lap,
    "lap of another day": _other_lap,
    "shapes inside": _shapes_inside,
    "fields undrawn": _undrawn,
    "no-spray taken": _no_spray,
    "rows of no length": _no_length,
}
"""Code of a reader's caution to the function that tells it; its arguments are the caution's values, by name."""
