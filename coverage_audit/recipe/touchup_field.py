"""The touch-up plan's choice: every mode of every strip in a network of ways, and the cheapest order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.touchup import tolerances as tol
from coverage_audit.touchup.model import METHODS, Leg, Stop
from coverage_audit.touchup.order import Choice, cheapest
from coverage_audit.touchup.rules import conflict
from coverage_audit.touchup.ways import StripEnd, build_network, hub_poses, shortest_ways, way_parts

from . import tolerances as tol_recipe

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.touchup.model import Dates, Limit, Option, Terms
    from coverage_audit.touchup.ways import DrivingGround, Network, Ways

    from .result import Audit


@dataclass(frozen=True)
class Setting:
    """All that is fixed before any option is looked at."""

    audit: Audit
    terms: Terms
    limits: tuple[Limit, ...]
    dates: Dates
    ground: DrivingGround
    tracks: BaseGeometry
    start: tuple[float, float]
    way_cost_m: float


def usable(option: Option) -> bool:
    """Whether *option* can be done and breaks no limit."""
    return option.possible and option.allowed


@dataclass(frozen=True)
class Mode:
    """One way to treat one strip: ends (entry, exit) of the ways driven, in order."""

    strip: str
    method: str
    ends: tuple[tuple[int, int], ...]
    lines: tuple[FloatArray, ...]


@dataclass(frozen=True)
class PlanField:
    """The network with every mode of every strip, and the costs of choosing among them."""

    strips: tuple[str, ...]
    modes: tuple[Mode, ...]
    options: dict[str, tuple[Option, Option, Option]]
    network: Network
    ways: Ways
    lines: dict[tuple[int, int], FloatArray]
    choice: Choice


def lay_out_ways(setting: Setting, options: dict[str, tuple[Option, Option, Option]]) -> PlanField:
    """Network over every mode of *options* (by strip), and the costs of choosing among them."""
    ends: list[StripEnd] = []
    along: list[tuple[int, int, float]] = []
    lines: dict[tuple[int, int], FloatArray] = {}
    modes = []
    for name, choices in options.items():
        for option in choices[1:]:
            if usable(option):
                modes += _modes(setting, name, option, ends, along, lines)
    radius = setting.terms.turning_radius_m
    hubs = hub_poses(setting.ground, setting.audit.layers.passes, radius)
    network = build_network(setting.ground, ends, along, hubs, setting.start, radius)
    exits = sorted({exit_ for mode in modes for _, exit_ in mode.ends})
    ways = shortest_ways(network, [network.start, *exits])
    return PlanField(
        tuple(options),
        tuple(modes),
        options,
        network,
        ways,
        lines,
        _choice(setting, options, modes, ways, network.start),
    )


def _modes(
    setting: Setting,
    name: str,
    option: Option,
    ends: list[StripEnd],
    along: list[tuple[int, int, float]],
    lines: dict[tuple[int, int], FloatArray],
) -> list[Mode]:
    """Modes of *option*: its ways in order and backwards, each first driven one way or the other."""
    pairs = []
    for way in option.ways:
        both = []
        for line in (way.line, way.line[::-1]):
            entry, exit_ = _strip_ends(setting, line)
            ends += [entry, exit_]
            number = (len(ends) - 2, len(ends) - 1)
            along.append((*number, way.length_m))
            lines[number] = line
            both.append((number, line))
        pairs.append(both)
    modes = []
    for order in (pairs,) if len(pairs) == 1 else (pairs, pairs[::-1]):
        for first in (0, 1):
            # neighbouring ways are driven to and fro
            taken = [both[(first + k) % 2] for k, both in enumerate(order)]
            modes.append(Mode(name, option.method, tuple(end for end, _ in taken), tuple(line for _, line in taken)))
    return modes


def _strip_ends(setting: Setting, line: FloatArray) -> tuple[StripEnd, StripEnd]:
    """Entry and exit of *line*, with how far the vehicle may have to back up there."""
    result = []
    for entry in (True, False):
        tip, inner = (line[0], line[1]) if entry else (line[-1], line[-2])
        toward = (inner - tip) / np.hypot(*(inner - tip))
        heading = math.atan2(*toward) if entry else math.atan2(*-toward)
        steps = np.arange(0.0, 4 * setting.terms.turning_radius_m + 4 * tol.CLEARANCE_M, tol.WAY_SAMPLE_M / 2)
        clear = setting.ground.look_up(setting.ground.clear, tip + steps[:, None] * toward)
        backs: tuple[float, ...] = ()
        if clear.any():
            free = float(steps[np.argmax(clear)])
            ways = [free + share * setting.terms.turning_radius_m for share in tol_recipe.BACK_RADII]
            backs = tuple(way for way in ways if _may_back(setting, tip, toward, way))
        result.append(StripEnd((float(tip[0]), float(tip[1]), heading), entry, backs))
    return result[0], result[1]


def _may_back(setting: Setting, tip: FloatArray, toward: FloatArray, way: float) -> bool:
    """Whether the straight way of *way* metres into the field is free."""
    steps = np.arange(0.0, way + tol.WAY_SAMPLE_M, tol.WAY_SAMPLE_M / 2).clip(max=way)
    points = tip + steps[:, None] * toward
    inside = shapely.intersects_xy(shapely.buffer(setting.ground.inside, 1e-6), points[:, 0], points[:, 1])
    return bool(inside.all() and setting.ground.look_up(setting.ground.clear, points[-1:])[0])


def _choice(
    setting: Setting,
    options: dict[str, tuple[Option, Option, Option]],
    modes: list[Mode],
    ways: Ways,
    start: int,
) -> Choice:
    """Costs of all modes, in the person's money."""
    names = list(options)
    entry = np.array([mode.ends[0][0] for mode in modes], dtype=int)
    exits = [ways.row[mode.ends[-1][1]] for mode in modes]
    own = []
    for mode in modes:
        option = options[mode.strip][METHODS.index(mode.method)]
        inner = sum(ways.cost[ways.row[a[1]], b[0]] for a, b in pairwise(mode.ends))
        own.append(option.own_cost + float(inner) * setting.way_cost_m)
    with np.errstate(invalid="ignore"):
        first = ways.cost[ways.row[start]][entry]
        between = ways.cost[exits][:, entry] if modes else np.zeros((0, 0))
    return Choice(
        strip=np.array([names.index(mode.strip) for mode in modes], dtype=int),
        first=_priced(first, setting.way_cost_m),
        between=_priced(between, setting.way_cost_m),
        own=np.nan_to_num(np.array(own), nan=np.inf, posinf=np.inf),
        leave=np.array([options[name][0].own_cost for name in names]),
    )


