"""What a simulated spray job is, and the route its driver means to take."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .route import TINY_M, Pose, Route, RouteBuilder, detour, merged, rounded_polyline, shortest_turn, without

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry import Polygon


SOME_MORNING_S = 1_779_331_080.0
"""2026-05-21 02:38 UTC: any time will do, but the same each time [s since 1970 UTC]."""


@dataclass(frozen=True)
class Steering:
    """Cross-track wander of the true path: a first-order Gauss-Markov walk, then smoothed.

    ``sd_m`` is the standard deviation kept after smoothing, ``length_m`` the distance over
    which the walk forgets, ``smooth_m`` the Gaussian smoothing that makes it drivable. [m]
    """

    sd_m: float = 0.0
    length_m: float = 40.0
    smooth_m: float = 4.0


HAND = Steering(sd_m=0.25)
"""Steered by eye. Size: common practice, no source."""

GUIDED = Steering(sd_m=0.04, length_m=15.0, smooth_m=3.0)
"""Steered by a machine: 4-6 cm SD, Bell 2000, Comput. Electron. Agric. 25:53-66."""


@dataclass(frozen=True)
class GnssError:
    """Error of each logged coordinate: white noise plus a first-order Gauss-Markov drift."""

    white_m: float = 0.0
    drift_m: float = 0.0
    drift_time_s: float = 600.0


@dataclass(frozen=True)
class SwitchHabit:
    """How late the boom is switched on and how early off: distances plus times, mean and SD.

    Negative means on too early or off too late.
    """

    late_on_m: float = 0.0
    late_on_s: float = 0.0
    early_off_m: float = 0.0
    early_off_s: float = 0.0
    sd_m: float = 0.0
    sd_s: float = 0.0


@dataclass(frozen=True)
class Faults:
    """Faults on purpose, by pass number from 1 [m].

    ``offset_m``: driven too far from the pass before (negative: too near).
    ``early_off_m``: switched off that much before the end.
    ``forgotten_m``: off from the first to the second distance after the pass's start.
    ``left_out``: never driven.
    """

    offset_m: Mapping[int, float] = field(default_factory=dict)
    early_off_m: Mapping[int, float] = field(default_factory=dict)
    forgotten_m: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    left_out: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Stop:
    """Standing still, boom off, at a share (0 to 1) of a pass."""

    pass_number: int
    share: float
    seconds: float


@dataclass(frozen=True)
class Scenario:
    """Everything that a simulated job depends on; the same scenario gives the same job.

    ``field`` and ``pond`` are in plane metres. ``sections_m`` are section widths from left to
    right and add up to the boom width. ``headland_laps`` may be a fraction; the laps are one
    inward spiral. ``spacing_m`` None = boom width. ``axle_behind_antenna_m`` None = the boom's
    centre itself follows the route (no off-tracking), else the axle does.
    """

    field: Polygon
    heading_deg: float = 0.0
    sections_m: tuple[float, ...] = (9.0,)
    headland_laps: float = 1.0
    spacing_m: float | None = None
    speed_m_s: float = 2.5
    turn_speed_m_s: float | None = None
    turning_radius_m: float = 4.0
    run_in_m: float = 5.0
    hz: float = 10.0
    start_s: float = SOME_MORNING_S
    steering: Steering = Steering()
    gnss: GnssError = GnssError()
    habit: SwitchHabit = SwitchHabit()
    faults: Faults = Faults()
    antenna_ahead_m: float = 0.0
    antenna_right_m: float = 0.0
    axle_behind_antenna_m: float | None = None
    pond: Polygon | None = None
    pond_margin_m: float = 0.3
    stops: tuple[Stop, ...] = ()
    seed: int = 0

    @property
    def width_m(self) -> float:
        """Full boom width [m]."""
        return sum(self.sections_m)

    @property
    def pitch_m(self) -> float:
        """Meant distance between neighbouring passes [m]."""
        return self.width_m if self.spacing_m is None else self.spacing_m

    @property
    def boom_behind_m(self) -> float:
        """How far the boom follows behind the point that keeps to the route [m]."""
        return 0.0 if self.axle_behind_antenna_m is None else self.antenna_ahead_m - self.axle_behind_antenna_m


@dataclass(frozen=True)
class _Frame:
    """AB frame: u to the right of the AB line, v along it [m]."""

    heading_rad: float

    def uv(self, shape: Polygon) -> Polygon:
        """Turn a polygon from x, y into u, v."""
        sin, cos = math.sin(self.heading_rad), math.cos(self.heading_rad)
        return shapely.transform(shape, lambda xy: xy @ np.array([[cos, sin], [-sin, cos]]))

    def pose(self, u_m: float, v_m: float, direction: int) -> Pose:
        """Pose at u, v, driving with (1) or against (-1) the AB heading."""
        sin, cos = math.sin(self.heading_rad), math.cos(self.heading_rad)
        turned = 0.0 if direction > 0 else math.pi
        return Pose(u_m * cos + v_m * sin, v_m * cos - u_m * sin, self.heading_rad + turned)


@dataclass(frozen=True)
class _Edges:
    """Sides of the field driven clockwise, so that the field lies right of each."""

    corners: np.ndarray
    along: np.ndarray
    inward: np.ndarray

    @classmethod
    def of(cls, shape: Polygon) -> _Edges:
        corners = shapely.get_coordinates(shapely.orient_polygons(shape, exterior_cw=True).exterior)[:-1]
        steps = np.roll(corners, -1, axis=0) - corners
        along = steps / np.hypot(steps[:, :1], steps[:, 1:])
        return cls(corners, along, np.column_stack((along[:, 1], -along[:, 0])))

    def crossing(self, side: int, inset_m: float, other: int, other_inset_m: float) -> tuple[float, float]:
        """Point where two sides meet after each is moved inward."""
        count = len(self.corners)
        normals = self.inward[[side % count, other % count]]
        reach = (self.corners[[side % count, other % count]] * normals).sum(axis=1)
        x, y = np.linalg.solve(normals, reach + np.array([inset_m, other_inset_m]))
        return float(x), float(y)


def plan_route(scenario: Scenario) -> Route:
    """Route of the whole job: headland spiral first, then the passes, ponds gone round.

    Raises
    ------
    ValueError
        The field is too small or too pointed for the boom and the turning radius.
    """
    edges = _Edges.of(scenario.field)
    frame = _Frame(math.radians(scenario.heading_deg))
    inner = frame.uv(_inner_field(scenario, edges))
    passes = _Passes(scenario, frame, inner)
    if scenario.headland_laps > 0:
        builder = _drive_headland(scenario, edges)
        corner = passes.nearest_corner(builder.pose)
    else:
        corner = (1, 1)
        builder = RouteBuilder(passes.first_pose(corner))
    passes.drive(builder, corner)
    return builder.route()


def _laps_of(scenario: Scenario, count: int) -> np.ndarray:
    """Count the headland laps along each of the field's sides."""
    driven = round(scenario.headland_laps * count)
    return np.bincount(np.arange(driven) % count, minlength=count)


