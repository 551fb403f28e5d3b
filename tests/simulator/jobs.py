"""A spray job with known truth, for tests, benchmarks and the demo. Pure and repeatable.

The driver means to follow a route of lines and arcs (:mod:`.plan`); steering
moves him sideways off it, habits and faults shift the switching, and the receiver adds its
error to the antenna's true place. The true path is known at any moment, so the ground that
was really sprayed can be computed without the log.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .plan import GUIDED, HAND, Faults, GnssError, Scenario, Steering, Stop, SwitchHabit, plan_route
from .route import Route, without

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray

    from .route import Spray

__all__ = [
    "GUIDED",
    "HAND",
    "Faults",
    "GnssError",
    "Scenario",
    "SimulatedJob",
    "Steering",
    "Stop",
    "SwitchHabit",
    "TruePath",
    "benchmark_scenario",
    "gauss_markov",
    "simulate",
]

WANDER_STEP_M = 0.5
"""Steering error is drawn this often along the route and smoothly joined. [m] Well below the
3-4 m over which it is smoothed, so the join adds nothing of its own."""

SWEEP_HZ = 20.0
"""True boom lines are sampled this often. [1/s] At 3 m/s they are 0.15 m apart; on an arc of
4 m radius the chord then leaves the arc by less than 1 mm."""

BENCHMARK_M = ((0.0, 0.0), (447.0, -8.0), (439.0, 276.0), (205.0, 291.0), (6.0, 273.0))
"""Corners of the benchmark's field before scaling [m]."""


