"""Task data of ISO 11783-10 read by the program and by a decoder whose writer had not seen it, sound and damaged."""

import datetime as dt
import math
import random

import numpy as np
import pytest
import shapely
from read.second_taskdata import sections_on, task_data, time_log, unzip
from simulator import taskdata as encode
from simulator.taskdata import Fix, TimeLog, condensed

from coverage_audit.errors import InputError
from coverage_audit.read.outlines.registry import field_of
from coverage_audit.read.packed import Memory
from coverage_audit.read.tracks.form import Asked
from coverage_audit.read.tracks.registry import logs_of

T0 = dt.datetime(2026, 5, 30, 13, 0, 0, 250_000, tzinfo=dt.UTC).timestamp()
BOOM, DEVICE = "DET-2", "DET-1"
QUICK, MANY = 150, 2_000


def random_log(rng, count):
    """A log of a boom of *count* sections: columns, states, missing values and attributes by lot."""
    columns = [(161 + group, BOOM) for group in range(math.ceil(count / 16))] + [(67, BOOM), (141, DEVICE)]
    columns = [columns[k] for k in rng.permutation(len(columns))]
    step, ahead = float(rng.choice([0.1, 1.0, 0.37])), 3600 * float(rng.integers(-9, 9))
    fixes = [
        Fix(T0 + k * step + ahead, float(rng.uniform(-89, 89)), float(rng.uniform(-179, 179)), utc_s=T0 + k * step)
        for k in range(int(rng.integers(2, 200)))
    ]
    for fix in fixes:
        fix.status = int(rng.choice([0, 1, 2, 4, 5, 15], p=[0.05, 0.1, 0.1, 0.6, 0.1, 0.05]))
        for place in np.flatnonzero(rng.random(len(columns)) < 0.2).tolist():
            ddi = columns[place][0]
            states = rng.choice(3, min(16, count - 16 * max(ddi - 161, 0)), p=(0.45, 0.5, 0.05))
            fix.values[place] = condensed(states) if ddi >= 161 else int(rng.integers(0, 2)) if ddi == 141 else 9000
    attributes = "AB" + "".join(sorted(rng.choice(list("CDEFG"), int(rng.integers(0, 5)), replace=False))) + "HI"
    fixed = {"G": "7"} if rng.random() < 0.5 and "G" in attributes else {}
    return TimeLog("TLG00001", columns, fixes, attributes, fixed)


def ring(x, y, size):
    return [(x, y), (x + size, y), (x + size, y + size), (x, y + size)]


def random_set(seed):
    """Files of a random set of task data with a machine, a field with a pond, a product and an operator."""
    rng = np.random.default_rng(seed)
    widths = tuple(int(w) for w in rng.integers(400, 3000, int(rng.integers(1, 40))))
    log = random_log(rng, len(widths))
    x, y = float(rng.uniform(-170, 170)), float(rng.uniform(-80, 80))
    rings = [ring(x, y, 0.002), ring(x + 0.0005, y + 0.0005, 0.0002)]
    field = encode.partfield("PFD-1", "Lower meadow", [encode.polygon(1, rings), encode.polygon(6, [ring(x, y, 1e-4)])])
    task = encode.task("TSK-1", "Spray", [log.name], field_key="PFD-1", products=["PDT-1"], workers=["WKR-1"])
    people = '<WKR A="WKR-1" B="Finch" C="Ada"/><PDT A="PDT-1" B="Invented mix"/>'
    device = encode.sprayer(widths_mm=widths, reverse=bool(rng.integers(2)), antenna=(900, 120))
    version = ((3, 3), (4, 3))[int(rng.integers(2))]
    if rng.integers(2):
        parts = {"DVC00001.XML": encode.external(device), "PFD00001.XML": encode.external(field)}
        index = encode.index('<XFR A="DVC00001" B="1"/><XFR A="PFD00001" B="1"/>', people, task, version=version)
        return encode.folder(index, [log], parts), widths
    return encode.folder(encode.index(device, field, people, task, version=version), [log]), widths


