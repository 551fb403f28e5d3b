"""Changed logs of every form: what is left whole is read, or the loss is told; never fewer fixes without a word.

Each byte keeps where it came from, so that it is known of every record whether it is left whole, or at least from its
first byte to its last. The same seed and number make the same case.
"""

import re
from dataclasses import dataclass

import numpy as np
import pytest
from nmea_text import sentence
from simulator import exported, taskdata

from coverage_audit.errors import InputError
from coverage_audit.read.packed import Memory
from coverage_audit.read.tracks.form import Asked
from coverage_audit.read.tracks.registry import logs_of

SEED = 40871
QUICK, MANY = 60, 2_000
T0 = 1_780_146_000.0  # 2026-05-30 13:00:00 UTC
FIXES = [(T0 + k, 43.6 + 9e-6 * k, -116.2 + 3e-6 * (k % 5)) for k in range(40)]
# an odd count: an even one of the same sign leaves the sum of an NMEA sentence right
WORDS = (b"", b" ", b"\0", b"<b>", b"&amp;", b'"', b",,", b"null", b"\n", b"9" * 31, b"-", b"nan")


def gpx():
    points = "".join(
        f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"><time>{exported.stamp(t)}</time></trkpt>\n' for t, lat, lon in FIXES
    )
    return f'<gpx version="1.1"><trk><trkseg>\n{points}</trkseg></trk></gpx>\n'.encode()


def nmea():
    lines = []
    for t, lat, lon in FIXES:
        clock = exported.stamp(t)[11:22].replace(":", "")
        places = [f"{int(abs(one)):0{digits}d}{abs(one) % 1 * 60:010.7f}" for one, digits in ((lat, 2), (lon, 3))]
        lines.append(sentence(f"GNRMC,{clock},A,{places[0]},N,{places[1]},W,5.2,0.0,300526,,,A"))
    return ("\r\n".join(lines) + "\r\n").encode()


def time_log():
    fixes = [taskdata.Fix(t, lat, lon, utc_s=t) for t, lat, lon in FIXES]
    fixes[5].values, fixes[30].values = {0: taskdata.condensed((1, 1, 1))}, {0: taskdata.condensed((0, 0, 0))}
    return taskdata.TimeLog("TLG00001", [(161, "DET-2")], fixes)


def task_files():
    text = taskdata.index(taskdata.sprayer(), taskdata.task("TSK-1", "Spray", ["TLG00001"]))
    return taskdata.folder(text, [time_log()])


@dataclass(frozen=True)
class Form:
    """A sound file, the parts of each of its records, and the files beside it."""

    name: str
    data: bytes
    records: list
    beside: dict


def spans(pattern, data):
    return [one.span() for one in re.finditer(pattern, data, re.DOTALL)]


def text_form(name, data, *patterns):
    """Records of a form of text: one part of each for every pattern, in the same order."""
    parts = [spans(pattern, data) for pattern in patterns]
    assert {len(one) for one in parts} == {len(FIXES)}
    return Form(name, data, list(zip(*parts, strict=True)), {})


def forms():
    kml = {points: exported.kml_of(FIXES, points=points).encode() for points in (False, True)}
    geojson = {points: exported.geojson_of(FIXES, points=points).encode() for points in (False, True)}
    log, files = time_log(), task_files()
    ends = np.cumsum([len(log.record(one)) for one in log.fixes]).tolist()
    starts = [0, *ends[:-1]]
    always = [()] * len(FIXES)  # the records lie in another file
    binary, header, index = (f"TASKDATA/{one}" for one in ("TLG00001.BIN", "TLG00001.XML", "TASKDATA.XML"))
    table = exported.csv_of(FIXES).encode()
    return [
        text_form("track.gpx", gpx(), rb"<trkpt.*?</trkpt>"),
        text_form("track.nmea", nmea(), rb"\$GNRMC[^\r]*\r\n"),
        text_form("track.csv", table, rb"2026[^\n]*\n"),
        text_form("track.kml", kml[False], rb"<when>.*?</when>", rb"<gx:coord>.*?</gx:coord>"),
        text_form("points.kml", kml[True], rb"<Placemark>.*?</Placemark>"),
        text_form("track.geojson", geojson[False], rb"\[-116[^\]]*\]", rb'"2026[^"]*"'),
        text_form("points.geojson", geojson[True], rb'\{"type": "Feature",.*?\}\}'),
        Form("track.fit", exported.fit_of(FIXES), [((32 + 15 * k, 47 + 15 * k),) for k in range(len(FIXES))], {}),
        Form("logs.zip", taskdata.packed({"a.csv": table}), always, {}),
        Form("track.kmz", taskdata.packed({"doc.kml": kml[False]}), always, {}),
        Form("task.zip", taskdata.packed(files), always, {}),
        Form(binary, files[binary], [((a, b),) for a, b in zip(starts, ends, strict=True)], files),
        Form(header, files[header], always, files),
        Form(index, files[index], always, files),
    ]


