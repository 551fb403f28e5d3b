"""GPX files read by the streaming reader, held against gpxpy and against literal texts."""

import contextlib
import csv
import datetime as dt
import itertools
from pathlib import Path

import gpxpy
import numpy as np
import pytest
from cautions_of_files import sentences
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.errors import InputError
from coverage_audit.read.tracks.gpx import gpx_lines, read_gpx

CORPUS = Path(__file__).parents[3] / "shared" / "corpus"
needs_corpus = pytest.mark.skipif(not CORPUS.is_dir(), reason="no corpus of real logs beside the checkout")

NS_1_0 = "http://www.topografix.com/GPX/1/0"
NS_1_1 = "http://www.topografix.com/GPX/1/1"
T0 = 1_780_146_000.0  # 2026-05-30T13:00:00Z, from Python's datetime
MICROSECOND_S = 2e-6  # both readers resolve microseconds; a float near 1.8e9 s resolves 0.24 of one

POINT = '<trkpt lat="43.5" lon="-116.25"><time>2026-05-30T13:00:00Z</time></trkpt>'

PLAIN = f"""<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="test" xmlns="{NS_1_1}">
 <metadata><time>1999-01-01T00:00:00Z</time></metadata>
 <wpt lat="43.5" lon="-116.25"><time>2026-05-30T13:00:30Z</time><name>Boom ON</name><type>switch</type></wpt>
 <wpt lat="43.5" lon="-116.25"><name>gate</name></wpt>
 <trk><name>bench &amp; lower part</name>
  <trkseg/>
  <trkseg>
   <!-- a comment --><trkpt lat="43.5" lon="-116.25"><ele>820.5</ele><time>2026-05-30T13:00:00Z</time>
     <fix>dgps</fix><sat>11</sat><hdop>0.8</hdop></trkpt>
   <trkpt lon="-116.2501" lat="43.5001"><time>2026-05-30T13:00:00.250Z</time><fix>3d</fix></trkpt>
  </trkseg>
  <trkseg><trkpt lat="+43.5002" lon="-1.162502e2"><time>2026-05-30T07:00:01-06:00</time></trkpt></trkseg>
 </trk>
</gpx>"""

FOREIGN = f"""<g:gpx version="1.1" creator="test" xmlns:g="{NS_1_1}" xmlns:x="urn:other" xmlns="urn:third">
 <g:trk><g:extensions><g:trkseg><g:trkpt lat="1" lon="2"><g:time>2026-05-30T13:00:00Z</g:time></g:trkpt></g:trkseg>
 </g:extensions><g:trkseg>
  <x:trkpt lat="3" lon="4"><g:time>2026-05-30T13:00:00Z</g:time></x:trkpt>
  <trkpt lat="5" lon="6"><g:time>2026-05-30T13:00:00Z</g:time></trkpt>
  <g:trkpt lat="43.5" lon="-116.25"><x:time>1999-01-01T00:00:00Z</x:time>
   <g:time>2026-05-30T13:00:00Z</g:time>
   <g:extensions><g:time>1999-01-01T00:00:00Z</g:time><g:hdop>9</g:hdop><x:speed>7</x:speed></g:extensions>
   <x:hdop>8</x:hdop></g:trkpt>
 </g:trkseg></g:trk></g:gpx>"""

NO_NAMESPACE = f'<gpx version="1.0" creator="test"><trk><trkseg>{POINT}</trkseg></trk></gpx>'


def gpx_text(points, version="1.1"):
    namespace = NS_1_0 if version == "1.0" else NS_1_1
    return f'<gpx version="{version}" creator="t" xmlns="{namespace}"><trk><trkseg>{points}</trkseg></trk></gpx>'


def point(inside="<time>2026-05-30T13:00:00Z</time>", lat="43.5", lon="-116.25"):
    return f'<trkpt lat="{lat}" lon="{lon}">{inside}</trkpt>'


def read(text):
    return read_gpx(text.encode(), "track.gpx")


def iso(microseconds):
    return (dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(microseconds=microseconds)).isoformat()


def points_of_gpxpy(text):
    """(lat, lon, seconds, segment) of each timed point, as the general-purpose library reads them."""
    segments = [segment for track in gpxpy.parse(text).tracks for segment in track.segments]
    rows = []
    for number, segment in enumerate(segments):
        for p in segment.points:
            if p.time is not None:
                moment = p.time if p.time.tzinfo else p.time.replace(tzinfo=dt.UTC)
                rows.append((p.latitude, p.longitude, moment.timestamp(), number))
    return np.array(rows).reshape(-1, 4)


