"""Plain NMEA 0183 lines, found and cut into fields for a whole block of a log at once.

A line is plain when it is one sound sentence with a talker and three letters, and nothing else: nearly all of a log.
Whatever is not written so is left for the scan, which looks at one sentence after the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.read import tolerances as tol

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    Bytes = NDArray[np.uint8]

_COMMA, _DOLLAR, _STAR, _RETURN, _NEWLINE, _DOT, _ZERO = b",$*\r\n.0"
_HIGHEST_MARK = _COMMA  # digits, letters and points lie above; what lies below and is no mark makes a line odd
_COUNTRY = np.isin(np.arange(256), list(b"ABCDEFGHIJKLMNOQRSTUVWXYZ"))  # no P: proprietary
_LETTER = np.isin(np.arange(256), list(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"))
_HEX = np.full(256, 256, dtype=np.int64)
_HEX[list(b"0123456789abcdef")] = _HEX[list(b"0123456789ABCDEF")] = range(16)

ADDRESS = len("$GPRMC")
_KIND_AT, _KIND = 3, 3
_MOST_DIGITS = 15  # of a number: whole numbers up to 2^53 = 9.0e15 and powers of ten up to 1e22 are exact
_LAYOUTS = 16  # places of the point that numbers of one length are tried for


@dataclass(frozen=True)
class PlainLines:
    """Plain lines of a block, shape (n,) each, and its marks: the places of commas, stars and the like.

    ``at``: place of the "$"; ``comma``, ``star``: which marks are the comma behind the address and the "*".
    """

    text: bytes
    marks: IntArray
    at: IntArray
    comma: IntArray
    star: IntArray

    def take(self, which: BoolArray | IntArray) -> PlainLines:
        """Those selected by *which*."""
        return PlainLines(self.text, self.marks, self.at[which], self.comma[which], self.star[which])

    def of_kind(self, kind: str) -> PlainLines:
        """Those of one kind, as "RMC"."""
        return self.take(windows(self.text, self.at + _KIND_AT, _KIND).view(f"S{_KIND}") == kind.encode())

    def field(self, number: int) -> Fields:
        """Field *number* of each, the first behind the address being 0; empty where there is none."""
        begin = self.marks[np.minimum(self.comma + number, self.star)] + 1
        end = self.marks[np.minimum(self.comma + number + 1, self.star)]
        return Fields(self.text, begin, np.maximum(end - begin, 0))

    def bodies(self) -> list[str]:
        """Text between address and "*" of each."""
        spans = zip((self.marks[self.comma] + 1).tolist(), self.marks[self.star].tolist(), strict=True)
        return [self.text[begin:end].decode("latin-1") for begin, end in spans]


@dataclass(frozen=True)
class Fields:
    """One field of many sentences: where each begins and its length, shape (n,)."""

    text: bytes
    begin: IntArray
    length: IntArray

    def letters(self) -> Bytes:
        """The character of each that is one character long; 0 where it is empty, 255 where it is longer."""
        first = np.frombuffer(self.text, np.uint8)[self.begin]
        return np.select([self.length == 1, self.length == 0], [first, np.uint8(0)], np.uint8(255))

    def behind(self, count: int) -> Fields:
        """What stands behind the first *count* characters of each."""
        skipped = np.minimum(count, self.length)
        return Fields(self.text, self.begin + skipped, self.length - skipped)

    def digits(self, count: int) -> tuple[FloatArray, BoolArray]:
        """Number that the first *count* characters of each are, and where they are not all digits; NaN where empty."""
        values, odd = np.full(len(self.begin), np.nan), self.length > 0
        rows = np.flatnonzero(self.length >= count)
        written = windows(self.text, self.begin[rows], count).view(np.uint8).reshape(-1, count) - np.uint8(_ZERO)
        values[rows] = written @ 10.0 ** np.arange(count)[::-1]
        odd[rows] = (written > 9).any(axis=1)
        return values, odd

    def numbers(self) -> tuple[FloatArray, BoolArray]:
        """The number in each that is digits with at most one point, as `float` gives it; NaN where it is empty.

        Also which are written otherwise.
        """
        values, odd = np.full(len(self.begin), np.nan), self.length > 0
        for size in np.flatnonzero(np.bincount(self.length)[: _MOST_DIGITS + 2]).tolist():
            if not size:
                continue
            rows = np.flatnonzero(self.length == size)
            characters = windows(self.text, self.begin[rows], size).view(np.uint8).reshape(-1, size)
            for _ in range(_LAYOUTS):
                if not len(rows):
                    break
                found, same, sound = _of_one_layout(characters)
                done = rows[same][sound]
                values[done], odd[done] = found[sound], False
                rows, characters = rows[~same], characters[~same]
        return values, odd


def _of_one_layout(characters: Bytes) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Numbers of the rows that have their point where the first has it, which rows these are, which are digits."""
    size = characters.shape[1]
    point = bytes(characters[0]).find(b".")
    if point < 0:
        same, digits = (characters != _DOT).all(axis=1), characters
    else:
        same = characters[:, point] == _DOT
        digits = np.delete(characters, point, axis=1)
    digits = (digits if same.all() else digits[same]) - np.uint8(_ZERO)
    behind = size - 1 - point if point >= 0 else 0
    sound = (digits < 10).all(axis=1) & (0 < digits.shape[1] <= _MOST_DIGITS)
    weights = 10.0 ** np.arange(digits.shape[1])[::-1]
    return digits @ weights / 10.0**behind, same, sound


