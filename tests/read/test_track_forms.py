"""FIT, CSV, KML and GeoJSON logs: what was written comes out, as other programs write and read it, and broken ones."""

import io
import json
import os
import shutil
import subprocess
import zipfile

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from cautions_of_files import sentences
from simulator import exported as write

from coverage_audit.errors import InputError
from coverage_audit.jobs.read import read_job
from coverage_audit.read.packed import Memory
from coverage_audit.read.tracks.form import Asked
from coverage_audit.read.tracks.kml_track import is_kml
from coverage_audit.read.tracks.registry import logs_of
from coverage_audit.recipe.audit import audit_job

T0 = 1_780_146_000.0  # 2026-05-30 13:00:00 UTC
FIXES = [(T0 + k, 43.6 + 9e-6 * k, -116.2 + 4e-6 * np.sin(k / 9)) for k in range(100)]
SEMICIRCLE = 180 / 2**31  # degrees
FORMS = {
    "FIT": write.fit_of(FIXES),
    "CSV": write.csv_of(FIXES).encode(),
    "KML": write.kml_of(FIXES).encode(),
    "KML points": write.kml_of(FIXES, points=True).encode(),
    "GeoJSON": write.geojson_of(FIXES).encode(),
    "GeoJSON points": write.geojson_of(FIXES, points=True).encode(),
}


def read(data, name="log", **asked):
    (log,) = logs_of(Memory({name: data if isinstance(data, bytes) else data.encode()}), name, Asked(**asked))
    return log


def refused(data, **asked):
    with pytest.raises(InputError) as caught:
        read(data, **asked)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def check(log, fixes=FIXES, places=0.51e-9, times=0.51e-3):
    assert log.fixes.time_s == pytest.approx([one[0] for one in fixes], rel=0, abs=times)
    assert log.fixes.lat_deg == pytest.approx([one[1] for one in fixes], rel=0, abs=places)
    assert log.fixes.lon_deg == pytest.approx([one[2] for one in fixes], rel=0, abs=places)
    assert log.fixes_read == len(log.fixes) + sum(log.dropped.values())


@pytest.mark.parametrize("form", FORMS)
def test_what_was_written_comes_out_to_the_resolution_of_the_form(form):
    log = read(FORMS[form])
    check(log, places=0.51 * SEMICIRCLE if form == "FIT" else 0.51e-9)
    assert log.form == form.split()[0]
    assert sum(log.dropped.values()) == 0
    assert log.cautions == ()


def test_speed_of_a_fit_file():
    assert read(write.fit_of(FIXES, 2.75)).fixes.speed_m_s == pytest.approx(np.full(100, 2.75))


@pytest.mark.parametrize("form", FORMS)
def test_a_log_in_a_zip_file_is_the_log(form):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("doc.kml", FORMS[form])
        archive.writestr("images/photo.png", b"\x89PNG")
        archive.writestr("__MACOSX/._doc.kml", FORMS[form])
    log = read(out.getvalue(), "log.kmz")
    check(log, places=0.51 * SEMICIRCLE)
    assert log.file == "log.kmz, doc.kml"
    assert sentences(log) == ["log.kmz: 1 of its files are no logs and were left out (images/photo.png)."]


def test_several_gpx_files_in_a_zip_file_are_several_logs(small_job):
    out = io.BytesIO()
    fixes, _ = small_job.drive()
    with zipfile.ZipFile(out, "w") as archive:
        for number, part in enumerate((fixes[:300], fixes[300:])):
            archive.writestr(f"{number}.gpx", small_job.gpx_of(part))
    expected = audit_job(read_job(small_job.path)).area_m2
    small_job.write("logs.zip", out.getvalue())
    small_job.change("files", '["logs.zip"]', "track")
    found = audit_job(read_job(small_job.path))
    assert [one.file for one in found.inputs] == ["logs.zip, 0.gpx", "logs.zip, 1.gpx"]
    assert found.area_m2.covered == pytest.approx(expected.covered, abs=1e-6)


