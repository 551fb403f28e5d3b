"""The job file: the whole contract, its defaults, and what is refused with which words."""

import hashlib

import pytest
import shapely

from coverage_audit.errors import InputError
from coverage_audit.jobs.read import job_from_options, read_job
from coverage_audit.jobs.settings import FieldSettings, ReportSettings, TrackSettings

WHOLE = """\
[job]
name = "Lower meadow, first pass"
operator = "R. Tamm"
crop = "timothy hay"
notes = '''two
lines'''
timezone = "America/Denver"
date = 2026-05-30
[field]
boundary = "boundary.geojson"
select = "lower MEADOW"
exclude = ["pond.geojson"]
setback = "10 ft"
exclude_setback = "3 m"
grow = "50 cm"
[track]
files = ["track.gpx"]
clock_offset = "-1 h"
max_gap = "4 s"
[boom]
width = "9 m"
sections = ["3 m", "2 m", "4 m"]
nozzles = {count = 18, spacing = "0.5 m"}
intervals = "boom.csv"
antenna_ahead = "-1.4 m"
antenna_right = "10 cm"
axle_behind_antenna = "1.2 m"
towed = "4 m"
towed_axle = "3 m"
on_delay = "-0.3 s"
off_delay = "0.5 s"
invert_switch = true
[rate]
target = "15 gal/ac"
flow = "16.8 L/min"
nozzles = {flow = "1.2 L/min", at = "3 bar", pressure = "40 psi"}
applied = "1700 L"
label_max = "150 L/ha"
[report]
units = "us"
min_width = "1 ft"
"""


@pytest.fixture
def whole(small_job):
    """Write a job file with every key of the contract."""
    pond = [small_job.place(*corner) for corner in ((40, 20), (50, 20), (50, 30), (40, 20))]
    small_job.write("pond.geojson", small_job.geojson_of([pond], name="pond"))
    small_job.write("job.toml", WHOLE)
    return small_job


def refusal(job):
    with pytest.raises(InputError) as caught:
        read_job(job.path)
    return str(caught.value)


# --- what is read -------------------------------------------------------------------------


def test_every_key_arrives_in_base_units(whole):
    job = read_job(whole.path)
    settings = job.settings
    assert (settings.name, settings.operator, settings.crop) == ("Lower meadow, first pass", "R. Tamm", "timothy hay")
    assert settings.notes == "two\nlines"
    assert (settings.timezone, settings.timezone_given) == ("America/Denver", True)
    assert settings.field == FieldSettings(("Lower meadow",), 10 * 0.3048, 3.0, 0.5)
    assert settings.track == TrackSettings(-3600.0, 4.0)
    assert settings.report == ReportSettings("us", 0.3048)
    assert job.exclude[0].name == "pond"


def test_every_boom_key_arrives(whole):
    boom = read_job(whole.path).settings.boom
    assert boom.sections_m == (3.0, 2.0, 4.0)
    assert (boom.intervals, boom.nozzle_count, boom.section_nozzles) == ("csv", 18, (6, 4, 8))
    assert (boom.antenna_ahead_m, boom.antenna_right_m, boom.axle_behind_antenna_m) == (-1.4, 0.1, 1.2)
    assert (boom.towed_m, boom.towed_axle_m) == (4.0, 3.0)
    assert (boom.on_delay_s, boom.off_delay_s, boom.invert_switch) == (-0.3, 0.5, True)


def test_every_rate_key_arrives(whole):
    rate = read_job(whole.path).settings.rate
    assert rate.target_l_ha == pytest.approx(15 * 9.353956, rel=1e-7)  # 1 gal/ac = 9.353956 L/ha, to 7 figures
    assert (rate.flow_l_min, rate.applied_l, rate.label_max_l_ha) == (16.8, 1700.0, 150.0)
    assert (rate.nozzles.flow_l_min, rate.nozzles.at_bar, rate.nozzles.count) == (1.2, 3.0, 18)
    # 40 psi is 275.79 kPa (ISO 10625 comparisons in the trade's nozzle tables)
    assert rate.nozzles.pressure_bar == pytest.approx(2.7579, abs=5e-5)


