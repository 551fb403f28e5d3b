"""Task data of ISO 11783-10: what the encoder wrote comes out again, and every trap of the form is told or avoided."""

import datetime as dt
import math

import numpy as np
import pytest
import shapely
from cautions_of_files import sentences
from simulator import taskdata as encode
from simulator.taskdata import Fix, TimeLog, condensed

from coverage_audit.errors import InputError
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.words.cautions import caution_texts, texts
from coverage_audit.read.outlines.registry import field_of
from coverage_audit.read.packed import Memory
from coverage_audit.read.source import Folder
from coverage_audit.read.tracks.form import Asked
from coverage_audit.read.tracks.registry import logs_of
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.cautions import boom_cautions

T0 = dt.datetime(2026, 5, 30, 13, 0, 0, 250_000, tzinfo=dt.UTC).timestamp()
BOOM, DEVICE = "DET-2", "DET-1"
LAT, LON = 43.6, -116.2
COLUMNS = [(161, BOOM), (141, DEVICE), (67, BOOM), (37, BOOM), (290, BOOM), (351, BOOM), (12345, BOOM)]


def drive(count=60, *, utc=True, local_h=0.0, start_s=T0, step_s=1.0):
    """Fixes that go north a metre a second; the terminal's clock shows the UTC plus *local_h*."""
    times = [start_s + step_s * k for k in range(count)]
    return [Fix(t + 3600 * local_h, LAT + k * 9e-6, LON, utc_s=t if utc else None) for k, t in enumerate(times)]


def on_off(fixes, states):
    """Condensed states at some records: {record: (on, on, off)}."""
    for number, sections in states.items():
        fixes[number].values[0] = condensed(sections)
    return fixes


STATES = {0: (0, 0, 0), 10: (1, 1, 1), 30: (1, 0, 0), 50: (0, 0, 0)}


def small(fixes=None, columns=COLUMNS, device=None, **more):
    log = TimeLog("TLG00001", columns, on_off(drive(), STATES) if fixes is None else fixes, **more)
    text = encode.index(device or encode.sprayer(), encode.task("TSK-1", "Spray", [log.name]))
    return encode.folder(text, [log])


def read(files, name="TASKDATA/TASKDATA.XML", **asked):
    return logs_of(Memory(files), name, Asked(**asked))


def one(files, **asked):
    (log,) = read(files, **asked)
    return log


def spans(log, section):
    """(on, off) of a switch in seconds from T0."""
    changes = [change for change in log.switch if change.section == section]
    changes = changes[1:] if changes and not changes[0].on else changes  # off from the start
    ons = [change.time_s - T0 for change in changes if change.on]
    offs = [change.time_s - T0 for change in changes if not change.on]
    return [(round(a, 3), round(b, 3)) for a, b in zip(ons, offs, strict=True)]


# --- what is written comes out ------------------------------------------------------------------


def test_places_times_and_quality_to_the_resolution_of_the_form():
    log = one(small())
    fixes = drive()
    assert log.form == "ISO 11783-10 task data"
    # half of 1e-7 degree; half a millisecond
    assert log.fixes.lat_deg == pytest.approx([fix.lat for fix in fixes], abs=0.51e-7)
    assert log.fixes.lon_deg == pytest.approx([fix.lon for fix in fixes], abs=0.51e-7)
    assert log.fixes.time_s == pytest.approx([fix.utc_s for fix in fixes], abs=0.6e-3)
    assert set(log.fixes.quality.tolist()) == {4}
    assert set(log.fixes.satellites.tolist()) == {12}
    assert log.fixes.hdop == pytest.approx([0.8] * len(fixes))
    assert log.fixes_read == len(fixes)
    assert sum(log.dropped.values()) == 0


def test_section_states_become_switches_from_left_to_right():
    log = one(small())
    assert [spans(log, section) for section in (1, 2, 3)] == [[(10, 50)], [(10, 30)], [(10, 30)]]
    assert log.has_switch
    assert [change for change in log.switch if change.section == 0] == []