def _priced(ways_m: FloatArray, per_m: float) -> FloatArray:
    """What ways cost; where there is no way, no price buys one, though driving be free."""
    return np.where(np.isinf(ways_m), np.inf, np.where(np.isinf(ways_m), 0.0, ways_m) * per_m)


def least_cost(setting: Setting, field: PlanField) -> tuple[tuple[int, ...], bool]:
    """Cheapest order of modes that keeps to every limit where passes overlap, and whether that is proven.

    Passes that together break a limit are branched on: one of them has to go.
    """
    best: tuple[float, tuple[int, ...]] = (math.inf, ())
    exact = True
    waiting: list[frozenset[int]] = [frozenset()]
    tried = 0
    while waiting and tried < tol_recipe.BRANCHES:
        banned = waiting.pop()
        tried += 1
        order, proven = _cheapest(field.choice, banned)
        exact &= proven
        cost = field.choice.cost(order)
        if cost >= best[0]:
            continue
        taken = [option_of(field, mode) for mode in order]
        clash = conflict(
            taken,
            setting.audit.layers.by_visits,
            setting.terms,
            setting.limits,
            same_day=setting.dates.same_day,
        )
        if not clash:
            best = (cost, order)
        waiting += [banned | _same_option(field, order[number]) for number in clash]
    setup = setting.terms.labour_s * setting.terms.setup_s
    stay = float(field.choice.leave.sum())
    if not best[1] or best[0] + setup >= stay * (1 - tol_recipe.TIE_SHARE):
        return (), exact and not waiting
    return best[1], exact and not waiting