def test_defaults_are_those_of_the_contract(small_job):
    small_job.write("job.toml", '[field]\nboundary="boundary.geojson"\n[track]\nfiles=["track.gpx"]\n'
                    '[boom]\nwidth="10 m"\nintervals="segments"\n')  # fmt: skip
    job = read_job(small_job.path)
    settings, boom = job.settings, job.settings.boom
    assert (settings.timezone, settings.timezone_given) == ("UTC", False)
    assert settings.field == FieldSettings((), 0.0, 0.0, 0.0)
    assert settings.track == TrackSettings(0.0, 5.0)
    assert settings.report == ReportSettings("metric", 0.3)
    assert (boom.antenna_ahead_m, boom.antenna_right_m, boom.axle_behind_antenna_m) == (None, 0.0, None)
    assert (boom.towed_m, boom.towed_axle_m, boom.on_delay_s, boom.off_delay_s) == (0.0, 0.0, 0.0, 0.0)
    assert (boom.sections_m, boom.section_nozzles, boom.invert_switch) == ((10.0,), (), False)
    assert settings.rate.target_l_ha is settings.rate.nozzles is settings.rate.applied_l is None
    assert job.intervals is None
    assert job.exclude == ()


def test_towed_axle_is_under_the_boom_unless_given(small_job):
    small_job.change("towed", '"4 m"', "boom")
    assert read_job(small_job.path).settings.boom.towed_axle_m == 4.0


def test_files_are_read_and_hashed(small_job):
    job = read_job(small_job.path)
    names = ("job.toml", "track.gpx", "boundary.geojson", "boom.csv")
    assert dict(job.sources) == {
        name: hashlib.sha256((small_job.folder / name).read_bytes()).hexdigest() for name in names
    }
    assert len(job.intervals) == 10
    assert len(job.logs[0].fixes) == 10 * 81
    assert job.boundary[0].geometry.bounds[0] == pytest.approx(-116.2)
    assert isinstance(job.boundary[0].geometry, shapely.Polygon)


