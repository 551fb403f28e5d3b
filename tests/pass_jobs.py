"""Simulated jobs for the tests of passes, steering, assumed boom state and comparing; truth at every fix."""

import dataclasses
import math

import numpy as np
import shapely
from jobs import boom, job, log
from simulator.jobs import GUIDED, HAND, GnssError, Scenario, SwitchHabit, benchmark_scenario, simulate
from simulator.route import Pose, RouteBuilder

from coverage_audit.passes.model import Fixed
from coverage_audit.passes.way import white_noise_m
from coverage_audit.recipe.audit import audit_job

WIDTH_M = 9.0
LEAST_MARGIN_M = 1.0
"""Metres within one fix step plus this of a true change are not scored (the issue's own rule). [m]"""


def curved_job(hz, noise_m, seed=1):
    """Twelve concentric passes of 150 to 250 m radius, 60 degrees each, driven to and fro."""
    radius = [150.0 + WIDTH_M * k for k in range(12)]
    arc = math.radians(60)

    def pose(r, end):
        angle = -arc / 2 + (arc if end else 0.0)
        heading = angle + math.pi / 2  # clockwise from north, driven clockwise about the origin
        return Pose(r * math.sin(angle), r * math.cos(angle), heading)

    builder = RouteBuilder(pose(radius[0], end=False))
    for k, r in enumerate(radius):
        forward = k % 2 == 0
        if k:
            goal = pose(r, end=not forward)
            turned = goal if forward else dataclasses.replace(goal, heading_rad=goal.heading_rad + math.pi)
            builder.drive_to(turned, 4.0, "turn")
        start = builder.distance_m
        builder.drive((1 if forward else -1) / r, r * arc, "straight", k + 1)
        builder.spray(start, builder.distance_m, "straight", k + 1)
    field = shapely.Polygon(
        [(r * math.sin(a), r * math.cos(a)) for r in (145.5,) for a in np.linspace(-arc / 2, arc / 2, 40)]
        + [(r * math.sin(a), r * math.cos(a)) for r in (253.5,) for a in np.linspace(arc / 2, -arc / 2, 40)]
    )
    scenario = Scenario(field, hz=hz, gnss=GnssError(white_m=noise_m), steering=GUIDED, headland_laps=0, seed=seed)
    return scenario, simulate(scenario, builder.route())


def two_block_job(hz, noise_m, seed=1):
    """Two blocks beside each other, one driven at 0 degrees, the other at 60, ten passes each."""
    builder = RouteBuilder(Pose(4.5, 0.0, 0.0))
    number = 0
    for block, (x0, y0, heading, length) in enumerate(((4.5, 0.0, 0.0, 160.0), (120.0, 20.0, math.radians(60), 140.0))):
        for k in range(10):
            forward = k % 2 == 0
            right = (math.cos(heading), -math.sin(heading))
            ahead = (math.sin(heading), math.cos(heading))
            away = 0.0 if forward else length
            start = Pose(
                x0 + WIDTH_M * k * right[0] + away * ahead[0],
                y0 + WIDTH_M * k * right[1] + away * ahead[1],
                heading if forward else heading + math.pi,
            )
            if number:
                builder.drive_to(start, 4.0, "turn" if k else "transport")
            number += 1
            begin = builder.distance_m
            builder.drive(0.0, length, "straight", number)
            builder.spray(begin, builder.distance_m, "straight", number)
        assert block in (0, 1)
    field = shapely.MultiPoint(_route_points(builder.route())).convex_hull.buffer(5)
    scenario = Scenario(field, hz=hz, gnss=GnssError(white_m=noise_m), steering=GUIDED, headland_laps=0, seed=seed)
    return scenario, simulate(scenario, builder.route())


def _route_points(route):
    x, y, _, _ = route.at(np.arange(0.0, route.starts_m[-1], 5.0))
    return np.column_stack([x, y])