def read(files):
    (log,) = logs_of(Memory(files), "TASKDATA/TASKDATA.XML", Asked())
    return log


def second(files):
    return task_data(unzip(encode.packed(files)))


def states(log, section):
    """Whether a switch is on at each fix, off before it is told."""
    changes = [change for change in log.switch if change.section == section]
    at = np.searchsorted([change.time_s for change in changes], log.fixes.time_s[:-1] + 1e-4) - 1
    return [bool(k >= 0 and changes[k].on) for k in at.tolist()]


def same_fixes(log, records):
    """The reader's fixes are the placed ones of the other's records, to the last bit of the form."""
    assert log.fixes.lat_deg.tolist() == pytest.approx([one.position["north"] for one in records], abs=1e-12)
    assert log.fixes.lon_deg.tolist() == pytest.approx([one.position["east"] for one in records], abs=1e-12)
    assert log.fixes.time_s.tolist() == pytest.approx([one.utc.timestamp() for one in records], abs=1e-6)


@pytest.mark.parametrize("seed", range(30))
def test_both_decoders_read_the_same_from_sound_files(seed):
    files, widths = random_set(seed)
    log, other = read(files), second(files)
    records = other.logs["TLG00001"].records
    placed = [one for one in records if one.placed]
    assert log.fixes_read == len(records)
    assert log.dropped["no_position"] == len(records) - len(placed)
    same_fixes(log, placed)
    if "hdop" in placed[0].position:
        assert log.fixes.hdop.tolist() == pytest.approx([one.position["hdop"] for one in placed])
    standing = [now for now, one in zip(other.logs["TLG00001"].standing(), records, strict=True) if one.placed]
    for section in range(1, len(widths) + 1):
        theirs = [sections_on(now, BOOM).get(section - 1) is True for now in standing[:-1]]
        assert states(log, section) == theirs, section
    wholes = [now.get((141, DEVICE)) for now in standing[:-1]]
    if any(change.section == 0 for change in log.switch) and None not in wholes:
        assert states(log, 0) == [whole == 1 for whole in wholes]


@pytest.mark.parametrize("seed", range(30))
def test_both_decoders_read_the_same_of_machine_task_and_field(seed):
    files, _ = random_set(seed)
    log, other = read(files), second(files)
    (task,) = other.tasks
    assert log.task.name == task.name
    assert log.task.products == tuple(other.names[key] for key in task.products)
    assert log.task.operator == " ".join(other.names[key] for key in task.workers)
    sections = sorted((one for one in other.elements.values() if one.kind == 4), key=lambda one: one.properties[135])
    if any(change.section > 0 for change in log.switch):
        count = len(log.machine.sections_m)
        assert log.machine.sections_m == tuple(one.properties[67] / 1000 for one in sections)[:count]
        (antenna,) = [one for one in other.elements.values() if one.kind == 7]
        assert log.machine.antenna_ahead_m == pytest.approx(
            (antenna.properties[134] - sections[0].properties[134]) / 1000
        )
    field = field_of(Memory(files), "TASKDATA/TASKDATA.XML")
    theirs = other.fields[task.field]
    (outer,), (hole,), (pond,) = (
        [shapely.Polygon(points) for kind, line, points in theirs.rings if (kind, line) == wanted]
        for wanted in ((1, 1), (1, 2), (6, 1))
    )
    assert [one.name for one in field.areas] == [theirs.name]
    assert field.areas[0].geometry.symmetric_difference(outer.difference(hole)).area < 1e-15
    assert [one.geometry.symmetric_difference(pond).area for one in field.no_spray] == [pytest.approx(0, abs=1e-15)]


# --- damaged ------------------------------------------------------------------------------------


