"""Plain NMEA lines decoded by column: whatever the file, the log is the one that sentence by sentence makes."""

import dataclasses
import random
from pathlib import Path

import numpy as np
import pytest
from nmea_text import JOB_DATE, log_of, sentence

from coverage_audit.errors import InputError
from coverage_audit.read import tolerances as tol
from coverage_audit.read.tracks import nmea_collect
from coverage_audit.read.tracks.nmea import read_nmea
from coverage_audit.read.tracks.nmea_collect import number_epochs
from coverage_audit.read.tracks.nmea_plain import plain_lines

CORPUS = Path(__file__).parents[3] / "shared" / "corpus"
LOGS = sorted(CORPUS.glob("nmea/*.log"))

# each list has what receivers write, what Python's own `float` and `int` take beyond it, and what nothing takes
TIMES = [
    "130000.00",
    "130000",
    "130001.5",
    "130001.50",
    "235959.999",
    "000000.0",
    "130060.9",
    "130061",
    "136000",
    "240000",
    "1300",
    "13000",
    "1300.",
    "13.000",
    "13000a",
    "",
    "-30000",
    "130000.00000000000000",
    " 130000",
    "1_0000",
]
ANGLES = [
    "4336.0000000",
    "4336",
    "4336.",
    "4359.99999",
    "4360.0",
    "0000.0000",
    "00.5",
    ".5",
    ".",
    "",
    "8960.0",
    "4336.123456789012345",
    "123456789012345",
    "1234567890123456",
    "-4336.1",
    "+4336.1",
    "1e3",
    "nan",
    "inf",
    "43 36",
    "4_3",
    "43.36.0",
    "18000.00000",
    "²",
]
NUMBERS = [
    "0",
    "5.2",
    "12.34",
    "360",
    "360.0",
    "360.1",
    "1000",
    "1001",
    "",
    ".",
    "1.",
    ".1",
    "007",
    "-1",
    "+1",
    "1e2",
    "0x1",
    "nan",
    "inf",
    "999999999999999",
    "9999999999999999",
    "0.1234567890123456",
    "³",
    " 1",
    "1 ",
]
DATES = [
    "300526",
    "310226",
    "000000",
    "010180",
    "311299",
    "290224",
    "290223",
    "",
    "3005",
    "3005260",
    "30052026",
    "3005a6",
]
MODES = ["A", "D", "N", "R", "", "AN", "NN", "X", "a", " ", "E"]
KINDS = ("RMC", "RMC", "GGA", "GGA", "VTG", "GST", "GSA", "GNS", "GLL", "ZDA", "XDR", "GSV")
PIECES = (
    b"$",
    b"*",
    b"\r",
    b"\n",
    b"\r\n",
    b",",
    b"!",
    b" ",
    b"\0",
    b"\xff",
    b"$GPGGA,",
    b"$PGRME,",
    b"*00",
    b"A",
    b"9",
    b".",
)


def position(rng):
    return [rng.choice(ANGLES), rng.choice("NNNNSSns "), rng.choice(ANGLES), rng.choice("EEEWWWew ")]


def fields_of(rng, kind):
    """Fields of one sentence, each a likely or an odd one."""
    pick = rng.choice
    time, number, mode = pick(TIMES), (lambda: pick(NUMBERS)), pick(MODES)
    return {
        "RMC": [time, pick("AAAV "), *position(rng), number(), number(), pick(DATES), number(), "", mode],
        "GGA": [time, *position(rng), pick("01234568 9a"), number(), number(), number(), "M", number(), "M", "", ""],
        "GNS": [time, *position(rng), mode, number(), number(), number()],
        "GLL": [*position(rng), time, pick("AV "), mode],
        "VTG": [number(), "T", number(), "M", number(), "N", number(), "K", mode],
        "GST": [time, *(number() for _ in range(7))],
        "ZDA": [time, pick(("30", "31", "a")), pick(("05", "13")), pick(("2026", "26", "1800")), "", ""],
        "GSA": ["A", pick("123x"), *(number() for _ in range(15))],
        "XDR": ["S", pick("01x"), "", pick(("BOOM", "BOOM2", "boom")), "R", number(), "L", "FLOW"],
        "GSV": ["1", "1", "00"],
    }[kind]