def field_job(hz, noise_m, *, hectares=5.0, **changes):
    """Job on the benchmark's five-cornered field."""
    scenario = dataclasses.replace(
        benchmark_scenario(hectares=hectares, hz=hz), gnss=GnssError(white_m=noise_m), **changes
    )
    return scenario, simulate(scenario)


def fixed_of(one, *, on=True):
    """What the diary is kept from: logged places, and the boom state when *on*."""
    time, place = one.times_s, one.logged_m
    state = np.searchsorted(np.array(one.on_intervals).ravel(), time, side="right") % 2 == 1 if on else None
    return Fixed(time, place[:, 0], place[:, 1], white_noise_m(time, place[:, 0], place[:, 1]), state)


def labelled_right(one, diary):
    """Share of the metres of passes (headland and straight), and of all metres, that are labelled right."""
    time, truth = one.times_s, np.array(one.label)
    told = np.full(len(time), "none", dtype="U9")
    for span in (*diary.spans, *diary.within):
        told[(time >= span.start_s) & (time <= span.end_s)] = span.kind
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(one.boom_m, axis=0).T))])
    step = np.gradient(along)
    change = np.flatnonzero(truth[1:] != truth[:-1])
    places = (along[change] + along[change + 1]) / 2
    steps = np.diff(along)
    margin = LEAST_MARGIN_M + float(np.median(steps[steps > 0]))
    scored = np.abs(along[:, None] - places).min(axis=1) > margin
    passes = scored & np.isin(truth, ["headland", "straight"])
    right = told == truth
    return float(step[passes & right].sum() / step[passes].sum()), float(
        step[scored & right].sum() / step[scored].sum()
    )


def audited(scenario, one, *, places=None, intervals="csv", **more):
    """Audit of the simulated job, from its logged places or from *places*."""
    given = one.on_intervals if intervals == "csv" else ()
    where = one.logged_m if places is None else places
    settings = boom(scenario.width_m, intervals=intervals)
    return audit_job(job(log(one.times_s, where), given, scenario.field, boom=settings, **more))


def assumed_trial(seed):
    """One job with real switching habits, its boom state assumed: what was found, and the truth.

    Returns the share of the true on-time found, the share of the proposed on-time that is false, and
    (low, truth, high) of the missed and double areas over the target.
    """
    rng = np.random.default_rng([seed, 77])
    hz = float(rng.choice([1, 5, 10]))
    scenario = dataclasses.replace(
        benchmark_scenario(hectares=float(rng.uniform(3, 8)), hz=hz, seed=seed),
        steering=[HAND, GUIDED][seed % 2],
        heading_deg=float(rng.choice([-1.5, 12, 25, 88.5])),
        headland_laps=float(rng.choice([1, 2])),
        speed_m_s=float(rng.uniform(1.8, 3.2)),
        gnss=GnssError(white_m=min(float(rng.choice([0.03, 0.1, 0.3])), 0.3 if hz == 1 else 0.1)),
        habit=SwitchHabit(
            late_on_s=float(rng.uniform(-0.2, 0.9)), early_off_s=float(rng.uniform(-0.2, 0.9)), sd_s=0.25
        ),
    )
    one = simulate(scenario)
    found = audited(scenario, one, intervals="assume")
    fine = np.arange(one.times_s[0], one.times_s[-1], 0.1)
    real = job(log(fine, one.path.antenna(fine)), one.on_intervals, scenario.field, boom=boom(scenario.width_m))
    truth = audit_job(real).area_m2
    on = np.searchsorted(np.array(one.on_intervals).ravel(), fine, side="right") % 2 == 1
    first = found.start_s - one.times_s[0]
    mine = np.searchsorted(found.assumed.on_off_s.ravel() - first, fine, side="right") % 2 == 1
    ranges = found.assumed.ranges
    areas = {
        name: tuple(m2 / truth.target for m2 in (ranges[name].low, getattr(truth, name), ranges[name].high))
        for name in ("missed", "double")
    }
    return float((on & mine).sum() / on.sum()), float((mine & ~on).sum() / mine.sum()), areas