def assert_same_points(log, expected):
    fixes = log.fixes
    assert len(fixes) == len(expected)
    assert (fixes.lat_deg == expected[:, 0]).all()
    assert (fixes.lon_deg == expected[:, 1]).all()
    np.testing.assert_allclose(fixes.time_s, expected[:, 2], rtol=0, atol=MICROSECOND_S)
    assert (fixes.segment == expected[:, 3]).all()


# --- literal texts ----------------------------------------------------------------------------


@pytest.mark.parametrize("text", [PLAIN, NO_NAMESPACE, "\ufeff" + PLAIN], ids=["1.1", "no namespace", "BOM"])
def test_same_points_as_the_general_purpose_reader(text):
    log = read(text)
    assert_same_points(log, points_of_gpxpy(text.removeprefix("\ufeff")))
    assert log.fixes_read == len(log.fixes)


def test_every_field_of_a_plain_file():
    log = read(PLAIN)
    fixes = log.fixes
    assert log.form == "GPX 1.1"
    assert log.file == "track.gpx"
    assert fixes.time_s.tolist() == [T0, T0 + 0.25, T0 + 1.0]
    assert fixes.lon_deg.tolist() == [-116.25, -116.2501, -116.2502]
    assert fixes.segment.tolist() == [1, 1, 2]  # the empty segment has number 0
    assert fixes.quality.tolist() == [2, 1, -1]
    assert fixes.satellites.tolist() == [11, -1, -1]
    assert fixes.hdop[0] == 0.8
    assert np.isnan(fixes.hdop[1:]).all()
    assert np.isnan(fixes.gst_m).all()
    assert [(mark.time_s, mark.text, mark.kind) for mark in log.marks] == [(T0 + 30.0, "Boom ON", "switch")]
    assert log.notes == {"waypoint_without_time": 1}
    assert log.cautions == ()


def test_elements_in_extensions_or_of_foreign_namespaces_are_not_core():
    log = read(FOREIGN)
    assert log.fixes.lat_deg.tolist() == [43.5]
    assert log.fixes.time_s.tolist() == [T0]
    assert np.isnan(log.fixes.hdop).all()
    assert np.isnan(log.fixes.speed_m_s).all()


def test_a_point_outside_a_track_segment_is_not_core():
    stray = f'<gpx version="1.1" creator="t" xmlns="{NS_1_1}"><trk>{POINT}<trkseg>{POINT}</trkseg></trk>{POINT}</gpx>'
    assert read(stray).fixes_read == 1


def test_time_without_zone_is_utc():
    """Check value: a public test of a GPX library has 2024-11-17T06:54:12 = 1731826452 s."""
    assert read(gpx_text(point("<time>2024-11-17T06:54:12</time>"))).fixes.time_s.tolist() == [1731826452.0]


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("2026-05-30T13:00:00.1234567Z", T0 + 0.123456),  # more digits than a microsecond are cut
        ("2026-05-30T15:30:00+02:30", T0),
        ("2026-05-30T13:00:00.5", T0 + 0.5),
        ("  2026-05-30T13:00:00Z\n", T0),
    ],
)
def test_times_as_iso_8601_allows_them(text, seconds):
    found = read(gpx_text(point(f"<time>{text}</time>"))).fixes.time_s
    np.testing.assert_allclose(found, [seconds], rtol=0, atol=MICROSECOND_S)


def test_speed_and_course_are_core_in_gpx_1_0_only():
    inside = "<time>2026-05-30T13:00:00Z</time><course>271.5</course><speed>2.7</speed>"
    old, new = (read(gpx_text(point(inside), version)).fixes for version in ("1.0", "1.1"))
    assert (old.course_deg[0], old.speed_m_s[0]) == (271.5, 2.7)
    assert np.isnan(new.course_deg[0])
    assert np.isnan(new.speed_m_s[0])


@pytest.mark.parametrize(
    ("element", "label"),
    [
        ("<hdop>good</hdop>", "bad_hdop"),
        ("<hdop>-1</hdop>", "bad_hdop"),
        ("<fix>something_not_in_the_spec</fix>", "bad_fix"),
        ("<ele>12,5</ele>", "bad_ele"),
        ("<sat>many</sat>", "bad_sat"),
        ("<speed>fast</speed>", "bad_speed"),
        ("<course>400</course>", "bad_course"),
        ("<hdop>nan</hdop>", "bad_hdop"),
        ("<fix/>", "bad_fix"),
    ],
)
def test_a_bad_optional_field_costs_no_point(element, label):
    log = read(gpx_text(point("<time>2026-05-30T13:00:00Z</time>" + element), "1.0"))
    assert len(log.fixes) == 1
    assert log.notes == {label: 1}
    assert label.removeprefix("bad_") in sentences(log)[0]


