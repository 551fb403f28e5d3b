"""The edge of a field told from the drive itself: the outermost lap, moved outward by half the boom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.errors import InputError
from coverage_audit.solid import overlap, shrunk, without

from .tolerances import (
    CORNER_ARC_WIDTHS,
    CORNER_TURN_RAD,
    EDGE_ALIKE,
    EDGE_CLOSE_M,
    EDGE_CLOSE_WIDTHS,
    EDGE_DRAWS,
    EDGE_FULL_SHARE,
    EDGE_GRID_M,
    EDGE_HABIT_M,
    EDGE_LEAST_WIDTHS,
    EDGE_NARROW_WIDTHS,
    EDGE_ROUNDS,
    EDGE_STEP_WIDTHS,
    EDGE_TRIES,
    EDGE_WANDER,
    EDGE_WORK_SHARE,
    ISLAND_ACROSS_WIDTHS,
    ISLAND_LEAST_WIDTHS,
    ISLAND_ROUND,
    NINETY_SD,
    WORKED_APART_WIDTHS,
)

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import BoolArray, FloatArray, IntArray
    from coverage_audit.drive.model import BoomPath

NO_LAP = (
    "no lap round the field was found in the track, so the edge driven cannot be told from it; drive or walk round the "
    "field with the logger on and name that file, or draw the outline"
)


@dataclass(frozen=True)
class DrivenEdge:
    """A field as it was driven round: plane metres.

    ``polygon`` reaches as far as the boom did. Nine in ten such fields are between ``low_m2`` and ``high_m2`` large:
    the receiver, how near the driver keeps to the fence, and, in the upper end alone, corners that were cut
    (``corner_m2``) and ground at the rim that the boom never passed over.
    ``islands`` were driven round and not over: perhaps no-spray ground. ``open_m`` is how far apart the ends of the lap
    lie.
    """

    polygon: BaseGeometry
    low_m2: float
    high_m2: float
    corner_m2: float
    islands: tuple[BaseGeometry, ...]
    open_m: float


@dataclass(frozen=True)
class _Way:
    """The drive at even steps: places (n, 2) [m], times [s], heading [rad]."""

    xy: FloatArray
    time_s: FloatArray
    heading_rad: FloatArray


def driven_edge(
    path: BoomPath, width_m: float, on: BoolArray | None, sigma_m: float, time_constant_s: float
) -> DrivenEdge:
    """Edge of the field whose outermost lap *path* holds; independent errors add up by squares (textbook).

    Parameters
    ----------
    path : BoomPath
        The boom's centre along the job.
    width_m : float
        Boom width. [m]
    on : array of shape (n,), optional
        Whether the boom was on at each point of the path; None: not known.
    sigma_m, time_constant_s : float
        Wandering error of one coordinate of the receiver, and how long it lasts. [m], [s]

    Raises
    ------
    InputError
        No lap encloses most of the work.
    """
    way = _even(path, width_m, on)
    first, last = _outer_lap(way, width_m)
    lap = way.xy[first : last + 1]
    swath = _swath(way, width_m)
    driven = swath if on is None else _swath(_even(path, width_m, None), width_m)
    inside = _filled(lap)
    polygon = _largest(shapely.buffer(inside, width_m / 2, quad_segs=16))
    if on is None:  # a way out and home again is no part of the field
        polygon = _largest(_opened(polygon, 0.55 * width_m))
    whole_m2, polygon = float(polygon.area), _without_bare_rim(polygon, driven)
    corner_m2 = _corners_m2(way, first, last, width_m)
    sd = float(np.hypot(_receiver_m2(way, first, last, sigma_m, time_constant_s), EDGE_HABIT_M * polygon.length))
    spread = NINETY_SD * sd
    return DrivenEdge(
        polygon=polygon,
        low_m2=max(float(polygon.area) - spread, 0.0),
        high_m2=max(whole_m2, float(polygon.area)) + corner_m2 + spread,
        corner_m2=corner_m2,
        islands=_islands(polygon, swath, way, width_m),
        open_m=float(np.hypot(*(lap[-1] - lap[0]))),
    )


def worked_ground(path: BoomPath, width_m: float) -> BaseGeometry:
    """Ground driven in ways beside each other, the largest part of it: where to look for work, and no field's edge.

    Raises
    ------
    InputError
        No two ways lie beside each other.
    """
    swath = _swath(_even(path, width_m, None), width_m)
    reach = WORKED_APART_WIDTHS / 2 * width_m
    closed = shapely.buffer(shapely.buffer(swath, reach, quad_segs=2), -reach, quad_segs=2)
    return _largest(_opened(closed, 0.55 * width_m))


def _even(path: BoomPath, width_m: float, on: BoolArray | None) -> _Way:
    """The drive, or what of it was sprayed, in even steps of distance."""
    used = np.ones(len(path.time_s), bool) if on is None else on
    moved = np.append(0.0, np.diff(path.travel_m)) * used
    along = np.cumsum(moved)
    kept = used & np.append(True, np.diff(along) > 0)
    if kept.sum() < 2:
        raise InputError(NO_LAP, "field.boundary")
    at = np.arange(along[kept][0], along[kept][-1], max(EDGE_STEP_WIDTHS * width_m, 1.0))
    columns = [np.interp(at, along[kept], one[kept]) for one in (path.x_m, path.y_m, path.time_s, path.heading_rad)]
    return _Way(np.column_stack(columns[:2]), columns[2], columns[3])


# --- the lap --------------------------------------------------------------------------------------------


def _outer_lap(way: _Way, width_m: float) -> tuple[int, int]:
    """First and last point of the lap that goes once round the most ground."""
    first, last = _closings(way, width_m)
    area = np.abs(_loop_areas(way.xy, first, last))
    order = np.argsort(-area, kind="stable")
    least = (EDGE_LEAST_WIDTHS * width_m) ** 2
    laps: list[tuple[float, int, int]] = []
    for k in order[: EDGE_TRIES * 50 : max(len(order) // (EDGE_TRIES * 50), 1)].tolist():
        a, b = int(first[k]), int(last[k])
        if area[k] < least or len(laps) >= EDGE_TRIES:
            break
        lap = way.xy[a : b + 1]
        if not EDGE_ROUNDS[0] <= _rounds(lap) <= EDGE_ROUNDS[1] or _wanders(lap, width_m):
            continue
        ground = _filled(lap)
        if ground.area >= EDGE_FULL_SHARE * _hull(lap).area and _holds_the_work(way, ground, width_m):
            laps.append((float(ground.area), a, b))
    if not laps:
        raise InputError(NO_LAP, "field.boundary")
    most = EDGE_ALIKE * max(m2 for m2, _, _ in laps)
    # of those that go round as much, the one without a tail, and with its ends together
    _, a, b = min((one for one in laps if one[0] >= most), key=lambda one: _tail_m(way.xy[one[1] : one[2] + 1]))
    return _closest_ends(way.xy, a, b)


def _closings(way: _Way, width_m: float) -> tuple[IntArray, IntArray]:
    """Pairs of points at which the drive came back near to where it had been."""
    near = max(EDGE_CLOSE_M, EDGE_CLOSE_WIDTHS * width_m)
    step = float(np.median(np.hypot(*np.diff(way.xy, axis=0).T)))
    stride = max(int(width_m / max(step, 1e-3)), 1)
    starts = np.arange(0, len(way.xy), stride)
    points = shapely.points(way.xy[starts])
    here, there = shapely.STRtree(points).query(points, "dwithin", near)
    apart = there - here > EDGE_LEAST_WIDTHS * 3
    return starts[here[apart]], starts[there[apart]]


def _loop_areas(xy: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Signed area of each loop closed by a straight line (shoelace formula, textbook). [m2]"""
    x, y = (xy - xy.mean(axis=0)).T
    total = np.concatenate([[0.0], np.cumsum(x[:-1] * y[1:] - x[1:] * y[:-1])])
    return np.asarray((total[last] - total[first] + x[last] * y[first] - x[first] * y[last]) / 2)


