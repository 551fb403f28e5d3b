"""Simulated days of odd shapes, logged by a phone at 1 Hz, with the truth of when the boom was on.

Fields worked round and round, in spirals, along contours, in lands from the middle out, in two blocks at an angle, with
point rows and islands, the headland first or last; machines that back up at corners, stop (and the log jitters),
leave to refill, spray through their turns or switch late; logs that begin late, end early or have gaps.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import shapely
import shapely.affinity
from jobs import START_S, boom, job, log
from simulator.jobs import gauss_markov
from simulator.route import Pose, advance, shortest_turn

from coverage_audit.recipe.audit import audit_job

STEP_M = 0.5


@dataclass
class Pen:
    """Draws the drive as points half a metre apart; ``on`` is what the driver means."""

    radius_m: float
    work_m_s: float
    away_m_s: float
    points: list = field(default_factory=list)
    on: list = field(default_factory=list)
    speed: list = field(default_factory=list)
    stops: list = field(default_factory=list)

    def along(self, points, on, speed=None, *, quick=False):
        """Follow *points*; *on* is one flag, one for each point, or a function of the points."""
        line = shapely.LineString(points)
        at = np.arange(0.0, line.length, STEP_M)
        xy = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
        flags = np.broadcast_to(on(xy) if callable(on) else on, len(xy))
        self.points += xy.tolist()
        self.on += flags.tolist()
        self.speed += [speed or (self.away_m_s if quick else self.work_m_s)] * len(xy)

    def pose(self):
        """Give the place and heading reached."""
        a, b = np.array(self.points[-2]), np.array(self.points[-1])
        way = b - a
        return Pose(*b, float(np.arctan2(way[0], way[1])))

    def turn_to(self, place, heading_rad, *, on=False, quick=False):
        """Shortest turn to a pose."""
        if len(self.points) < 2:
            return
        pose, goal = self.pose(), Pose(*place, heading_rad)
        xy = [(pose.x_m, pose.y_m)]
        for curvature, length in shortest_turn(pose, goal, self.radius_m):
            for part in np.linspace(0, length, max(int(length / STEP_M), 1) + 1)[1:]:
                there = advance(pose, curvature, float(part))
                xy.append((there.x_m, there.y_m))
            pose = advance(pose, curvature, length)
        if len(xy) > 1 and shapely.LineString(xy).length > STEP_M:
            self.along(xy, on, quick=quick)

    def back_up(self, metres):
        """Straight back, the boom off."""
        pose = self.pose()
        goal = advance(pose, 0.0, -metres)
        self.along([(pose.x_m, pose.y_m), (goal.x_m, goal.y_m)], on=False, speed=0.7 * self.work_m_s)

    def stop(self, seconds):
        """Stand here."""
        self.stops.append((len(self.points) - 1, seconds))


@dataclass(frozen=True)
class OddDay:
    """A day as logged, and the truth: ``on_s`` (k, 2) in seconds of the log's clock."""

    shape: str
    field: shapely.Polygon
    width_m: float
    times_s: np.ndarray
    logged_m: np.ndarray
    on_s: np.ndarray
    through: bool

    def job(self, *, assumed, **more):
        """The job, its boom state hidden or given."""
        given = [] if assumed else [tuple(one) for one in self.on_s]
        settings = boom(self.width_m, intervals="assume" if assumed else "csv")
        return job(log(self.times_s, self.logged_m), given, self.field, boom=settings, **more)


def _heading(a, b):
    return float(np.arctan2(b[0] - a[0], b[1] - a[1]))


def _polygon(rng, hectares):
    """Field of four to six uneven corners."""
    count = int(rng.integers(4, 7))
    angle = np.sort((np.arange(count) + rng.uniform(-0.25, 0.25, count)) * 2 * np.pi / count)
    reach = rng.uniform(0.75, 1.25, count)
    shape = shapely.Polygon(np.column_stack([reach * np.cos(angle) * rng.uniform(1, 1.8), reach * np.sin(angle)]))
    shape = shapely.affinity.rotate(shape.convex_hull if rng.random() < 0.7 else shape, rng.uniform(0, 180))
    return shapely.affinity.scale(shape, *[np.sqrt(hectares * 1e4 / shape.area)] * 2)


