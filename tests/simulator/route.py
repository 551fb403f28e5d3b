"""Where a simulated sprayer means to drive: lines and arcs, headland spiral, passes, turns.

Everything is in plane metres (x east, y north) and headings in radians clockwise from
north, so a leg with positive curvature turns right. The route is exact: each leg has
constant curvature and is evaluated in closed form at any distance along it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from coverage_audit.arrays import FloatArray, IntArray

Turn = tuple[float, float]  # curvature [1/m], length [m]

TINY_M = 1e-9
"""Nearer than this is the same point: rounding of plane metres over many legs [m]."""

TINY_RAD = 1e-9
"""A heading this little off is the same heading, for the same reason [rad]."""


@dataclass(frozen=True)
class Pose:
    """A place and a heading; ``heading_rad`` is clockwise from north."""

    x_m: float
    y_m: float
    heading_rad: float


@dataclass(frozen=True)
class Leg:
    """A piece of constant curvature; ``label`` is headland, straight, turn or transport."""

    start: Pose
    curvature_1_m: float
    length_m: float
    label: str
    pass_number: int = 0


@dataclass(frozen=True)
class Spray:
    """Where the boom is meant to be on, as distances along the route [m]."""

    on_m: float
    off_m: float
    label: str
    pass_number: int = 0


def advance(pose: Pose, curvature_1_m: float, length_m: float) -> Pose:
    """Pose after *length_m* on a line (curvature 0) or an arc [m]."""
    heading = pose.heading_rad
    end = heading + curvature_1_m * length_m
    if curvature_1_m == 0.0:
        return Pose(pose.x_m + length_m * math.sin(heading), pose.y_m + length_m * math.cos(heading), end)
    return Pose(
        pose.x_m + (math.cos(heading) - math.cos(end)) / curvature_1_m,
        pose.y_m + (math.sin(end) - math.sin(heading)) / curvature_1_m,
        end,
    )


@dataclass(frozen=True)
class Route:
    """Legs joined end to end, and where the boom is meant to be on."""

    legs: tuple[Leg, ...]
    sprays: tuple[Spray, ...]

    @property
    def starts_m(self) -> FloatArray:
        """Distance at the start of each leg and at the end of the last, shape (legs + 1,) [m]."""
        return np.concatenate(([0.0], np.cumsum([leg.length_m for leg in self.legs])))

    def leg_at(self, distance_m: FloatArray) -> IntArray:
        """Index of the leg at each distance, shape (n,)."""
        found = np.searchsorted(self.starts_m, distance_m, side="right") - 1
        return np.clip(found, 0, len(self.legs) - 1).astype(np.int64)

    def at(self, distance_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Give x [m], y [m], heading [rad] and curvature [1/m] at each distance, shape (n,)."""
        leg = self.leg_at(distance_m)
        x, y, heading, curvature = (
            np.array(column)[leg]
            for column in zip(
                *((p.start.x_m, p.start.y_m, p.start.heading_rad, p.curvature_1_m) for p in self.legs), strict=True
            )
        )
        along = distance_m - self.starts_m[leg]
        # Half-angle form: exact for arcs and, as sinc(0) = 1, for lines too.
        half = curvature * along / 2
        chord = along * np.sinc(half / np.pi)
        return x + chord * np.sin(heading + half), y + chord * np.cos(heading + half), heading + 2 * half, curvature


class RouteBuilder:
    """Adds legs one after another; the only thing here that remembers."""

    def __init__(self, start: Pose) -> None:
        self.pose = start
        self.distance_m = 0.0
        self._legs: list[Leg] = []
        self._sprays: list[Spray] = []

    def drive(self, curvature_1_m: float, length_m: float, label: str, pass_number: int = 0) -> None:
        """Append one leg; nothing is added for a length of zero."""
        if length_m <= 0.0:
            return
        self._legs.append(Leg(self.pose, curvature_1_m, length_m, label, pass_number))
        self.pose = advance(self.pose, curvature_1_m, length_m)
        self.distance_m += length_m

    def drive_to(self, goal: Pose, radius_m: float, label: str) -> None:
        """Append the shortest way to *goal*, then stand on it exactly."""
        for curvature, length in shortest_turn(self.pose, goal, radius_m):
            self.drive(curvature, length, label)
        self.pose = goal

    def spray(self, on_m: float, off_m: float, label: str, pass_number: int = 0) -> None:
        """Mean the boom to be on between two distances along the route [m]."""
        self._sprays.append(Spray(on_m, off_m, label, pass_number))

    def route(self) -> Route:
        """Build the finished route."""
        return Route(tuple(self._legs), tuple(sorted(self._sprays, key=lambda spray: spray.on_m)))