def plain_fields(rng, kind, second):
    """As a sound receiver writes them."""
    clock = f"1300{second:02d}.{rng.choice(('00', '50'))}"
    place = [f"43{rng.uniform(10, 59):010.7f}", "N", f"116{rng.uniform(10, 59):010.7f}", "W"]
    speed = f"{rng.uniform(0, 20):.2f}"
    return {
        "RMC": [clock, "A", *place, speed, f"{rng.uniform(0, 360):.1f}", "300526", "", "", "A"],
        "GGA": [clock, *place, "4", "12", "0.7", "820.0", "M", "-20.0", "M", "1.0", "0000"],
        "VTG": ["91.2", "T", "", "M", speed, "N", "9.6", "K", "A"],
        "GST": [clock, "1.2", "0.5", "0.4", "91.2", "0.012", f"{rng.uniform(0, 2):.3f}", "0.02"],
    }.get(kind) or fields_of(rng, kind)


def any_log(rng):
    """A log of good, odd and damaged sentences."""
    strange = rng.choice((0.0, 0.02, 0.3, 1.0))
    lines = []
    for number in range(rng.choice((1, 5, 30, 80))):
        kind = rng.choice(KINDS)
        fields = plain_fields(rng, kind, (number // 3 + rng.choice((0, 0, 0, 1, 2, 9))) % 60)
        for at in range(len(fields)) if rng.random() < 0.3 else [rng.randrange(len(fields))]:
            fields[at] = fields_of(rng, kind)[at] if rng.random() < 3 * strange else fields[at]
        if rng.random() < strange / 3:
            fields = fields[: rng.randrange(len(fields) + 1)] if rng.random() < 0.5 else [*fields, "", "x"]
        address = rng.choice(("GP", "GN", "GP", "P1", "1A", "G1")) if rng.random() < strange / 3 else "GN"
        line = sentence(",".join([address + kind, *fields]))
        if rng.random() < strange / 3:
            line = rng.choice((line.lower(), line.replace("\r", ""), line[:-5] + "\r\n", line.rstrip(), "x" + line))
        lines.append(line.encode("latin-1"))
    return b"".join(lines)


def changed(rng, data):
    """*data* with a few bytes exchanged, put in or lost."""
    for _ in range(rng.choice((0, 0, 1, 3, 20))):
        at = rng.randrange(len(data) + 1)
        data = data[:at] + rng.choice(PIECES) + data[at + rng.randrange(2) :]
    return data[: rng.randrange(len(data) + 1)] if rng.random() < 0.1 else data


def everything(value):
    """*value* in a form that compares bit by bit, the order of what is counted included."""
    if dataclasses.is_dataclass(value):
        return [(field.name, everything(getattr(value, field.name))) for field in dataclasses.fields(value)]
    if isinstance(value, np.ndarray):
        return value.dtype.str, value.tobytes()
    if isinstance(value, dict):
        return [(key, everything(one)) for key, one in value.items()]
    return [everything(one) for one in value] if isinstance(value, tuple | list) else repr(value)


def read(data, date=None):
    try:
        return everything(read_nmea(data, "x.nmea", date))
    except InputError as error:
        return str(error)


def one_by_one(data, monkeypatch, date=None):
    """What the log is when no line is taken for plain."""

    def none_plain(text):
        lines, _, _, _ = plain_lines(b"")
        return lines, text, np.zeros(1, np.int64), np.zeros(1, np.int64)

    with monkeypatch.context() as patched:
        patched.setattr(nmea_collect, "plain_lines", none_plain)
        return read(data, date)


def hold(rng, data, monkeypatch):
    date = rng.choice((None, JOB_DATE))
    if rng.random() < 0.3:
        monkeypatch.setattr(tol, "SCAN_BLOCK_BYTES", rng.choice((300, 2000)))
    assert read(data, date) == one_by_one(data, monkeypatch, date)


@pytest.mark.parametrize("seed", range(20))
def test_any_log_is_read_as_sentence_by_sentence(seed, monkeypatch):
    rng = random.Random(seed)
    for _ in range(10):
        hold(rng, changed(rng, any_log(rng)), monkeypatch)


def test_every_odd_value_in_every_field_is_read_as_sentence_by_sentence(monkeypatch):
    rng = random.Random(2)
    odd = sorted(
        {*TIMES, *ANGLES, *NUMBERS, *DATES, *MODES, *(str(rng.random() * 10.0 ** rng.randrange(5)) for _ in range(30))}
    )
    for kind in nmea_collect.BY_COLUMN:
        bodies = []
        for at in range(len(plain_fields(rng, kind, 0))):
            for number, value in enumerate(odd):
                fields = plain_fields(rng, kind, number % 60)
                fields[at] = value
                bodies += ["GNRMC," + ",".join(plain_fields(rng, "RMC", number % 60)), ",".join([f"GN{kind}", *fields])]
        hold(rng, log_of(*bodies).encode("latin-1"), monkeypatch)


@pytest.mark.skipif(not LOGS, reason="no corpus of real logs beside the checkout")
@pytest.mark.parametrize("path", LOGS, ids=lambda path: path.stem)
def test_corpus_logs_are_read_as_sentence_by_sentence(path, monkeypatch):
    data = path.read_bytes()
    rng = random.Random(path.name)
    for _ in range(4):
        hold(rng, data, monkeypatch)
        data = changed(rng, data)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1000, 1200))
