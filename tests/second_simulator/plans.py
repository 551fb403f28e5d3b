"""What a driver does on a field: headland laps first, then parallel passes over what is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.ndimage import gaussian_filter1d
from shapely import affinity
from shapely.geometry import LineString, Polygon, box

from .drivers import lagged, smooth_noise
from .driving import STEP_M, Drive, Recorder, bends, swing

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from .drivers import Driver, Machine
    from .fields import Field
    from .receivers import Wander

RUN_M = 4.0  # driven straight before the switch is thrown, and after
LEAST_LEFT_M = 0.2  # what the eye no longer takes for unsprayed ground
OVERSEEN_M = 0.3  # half the width of slivers by fence and laps that nobody goes back for
SEEN_M = 2.0  # bends of the lap before that are shorter are not followed
JOIN_M = 4.0  # a driver leaves the boom on over shorter gaps


@dataclass(frozen=True)
class Guidance:
    """Steering by the receiver whose errors are *wander*."""

    wander: Wander


def drive_field(rng: Generator, field: Field, machine: Machine, driver: Driver, guidance: Guidance | None) -> Drive:
    """Drive *field* in its own frame (passes along x), and give the drive in the plane of the field."""
    turn = field.heading_rad
    level = affinity.rotate(field.outline, -turn, (0, 0), use_radians=True)
    hollow = None if field.hollow is None else affinity.rotate(field.hollow, -turn, (0, 0), use_radians=True)
    recorder = Recorder(rng, machine, driver)
    errors = _Errors(guidance, turn)
    sprayed = _laps(recorder, level, errors)
    left = level.buffer(-0.6 * machine.width_m).difference(sprayed).buffer(-OVERSEEN_M).buffer(OVERSEEN_M)
    _passes(recorder, left, Polygon() if hollow is None else hollow, errors)
    flat = recorder.finish()
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return Drive(machine, flat.times_s, flat.axle_m @ spin, flat.heading_rad + turn, flat.on_s)


@dataclass(frozen=True)
class _Errors:
    """The receiver's errors in the frame of the passes; nothing when steered by hand."""

    guidance: Guidance | None
    turn_rad: float

    def sideways(self, times_s: NDArray[np.float64], normal: NDArray[np.float64]) -> NDArray[np.float64]:
        if self.guidance is None:
            return np.zeros(len(times_s))
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        error = self.guidance.wander.at(times_s) @ np.array([[c, -s], [s, c]])
        return (error * normal).sum(axis=1)


def _laps(recorder: Recorder, level: Polygon, errors: _Errors) -> BaseGeometry:
    """Drive the headland; give the ground it sprayed, as the eye sees it."""
    machine, driver = recorder.machine, recorder.driver
    sprayed, before, count = Polygon(), None, int(np.ceil(driver.laps))
    start = recorder.rng.uniform(0, 1)
    for lap in range(count):
        inset = machine.width_m * (lap + 0.5) - lap * driver.overlap_m + driver.fence_m
        ring = _rounded(level, inset, machine.radius_m)
        share = 1.0 if lap < driver.laps - 0.5 else 0.5
        line, normal = _along_ring(ring, start, share, machine.boom_behind_axle_m)
        along, times = recorder.timing((len(line) - 1) * STEP_M)
        times = times + recorder.turn_s(line[0], float(np.arctan2(*(line[3] - line[0])[::-1])))
        hand = swing(recorder, times, along)
        if before is None:
            aside = hand + 0.1 * smooth_noise(recorder.rng, along, 40.0)
        else:
            aside = hand + _beside(recorder, errors, before, line, normal, times, along)
        before = (line, aside, errors.sideways(times, normal))
        delay = recorder.drive_to(line + aside[:, None] * normal, along_times := times - times[0] + recorder.now_s)
        times = along_times
        lag = machine.boom_behind_axle_m / machine.speed_m_s
        recorder.switch(times[0] + delay + lag, times[-1] + delay)
        sprayed = sprayed.union(_swept(recorder, times + delay))
    return sprayed


def _beside(recorder, errors, before, line, normal, times, along) -> NDArray[np.float64]:
    """Sideways aim of a lap that keeps beside the lap before: its bends, an error of its own, or the receiver's."""
    driver = recorder.driver
    old_line, old_aside, old_error = before
    old_aside, old_error = (gaussian_filter1d(each, SEEN_M / STEP_M) for each in (old_aside, old_error))
    nearest = shapely.STRtree(shapely.points(old_line)).nearest(shapely.points(line))
    if errors.guidance is not None:
        now = errors.sideways(times, normal)
        kept = gaussian_filter1d((old_aside + old_error)[nearest], SEEN_M / STEP_M)
        return kept - lagged(now, along, driver.lag_s * recorder.machine.speed_m_s)
    if not driver.edge_following:
        return np.full(len(line), recorder.rng.normal(0, driver.pass_error_m))
    mean = old_aside.mean()
    bend = gaussian_filter1d((old_aside - mean)[nearest], SEEN_M / STEP_M)
    return mean + driver.bend_share * bend + recorder.rng.normal(0, driver.pass_error_m)


