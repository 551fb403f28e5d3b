"""Fields whose edge has to be told from the drive: laps with cut corners, gates, islands, one and a half laps."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from jobs import boom, job, log
from odd_days import STEP_M, Pen, _heading, _lap, _passes, _polygon, _ring
from simulator.jobs import gauss_markov


class OnlyWherePen(Pen):
    """A pen that sprays only where *on* says so of each point, when it is a function of them."""

    def along(self, points, on, speed=None, *, quick=False):
        """Follow *points*, as a pen does."""
        line = shapely.LineString(points)
        xy = shapely.get_coordinates(shapely.line_interpolate_point(line, np.arange(0.0, line.length, STEP_M)))
        super().along(points, on(xy) if callable(on) else on, speed, quick=quick)


@dataclass(frozen=True)
class DrivenField:
    """A drive round and over a field of known area; ``on_s`` (k, 2) in seconds of the log's clock.

    ``true_m``: where the machine was at each fix, which the receiver logged amiss.
    """

    ground: shapely.Polygon
    islands: int
    width_m: float
    times_s: np.ndarray
    logged_m: np.ndarray
    true_m: np.ndarray
    on_s: np.ndarray
    sigma_m: float

    def covered(self):
        """Ground of the field that the boom really went over while it was on. [m]"""
        lines = []
        for on, off in self.on_s:
            within = self.times_s[(self.times_s > on) & (self.times_s < off)]
            times = np.unique([on, *within, off])  # the boom was switched between two fixes
            lines.append(np.column_stack([np.interp(times, self.times_s, axis) for axis in self.true_m.T]))
        swept = shapely.buffer([shapely.LineString(one) for one in lines], self.width_m / 2, cap_style="flat")
        return shapely.intersection(shapely.union_all(swept), self.ground)

    def job(self, outline, *, assumed=False, **more):
        """The job on *outline*."""
        given = [] if assumed else [tuple(one) for one in self.on_s]
        settings = boom(self.width_m, intervals="assume" if assumed else "csv")
        return job(log(self.times_s, self.logged_m), given, outline, boom=settings, **more)


def driven_field(seed):
    """The field of *seed*: every fourth has an island, every third one and a half laps, every other a gate."""
    rng = np.random.default_rng([seed, 1887])
    width = float(rng.choice([6.0, 9.0, 12.0]))
    pen = OnlyWherePen(float(rng.uniform(3.5, 6.0)), float(rng.uniform(1.6, 2.8)), 3.0)
    ground = _polygon(rng, rng.uniform(1.5, 4.0))
    pond = ground.centroid.buffer(rng.uniform(8, 14)) if seed % 4 == 0 else None
    off = float(rng.normal(0, 0.2))  # how far this driver keeps the boom's end from the fence
    rings = [_ring(ground, width / 2 + off + 0.96 * width * k, start=int(rng.integers(0, 4))) for k in range(2)]
    gate = _gate(rings[0], rng)
    if seed % 2 == 0:
        pen.along([gate + np.full(2, 40.0), gate + np.full(2, 25.0), gate], on=False, quick=True)
    _lap(pen, rng, rings[0], backing=bool(rng.random() < 0.3))
    if seed % 3 == 0 and rings[1] is not None:  # half a lap more
        half = rings[1][: len(rings[1]) // 2 + 1]
        for a, b in pairwise(half):
            pen.turn_to(a, _heading(a, b))
            pen.along([a, b], on=True)
    inner = max(shapely.get_parts(shapely.buffer(ground, -0.96 * width, join_style="mitre")), key=lambda one: one.area)
    if pond is not None:
        round_it = shapely.get_coordinates(pond.buffer(width / 2 + 0.5).exterior)[:-1]
        _lap(pen, rng, round_it, backing=False)
        inner = inner.difference(pond.buffer(1.0))
    _passes(pen, rng, inner, float(rng.uniform(0, np.pi)), 0.96 * width)
    return _logged(pen, rng, ground, width, 0 if pond is None else 1)


def _gate(ring, rng):
    a, b = ring[0], ring[1]
    return a + rng.uniform(0.1, 0.3) * (b - a)


def _logged(pen, rng, ground, width, islands):
    xy, speed, on = np.array(pen.points), np.array(pen.speed), np.array(pen.on, bool)
    step = np.hypot(*np.diff(xy, axis=0).T)
    time = np.concatenate([[0.0], np.cumsum(step / speed[1:])])
    order = np.append(True, np.diff(time) > 0)
    fixes = np.arange(0.0, time[-1], 1.0)
    sigma = float(rng.choice([0.05, 0.3]))
    wander = np.column_stack([gauss_markov(len(fixes), sigma, 1.0, 600.0, rng) for _ in range(2)])
    aside = gauss_markov(len(fixes), 0.2, 1.0, 15.0, rng)[:, None] * [0.7, 0.7]
    places = np.column_stack([np.interp(fixes, time[order], xy[order, axis]) for axis in (0, 1)])
    true = places + aside
    logged = true + wander + rng.normal(0, 0.03, (len(fixes), 2))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    spans = np.array([(time[a], time[min(b, len(time) - 1)]) for a, b in zip(edges[::2], edges[1::2], strict=True)])
    spans = spans[spans[:, 1] > spans[:, 0] + 1.0]
    return DrivenField(ground, islands, width, fixes, logged, true, spans, sigma)