def test_thousands_of_logs_are_read_as_sentence_by_sentence(seed, monkeypatch):
    rng = random.Random(seed)
    for _ in range(50):
        hold(rng, changed(rng, any_log(rng)), monkeypatch)


def test_all_lines_of_a_sound_log_are_plain():
    rng = random.Random(1)
    kinds = ("RMC", "GGA", "VTG", "GST")
    bodies = [",".join([f"GN{kind}", *plain_fields(rng, kind, second)]) for second in range(60) for kind in kinds]
    lines, others, _, _ = plain_lines(log_of(*bodies).encode())
    assert (len(lines.at), others) == (240, b"")
    for kind, decode in nmea_collect.BY_COLUMN.items():
        rows, odd = decode(lines.of_kind(kind))
        assert (len(rows), odd.sum()) == (60, 0)


def test_a_line_that_is_not_plain_is_left_whole_and_in_its_place():
    good, bad = sentence("GPGGA,130000"), "$GPGGA,1*00\r\n"
    lines, others, begin, place = plain_lines((good + bad + bad + good + "x").encode())  # of 18 and 13 characters
    assert (lines.at.tolist(), others) == ([0, 44], (bad + bad + "x").encode())
    assert (begin.tolist(), place.tolist()) == ([0, 13, 26], [18, 31, 62])


def test_a_sentence_joins_one_of_the_last_few_epochs_or_begins_one():
    epoch, tod = number_epochs(np.array([1.0, 1.0, 2.0, 1.0, 3.0, 4.0, 2.0, 5.0, 6.0, 1.0, 2.0]))
    assert tol.EPOCH_LOOKBACK == 4
    assert epoch.tolist() == [0, 0, 1, 0, 2, 3, 1, 4, 5, 6, 7]
    assert tod.tolist() == [1, 2, 3, 4, 5, 6, 1, 2]
    epoch, tod = number_epochs(np.array([1.0, 1.0, 2.0, 3.0, 4.0, 5.0, 1.0]))
    assert (epoch.tolist(), tod.tolist()) == ([0, 0, 1, 2, 3, 4, 5], [1, 2, 3, 4, 5, 1])
    assert [len(one) for one in number_epochs(np.empty(0))] == [0, 0]
