"""Boom intervals from a CSV file: columns ``on``, ``off`` and, if wanted, ``sections``, ``how``, ``within``.

``how`` says where the times of a row came from, ``within`` how far a remembered one may be off. ``assumed`` = yes
stands for ``how`` = proposed.


The file is often touched by a spreadsheet, which turns ``1-3`` into a date and times into
its own shape. Both are recognised and refused with what to do, never guessed at.
"""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.units import TIME_S, parse_quantity

from .records import LOGGED, MARKED, PROPOSED, REMEMBERED, Interval
from .source import decoded
from .times import iso_moment
from .tolerances import FIRST_YEAR, LAST_YEAR, MAX_WITHIN_S

if TYPE_CHECKING:
    from .source import InputFile

COLUMNS = ("on", "off", "sections", "how", "within", "assumed")
DELIMITERS = ",;\t"

_SPREADSHEET_TIME = re.compile(
    r"\d{1,4}[/.\-]\d{1,2}[/.\-]\d{1,4}\D.*"  # 5/30/2026 13:00, 30.05.2026 13:00:00, 2026-5-30 9:00
    r"|\d{1,3}:\d\d([.:]\d+)*( ?[AP]\.?M\.?)?"  # 13:00, 00:12.5, 1:00:00 PM: the date is gone
    r"|\d{5}([.,]\d+)?"  # days since 1900
    r"|#+",  # column too narrow when it was copied
    re.IGNORECASE,
)
_SPREADSHEET_DATE = re.compile(
    r"\d{1,4}[-./ ]*[^\W\d_]{3,}\.?[-./ ]*\d*"  # 1-Mar, 3. Jan., 01-mars-26
    r"|[^\W\d_]{3,}\.?[-./ ]*\d{1,4}"  # Jan-03
    r"|\d{4}-\d{1,2}-\d{1,2}([T ].*)?"  # 2026-03-01
    r"|\d{1,4}[./]\d{1,2}([./]\d{1,4})?\.?"  # 1/3, 01.03.2026
)
_SECTIONS = re.compile(r"(\d{1,9})(?: ?- ?(\d{1,9}))?")


def read_boom(file: InputFile, section_count: int, cautions: list[Caution] | None = None) -> tuple[Interval, ...]:
    """Read the boom intervals of a CSV file.

    Parameters
    ----------
    file : InputFile
        Comma, semicolon or tab between the cells; UTF-8, or UTF-16 with a byte-order mark.
    section_count : int
        Sections of the boom; the ``sections`` column may name 1 to this.
    cautions : list of Caution, optional
        Rows left out as they go on and off at the same moment are told here.

    Raises
    ------
    InputError
        With the line number: not a table, unknown columns, a time or section that cannot be
        read, an interval that runs backwards, or two that overlap on one section.
    """
    return parse_boom(_decode(file.data, file.name), file.name, section_count, cautions)


def parse_boom(text: str, name: str, section_count: int, cautions: list[Caution] | None = None) -> tuple[Interval, ...]:
    """Intervals of the CSV *text*, sorted by time; *name* is the file's, for messages.

    A row of no length, as a switch leaves that bounces, sprayed nothing: it is left out and told in *cautions*.
    """
    rows = _rows(text, name)
    if not rows:
        raise InputError("the file has no rows; write a header on,off and one row per interval", name)
    columns = _columns(*rows[0], name)
    intervals = [_interval(columns, cells, f"{name}, line {line}", section_count) for line, cells in rows[1:]]
    if not intervals:
        raise InputError("there is a header but no interval below it; write one row per interval", name)
    empty = [interval.place for interval in intervals if interval.off_s == interval.on_s]
    if len(empty) == len(intervals):
        raise InputError("every row goes on and off at the same moment; write times that differ", name)
    if empty and cautions is not None:
        lines = tuple(int(place.rpartition(" ")[2]) for place in empty)
        cautions.append(Caution("rows of no length", file=name, lines=lines))
    intervals = [interval for interval in intervals if interval.off_s > interval.on_s]
    intervals.sort(key=lambda interval: (interval.on_s, interval.off_s))
    _refuse_overlap(intervals, section_count)
    return tuple(intervals)


def parse_time(text: str, place: str) -> float:
    """Seconds [s] since 1970 UTC of an ISO 8601 time; UTC when it names no zone."""
    try:
        moment = iso_moment(text)
    except ValueError as error:
        raise InputError(f'"{text}" is not a time that exists ({error}); correct it', place) from error
    if moment is None:
        raise InputError(_not_a_time(text), place)
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise InputError(f'the year of "{text}" is not within {FIRST_YEAR} to {LAST_YEAR}; correct it', place)
    return moment.timestamp()


def parse_sections(text: str, place: str, section_count: int) -> tuple[int, ...]:
    """Section numbers of "1+3" or "1-3"; () = all, for a blank cell."""
    if not text:
        return ()
    found: set[int] = set()
    for part in re.split(r"[+;]", text):
        match = _SECTIONS.fullmatch(part.strip())
        if match is None:
            raise InputError(_not_sections(text), place)
        first, last = int(match[1]), int(match[2] or match[1])
        if last < first:
            raise InputError(f'sections "{text}": the range {part.strip()} runs backwards; write {last}-{first}', place)
        wrong = first if not 1 <= first <= section_count else last
        if not 1 <= wrong <= section_count:
            has = "1 section" if section_count == 1 else f"{section_count} sections"
            raise InputError(
                f'sections "{text}": there is no section {wrong}, the boom has {has};'
                " correct it, or list them under boom.sections",
                place,
            )
        found.update(range(first, last + 1))
    return tuple(sorted(found))