def test_a_condensed_state_is_read_from_the_left_however_the_sections_are_numbered():
    """ISO 11783-11, identifier 161: "in the driving direction from left to right", the left-most in the lowest bits."""
    log = one(small(device=encode.sprayer(widths_mm=(2000, 3000, 4000), reverse=True)))
    assert [spans(log, section) for section in (1, 2, 3)] == [[(10, 50)], [(10, 30)], [(10, 30)]]
    assert log.machine.sections_m == (2.0, 3.0, 4.0)
    assert any("does not number its sections from the left" in text for text in sentences(log))


def each_states_its_own(device):
    fixes = drive()
    for k in range(3):
        fixes[10 + k].values[k], fixes[20 + k].values[k] = 1, 0
    return one(small(fixes, [(141, f"DET-{3 + k}") for k in range(3)], device))


def test_sections_that_each_state_their_own_and_count_from_the_right_are_turned_to_the_left():
    """The device numbers its sections from the right: its first is our third."""
    log = each_states_its_own(encode.sprayer(reverse=True))
    assert [spans(log, section) for section in (1, 2, 3)] == [[(12, 22)], [(11, 21)], [(10, 20)]]
    assert log.cautions == ()


def test_sections_that_lie_nowhere_are_taken_from_the_left_and_that_is_told():
    bare = encode.device(
        "DVC-1", "Linnet sprayer",
        [encode.element("DET-1", 0, 1, "s", 0), encode.element(BOOM, 1, 2, "Boom", 1)]
        + [encode.element(f"DET-{3 + k}", 2 + k, 4, "Section", 2) for k in range(3)],
    )  # fmt: skip
    log = each_states_its_own(bare)
    assert spans(log, 1) == [(10, 20)]
    assert log.machine is None
    assert any("does not say where its sections sit" in text for text in sentences(log))
    assert spans(one(small(device=bare)), 1) == [(10, 50)]  # a condensed state says itself which is the left one
    assert one(small(device=bare)).cautions == ()


@pytest.mark.parametrize("count", [1, 9, 16, 17, 40])
def test_any_number_of_sections(count):
    """Sections of 17 and more stand in the second condensed state; each goes off at its own second."""
    device = encode.sprayer(widths_mm=(500,) * count)
    columns = [(161 + group, BOOM) for group in range(math.ceil(count / 16))]
    fixes = drive()
    for second in range(5, 5 + count + 1):
        states = [int(section >= second - 5) for section in range(count)]
        for group in range(len(columns)):
            fixes[second].values[group] = condensed(states[16 * group : 16 * group + 16])
    log = one(small(fixes, columns, device))
    assert [spans(log, section) for section in range(1, count + 1)] == [[(5, 6 + k)] for k in range(count)]
    assert log.machine.sections_m == (0.5,) * count


def test_what_the_machine_says_of_itself():
    log = one(small(device=encode.sprayer(widths_mm=(2000, 3000, 2000), antenna=(900, 120))))
    assert log.machine.name == "Linnet sprayer"
    assert log.machine.sections_m == (2.0, 3.0, 2.0)
    assert log.machine.antenna_ahead_m == pytest.approx(3.4)  # 0.9 m ahead of the reference, sections 2.5 m behind it
    assert log.machine.antenna_right_m == pytest.approx(0.12)


def test_geometry_that_is_logged_stands_in_where_it_is_no_property():
    bare = encode.device(
        "DVC-1", "Linnet sprayer",
        [encode.element("DET-1", 0, 1, "s", 0), encode.element(BOOM, 1, 2, "Boom", 1)]
        + [encode.element(f"DET-{3 + k}", 2 + k, 4, "Section", 2) for k in range(2)],
    )  # fmt: skip
    columns = [(161, BOOM), (135, "DET-3"), (135, "DET-4"), (67, "DET-3"), (67, "DET-4")]
    fixes = on_off(drive(), {0: (0, 0), 10: (1, 0), 20: (0, 0)})
    fixes[0].values |= {1: 1000, 2: -1500, 3: 2000, 4: 3000}  # the first is the right one
    log = one(small(fixes, columns, bare))
    assert log.machine.sections_m == (3.0, 2.0)
    assert (spans(log, 1), spans(log, 2)) == ([(10, 20)], [])


def test_work_state_of_the_whole_device():
    columns = [(141, DEVICE)]
    fixes = drive()
    fixes[0].values[0], fixes[7].values[0], fixes[40].values[0] = 0, 1, 0
    log = one(small(fixes, columns))
    assert spans(log, 0) == [(7, 40)]
    assert {change.section for change in log.switch} == {0}