def _rows(inner, heading_rad, pitch_m, fine_m=1.0):
    """Lines of passes over *inner*, each a list of straight parts [(a, b)], from left to right."""
    sin, cos = np.sin(heading_rad), np.cos(heading_rad)
    xy = shapely.get_coordinates(inner)
    u, v = xy @ [cos, -sin], xy @ [sin, cos]
    rows = []
    for at in np.arange(u.min() + pitch_m / 2, u.max() + pitch_m / 4, pitch_m):
        low, high = (np.array([at * cos + q * sin, -at * sin + q * cos]) for q in (v.min() - 9, v.max() + 9))
        parts = shapely.get_parts(shapely.intersection(inner, shapely.LineString([low, high])))
        parts = [shapely.get_coordinates(one)[[0, -1]] for one in parts if one.length > fine_m]
        rows.append(sorted(parts, key=lambda one: float(one[0] @ [sin, cos])))
    return [row for row in rows if row]


def _passes(pen, rng, inner, heading_rad, pitch_m, order=None, *, through=False):
    """Rows driven to and fro; where a row is broken (a bay, an island) its parts are driven on with the boom off."""
    rows = _rows(inner, heading_rad, pitch_m)
    order = range(len(rows)) if order is None else order(len(rows))
    up = True
    for k in order:
        parts = rows[k] if up else [one[::-1] for one in rows[k][::-1]]
        ends = [parts[0][0], parts[-1][1]]
        run = _heading(*ends)
        lead = np.array([np.sin(run), np.cos(run)])
        pen.turn_to(ends[0] - 4 * lead, run, on=through)
        line = shapely.LineString([ends[0] - 4 * lead, ends[1] + 4 * lead])
        sprayed = shapely.union_all([shapely.LineString(one) for one in parts])
        pen.along(shapely.get_coordinates(line), lambda xy, s=sprayed: shapely.dwithin(s, shapely.points(xy), 0.3))
        if rng.random() < 0.04:
            pen.stop(float(rng.uniform(10, 120)))
        up = not up


def _ring(ground, away_m, start=0):
    inner = shapely.buffer(ground, -away_m, join_style="mitre")
    if inner.is_empty or inner.area < 30:
        return None
    part = max(shapely.get_parts(inner), key=lambda one: one.area)
    corners = shapely.get_coordinates(shapely.simplify(part.exterior, 1.0))[:-1]
    return np.roll(corners, -(start % len(corners)), axis=0)


def _lap(pen, rng, corners, *, backing, on=True):
    """Once round *corners*: swung round at each, or driven on and backed up."""
    closed = np.vstack([corners, corners[:1]])
    pen.turn_to(closed[0], _heading(closed[0], closed[1]))
    if not backing:
        ring = shapely.Polygon(corners)
        soft = shapely.buffer(shapely.buffer(ring, -pen.radius_m), pen.radius_m)
        if not soft.is_empty and soft.geom_type == "Polygon" and soft.area > 0.7 * ring.area:
            rim = shapely.get_coordinates(soft.exterior)
            near = int(np.argmin(np.hypot(*(rim[:-1] - closed[0]).T)))
            turned = np.roll(rim[:-1], -near, axis=0)
            if shapely.Polygon(corners).exterior.is_ccw != soft.exterior.is_ccw:
                turned = np.roll(turned[::-1], 1, axis=0)
            pen.along(np.vstack([turned, turned[:1]]), on)
            return
    for a, b in pairwise(closed):
        run = _heading(a, b)
        if len(pen.points) > 2:
            pen.turn_to(a, run)
        if np.hypot(*(b - a)) > 2 * STEP_M:
            pen.along([a, b], on)
        if backing:
            pen.back_up(float(rng.uniform(8, 16)))


# --- shapes ---------------------------------------------------------------------------------------


def _to_and_fro(pen, rng, width, *, last=False, middle=False, island=False):
    ground = _polygon(rng, rng.uniform(1.5, 4.5))
    if island:
        pond = ground.centroid.buffer(rng.uniform(6, 15))
        ground = ground.difference(pond)
    laps = int(rng.integers(1, 3))
    pitch = width * rng.uniform(0.93, 1.0)
    through = bool(rng.random() < 0.12)
    backing = bool(rng.random() < 0.3)
    outer = shapely.Polygon(ground.exterior)
    rings = [_ring(outer, pitch * (k + 0.5)) for k in range(laps)]
    inner = shapely.difference(shapely.buffer(ground, -pitch * laps, join_style="mitre"), shapely.Point(0, 1e6))
    inner = max(shapely.get_parts(inner), key=lambda one: one.area)
    if island:
        inner = shapely.Polygon(inner.exterior).difference(pond.buffer(1.0))
    heading = rng.uniform(0, np.pi)
    corners = shapely.get_coordinates(outer.exterior)
    sides = np.diff(corners, axis=0)
    if rng.random() < 0.7:
        longest = sides[np.argmax(np.hypot(*sides.T))]
        heading = float(np.arctan2(*longest))

    def lands(count):
        half = count // 2
        return [k for pair in zip(range(half, count), range(half - 1, -1, -1), strict=False) for k in pair] + (
            [count - 1] if count % 2 else []
        )

    def headland():
        for ring in rings:
            if ring is not None:
                _lap(pen, rng, ring, backing=backing)

    if not last:
        headland()
    _passes(pen, rng, inner, heading, pitch, lands if middle else None, through=through)
    if last:
        headland()
    return ground, through


