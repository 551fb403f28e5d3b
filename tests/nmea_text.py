"""NMEA sentences that the tests of the log readers are built from: a drive at 13:00:00 UTC, 1 Hz."""

import datetime as dt
import functools
import operator

from coverage_audit.read.tracks.nmea import read_nmea

JOB_DATE = dt.date(2026, 5, 30)
KNOT_M_S = 1852 / 3600  # exact by definition of the international nautical mile
FLOAT_DEG = 1e-12  # rounding of a few floating-point operations on degrees: 0.1 micrometre
FLOAT_S = 1e-6  # a float near 1.8e9 s resolves 2.4e-7 s


def sentence(body):
    """*body* between "$" and its checksum."""
    return f"${body}*{functools.reduce(operator.xor, body.encode('latin-1'), 0):02X}\r\n"


def log_of(*bodies):
    return "".join(sentence(body) for body in bodies)


def read(text, job_date=None):
    return read_nmea(text.encode("latin-1"), "track.nmea", job_date)


def seconds(text):
    return dt.datetime.fromisoformat(text).timestamp()


def rmc(time, lat="4336.0000", *, status="A", date="300526", speed="5.2", course="91.2", mode="A"):
    return f"GNRMC,{time},{status},{lat},N,11612.0000,W,{speed},{course},{date},,,{mode}"


def gga(time, lat="4336.0000", quality="4", talker="GN"):
    return f"{talker}GGA,{time},{lat},N,11612.0000,W,{quality},12,0.7,820.0,M,-20.0,M,1.0,0000"


def epochs(count, first=0):
    """RMC of *count* seconds from 13:00:00 on, one list entry each."""
    return [rmc(f"1300{second:02d}.00") for second in range(first, first + count)]


T0 = 1_780_146_000.0  # 2026-05-30T13:00:00Z, from Python's datetime


def xdr(*states, name="BOOM"):
    return [f"IIXDR,S,{state},,{name}" for state in states]


def interleave(*columns):
    return log_of(*(body for row in zip(*columns, strict=True) for body in row))


STATES = [0, 0, 1, 1, 1, 0, 0]  # of a switch at seven fixes