def _cheapest(choice: Choice, banned: frozenset[int]) -> tuple[tuple[int, ...], bool]:
    """Cheapest order without the *banned* modes, and whether it is proven.

    A strip that costs more to treat than to leave even without the way there is left out: as ways
    keep to the triangle inequality, going by it never saves anything.
    """
    own = choice.own.copy()
    own[list(banned)] = np.inf
    pays = (own < choice.leave[choice.strip]) & np.isfinite(choice.first) if len(own) else np.zeros(0, bool)
    modes = np.flatnonzero(pays)
    strips, number = np.unique(choice.strip[modes], return_inverse=True)
    part = Choice(
        strip=number,
        first=choice.first[modes],
        between=choice.between[np.ix_(modes, modes)],
        own=own[modes],
        leave=choice.leave[strips],
    )
    order, proven = cheapest(part)
    return tuple(int(modes[k]) for k in order), proven


def _same_option(field: PlanField, mode: int) -> frozenset[int]:
    same = field.modes[mode]
    return frozenset(k for k, one in enumerate(field.modes) if (one.strip, one.method) == (same.strip, same.method))


def option_of(field: PlanField, mode: int) -> Option:
    """Option that a mode drives."""
    one = field.modes[mode]
    return field.options[one.strip][METHODS.index(one.method)]


def way_cost_of(field: PlanField, order: tuple[int, ...], strip: str, method: str) -> float:
    """What the way adds when *strip* is fitted into the order of the others at its cheapest place."""
    others = [mode for mode in order if field.modes[mode].strip != strip]
    choice, best = field.choice, math.inf
    for mode, one in enumerate(field.modes):
        if (one.strip, one.method) != (strip, method):
            continue
        inner = choice.own[mode] - option_of(field, mode).own_cost
        for place in range(len(others) + 1):
            before = choice.between[others[place - 1]] if place else choice.first
            added = float(before[mode])
            if place < len(others):
                added += float(choice.between[mode, others[place]] - before[others[place]])
            best = min(best, added + float(inner))
    return best


def _swath_parts(option: Option, line: FloatArray) -> int:
    """How many separate pieces of ground the way along *line* sprays: the boom is off between them."""
    for way, swath in zip(option.ways, option.swaths, strict=False):
        if np.array_equal(way.line, line) or np.array_equal(way.line, line[::-1]):
            return max(int((shapely.area(shapely.get_parts(swath)) > tol_recipe.LEAST_WALK_M2).sum()), 1)
    return 1


def driven_legs(field: PlanField, order: tuple[int, ...]) -> tuple[tuple[Leg, ...], tuple[Stop, ...]]:
    """The way as driven, and the stops on it."""
    legs: list[Leg] = []
    stops = []
    here = field.network.start
    for mode in (field.modes[number] for number in order):
        option = field.options[mode.strip][METHODS.index(mode.method)]
        for (entry, exit_), line in zip(mode.ends, mode.lines, strict=True):
            for kind, points in way_parts(field.network, field.ways, here, entry):
                through = field.lines if kind == "strip" else {}
                legs.append(Leg("drive" if kind == "strip" else kind, _through(through, points)))
            legs.append(Leg("work", line, mode.strip))
            step = line[1] - line[0]
            length = float(shapely.LineString(line).length)
            stops.append(
                Stop(
                    mode.strip,
                    mode.method,
                    (float(line[0, 0]), float(line[0, 1])),
                    (float(line[-1, 0]), float(line[-1, 1])),
                    length,
                    math.atan2(step[0], step[1]),
                    option.sections,
                    _swath_parts(option, line),
                )
            )
            here = exit_
    return tuple(leg for leg in legs if len(leg.points) > 1), tuple(stops)


def _through(lines: dict[tuple[int, int], FloatArray], points: FloatArray) -> FloatArray:
    """The line of a strip driven along without treating it; other ways as they are."""
    for line in lines.values():
        if np.allclose(line[0], points[0]) and np.allclose(line[-1], points[-1]):
            return line
    return points