def _round_and_round(pen, rng, width):
    ground = _polygon(rng, rng.uniform(1.5, 4))
    backing = bool(rng.random() < 0.5)
    pitch = width * rng.uniform(0.92, 0.99)
    for k in range(200):
        ring = _ring(ground, pitch * (k + 0.5))
        if ring is None:
            break
        _lap(pen, rng, ring, backing=backing)
    return ground, False


def _spiral(pen, rng, width):
    reach = np.sqrt(rng.uniform(1.5, 4) * 1e4 / np.pi)
    pitch = width * rng.uniform(0.92, 0.99)
    angle = np.arange(0.0, 2 * np.pi * (reach / pitch - 0.6), 0.02)
    r = np.minimum(reach - width / 2, reach - width / 2 - pitch * (angle - 2 * np.pi) / (2 * np.pi))
    keep = r > 2
    r, angle = r[keep], angle[keep]
    pen.along(np.column_stack([r * np.cos(angle), r * np.sin(angle)]), on=True)
    return shapely.Point(0, 0).buffer(reach), False


def _contour(pen, rng, width):
    length, count = rng.uniform(120, 260), int(rng.integers(6, 14))
    pitch = width * rng.uniform(0.93, 1.0)
    s = np.linspace(0, length, 200)
    base = np.column_stack([s, rng.uniform(5, 14) * np.sin(s / rng.uniform(35, 60) + rng.uniform(0, 6))])
    line = shapely.LineString(base)
    lines = [shapely.offset_curve(line, pitch * k) for k in range(count)]
    ground = shapely.union_all(shapely.buffer(lines, width / 2, cap_style="flat"))
    ground = shapely.buffer(shapely.buffer(ground, 1.0), -1.0)
    ground = max(shapely.get_parts(ground), key=lambda one: one.area)
    through = bool(rng.random() < 0.12)
    for k in range(count):
        curve = shapely.get_coordinates(shapely.offset_curve(line, pitch * k))
        curve = curve if k % 2 == 0 else curve[::-1]
        pen.turn_to(curve[0], _heading(curve[0], curve[1]), on=through)
        pen.along(curve, on=True)
    return shapely.Polygon(ground.exterior), through


def _two_blocks(pen, rng, width):
    a = shapely.box(0, 0, rng.uniform(80, 140), rng.uniform(100, 180))
    b = shapely.affinity.translate(
        shapely.affinity.rotate(shapely.box(0, 0, rng.uniform(80, 120), rng.uniform(80, 140)), rng.uniform(-70, 70)),
        a.bounds[2] + 25,
        rng.uniform(-20, 30),
    )
    pitch = width * rng.uniform(0.93, 1.0)
    through = bool(rng.random() < 0.1)
    for block in (a, b):
        inner = block
        heading = _heading(*shapely.get_coordinates(block)[1:3])
        if rng.random() < 0.6:
            ring = _ring(block, pitch / 2)
            _lap(pen, rng, ring, backing=False)
            inner = shapely.buffer(block, -pitch, join_style="mitre")
        _passes(pen, rng, inner, heading, pitch, through=through)
    return shapely.MultiPolygon([a, b]) if a.disjoint(b) else a.union(b), through


def _point_rows(pen, rng, width):
    """A triangle cut off at its tip: every pass ends at the slanting side, a step shorter than the one before."""
    base, high = rng.uniform(120, 260), rng.uniform(120, 220)
    tip = rng.uniform(0.0, 0.25) * base
    ground = shapely.Polygon([(0, 0), (base, 0), (tip, high), (0, high)])
    ground = shapely.affinity.rotate(ground, rng.uniform(0, 360))
    pitch = width * rng.uniform(0.93, 1.0)
    corners = shapely.get_coordinates(ground.exterior)
    through = bool(rng.random() < 0.12)
    laps = int(rng.integers(0, 3))
    for k in range(laps):
        ring = _ring(ground, pitch * (k + 0.5))
        if ring is not None:
            _lap(pen, rng, ring, backing=bool(rng.random() < 0.3))
    inner = shapely.buffer(ground, -pitch * laps, join_style="mitre")
    _passes(pen, rng, inner, _heading(corners[3], corners[0]), pitch, through=through)
    return ground, through


