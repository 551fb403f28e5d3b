"""The Python face: the same answers as the command, as frames with units, from files or from memory."""

import copy
import dataclasses
import datetime as dt
import doctest
import json
import shutil
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import gpxpy
import numpy as np
import pandas as pd
import pytest
import shapely

import coverage_audit as ca
from coverage_audit import run
from coverage_audit.cli import main
from coverage_audit.facts import Caution

ROOT = Path(__file__).parents[1]
FIXTURE = ROOT / "fixtures" / "one_pass_off"
UNITS = ("_m", "_m2", "_s", "_deg")


def parts(folder=FIXTURE):
    """Fixes, field and on-times of a fixture as a notebook would have them."""
    points = gpxpy.parse((folder / "track.gpx").read_text()).tracks[0].segments[0].points
    table = pd.DataFrame([(one.time, one.longitude, one.latitude) for one in points], columns=["time", "lon", "lat"])
    fixes = gpd.GeoDataFrame(table[["time"]], geometry=gpd.points_from_xy(table["lon"], table["lat"]), crs=4326)
    return (
        fixes,
        gpd.read_file(folder / "field.geojson"),
        pd.read_csv(folder / "boom.csv", parse_dates=["on", "off"], date_format="ISO8601"),
    )


RATE = {"rate": {"target": "100 L/ha", "flow": "15 L/min"}}
SAME = {"width": "10 m", "antenna_ahead": "0 m", "name": "Six passes, the third 1 m off", "settings": RATE}


def given(**changes):
    fixes, field, on_off = parts()
    return ca.job(**{"fixes": fixes, "field": field, "boom": on_off, **SAME, **changes})


def without_inputs(summary):
    """All but which files it was read from, and cautions that name them."""
    return {key: value for key, value in summary.items() if key != "inputs"}


@pytest.fixture(scope="module")
def audit():
    return ca.audit(ca.read_job(FIXTURE / "job.toml"))


# --- one answer by every door ---------------------------------------------------------------------------