@dataclass(frozen=True)
class TruePath:
    """Where the boom and the antenna really were, at any moment of the job.

    ``times_s`` and ``distances_m`` (shape (k,)) tie time to distance along the route; between
    them the speed is constant. ``wander_m`` (shape (w,)) is the cross-track error, positive to
    the right, every ``WANDER_STEP_M`` along the route.
    """

    scenario: Scenario
    route: Route
    times_s: FloatArray
    distances_m: FloatArray
    wander_m: FloatArray

    def pose(self, times_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Boom centre [m], shape (n, 2), and heading [rad clockwise from north], shape (n,)."""
        distance = np.interp(times_s, self.times_s, self.distances_m)
        x, y, heading, curvature = self.route.at(distance)
        aside, slope = _smooth_value(self.wander_m, WANDER_STEP_M, distance)
        centre = np.column_stack((x + aside * np.cos(heading), y - aside * np.sin(heading)))
        # Tangent of the displaced path: right of a right turn the way is shorter.
        heading = heading + np.arctan2(slope, 1.0 - curvature * aside)
        return centre - self.scenario.boom_behind_m * _ahead(heading), heading

    def antenna(self, times_s: FloatArray) -> FloatArray:
        """Give the true place of the antenna, shape (n, 2) [m]."""
        centre, heading = self.pose(times_s)
        scenario = self.scenario
        return centre + scenario.antenna_ahead_m * _ahead(heading) + scenario.antenna_right_m * _right(heading)

    def tips(self, times_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Left and right tip of the boom, each of shape (n, 2) [m]."""
        centre, heading = self.pose(times_s)
        half = self.scenario.width_m / 2 * _right(heading)
        return centre - half, centre + half


@dataclass(frozen=True)
class SimulatedJob:
    """One simulated job. Arrays have shape (n,) or (n, 2), one row per logged fix.

    ``on_intervals`` are (on_s, off_s), in order and apart, so each is one stretch;
    ``stretch_label`` ("headland" or "straight") and ``stretch_pass`` (0 = none) go with them.
    ``true_sweeps`` are (left tips, right tips) per stretch along the true path.
    ``label`` of each fix is headland, straight, turn, transport or standing.
    """

    path: TruePath
    times_s: FloatArray
    boom_m: FloatArray
    heading_deg: FloatArray
    antenna_m: FloatArray
    logged_m: FloatArray
    label: tuple[str, ...]
    pass_number: IntArray
    on_intervals: tuple[tuple[float, float], ...]
    stretch_label: tuple[str, ...]
    stretch_pass: tuple[int, ...]
    true_sweeps: tuple[tuple[FloatArray, FloatArray], ...]

    @property
    def scenario(self) -> Scenario:
        """What the job was simulated from."""
        return self.path.scenario


def simulate(scenario: Scenario, route: Route | None = None) -> SimulatedJob:
    """Drive the job and log it; along *route* when one is given, else as the scenario plans it.

    Raises
    ------
    ValueError
        The field does not suit the boom, the headland or the turning radius.
    """
    route = route or plan_route(scenario)
    sprays = _switched(scenario, route.sprays)
    times, distances, stands = _timetable(scenario, route)
    path = TruePath(scenario, route, times, distances, _wander(scenario, route))
    stretches = [
        (on, off, spray.label, spray.pass_number)
        for spray in sprays
        for on, off in without([(_when(path, spray.on_m), _when(path, spray.off_m))], stands)
    ]
    fixes = scenario.start_s + np.arange(math.floor((times[-1] - times[0]) * scenario.hz + 1e-9) + 1) / scenario.hz
    centre, heading = path.pose(fixes)
    antenna = path.antenna(fixes)
    legs = route.leg_at(np.interp(fixes, times, distances))
    label = np.array([leg.label for leg in route.legs], dtype="U9")[legs]
    for start, end in stands:
        label[(fixes >= start) & (fixes < end)] = "standing"
    return SimulatedJob(
        path=path,
        times_s=fixes,
        boom_m=centre,
        heading_deg=np.degrees(heading) % 360.0,
        antenna_m=antenna,
        logged_m=antenna + _receiver_error(scenario, len(fixes)),
        label=tuple(label.tolist()),
        pass_number=np.array([leg.pass_number for leg in route.legs], dtype=np.int64)[legs],
        on_intervals=tuple((on, off) for on, off, _, _ in stretches),
        stretch_label=tuple(name for _, _, name, _ in stretches),
        stretch_pass=tuple(number for _, _, _, number in stretches),
        true_sweeps=tuple(path.tips(_fine_times(on, off)) for on, off, _, _ in stretches),
    )


def benchmark_scenario(hectares: float = 12.4, hz: float = 10.0, seed: int = 12) -> Scenario:
    """Hand-steered job of two continuous headland laps and about 45 passes of a 9 m boom.

    At 12.4 ha and 10 Hz it has about 53 000 fixes with 2 cm of white noise.

    Parameters
    ----------
    hectares : float
        Size of the field; its shape stays the same. [ha]
    hz : float
        Fixes a second. [1/s]
    """
    shape = shapely.Polygon(BENCHMARK_M)
    scale = math.sqrt(hectares * 10_000.0 / shape.area)
    return Scenario(
        field=shapely.transform(shape, lambda xy: xy * scale),
        heading_deg=-1.5,
        headland_laps=2.0,
        speed_m_s=2.89,
        turning_radius_m=4.5,
        hz=hz,
        steering=HAND,
        gnss=GnssError(white_m=0.02),
        seed=seed,
    )


def gauss_markov(count: int, sd: float, step: float, memory: float, rng: np.random.Generator) -> FloatArray:
    """First-order Gauss-Markov sequence, stationary from its first value, shape (count,).

    Parameters
    ----------
    sd : float
        Standard deviation of every value.
    step, memory : float
        Distance between values and the distance over which the correlation falls to 1/e, in
        the same unit of time or length.
    """
    keep = math.exp(-step / memory)
    fresh = rng.standard_normal(count) * sd
    fresh[1:] *= math.sqrt(1.0 - keep * keep)
    return np.array(list(accumulate(fresh.tolist(), lambda old, new: keep * old + new)))


def _ahead(heading_rad: FloatArray) -> FloatArray:
    return np.column_stack((np.sin(heading_rad), np.cos(heading_rad)))


def _right(heading_rad: FloatArray) -> FloatArray:
    return np.column_stack((np.cos(heading_rad), -np.sin(heading_rad)))


def _rng(scenario: Scenario, purpose: int) -> np.random.Generator:
    """One stream of chance per purpose, so that a change to one leaves the others alone."""
    return np.random.default_rng([scenario.seed, purpose])


def _wander(scenario: Scenario, route: Route) -> FloatArray:
    """Cross-track error every wander step along the route, positive to the right [m]."""
    steering, step = scenario.steering, WANDER_STEP_M
    reach = math.ceil(4 * steering.smooth_m / step)
    count = math.ceil(route.starts_m[-1] / step) + 2
    raw = gauss_markov(count + 2 * reach, 1.0, step, steering.length_m, _rng(scenario, 0))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / steering.smooth_m) ** 2)
    # Variance left by Gaussian smoothing of an exponential correlation: exp(a^2) erfc(a).
    ratio = steering.smooth_m / steering.length_m
    left = math.sqrt(math.exp(ratio**2) * math.erfc(ratio))
    return np.convolve(raw, kernel / kernel.sum(), mode="valid") * (steering.sd_m / left)