def rounded_polyline(points: Sequence[tuple[float, float]], radius_m: float) -> tuple[Pose, list[Turn]]:
    """Lines through *points* whose corners are rounded by arcs tangent to both sides.

    Returns
    -------
    tuple of Pose and list of (curvature [1/m], length [m])
        Where it starts, and its legs in order.

    Raises
    ------
    ValueError
        Two corners are so near each other that their arcs do not fit.
    """
    steps = np.diff(np.asarray(points, dtype=float), axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    headings = np.arctan2(steps[:, 0], steps[:, 1])
    turns = _wrap(np.diff(headings))
    trims = np.concatenate(([0.0], radius_m * np.tan(np.abs(turns) / 2), [0.0]))
    straight = lengths - trims[:-1] - trims[1:]
    if (straight < 0).any():
        raise ValueError(f"side {int(np.argmin(straight)) + 1} is too short for a turning radius of {radius_m:g} m")
    legs: list[Turn] = []
    for index, length in enumerate(straight):
        legs.append((0.0, float(length)))
        if index < len(turns):
            legs.append((math.copysign(1 / radius_m, turns[index]), float(radius_m * abs(turns[index]))))
    return Pose(float(points[0][0]), float(points[0][1]), float(headings[0])), legs


def detour(centre_right_m: float, circle_m: float, radius_m: float, extra_laps: int = 0) -> tuple[float, list[Turn]]:
    """Way round a circle that stands in the way of a straight line.

    The line is left by an arc of the turning radius, the circle followed on the side that
    is nearer, and the line taken up again by a third arc.

    Parameters
    ----------
    centre_right_m : float
        How far right of the line the circle's centre lies; less than *circle_m* away. [m]
    circle_m : float
        Radius to drive round it at. [m]
    radius_m : float
        Turning radius. [m]
    extra_laps : int
        Full laps driven round the circle on the way.

    Returns
    -------
    tuple of float and list of (curvature [1/m], length [m])
        Distance before the centre at which the line is left, and the three arcs. [m]
    """
    side = 1.0 if centre_right_m >= 0 else -1.0
    across = abs(centre_right_m) + radius_m
    between = radius_m + circle_m
    angle = math.acos(across / between)
    leave = math.sqrt(between**2 - across**2)
    arc = (-side / radius_m, radius_m * angle)
    round_it = (side / circle_m, circle_m * (2 * angle + 2 * math.pi * extra_laps))
    return leave, [arc, round_it, arc]


def shortest_turn(start: Pose, goal: Pose, radius_m: float) -> list[Turn]:
    """Shortest way between two poses for a vehicle of a given turning radius.

    Source: L. E. Dubins 1957, Am. J. Math. 79:497-516 (from memory): the shortest way is
    three legs, arc-line-arc or arc-arc-arc. The last is the bulb turn between two passes
    that are closer than twice the turning radius.

    Returns
    -------
    list of (curvature [1/m], length [m])
    """
    words = [_arc_line_arc(start, goal, radius_m, *sides) for sides in ((1, 1), (-1, -1), (1, -1), (-1, 1))]
    words += [_arc_arc_arc(start, goal, radius_m, side) for side in (1, -1)]
    return min((word for word in words if word is not None), key=lambda word: sum(length for _, length in word))


def _centre(pose: Pose, radius_m: float, side: int) -> tuple[float, float]:
    """Centre of the turning circle right (side 1) or left (side -1) of a pose."""
    reach = side * radius_m
    return pose.x_m + reach * math.cos(pose.heading_rad), pose.y_m - reach * math.sin(pose.heading_rad)


def _swing(start_rad: float, end_rad: float, side: int) -> float:
    """Angle turned to side from one heading to another, in [0, 2 pi)."""
    angle = (side * (end_rad - start_rad)) % (2 * math.pi)
    # A hair short of a full turn is no turn at all, spoilt by rounding.
    return 0.0 if 2 * math.pi - angle < TINY_RAD else angle


def _arc_line_arc(start: Pose, goal: Pose, radius_m: float, first: int, last: int) -> list[Turn] | None:
    ax, ay = _centre(start, radius_m, first)
    bx, by = _centre(goal, radius_m, last)
    gap = math.hypot(bx - ax, by - ay)
    crossing = radius_m * (first - last)
    if gap < abs(crossing):
        return None
    # A tangent that changes sides leans over by asin(2 R / gap) to the first side.
    lean = math.asin(crossing / gap) if crossing else 0.0
    # Circles that coincide but for rounding have no direction between them.
    heading = (math.atan2(bx - ax, by - ay) if gap > TINY_M else start.heading_rad) + lean
    return [
        (first / radius_m, radius_m * _swing(start.heading_rad, heading, first)),
        (0.0, math.sqrt(gap**2 - crossing**2)),
        (last / radius_m, radius_m * _swing(heading, goal.heading_rad, last)),
    ]


def _arc_arc_arc(start: Pose, goal: Pose, radius_m: float, side: int) -> list[Turn] | None:
    ax, ay = _centre(start, radius_m, side)
    bx, by = _centre(goal, radius_m, side)
    gap = math.hypot(bx - ax, by - ay)
    if not TINY_M < gap < 4 * radius_m:
        return None
    bend = math.acos(gap / (4 * radius_m))
    bearing = math.atan2(bx - ax, by - ay)
    # Heading is at right angles to the spoke from a circle's centre to its tangent point.
    first_end = bearing + side * (bend + math.pi / 2)
    middle = math.pi + 2 * bend
    second_end = first_end - side * middle
    return [
        (side / radius_m, radius_m * _swing(start.heading_rad, first_end, side)),
        (-side / radius_m, radius_m * middle),
        (side / radius_m, radius_m * _swing(second_end, goal.heading_rad, side)),
    ]


def _wrap(angle_rad: FloatArray) -> FloatArray:
    """Angles brought into [-pi, pi)."""
    return (angle_rad + np.pi) % (2 * np.pi) - np.pi


def merged(spans: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans in order, those that touch or overlap joined."""
    result: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if result and low <= result[-1][1]:
            result[-1] = (result[-1][0], max(result[-1][1], high))
        else:
            result.append((low, high))
    return result


def without(spans: Iterable[tuple[float, float]], holes: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans less the holes; what is left has a length."""
    result = list(spans)
    for start, end in holes:
        pieces = [piece for low, high in result for piece in ((low, min(high, start)), (max(low, end), high))]
        result = [(low, high) for low, high in pieces if high > low]
    return result
