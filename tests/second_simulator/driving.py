"""The drive itself: laps round the fence, parallel passes, turns between them, stops, and the switch."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter1d

from .drivers import smooth_noise, steering
from .turns import shortest

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from .drivers import Driver, Machine

STEP_M = 0.1
REST_S = 15.0  # standing before the first and after the last metre


@dataclass(frozen=True)
class Drive:
    """What truly happened: pose of the axle over time, and when the boom sprayed.

    ``times_s`` (n,), ``axle_m`` (n, 2), ``heading_rad`` (n,) unwrapped, ``on_s`` (k, 2).
    """

    machine: Machine
    times_s: NDArray[np.float64]
    axle_m: NDArray[np.float64]
    heading_rad: NDArray[np.float64]
    on_s: NDArray[np.float64]

    def pose(self, at_s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Axle (k, 2) and heading (k,) at *at_s* (k,)."""
        axle = np.column_stack([np.interp(at_s, self.times_s, self.axle_m[:, axis]) for axis in (0, 1)])
        return axle, np.interp(at_s, self.times_s, self.heading_rad)

    def ahead(self, at_s: NDArray[np.float64], length_m: float) -> NDArray[np.float64]:
        """Places (k, 2) on the middle line, *length_m* ahead of the axle."""
        axle, heading = self.pose(at_s)
        return axle + length_m * np.column_stack([np.cos(heading), np.sin(heading)])

    def tips(self, at_s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Left and right tips of the boom (k, 2)."""
        centre, (_, heading) = self.ahead(at_s, -self.machine.boom_behind_axle_m), self.pose(at_s)
        half = self.machine.width_m / 2 * np.column_stack([-np.sin(heading), np.cos(heading)])
        return centre + half, centre - half


@dataclass
class Recorder:
    """Grows the drive leg by leg; the only thing here that changes."""

    rng: Generator
    machine: Machine
    driver: Driver
    now_s: float = 0.0
    times: list[NDArray] = field(default_factory=list)
    poses: list[NDArray] = field(default_factory=list)
    on_s: list[tuple[float, float]] = field(default_factory=list)

    def timing(self, length_m: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Even way [m] along a leg of *length_m*, and when each place of it is reached [s]."""
        along = np.arange(0, length_m + STEP_M / 2, STEP_M)
        pace = self.machine.speed_m_s * np.exp(0.05 * smooth_noise(self.rng, along, 40.0))
        return along, self.now_s + np.concatenate([[0.0], np.cumsum(STEP_M / pace[:-1])])

    def turn_s(self, place_m: NDArray[np.float64], heading_rad: float) -> float:
        """How long the turn to a pose takes from here; the rest before the first metre when nothing was driven yet."""
        return (
            STEP_M / (0.75 * self.machine.speed_m_s) * (len(self._way(place_m, heading_rad)) + 1)
            if self.poses
            else REST_S
        )

    def _way(self, place_m: NDArray[np.float64], heading_rad: float) -> NDArray[np.float64]:
        end = np.array([*place_m, heading_rad])
        return shortest(self.poses[-1][-1], end, self.machine.radius_m, STEP_M)[1:]

    def drive_to(self, leg_m: NDArray[np.float64], times_s: NDArray[np.float64], stop_s: float = 0.0) -> float:
        """Turn to the start of *leg_m* (n, 2), timed (n,) as if it began now, and drive it; give its delay. [s]"""
        heading = np.unwrap(np.arctan2(*np.gradient(leg_m, axis=0).T[::-1]))
        start = np.array([[*leg_m[0], heading[0]]])
        turned = self.turn_s(leg_m[0], heading[0])
        if self.poses:
            way = self._way(leg_m[0], heading[0])
            self._add(self.now_s + (turned / (len(way) + 1)) * np.arange(1, len(way) + 1), way)
        else:
            self._add(np.array([self.now_s]), start)
        if stop_s:
            self._add(np.array([self.now_s + turned, self.now_s + turned + stop_s]), np.vstack([start, start]))
        delay = turned + stop_s
        self._add(times_s + delay + 1e-3, np.column_stack([leg_m, heading]))
        self.now_s = float(times_s[-1] + delay + 1e-3)
        return delay

    def _add(self, times_s: NDArray[np.float64], poses: NDArray[np.float64]) -> None:
        if len(times_s):
            self.times.append(times_s)
            self.poses.append(poses)

    def switch(self, on_s: float, off_s: float) -> None:
        """Spray from *on_s* to *off_s*, with the lateness and scatter of the hand on the switch."""
        late = self.driver.late_s + self.rng.normal(0, self.driver.scatter_s, 2)
        if off_s + late[1] > on_s + late[0] + 0.2:
            self.on_s.append((on_s + late[0], off_s + late[1]))

    def finish(self) -> Drive:
        """The whole drive; on-times that would touch are kept apart by a tenth of a second."""
        times, poses = np.concatenate(self.times), np.concatenate(self.poses)
        times, poses = np.append(times, times[-1] + REST_S), np.vstack([poses, poses[-1:]])
        on = np.array(sorted(self.on_s))
        on[1:, 0] = np.maximum(on[1:, 0], on[:-1, 1] + 0.1)
        on = np.clip(on, times[0], times[-1])
        return Drive(self.machine, times, poses[:, :2], np.unwrap(poses[:, 2]), on[on[:, 1] > on[:, 0] + 0.1])


def swing(recorder: Recorder, times_s: NDArray[np.float64], along_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sideways swing of the steering along one leg. [m]"""
    return steering(recorder.rng, recorder.driver, times_s, along_m)


def bends(edge_m: NDArray[np.float64], along_m: NDArray[np.float64]) -> tuple[NDArray, NDArray]:
    """Best straight line through an edge, and its bends as the eye sees them: smoothed over some 6 m."""
    line = np.polynomial.Polynomial.fit(along_m, edge_m, 1)(along_m) if len(edge_m) > 2 else edge_m
    return line, gaussian_filter1d(edge_m - line, 3.0 / STEP_M)