def test_a_device_that_is_off_holds_for_its_sections():
    fixes = on_off(drive(), STATES)
    fixes[0].values[1], fixes[20].values[1], fixes[25].values[1] = 1, 0, 1
    log = one(small(fixes))
    assert spans(log, 0) == [(0, 20), (25, 59)]
    assert spans(log, 1) == [(10, 50)]  # the drive stage takes a section as on when every switch of it is


def test_sections_that_each_state_their_own():
    log = each_states_its_own(encode.sprayer())
    assert [spans(log, section) for section in (1, 2, 3)] == [[(10 + k, 20 + k)] for k in range(3)]


def test_flow_totals_products_and_operator():
    columns = COLUMNS
    fixes = on_off(drive(), STATES)
    fixes[10].values[3] = 280_000  # mm3/s: 16.8 L/min
    fixes[0].values[5], fixes[59].values[5] = 1_000, 41_000  # mL
    log_file = TimeLog("TLG00001", columns, fixes)
    text = encode.index(
        encode.sprayer(),
        '<WKR A="WKR-1" B="Finch" C="Ada"/><PDT A="PDT-1" B="Invented mix"/>',
        encode.task("TSK-1", "North meadow", ["TLG00001"], products=["PDT-1"], workers=["WKR-1"]),
    )
    log = one(encode.folder(text, [log_file]))
    assert log.flow.value == pytest.approx([16.8] * 50)
    assert log.flow.time_s[0] == pytest.approx(T0 + 10)
    assert (log.task.name, log.task.operator, log.task.products) == ("North meadow", "Ada Finch", ("Invented mix",))
    assert any("counted 40 L put down" in text for text in sentences(log))
    assert any('names "Invented mix"' in text for text in sentences(log))


def test_rate_and_width_that_the_terminal_logged_are_told():
    """DDI 2 counts 0.01 mm3/m2, of which 10 000 are a litre per hectare; width in mm."""
    columns = [(141, DEVICE), (2, BOOM), (67, BOOM)]
    fixes = drive()
    fixes[0].values = {0: 0, 1: 0, 2: 9000}
    fixes[10].values = {0: 1, 1: 1_400_000}
    fixes[20].values = {1: 1_500_000, 2: 4500}
    fixes[30].values = {0: 0, 1: 0}
    log = one(small(fixes, columns))
    assert any("logged 145 L/ha on average" in text for text in sentences(log))
    assert any("working width went from 4.5 m to 9 m, and no section states" in text for text in sentences(log))


def test_set_points_and_other_values_are_counted_and_never_taken_for_a_state():
    fixes = drive()
    for fix in fixes:
        fix.values[4] = condensed((1, 1, 1))  # asked for, not done
        fix.values[6] = 7
    log = one(small(fixes))
    assert not log.has_switch
    assert "no work state in the task data was logged" in log.no_switch
    assert log.notes == {"set_point": 60, "other_logged_value": 60}


# --- traps --------------------------------------------------------------------------------------


def test_days_are_counted_from_1980_and_milliseconds_are_milliseconds():
    log = one(small())
    start = dt.datetime.fromtimestamp(log.fixes.time_s[0], dt.UTC)
    assert start == dt.datetime(2026, 5, 30, 13, 0, 0, 250_000, tzinfo=dt.UTC)
    assert np.diff(log.fixes.time_s) == pytest.approx(np.ones(59), abs=1e-3)


def test_the_clock_of_the_terminal_is_in_the_jobs_zone_where_no_utc_is_logged():
    files = small(on_off(drive(utc=False, local_h=-6), STATES))
    log = one(files, timezone="America/Denver")  # six hours behind UTC in May
    assert log.fixes.time_s[0] == pytest.approx(T0, abs=1e-3)
    assert spans(log, 1) == [(10, 50)]
    assert any("read in America/Denver" in text for text in sentences(log))
    bare = one(files)
    assert bare.fixes.time_s[0] == pytest.approx(T0 - 6 * 3600, abs=1e-3)
    assert any("no time zone is given (job.timezone)" in text for text in sentences(bare))