@pytest.mark.parametrize("form", FORMS)
def test_a_job_with_such_a_log_has_the_figures_of_the_same_job_in_gpx(small_job, form):
    expected = audit_job(read_job(small_job.path)).area_m2
    fixes = [(T0 + t, *small_job.place(east, north)[::-1]) for t, east, north in small_job.drive()[0]]
    make = {"FIT": write.fit_of, "CSV": write.csv_of, "KML": write.kml_of, "GeoJSON": write.geojson_of}[form.split()[0]]
    data = make(fixes, points=True) if "points" in form else make(fixes)
    small_job.write("log", data)
    small_job.change("files", '["log"]', "track")
    found = audit_job(read_job(small_job.path)).area_m2
    tolerance = 4.5 if form == "FIT" else 0.01  # a semicircle is 9 mm: half of it along 18 edges and ends of 60 m
    for name in ("covered", "missed", "double"):
        assert getattr(found, name) == pytest.approx(getattr(expected, name), abs=tolerance), name


# --- as other programs write and read them ------------------------------------------------------


def gpsbabel(tmp_path, source, target):
    if shutil.which("gpsbabel") is None:
        if os.environ.get("CI"):
            pytest.fail("gpsbabel is missing; install it")
        pytest.skip("gpsbabel is not installed")
    command = ["gpsbabel", "-t", "-i", source[0], "-f", source[1], "-o", target[0], "-F", target[1]]
    subprocess.run(command, check=True, cwd=tmp_path, capture_output=True)
    return (tmp_path / target[1]).read_bytes()


def as_gpx(fixes):
    points = "".join(
        f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"><time>{write.stamp(t)}</time></trkpt>' for t, lat, lon in fixes
    )
    head = '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
    return f"{head}<trk><trkseg>{points}</trkseg></trk></gpx>".encode()


def test_a_fit_file_that_gpsbabel_wrote(tmp_path):
    (tmp_path / "in.gpx").write_bytes(as_gpx(FIXES))
    check(read(gpsbabel(tmp_path, ("gpx", "in.gpx"), ("garmin_fit", "out.fit"))), places=1.01 * SEMICIRCLE)  # it cuts


def test_a_fit_file_that_gpsbabel_reads(tmp_path):
    (tmp_path / "in.fit").write_bytes(FORMS["FIT"])
    theirs = read(gpsbabel(tmp_path, ("garmin_fit", "in.fit"), ("gpx", "out.gpx")))
    ours = read(FORMS["FIT"])
    assert ours.fixes.time_s.tolist() == theirs.fixes.time_s.tolist()
    assert ours.fixes.lat_deg == pytest.approx(theirs.fixes.lat_deg, rel=0, abs=0.51e-9)  # nine decimals in its GPX
    assert ours.fixes.lon_deg == pytest.approx(theirs.fixes.lon_deg, rel=0, abs=0.51e-9)


def test_kml_that_gpsbabel_wrote(tmp_path):
    (tmp_path / "in.gpx").write_bytes(as_gpx(FIXES))
    data = gpsbabel(tmp_path, ("gpx", "in.gpx"), ("kml,track=1,points=0,lines=0", "out.kml"))
    check(read(data), places=0.51e-6)  # six decimals


def test_a_table_that_gpsbabel_wrote(tmp_path):
    """Date and time in two columns, of which neither says a zone until it is named."""
    (tmp_path / "in.gpx").write_bytes(as_gpx(FIXES))
    data = gpsbabel(tmp_path, ("gpx", "in.gpx"), ("unicsv,utc=0", "out.csv"))
    assert "nobody can tell whether they are UTC" in refused(data)
    check(read(data.replace(b",Time", b",Time UTC")), places=0.51e-6)


def test_tables_and_points_that_pandas_and_gdal_wrote(tmp_path):
    times, lat, lon = zip(*FIXES, strict=True)
    moments = pd.to_datetime(times, unit="s", utc=True)
    frame = pd.DataFrame({"when": moments, "Latitude": lat, "Longitude": lon, "note": "x"})
    check(read(frame.to_csv()), places=1e-12)
    check(read(frame.to_csv(sep=";", decimal=",")), places=1e-12)
    shapes = gpd.GeoDataFrame({"time": moments}, geometry=gpd.points_from_xy(lon, lat), crs="EPSG:4326")
    shapes.to_file(tmp_path / "p.geojson", driver="GeoJSON", COORDINATE_PRECISION=12)
    check(read((tmp_path / "p.geojson").read_bytes()), places=1e-11)


