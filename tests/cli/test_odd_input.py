"""Odd input to the command itself: every row of the contract's list of what is lived with.

The job is audited all the same: exit 0, what was left out is counted, and a caution says so.
"""

import datetime as dt
import functools
import json
import operator
import re

import geopandas as gpd
import pytest
from shapely.geometry import Polygon


@pytest.fixture
def summary(check):
    """Assert that the job was audited; its summary."""

    def run():
        code, err, out = check()
        assert (code, err) == (0, "")
        return json.loads((out / "summary.json").read_text(encoding="utf-8"))

    return run


def nmea(body, *, good=True):
    """One sentence with its checksum (or a wrong one)."""
    checksum = functools.reduce(operator.xor, body.encode()) ^ (0 if good else 0x55)
    return f"${body}*{checksum:02X}\r\n"


def angle(degrees, digits):
    whole = int(abs(degrees))
    return f"{whole:0{digits}d}{(abs(degrees) - whole) * 60:010.7f}"


def rmc(job, seconds, east, north, *, days=0, status="A", good=True):
    """RMC sentence of one fix, *days* later or earlier than it was."""
    lon, lat = job.place(east, north)
    moment = dt.datetime.fromisoformat(job.stamp(seconds)) + dt.timedelta(days=days)
    place = f"{angle(lat, 2)},N,{angle(lon, 3)},W" if status == "A" else ",,,"
    return nmea(f"GPRMC,{moment:%H%M%S}.00,{status},{place},,,{moment:%d%m%y},,,A", good=good)


def nmea_job(job, sentences):
    """Turn the small job into one with an NMEA log."""
    job.write("track.nmea", sentences if isinstance(sentences, bytes) else "".join(sentences))
    job.change("files", '["track.nmea"]', "track")


def test_single_bad_fixes_are_dropped_and_counted(small_job, summary):
    """A fix at 0, 0, one out of range, one without a time, one twice, one running backwards."""
    lines = small_job.read("track.gpx").splitlines()
    at = 45  # within the first ride back, with the boom off
    point = lines[at]
    bad = [
        re.sub(r'lat="[^"]*" lon="[^"]*"', 'lat="0" lon="0"', lines[at + 1]),
        re.sub(r'lat="[^"]*"', 'lat="95"', lines[at + 2]),
        re.sub(r"<time>.*</time>", "", lines[at + 3]),
        point,
        lines[at - 20],
    ]
    small_job.write("track.gpx", "\n".join([*lines[: at + 1], *bad, *lines[at + 1 :]]))
    found = summary()
    (entry,) = found["inputs"]
    assert sum(entry["dropped"].values()) == 5
    assert entry["fixes_read"] == entry["fixes_used"] + 5
    assert entry["fixes_used"] == len(small_job.drive()[0])
    assert found["area_m2"]["covered"] == pytest.approx(6000, abs=6)  # 0.1 % at one fix a second
    assert any(re.search(r"\b5 .*(fix|point)", caution) for caution in found["cautions"])


def test_void_fixes_are_dropped_and_counted(small_job, summary):
    fixes, _ = small_job.drive()
    nmea_job(small_job, [rmc(small_job, *fix, status="V" if 50 <= k < 53 else "A") for k, fix in enumerate(fixes)])
    found = summary()
    (entry,) = found["inputs"]
    assert sum(entry["dropped"].values()) == 3
    assert entry["fixes_read"] == entry["fixes_used"] + 3 == len(fixes)
    assert any(re.search(r"\b3 .*fix", caution) for caution in found["cautions"])


def test_bad_checksums_are_skipped_and_counted_as_sentences(small_job, summary):
    fixes, _ = small_job.drive()
    nmea_job(small_job, [rmc(small_job, *fix, good=k not in (48, 50)) for k, fix in enumerate(fixes)])
    found = summary()
    (entry,) = found["inputs"]
    assert entry["dropped"]["bad_checksum"] == 2
    assert entry["fixes_read"] == entry["fixes_used"] == len(fixes) - 2
    assert any("checksum" in caution for caution in found["cautions"])


def test_binary_between_sentences_is_stepped_over(small_job, summary):
    fixes, _ = small_job.drive()
    noise = b"\xb5\x62\x01\x07$\x00\xff\r\n\xd3\x00"
    nmea_job(small_job, b"".join(noise + rmc(small_job, *fix).encode() for fix in fixes))
    (entry,) = summary()["inputs"]
    assert entry["fixes_used"] == len(fixes)


def test_job_past_midnight(small_job, summary):
    """The same job eleven hours less 400 s later, so that the date changes 400 s after its start."""
    fixes, intervals = small_job.drive()
    late = 11 * 3600 - 400
    nmea_job(small_job, [rmc(small_job, seconds + late, east, north) for seconds, east, north in fixes])
    rows = [f"{small_job.stamp(on + late)},{small_job.stamp(off + late)}\n" for on, off in intervals]
    small_job.write("boom.csv", "on,off\n" + "".join(rows))
    found = summary()
    assert found["job"]["start"].startswith("2026-05-30T23:53:20")
    assert found["job"]["end"].startswith("2026-05-31T00:0")
    assert any("midnight" in caution for caution in found["cautions"])
    assert found["area_m2"]["covered"] == pytest.approx(6000, abs=6)  # 0.1 % at one fix a second


def test_week_counter_that_rolled_over(small_job, summary):
    """The receiver believes it is 1024 weeks earlier; job.date says when it really was."""
    fixes, _ = small_job.drive()
    nmea_job(small_job, [rmc(small_job, *fix, days=-1024 * 7) for fix in fixes])
    small_job.change("date", "2026-05-30", "job")
    found = summary()
    assert found["job"]["start"].startswith("2026-05-30T13:00:00")
    assert any("rolled over" in caution for caution in found["cautions"])


@pytest.mark.parametrize("crs", ["EPSG:32611", "EPSG:3857", "EPSG:2242"])
def test_boundary_in_any_stated_system(small_job, summary, crs):
    """UTM 11N, web mercator, Idaho Central in US feet: all the same 6 000 m2.

    0.6 m2 = 0.01 %: the feet are on NAD83, which is turned to WGS 84 by a shift.
    """
    corners = [small_job.place(*corner) for corner in ((0, 0), (100, 0), (100, 60), (0, 60))]
    frame = gpd.GeoDataFrame({"name": ["Lower meadow"]}, geometry=[Polygon(corners)], crs="EPSG:4326").to_crs(crs)
    frame.to_file(small_job.folder / "boundary.gpkg")
    small_job.change("boundary", '"boundary.gpkg"', "field")
    found = summary()
    assert found["area_m2"]["field"] == pytest.approx(6000, abs=0.6)
    assert any(frame.crs.name in caution for caution in found["cautions"])


def test_driven_boundary_with_a_gap_is_closed_with_a_caution(small_job, summary):
    small_job.write("line.gpx", small_job.gpx_of([(0, 0, 5), (1, 0, 60), (2, 100, 60), (3, 100, 0), (4, 0, 0)]))
    small_job.change("boundary", '"line.gpx"', "field")
    found = summary()
    assert found["area_m2"]["field"] == pytest.approx(6000, rel=1e-5)
    assert any("5.0 m apart" in caution for caution in found["cautions"])


def test_fine_job_has_no_caution_about_its_files(summary):
    """So that the cautions above come from what was put in."""
    assert [
        caution for caution in summary()["cautions"] if re.search(r"track\.gpx|boundary\.geojson|boom\.csv", caution)
    ] == []
