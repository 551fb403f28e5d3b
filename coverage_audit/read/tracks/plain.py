"""Columns of a log to a ``TrackLog``, for forms without a boom state, and the one rule for exported times."""

from __future__ import annotations

import hashlib
import math
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.records import Fixes, TrackLog
from coverage_audit.read.taskdata.clock import from_local
from coverage_audit.read.times import iso_moment

from .faults import find_faults, refuse_unusable, within_turn

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.arrays import FloatArray

UTC, LOCAL = "utc", "local"
"""What the name of a column says of times that state no zone."""

_ZONE = re.compile(r"(Z|[+-]\d\d(:?\d\d(:?\d\d)?)?)$", re.IGNORECASE)
_UNIX = re.compile(r"[0-9]{9,10}(\.[0-9]+)?|[0-9]{12,13}")
_MILLISECONDS_FROM = 1e11  # as seconds this is the year 5138
_WHOLE_NUMBERS = {"quality": -1, "satellites": -1, "segment": 0}


def plain_log(
    data: bytes,
    name: str,
    form: str,
    thing: str,
    columns: Mapping[str, FloatArray],
    *,
    lost: Mapping[str, int] | None = None,
    notes: Mapping[str, int] | None = None,
    cautions: Sequence[Caution] = (),
) -> TrackLog:
    """Log of fixes in file order.

    Parameters
    ----------
    data : bytes
        The whole file, for its sum.
    form, thing : str
        Name of the form on paper, and what it calls a fix.
    columns : mapping of str to ndarray, shape (n,)
        Fields of ``Fixes`` by name: time_s, lat_deg and lon_deg, and what else the form has.
    lost : mapping of str to int, optional
        Fixes that are in none of the columns, by reason.

    Raises
    ------
    InputError
        No fix can be used.
    """
    count = len(columns["time_s"])
    columns = {**columns, "lon_deg": within_turn(columns["lon_deg"])}
    usable, dropped = find_faults(columns["time_s"], columns["lat_deg"], columns["lon_deg"])
    if not usable.any():
        if not count:
            raise InputError(f"no {thing} in it is whole; export the log again", name)
        refuse_unusable(name, thing, dropped, columns["lat_deg"], columns["lon_deg"])
    gone = {reason: number for reason, number in (lost or {}).items() if number}
    filled: dict[str, Any] = {}
    for field in Fixes.__dataclass_fields__:
        whole = _WHOLE_NUMBERS.get(field)
        column = columns.get(field, np.full(count, np.nan if whole is None else whole))[usable]
        filled[field] = column if whole is None else np.where(np.isnan(column), whole, column).astype(np.int64)
    return TrackLog(
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        form=form,
        fixes=Fixes(**filled),
        fixes_read=count + sum(gone.values()),
        dropped={"bad_checksum": 0, **dropped, **gone},
        notes={label: number for label, number in (notes or {}).items() if number},
        cautions=tuple(cautions),
    )


def cut_caution(name: str, how: str, count: int, thing: str, line: int = 0) -> list[Caution]:
    r"""What there is to say of a file that breaks off; nothing where nothing was lost.

    *how* it does: "end" (cut off), "row" (its last row) or "damaged"; *count* of *thing*\ s were read before that,
    up to *line* of the file (0: it has no lines).
    """
    return [Caution("file cut off", file=name, how=how, count=count, thing=thing, line=line)] if count else []


def seconds_of(values: Sequence[object], said: str, timezone: str, place: str) -> FloatArray:
    """Seconds since 1970 UTC of exported times; NaN for what is none.

    Parameters
    ----------
    values : sequence
        ISO 8601 texts, or seconds or milliseconds since 1970, which are UTC by their meaning.
    said : str
        ``UTC`` or ``LOCAL`` where the column's name says so, else "".
    timezone : str
        Of local times; "" where the job names none.
    place : str
        File and column, for messages.

    Raises
    ------
    InputError
        Times of day that state no zone, and nothing tells which it is.
    """
    found, bare = np.full(len(values), np.nan), np.zeros(len(values), bool)
    for number, value in enumerate(values):
        text = str(value).strip() if isinstance(value, str | int | float) and not isinstance(value, bool) else ""
        if _UNIX.fullmatch(text):
            unix = float(text)
            found[number] = unix / 1000.0 if unix >= _MILLISECONDS_FROM else unix
            continue
        try:
            moment = iso_moment(text)
            found[number] = math.nan if moment is None else moment.timestamp()
        except (ValueError, OverflowError):
            continue
        bare[number] = _ZONE.search(text[10:]) is None and bool(np.isfinite(found[number]))
    if bare.any() and said != UTC:
        if said != LOCAL:
            raise InputError(
                "its times say no zone, and nobody can tell whether they are UTC; name their column time_utc, or"
                " time_local if they are in the zone of job.timezone",
                place,
            )
        if not timezone:
            raise InputError("its times are local; say in which zone, as job.timezone or --timezone", place)
        found[bare] = from_local(found[bare], timezone)
    return found