def _rounded(level: Polygon, inset_m: float, radius_m: float) -> LineString:
    inner = level.buffer(-(inset_m + radius_m), quad_segs=32).buffer(radius_m, quad_segs=32)
    parts = [inner] if inner.geom_type == "Polygon" else list(inner.geoms)
    return max(parts, key=lambda part: part.area).exterior


def _along_ring(ring: LineString, start: float, share: float, beyond_m: float) -> tuple[NDArray, NDArray]:
    """Even places along *share* of the ring and *beyond_m* more, and normals that point inward."""
    ways = (start * ring.length + np.arange(0, ring.length * share + beyond_m, STEP_M)) % ring.length
    line = shapely.get_coordinates(shapely.line_interpolate_point(ring, ways))
    step = shapely.get_coordinates(shapely.line_interpolate_point(ring, (ways + 0.5) % ring.length))
    back = shapely.get_coordinates(shapely.line_interpolate_point(ring, (ways - 0.5) % ring.length))
    ahead = (step - back) / np.linalg.norm(step - back, axis=1)[:, None]
    side = 1.0 if ring.is_ccw else -1.0
    return line, side * np.column_stack([-ahead[:, 1], ahead[:, 0]])


def _swept(recorder: Recorder, times_s: NDArray[np.float64]) -> BaseGeometry:
    """Ground the boom passed over, from convex pieces of half a metre: good enough for the driver's eye."""
    times, poses = np.concatenate(recorder.times), np.concatenate(recorder.poses)
    so_far = Drive(recorder.machine, times, poses[:, :2], np.unwrap(poses[:, 2]), np.empty((0, 2)))
    left, right = so_far.tips(times_s[::5])
    corners = np.stack([left[:-1], right[:-1], right[1:], left[1:]], axis=1)
    return shapely.union_all(shapely.convex_hull(shapely.multipoints(corners)))


def _passes(recorder: Recorder, left: BaseGeometry, hollow: Polygon, errors: _Errors) -> None:
    """Parallel passes from below to above over *left*; the boom is shut where its middle crosses *hollow*."""
    machine, driver, rng = recorder.machine, recorder.driver, recorder.rng
    low_x, low_y, high_x, high_y = left.bounds
    grid = np.arange(low_x - 60.0, high_x + 60.0, STEP_M)
    edge = np.full(len(grid), _first_edge(left))
    count = max(2, int((high_y - low_y) / machine.width_m))
    odd = {name: int(rng.integers(1, count)) for name in ("blunder", "forgotten", "stop")}
    anchor, number = None, 0
    for _ in range(80):
        middle = np.interp((low_x + high_x) / 2, grid, edge)
        band = box(low_x - 1, middle + LEAST_LEFT_M, high_x + 1, middle + machine.width_m - driver.overlap_m)
        spans = _spans(left.intersection(band), band, by_middle=driver.by_middle)
        spans = _outside(spans, hollow.intersection(_middle(band)))
        if not spans:
            if middle + LEAST_LEFT_M >= high_y:
                return
            edge = edge + machine.width_m / 2
            continue
        forward = number % 2 == 0
        blunder = driver.blunder_m if number == odd["blunder"] else 0.0
        stop = driver.stop_s if number == odd["stop"] else 0.0
        missing = driver.forgotten_m if number == odd["forgotten"] else 0.0
        edge, anchor = _one_pass(
            recorder, errors, (grid, edge, anchor), spans, forward, number, (blunder, stop, missing)
        )
        number += 1


def _first_edge(left: BaseGeometry) -> float:
    """Where the sprayed headland ends below: the level above which nine tenths of its lower edge lie."""
    low_x, low_y, high_x, high_y = left.bounds
    lows = [
        left.intersection(LineString([(x, low_y - 1), (x, high_y + 1)])) for x in np.linspace(low_x, high_x, 42)[1:-1]
    ]
    return float(np.quantile([line.bounds[1] for line in lows if not line.is_empty], 0.1))