def _done_m(scenario: Scenario, laps: int) -> float:
    """Depth of ground sprayed by a number of laps [m]."""
    return scenario.width_m + (laps - 1) * scenario.pitch_m if laps else 0.0


def _inner_field(scenario: Scenario, edges: _Edges) -> Polygon:
    insets = [_done_m(scenario, int(laps)) for laps in _laps_of(scenario, len(edges.corners))]
    inner = shapely.Polygon([edges.crossing(k - 1, insets[k - 1], k, insets[k]) for k in range(len(insets))])
    # Sides that have met and passed each other leave the field's core.
    core = scenario.field.buffer(TINY_M - min(insets), join_style="mitre")
    if not inner.is_valid or inner.area < scenario.width_m**2 or not core.covers(inner):
        raise ValueError("nothing is left inside the headland laps; take fewer laps or a larger field")
    return inner


def _drive_headland(scenario: Scenario, edges: _Edges) -> RouteBuilder:
    """All laps as one spiral, boom on from the field's first corner to the last side's end."""
    count = len(edges.corners)
    driven = round(scenario.headland_laps * count)
    inset = [scenario.width_m / 2 + (k // count) * scenario.pitch_m for k in range(driven)]
    # Straight on over ground done in the lap before: the last side ends where that begins.
    done = _done_m(scenario, driven // count)
    points = [
        edges.crossing(-1, 0.0, 0, inset[0]),
        *(edges.crossing(k, inset[k], k + 1, inset[k + 1]) for k in range(driven - 1)),
        edges.crossing(driven - 1, inset[-1], driven, done),
    ]
    start, turns = rounded_polyline(points, scenario.turning_radius_m)
    run_in = scenario.run_in_m + abs(scenario.boom_behind_m)
    back = Pose(
        start.x_m - run_in * math.sin(start.heading_rad),
        start.y_m - run_in * math.cos(start.heading_rad),
        start.heading_rad,
    )
    builder = RouteBuilder(back)
    builder.drive(0.0, run_in, "transport")
    on = builder.distance_m
    for curvature, length in turns:
        builder.drive(curvature, length, "headland")
    builder.spray(on, builder.distance_m, "headland")
    builder.drive(0.0, run_in, "transport")
    return builder


class _Passes:
    """Parallel passes over the inner field, in AB coordinates."""

    def __init__(self, scenario: Scenario, frame: _Frame, inner: Polygon) -> None:
        self.scenario, self.frame = scenario, frame
        self.low, self.high = float(inner.bounds[0]), float(inner.bounds[2])
        self.circle_m = 0.0
        self.centre = (0.0, 0.0)
        if scenario.pond is not None:
            pond = frame.uv(scenario.pond)
            centre = shapely.minimum_bounding_circle(pond).centroid
            self.centre = (centre.x, centre.y)
            self.circle_m = shapely.minimum_bounding_radius(pond) + scenario.pond_margin_m + scenario.width_m / 2
            if self.circle_m <= scenario.turning_radius_m:
                raise ValueError("the turning radius is too large to go round the pond")
            inner = inner.difference(centre.buffer(self.circle_m + scenario.width_m / 2, quad_segs=64))
        self.ground = inner
        span = self.high - self.low - scenario.width_m
        self.count = max(math.ceil(span / scenario.pitch_m - 1e-9), 0) + 1

    def line(self, number: int, side: int) -> float:
        """U of a pass, counted from the left (side 1) or right (side -1) edge of the ground."""
        offset = self.scenario.faults.offset_m.get(number, 0.0)
        reach = self.scenario.width_m / 2 + (number - 1) * self.scenario.pitch_m + offset
        return self.low + reach if side > 0 else self.high - reach

    def spans(self, u_m: float) -> list[tuple[float, float]]:
        """Where along a pass some part of the boom is over ground still to be sprayed [m]."""
        half = self.scenario.width_m / 2
        _, bottom, _, top = self.ground.bounds
        strip = self.ground.intersection(shapely.box(u_m - half, bottom - 1, u_m + half, top + 1))
        parts = [part for part in shapely.get_parts(strip) if part.area > 0]
        return merged((part.bounds[1], part.bounds[3]) for part in parts)

    def first_pose(self, corner: tuple[int, int]) -> Pose:
        """Pose a run-in before the first pass, from one of the four corners of the ground."""
        side, direction = corner
        u = self.line(1, side)
        spans = self.spans(u)
        v = spans[0][0] if direction > 0 else spans[-1][1]
        return self.frame.pose(u, v - direction * self.lead_m, direction)

    @property
    def lead_m(self) -> float:
        """Straight run before and after a pass [m]."""
        return self.scenario.run_in_m + abs(self.scenario.boom_behind_m)

    def nearest_corner(self, pose: Pose) -> tuple[int, int]:
        """(side, direction) of the first pass that is the shortest drive away."""
        radius = self.scenario.turning_radius_m

        def drive(corner: tuple[int, int]) -> float:
            return float(sum(length for _, length in shortest_turn(pose, self.first_pose(corner), radius)))

        return min(((side, direction) for side in (1, -1) for direction in (1, -1)), key=drive)

    def drive(self, builder: RouteBuilder, corner: tuple[int, int]) -> None:
        """Append all passes, to and fro, with the turns between them."""
        side, direction = corner
        radius = self.scenario.turning_radius_m
        left_out = self.scenario.faults.left_out
        lines = {number: self.line(number, side) for number in range(1, self.count + 1) if number not in left_out}
        spans = {number: found for number, u in lines.items() if (found := self.spans(u))}
        numbers = list(spans)
        start = self.first_pose(corner)
        builder.drive_to(start, radius, "transport")
        v = start.x_m * math.sin(self.frame.heading_rad) + start.y_m * math.cos(self.frame.heading_rad)
        lapped = False
        for number, following in zip(numbers, [*numbers[1:], numbers[-1]], strict=True):
            # Far enough that the turn comes out where the next pass may begin.
            farthest = max(direction * place for span in spans[number] + spans[following] for place in span)
            end = direction * (farthest + self.lead_m)
            line = (lines[number], direction, v, end)
            lapped |= self._drive_pass(builder, number, line, spans[number], lap=not lapped)
            if following != number:
                direction, v = -direction, end
                builder.drive_to(self.frame.pose(lines[following], v, direction), radius, "turn")

    def _drive_pass(
        self,
        builder: RouteBuilder,
        number: int,
        line: tuple[float, int, float, float],
        spans: list[tuple[float, float]],
        *,
        lap: bool,
    ) -> bool:
        """Append one pass (u, direction, v from, v to); return whether the pond was gone round."""
        u, direction, start, end = line
        way = (direction * start, direction * end)  # distances along travel
        wanted = spans if direction > 0 else [(-high, -low) for low, high in spans]
        right = direction * (self.centre[0] - u)
        if self.circle_m == 0.0 or abs(right) >= self.circle_m:
            self._drive_straight(builder, number, way, wanted)
            return False
        leave, turns = detour(right, self.circle_m, self.scenario.turning_radius_m, extra_laps=int(lap))
        middle = direction * self.centre[1]
        if not way[0] <= middle - leave < middle + leave <= way[1]:
            raise ValueError("the pond lies too near the end of a pass to be gone round; move it into the field")
        self._drive_straight(builder, number, (way[0], middle - leave), wanted)
        builder.drive(*turns[0], "transport", number)
        if lap:
            builder.spray(builder.distance_m, builder.distance_m + 2 * math.pi * self.circle_m, "headland", number)
        builder.drive(*turns[1], "headland" if lap else "transport", number)
        builder.drive(*turns[2], "transport", number)
        self._drive_straight(builder, number, (middle + leave, way[1]), wanted)
        return lap

    @staticmethod
    def _drive_straight(
        builder: RouteBuilder, number: int, way: tuple[float, float], wanted: list[tuple[float, float]]
    ) -> None:
        """Append one straight leg with the boom on where it is wanted."""
        origin = builder.distance_m - way[0]
        for low, high in without([way], without([way], wanted)):
            builder.spray(origin + low, origin + high, "straight", number)
        builder.drive(0.0, way[1] - way[0], "straight", number)
