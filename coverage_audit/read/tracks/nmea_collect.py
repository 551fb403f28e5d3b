"""Collect the sentences of an NMEA 0183 log and say which epoch each belongs to.

Only a sentence with a position begins an epoch: the time in ZDA or GST may run ahead of it.
"""

from __future__ import annotations

import math
from array import array
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.read import tolerances as tol

from .nmea_columns import BY_COLUMN, times
from .nmea_plain import plain_lines
from .nmea_sentences import (
    ASIDE_DECODERS,
    PADDING,
    POSITION_COLUMNS,
    POSITION_DECODERS,
    TIME_FIELD,
    WANTED,
    Tally,
    blocks,
    decode_xdr,
    has_checksum,
    scan,
    time_of_day,
)
from .nmea_transducers import TransducerLog

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray

    from .nmea_plain import PlainLines

    Left = tuple[int, str, list[str] | None]

_POSITION_ROW, _ASIDE_ROW = 2 + len(POSITION_COLUMNS), 3


@dataclass(frozen=True)
class Aside:
    """Sentences of one kind without a position, shape (n,): position sentences before each, and two decoded values.

    ``leads``: the first stands before every sentence with a position, so that the kind opens its burst.
    """

    before: IntArray
    first: FloatArray
    second: FloatArray
    leads: bool


@dataclass(frozen=True)
class Sentences:
    """The decoded sentences of one log.

    ``tod_s``: UTC time of day of each epoch [s]; ``timed``: epoch of each position sentence, in file order;
    ``epoch``, ``rank`` and ``column`` (by `POSITION_COLUMNS`): the position sentences, the preferred kind last.
    """

    tally: Tally
    tod_s: FloatArray
    timed: IntArray
    epoch: IntArray
    rank: IntArray
    column: dict[str, FloatArray]
    aside: dict[str, Aside]
    transducers: TransducerLog


def collect(data: bytes) -> Sentences:
    """Decode every sentence of *data*."""
    gathered = _Gathered(Tally(checksums_used=has_checksum(data)))
    for start, stop in blocks(data):
        gathered.add_block(data[start:stop], start)
    return gathered.placed()


class _Gathered:
    """Rows by kind, in no order: place in the file, time of day where there is a position, decoded values."""

    def __init__(self, tally: Tally) -> None:
        self.tally = tally
        self.transducers = TransducerLog()
        self._arrays: dict[str, list[FloatArray]] = {kind: [] for kind in (*POSITION_DECODERS, *ASIDE_DECODERS)}
        self._single = {kind: array("d") for kind in self._arrays}
        self._started = math.inf  # place of the first position sentence, damaged or not

    def add_block(self, text: bytes, start: int) -> None:
        """Decode the block *text* that stands at *start*: plain lines by column, all else one by one."""
        lines, others, begin, place = plain_lines(text)
        left = [one for kind in sorted(WANTED) for one in self._by_column(kind, lines.of_kind(kind), start)]
        for at, kind, fields in scan(others, self.tally):
            run = int(np.searchsorted(begin, at, side="right")) - 1
            left.append((start + int(place[run]) + at - int(begin[run]), kind, fields))
        for at, kind, fields in sorted(left, key=lambda one: one[0]):
            self._add(at, kind, fields)

    def _by_column(self, kind: str, lines: PlainLines, start: int) -> list[Left]:
        """Keep what can be decoded by column; the other sentences."""
        if kind in TIME_FIELD and len(lines.at):
            self._started = min(self._started, start + int(lines.at[0]))
        odd = np.ones(len(lines.at), np.bool_)
        if kind in BY_COLUMN:
            rows, odd = BY_COLUMN[kind](lines)
            columns = [(start + lines.at)[:, None], rows]
            if kind in TIME_FIELD:
                tod, untimed = times(lines, TIME_FIELD[kind])
                columns.insert(1, tod[:, None])
                odd = odd | untimed
            self._arrays[kind].append(np.hstack(columns)[~odd])
        rest = lines.take(odd)
        bodies = zip((start + rest.at).tolist(), rest.bodies(), strict=True)
        return [(at, kind, body.split(",") + PADDING) for at, body in bodies]

    def _add(self, at: int, kind: str, fields: list[str] | None) -> None:
        notes = self.tally.notes
        decode = POSITION_DECODERS.get(kind)
        if decode is not None:
            self._started = min(self._started, at)
            if fields is None:
                return
            tod = time_of_day(fields[TIME_FIELD[kind]])
            if math.isnan(tod):
                notes["sentence_without_time"] += 1
            else:
                self._single[kind].extend((at, tod, *decode(fields, notes)))
        elif fields is not None and kind == "XDR":
            for transducer in decode_xdr(fields, notes):
                self.transducers.add(transducer, at)
        elif fields is not None:
            self._single[kind].extend((at, *ASIDE_DECODERS[kind](fields, notes)))

    def _rows(self, kind: str, width: int) -> FloatArray:
        """Rows of one kind in file order, shape (n, width)."""
        rows = np.concatenate([*self._arrays[kind], np.array(self._single[kind]).reshape(-1, width)])
        return rows[np.argsort(rows[:, 0], kind="stable")]

    def placed(self) -> Sentences:
        """Everything gathered, with its epochs."""
        of_kind = [self._rows(kind, _POSITION_ROW) for kind in POSITION_DECODERS]
        rank = np.repeat(np.arange(len(of_kind)), [len(rows) for rows in of_kind])
        rows = np.concatenate(of_kind)
        order = np.argsort(rows[:, 0], kind="stable")
        place = rows[order, 0]
        timed, tod = number_epochs(rows[order, 1])
        epoch = np.empty(len(rows), np.int64)
        epoch[order] = timed
        _, begins = np.unique(timed, return_index=True)
        self.transducers.place(place, place[begins], self._started)
        columns = dict(zip(POSITION_COLUMNS, rows[:, 2:].T, strict=True))
        aside = {kind: self._aside(kind, place) for kind in ASIDE_DECODERS}
        return Sentences(self.tally, tod, timed, epoch, rank, columns, aside, self.transducers)

    def _aside(self, kind: str, place: FloatArray) -> Aside:
        at, first, second = self._rows(kind, _ASIDE_ROW).T
        leads = bool(len(at)) and bool(at[0] < self._started)
        return Aside(np.searchsorted(place, at), first, second, leads)


def number_epochs(tod_s: FloatArray) -> tuple[IntArray, FloatArray]:
    """Number of the epoch of each position sentence, and the time of each epoch.

    Parameters
    ----------
    tod_s : ndarray of float, shape (n,)
        Time of day that each sentence states, in file order. [s]

    Returns
    -------
    epoch : ndarray of int, shape (n,)
        One of the last few begun that has this time, or a new one.
    tod_s : ndarray of float, shape (m,)
        Time of day of each epoch. [s]
    """
    fresh = np.append([True], np.diff(tod_s) != 0)[: len(tod_s)]
    run = np.cumsum(fresh) - 1
    times_s = tod_s[fresh]
    if not any((times_s[back:] == times_s[:-back]).any() for back in range(2, tol.EPOCH_LOOKBACK + 1)):
        return run, times_s
    begun: list[float] = []
    numbers = []
    for time_s in times_s.tolist():
        recent = range(len(begun) - 1, max(len(begun) - 1 - tol.EPOCH_LOOKBACK, -1), -1)
        number = next((epoch for epoch in recent if begun[epoch] == time_s), len(begun))
        if number == len(begun):
            begun.append(time_s)
        numbers.append(number)
    return np.array(numbers)[run], np.array(begun)
