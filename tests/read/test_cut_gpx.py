"""A GPX file without its end is read to the last whole point; times that no log can have are dropped and counted."""

import warnings

import numpy as np
import pytest
from cautions_of_files import sentences

from coverage_audit.drive.track import clean_track
from coverage_audit.errors import InputError
from coverage_audit.read.tracks.gpx import gpx_lines, read_gpx
from coverage_audit.read.tracks.nmea_sentences import day_number

HEAD = '<?xml version="1.0"?>\n<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n'
TAIL = "</trkseg></trk></gpx>\n"


def point(number, time=None):
    when = time or f"2026-05-30T13:00:{number:02d}Z"
    return f'<trkpt lat="{43.5 + number * 1e-5:.5f}" lon="-116.25"><ele>820</ele><time>{when}</time></trkpt>\n'


WHOLE = HEAD + "".join(point(number) for number in range(40)) + TAIL


def test_every_place_where_a_file_can_be_cut_leaves_its_whole_points():
    ends = [WHOLE.index("</trkpt>") + 8]
    while (found := WHOLE.find("</trkpt>", ends[-1])) >= 0:
        ends.append(found + 8)
    for length in range(ends[0], len(WHOLE) - 1, 7):
        whole = sum(end <= length for end in ends)
        begun = WHOLE[:length].rfind("<trkpt")
        log = read_gpx(WHOLE[:length].encode(), "track.gpx")
        assert len(log.fixes) == whole
        assert log.fixes.time_s[-1] - log.fixes.time_s[0] == pytest.approx(whole - 1)
        open_point = begun > ends[whole - 1] and ">" in WHOLE[begun:length]
        assert log.dropped.get("cut_off", 0) == open_point
        assert log.fixes_read == whole + open_point
        (told,) = (one for one in sentences(log) if "cut off at its end" in one)
        assert f"{whole} track point(s)" in told
    assert read_gpx(WHOLE.encode(), "track.gpx").cautions == ()


@pytest.mark.parametrize("tail", [b"\0" * 4096, b"\xff\xfe\0garbage", b"<trkpt lat=", b"&"])
def test_what_a_dying_phone_leaves_behind_the_last_point_is_cut_off(tail):
    log = read_gpx((HEAD + "".join(map(point, range(20)))).encode() + tail, "track.gpx")
    assert len(log.fixes) == 20
    assert "cut off at its end" in sentences(log)[0]


def test_damage_with_points_behind_it_is_refused():
    """Half a job read as a whole one would be told as missed ground."""
    broken = WHOLE[: len(WHOLE) // 2] + "\0\0" + WHOLE[len(WHOLE) // 2 :]
    with pytest.raises(InputError, match="damaged or cut off"):
        read_gpx(broken.encode(), "track.gpx")


def test_nothing_usable_is_refused():
    with pytest.raises(InputError, match="damaged or cut off"):
        read_gpx((HEAD + point(0)[:30]).encode(), "track.gpx")


def test_a_line_round_a_field_must_be_whole():
    with pytest.raises(InputError, match="damaged or cut off"):
        gpx_lines(WHOLE[:-30].encode(), "field.gpx")


def test_a_waypoint_that_is_cut_is_left_out():
    text = HEAD + point(0) + point(1) + '</trkseg></trk><wpt lat="1" lon="2"><time>2026-05-30T13:00:30Z</time><na'
    assert read_gpx(text.encode(), "track.gpx").marks == ()


@pytest.mark.parametrize(
    "time", ["12026-05-30T13:00:05Z", "2101-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "1899-12-31T23:59:59Z"]
)
def test_a_time_that_no_log_can_have_costs_its_fix(time):
    text = HEAD + "".join(point(number, time if number == 5 else None) for number in range(20)) + TAIL
    log = read_gpx(text.encode(), "track.gpx")
    assert len(log.fixes) == 19
    assert log.dropped.get("time_out_of_range", 0) + log.dropped["no_time"] == 1
    assert np.ptp(log.fixes.time_s) == 19


def test_a_log_with_nothing_else_says_so():
    text = HEAD + "".join(point(number, f"2500-05-30T13:00:{number:02d}Z") for number in range(20)) + TAIL
    with pytest.raises(InputError, match="outside the years 1900 to 2100"):
        read_gpx(text.encode(), "track.gpx")


def test_a_mark_at_such_a_time_is_left_out_and_noted():
    mark = '<wpt lat="1" lon="2"><time>9999-12-31T23:59:59Z</time><name>boom on</name></wpt>'
    log = read_gpx((HEAD + point(0) + "</trkseg></trk>" + mark + "</gpx>").encode(), "track.gpx")
    assert log.marks == ()
    assert log.notes == {"waypoint_time_out_of_range": 1}


def test_a_zone_before_the_z_warns_of_nothing():
    text = HEAD + point(0) + point(1, "2026-05-30T13:00:01+01:00Z") + TAIL
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        log = read_gpx(text.encode(), "track.gpx")
    assert log.dropped["no_time"] == 1


@pytest.mark.parametrize("field", ["99999999999999999999", "-99999999999999999999", "1e9", ""])
def test_a_date_of_twenty_digits_is_no_date(field):
    assert np.isnan(day_number(field, "05", "26"))
    assert np.isnan(day_number("30", field, "26"))
    assert np.isnan(day_number("30", "05", field))


def test_an_offset_beyond_all_calendars_is_refused():
    log = read_gpx(WHOLE.encode(), "track.gpx")
    with pytest.raises(InputError, match="before 1970 or after 2100"):
        clean_track((log,), lambda lon, lat: (lon * 8e4, lat * 1e5), -2e9, 5.0)
