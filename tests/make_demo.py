"""Make the files that the demo ships, from the simulator: python tests/make_demo.py.

The built-in job is an invented field, driven by the simulator, so that the truth is known. The audit
sees only the job's files; ``truth.json`` is what really happened, worked out from the simulator's true
path and shapely's unions, by a route that shares nothing with the audit's own counting.
"""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from simulator.files import to_boom_csv, to_geojson_text, to_gpx_text
from simulator.jobs import HAND, Faults, GnssError, Scenario, SimulatedJob, Stop, SwitchHabit, simulate
from simulator.route import without

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SHIPPED = Path(__file__).parent.parent / "coverage_audit" / "demo" / "files"
TRACK = "track.gpx"
"""The one file that is shipped packed, under this name and .gz."""

QUAD_M = 0.25
"""Length of the quads that the true ground is united from. [m] On an arc of 3.8 m radius
the chord leaves the arc by 2 mm."""

ZONE_GRID_DEG = 1e-9
"""Corners of a fault's zone are shipped to this. [deg] A tenth of a millimetre."""

FIELD_NAME = "Rowan Spring meadow"
FLOW_L_MIN = 19.4
ORIGIN = PlaneOrigin(lon_deg=43.6137, lat_deg=41.4682)
CORNERS_M = ((-118.0, -76.0), (92.0, -92.0), (134.0, -18.0), (112.0, 88.0), (-20.0, 102.0), (-104.0, 64.0))
POND_M = ((34.0, -2.0), (40.0, 3.5), (41.5, 10.0), (36.0, 15.0), (28.5, 14.0), (25.5, 7.0), (28.0, 0.5))

JOB_TOML = """\
# Invented job: the places, people and products do not exist.
[job]
name = "{name}, thistle and dock"
operator = "Tamta Lomsade"
crop = "oats and triticale for hay"
notes = "Three Larches hay farm. Invented product Larkmoor 200 SL, 1.2 L/ha in 150 L/ha of mix."
timezone = "Asia/Tbilisi"

[field]
boundary = "boundary.geojson"
exclude = ["pond.geojson"]

[track]
files = ["track.gpx"]

[boom]
nozzles = {{count = 18, spacing = "0.5 m"}}
intervals = "boom.csv"
antenna_ahead = "{ahead} m"
axle_behind_antenna = "{axle} m"

[rate]
target = "150 L/ha"
flow = "{flow} L/min"
applied = "{applied} L"
label_max = "170 L/ha"

[accuracy]                        # how good the positions are: GPS error is carried through to every figure
steering = "hand"
sigma = "{sigma} m"
noise = "{noise} m"

[[product]]
name = "Larkmoor 200 SL"         # invented
reg_no = "0000-11"
rate = "1.2 L/ha"
max_per_application = "1.5 L/ha"
phi = "30 days"
rei = "12 h"
"""


@dataclass(frozen=True)
class Truth:
    """What was really on the ground, in the demo's own plane metres [m2].

    ``missed`` and ``double`` are ground of the target.
    """

    target: BaseGeometry
    missed: BaseGeometry
    double: BaseGeometry
    outside_m2: float
    pond_m2: float


@dataclass(frozen=True)
class BuiltInFault:
    """A fault on purpose; ``zone`` is the ground that it concerns, in the demo's plane.

    ``sentence`` has a place for the number of each pass in ``passes`` (as simulated), driven at ``moments_s``.
    """

    sentence: str
    passes: tuple[int, ...]
    moments_s: tuple[float, ...]
    zone: BaseGeometry


def demo_scenario() -> Scenario:
    """Set the built-in job: about 4 ha, a pond, hand steering and three faults."""
    return Scenario(
        field=shapely.Polygon(CORNERS_M),
        heading_deg=94.3,
        sections_m=(9.0,),
        headland_laps=1.5,
        spacing_m=8.85,
        speed_m_s=2.4,
        turn_speed_m_s=1.8,
        turning_radius_m=3.8,
        run_in_m=3.0,
        hz=5.0,
        steering=replace(HAND, sd_m=0.16),
        gnss=GnssError(white_m=0.02, drift_m=0.12),
        habit=SwitchHabit(sd_s=0.15),
        faults=Faults(offset_m={6: 1.0}, early_off_m={9: 11.0}, forgotten_m={14: (38.0, 64.0)}),
        antenna_ahead_m=1.4,
        axle_behind_antenna_m=0.9,
        pond=shapely.Polygon(POND_M),
        stops=(Stop(pass_number=3, share=0.45, seconds=50.0),),
        seed=2026,
    )


