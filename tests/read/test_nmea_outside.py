"""NMEA 0183 logs held against a corpus, two parser libraries and a converter."""

import contextlib
import csv
import datetime as dt
import math
import os
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pynmea2
import pynmeagps
import pytest
from cautions_of_files import sentences
from nmea_text import FLOAT_DEG, FLOAT_S, KNOT_M_S, log_of, seconds, sentence

from coverage_audit.errors import InputError
from coverage_audit.read.tracks.gpx import read_gpx
from coverage_audit.read.tracks.nmea import read_nmea
from coverage_audit.read.tracks.nmea_sentences import (
    POSITION_COLUMNS,
    TIME_FIELD,
    Tally,
    decode_gga,
    decode_gll,
    decode_gns,
    decode_rmc,
    decode_vtg,
    decode_xdr,
    decode_zda,
    scan,
    time_of_day,
)

CORPUS = Path(__file__).parents[3] / "shared" / "corpus"
needs_corpus = pytest.mark.skipif(not CORPUS.is_dir(), reason="no corpus of real logs beside the checkout")

# --- two parser libraries ---------------------------------------------------------------------


def corpus_lines():
    """Sound lines of the corpus that hold one whole sentence with a talker and nothing else."""
    whole = re.compile(r"\$[A-OQ-Z][A-Z]([A-Z]{3}),[^$*]*\*[0-9A-Fa-f]{2}")
    for path in sorted(CORPUS.glob("nmea/*.log")):
        for line in path.read_bytes().decode("latin-1").splitlines():
            match = whole.fullmatch(line.strip())
            if match:
                yield match[1], line.strip()


def fields_of(line):
    """Fields as this package's scan gives them, or None when it rejects the checksum."""
    return next((fields for *_, fields in scan(line.encode("latin-1"), Tally())), None)


def same(ours, theirs, tolerance):
    """Equal within *tolerance*, or absent in both (libraries use None or an empty text)."""
    if theirs is None or theirs == "":
        return math.isnan(ours)
    return math.isclose(ours, float(theirs), rel_tol=0, abs_tol=tolerance)


DECODERS = {"RMC": decode_rmc, "GGA": decode_gga, "GNS": decode_gns, "GLL": decode_gll}
PYNMEAGPS_ERRORS = (pynmeagps.NMEAParseError, pynmeagps.NMEATypeError, pynmeagps.NMEAMessageError)


def clock_s(clock):
    return clock.hour * 3600 + clock.minute * 60 + clock.second + clock.microsecond / 1e6


def days(date):
    return (date - dt.date(1970, 1, 1)).days


def compare_with_pynmeagps(kind, fields, theirs, line):
    """Compare one sentence; pynmeagps rounds degrees to ten decimals."""
    notes = Tally().notes
    if kind == "ZDA":
        expected = days(dt.date(int(theirs.year), int(theirs.month), int(theirs.day))) if theirs.year else math.nan
        assert decode_zda(fields, notes)[1] == pytest.approx(expected, abs=0, nan_ok=True), line
        return
    if kind == "VTG":
        if theirs.posMode != "N" and theirs.sogn:
            assert same(decode_vtg(fields, notes)[0] / KNOT_M_S, theirs.sogn, 1e-9), line
        return
    ours = dict(zip(POSITION_COLUMNS, DECODERS[kind](fields, notes), strict=True))
    assert same(ours["lat"], theirs.lat, 1e-9), line
    assert same(ours["lon"], theirs.lon, 1e-9), line
    if theirs.time:
        assert time_of_day(fields[TIME_FIELD[kind]]) == pytest.approx(clock_s(theirs.time), abs=FLOAT_S), line
    if kind == "RMC" and theirs.date:
        assert same(ours["speed"] / KNOT_M_S, theirs.spd, 1e-9), line
        assert same(ours["course"], theirs.cog, 1e-9), line
        assert ours["day"] == days(theirs.date), line
    if kind == "GGA":
        assert same(ours["quality"], theirs.quality, 0), line
        assert same(ours["hdop"], theirs.HDOP, 1e-9), line


