"""A contractor's week with known truth: three machines, nine fields, and logs of whole days.

Invented farm, fields and machines. Every job is a simulated one; between them the machine drives straight from place to
place at road speed and stands in the yard. Truth is where the machine really was, before the receiver's error.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import shapely
from simulator.files import GPX_HEAD, iso_stamps, nmea_minutes, sentence, to_geojson_text
from simulator.jobs import Scenario, Steering, Stop, gauss_markov, simulate

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane

if TYPE_CHECKING:
    from simulator.jobs import SimulatedJob

ZONE = ZoneInfo("America/Boise")
PLANE = Plane(PlaneOrigin(-116.35, 43.72))
YARD = np.array([0.0, 0.0])
ROAD_M_S = 8.0
LOG_HZ = 1.0


def ground(x_m, y_m, width_m, height_m):
    return shapely.box(x_m, y_m, x_m + width_m, y_m + height_m)


FIELDS = {
    "Sorrel flat": ground(300, 200, 110, 90),
    "Sorrel flat, far side": ground(410, 200, 110, 90),  # shares an edge with the one before
    "Goat hill": ground(-500, 300, 120, 100),
    "Long acre": ground(-500, -400, 160, 70),
    "Kiln piece": ground(700, -300, 120, 96),
    "Tarn side": ground(1000, 100, 108, 100),
    "Two trees": ground(-900, 0, 120, 108),
    "Hollow": ground(200, 700, 100, 100),
    "Night meadow": ground(-300, 800, 108, 90),
}
UNKNOWN = ground(900, 700, 90, 80)
MACHINES = {"quad": 6.0, "tractor": 12.0, "hired": 9.0}
FARM_TOML = """\
[farm]
name = "Wren's contracting"
timezone = "America/Boise"
[machine.quad]
boom.width = "6 m"
boom.antenna_ahead = "0 m"
[machine.tractor]
boom.width = "12 m"
boom.antenna_ahead = "0 m"
[machine.hired]
boom.width = "9 m"
boom.antenna_ahead = "0 m"
"""


@dataclass(frozen=True)
class Truth:
    """One job as it was: the machine, when it was in the field, and the log that a hand would have cut."""

    name: str
    machine: str
    start_s: float
    end_s: float
    job: SimulatedJob


@dataclass
class Day:
    """The drive of one machine, built block by block. Truth and log, one fix a second."""

    machine: str
    kind: str
    clock_s: float
    seed: int
    times: list = field(default_factory=list)
    places: list = field(default_factory=list)
    on: list = field(default_factory=list)
    intervals: list = field(default_factory=list)
    jobs: list = field(default_factory=list)

    def _add(self, times, places, on=None):
        self.times.append(times)
        self.places.append(places)
        self.on.append(np.zeros(len(times), bool) if on is None else on)
        self.clock_s = float(times[-1]) + 1.0 / LOG_HZ

    def _here(self):
        return self.places[-1][-1] if self.places else YARD

    def stand(self, seconds):
        """Stand for so long."""
        times = self.clock_s + np.arange(int(seconds * LOG_HZ) + 1) / LOG_HZ
        self._add(times, np.repeat(self._here()[None], len(times), axis=0))

    def drive_to(self, goal, speed_m_s=ROAD_M_S):
        """Drive straight to a place."""
        times, places = road(self._here(), np.asarray(goal, float), self.clock_s, speed_m_s)
        if len(times):
            self._add(times, places)

    def spray(self, name, ground_m, **more):
        """Spray a field as the simulator plans it; a stop of it is a trip to the yard."""
        scenario = Scenario(
            field=ground_m,
            sections_m=(MACHINES[self.machine],),
            headland_laps=1.0,
            speed_m_s=2.5,
            turning_radius_m=4.0,
            hz=LOG_HZ,
            steering=Steering(sd_m=0.05),
            seed=self.seed + len(self.jobs),
            **more,
        )
        first = simulate(scenario)
        self.drive_to(first.antenna_m[0])
        job = simulate(replace(scenario, start_s=self.clock_s))
        places = job.antenna_m.copy()
        standing = np.array([label == "standing" for label in job.label])
        for a, b in runs(standing):
            places[a : b + 1] = trip(places[a], job.times_s[a : b + 1])
        spraying = np.searchsorted(np.array(job.on_intervals).ravel(), job.times_s, side="right") % 2 == 1
        self.jobs.append((name, len(self.times), job, places))
        self.intervals += job.on_intervals
        self._add(job.times_s, places, spraying)

    def truth(self):
        """Truth of the jobs: from the first to the last moment that the machine was in the field."""
        times, places = np.concatenate(self.times), np.concatenate(self.places)
        found = []
        for name, _, job, own in self.jobs:
            inside = shapely.contains_xy(FIELDS.get(name, job.scenario.field), *places.T)
            # the stay in the field that the job belongs to: the approach and the way out lie within two minutes of it
            near = (times >= job.times_s[0] - 120) & (times <= job.times_s[-1] + 120)
            stay = times[inside & near]
            found.append(Truth(name, self.machine, float(stay[0]), float(stay[-1]), replace_places(job, own)))
        return found

    def logged(self, white_m=0.03, drift_m=0.0):
        """Times, places with the receiver's error, and boom state of every fix."""
        times, places = np.concatenate(self.times), np.concatenate(self.places)
        rng = np.random.default_rng([self.seed, 7])
        drift = [gauss_markov(len(times), drift_m, 1.0, 600.0, rng) for _ in range(2)] if drift_m else 0.0
        noise = rng.standard_normal(places.shape) * white_m
        return times, places + noise + (np.column_stack(drift) if drift_m else 0.0), np.concatenate(self.on)