def _rounds(lap: FloatArray) -> float:
    """How often a loop goes round its own middle. [1]"""
    x, y = (lap - lap.mean(axis=0)).T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    area = cross.sum() / 2
    middle = [float(((one + np.roll(one, -1)) * cross).sum() / (6 * area)) for one in (x, y)]  # centroid, textbook
    angle = np.arctan2(y - middle[1], x - middle[0])
    turned = (np.diff(angle, append=angle[:1]) + np.pi) % (2 * np.pi) - np.pi
    return float(abs(turned.sum()) / (2 * np.pi))


def _tail_m(lap: FloatArray) -> float:
    """Length of a lap, what it lacks to its begin counted twice. [m]"""
    return float(np.hypot(*np.diff(lap, axis=0).T).sum() + 2 * np.hypot(*(lap[-1] - lap[0])))


def _hull(lap: FloatArray) -> BaseGeometry:
    return shapely.MultiPoint(lap).convex_hull


def _wanders(lap: FloatArray, width_m: float) -> bool:
    """Whether a loop is of passes: it runs to and fro within what it goes round, or is as narrow as two of them."""
    length, hull = float(np.hypot(*np.diff(lap, axis=0).T).sum()), _hull(lap)
    if length > EDGE_WANDER * hull.length:
        return True
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(hull))
    return float(np.hypot(*np.diff(corners[:3], axis=0).T).min()) < EDGE_NARROW_WIDTHS * width_m