def test_the_utc_of_the_positions_goes_before_the_zone():
    log = one(small(on_off(drive(local_h=2), STATES)), timezone="America/Denver")
    assert log.fixes.time_s[0] == pytest.approx(T0, abs=1e-3)
    assert not any("clock" in text for text in sentences(log))


def test_records_without_utc_are_placed_by_those_that_have_it():
    fixes = on_off(drive(local_h=2), STATES)
    for fix in fixes[::2]:
        fix.utc_s = None
    log = one(small(fixes), timezone="America/Denver")
    assert log.fixes.time_s == pytest.approx(T0 + np.arange(60), abs=1e-3)


def test_summer_time_begins_within_a_log():
    """On 8 March 2026 Denver's clocks jump from 02:00 to 03:00; 09:00 UTC is the moment."""
    first = dt.datetime(2026, 3, 8, 8, 59, 30, tzinfo=dt.UTC).timestamp()
    fixes = drive(utc=False, start_s=first)
    for number, fix in enumerate(fixes):
        fix.time_s -= 3600 * (7 if number < 30 else 6)
    log = one(small(fixes), timezone="America/Denver")
    assert log.fixes.time_s == pytest.approx(first + np.arange(60), abs=1e-3)


def test_values_that_are_left_out_stand_until_they_change():
    fixes = on_off(drive(), STATES)
    fixes[10].values[3] = 100_000
    log = one(small(fixes))
    assert len(log.flow.value) == 50
    assert spans(log, 1) == [(10, 50)]


def test_a_position_attribute_left_out_of_the_header_is_in_no_record():
    for attributes in ("AB", "ABD", "ABDHI", "ABCDEFG"):
        log = one(small(attributes=attributes))
        assert log.fixes.lat_deg == pytest.approx([fix.lat for fix in drive()], abs=0.51e-7)
        assert len(log.fixes) == 60


def test_a_position_attribute_with_a_value_in_the_header_is_in_no_record():
    log = one(small(fixed={"D": "2", "G": "9"}))
    assert set(log.fixes.quality.tolist()) == {2}
    assert set(log.fixes.satellites.tolist()) == {9}


@pytest.mark.parametrize("status", [0, 14])
def test_records_without_a_fix_are_counted(status):
    fixes = drive()
    for fix in fixes[:7]:
        fix.status = status
    log = one(small(fixes))
    assert (len(log.fixes), log.dropped["no_position"]) == (53, 7)


def test_a_state_in_error_is_off_and_counted():
    fixes = on_off(drive(), {0: (0, 0, 0), 10: (1, 1, 1), 30: (2, 1, 1), 50: (0, 0, 0)})
    log = one(small(fixes))
    assert spans(log, 1) == [(10, 30)]
    assert spans(log, 2) == [(10, 50)]
    assert any('1 work state(s) say "error"' in text for text in sentences(log))


def two_logs(gap_s=600.0):
    first = on_off(drive(), {0: (1, 1, 1)})
    second = on_off(drive(start_s=T0 + gap_s), {5: (1, 1, 1), 20: (0, 0, 0)})
    return [TimeLog("TLG00001", COLUMNS, first), TimeLog("TLG00002", COLUMNS, second)]


def test_several_time_logs_in_one_task_are_joined_and_nothing_is_on_between_them():
    logs = two_logs()
    text = encode.index(encode.sprayer(), encode.task("TSK-1", "Spray", ["TLG00002", "TLG00001"]))
    log = one(encode.folder(text, logs))
    assert len(log.fixes) == 120
    assert np.all(np.diff(log.fixes.time_s) > 0)
    assert spans(log, 1) == [(0, 59), (605, 620)]
    assert np.unique(log.fixes.segment).tolist() == [0, 1]


def two_tasks():
    logs = two_logs(86_400.0)
    text = encode.index(
        encode.sprayer(),
        encode.task("TSK-1", "Spray", ["TLG00001"]),
        encode.task("TSK-2", "Spray again", ["TLG00002"]),
        encode.task("TSK-3", "Planned", []),
    )
    return encode.folder(text, logs)


def test_several_tasks_are_asked_for_with_their_times():
    with pytest.raises(InputError) as caught:
        read(two_tasks(), timezone="America/Denver")
    assert str(caught.value) == (
        'TASKDATA.XML: it holds 2 logged tasks: "Spray" (TSK-1, 2026-05-30 07:00 to 07:00 America/Denver); '
        '"Spray again" (TSK-2, 2026-05-31 07:00 to 07:00 America/Denver). Name the job\'s in track.task'
    )