def replace_places(job, places):
    """A job with its trips to the yard in its places."""
    return replace(job, antenna_m=places, logged_m=places)


def runs(flags):
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return list(zip(edges[::2], edges[1::2] - 1, strict=True))


def road(start, goal, clock_s, speed_m_s):
    length = float(np.hypot(*(goal - start)))
    count = int(length / speed_m_s * LOG_HZ)
    share = (np.arange(count) + 1) / (count + 1)
    return clock_s + np.arange(count) / LOG_HZ, start + share[:, None] * (goal - start)


def trip(place, times_s):
    """From a place to the yard and back, standing there in between."""
    passed = times_s - times_s[0]
    way_s = float(np.hypot(*(YARD - place))) / ROAD_M_S
    share = np.clip(np.minimum(passed, passed[-1] - passed) / way_s, 0.0, 1.0)
    return place + share[:, None] * (YARD - place)


def at(day, hour, minute=0):
    return dt.datetime(2026, 6, day, hour, minute, tzinfo=ZONE).timestamp()


REFILL = (Stop(4, 0.5, 900.0),)


def scouted(day, ground_m):
    """A zigzag across a field at walking pace, nothing sprayed."""
    west, south, east, north = ground_m.bounds
    for k in range(5):
        day.drive_to((west + (east - west) * k / 4, (south + 5, north - 5)[k % 2]), 2.0)


def halves(ground_m):
    west, south, east, north = ground_m.bounds
    middle = (west + east) / 2
    return shapely.box(west, south, middle, north), shapely.box(middle, south, east, north)