def _holds_the_work(way: _Way, ground: BaseGeometry, width_m: float) -> bool:
    """Whether most of the drive lies on the *ground* that a lap goes round."""
    whole = shapely.buffer(ground, width_m)
    shapely.prepare(whole)
    return float(shapely.contains_xy(whole, *way.xy.T).mean()) >= EDGE_WORK_SHARE


def _closest_ends(xy: FloatArray, first: int, last: int) -> tuple[int, int]:
    """The lap with its ends moved to where they lie nearest, by no more than a twentieth of it."""
    reach = max((last - first) // 20, 1)
    a = np.arange(max(first - reach, 0), first + reach)
    b = np.arange(last - reach + 1, min(last + reach, len(xy) - 1) + 1)
    away = np.hypot(*(xy[a][:, None, :] - xy[b][None, :, :]).transpose(2, 0, 1))
    step = float(np.median(np.hypot(*np.diff(xy, axis=0).T)))
    # what is gained must be worth what is left out
    cost = away + np.abs((b[None, :] - a[:, None]) - (last - first)) * step / 2
    row, column = np.unravel_index(int(np.argmin(cost)), cost.shape)
    return int(a[row]), int(b[column])


def _filled(lap: FloatArray) -> BaseGeometry:
    """All ground that a closed line goes round, loops on the way included."""
    ring = shapely.LineString(np.vstack([lap, lap[:1]]))
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all([ring], grid_size=EDGE_GRID_M)]))
    return shapely.union_all(faces) if len(faces) else shapely.Polygon()


# --- the edge -------------------------------------------------------------------------------------------


def _swath(way: _Way, width_m: float) -> BaseGeometry:
    """All that the boom passed over, on or off."""
    step = np.hypot(*np.diff(way.xy, axis=0).T)
    cut = np.flatnonzero(step > 2.5 * np.median(step)) + 1  # it was off between, or the log has a gap
    parts = [shapely.LineString(part) for part in np.split(way.xy, cut) if len(part) > 1]
    return shapely.union_all(shapely.buffer(parts, width_m / 2, quad_segs=8, cap_style="flat"))


def _without_bare_rim(polygon: BaseGeometry, swath: BaseGeometry) -> BaseGeometry:
    """*polygon* without ground at its rim that the boom never passed over: nothing is known of it."""
    bare = shapely.get_parts(without(polygon, swath))
    touching = bare[shapely.distance(bare, polygon.exterior) < 1e-6]
    return _largest(without(polygon, shapely.union_all(touching)))


def _opened(ground: BaseGeometry, radius_m: float) -> BaseGeometry:
    core = shrunk(ground, radius_m, join_style="mitre")
    return overlap(ground, shapely.buffer(core, radius_m * 1.01, join_style="mitre"))


