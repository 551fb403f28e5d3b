"""Small jobs with a known answer, built without any file."""

import dataclasses

import numpy as np
import shapely

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.ground.model import BoomLines
from coverage_audit.jobs.job import Job
from coverage_audit.jobs.settings import AccuracySettings, BoomSettings, JobSettings
from coverage_audit.read.records import Fixes, Interval, NamedArea, TrackLog

START_S = 1_780_000_000.0
PLACE = PlaneOrigin(-70.5, -41.2)


def fixes(times_s, points_m, origin=PLACE, segment=None):
    """Fixes at *points_m*, shape (n, 2), in a plane about *origin*; times count from START_S."""
    lon, lat = Plane(origin).to_degrees(points_m[:, 0], points_m[:, 1])
    count = len(times_s)
    none = np.full(count, np.nan)
    numbers = np.zeros(count, int) if segment is None else np.asarray(segment)
    times = np.asarray(times_s, float) + START_S
    return Fixes(times, lat, lon, none, none, np.full(count, 4), np.full(count, 12), none, none, numbers)


def log(times_s, points_m, name="track.gpx", **more):
    read = fixes(times_s, points_m, **more)
    return TrackLog(name, "0" * 64, "GPX 1.1", read, len(read), {})


def job(logs, intervals, ground, /, *, boom=None, exclude=(), origin=PLACE, **settings):
    """Job on the field *ground* (plane metres); *intervals* are (on, off[, sections]) in seconds from the first fix.

    Without accuracy settings nothing is drawn: most tests ask for areas alone.
    """
    settings.setdefault("accuracy", AccuracySettings(replicates=0))
    plane = Plane(origin)
    logs = logs if isinstance(logs, tuple) else (logs,)
    boom = boom or BoomSettings((10.0,), "csv", antenna_ahead_m=0.0)
    on_times = tuple(Interval(on + START_S, off + START_S, *rest) for on, off, *rest in intervals)
    return Job(
        JobSettings(boom=boom, **settings),
        logs,
        (NamedArea("field", plane.geometry_to_degrees(ground)),),
        tuple(NamedArea("pond", plane.geometry_to_degrees(one)) for one in exclude),
        on_times,
    )


def boom(width_m, **more):
    return dataclasses.replace(BoomSettings((width_m,), "csv", antenna_ahead_m=0.0), **more)


def drive(path, duration_s, hz, start_s=0.0):
    """Times and points of *path*, a function of time, logged at *hz*."""
    times = start_s + np.arange(round(duration_s * hz) + 1) / hz
    return times, np.array([path(t) for t in times])


def parallel_passes(x_m, y0_m, y1_m, *, hz=10.0, speed_m_s=2.5, run_in_m=10.0, turn_s=12.0):
    """Passes along y at the given x, alternately up and down, joined by half circles.

    Returns times, points and the on-intervals from y0 to y1 of each pass.
    """
    legs, intervals = [], []
    clock = 0.0
    for k, x in enumerate(x_m):
        up = k % 2 == 0
        length = y1_m - y0_m + 2 * run_in_m
        begin = y0_m - run_in_m if up else y1_m + run_in_m
        sign = 1.0 if up else -1.0
        pass_s = length / speed_m_s
        legs.append((clock, clock + pass_s, lambda u, x=x, b=begin, s=sign: (x, b + s * speed_m_s * u)))
        intervals.append((clock + run_in_m / speed_m_s, clock + pass_s - run_in_m / speed_m_s))
        clock += pass_s
        if k + 1 < len(x_m):
            centre, radius = (x + x_m[k + 1]) / 2, (x_m[k + 1] - x) / 2
            top = y1_m + run_in_m if up else y0_m - run_in_m

            def turn(u, c=centre, r=radius, t=top, s=sign):
                angle = np.pi * u / turn_s
                return (c - r * np.cos(angle), t + s * abs(r) * np.sin(angle))

            legs.append((clock, clock + turn_s, turn))
            clock += turn_s
    times = np.arange(int(clock * hz) + 1) / hz
    starts = np.array([leg[0] for leg in legs])
    index = np.clip(np.searchsorted(starts, times, "right") - 1, 0, len(legs) - 1)
    points = np.array([legs[k][2](t - legs[k][0]) for k, t in zip(index, times, strict=True)])
    return times, points, intervals


FIELD_100_X_60 = shapely.box(0, 0, 60, 100)
WORKED_X = (5.0, 15.0, 26.0, 35.0, 45.0, 55.0)
"""Middles of six passes of a 10 m boom; the third is set 1 m too far."""


def worked_job(hz=10.0, **settings):
    """The field of 100 x 60 m with six 10 m passes, the third 1 m off, whose answer is known by heart."""
    times, points, intervals = parallel_passes(WORKED_X, 0.0, 100.0, hz=hz)
    return job(log(times, points), intervals, FIELD_100_X_60, **settings)


def straight_lines(x_m, stretch, start_s, length_m=100.0):
    """Boom lines of 10 m along a pass to the north, a metre and a second apart."""
    y = np.arange(length_m + 1)
    zero, no = np.zeros(len(y)), np.zeros(len(y), bool)
    return BoomLines(zero + x_m, y, zero, y + 1000.0 * start_s, no, no, no, ((-5.0, 5.0),), stretch)
