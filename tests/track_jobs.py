"""Small tracks for the tests of cleaning."""

import dataclasses

import numpy as np
from jobs import log

from coverage_audit.drive.track import clean_track


def straight(count=60, step_s=1.0, speed_m_s=2.5):
    times = np.arange(count) * step_s
    return log(times, np.column_stack([np.zeros(count), speed_m_s * times]))


def changed(one, **columns):
    return dataclasses.replace(one, fixes=dataclasses.replace(one.fixes, **columns))


def flat(lon_deg, lat_deg):
    """Stand-in for the plane: hundred-thousandths of a degree are metres."""
    return np.asarray(lon_deg) * 1e5, np.asarray(lat_deg) * 1e5


def clean(*logs, offset_s=0.0, max_gap_s=5.0):
    return clean_track(tuple(logs), flat, offset_s, max_gap_s)