# --- tables: columns, units, zones --------------------------------------------------------------


def local(t, lat, lon):
    return write.stamp(t - 6 * 3600)[:-1], f"{lat:.9f}", f"{lon:.9f}"


def test_a_table_without_a_zone_asks_for_one():
    told = refused(write.csv_of(FIXES, "time,lat,lon", row=local))
    assert told == (
        'log, column "time": its times say no zone, and nobody can tell whether they are UTC; name their column '
        "time_utc, or time_local if they are in the zone of job.timezone"
    )
    assert "say in which zone" in refused(write.csv_of(FIXES, "time_local,lat,lon", row=local))


def test_local_times_are_read_in_the_jobs_zone():
    check(read(write.csv_of(FIXES, "time_local,lat,lon", row=local), timezone="America/Denver"))


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("Latitude,Longitude,Timestamp", lambda t, lat, lon: (f"{lat:.9f}", f"{lon:.9f}", write.stamp(t))),
        ("lat (deg),lng (deg),time [UTC]", lambda t, lat, lon: (f"{lat:.9f}", f"{lon:.9f}", write.stamp(t)[:-1])),
        ("unix,lat,lon", lambda t, lat, lon: (f"{t:.3f}", f"{lat:.9f}", f"{lon:.9f}")),
        ("timestamp,lat,lon", lambda t, lat, lon: (f"{t * 1000:.0f}", f"{lat:.9f}", f"{lon:.9f}")),
        ("time,lat,lon", lambda t, lat, lon: (write.stamp(t - 7200)[:-1] + "-02:00", f"{lat:.9f}", f"{lon:.9f}")),
        ("date,UTC,lat,lon", lambda t, lat, lon: (*write.stamp(t)[:-1].split("T"), f"{lat:.9f}", f"{lon:.9f}")),
    ],
)
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_columns_are_known_by_their_names(header, row, delimiter):
    check(read(write.csv_of(FIXES, header, delimiter, row)))


@pytest.mark.parametrize(
    ("unit", "factor"), [("m_s", 1.0), ("kmh", 3.6), ("km/h", 3.6), ("mph", 1 / 0.44704), ("kn", 3600 / 1852)]
)
def test_a_speed_with_its_unit(unit, factor):
    text = write.csv_of(FIXES, f"time_utc,lat,lon,speed_{unit}", row=lambda *one: (*plain(*one), f"{2.5 * factor:.6f}"))
    assert read(text).fixes.speed_m_s == pytest.approx(np.full(100, 2.5), abs=1e-5)


def test_a_speed_without_a_unit_is_left_aside():
    text = write.csv_of(FIXES, "time_utc,lat,lon,speed", row=lambda *one: (*plain(*one), "9"))
    assert np.isnan(read(text).fixes.speed_m_s).all()


def plain(t, lat, lon):
    return write.stamp(t), f"{lat:.9f}", f"{lon:.9f}"


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("time_utc,lat,height", "it has no column lon (its columns: time_utc, lat, height)"),
        ("day,lat,lon", "it has no column time_utc"),
        ("time_utc,easting,northing", "it has eastings and northings; export latitude and longitude"),
        ("time_utc,lat,latitude,lon", 'the columns "lat" and "latitude" both look like its lat; keep one'),
    ],
)
def test_a_table_without_what_it_needs_says_what(header, said):
    assert said in refused(write.csv_of(FIXES, header, row=lambda *one: (*plain(*one), "1")[: header.count(",") + 1]))


def test_times_that_a_spreadsheet_reshaped_are_refused():
    text = write.csv_of(FIXES, row=lambda _t, lat, lon: ("5/30/2026 13:00", f"{lat}", f"{lon}"))
    assert '"5/30/2026 13:00" is no date and time that can be read; write 2026-05-30T13:00:00Z' in refused(text)


def test_rows_that_cannot_be_used_are_counted():
    lines = write.csv_of(FIXES).splitlines()
    lines[3], lines[4], lines[5] = "never,43.6,-116.2", f"{write.stamp(T0 + 3)},,", f"{write.stamp(T0 + 4)},0,0"
    log = read("\n".join(lines))
    assert len(log.fixes) == 97
    assert {reason: count for reason, count in log.dropped.items() if count} == {
        "no_time": 1, "no_position": 1, "zero_position": 1,
    }  # fmt: skip