def damaged(rng, binary, ends):
    """A binary file cut off, changed, with bytes taken out or put in: its bytes, and the records that stayed whole."""
    starts = [0, *ends[:-1]]
    kind = rng.choice(("cut", "change", "take out", "put in"))
    at, length = rng.randrange(1, len(binary)), rng.choice((1, 3, 20, 90))
    if kind == "cut":
        return binary[:at], [k for k, end in enumerate(ends) if end <= at]
    if kind == "put in":
        new = binary[:at] + rng.randbytes(length) + binary[at:]
        return new, [k for k, (a, b) in enumerate(zip(starts, ends, strict=True)) if b <= at or a >= at]
    middle = rng.randbytes(len(binary[at : at + length])) if kind == "change" else b""
    whole = [k for k, (a, b) in enumerate(zip(starts, ends, strict=True)) if b <= at or a >= at + length]
    return binary[:at] + middle + binary[at + length :], whole


def told(log, sound):
    """What is said of a loss: sentences and counts that the sound file does not have."""
    lost = [reason for reason in ("damaged", "cut_off") if log.dropped.get(reason)]
    more = {reason for reason in log.dropped if log.dropped[reason] > sound.dropped.get(reason, 0)}
    return [*lost, *more, *(text for text in log.cautions if text not in sound.cautions)]


def check_damaged(seed, number):
    """What is left whole is read or its loss is told, and where every byte is a record both read the same."""
    rng = random.Random(f"{seed}/{number}")
    files, _ = random_set(int(rng.randrange(10_000)))
    name = "TASKDATA/TLG00001.BIN"
    header, before = files["TASKDATA/TLG00001.XML"], read(files)
    sound = time_log(header, files[name])
    files[name], whole = damaged(rng, files[name], sound.ends)
    try:
        log = read(files)
    except InputError:
        return
    said = told(log, before)
    left = [sound.records[k] for k in whole]
    assert said or log.fixes_read >= len(left), number
    found = set(zip(np.round(log.fixes.time_s, 3).tolist(), np.round(log.fixes.lat_deg, 7).tolist(), strict=True))
    wanted = {(round(one.utc.timestamp(), 3), round(one.position["north"], 7)) for one in left if one.placed}
    assert said or wanted <= found, (number, len(wanted - found))
    as_it_stands = time_log(header, files[name])
    if not as_it_stands.left_over and not {"damaged", "cut_off"} & set(log.dropped):  # every byte is of a record
        assert log.fixes_read == len(as_it_stands.records)
    if as_it_stands.left_over:
        assert said, number


@pytest.mark.parametrize("number", range(QUICK))
def test_damaged_files_are_read_alike_or_the_loss_is_told(number):
    check_damaged(5, number)


@pytest.mark.slow
def test_very_many_damaged_files_are_read_alike_or_the_loss_is_told():
    for number in range(QUICK, QUICK + MANY):
        check_damaged(6, number)


@pytest.mark.parametrize("more", [1, -1, 7, 250])
def test_a_count_of_values_that_does_not_fit_costs_few_records_and_is_told(more):
    """One record says that it holds more, or fewer, values than it does: it and its neighbour may be lost, no other."""
    fixes = [Fix(T0 + k, 43.6 + 9e-6 * k, -116.2, {0: condensed((1, 1, 1)), 1: 9000}, utc_s=T0 + k) for k in range(60)]
    log_file = TimeLog("TLG00001", [(161, BOOM), (67, BOOM)], fixes)
    index = encode.index(encode.sprayer(), encode.task("TSK-1", "Spray", [log_file.name]))
    files = encode.folder(index, [log_file])
    name = "TASKDATA/TLG00001.BIN"
    ends = time_log(files["TASKDATA/TLG00001.XML"], files[name]).ends
    data = bytearray(files[name])
    data[ends[30] - 2 * 5 - 1] += more
    before, log = read(files), read(files | {name: bytes(data)})
    assert told(log, before)
    kept = set(np.round(log.fixes.time_s - T0).astype(int).tolist())
    assert kept >= {*range(30), *range(32, 60)}