def test_white_space_around_a_value_is_no_fault():
    log = read(gpx_text(point("<time> 2026-05-30T13:00:00Z </time><fix>\n 3d\n</fix><sat> 7\t</sat>")))
    assert (log.fixes.quality[0], log.fixes.satellites[0], log.notes) == (1, 7, {})


def test_fix_none_is_kept_with_quality_0_and_a_caution():
    log = read(gpx_text(point("<time>2026-05-30T13:00:00Z</time><fix>none</fix>")))
    assert log.fixes.quality.tolist() == [0]
    assert log.notes == {"fix_none": 1}
    assert "not from satellites" in sentences(log)[0]


def test_every_unused_point_is_counted_under_one_reason():
    good = point()
    bad = {
        "no_position": [point(lat="north"), point(lon=""), point(lat="nan"), f"<trkpt>{'<time>x</time>'}</trkpt>"],
        "out_of_range": [point(lat="90.001"), point(lon="-180.5"), point(lat="120", inside="")],
        "zero_position": [point(lat="0", lon="0.0")],
        "no_time": [point(""), point("<time/>"), point("<time>noon</time>"), point("<time>2026-05-30</time>"),
                    point("<time>2026-02-30T13:00:00Z</time>")],
    }  # fmt: skip
    log = read(gpx_text(good + "".join(itertools.chain(*bad.values())) + good))
    assert log.dropped == {"bad_checksum": 0} | {reason: len(points) for reason, points in bad.items()}
    assert len(log.fixes) == 2
    assert log.fixes_read == 2 + sum(log.dropped.values())


def test_an_infinite_coordinate_is_no_position():
    log = read(gpx_text(point() + point(lat="inf")))
    assert log.dropped["no_position"] == 1


def test_file_order_and_repeated_times_are_kept():
    times = ["13:00:02", "13:00:01", "13:00:01"]
    log = read(gpx_text("".join(point(f"<time>2026-05-30T{time}Z</time>") for time in times)))
    assert (log.fixes.time_s - T0).tolist() == [2.0, 1.0, 1.0]


@pytest.mark.parametrize("encoding", ["utf-16", "iso-8859-1", "windows-1252"])
def test_other_encodings(encoding):
    named = gpx_text(POINT).replace("<trkseg>", "<name>Höhe</name><trkseg>")
    text = f'<?xml version="1.0" encoding="{encoding}"?>{named}'
    data = text.encode(encoding)
    assert len(read_gpx(data, "t.gpx").fixes) == 1
    assert gpx_lines(data, "t.gpx")[0][0] == "Höhe"


# --- lines ------------------------------------------------------------------------------------


def test_lines_are_segments_and_routes_with_their_names():
    points = '<rtept lat="1" lon="2"/><rtept lat="3" lon="4"><name>x</name></rtept>'
    text = PLAIN.replace("<trk>", f"<rte><name>round the pond</name>{points}</rte><trk>")
    lines = gpx_lines(text.encode(), "boundary.gpx")
    assert [name for name, _ in lines] == ["bench & lower part", "bench & lower part", "round the pond"]
    assert lines[0][1].tolist() == [[-116.25, 43.5], [-116.2501, 43.5001]]
    assert lines[2][1].tolist() == [[2.0, 1.0], [4.0, 3.0]]


def test_an_untimed_track_is_refused_as_a_log_but_good_as_a_line():
    text = gpx_text(point("") + point("", lat="43.6"))
    with pytest.raises(InputError, match="every track point has no time"):
        read(text)
    ((name, line),) = gpx_lines(text.encode(), "boundary.gpx")
    assert name == ""
    assert line.tolist() == [[-116.25, 43.5], [-116.25, 43.6]]


@pytest.mark.parametrize("bad", [{"lat": "91"}, {"lat": "x"}, {"lat": "0", "lon": "0"}])
def test_a_line_must_not_lose_a_corner_unseen(bad):
    with pytest.raises(InputError, match=r"boundary.gpx, line .*, point 2: .* correct or delete"):
        gpx_lines(gpx_text(point("") + point("", **bad)).encode(), "boundary.gpx")


# --- refusals ---------------------------------------------------------------------------------

BOMB = """<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>"""
EXTERNAL = """<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/hostname">]>"""
PARAMETER = """<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY % a SYSTEM "http://localhost/a.dtd"> %a;]>"""