# --- broken and odd ones ------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["FIT", "KML", "KML points", "GeoJSON points", "CSV"])
def test_a_file_that_breaks_off_is_read_to_its_last_whole_record(form):
    data = FORMS[form]
    rng = np.random.default_rng(7)
    for cut in rng.integers(len(data) // 3, len(data) - 30, 20).tolist():
        log = read(data[:cut])
        count = len(log.fixes)
        check(log, FIXES[:count], places=0.51 * SEMICIRCLE)
        assert 20 < count < 100
        told = f"{count} {'record' if form == 'FIT' else 'row' if form == 'CSV' else 'place'}(s) before that were read"
        if form == "CSV" and log.dropped.get("cut_off", 0) == 0:
            continue  # cut within the last cell, or behind a whole row: nothing in the file tells
        assert any(told in text for text in sentences(log)), (cut, log.cautions)


def test_a_line_that_breaks_off_is_refused_in_one_line():
    """Times stand before or behind all places, so what is left cannot be paired."""
    assert "broken or cut off" in refused(FORMS["GeoJSON"][:3000])


def test_many_declarations_before_the_root_are_read_once():
    """Eighteen took 12 s, each further one twice as long."""
    declared = b'<?xml version="1.0"?>\n<!-- a -->\n' * 100
    assert not is_kml(declared + b"<gpx>")
    assert is_kml(declared[:3000] + b'\n<kml xmlns="x">') is False  # the last is cut within
    assert is_kml(declared[: 33 * 60] + b'<kml xmlns="x">')


def test_damage_within_a_kml_file_is_refused_with_its_line():
    text = FORMS["KML"].decode().replace("</when>", "</wehn>", 1)
    assert refused(text).startswith("log, line 3: the XML is broken or cut off (mismatched tag)")


def test_a_wrong_sum_of_a_fit_file_is_told():
    data = bytearray(FORMS["FIT"])
    data[-1] ^= 0xFF
    log = read(bytes(data))
    assert len(log.fixes) == 100
    assert sentences(log) == ["log: its checksum is wrong, so some of it may be damaged unseen."]


def test_fit_needs_its_library(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "fitdecode", None)
    assert "needs one more library; install it" in refused(FORMS["FIT"])


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (write.kml_of([]), "no place with a time is in it; export the track with its times"),
        (
            "<kml><Placemark><LineString><coordinates>1,2 3,4</coordinates></LineString></Placemark></kml>",
            "1 line(s) without",
        ),
        (json.dumps({"type": "LineString", "coordinates": [[1, 2], [3, 4]]}), "no place with a time is in it"),
        ("on,off\n2026-05-30T13:00:00Z,2026-05-30T13:00:01Z\n", "is neither GPX nor NMEA 0183 nor KML nor FIT"),
        (write.csv_of([]), "no row in it is whole"),
        (write.csv_of([(T0, 95.0, 7.0), (T0 + 1, 96.0, 7.0)]), "look swapped"),
    ],
)
def test_what_has_no_usable_place_is_refused(data, said):
    assert said in refused(data)


def test_places_without_a_time_are_counted():
    top = json.loads(FORMS["GeoJSON points"])
    del top["features"][3]["properties"]["time"]
    top["features"][5]["geometry"]["type"] = "Pointer"
    log = read(json.dumps(top))
    assert (len(log.fixes), log.dropped["no_time"], log.notes) == (98, 1, {"feature_without_times": 1})
    text = FORMS["KML points"].decode().replace("TimeStamp", "Timestamp", 2)
    log = read(text)
    assert (len(log.fixes), log.notes) == (99, {"placemark_without_time": 1})


def test_uneven_times_are_paired_from_the_start_and_counted():
    top = json.loads(FORMS["GeoJSON"])
    del top["features"][0]["properties"]["coordTimes"][90:]
    log = read(json.dumps(top))
    assert len(log.fixes) == 90
    assert any("other numbers of times than of places" in text for text in sentences(log))