def test_the_same_figures_as_the_command(audit, capsys):
    assert main(["check", str(FIXTURE / "job.toml"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(audit.summary))


def test_a_job_from_memory_gives_the_figures_of_the_same_job_from_files(audit):
    """Places and times reach the readers to their last digit, so every figure is the very same."""
    assert without_inputs(ca.audit(given()).summary) == without_inputs(audit.summary)


def test_the_same_papers_as_the_command(audit, tmp_path):
    names = ca.write(audit, tmp_path / "face", ca.plan_touchup(audit, dt.date(2026, 5, 30)))
    command = ["check", str(FIXTURE / "job.toml"), "--touchup", "--on", "2026-05-30", "-o", str(tmp_path / "command")]
    assert main([*command, "--quiet"]) == 0
    assert set(names) >= {*run.REPORT_PAPERS, "touchup.json", "touchup_sheet.html"}
    for name in (*names, ".coverage-audit.json"):
        assert (tmp_path / "face" / name).read_bytes() == (tmp_path / "command" / name).read_bytes()


def test_write_replaces_nobody_elses_file(audit, tmp_path):
    (tmp_path / "summary.json").write_text("mine")
    with pytest.raises(ca.InputError, match="this file is there already"):
        ca.write(audit, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["summary.json"]
    ca.write(audit, tmp_path, replace=True)
    assert (tmp_path / "summary.json").read_text() != "mine"
    shutil.copy(FIXTURE / "track.gpx", tmp_path / "missed.gpx")
    with pytest.raises(ca.InputError, match="an input of the work"):
        ca.write(audit, tmp_path, replace=True)


def test_the_same_differences_as_the_command(audit, tmp_path):
    other = ROOT / "fixtures" / "sections_by_log" / "job.toml"
    found = ca.compare(audit, ca.audit(ca.read_job(other)), labels=["one", "other"])
    labels = ["--label", "one", "--label", "other"]
    assert main(["compare", str(FIXTURE / "job.toml"), str(other), *labels, "-o", str(tmp_path), "--quiet"]) == 0
    assert found.summary == json.loads((tmp_path / "compare.json").read_text())
    assert list(found.differences["measure"]) == [one["measure"] for one in found.summary["differences"]]
    assert repr(found).count("\n") < 10


@pytest.mark.parametrize(
    ("labels", "words"), [(["a"], "1 labels stand beside 2 audits"), (["a", "a"], "the same label")]
)
def test_labels_that_do_not_fit_are_refused(audit, labels, words):
    with pytest.raises(ca.InputError, match=words):
        ca.compare(audit, audit, labels=labels)
    with pytest.raises(ca.InputError, match="two audits or more"):
        ca.compare(audit)


# --- what a notebook sees -------------------------------------------------------------------------------


def test_a_notebook_by_hand(audit):
    """Worked figure: 100 x 60 m, six 10 m passes, the third 1 m off: 100 m2 missed and 100 m2 double."""
    missed = audit.missed
    assert missed.crs == "EPSG:4326"
    metres = missed.to_crs(missed.estimate_utm_crs())
    # UTM's scale is off by up to 0.04 % on its central meridian, twice that in areas
    assert metres.area.sum() == pytest.approx(missed["area_m2"].sum(), rel=1e-3)
    wide = missed[missed["mean_width_m"] > 0.5]
    assert list(wide.index) == ["M1"]
    assert wide["area_m2"].sum() == pytest.approx(100.0, abs=0.01)
    assert audit.double["max_visits"].tolist() == [2]
    # the line is drawn along the logged path, the length is measured by the recipe: one is a check of the other
    straight = audit.passes[audit.passes["kind"] == "straight"]
    assert len(straight) == 6
    lengths = straight.to_crs(missed.estimate_utm_crs()).length.to_numpy()
    assert lengths == pytest.approx(straight["length_m"].to_numpy(), rel=5e-3)
    assert straight["start"].is_monotonic_increasing
    assert audit.areas["missed"] == audit.result.area_m2.missed
    assert audit.areas == audit.summary["area_m2"]


def test_every_number_of_a_frame_says_its_unit(audit):
    for frame in (audit.missed, audit.double, audit.passes):
        numbers = [name for name in frame.columns if pd.api.types.is_float_dtype(frame[name].dtype)]
        assert numbers
        assert all(name.endswith(UNITS) or name == "probability" for name in numbers)


def test_what_is_not_known_is_nan_and_never_zero(audit):
    assert np.isnan(audit.passes["on_late_m"][audit.passes["kind"] == "turn"]).all()
    assert audit.passes["block"].isna().any()


def test_nothing_missed_gives_an_empty_frame_with_its_columns(audit):
    nothing = dataclasses.replace(audit.result, missed_strips=(), double_patches=(), passes=None)
    empty = ca.Audited(nothing)
    for frame, like in ((empty.missed, audit.missed), (empty.double, audit.double), (empty.passes, audit.passes)):
        assert len(frame) == 0
        assert frame.crs == like.crs
        assert list(frame.columns) == list(like.columns)
        assert all(frame[name].dtype.kind == "f" for name in frame.columns if name.endswith(UNITS))


def test_repr_is_short_and_leads_with_the_verdict(audit):
    text = repr(audit)
    assert text.count("\n") < 9
    assert run.verdict(audit.result).headline in text
    assumed = repr(ca.audit(given(boom="assume")))
    assert assumed.count("\n") < 9
    assert "ASSUMED" in assumed


def test_html_has_verdict_and_map_and_touches_no_other_part_of_the_page(audit):
    evil = dataclasses.replace(audit.result, cautions=(Caution("no checksums", file="<script>alert(1)</script>"),))
    html = ca.Audited(evil)._repr_html_()
    assert run.verdict(audit.result).headline in html
    assert "<svg" in html
    assert "<script" not in html
    assert "http" not in html.replace("http://www.w3.org", "")
    rules = html.partition("<style>")[2].partition("</style>")[0]
    assert "--ink" in rules
    assert rules.count("{") > 20
    assert all(rule.strip().startswith(".coverage-audit") for rule in rules.split("}") if rule.strip())


# --- equality and hash ------------------------------------------------------------------------------------


def records(value, seen):
    """Every kind of dataclass that can be reached, one of each."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        if type(value) in seen:
            return
        seen[type(value)] = value
        for field in dataclasses.fields(value):
            records(getattr(value, field.name), seen)
    elif isinstance(value, (tuple, list)):
        for one in value:
            records(one, seen)
    elif isinstance(value, dict):
        records(list(value.values()), seen)


def with_arrays_of_its_own(record):
    """The same record but for its containers and arrays, which are copies, so that each is really compared."""
    twin = copy.copy(record)
    for field in dataclasses.fields(record):
        object.__setattr__(twin, field.name, copied(getattr(record, field.name)))
    return twin


def copied(value):
    if isinstance(value, np.ndarray):
        return value.copy()
    if isinstance(value, (tuple, list)):
        return type(value)(copied(one) for one in value[:3])
    return value


def test_equality_and_hash_of_records_do_not_raise(audit):
    seen = {}
    for one in (audit.result, ca.plan_touchup(audit), ca.compare(audit, audit).result):
        records(one, seen)
    drawn = ca.audit(given(settings={**RATE, "accuracy": {"steering": "hand", "replicates": 20}}))
    for one in (drawn.result, ca.audit(given(boom="assume")).result):
        records(one, seen)
    assert len(seen) > 40
    for one in seen.values():
        hash(one)
        assert (one == with_arrays_of_its_own(one)) in {True, False}
        assert one == one  # noqa: PLR0124 - this is what is tested
    assert audit == audit  # noqa: PLR0124
    assert len({audit, audit, drawn}) == 2


# --- what is given -----------------------------------------------------------------------------------------


def test_times_may_be_given_in_every_usual_way(audit):
    fixes, field, on_off = parts()
    seconds = [moment.timestamp() for moment in fixes["time"]]
    columns = {"lon": fixes.geometry.x, "lat": fixes.geometry.y}
    forms = {
        "seconds": columns | {"time": seconds},
        "texts": columns | {"time": [moment.isoformat() for moment in fixes["time"]]},
        "naive": columns | {"time": fixes["time"].dt.tz_convert(None)},
        "elsewhere": columns | {"time": fixes["time"].dt.tz_convert("America/Denver")},
        "index": fixes.set_index("time"),
    }
    pairs = [(on.timestamp(), off.timestamp()) for on, off in zip(on_off["on"], on_off["off"], strict=True)]
    for fixes_given in forms.values():
        job = ca.job(fixes_given, field=field, boom=pairs, **SAME)
        assert job.logs[0].fixes.time_s.tolist() == seconds
        assert [(one.on_s, one.off_s) for one in job.intervals] == pairs
        assert job.logs[0].fixes.lon_deg.tolist() == fixes.geometry.x.tolist()
    assert without_inputs(ca.audit(job).summary) == without_inputs(audit.summary)
    between = [moment + 0.123456 for moment in seconds]
    job = ca.job(columns | {"time": between}, field=field, boom=pairs, **SAME)
    assert job.logs[0].fixes.time_s.tolist() == pytest.approx(between, abs=1e-6)


def test_frames_in_metres_are_turned_into_degrees(audit):
    fixes, field, on_off = parts()
    utm = field.estimate_utm_crs()
    job = ca.job(fixes.to_crs(utm), field=field.to_crs(utm), boom=on_off, **SAME)
    assert ca.audit(job).areas["missed"] == pytest.approx(audit.areas["missed"], abs=1e-3)


def test_a_shape_in_degrees_is_a_field_and_areas_may_be_left_out(audit):
    _, field, _ = parts()
    shape = field.geometry.iloc[0]
    assert ca.audit(given(field=shape)).areas["target"] == audit.areas["target"]
    pond = shape.centroid.buffer(1e-4)
    assert ca.audit(given(exclude=pond)).areas["target"] < audit.areas["target"]


FIXES, FIELD, ON_OFF = parts()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"boom": "log"}, 'boom: "log" is not one of assume'),
        ({"boom": [(1.0, 2.0, 3.0)]}, "boom: give a table with columns on and off"),
        ({"boom": 7}, "boom: give a table with columns on and off"),
        ({"boom": pd.DataFrame({"on": [1.0]})}, "boom: there is no column off"),
        ({"boom": [("soon", "later")]}, "boom, on: these are not times"),
        ({"boom": ON_OFF.iloc[[0, 0]]}, "boom.csv, line 3: this interval overlaps"),
        ({"field": FIELD.set_crs(None, allow_override=True)}, "field: the frame says no coordinate system"),
        ({"field": "field.geojson"}, "field: give a GeoDataFrame"),
        ({"field": shapely.Point(-70.5, -41.2)}, "field.geojson: there is no area in it"),
        ({"fixes": FIXES.drop(columns="time")}, 'fixes: there are no times; give a column "time"'),
        ({"fixes": FIXES.assign(time=pd.NaT)}, "fixes, time: row 1 has no time"),
        ({"fixes": {"time": [0.0], "lat": [1.0]}}, "fixes: there is no column lon"),
        ({"fixes": {"time": [0.0], "lat": [1.0], "lon": ["west"]}}, "fixes: lon and lat are to be numbers"),
        ({"fixes": {"time": [0.0], "lat": [1.0, 2.0], "lon": [1.0, 2.0]}}, "fixes: times, longitudes and latitudes"),
        ({"fixes": [1, 2]}, "fixes: give a GeoDataFrame of points"),
        ({"fixes": FIELD.assign(time=0.0)}, "fixes: there are shapes other than points"),
        ({"width": "9"}, "job, boom.width: "),
        ({"width": 9.0}, "job, boom.width: "),
        ({"width": None}, "job, boom.width: the boom has no width"),
        ({"settings": {"rate": {"flaw": "1 L/min"}}}, "job, rate.flaw: there is no such key"),
        ({"settings": {"boom": {"width": "9 m"}}}, "boom.width: this is given twice"),
        ({"settings": {"rate": {"flow": object()}}}, "rate.flow: a object cannot stand in a job"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(changes, words):
    with pytest.raises(ca.InputError) as caught:
        given(**changes)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_settings_take_every_kind_of_value():
    settings = {
        "rate": {
            "catch": ["1.0 L/min"] * 20,
            "tank": "300 L",
            "refills": [dt.datetime(2026, 5, 28, 20, 28, tzinfo=dt.UTC)],
        },
        "job": {"notes": 'a "word" \\ and\na line', "planned_cut": dt.date(2026, 6, 20)},
        "boom": {"nozzles": {"count": 20}, "invert_switch": False},
        "track": {"max_gap": "6 s"},
    }
    read = given(settings=settings).settings
    assert read.notes == settings["job"]["notes"]
    assert read.touchup.planned_cut == dt.date(2026, 6, 20)
    assert read.boom.nozzle_count == 20
    assert read.track.max_gap_s == 6.0
    assert read.rate.tank.refills_s == (settings["rate"]["refills"][0].timestamp(),)


# --- the door itself ---------------------------------------------------------------------------------------


def test_importing_the_package_imports_nothing_heavy():
    heavy = ("numpy", "scipy", "shapely", "pandas", "geopandas", "pyproj", "folium", "jinja2", "argparse")
    code = f"import sys, coverage_audit; print([name for name in {heavy} if name in sys.modules], len(sys.modules))"
    done = subprocess.run([sys.executable, "-S", "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    loaded, _, count = done.stdout.rpartition(" ")
    assert loaded == "[]"
    assert int(count) < 150  # of the interpreter's own are some 50


def test_every_name_of_the_face_is_there_and_no_other():
    assert set(ca.__all__) <= set(dir(ca))
    for name in ca.__all__:
        assert getattr(ca, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'audit_job'"):
        ca.audit_job  # noqa: B018
    assert (Path(ca.__file__).parent / "py.typed").is_file()


def test_the_example_of_the_package_runs(tmp_path, monkeypatch):
    for path in FIXTURE.iterdir():
        shutil.copy(path, tmp_path)
    monkeypatch.chdir(tmp_path)
    fixes, field, on_off = parts()
    names = {"fixes": fixes, "field": field, "on_off": on_off}
    examples = doctest.DocTestParser().get_doctest(ca.__doc__, names, "coverage_audit", None, 0)
    runner = doctest.DocTestRunner()
    runner.run(examples)
    assert runner.summarize(verbose=False).failed == 0
    assert runner.tries >= 7
    assert (tmp_path / "report" / "report.html").is_file()
