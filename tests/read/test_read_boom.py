"""Boom intervals from a CSV file, as people and spreadsheets leave it."""

import csv
import datetime as dt
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.boom_times import parse_boom, parse_sections, parse_time, read_boom
from coverage_audit.read.source import read_bytes

NOON = dt.datetime(2026, 5, 30, 12, tzinfo=dt.UTC).timestamp()
ROW = "2026-05-30T12:00:00Z,2026-05-30T12:01:00Z"


def read(text, sections=3):
    return [(i.on_s - NOON, i.off_s - NOON, i.sections) for i in parse_boom(text, "boom.csv", sections)]


def refusal(text, sections=3):
    with pytest.raises(InputError) as caught:
        parse_boom(text, "boom.csv", sections)
    return str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        f"on,off\n{ROW}\n",
        f"ON , Off\r\n{ROW}\r\n",
        f"\n\non,off\n\n  {ROW}  \n,\n",
        f"on;off\n{ROW.replace(',', ';')}",
        f"on\toff\n{ROW.replace(',', chr(9))}",
        f"off,on\n{','.join(reversed(ROW.split(',')))}\n",
        f'"on","off"\n"{ROW.replace(",", chr(34) + "," + chr(34))}"\n',
        f"on,off,sections\n{ROW},\n",
        f"on,off,sections\n{ROW}\n",
        "on,off\n2026-05-30 12:00,2026-05-30 12:01\n",
        "on,off\n2026-05-30T06:00:00-06:00,2026-05-30T14:01:00.000+02\n",
        "on,off\n20260530T120000Z,20260530t120100z\n",
    ],
)
def test_one_minute_from_noon_however_it_is_written(text):
    assert read(text) == [(0.0, 60.0, ())]


def test_byte_order_marks_of_spreadsheets(tmp_path):
    for encoding in ("utf-8-sig", "utf-16"):
        path = tmp_path / "boom.csv"
        path.write_bytes(f"on,off\n{ROW}\n".encode(encoding))
        assert [i.on_s for i in read_boom(read_bytes(path), 1)] == [NOON]


@pytest.mark.parametrize("data", [b"on,off\n\0\n", b"on,off\n\xff\n", b"\xff\xfeo"])
def test_bytes_that_are_no_text(tmp_path, data):
    path = tmp_path / "boom.csv"
    path.write_bytes(data)
    with pytest.raises(InputError, match="not text"):
        read_boom(read_bytes(path), 1)


def test_decimal_comma_in_a_semicolon_file():
    assert read("on;off\n2026-05-30T12:00:00,25Z;2026-05-30T12:01:00,5Z\n") == [(0.25, 60.5, ())]


def test_rows_come_out_in_time_order_with_their_own_line():
    found = parse_boom(
        "on,off\n2026-05-30T12:05:00Z,2026-05-30T12:06:00Z\n2026-05-30T12:00:00Z,2026-05-30T12:05:00Z\n", "b.csv", 1
    )
    assert [i.place for i in found] == ["b.csv, line 3", "b.csv, line 2"]


@pytest.mark.parametrize(
    ("cell", "sections"),
    [("1+3", (1, 3)), ("1-3", (1, 2, 3)), ("1 ; 3", (1, 3)), ("3+1-2", (1, 2, 3)), ("2", (2,)), ("2+2", (2,))],
)
def test_sections(cell, sections):
    assert parse_sections(cell, "here", 3) == sections


@pytest.mark.parametrize(
    "cell",
    [
        "1-Mar",
        "01-Mar",
        "03-Jan",
        "Jan-03",
        "1-Mär",
        "2026-03-01",
        "2026-03-01 00:00:00",
        "1/3/2026",
        "01.03.2026",
        "1-Mar-26",
        "3. Jan.",
    ],
)
def test_sections_that_a_spreadsheet_made_a_date(cell):
    message = refusal(f"on,off,sections\n{ROW},{cell}\n")
    assert message.startswith("boom.csv, line 2: ")
    assert "spreadsheet" in message
    assert "1+2+3" in message