@lru_cache(maxsize=1)
def demo_job() -> SimulatedJob:
    """Drive the built-in job (once per run of the program)."""
    return simulate(demo_scenario())


def demo_files() -> dict[str, str]:
    """Text of every file of the built-in job, by name."""
    job, plane = demo_job(), Plane(ORIGIN)
    scenario = job.scenario
    minutes_on = sum(off - on for on, off in job.on_intervals) / 60
    toml = JOB_TOML.format(
        name=FIELD_NAME,
        ahead=scenario.antenna_ahead_m,
        axle=scenario.axle_behind_antenna_m,
        flow=FLOW_L_MIN,
        sigma=scenario.gnss.drift_m,
        noise=scenario.gnss.white_m,
        applied=round(FLOW_L_MIN * minutes_on / 5) * 5,  # read off the tank's scale, 5 L a mark
    )
    return {
        "job.toml": toml,
        "track.gpx": to_gpx_text(job, plane, FIELD_NAME),
        "boom.csv": to_boom_csv(job),
        "boundary.geojson": to_geojson_text(scenario.field, FIELD_NAME, plane),
        "pond.geojson": to_geojson_text(_pond(scenario), "pond", plane),
    }


def write_demo_job(folder: Path) -> Path:
    """Write the built-in job's files, the same bytes each time, and return the job file's path."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in demo_files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder / "job.toml"


def _pond(scenario: Scenario) -> shapely.Polygon:
    if scenario.pond is None:
        raise ValueError("this scenario has no pond")
    return scenario.pond


def true_ground(job: SimulatedJob) -> Truth:
    """Work out what was really sprayed, from the true path alone.

    Each stretch is cut at the middle of every leg longer than the boom. Between two such cuts
    lies at most one corner, so a piece never comes back over its own ground as a new visit;
    two pieces that overlap are two visits.
    """
    scenario = job.scenario
    pieces = _pieces(job)
    swept = shapely.union_all(pieces)
    pond = shapely.Polygon() if scenario.pond is None else scenario.pond
    target = scenario.field.difference(pond)
    first, second = shapely.STRtree(pieces).query(pieces, predicate="intersects")
    pairs = [(pieces[a], pieces[b]) for a, b in zip(first, second, strict=True) if a < b]
    twice = shapely.union_all([a.intersection(b) for a, b in pairs])
    return Truth(
        target=target,
        missed=target.difference(swept),
        double=target.intersection(twice),
        outside_m2=swept.difference(scenario.field).area,
        pond_m2=swept.intersection(pond).area,
    )


def _pieces(job: SimulatedJob) -> list[BaseGeometry]:
    path = job.path
    starts = path.route.starts_m
    middles = [
        start + leg.length_m / 2
        for start, leg in zip(starts, path.route.legs, strict=False)
        if leg.length_m > job.scenario.width_m
    ]
    cuts = np.interp(middles, path.distances_m, path.times_s)
    pieces = []
    for on, off in job.on_intervals:
        ends = [on, *cuts[(cuts > on) & (cuts < off)].tolist(), off]
        pieces += [swept_ground(job, start, end) for start, end in pairwise(ends)]
    return pieces


def swept_ground(job: SimulatedJob, on_s: float, off_s: float) -> BaseGeometry:
    """Ground truly swept between two times: the union of fine quads, in plane metres."""
    steps = max(int((off_s - on_s) * job.scenario.speed_m_s / QUAD_M), 1)
    left, right = job.path.tips(np.linspace(on_s, off_s, steps + 1))
    corners = np.stack((left[:-1], right[:-1], right[1:], left[1:]), axis=1)
    return shapely.union_all(shapely.make_valid(shapely.polygons(corners)))


def built_in_faults(job: SimulatedJob) -> list[BuiltInFault]:
    """List the faults that were put in on purpose, each with the ground it concerns."""
    scenario = job.scenario
    faults, none = scenario.faults, Faults(offset_m=scenario.faults.offset_m)
    careful = simulate(replace(scenario, faults=none))
    found = [
        BuiltInFault(
            f"pass {{}} driven {aside:g} m too far from pass {{}}",
            (number, number - 1),
            (_middle(_on_in(job, number)), _middle(_on_in(job, number - 1))),
            _between(job, number),
        )
        for number, aside in faults.offset_m.items()
    ]
    named = [(number, f"switched off {far:g} m early") for number, far in faults.early_off_m.items()]
    named += [
        (number, f"switch forgotten from {low:g} m to {high:g} m") for number, (low, high) in faults.forgotten_m.items()
    ]
    for number, what in named:
        left_out = without(_on_in(careful, number), _on_in(job, number))
        zone = shapely.union_all([swept_ground(job, on, off) for on, off in left_out])
        found.append(BuiltInFault(f"pass {{}}: {what}", (number,), (_middle(left_out),), zone))
    return found


def _middle(spans: list[tuple[float, float]]) -> float:
    """Middle of the longest of *spans*. [s]"""
    on, off = max(spans, key=lambda span: span[1] - span[0])
    return (on + off) / 2


def _on_in(job: SimulatedJob, number: int) -> list[tuple[float, float]]:
    pairs = zip(job.on_intervals, job.stretch_pass, strict=True)
    return [interval for interval, of_pass in pairs if of_pass == number]


def _between(job: SimulatedJob, number: int) -> BaseGeometry:
    """Ground between the true lines of a pass and the pass before it."""
    lines = []
    for one in (number - 1, number):
        moments = _on_in(job, one)
        lines.append(job.path.pose(np.linspace(moments[0][0], moments[-1][1], 400))[0])
    return shapely.Polygon(np.concatenate(lines)).buffer(0)


def truth_told(job: SimulatedJob) -> dict[str, Any]:
    """What ``truth.json`` holds: areas, faults with their zones in degrees, and the receiver's typical error."""
    truth, plane = true_ground(job), Plane(ORIGIN)
    error = job.logged_m - job.antenna_m
    areas = {
        "target": truth.target.area,
        "covered": truth.target.area - truth.missed.area,
        "missed": truth.missed.area,
        "double": truth.double.area,
        "outside": truth.outside_m2,
        "excluded_sprayed": truth.pond_m2,
    }
    return {
        "area_m2": {name: round(value, 2) for name, value in areas.items()},
        "typical_error_m": round(float(np.sqrt((error**2).sum(axis=1).mean())), 4),
        "faults": [
            {
                "sentence": fault.sentence,
                "passes": fault.passes,
                "moments_s": [round(moment, 3) for moment in fault.moments_s],
                "missed_m2": round(truth.missed.intersection(fault.zone).area, 2),
                "zone_deg": _degrees(fault.zone, plane),
            }
            for fault in built_in_faults(job)
        ],
    }


def _degrees(zone: BaseGeometry, plane: Plane) -> dict[str, Any]:
    """GeoJSON geometry of a zone that is one polygon."""
    places = np.round(shapely.get_coordinates(plane.geometry_to_degrees(zone.exterior)) / ZONE_GRID_DEG).astype(int)
    return {"type": "Polygon", "coordinates": [[[round(x * 1e-9, 9), round(y * 1e-9, 9)] for x, y in places.tolist()]]}


def shipped_files() -> dict[str, bytes]:
    """Every file that the demo ships, by name."""
    found = {name: text.encode() for name, text in demo_files().items()}
    found[f"{TRACK}.gz"] = gzip.compress(found.pop(TRACK), mtime=0)
    found["truth.json"] = (json.dumps(truth_told(demo_job())) + "\n").encode()
    return found


if __name__ == "__main__":
    SHIPPED.mkdir(exist_ok=True)
    for shipped_name, content in shipped_files().items():
        (SHIPPED / shipped_name).write_bytes(content)