@needs_corpus
def test_corpus_line_by_line_against_pynmeagps():
    compared = dict.fromkeys([*DECODERS, "VTG", "ZDA"], 0)
    for kind, line in corpus_lines():
        if kind not in compared or "8960.0" in line:  # 89 degrees 60 minutes, void: unreadable to us, 90 to them
            continue
        fields = fields_of(line)
        with contextlib.suppress(*PYNMEAGPS_ERRORS):
            theirs = pynmeagps.NMEAReader.parse(line.encode("latin-1"), validate=pynmeagps.VALCKSUM)
            assert fields is not None, line
            compare_with_pynmeagps(kind, fields, theirs, line)
            compared[kind] += 1
    assert min(compared.values()) > 10, compared


@needs_corpus
def test_corpus_line_by_line_against_pynmea2():
    """Compare degrees, times and speeds; pynmea2 computes them in floating point as we do."""
    compared = dict.fromkeys(DECODERS, 0)
    for kind, line in corpus_lines():
        if kind not in compared or "8960.0" in line:
            continue
        fields = fields_of(line)
        with contextlib.suppress(pynmea2.ParseError):
            theirs = pynmea2.parse(line, check=True)
            assert fields is not None, line
            ours = dict(zip(POSITION_COLUMNS, DECODERS[kind](fields, Tally().notes), strict=True))
            if theirs.lat:
                assert ours["lat"] == pytest.approx(theirs.latitude, abs=FLOAT_DEG), line
                assert ours["lon"] == pytest.approx(theirs.longitude, abs=FLOAT_DEG), line
            if isinstance(theirs.timestamp, dt.time):
                assert time_of_day(fields[TIME_FIELD[kind]]) == pytest.approx(clock_s(theirs.timestamp), abs=FLOAT_S)
            if kind == "RMC" and isinstance(theirs.spd_over_grnd, float):
                assert same(ours["speed"] / KNOT_M_S, theirs.spd_over_grnd, 1e-9), line
            compared[kind] += 1
    assert min(compared.values()) > 10, compared


def test_xdr_against_pynmea2():
    body = "IIXDR,R,0.28,l,FLOW,S,1,,BOOM3,P,270000,P,PRESSURE,C,21.0,C,TEMP"
    theirs = pynmea2.parse(sentence(body).strip())
    ours = decode_xdr(fields_of(sentence(body)), Tally().notes)
    assert theirs.num_transducers == 4
    names = [theirs.get_transducer(index).id for index in range(3)]
    values = [float(theirs.get_transducer(index).value) for index in range(3)]
    assert names == ["FLOW", "BOOM3", "PRESSURE"]
    assert [(one.name, one.section) for one in ours] == [("FLOW", 0), ("BOOM", 3), ("PRESSURE", 0)]
    factors = [60.0, 1.0, 1e-5]  # L/s -> L/min; pascal -> bar
    np.testing.assert_allclose([one.value for one in ours], np.multiply(values, factors), rtol=1e-12)


# --- an independent daemon --------------------------------------------------------------------

# Log -> tolerance of the rows the daemon's suite expects. [m]
# 2 cm is the rounding of its nine decimals and of five decimals of a minute. Exceptions: in ac12 and ac12_binary
# the daemon follows RMC (four decimals: 0.0001' = 0.19 m) where GGA has five, which we take; in
# bundg_zeus_9 two sentences of one time stamp disagree by up to 3.4 m.
ROW_TOLERANCE_M = {"ac12": 0.14, "ac12_binary": 0.14, "bundg_zeus_9": 3.5}


def distance_m(lat, lon, lats, lons):
    """Distances in metres, small enough for a flat earth of 111.2 km a degree."""
    north = (lats - lat) * 111_200.0
    east = (lons - lon) * 111_200.0 * math.cos(math.radians(lat))
    return np.hypot(north, east)


def corpus_logs():
    return sorted(CORPUS.glob("expected/*.epochs.csv")) if CORPUS.is_dir() else []


@needs_corpus
@pytest.mark.parametrize("table", corpus_logs(), ids=lambda path: path.name.removesuffix(".epochs.csv"))
def test_corpus_epochs_of_an_independent_daemon(table):
    name = table.name.removesuffix(".epochs.csv")
    with table.open(newline="") as file:
        rows = list(csv.DictReader(file))
    data = (CORPUS / "nmea" / f"{name}.log").read_bytes()
    if not rows:  # void throughout, or (hp58534a) without any checksum
        try:
            log = read_nmea(data, name)
        except InputError as error:
            assert "no valid position" in str(error)  # noqa: PT017  either answer is right
        else:
            assert "no sentence has a checksum" in sentences(log)[0]
        return
    fixes = read_nmea(data, name).fixes
    for row in rows:
        near = np.abs(fixes.time_s - seconds(row["time_utc"])) <= 1e-3 + FLOAT_S
        assert near.any(), row
        away = distance_m(float(row["lat"]), float(row["lon"]), fixes.lat_deg[near], fixes.lon_deg[near])
        assert away.min() <= ROW_TOLERANCE_M.get(name, 0.02), (row, away)