def week():
    """Days of the week by the name of their log."""
    left, right = halves(FIELDS["Two trees"])
    days = {}
    one = days["logs/quad/monday.gpx"] = Day("quad", "plain", at(1, 7), 100)
    one.stand(300)
    one.spray("Sorrel flat", FIELDS["Sorrel flat"], stops=REFILL)
    one.spray("Sorrel flat, far side", FIELDS["Sorrel flat, far side"])
    one.drive_to(YARD)
    one = days["logs/quad/tuesday.gpx"] = Day("quad", "plain", at(2, 7), 200)
    scouted(one, FIELDS["Goat hill"])
    one.spray("Long acre", FIELDS["Long acre"], stops=REFILL)
    one.drive_to(YARD)
    one = days["logs/tractor/monday.nmea"] = Day("tractor", "switch", at(1, 6), 300)
    one.spray("Kiln piece", FIELDS["Kiln piece"])
    one.drive_to(YARD)
    one.stand(1200)
    one.spray("Tarn side", FIELDS["Tarn side"], stops=REFILL)
    one.drive_to(YARD)
    one.stand(3600)
    one.spray("Kiln piece", FIELDS["Kiln piece"], heading_deg=90.0)
    one.drive_to(YARD)
    one = days["logs/tractor/tuesday.nmea"] = Day("tractor", "switch", at(2, 9), 400)
    one.spray("Two trees", left)
    one.drive_to(YARD)
    one = days["logs/hired/tuesday.gpx"] = Day("hired", "segments", at(2, 9, 5), 500)
    one.spray("Two trees", right)
    one.spray("Hollow", FIELDS["Hollow"])
    one.drive_to(YARD)
    one = days["logs/hired/wednesday.gpx"] = Day("hired", "marks", at(3, 23, 50), 600)
    one.spray("Night meadow", FIELDS["Night meadow"])
    one.drive_to(YARD)
    one = days["logs/quad/wednesday.gpx"] = Day("quad", "plain", at(3, 8), 700)
    one.spray("", UNKNOWN)
    one.drive_to(YARD)
    return days


# --- files ------------------------------------------------------------------------------------------


def text_of(day):
    """The log of a day in its form."""
    times, places, on = day.logged()
    if day.kind == "switch":
        return nmea_text(times, places, on)
    return gpx_text(times, places, day.intervals, day.kind)


def gpx_text(times, places, intervals, kind):
    lon, lat = PLANE.to_degrees(*places.T)
    points = np.array(
        [
            f'<trkpt lat="{y:.9f}" lon="{x:.9f}"><time>{stamp}</time></trkpt>'
            for x, y, stamp in zip(lon, lat, iso_stamps(times), strict=True)
        ]
    )
    groups = [points]
    if kind == "segments":
        groups = [points[(times >= on) & (times <= off)] for on, off in intervals]
    marks = ""
    if kind == "marks":
        for pair in intervals:
            for moment, state in zip(pair, ("on", "off"), strict=True):
                x, y = np.interp(moment, times, lon), np.interp(moment, times, lat)
                stamp = iso_stamps(np.array([moment]))[0]
                marks += f'<wpt lat="{y:.9f}" lon="{x:.9f}"><time>{stamp}</time><name>boom {state}</name></wpt>\n'
    body = "".join("<trkseg>\n" + "\n".join(group) + "\n</trkseg>\n" for group in groups if len(group))
    return f"{GPX_HEAD}{marks}<trk><name>day</name>\n{body}</trk>\n</gpx>\n"


def nmea_text(times, places, on):
    lon, lat = PLANE.to_degrees(*places.T)
    latitude, longitude = nmea_minutes(lat, 2, "NS"), nmea_minutes(lon, 3, "EW")
    lines = []
    for k, stamp in enumerate(iso_stamps(times)):
        clock, date = stamp[11:22].replace(":", ""), stamp[8:10] + stamp[5:7] + stamp[2:4]
        place = f"{latitude[k]},{longitude[k]}"
        lines.append(sentence(f"GPRMC,{clock},A,{place},,,{date},,,D"))
        lines.append(sentence(f"GPGGA,{clock},{place},2,11,0.8,1710.0,M,21.0,M,,"))
        lines.append(sentence(f"IIXDR,S,{int(on[k])},,BOOM"))
    return "".join(lines)


def lay_out(folder, days, fields=FIELDS):
    """Write the farm's folder."""
    for name in ("fields", "logs", "jobs"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    (folder / "farm.toml").write_text(FARM_TOML)
    for number, (name, shape) in enumerate(fields.items()):
        (folder / "fields" / f"f{number}.geojson").write_text(to_geojson_text(shape, name, PLANE))
    for name, day in days.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text_of(day))
