"""The built-in job: an invented field, driven by the simulator, so that the truth is known.

The audit sees only the files that :func:`write_demo_job` leaves; :func:`demo_truth_text`
works out what really happened from the simulator's true path and shapely's unions, by a
route that shares nothing with the audit's own counting, and puts both side by side.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.ground.tolerances import DEMO_QUAD_M
from coverage_audit.papers.words import display
from coverage_audit.passes.model import STRAIGHT

from .simulate import HAND, Faults, GnssError, Scenario, SimulatedJob, Stop, SwitchHabit, simulate
from .simulate_files import to_boom_csv, to_geojson_text, to_gpx_text
from .simulate_route import without

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.recipe.result import Audit

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

    def told(self, audit: Audit) -> str:
        """The fault with its passes numbered as in the report of *audit*, or as simulated where it tells none."""
        numbers = [_reported(audit, at) or n for at, n in zip(self.moments_s, self.passes, strict=True)]
        return self.sentence.format(*numbers)


def _reported(audit: Audit, moment_s: float) -> int:
    """Number of the pass that *audit* tells of at a moment [s]; 0 when it tells of none."""
    passes = audit.passes.passes if audit.passes else ()
    during = (one.n for one in passes if one.kind == STRAIGHT and one.start_s <= moment_s <= one.end_s)
    return next(during, 0)


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
    """Write the built-in job's files, the same bytes each time, and return the job file's path.

    Raises
    ------
    OSError
        The folder cannot be made or written to.
    """
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
    steps = max(int((off_s - on_s) * job.scenario.speed_m_s / DEMO_QUAD_M), 1)
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


def demo_truth_text(audit: Audit) -> str:
    """Truth and finding of the built-in job side by side, and why they differ.

    Returns
    -------
    str
        Lines for the terminal, in the units of the job.
    """
    job = demo_job()
    truth = true_ground(job)
    units = audit.job.settings.report.units
    areas = audit.area_m2
    rows = [
        ("target area", truth.target.area, areas.target),
        ("covered", truth.target.area - truth.missed.area, areas.covered),
        ("missed", truth.missed.area, areas.missed),
        ("sprayed twice or more", truth.double.area, areas.double),
        ("sprayed outside the field", truth.outside_m2, areas.outside),
        ("sprayed into the pond", truth.pond_m2, areas.excluded_sprayed),
    ]
    to_demo = _mover(Plane(audit.origin), Plane(ORIGIN))
    missed_found = to_demo(audit.layers.by_visits[0])
    faults = built_in_faults(job)
    fault_rows = [
        (fault.told(audit), truth.missed.intersection(fault.zone).area, missed_found.intersection(fault.zone).area)
        for fault in faults
    ]
    return "\n".join(
        [
            "This job was simulated, so the truth is known:",
            *_table(("", "truth", "audit"), rows, lambda value: display.small_area(value, units)),
            "",
            "Faults built in on purpose, and the ground missed by each:",
            *_table(("", "truth", "audit"), fault_rows, lambda value: display.small_area(value, units)),
            "",
            *_why(job, units),
        ]
    )


def _mover(source: Plane, goal: Plane) -> Callable[[BaseGeometry], BaseGeometry]:
    return lambda shape: goal.geometry_to_metres(source.geometry_to_degrees(shape))


def _table(
    heads: tuple[str, str, str], rows: Iterable[tuple[str, float, float]], show: Callable[[float], str]
) -> list[str]:
    cells = [heads, *((name, show(truth), show(found)) for name, truth, found in rows)]
    wide = [max(len(row[column]) for row in cells) for column in range(3)]
    return [f"  {name:<{wide[0]}}  {truth:>{wide[1]}}  {found:>{wide[2]}}" for name, truth, found in cells]


def _why(job: SimulatedJob, units: str) -> list[str]:
    error = job.logged_m - job.antenna_m
    typical = float(np.sqrt((error**2).sum(axis=1).mean()))
    return [
        "They differ because the audit knows only the log: here the logged positions lie typically",
        f"{display.length(typical, units)} from the true ones, and an error that changes between two passes looks like",
        "a skip or an overlap of that width. The truth comes from the simulated path, not from the log.",
    ]