def _smooth_value(values: FloatArray, step: float, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Value and slope at *at* of the cubic Hermite curve through equally spaced values."""
    slopes = np.gradient(values, step)
    index = np.clip((at / step).astype(np.int64), 0, len(values) - 2)
    t = at / step - index
    a, b = values[index], values[index + 1]
    p, q = slopes[index] * step, slopes[index + 1] * step
    cubic, square = 2 * (a - b) + p + q, 3 * (b - a) - 2 * p - q
    return a + t * (p + t * (square + t * cubic)), (p + t * (2 * square + 3 * t * cubic)) / step


def _switched(scenario: Scenario, sprays: tuple[Spray, ...]) -> list[Spray]:
    """Sprays as really switched: habits on every one, faults on the passes that have them."""
    habit, faults, rng = scenario.habit, scenario.faults, _rng(scenario, 1)
    first = {spray.pass_number: spray.on_m for spray in reversed(sprays) if spray.label == "straight"}
    last = {spray.pass_number: spray.off_m for spray in sprays if spray.label == "straight"}
    result = []
    for spray in sprays:
        chance = rng.standard_normal(4) * np.array([habit.sd_m, habit.sd_s * scenario.speed_m_s] * 2)
        late = habit.late_on_m + habit.late_on_s * scenario.speed_m_s + chance[0] + chance[1]
        early = habit.early_off_m + habit.early_off_s * scenario.speed_m_s + chance[2] + chance[3]
        holes = []
        if spray.label == "straight":
            number = spray.pass_number
            early += faults.early_off_m.get(number, 0.0) if spray.off_m == last[number] else 0.0
            if number in faults.forgotten_m:
                start, end = faults.forgotten_m[number]
                holes = [(first[number] + start, first[number] + end)]
        for on, off in without([(spray.on_m + late, spray.off_m - early)], holes):
            behind = scenario.boom_behind_m
            result.append(replace(spray, on_m=on + behind, off_m=off + behind))
    return result


def _timetable(scenario: Scenario, route: Route) -> tuple[FloatArray, FloatArray, list[tuple[float, float]]]:
    """Give times and distances that the job passes, and the spans of time it stands still."""
    slow = scenario.turn_speed_m_s or scenario.speed_m_s
    speeds = [slow if leg.label in {"turn", "transport"} else scenario.speed_m_s for leg in route.legs]
    lengths = np.array([leg.length_m for leg in route.legs])
    distances = route.starts_m
    times = scenario.start_s + np.concatenate(([0.0], np.cumsum(lengths / np.array(speeds))))
    stands = []
    for stop in scenario.stops:
        ends = [m for s in route.sprays if s.pass_number == stop.pass_number for m in (s.on_m, s.off_m)]
        place = ends[0] + stop.share * (ends[-1] - ends[0])
        moment = float(np.interp(place, distances, times))
        after = np.searchsorted(distances, place, side="right")
        times = np.concatenate((times[:after], [moment, moment + stop.seconds], times[after:] + stop.seconds))
        distances = np.concatenate((distances[:after], [place, place], distances[after:]))
        stands.append((moment, moment + stop.seconds))
    return times, distances, stands


def _when(path: TruePath, distance_m: float) -> float:
    """Time at which a distance along the route is reached [s]."""
    return float(np.interp(distance_m, path.distances_m, path.times_s))


def _receiver_error(scenario: Scenario, count: int) -> FloatArray:
    """Error of the logged place, shape (count, 2) [m]."""
    gnss, rng = scenario.gnss, _rng(scenario, 2)
    white = rng.standard_normal((count, 2)) * gnss.white_m
    drift = [gauss_markov(count, gnss.drift_m, 1 / scenario.hz, gnss.drift_time_s, rng) for _ in range(2)]
    return white + np.column_stack(drift)


def _fine_times(on_s: float, off_s: float) -> FloatArray:
    """Moments from on to off, both included, at least the fine rate apart [s]."""
    return np.linspace(on_s, off_s, max(math.ceil((off_s - on_s) * SWEEP_HZ), 1) + 1)