@pytest.mark.parametrize(("wanted", "count"), [(("Spray",), 60), (("tsk-2",), 60), (("Spray", "Spray again"), 120)])
def test_tasks_are_chosen_by_name_or_key(wanted, count):
    assert len(one(two_tasks(), tasks=wanted).fixes) == count


def test_a_task_that_is_not_there_is_refused_with_those_that_are():
    with pytest.raises(InputError, match=r'no logged task "Mow"; it has: "Spray" \(TSK-1'):
        read(two_tasks(), tasks=("Mow",))


def test_each_task_is_a_log_of_its_own_for_a_look():
    assert [log.task.name for log in read(two_tasks(), each_task=True)] == ["Spray", "Spray again"]


def test_of_several_devices_the_one_with_sections_is_the_boom():
    """The tractor states that it works from the first record to the last; the sprayer does not."""
    tractor = encode.device("DVC-9", "Wren tractor", [encode.element("DET-90", 0, 1, "Wren tractor", 0)])
    columns = [*COLUMNS, (141, "DET-90")]
    fixes = on_off(drive(), STATES)
    fixes[0].values[7] = 1
    log = one(small(fixes, columns, tractor + encode.sprayer()))
    assert spans(log, 1) == [(10, 50)]
    assert spans(log, 0) == []


def test_of_several_devices_that_all_may_be_the_boom_one_is_asked_for():
    devices = encode.sprayer() + encode.sprayer("DVC-2", "Siskin sprayer", first=50)
    columns = [(161, BOOM), (161, "DET-51")]
    fixes = on_off(drive(), STATES)
    fixes[5].values[1] = condensed((1, 1, 1))
    files = small(fixes, columns, devices)
    log = one(files)
    assert not log.has_switch
    assert log.no_switch == (
        'several devices logged a work state: "Linnet sprayer" (Boom), "Siskin sprayer" (Boom); '
        "name one of them in track.device"
    )
    assert spans(one(files, device="siskin sprayer"), 1) == [(5, 59)]
    assert 'no work state of a device "Plough" was logged' in one(files, device="Plough").no_switch


def test_a_binary_file_that_is_cut_off_is_read_to_the_last_whole_record():
    whole = small()
    data = whole["TASKDATA/TLG00001.BIN"]
    length = len(TimeLog("x", COLUMNS, []).record(Fix(T0, LAT, LON)))  # a record without values, as the last one is
    for cut in range(1, length):
        files = whole | {"TASKDATA/TLG00001.BIN": data[:-cut]}
        log = one(files)
        assert (len(log.fixes), log.dropped.get("cut_off"), log.fixes_read) == (59, 1, 60)
        assert any("1 time log(s) are cut off at the end" in text for text in sentences(log))


def test_values_that_have_no_place_in_the_header_are_left_out_and_counted():
    fixes = on_off(drive(), STATES)
    for fix in fixes[3:6]:
        fix.values[200] = 5
    log = one(small(fixes))
    assert len(log.fixes) == 60
    assert log.notes["misfit_value"] == 3
    assert spans(log, 1) == [(10, 50)]
    assert any("3 logged value(s) have no place in their header" in text for text in sentences(log))


@pytest.mark.parametrize("garbage", [b"\xff" * 11, b"\xff" * 200, b"\x07" * 40])
def test_after_damage_the_next_record_is_found(garbage):
    log_file = TimeLog("TLG00001", COLUMNS, on_off(drive(), STATES))
    records = [log_file.record(fix) for fix in log_file.fixes]
    files = small() | {"TASKDATA/TLG00001.BIN": b"".join([*records[:30], garbage, *records[31:]])}
    log = one(files)
    assert 58 <= len(log.fixes) <= 59  # the one that was overwritten, and at most one beside it
    assert log.dropped["damaged"] == 1
    assert any("damaged" in text for text in sentences(log))


def test_a_clock_that_was_never_set_is_told():
    fixes = drive(utc=False, start_s=encode.FIRST_DAY_S + 100.0)
    assert any("never set" in text for text in sentences(one(small(fixes))))


