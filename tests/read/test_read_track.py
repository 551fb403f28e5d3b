"""One log file, told apart by content and refused in one clear line when it is of no use."""

import contextlib
import datetime as dt
import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nmea_text import T0, epochs, gga, log_of

from coverage_audit.errors import InputError
from coverage_audit.read.tracks.gpx import read_gpx
from coverage_audit.read.tracks.nmea import read_nmea
from coverage_audit.read.tracks.registry import read_track

GPX = (
    '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    '<trkpt lat="43.6" lon="-116.2"><time>2026-05-30T13:00:00Z</time></trkpt></trkseg></trk></gpx>'
)
NMEA = log_of(*epochs(3))
ENTITY = '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "b">]><gpx/>'


def write(folder, data, name="track.txt"):
    path = folder / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


@pytest.mark.parametrize(
    ("data", "form"),
    [
        (GPX, "GPX 1.1"),
        ("\ufeff \n" + GPX.removeprefix('<?xml version="1.0"?>'), "GPX 1.1"),
        (GPX.replace('"1.0"?', '"1.0" encoding="utf-16"?').encode("utf-16"), "GPX 1.1"),
        (GPX.replace("GPX/1/1", "GPX/1/0"), "GPX 1.0"),
        (NMEA, "NMEA 0183"),
        ("# a remark\n\n" + NMEA, "NMEA 0183"),
        (b"<\x00\xb5b" + NMEA.encode(), "NMEA 0183"),
    ],
    ids=["GPX", "BOM", "UTF-16", "GPX 1.0", "NMEA", "remark", "binary"],
)
@pytest.mark.parametrize("name", ["track.gpx", "track.nmea"])
def test_the_form_is_told_by_content_not_by_name(tmp_path, data, form, name):
    path = write(tmp_path, data, name)
    log = read_track(path)
    assert (log.file, log.form) == (name, form)
    assert log.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert log.fixes.time_s[0] == T0


def test_job_date_reaches_a_log_without_date(tmp_path):
    path = write(tmp_path, log_of(gga("130000"), gga("130001")))
    assert read_track(path, dt.date(2026, 5, 30)).fixes.time_s.tolist() == [T0, T0 + 1]
    with pytest.raises(InputError, match=r"set job\.date"):
        read_track(path)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ("", "the file is empty"),
        (" \r\n\n", "neither GPX nor NMEA"),
        ("day,height,depth\n1,2,3\n", "neither GPX nor NMEA"),
        ("time,lat,lon\n1,2,3\n", '"1" is no date and time'),
        (NMEA.encode("utf-16"), "neither GPX nor NMEA"),
        (b"\x00" * 5000, "neither GPX nor NMEA"),
        ("{}", "neither GPX nor NMEA"),
        ("<html/>", "not GPX"),
        ("<kml/>", "no place with a time"),
        (GPX[: GPX.index("<trkpt") + 20], "damaged or cut off"),
        (ENTITY, 'XML entity "a"'),
        (GPX.replace("<time>2026-05-30T13:00:00Z</time>", ""), "no time"),
        (GPX.replace("43.6", "116.2").replace("-116.2", "43.6"), "look swapped"),
        (GPX.replace("43.6", "0").replace("-116.2", "0"), "exactly 0, 0"),
        (NMEA.replace(",A,4336", ",V,4336"), "bad checksum"),
        (log_of(*(body.replace(",A,4336", ",V,4336") for body in epochs(3))), "no valid position"),
    ],
)
def test_unusable_files_are_refused_in_one_line(tmp_path, data, message):
    with pytest.raises(InputError, match=message) as caught:
        read_track(write(tmp_path, data))
    assert "track.txt" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_above_the_size_limit_is_refused_before_it_is_read(tmp_path, monkeypatch):
    path = write(tmp_path, GPX)
    monkeypatch.setattr("coverage_audit.read.source.MAX_FILE_BYTES", len(GPX))
    assert len(read_track(path).fixes) == 1
    monkeypatch.setattr("coverage_audit.read.source.MAX_FILE_BYTES", len(GPX) - 1)
    monkeypatch.setattr("pathlib.Path.read_bytes", lambda _path: pytest.fail("the file was read"))
    with pytest.raises(InputError, match="more than the limit"):
        read_track(path)


@pytest.mark.parametrize("name", ["missing.gpx", "."])
def test_a_missing_file_or_a_folder_is_refused(tmp_path, name):
    with pytest.raises(InputError):
        read_track(tmp_path / name)


@given(st.builds(bytes.__add__, st.sampled_from([b"", b"<gpx>", b"$GPRMC,"]), st.binary()))
def test_any_bytes_are_read_or_refused(data):
    for reader in (read_gpx, read_nmea):
        with contextlib.suppress(InputError):
            reader(data, "track.txt")