@pytest.mark.parametrize(
    "cell",
    [
        "5/30/2026 13:00",
        "30.05.2026 13:00:00",
        "5/30/26 1:00 PM",
        "13:00:00",
        "00:12.5",
        "46172.5416666667",
        "#######",
        "2026-5-30 9:00",
    ],
)
def test_times_that_a_spreadsheet_reshaped(cell):
    message = refusal(f"on,off\n{cell},2026-05-30T12:01:00Z\n")
    assert message.startswith("boom.csv, line 2: ")
    assert "spreadsheet" in message
    assert "2026-05-30T13:00:00Z" in message


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", "", "no rows"),
        ("on,off\n", "", "no interval"),
        (f"{ROW}\n", "line 1", "no column of this table"),
        ("on\n2026-05-30T12:00:00Z\n", "line 1", 'no column "off"'),
        (f"on,off,on\n{ROW},1\n", "line 1", 'two columns "on"'),
        (f"on,off,section\n{ROW},1\n", "line 1", '"section" is no column'),
        (f"on,off\n{ROW}\n2026-05-30T12:02:00Z,\n", "line 3", '"off" is blank'),
        ("on,off\n2026-05-30T12:01:00Z,2026-05-30T12:00:00Z\n", "line 2", "is before on"),
        ("on,off\n2026-05-30T12:01:00Z,2026-05-30T12:01:00Z\n", "", "every row goes on and off at the same"),
        ("on,off\n2026-05-30,2026-05-31\n", "line 2", "no time of day"),
        ("on,off\n2026-02-30T12:00:00Z,2026-05-31T12:00:00Z\n", "line 2", "not a time that exists"),
        ("on,off\n1926-05-30T12:00:00Z,2026-05-31T12:00:00Z\n", "line 2", "1980 to 2100"),
        ("on,off\nnoon,one\n", "line 2", "not a date and time"),
        (f"on,off,sections\n{ROW},4\n", "line 2", "no section 4, the boom has 3"),
        (f"on,off,sections\n{ROW},0\n", "line 2", "no section 0"),
        (f"on,off,sections\n{ROW},1-9\n", "line 2", "no section 9"),
        (f"on,off,sections\n{ROW},3-1\n", "line 2", "runs backwards"),
        (f"on,off,sections\n{ROW},left\n", "line 2", "does not name sections"),
        (f"on,off,sections\n{ROW},1,3\n", "line 2", "beyond the last column"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(text, line, said):
    message = refusal(text)
    assert message.startswith(f"boom.csv, {line}: " if line else "boom.csv: ")
    assert said in message


def test_a_boom_without_sections_has_one():
    assert "the boom has 1 section;" in refusal(f"on,off,sections\n{ROW},2\n", sections=1)


def test_overlap_on_one_section_names_both_lines():
    rows = "2026-05-30T12:00:30Z,2026-05-30T12:02:00Z,2-3\n2026-05-30T12:00:00Z,2026-05-30T12:01:00Z,1+2\n"
    message = refusal(f"on,off,sections\n{rows}")
    assert message.startswith("boom.csv, line 2: ")
    assert "line 3" in message
    assert "section 2" in message


def test_a_whole_boom_row_overlaps_every_section():
    rows = "2026-05-30T12:00:00Z,2026-05-30T12:05:00Z,\n2026-05-30T12:01:00Z,2026-05-30T12:02:00Z,3\n"
    assert "section 3" in refusal(f"on,off,sections\n{rows}")


def test_a_long_interval_still_counts_after_a_short_one():
    """The overlap is with the row before last, which a comparison of neighbours would lose."""
    rows = [("00", "10", 1), ("01", "02", 2), ("05", "06", 1)]
    text = "".join(f"2026-05-30T12:{on}:00Z,2026-05-30T12:{off}:00Z,{section}\n" for on, off, section in rows)
    message = refusal(f"on,off,sections\n{text}")
    assert message.startswith("boom.csv, line 4: ")
    assert "line 2" in message


def test_different_sections_may_overlap_and_one_may_touch_itself():
    rows = "2026-05-30T12:00:00Z,2026-05-30T12:01:00Z,1\n2026-05-30T12:00:30Z,2026-05-30T12:02:00Z,2\n"
    touching = "2026-05-30T12:01:00Z,2026-05-30T12:01:30Z,1\n"
    assert len(read(f"on,off,sections\n{rows}{touching}")) == 3


# --- properties ---------------------------------------------------------------------------


@given(st.datetimes(dt.datetime(1980, 1, 1), dt.datetime(2100, 12, 31)), st.integers(-14 * 60, 14 * 60))  # noqa: DTZ001
def test_iso_times_survive_a_round_trip(naive, zone_min):
    moment = naive.replace(tzinfo=dt.timezone(dt.timedelta(minutes=zone_min)))
    # 2e-6 s: a float of 4e9 s resolves 0.5e-6 s
    assert parse_time(moment.isoformat(), "here") == pytest.approx(moment.timestamp(), abs=2e-6)
    assert parse_time(naive.isoformat(" "), "here") == naive.replace(tzinfo=dt.UTC).timestamp()


@given(st.sets(st.integers(1, 12), min_size=1), st.sampled_from("+;"))
def test_sections_survive_a_round_trip(sections, joint):
    assert parse_sections(joint.join(map(str, sections)), "here", 12) == tuple(sorted(sections))


@given(st.lists(st.tuples(st.integers(1, 1000), st.integers(1, 1000)), min_size=1, max_size=8), st.randoms())
def test_rows_in_any_order_give_the_same_intervals(pairs, random):
    """Gaps and lengths in seconds make intervals that never overlap; their order in the file must not matter."""
    rows, clock = [], NOON
    for gap, length in pairs:
        on, off = (dt.datetime.fromtimestamp(clock + s, dt.UTC).isoformat() for s in (gap, gap + length))
        clock += gap + length
        rows.append((on, off))
    ordered = parse_boom(_csv(rows), "boom.csv", 1)
    random.shuffle(rows)
    shuffled = parse_boom(_csv(rows), "boom.csv", 1)
    assert [(i.on_s, i.off_s) for i in shuffled] == [(i.on_s, i.off_s) for i in ordered]
    assert sum(i.off_s - i.on_s for i in ordered) == sum(length for _, length in pairs)


def _csv(rows):
    stream = io.StringIO()
    csv.writer(stream).writerows([("on", "off"), *rows])
    return stream.getvalue()


CELLS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["2026-05-30T12:00:00Z", "2026-05-30 13:00", "1-3", "1-Mar", "9" * 40, "2026-05-30T24:00:00Z", '"', "٣"]
    ),
    st.datetimes().map(str),
)