# --- where it lies ------------------------------------------------------------------------------


def test_folder_zip_and_index_are_the_same_log(tmp_path):
    files = small()
    for name, data in files.items():
        (tmp_path / "job" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "job" / name).write_bytes(data)
    (tmp_path / "td.zip").write_bytes(encode.packed(files))
    names = ("job", "job/TASKDATA", "job/TASKDATA/TASKDATA.XML", "td.zip")
    logs = [logs_of(Folder(tmp_path), name, Asked())[0] for name in names]
    logs += [logs_of(Memory({"a/td.zip": encode.packed(files)}), "a/td.zip", Asked())[0], *read(files, "TASKDATA")]
    for log in logs:
        assert log.fixes.time_s.tolist() == logs[0].fixes.time_s.tolist()
        assert log.switch == logs[0].switch
    assert [log.file for log in logs[:4]] == ["job", "TASKDATA", "TASKDATA.XML", "td.zip"]
    assert [name for name, _ in logs[0].beside] == ["TLG00001.XML", "TLG00001.BIN"]


def test_names_in_other_capitals_are_found():
    log_file = TimeLog("TLG00001", COLUMNS, on_off(drive(), STATES))
    text = encode.index(encode.sprayer(), encode.task("TSK-1", "Spray", [log_file.name]))
    assert len(one(encode.folder(text, [log_file], lower=True)).fixes) == 60


@pytest.mark.parametrize("version", [(3, 3), (4, 3)])
def test_external_files_are_read_in_both_versions(version):
    log_file = TimeLog("TLG00001", COLUMNS, on_off(drive(), STATES))
    text = encode.index('<XFR A="DVC00001" B="1"/><XFR A="TSK00001" B="1"/>', version=version)
    others = {
        "DVC00001.XML": encode.external(encode.sprayer(widths_mm=(2000, 3000, 4000))),
        "TSK00001.XML": encode.external(encode.task("TSK-1", "Spray", ["TLG00001"])),
    }
    log = one(encode.folder(text, [log_file], others))
    assert log.machine.sections_m == (2.0, 3.0, 4.0)
    assert {"DVC00001.XML", "TSK00001.XML"} <= {name for name, _ in log.beside}


def test_parts_that_are_missing_are_told():
    files = small()
    text = encode.index(
        '<XFR A="PDT00001" B="1"/>', encode.sprayer(), encode.task("TSK-1", "Spray", ["TLG00001", "TLG7"])
    )
    log = one(files | {"TASKDATA/TASKDATA.XML": text.encode()})
    assert any("TLG7, PDT00001 belong to it and are not there" in text for text in sentences(log))
    del files["TASKDATA/TLG00001.BIN"]
    with pytest.raises(InputError, match="its time logs TLG00001 are missing or empty; export the task data again"):
        read(files)


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ({"TASKDATA/notes.txt": b"x"}, r"this is a folder, and it has no TASKDATA\.XML"),
        ({"TASKDATA/TASKDATA.XML": b"<ISO11783_TaskData"}, "the XML is broken or cut off"),
        ({"TASKDATA/TASKDATA.XML": encode.index().encode()}, "no task in it has a time log"),
    ],
)
def test_what_is_no_task_data_is_refused(files, said):
    with pytest.raises(InputError, match=said):
        read(files, "TASKDATA")


# --- fields -------------------------------------------------------------------------------------


def square(x, y, size, turn=1):
    return [(x, y), (x + size, y), (x + size, y + size), (x, y + size)][::turn]


def fields_file():
    north = encode.partfield(
        "PFD-1", "North meadow",
        [
            encode.polygon(1, [square(-116.2, 43.6, 0.002), square(-116.1995, 43.6005, 0.0002)]),
            encode.polygon(3, [square(-116.199, 43.601, 0.0003)], "pond"),
            encode.polygon(2, [square(-116.2, 43.6, 0.001)], "a zone of a map, which says nothing of ground"),
        ],
    )  # fmt: skip
    south = encode.partfield("PFD-2", "South meadow", [encode.polygon(1, [square(-116.2, 43.59, 0.002, -1)])])
    bare = encode.partfield("PFD-3", "Not drawn", [])
    return encode.index(north, south, bare)