def _spans(left: BaseGeometry, band: Polygon, *, by_middle: bool) -> list[tuple[float, float]]:
    """Where along the pass the driver means to spray: by the boom's middle, or where any of it is over ground left."""
    parts = [part for part in getattr(left, "geoms", [left]) if part.area > 1.0]
    if not parts:
        return []
    if by_middle:
        crossed = shapely.union_all(parts).intersection(_middle(band))
        parts = [part for part in getattr(crossed, "geoms", [crossed]) if part.length > 1.0] or parts
    merged: list[tuple[float, float]] = []
    for start, end in sorted((part.bounds[0], part.bounds[2]) for part in parts):
        if merged and start < merged[-1][1] + JOIN_M:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return [span for span in merged if span[1] > span[0] + 1.0]


def _middle(band: Polygon) -> LineString:
    low_x, low_y, high_x, high_y = band.bounds
    return LineString([(low_x, (low_y + high_y) / 2), (high_x, (low_y + high_y) / 2)])


def _outside(spans: list[tuple[float, float]], hollow: BaseGeometry) -> list[tuple[float, float]]:
    """Spans less where the middle crosses the hollow, when it does so for two metres or more."""
    if hollow.length < 2.0:
        return spans
    start, _, end, _ = hollow.bounds
    cut = [piece for a, b in spans for piece in ((a, min(b, start)), (max(a, end), b))]
    return [(a, b) for a, b in cut if b > a + 1.0]


def _one_pass(recorder, errors, state, spans, forward, number, odd):
    """Drive one pass; give the edge it leaves and the line that guidance keeps to."""
    grid, edge, anchor = state
    blunder, stop, missing = odd
    machine = recorder.machine
    behind = machine.boom_behind_axle_m
    first, last = spans[0][0] - RUN_M, spans[-1][1] + RUN_M + behind
    if not forward:
        first, last = spans[-1][1] + RUN_M, spans[0][0] - RUN_M - behind
    along, times = recorder.timing(abs(last - first))
    x = first + np.sign(last - first) * along
    normal = np.tile([0.0, 1.0], (len(x), 1))
    start = np.array([first, float(np.interp(first, grid, edge)) + machine.width_m / 2])
    turning = recorder.turn_s(start, 0.0 if forward else np.pi)  # as near as the turn can be told before it
    later = times + stop + turning
    aim, anchor = _aim(recorder, errors, (grid, edge, anchor), x, later, along, normal, number)
    y = aim + blunder + swing(recorder, times, along)
    delay = recorder.drive_to(np.column_stack([x, y]), times, stop)
    _switch_pass(recorder, spans, x, times + delay, forward=forward, missing=missing)
    inside = (grid >= min(first, last)) & (grid <= max(first, last))
    order = np.argsort(x)
    new = np.interp(grid, x[order], y[order]) + machine.width_m / 2
    line, _ = bends(new[inside], grid[inside])
    slope = (line[-1] - line[0]) / (grid[inside][-1] - grid[inside][0])
    beyond = line[0] + slope * (grid - grid[inside][0])
    return np.where(inside, new, beyond), anchor


def _aim(recorder, errors, state, x, times, along, normal, number):
    """Where the axle is meant to go, sideways; by hand beside the edge, guided beside the first pass as logged."""
    grid, edge, anchor = state
    machine, driver, rng = recorder.machine, recorder.driver, recorder.rng
    beside = machine.width_m / 2 - driver.overlap_m
    seen = np.interp(x, grid, edge)
    if errors.guidance is not None:
        error = errors.sideways(times, normal)
        if anchor is None:
            anchor = (float(np.mean(seen)) + beside + float(error[0]), number)
        line = anchor[0] + (number - anchor[1]) * (machine.width_m - driver.overlap_m)
        return line - lagged(error, along, driver.lag_s * machine.speed_m_s), anchor
    own = rng.normal(0, driver.pass_error_m)
    if not driver.edge_following:
        anchor = anchor or (float(np.mean(seen)) + beside, number)
        return np.full(len(x), anchor[0] + (number - anchor[1]) * (machine.width_m - driver.overlap_m) + own), anchor
    order = np.argsort(x)
    line, bend = bends(seen[order], x[order])
    return (line + driver.bend_share * bend)[np.argsort(order)] + beside + own, anchor


def _switch_pass(recorder, spans, x, times, *, forward, missing) -> None:
    """Throw the switch where the boom meets the spans; *missing* metres are forgotten at the start of the longest."""
    lag = recorder.machine.boom_behind_axle_m * (1.0 if forward else -1.0)
    order = np.argsort(x)
    longest = max(spans, key=lambda span: span[1] - span[0])
    for span in spans:
        enter, leave = span if forward else span[::-1]
        forgotten = min(missing, 0.8 * (span[1] - span[0])) if span == longest else 0.0
        enter += forgotten * (1.0 if forward else -1.0)
        on, off = np.interp([enter + lag, leave + lag], x[order], times[order])
        recorder.switch(float(on), float(off))