@given(st.lists(st.lists(CELLS, max_size=4), max_size=5), st.sampled_from(",;\t"), st.booleans())
def test_no_table_brings_it_down(rows, delimiter, headed):
    """Whatever the cells hold: intervals in order, or an InputError that names the file."""
    text = "\n".join(delimiter.join(row) for row in ([["on", "off", "sections"]] if headed else []) + rows)
    try:
        found = parse_boom(text, "boom.csv", 3)
    except InputError as error:
        assert error.place.startswith("boom.csv")  # noqa: PT017 - either outcome is right
    else:
        assert all(i.on_s < i.off_s for i in found)
        assert [i.on_s for i in found] == sorted(i.on_s for i in found)


@given(st.binary(max_size=200))
def test_no_bytes_bring_it_down(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "fuzz.csv"
    path.write_bytes(data)
    with pytest.raises(InputError):
        read_boom(read_bytes(path), 3)


def test_a_row_of_no_length_is_left_out_and_told():
    """A switch that bounced, amid another row's time even: nothing was sprayed by it."""
    text = "on,off\n2026-05-30T12:00:00Z,2026-05-30T12:01:00Z\n2026-05-30T12:00:30Z,2026-05-30T12:00:30Z\n"
    cautions = []
    (kept,) = parse_boom(text, "boom.csv", 1, cautions)
    assert kept.off_s - kept.on_s == 60
    assert cautions == [Caution("rows of no length", file="boom.csv", lines=(3,))]
    assert parse_boom(text, "boom.csv", 1) == (kept,)
