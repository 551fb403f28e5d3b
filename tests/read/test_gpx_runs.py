"""Runs of points taken out at once: whatever the file, the document is the one that the parser alone makes."""

import random

import pytest

from coverage_audit.errors import InputError
from coverage_audit.read.tracks import gpx_xml
from coverage_audit.read.tracks.gpx_runs import RUN, Points, without_runs

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">\n'
PIECES = (
    '<trkpt lat="1.5" lon="-2"><time>2026-05-28T20:26:40Z</time></trkpt>\n',
    '<trkpt lat="1.6" lon="-2"><ele>12</ele><time>2026-05-28T20:26:41Z</time></trkpt>\r\n',
    '<trkpt lat="1.7" lon="-2"><ele>12</ele><time>2026-05-28T20:26:42Z</time><hdop>1.2</hdop></trkpt>',
    '<trkpt lon="1.7" lat="-2"><time>2026-05-28T20:26:42Z</time></trkpt>',
    '<trkpt lat="1.8" lon="-2"><ele></ele><time></time></trkpt>\n\n',
    '<trkpt lat="1.8" lon="-2"><time>2026-05-28</time',
    "</trkseg><trkseg>",
    "</trkseg></trk><trk><name>second</name><trkseg>",
    '<extensions><trkpt lat="9" lon="9"><time>2026-05-28T20:26:42Z</time></trkpt></extensions>',
    '<x xmlns="urn:other"><trkseg><trkpt lat="8" lon="8"><time>1</time></trkpt></trkseg></x>',
    '<!-- <trkpt lat="7" lon="7"><time>2</time></trkpt> -->',
    '<![CDATA[<trkpt lat="7" lon="7"><time>2</time></trkpt>]]>',
    f'<{RUN} n="3"/>',
    '<trkpt lat="7" lon="7">\f<time>2</time></trkpt>',
    "&",
    "\r",
    "",
)


def read(data, monkeypatch, *, at_once):
    with monkeypatch.context() as patched:
        if not at_once:
            patched.setattr(gpx_xml, "without_runs", lambda one: (one, Points()))
        try:
            return gpx_xml.parse(data, "x.gpx", whole=False)
        except InputError as error:
            return str(error)


@pytest.mark.parametrize("seed", range(300))
def test_any_file_is_read_as_the_parser_alone_reads_it(seed, monkeypatch):
    rng = random.Random(seed)
    body = "".join(rng.choice(PIECES[: rng.choice((2, 5, 9, len(PIECES)))]) for _ in range(rng.choice((3, 8, 20))))
    text = HEAD + "<trk><trkseg>" + body + rng.choice(("</trkseg></trk></gpx>", "</trkseg></trk>", "<trkpt"))
    data = text.encode(rng.choice(("utf-8", "utf-8", "utf-16")) if rng.random() < 0.1 else "utf-8")
    if rng.random() < 0.3:
        data = data[: rng.randrange(len(data))]
    assert read(data, monkeypatch, at_once=True) == read(data, monkeypatch, at_once=False)


def test_a_plain_log_leaves_the_parser_two_elements():
    text = HEAD + "<trk><trkseg>" + PIECES[0] * 500 + PIECES[1] + "</trkseg></trk></gpx>"
    left, points = without_runs(text.encode())
    assert left.count(b"<") == 9
    assert f'<{RUN} n="1"/><{RUN} n="500"/>'.encode() in left
    assert left.count(b"\n") == text.count("\n")
    assert (len(points.lat), points.ele[-2:]) == (501, ["", "12"])