FORMS = {one.name: one for one in forms()}


# --- changing bytes that know where they came from -------------------------------------------------


def changed(rng, data):
    """Bytes changed, cut, taken out, told again or put in, and for each where it stood before; -1 what is new."""
    new, origin = np.frombuffer(data, np.uint8).copy(), np.arange(len(data))
    for _ in range(int(rng.choice([1, 1, 2, 4]))):
        at = int(rng.integers(len(new)))
        length = int(rng.choice([1, 4, 30, 200]))
        kind = rng.choice(["change", "cut", "take out", "again", "word", "number"])
        if kind == "change":
            some = rng.integers(0, len(new), int(rng.choice([1, 4])))
            new[some], origin[some] = rng.integers(0, 256, len(some)), -1
        elif kind == "cut":
            new, origin = new[: at + 1], origin[: at + 1]
        elif kind == "take out":
            kept = np.r_[0:at, min(at + length, len(new) - 1) : len(new)]
            new, origin = new[kept], origin[kept]
        else:
            first = int(rng.integers(len(new)))
            digit = bytes([int(rng.integers(48, 58))])
            word = {"again": new[first : first + length].tobytes(), "word": WORDS[int(rng.integers(len(WORDS)))]}
            put = np.frombuffer(word.get(str(kind), digit), np.uint8)
            new = np.concatenate([new[:at], put, new[at:]])
            origin = np.concatenate([origin[:at], np.full(len(put), -1), origin[at:]])
    return new.tobytes(), origin


def left_in(origin, records, size):
    """(records left whole, records left from their first to their last byte), as indices."""
    now = np.full(size, -1)
    now[origin[origin >= 0]] = np.flatnonzero(origin >= 0)
    whole, there = [], []
    for number, parts in enumerate(records):
        ends = [(now[a], now[b - 1], b - a) for a, b in parts]
        if all(first >= 0 and last > first for first, last, _ in ends):
            there.append(number)
            if all(last - first == length - 1 for first, last, length in ends) and all(
                (now[a:b] >= 0).all() for a, b in parts
            ):
                whole.append(number)
    return whole, there


def read(form, data):
    name = form.name.rsplit("/", 1)[0] if form.beside else form.name
    (log,) = logs_of(Memory(form.beside | {form.name: data}), name, Asked())
    return log


def told(log):
    """Whether anything is said of what was not used."""
    return sum(log.dropped.values()) + sum(log.notes.values()) + len(log.cautions) > 0


def check(form, seed, number):
    rng = np.random.default_rng([seed, number, list(FORMS).index(form.name)])
    data, origin = changed(rng, form.data)
    try:
        log = read(form, data)
    except InputError:
        return "refused"
    whole, there = left_in(origin, form.records, len(form.data))
    assert log.fixes_read >= len(log.fixes)
    if told(log):
        return "told"
    assert len(log.fixes) >= len(there), (number, len(log.fixes), len(there))
    found = np.column_stack([log.fixes.time_s, log.fixes.lat_deg])
    for time_s, lat, _ in (FIXES[one] for one in whole if form.records[one]):
        assert (np.abs(found - [time_s, lat]) < [2e-3, 2e-7]).all(axis=1).any(), (number, time_s - T0)
    return "read"


@pytest.mark.parametrize("name", FORMS)
def test_a_sound_file_says_nothing_and_holds_every_fix(name):
    log = read(FORMS[name], FORMS[name].data)
    assert len(log.fixes) == len(FIXES)
    assert not told(log)


@pytest.mark.parametrize("name", FORMS)
def test_what_is_left_is_read_or_its_loss_is_told(name):
    ways = {check(FORMS[name], SEED, number) for number in range(QUICK)}
    assert ways - {"refused"} or FORMS[name].records == [()] * len(FIXES)


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMS)
def test_what_is_left_of_very_many_is_read_or_its_loss_is_told(name):
    for number in range(QUICK, QUICK + MANY):
        check(FORMS[name], SEED, number)
