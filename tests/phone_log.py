"""A phone's log of an invented job: one fix a second, no boom state, a metre of wander, one forgotten stretch."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from simulator.files import to_geojson_text, to_gpx_text
from simulator.jobs import SimulatedJob, simulate
from simulator.plan import HAND, Faults, GnssError, Scenario

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane

PLACE = Plane(PlaneOrigin(-115.31, 44.27))
CORNERS = ((0.0, 0.0), (152.0, -6.0), (149.0, 118.0), (38.0, 126.0), (-3.0, 92.0))
"""Corners of the field in plane metres."""
FORGOTTEN_PASS, FORGOTTEN_M = 5, (20.0, 75.0)


@dataclass(frozen=True)
class PhoneLog:
    """The log, the field as a file, the truth behind them, and the field's corners. [m]"""

    gpx: bytes
    geojson: str
    job: SimulatedJob
    corners: tuple[tuple[float, float], ...]


def phone_log(seed: int = 11, scale: float = 1.0) -> PhoneLog:
    """Simulate it, on a field *scale* times as long and wide; the same seed gives the same bytes."""
    corners = tuple((scale * x, scale * y) for x, y in CORNERS)
    field = shapely.Polygon(corners)
    forgotten = (scale * FORGOTTEN_M[0], scale * FORGOTTEN_M[1])
    job = simulate(
        Scenario(
            field=field,
            sections_m=(9.0,),
            hz=1.0,
            steering=HAND,
            gnss=GnssError(white_m=0.05, drift_m=0.85),  # each coordinate: 1.2 m in the plane
            faults=Faults(forgotten_m={FORGOTTEN_PASS if scale == 1 else 3: forgotten}),
            antenna_ahead_m=1.4,
            seed=seed,
        )
    )
    gpx = to_gpx_text(job, PLACE, "Tuesday").encode()
    return PhoneLog(gpx, to_geojson_text(field, "Long meadow", PLACE), job, corners)