def windows(text: bytes, begin: IntArray, size: int) -> NDArray[np.void]:
    """*size* bytes of *text* from each of *begin* on, shape (n,)."""
    return np.ndarray((max(len(text) - size + 1, 0),), f"V{size}", text, strides=(1,))[begin]


def plain_lines(text: bytes) -> tuple[PlainLines, bytes, IntArray, IntArray]:
    """The plain lines of *text*, and the others joined.

    Returns
    -------
    PlainLines
        In the order of the text.
    others : bytes
        Every other line, whole, in order.
    begin, place : ndarray of int, shape (m,)
        Where each run of lines begins in *others* and where it stands in *text*.
    """
    data = np.frombuffer(text, np.uint8)
    marks = np.flatnonzero(data <= _HIGHEST_MARK)
    sign = data[marks]
    last = np.flatnonzero(sign == _NEWLINE)
    first = np.concatenate([[0], last + 1])[: len(last)]
    start = np.concatenate([[0], marks[last] + 1])  # of every line, one without an end too
    lines, whole = _sentences(text, data, marks, sign, first, last, start)
    odd = np.append(~whole, start[-1] < len(text))
    ends = np.append(start[1:], len(text))
    pieces = [(int(a), int(b)) for a, b in zip(start[odd], ends[odd], strict=True)]
    begin = np.concatenate([[0], np.cumsum([b - a for a, b in pieces], dtype=np.int64)])[: len(pieces)]
    return lines, b"".join(text[a:b] for a, b in pieces), begin, start[odd]


def _sentences(
    text: bytes, data: Bytes, marks: IntArray, sign: Bytes, first: IntArray, last: IntArray, start: IntArray
) -> tuple[PlainLines, BoolArray]:
    """Plain lines among those with marks *first* to *last*, and which they are."""
    star = np.maximum(last - 1 - (sign[last - 1] == _RETURN), 0)
    commas = np.cumsum(sign == _COMMA)
    comma = np.minimum(first + 1, star)
    behind = np.minimum(star + 1, last)  # the return or newline
    span = marks[star] - marks[comma] - 1
    whole = (
        (star > first + 1)
        & (sign[first] == _DOLLAR)
        & (sign[star] == _STAR)
        & (marks[first] == start[:-1])
        & (commas[star] - commas[first] == star - first - 1)
        & (marks[comma] - marks[first] == ADDRESS)
        & (span <= tol.MAX_SENTENCE_CHARS)
        & (marks[behind] - marks[star] == 3)
        & (marks[last] - marks[behind] == last - behind)
    )
    which = np.flatnonzero(whole)
    lines = PlainLines(text, marks, marks[first[which]], comma[which], star[which])
    good = _sound(lines, data)
    whole[which[~good]] = False
    return lines.take(good), whole


def _sound(lines: PlainLines, data: Bytes) -> BoolArray:
    """Which have an address of letters and the checksum that they state."""
    good = _COUNTRY[data[lines.at + 1]]
    for place in range(2, ADDRESS):
        good &= _LETTER[data[lines.at + place]]
    end = lines.marks[lines.star]
    # the checksum is the exclusive or of all between "$" and "*": a difference of running ones
    running = np.bitwise_xor.accumulate(data)
    stated = 16 * _HEX[data[end + 1]] + _HEX[data[end + 2]]
    return good & (stated == (running[lines.at] ^ running[end - 1]))