@pytest.mark.usefixtures("small_job")
def test_paths_start_at_the_job_file(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    assert read_job("job/job.toml").logs[0].file == "track.gpx"


def test_windows_line_ends_and_byte_order_mark(small_job):
    text = small_job.read("job.toml")
    small_job.write("job.toml", b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert read_job(small_job.path).settings.name == "small job"


def test_single_names_may_stand_without_a_list(small_job):
    small_job.change("files", '"track.gpx"', "track")
    small_job.change("exclude", "[]", "field")
    assert len(read_job(small_job.path).logs) == 1


@pytest.mark.parametrize("word", ["log", "segments", "marks", "assume"])
def test_sources_of_the_boom_state(small_job, word):
    small_job.change("intervals", f'"{word}"', "boom")
    job = read_job(small_job.path)
    assert (job.settings.boom.intervals, job.intervals) == (word, None)


def test_progress_is_told_up_to_the_end(small_job):
    told = []
    read_job(small_job.path, lambda stage, fraction: told.append((stage, fraction)))
    assert told[0] == ("reading track.gpx", 0.0)
    assert told[-1][1] == 1.0


# --- the boom's width ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "keys",
    [
        {"width": '"9 m"'},
        {"sections": '["4.5 m", "4.5 m"]'},
        {"nozzles": '{count = 18, spacing = "0.5 m"}'},
        {"width": '"9.01 m"', "sections": '["3 m", "3 m", "3 m"]'},
        {"width": '"9 m"', "nozzles": "{count = 18}"},
    ],
)
def test_each_way_to_state_the_width(small_job, keys):
    small_job.write("job.toml", small_job.read("job.toml").replace('width = "10 m"\n', ""))
    for key, value in keys.items():
        small_job.change(key, value, "boom")
    assert read_job(small_job.path).settings.boom.width_m == pytest.approx(9.0, abs=0.0101)


@pytest.mark.parametrize(
    ("key", "value", "other"),
    [("sections", '["5 m", "4.98 m"]', "9.980 m"), ("nozzles", '{count = 18, spacing = "0.5 m"}', "9.000 m")],
)
def test_widths_that_disagree_by_more_than_a_centimetre(small_job, key, value, other):
    small_job.change(key, value, "boom")
    message = refusal(small_job)
    assert message.startswith(f"job.toml, boom.{key}: ")
    assert other in message
    assert "10.000 m by boom.width" in message


def test_no_width_at_all(small_job):
    small_job.write("job.toml", small_job.read("job.toml").replace('width = "10 m"\n', ""))
    assert "boom.nozzles with count and spacing" in refusal(small_job)


def test_uneven_nozzles_are_not_shared_out(small_job):
    """7 nozzles on sections of 3 m and 7 m would be 2.1 and 4.9: nobody knows, so () and shares go by width."""
    small_job.change("sections", '["3.5 m", "6.5 m"]', "boom")
    small_job.change("nozzles", "{count = 7}", "boom")
    assert read_job(small_job.path).settings.boom.section_nozzles == ()


# --- refusals -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "key", "value", "said"),
    [
        ("boom", "widht", '"9 m"', 'did you mean "width"?'),
        ("field", "boundry", '"b"', 'did you mean "boundary"?'),
        ("job", "Name", '"b"', 'did you mean "name"?'),
        ("report", "zzzz", "1", "known here: units, min_width"),
        ("boom", "width", "9", "not a quantity"),
        ("boom", "width", '"9"', "has no unit"),
        ("boom", "width", '"-9 m"', "out of range"),
        ("boom", "width", '"0 m"', "out of range"),
        ("boom", "width", '"9 km"', "out of range"),
        ("boom", "width", '"nan m"', "plain number"),
        ("boom", "width", '"9 L"', "does not fit here"),
        ("boom", "width", "nan", "not a quantity"),
        ("boom", "sections", '"3 m"', "a list in [ ]"),
        ("boom", "sections", "[]", "0 entries"),
        ("boom", "invert_switch", '"yes"', "true or false"),
        ("boom", "antenna_ahead", '"1.4"', "has no unit"),
        ("boom", "on_delay", '"3 m"', "does not fit here"),
        ("boom", "on_delay", '"3 h"', "out of range"),
        ("boom", "intervals", '""', "blank"),
        ("boom", "intervals", '"segment"', 'did you mean "segments"?'),
        ("boom", "intervals", '"bom.csv"', 'no file "bom.csv"'),
        ("boom", "intervals", "true", "text in quotes"),
        ("boom", "nozzles", "{count = 18.5}", "whole number"),
        ("boom", "nozzles", "{count = 0}", "from 1 to"),
        ("boom", "nozzles", '{spacing = "0.5 m"}', "missing"),
        ("boom", "nozzles", "18", "a table is wanted"),
        ("track", "files", "[]", "0 entries"),
        ("track", "files", '["gone.gpx"]', 'no file "gone.gpx"'),
        ("track", "files", '[".\\track.gpx"]', "write / instead of"),  # TOML reads a tab
        ("track", "files", "[3]", "text in quotes"),
        ("track", "max_gap", '"0 s"', "out of range"),
        ("field", "select", '"West bench"', "it has: Lower meadow"),
        ("field", "setback", '"-1 m"', "out of range"),
        ("field", "boundary", "[1]", "text in quotes"),
        ("job", "timezone", '"America/Denvere"', 'did you mean "America/Denver"?'),
        ("job", "timezone", '"../etc/passwd"', "not the name of a time zone"),
        ("job", "timezone", '"Berlin"', 'did you mean "Europe/Berlin"?'),
        ("job", "timezone", '"Amercia/Denver"', 'did you mean "America/Denver"?'),
        ("job", "timezone", '"Europe/Hamburg"', 'write one such as "America/Denver"'),  # no such zone, none near
        ("job", "date", '"30.5.2026"', "write it as 2026-05-30"),
        ("job", "date", "2026-05-30T10:00:00", "a date is wanted"),
        ("job", "date", "1926-05-30", "1980 to 2100"),
        ("job", "name", "3", "text in quotes"),
        ("report", "units", '"imperial"', "metric, us"),
        ("report", "min_width", '"0 m"', "out of range"),
        ("rate", "target", '"140 L"', "does not fit here"),
        ("rate", "nozzles", '{flow = "1.2 L/min"}', "missing"),
    ],
)
def test_wrong_values_name_file_and_key(small_job, table, key, value, said):
    small_job.change(key, value, table)
    message = refusal(small_job)
    assert message.startswith(f"job.toml, {table}.{key}")
    assert said in message


@pytest.mark.parametrize("key", ["field.boundary", "track.files", "boom.intervals"])
def test_required_keys(small_job, key):
    name = key.split(".")[1]
    lines = [line for line in small_job.read("job.toml").splitlines() if not line.startswith(f"{name} = ")]
    small_job.write("job.toml", "\n".join(lines))
    assert refusal(small_job).startswith(f"job.toml, {key}: this is missing")