@pytest.mark.parametrize("way", ["zip", "folder", "index"])
def test_fields_and_their_no_spray_areas(tmp_path, way):
    files = {"TASKDATA/TASKDATA.XML": fields_file().encode()}
    (tmp_path / "TASKDATA").mkdir()
    (tmp_path / "TASKDATA" / "TASKDATA.XML").write_bytes(files["TASKDATA/TASKDATA.XML"])
    (tmp_path / "td.zip").write_bytes(encode.packed(files))
    name = {"zip": "td.zip", "folder": "TASKDATA", "index": "TASKDATA/TASKDATA.XML"}[way]
    found = field_of(Folder(tmp_path), name)
    assert [area.name for area in found.areas] == ["North meadow", "South meadow"]
    north, south = (area.geometry for area in found.areas)
    hole = shapely.box(-116.1995, 43.6005, -116.1993, 43.6007)
    # nine decimals of a degree were written
    assert north.symmetric_difference(shapely.box(-116.2, 43.6, -116.198, 43.602).difference(hole)).area < 1e-11
    assert south.symmetric_difference(shapely.box(-116.2, 43.59, -116.198, 43.592)).area < 1e-11
    (pond,) = found.no_spray
    assert pond.name == "North meadow, pond"
    assert pond.geometry.symmetric_difference(shapely.box(-116.199, 43.601, -116.1987, 43.6013)).area < 1e-11
    assert any("not to be sprayed (1 water)" in text for text in sentences(found))
    assert any("no boundary is in it of Not drawn." in text for text in sentences(found))


def test_several_outer_rings_of_the_older_version_each_keep_their_holes():
    rings = [square(-116.2, 43.6, 0.002), square(-116.21, 43.6, 0.002)]
    holes = [square(-116.2095, 43.6005, 0.0002), square(-116.1995, 43.6005, 0.0002)]
    lines = "".join(
        f'<LSG A="{kind}">' + "".join(f'<PNT A="2" C="{y}" D="{x}"/>' for x, y in ring) + "</LSG>"
        for kind, ring in [*((1, ring) for ring in rings), *((2, ring) for ring in holes)]
    )
    text = encode.index(f'<PFD A="PFD1" C="Two"><PLN A="1">{lines}</PLN></PFD>', version=(3, 3))
    (area,) = field_of(Memory({"TASKDATA.XML": text.encode()}), "TASKDATA.XML").areas
    drawn = shapely.union_all([shapely.Polygon(ring) for ring in rings])
    drawn = drawn.difference(shapely.union_all([shapely.Polygon(ring) for ring in holes]))
    assert area.geometry.symmetric_difference(drawn).area < 1e-11
    assert len(area.geometry.geoms) == 2


# --- a whole job --------------------------------------------------------------------------------


def farm(small_job, count, ring):
    """Fields of a farm about a kilometre north of the one that is sprayed, which stands among them."""
    others = [
        [small_job.place(x + 130 * k, y + 1000) for x, y in ((0, 0), (100, 0), (100, 60), (0, 60))]
        for k in range(count - 1)
    ]
    entries = [
        encode.partfield(f"PFD-{k + 2}", f"Field {k + 1}", [encode.polygon(1, [other])])
        for k, other in enumerate(others)
    ]
    entries.insert(17, encode.partfield("PFD-1", "Lower meadow", [encode.polygon(1, [ring])]))
    return entries