@pytest.mark.parametrize("prologue", [BOMB, EXTERNAL, PARAMETER], ids=["bomb", "external", "parameter"])
@pytest.mark.parametrize("reader", [read_gpx, gpx_lines])
def test_any_entity_declaration_is_refused(prologue, reader):
    with pytest.raises(InputError, match=r"track\.gpx: declares the XML entity"):
        reader((prologue + gpx_text(POINT)).encode(), "track.gpx")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (PLAIN[: len(PLAIN) // 2], r"track.gpx, line \d+: the XML is damaged or cut off"),
        (PLAIN.replace("</trkseg>", "</trkSeg>"), r"line \d+: the XML is damaged or cut off \(mismatched tag\)"),
        ('<?xml version="1.0" encoding="no-such"?><gpx/>', "encod"),
        ("<kml><Document/></kml>", "is XML but not GPX .*<kml>"),
        (gpx_text(""), "has no track points"),
        (gpx_text(point(lat="95", lon="10")), "lies outside latitude.*swapped"),
        (gpx_text(point(lat="95", lon="100")), r"lies outside latitude -90\.\.90, longitude -180\.\.360: check[^;]*$"),
        (gpx_text(point(lat="0", lon="0")), "every track point is exactly 0, 0"),
        (gpx_text(point("")), "every track point has no time"),
        (gpx_text(point("") + point(lat="0", lon="0")), r"none of the 2 track points .*1 zero position, 1 no time"),
    ],
)
def test_unusable_files_are_refused_in_one_line(text, message):
    with pytest.raises(InputError, match=message) as caught:
        read(text)
    assert "\n" not in str(caught.value)


@given(st.data())
def test_a_mutated_file_is_read_or_refused(data):
    """Whatever bytes change, the reader answers with a log or an InputError."""
    text = bytearray(PLAIN.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        text[start : start + data.draw(st.integers(0, 5))] = data.draw(st.binary(max_size=6))
    for reader in (read_gpx, gpx_lines):
        with contextlib.suppress(InputError):
            reader(bytes(text), "track.gpx")


@given(
    st.lists(
        st.tuples(
            st.floats(-90, 90), st.floats(-180, 180), st.integers(315_532_800_000_000, 4_070_908_800_000_000)
        ).filter(lambda row: row[:2] != (0.0, 0.0)),
        min_size=1,
        max_size=8,
    )
)
def test_any_track_is_read_as_gpxpy_reads_it(rows):
    text = gpx_text("".join(point(f"<time>{iso(t)}</time>", repr(lat), repr(lon)) for lat, lon, t in rows))
    assert_same_points(read(text), points_of_gpxpy(text))


# --- the corpus -------------------------------------------------------------------------------


@needs_corpus
def test_corpus_points_are_those_of_gpxpy():
    files = [*sorted(CORPUS.glob("gpx/*.gpx")), *sorted(CORPUS.glob("field/*.gpx"))]
    compared = 0
    for path in files:
        data = path.read_bytes()
        try:
            expected = points_of_gpxpy(data.decode("utf-8-sig"))
        except (gpxpy.gpx.GPXException, UnicodeDecodeError):
            continue
        if len(expected):
            assert_same_points(read_gpx(data, path.name), expected)
        else:
            with pytest.raises(InputError):
                read_gpx(data, path.name)
        compared += 1
    assert compared > len(files) * 0.9  # gpxpy loses a few whole files, see the next test


@needs_corpus
def test_corpus_counts_are_those_of_an_element_tree():
    """Counted apart with ElementTree; a file that gpxpy loses for one bad field is in it too."""
    with (CORPUS / "expected" / "gpx_counts.csv").open(newline="") as table:
        rows = [row for row in csv.DictReader(table) if row["xml"] == "ok"]
    assert len(rows) > 40
    for row in rows:
        data = (CORPUS / "gpx" / row["file"]).read_bytes()
        lines = gpx_lines(data, row["file"])
        tracks = int(row["segments"]) - int(row["empty_segments"])
        waypoints, routes, route_points = (int(part) for part in row["wpt/rte/rtept"].split("/"))
        assert tracks <= len(lines) <= tracks + routes, row["file"]
        assert sum(len(line) for _, line in lines) == int(row["points"]) + route_points, row["file"]
        if int(row["points_with_time"]):
            log = read_gpx(data, row["file"])
            assert log.fixes_read == int(row["points"]), row["file"]
            assert len(log.fixes) == int(row["points_with_time"]), row["file"]
            assert len(log.marks) + log.notes.get("waypoint_without_time", 0) == waypoints, row["file"]


@needs_corpus
def test_a_corpus_file_that_gpxpy_loses_for_one_bad_field_is_read():
    log = read_gpx((CORPUS / "gpx" / "rs-with_accuracy.gpx").read_bytes(), "accuracy.gpx")
    assert len(log.fixes) == 3
    assert log.notes == {"bad_fix": 1}