def test_missing_table_names_its_required_key(small_job):
    small_job.write("job.toml", small_job.read("job.toml").replace('[track]\nfiles = ["track.gpx"]\n', ""))
    assert refusal(small_job).startswith("job.toml, track.files: this is missing")


def test_unknown_table_names_the_nearest(small_job):
    small_job.write("job.toml", small_job.read("job.toml") + "[reports]\n")
    message = refusal(small_job)
    assert message.startswith("job.toml, reports: ")
    assert 'did you mean "report"?' in message


def test_a_list_entry_is_named_by_its_number(small_job):
    small_job.change("sections", '["5 m", "5"]', "boom")
    assert refusal(small_job).startswith("job.toml, boom.sections[2]: ")


def test_broken_toml_says_the_line(small_job):
    small_job.write("job.toml", "[boom]\nwidth = 9 m\n")
    assert "line 2" in refusal(small_job)


def test_key_given_twice_is_broken_toml(small_job):
    small_job.write("job.toml", small_job.read("job.toml") + "[job]\n")
    assert refusal(small_job).startswith("job.toml: this is not TOML")


def test_job_file_that_is_not_text(small_job):
    small_job.write("job.toml", b"[job]\nname = '\xff'\n")
    assert refusal(small_job).startswith("job.toml, byte 14: this is not text")


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_job_file_as_a_windows_editor_saves_it(small_job, encoding):
    """Unicode and UTF-8 of its list of encodings, with its own line ends."""
    text = small_job.read("job.toml")
    small_job.write("job.toml", text.replace("\n", "\r\n").encode(encoding))
    assert read_job(small_job.path).settings.boom.width_m == 10.0


def test_curly_quotes_are_named(small_job):
    small_job.write("job.toml", "[job]\nname = \u201cCreek side\u201d\n")
    assert "its quotes are curly ones, type straight ones" in refusal(small_job)


def test_wheels_at_the_hitch(small_job):
    small_job.change("towed", '"4 m"', "boom")
    small_job.change("towed_axle", '"0 m"', "boom")
    assert refusal(small_job).startswith("job.toml, boom.towed_axle: ")


def test_two_nozzle_counts_that_disagree(small_job):
    small_job.change("nozzles", '{flow = "1 L/min", at = "3 bar", count = 20}', "rate")
    text = small_job.read("job.toml").replace("[boom]\n", "[boom]\nnozzles = {count = 18}\n")
    small_job.write("job.toml", text)
    assert refusal(small_job).startswith("job.toml, rate.nozzles.count: the boom has 18 nozzles")


def test_sections_of_the_csv_are_those_of_the_boom(small_job):
    lines = small_job.read("boom.csv").splitlines()
    small_job.write("boom.csv", f"on,off,sections\n{lines[1]},3\n")
    small_job.change("sections", '["5 m", "5 m"]', "boom")
    assert "no section 3, the boom has 2 sections" in refusal(small_job)


# --- without a job file -------------------------------------------------------------------


def test_options_give_the_same_job_as_the_file(small_job, monkeypatch):
    monkeypatch.chdir(small_job.folder)
    by_file = read_job("job.toml")
    by_options = job_from_options(
        ["track.gpx"], "boundary.geojson", "10 m", "boom.csv", antenna_ahead="0 m", timezone="America/Denver"
    )
    assert by_options.settings.boom == by_file.settings.boom
    assert by_options.intervals == by_file.intervals
    assert by_options.sources == by_file.sources[1:]


@pytest.mark.parametrize(
    ("change", "place", "said"),
    [
        ({"boom": "9"}, "--boom", "has no unit"),
        ({"field": "gone.geojson"}, "--field", "no file"),
        ({"track": ["track.gpx", "gone.gpx"]}, "--track", 'no file "gone.gpx"'),
        ({"exclude": ["gone.geojson"]}, "--exclude", "no file"),
        ({"intervals": "segmets"}, "--intervals", 'did you mean "segments"?'),
        ({"date": "yesterday"}, "--date", "2026-05-30"),
        ({"units": "feet"}, "--units", "metric, us"),
    ],
)
def test_wrong_options_name_the_option(small_job, monkeypatch, change, place, said):
    monkeypatch.chdir(small_job.folder)
    options = {"track": ["track.gpx"], "field": "boundary.geojson", "boom": "10 m", "intervals": "boom.csv", **change}
    with pytest.raises(InputError, match=said) as caught:
        job_from_options(**options)
    assert caught.value.place == place