def _ditch(pen, rng, width):
    """Two halves with a ditch between, worked along it from either side and crossed at one end by a culvert."""
    wide, length = rng.uniform(2.0, 6.0), rng.uniform(120, 260)
    bend = shapely.LineString([(0, 0), (length / 2, rng.uniform(-8, 8)), (length, 0)])
    below, above = rng.uniform(45, 90, 2)
    low_side = [(length, -below), (0, -below)]
    high_side = [(length, above), (0, above)]
    ways, aside = shapely.get_coordinates(bend), np.array([0.0, wide / 2])
    south = shapely.Polygon([*(ways - aside), *low_side])
    north = shapely.Polygon([*(ways + aside), *high_side])
    angle = rng.uniform(0, 360)
    halves = [shapely.affinity.rotate(one, angle, origin=(0, 0)) for one in (south, north)]
    pitch = width * rng.uniform(0.93, 1.0)
    through = bool(rng.random() < 0.1)
    heading = _heading(*shapely.get_coordinates(shapely.affinity.rotate(bend, angle, origin=(0, 0)))[[0, 2]])
    for half in halves:
        ring = _ring(half, pitch / 2)
        _lap(pen, rng, ring, backing=bool(rng.random() < 0.3))
        _passes(pen, rng, shapely.buffer(half, -pitch, join_style="mitre"), heading, pitch, through=through)
    return shapely.MultiPolygon(halves), through


SHAPES = {
    "headland first": _to_and_fro,
    "headland last": lambda pen, rng, width: _to_and_fro(pen, rng, width, last=True),
    "from the middle": lambda pen, rng, width: _to_and_fro(pen, rng, width, middle=True),
    "island": lambda pen, rng, width: _to_and_fro(pen, rng, width, island=True),
    "round and round": _round_and_round,
    "spiral": _spiral,
    "contour": _contour,
    "two blocks": _two_blocks,
}
RARER = {"point rows": _point_rows, "ditch": _ditch}


def odd_day(seed, shape=None):
    """The day of *seed*; the shapes take turns, the rarer ones are asked for."""
    rng = np.random.default_rng([seed, 4711])
    shape = shape or list(SHAPES)[seed % len(SHAPES)]
    width = float(rng.choice([6.0, 9.0, 12.0]))
    work = float(rng.uniform(1.4, 3.0))
    pen = Pen(float(rng.uniform(3.5, 6.0)), work, float(work * rng.uniform(1.0, 1.8)))
    ground, through = (SHAPES | RARER)[shape](pen, rng, width)
    _away(pen, rng, ground)
    return _logged(pen, rng, ground, width, shape, through)