def _largest(ground: BaseGeometry) -> BaseGeometry:
    """Largest part, its holes filled: what lies inside the edge is field."""
    parts = [part for part in shapely.get_parts(ground) if part.geom_type == "Polygon"]
    if not parts:
        raise InputError(NO_LAP, "field.boundary")
    return shapely.Polygon(max(parts, key=lambda part: part.area).exterior)


def _corners_m2(way: _Way, first: int, last: int, width_m: float) -> float:
    """Ground between the corners as they were driven and sharp ones. [m2]

    Between a round corner of outer radius r and turn a, and the point where its straight sides meet, lie
    r^2 (tan(a / 2) - a / 2) (plane geometry).
    """
    heading = np.unwrap(way.heading_rad[first : last + 1])
    xy = way.xy[first : last + 1]
    sense = np.sign(_loop_areas(xy, np.array([0]), np.array([len(xy) - 1])))[0]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    reach = np.searchsorted(along, along + CORNER_ARC_WIDTHS * width_m).clip(max=len(along) - 1)
    turned = -sense * (heading[reach] - heading)  # headings are clockwise, areas counter-clockwise
    total, k = 0.0, 0
    while k < len(along) - 1:
        if turned[k] < CORNER_TURN_RAD[0]:
            k += 1
            continue
        while k + 1 < len(along) and turned[k + 1] > turned[k]:  # until the whole bend is in view
            k += 1
        inner = -sense * (heading[k : reach[k] + 1] - heading[k])
        begin, end = (int(np.argmax(inner >= share * turned[k])) for share in (0.1, 0.9))
        bend = float(along[k + end] - along[k + begin]) / 0.8
        angle = min(float(turned[k]), CORNER_TURN_RAD[1])
        radius = bend / float(turned[k]) + width_m / 2
        total += radius**2 * (np.tan(angle / 2) - angle / 2)
        k = int(reach[k])
    return float(total)


def _receiver_m2(way: _Way, first: int, last: int, sigma_m: float, time_constant_s: float) -> float:
    """Standard deviation of the lap's area by the receiver's wander (first-order Gauss-Markov, drawn). [m2]"""
    rng = np.random.default_rng(EDGE_DRAWS)
    xy, time = way.xy[first : last + 1], way.time_s[first : last + 1]
    kept = np.exp(-np.diff(time) / time_constant_s)
    error = np.empty((len(xy), 2, EDGE_DRAWS))
    error[0] = sigma_m * rng.standard_normal((2, EDGE_DRAWS))
    for k, share in enumerate(kept.tolist(), 1):
        fresh = sigma_m * np.sqrt(1 - share**2) * rng.standard_normal((2, EDGE_DRAWS))
        error[k] = share * error[k - 1] + fresh
    x, y = (xy - xy.mean(axis=0))[:, :, None].transpose(1, 0, 2) + error.transpose(1, 0, 2)
    area = np.sum(x * np.roll(y, -1, axis=0) - np.roll(x, -1, axis=0) * y, axis=0) / 2
    return float(area.std())


# --- islands --------------------------------------------------------------------------------------------


def _islands(polygon: BaseGeometry, swath: BaseGeometry, way: _Way, width_m: float) -> tuple[BaseGeometry, ...]:
    """Ground inside the edge that the boom never passed over, and that the drive went round at a stretch."""
    bare = _opened(without(polygon, swath), ISLAND_LEAST_WIDTHS * width_m / 2)
    parts = [part for part in shapely.get_parts(bare) if part.geom_type == "Polygon"]
    parts = [part for part in parts if part.area > (ISLAND_ACROSS_WIDTHS * width_m) ** 2]
    return tuple(part for part in parts if _gone_round(part, way, width_m))


def _gone_round(island: BaseGeometry, way: _Way, width_m: float) -> bool:
    """Whether one stretch of the drive, close by, went round *island*."""
    near = shapely.dwithin(island, shapely.points(way.xy), width_m)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], near, [False]]).astype(np.int8)))
    middle = island.centroid
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        about = way.xy[a:b] - [middle.x, middle.y]
        angle = np.unwrap(np.arctan2(about[:, 1], about[:, 0]))
        if np.ptp(angle) >= ISLAND_ROUND * 2 * np.pi:
            return True
    return False
