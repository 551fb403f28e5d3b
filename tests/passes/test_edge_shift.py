"""An outline that is off by one shift is told from the headland laps, and never moved."""

import dataclasses

import numpy as np
import pytest
import shapely
from pass_jobs import audited, field_job
from shapely import affinity

from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.passes.edge_shift import Samples, find_shift, sample_lap


def told(scenario, one, east_m=0.0, north_m=0.0, **more):
    moved = dataclasses.replace(scenario, field=affinity.translate(scenario.field, east_m, north_m))
    audit = audited(moved, one, **more)
    return [dict(one.values) for one in audit.cautions if one.code == "outline shifted"], audit


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("east_m", "north_m"), [(3.0, -2.0), (-1.5, 1.0), (0.0, 5.0)])
def test_a_shifted_outline_is_told_by_how_much_and_where_to(seed, east_m, north_m):
    scenario, one = field_job(1.0, 0.02, seed=seed)
    (found,), _ = told(scenario, one, east_m, north_m)
    heading = np.radians(found["heading_deg"])
    off = np.hypot(found["shift_m"] * np.sin(heading) - east_m, found["shift_m"] * np.cos(heading) - north_m)
    assert off < max(3 * found["error_m"], 0.25)  # m; steering swings by 0.2 m about the lap


@pytest.mark.parametrize("seed", range(1, 7))
def test_an_outline_that_is_right_is_not_told_of(seed):
    scenario, one = field_job(1.0, 0.02, seed=seed)
    found, _ = told(scenario, one)
    assert found == []


def test_the_sentence_and_the_figures():
    scenario, one = field_job(1.0, 0.02, seed=1)
    _, right = told(scenario, one)
    _, audit = told(scenario, one, 3.0, 0.0)
    (sentence,) = [text for text in caution_texts(audit) if text.startswith("The outline lies")]
    assert "to the east of where the headland laps run" in sentence
    assert "It was not moved." in sentence
    assert audit.area_m2.field == pytest.approx(right.area_m2.field, rel=1e-6)
    assert (
        audit.area_m2.missed > right.area_m2.missed + 400
    )  # 3 m along 170 m of the eastern side, of which some was sprayed


SIDES = (
    [(x, 4.5) for x in range(5, 196)],
    [(195.5, y) for y in range(5, 96)],
    [(x, 95.5) for x in range(195, 4, -1)],
    [(4.5, y) for y in range(95, 4, -1)],
)
LAP = np.array([point for side in SIDES for point in side], float)
"""Once round a field of 200 x 100 m with a boom of 9 m, to the edge."""


def test_gaps_along_the_lap_are_those_of_the_shift():
    field = shapely.box(2, -1, 202, 99)  # shifted by (2, -1)
    samples = sample_lap(LAP[:, 0], LAP[:, 1], field, 9.0)
    assert samples.gap_m == pytest.approx(samples.normal @ (2.0, -1.0), abs=1e-9)
    found = find_shift(samples, 1.0)
    assert (found.east_m, found.north_m) == pytest.approx((2.0, -1.0), abs=1e-6)
    assert find_shift(samples, 3.0) is None


def test_the_turn_of_the_outline_does_not_matter():
    for ring in (shapely.box(2, -1, 202, 99), shapely.box(2, -1, 202, 99).reverse()):
        found = find_shift(sample_lap(LAP[:, 0], LAP[:, 1], ring, 9.0), 1.0)
        assert (found.east_m, found.north_m) == pytest.approx((2.0, -1.0), abs=1e-6)


def test_what_a_driver_leaves_all_round_is_no_shift():
    samples = sample_lap(LAP[:, 0], LAP[:, 1], shapely.box(-3, -3, 203, 103), 9.0)
    assert samples.gap_m == pytest.approx(np.full(len(samples.gap_m), 3.0))
    assert find_shift(samples, 1.0) is None


def test_a_lap_along_two_sides_tells_of_one_direction_only_and_so_nothing():
    part = np.vstack([LAP[:191], LAP[282:473]])  # south and north
    samples = sample_lap(part[:, 0], part[:, 1], shapely.box(2, -1, 202, 99), 9.0)
    east_west = np.abs(samples.normal[:, 0]) > 0.5
    only = Samples(samples.gap_m[~east_west], samples.normal[~east_west], samples.block[~east_west])
    assert find_shift(only, 1.0) is None


def test_a_tree_that_was_driven_round_is_left_out():
    field = shapely.box(2, -1, 202, 99)
    way = LAP.copy()
    way[60:90, 1] += 6.0
    found = find_shift(sample_lap(way[:, 0], way[:, 1], field, 9.0), 1.0)
    assert (found.east_m, found.north_m) == pytest.approx((2.0, -1.0), abs=0.1)