def _away(pen, rng, ground):
    """The way to the field and home again, and at times a way over the field to refill, amid the work."""
    outside = np.array(shapely.get_coordinates(ground.convex_hull.buffer(60))[int(rng.integers(0, 20))])
    begin = np.array(pen.points[0])
    back = Pen(pen.radius_m, pen.work_m_s, pen.away_m_s)
    back.along([outside, begin], on=False, quick=True)
    first = len(back.points)
    refills = int(rng.integers(0, 3))
    whole, speed, on, stops = list(back.points), list(back.speed), list(back.on), []
    cuts = sorted(rng.choice(np.arange(len(pen.points) // 5, len(pen.points) - 5), refills, replace=False).tolist())
    low = 0
    for cut in [*cuts, None]:
        part = slice(low, cut)
        stops += [
            (k - low + len(whole), s) for k, s in pen.stops if low <= k < (len(pen.points) if cut is None else cut)
        ]
        whole, speed, on = whole + pen.points[part], speed + pen.speed[part], on + pen.on[part]
        if cut is not None:
            low = cut
            trip = Pen(pen.radius_m, pen.work_m_s, pen.away_m_s)
            trip.points, trip.on, trip.speed = whole[-2:], on[-2:], speed[-2:]
            here = np.array(whole[-1])
            trip.turn_to(outside, _heading(here, outside), quick=True)
            stand = len(whole) + len(trip.points) - 3
            trip.turn_to(here, trip_heading(pen, cut), quick=True)
            stops.append((stand, float(rng.uniform(60, 400))))
            whole, speed, on = whole + trip.points[2:], speed + trip.speed[2:], on + trip.on[2:]
    home = Pen(pen.radius_m, pen.work_m_s, pen.away_m_s)
    home.points, home.on, home.speed = whole[-2:], on[-2:], speed[-2:]
    home.turn_to(outside, _heading(whole[-1], outside), quick=True)
    pen.points, pen.speed, pen.on = whole + home.points[2:], speed + home.speed[2:], on + home.on[2:]
    pen.stops = stops
    assert first


def trip_heading(pen, cut):
    """Heading in which work goes on where it was broken off."""
    return _heading(pen.points[cut - 1], pen.points[cut + 1 if cut + 1 < len(pen.points) else cut])


def _logged(pen, rng, ground, width, shape, through):
    xy, speed, on = np.array(pen.points), np.array(pen.speed), np.array(pen.on, bool)
    kept = np.append(True, np.hypot(*np.diff(xy, axis=0).T) > 1e-6)
    step = np.hypot(*np.diff(xy, axis=0).T)
    pace = speed[1:] * np.exp(gauss_markov(len(step), 0.12, 1.0, 80.0, rng))
    time = np.concatenate([[0.0], np.cumsum(step / pace)])
    assert kept.any()
    stands = []
    for place, seconds in sorted(pen.stops):
        at = min(max(place, 0), len(time) - 1)
        time[at + 1 :] += seconds
        stands.append((time[at], time[at] + seconds))
    fixes = np.arange(0.0, time[-1], 1.0)
    order = np.append(True, np.diff(time) > 0)
    places = np.column_stack([np.interp(fixes, time[order], xy[order, axis]) for axis in (0, 1)])
    aside = gauss_markov(len(fixes), float(rng.choice([0.05, 0.25])), 1.0, 15.0, rng)
    places = places + aside[:, None] * np.array([0.7, 0.7])
    wander = [gauss_markov(len(fixes), float(rng.choice([0.03, 0.3])), 1.0, 600.0, rng) for _ in range(2)]
    white = rng.normal(0, float(rng.choice([0.02, 0.1, 0.25])), (len(fixes), 2))
    logged = places + np.column_stack(wander) + white
    for start, end in stands:
        inside = (fixes >= start) & (fixes <= end)
        logged[inside] += np.column_stack([gauss_markov(int(inside.sum()), 0.4, 1.0, 5.0, rng) for _ in range(2)])
    late, early, scatter = rng.normal(0.4, 0.5), rng.normal(0.2, 0.5), abs(rng.normal(0.2, 0.2))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    spans = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        on_s, off_s = time[a] + late + rng.normal(0, scatter), time[min(b, len(time) - 1)] - early
        cut = [(on_s, off_s + rng.normal(0, scatter))]
        for s0, s1 in stands:
            halves = [part for low, high in cut for part in ((low, min(high, s0)), (max(low, s1), high))]
            cut = [part for part in halves if part[1] > part[0] + 0.5]
        spans += cut
    joined = []
    for low, high in sorted(spans):
        if joined and low <= joined[-1][1] + 0.3:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    keep = np.ones(len(fixes), bool)
    if rng.random() < 0.2:  # the log was begun late or ended early
        cut = rng.uniform(0.02, 0.15) * fixes[-1]
        keep &= fixes > cut if rng.random() < 0.5 else fixes < fixes[-1] - cut
    for _ in range(int(rng.integers(0, 4))):  # gaps
        begin = rng.uniform(0, fixes[-1])
        keep &= ~((fixes > begin) & (fixes < begin + rng.uniform(2, 25)))
    fixes, logged = fixes[keep], logged[keep]
    spans = np.array(joined) - fixes[0]
    spans = spans[(spans[:, 1] > 0.5) & (spans[:, 0] < fixes[-1] - fixes[0] - 0.5)]
    spans = np.clip(spans, 0.0, fixes[-1] - fixes[0])
    return OddDay(shape, ground, width, fixes - fixes[0], logged, spans, through)


def judged(day):
    """(low, truth, high) of missed and double ground over the target, and the share of seconds told right."""
    told = audit_job(day.job(assumed=True))
    true = audit_job(day.job(assumed=False)).area_m2
    fine = np.arange(0.0, day.times_s[-1], 1.0)
    on = np.searchsorted(day.on_s.ravel(), fine, side="right") % 2 == 1
    mine = np.searchsorted(told.assumed.on_off_s.ravel() - START_S, fine, side="right") % 2 == 1
    ranges = told.assumed.ranges
    areas = {
        name: tuple(m2 / true.target for m2 in (ranges[name].low, getattr(true, name), ranges[name].high))
        for name in ("missed", "double")
    }
    return areas, float((on == mine).mean()), told
