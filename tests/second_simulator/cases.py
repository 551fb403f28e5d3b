"""One job to be judged: who drove what with which receiver, drawn from its class, steering, stress and seed alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .drivers import Driver, Machine, draw_driver, draw_machine, steady_driver, unplaced_machine
from .fields import Field, draw_field
from .plans import Guidance, drive_field
from .receivers import CLASSES, GGA_QUALITY, Receiver, Wander, draw_receiver, wander, with_statements
from .truth import Truth, count_ground

if TYPE_CHECKING:
    from numpy.random import Generator

    from .driving import Drive

NO_STRESS = "all"
STRESSES = (
    "tc150", "tc2000", "steps", "oscillating", "edge-following", "limit-cycle", "blunders", "sigma-half",
    "sigma-double", "wrong-fix", "float", "assume", "no-error", "unplaced",
)  # fmt: skip
LOGGED_S = 9000.0  # errors are drawn for this long; no drive of 3 ha lasts longer
CLASS_NUMBER = {name: number for number, name in enumerate(("autonomous", "sbas", "rtk"))}


@dataclass(frozen=True)
class Case:
    """What a job is drawn from. *stress* "all" is the judge proper: everything a season brings, in its shares."""

    receiver: str
    steering: str
    seed: int
    hz: int = 1
    stress: str = NO_STRESS

    @property
    def name(self) -> str:
        """Folder of the job, below that of all jobs."""
        return f"{self.stress}/{self.receiver}-{self.steering}-{self.hz}hz/{self.seed:05d}"

    def rng(self) -> Generator:
        """Random numbers of the job: the same for every rate of logging."""
        return np.random.default_rng([self.seed, CLASS_NUMBER[self.receiver], self.steering == "guided"])


@dataclass(frozen=True)
class Played:
    """A job as it happened, and what its job file states of the receiver (None: nothing)."""

    case: Case
    field: Field
    machine: Machine
    driver: Driver
    receiver: Receiver
    wander: Wander
    drive: Drive
    truth: Truth
    stated_sigma_m: float | None


def play(case: Case) -> Played:
    """Let *case* happen."""
    rng = case.rng()
    guided = case.steering == "guided"
    machine = draw_machine(rng)
    field = draw_field(rng, machine.width_m)
    if case.stress in (NO_STRESS, "assume", "no-error", "unplaced"):
        driver, receiver, stated = draw_driver(rng, guided=guided), draw_receiver(rng, case.receiver), None
        if case.stress == "no-error":  # what the audit itself errs by
            receiver = Receiver("none", receiver.quality, (), (0.0, 1.0), 0.0)
        if case.stress == "unplaced":  # the job file says nothing of the antenna's place, nor of the axle's
            machine, driver = unplaced_machine(rng, machine), replace(driver, late_s=float(rng.uniform(-0.3, 0.8)))
    else:
        driver = _stressed_driver(rng, case.stress)
        receiver, stated = _stressed_receiver(rng, case)
    errors = wander(rng, receiver, LOGGED_S)
    drive = drive_field(rng, field, machine, driver, Guidance(errors) if guided else None)
    truth = count_ground(drive, field.target)
    return Played(case, field, machine, driver, receiver, errors, drive, truth, stated)


def _stressed_driver(rng: Generator, stress: str) -> Driver:
    driver = steady_driver(rng)
    if stress == "edge-following":
        aims = {"pass_error_m": float(rng.uniform(0.05, 0.18)), "bend_share": float(rng.uniform(0.2, 0.8))}
        return replace(driver, edge_following=True, **aims)
    if stress == "limit-cycle":
        return replace(driver, cycle_m=float(rng.uniform(0.05, 0.20)), cycle_s=float(rng.uniform(8, 20)))
    if stress == "blunders":
        return replace(driver, blunder_m=float(rng.choice([-1, 1]) * rng.uniform(0.6, 1.0)))
    return driver


def _stressed_receiver(rng: Generator, case: Case) -> tuple[Receiver, float | None]:
    """Make a plain receiver (600 s, centre of its class) but for the one stress; with the sigma stated, if any."""
    name = "float" if case.stress == "float" else case.receiver
    figures = CLASSES[name]
    slow, constant = figures.slow_m, {"tc150": 150.0, "tc2000": 2000.0}.get(case.stress, 600.0)
    plain = Receiver(case.stress, GGA_QUALITY[name], ((slow, constant),), (figures.short_m, 3.0), figures.white_m)
    if case.stress == "steps":
        plain = replace(plain, steps_per_h=8.0, step_m=figures.step_m)
    if case.stress == "oscillating":
        tones = tuple((0.25 * slow * float(rng.uniform(0.3, 1.0)), float(rng.uniform(40, 130))) for _ in range(2))
        plain = replace(plain, slow=(), offset_m=slow, walk_m_rt_s=0.8 * slow / np.sqrt(600), tones=tones)
    if case.stress == "wrong-fix":
        plain = replace(plain, wrong_fix_m=float(rng.uniform(0.2, 1.0)))
    stated = {"sigma-half": 0.5, "sigma-double": 2.0}.get(case.stress)
    return with_statements(rng, plain), None if stated is None else stated * slow