def _decode(data: bytes, name: str) -> str:
    """Text of the file."""
    try:
        text = decoded(data)
    except UnicodeDecodeError as error:
        raise InputError('this is not text; save the table as "CSV UTF-8"', f"{name}, byte {error.start}") from error
    if "\0" in text:
        raise InputError('this is not text; save the table as "CSV UTF-8"', name)
    return text


def _rows(text: str, name: str) -> list[tuple[int, list[str]]]:
    """(line number, cells without outer blanks) of every row that is not blank."""
    header = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(DELIMITERS, key=header.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    rows = []
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if any(stripped):
                rows.append((reader.line_num, stripped))
    except csv.Error as error:
        raise InputError(f"this is not a table ({error}); save it as CSV", f"{name}, line {reader.line_num}") from error
    return rows


def _columns(line: int, cells: list[str], name: str) -> dict[str, int]:
    """Column name to its index, from the header row."""
    place = f"{name}, line {line}"
    names = [cell.lower() for cell in cells]
    while names and not names[-1]:
        names.pop()
    for number, column in enumerate(names, 1):
        if column not in COLUMNS:
            # a file of another kind may hold anything, and none of it is shown
            which = f'"{column[:20]}"' if {*COLUMNS[:2]} & {*names} else f"what stands in place {number}"
            raise InputError(f"{which} is no column of this table; the header is on,off or on,off,sections", place)
        if names.count(column) > 1:
            raise InputError(f'there are two columns "{column}"; keep one', place)
    for column in COLUMNS[:2]:
        if column not in names:
            raise InputError(f'there is no column "{column}"; the header is on,off or on,off,sections', place)
    return {column: names.index(column) for column in names}


def _interval(columns: dict[str, int], cells: list[str], place: str, section_count: int) -> Interval:
    """One row."""
    extra = [cell for cell in cells[len(columns) :] if cell]
    if extra:
        raise InputError(
            f'"{extra[0]}" stands beyond the last column; join sections with +, such as 1+3, and put one row on a line',
            place,
        )
    values = {column: cells[index] if index < len(cells) else "" for column, index in columns.items()}
    times = {}
    for column in COLUMNS[:2]:
        if not values[column]:
            raise InputError(f'"{column}" is blank; every interval needs both times', place)
        times[column] = parse_time(values[column], place)
    if times["off"] < times["on"]:
        raise InputError(
            f"off ({values['off']}) is before on ({values['on']}); correct the row or swap the two times", place
        )
    sections = parse_sections(values.get("sections", ""), place, section_count)
    how = _how(values, place)
    within = values.get("within", "")
    spread = parse_quantity(within, TIME_S, place, maximum=MAX_WITHIN_S, above=True) if within else None
    return Interval(times["on"], times["off"], sections, place, how, spread)


def _how(values: dict[str, str], place: str) -> str:
    """Where the times of a row came from."""
    assumed = values.get("assumed", "").casefold()
    if assumed not in ("", "no", "yes"):
        raise InputError(f'"{assumed}" stands under assumed; write yes, or clear the cell once you are sure', place)
    how = values.get("how", "").casefold()
    if how not in ("", LOGGED, MARKED, REMEMBERED, PROPOSED):
        known = f"{LOGGED}, {MARKED}, {REMEMBERED} or {PROPOSED}"
        raise InputError(f'"{how[:20]}" stands under how; write {known}, or leave the cell blank', place)
    if how not in ("", PROPOSED) and assumed == "yes":
        raise InputError(f"this row is {how} and assumed as well; clear the cell that is wrong", place)
    return PROPOSED if assumed == "yes" else how or LOGGED


def _refuse_overlap(intervals: list[Interval], section_count: int) -> None:
    """Raise when two intervals (sorted by ``on_s``) of one section overlap; touching is fine."""
    latest: dict[int, Interval] = {}
    for interval in intervals:
        for section in interval.sections or range(1, section_count + 1):
            before = latest.get(section)
            if before is not None and interval.on_s < before.off_s:
                which = f" on section {section}" if section_count > 1 else ""
                line = before.place.rpartition(", ")[2]
                raise InputError(
                    f"this interval overlaps the one in {line}{which}; one section cannot be switched on twice,"
                    " correct one of the two rows",
                    interval.place,
                )
            latest[section] = interval


def _not_a_time(text: str) -> str:
    """Say why *text* is not an ISO 8601 date and time."""
    wanted = "write it as 2026-05-30T13:00:00Z"
    if _SPREADSHEET_TIME.fullmatch(text):
        return f'a spreadsheet has reshaped the time "{text}"; {wanted}, in a column formatted as text'
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return f'"{text}" has a date but no time of day; {wanted}'
    return f'"{text}" is not a date and time; {wanted}'


def _not_sections(text: str) -> str:
    """Say why *text* is not a list of sections."""
    if _SPREADSHEET_DATE.fullmatch(text):
        return (
            f'a spreadsheet has turned these sections into a date, "{text}";'
            " write 1+2+3 in place of 1-3, or format the column as text"
        )
    return f'"{text}" does not name sections; write numbers from the left joined by +, or a range: 1+3 or 1-3'