def test_a_job_of_task_data_alone_has_the_figures_of_the_same_job_in_files(small_job):
    """The same drive as GPX with a CSV and as task data with the outline in it; the width comes from the machine."""
    small_job.change("antenna_ahead", '"0 m"', "boom")
    expected = audit_job(read_job(small_job.path))
    fixes, intervals = small_job.drive()
    start = dt.datetime.fromisoformat(small_job.stamp(0)).timestamp()
    lonlat = [small_job.place(east, north) for _, east, north in fixes]
    records = [Fix(start + t, lat, lon, utc_s=start + t) for (t, _, _), (lon, lat) in zip(fixes, lonlat, strict=True)]
    by_time = {round(t): record for (t, _, _), record in zip(fixes, records, strict=True)}
    by_time[0].values[0] = condensed((0,) * 4)
    for on, off in intervals:
        by_time[round(on)].values[0] = condensed((1,) * 4)
        by_time[round(off)].values[0] = condensed((0,) * 4)
    ring = [small_job.place(*corner) for corner in ((0, 0), (100, 0), (100, 60), (0, 60))]
    text = encode.index(
        encode.sprayer(widths_mm=(2500,) * 4),
        '<WKR A="WKR-1" B="Finch" C="Ada"/>',
        *farm(small_job, 40, ring),
        encode.task("TSK-1", "Spray", ["TLG00001"], field_key="PFD-1", workers=["WKR-1"]),
    )
    small_job.write("td.zip", encode.packed(encode.folder(text, [TimeLog("TLG00001", [(161, BOOM)], records)])))
    for table, key, value in (
        ("track", "files", '["td.zip"]'),
        ("field", "boundary", '"td.zip"'),
        ("boom", "intervals", '"log"'),
    ):
        small_job.change(key, value, table)
    small_job.write("job.toml", small_job.read("job.toml").replace('width = "10 m"\n', ""))
    found = audit_job(read_job(small_job.path))
    # places are written to 1e-7 degree, 0.8 cm to the east: at most half of that along 60 m of 18 edges and ends
    for name in ("field", "target", "covered", "missed", "double", "swept"):
        assert getattr(found.area_m2, name) == pytest.approx(getattr(expected.area_m2, name), abs=4.5), name
    assert found.time_on_s == pytest.approx(expected.time_on_s, abs=0.05)
    (places,) = [dict(one.values) for one in found.cautions if one.code == "fields left out"]
    assert places["taken"] == ("Lower meadow",)
    assert len(places["names"]) == 39
    assert found.job.settings.operator == "Ada Finch"
    assert found.job.settings.boom.sections_m == (2.5,) * 4
    texts = caution_texts(found)
    assert any(
        "Taken from what Linnet sprayer says of itself in the log: the boom is 10.00 m wide in 4" in t for t in texts
    )


def test_a_width_that_is_not_the_machines_is_refused_or_told(small_job):
    log_file = TimeLog("TLG00001", COLUMNS, on_off(drive(), STATES))
    text = encode.index(encode.sprayer(), encode.task("TSK-1", "Spray", ["TLG00001"]))
    small_job.write("td.zip", encode.packed(encode.folder(text, [log_file])))
    small_job.change("files", '["td.zip"]', "track")
    small_job.change("intervals", '"log"', "boom")
    with pytest.raises(
        InputError, match=r"boom\.width: the boom is 10 m wide by this, but Linnet sprayer says 9 m in 3"
    ):
        read_job(small_job.path)
    small_job.change("sections", '["3 m", "3 m", "4 m"]', "boom")
    boom = read_job(small_job.path).settings.boom
    assert boom.sections_m == (3.0, 3.0, 4.0)
    (caution,) = [one for one in boom_cautions(boom, 0.0) if one.code == "machine width"]
    assert texts([caution], "metric") == [
        (
            "The job file says that the boom is 10.00 m wide, Linnet sprayer says 9.00 m in the log; "
            "the job file was followed."
        )
    ]


def test_a_task_is_chosen_in_the_job_file(small_job):
    small_job.write("td.zip", encode.packed(two_tasks()))
    small_job.change("files", '["td.zip"]', "track")
    with pytest.raises(InputError, match=r"it holds 2 logged tasks: .* Name the job's in track\.task"):
        read_job(small_job.path)
    small_job.change("task", '"Spray again"', "track")
    assert read_job(small_job.path).logs[0].task.name == "Spray again"


def test_a_boom_that_cannot_be_told_is_refused_with_the_reason(small_job):
    devices = encode.sprayer() + encode.sprayer("DVC-2", "Siskin sprayer", first=50)
    fixes = on_off(drive(), STATES)
    fixes[5].values[1] = condensed((1, 1, 1))
    small_job.write("td.zip", encode.packed(small(fixes, [(161, BOOM), (161, "DET-51")], devices)))
    small_job.change("files", '["td.zip"]', "track")
    small_job.change("intervals", '"log"', "boom")
    with pytest.raises(
        InputError, match=r"^boom\.intervals: several devices logged .* in track\.device\. List the boom-on"
    ):
        audit_job(read_job(small_job.path))