@needs_corpus
@pytest.mark.parametrize(
    ("name", "bad"),
    [("firefly-II", 23), ("gp-320fw-2019-04-07-coldboot", 29), ("py-nmeabadck", 2), ("gpsdf", 0)],
)
def test_corpus_bad_checksums(name, bad):
    """Counts of the corpus' own index; the 46 of gpsdf are proprietary sentences, which are stepped over."""
    log = read_nmea((CORPUS / "nmea" / f"{name}.log").read_bytes(), name)
    assert log.dropped["bad_checksum"] == bad


# --- the same log through a converter ---------------------------------------------------------


def converted(data, folder):
    """Turn *data* into GPX with gpsbabel and read that."""
    if shutil.which("gpsbabel") is None:
        if os.environ.get("CI"):
            pytest.fail("gpsbabel is missing; install it")
        pytest.skip("gpsbabel is not installed")
    (folder / "in.nmea").write_bytes(data)
    command = ["gpsbabel", "-t", "-i", "nmea", "-f", "in.nmea", "-o", "gpx", "-F", "out.gpx"]
    subprocess.run(command, check=True, capture_output=True, cwd=folder)
    return read_gpx((folder / "out.gpx").read_bytes(), "out.gpx").fixes


def assert_same_track(ours, theirs):
    assert len(ours) == len(theirs)
    np.testing.assert_allclose(ours.time_s, theirs.time_s, rtol=0, atol=1e-3)  # gpsbabel writes milliseconds
    np.testing.assert_allclose(ours.lat_deg, theirs.lat_deg, rtol=0, atol=1e-9)  # and nine decimals of a degree
    np.testing.assert_allclose(ours.lon_deg, theirs.lon_deg, rtol=0, atol=1e-9)


def drive_over_midnight():
    """RMC and GGA bodies of two minutes at 1 Hz over midnight, the burst of each second together."""
    start = dt.datetime(2026, 5, 30, 23, 59, tzinfo=dt.UTC)
    for k in range(120):
        moment = start + dt.timedelta(seconds=k, milliseconds=250 * (k % 4))
        clock = f"{moment:%H%M%S}.{moment.microsecond // 10_000:02d}"
        place = f"43{36 + 0.00123457 * k:010.7f},N,116{12 + 0.00045678 * k:010.7f},W"
        yield (
            f"GNGGA,{clock},{place},1,{8 + k % 5:02d},0.{5 + k % 5},820.0,M,-20.0,M,,",
            f"GNRMC,{clock},A,{place},{5 + 0.01 * k:.2f},{(3 * k) % 360:.1f},{moment:%d%m%y},,,A",
        )


# gpsbabel 1.8 gives the position of a GGA the time of the RMC behind it. In bursts that begin with
# RMC its positions so lag one epoch; what is compared here has GGA first, or RMC alone.


def test_a_log_converted_by_gpsbabel_gives_the_same_points(tmp_path):
    data = log_of(*(body for burst in drive_over_midnight() for body in burst)).encode()
    ours, theirs = read_nmea(data, "track.nmea").fixes, converted(data, tmp_path)
    assert_same_track(ours, theirs)
    assert ours.satellites.tolist() == theirs.satellites.tolist()
    np.testing.assert_allclose(ours.hdop, theirs.hdop, rtol=0, atol=1e-6)  # gpsbabel writes six decimals


def test_rmc_alone_converted_by_gpsbabel_gives_the_same_points(tmp_path):
    data = log_of(*(rmc_body for _, rmc_body in drive_over_midnight())).encode()
    assert_same_track(read_nmea(data, "track.nmea").fixes, converted(data, tmp_path))


@needs_corpus
@pytest.mark.parametrize("name", ["quectelLC79D", "gpsdf", "sirfstarv-nmea", "ac12"])
def test_corpus_logs_converted_by_gpsbabel_give_the_same_points(name, tmp_path):
    data = (CORPUS / "nmea" / f"{name}.log").read_bytes()
    assert_same_track(read_nmea(data, name).fixes, converted(data, tmp_path))
