"""What holds for the rate of every job, however odd: litres add up, nothing is negative, nothing is no number."""

import dataclasses
import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st
from jobs import boom, job, log

from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import Amount, ProductSettings, RateSettings, TankSettings
from coverage_audit.papers.geojson import findings_geojson, passes_geojson
from coverage_audit.papers.rate_files import rate_files
from coverage_audit.papers.summary import summary_dict
from coverage_audit.recipe.audit import audit_job
from coverage_audit.units import HECTARE_M2

FIELD = shapely.box(-40, -40, 60, 60)
STEPS = st.tuples(st.floats(-8, 8), st.floats(-8, 8))
ODD_JOBS = st.fixed_dictionaries(
    {
        "steps": st.lists(st.one_of(st.just((0.0, 2.5)), st.just((0.0, 0.0)), STEPS), min_size=8, max_size=40),
        "sections": st.sampled_from([(9.0,), (0.01,), (3.0, 0.5, 3.0), (40.0,), (1.0,) * 8]),
        "axle_m": st.sampled_from([None, 1.2, -0.5, 12.0]),
        "ahead_m": st.sampled_from([0.0, 1.4, -6.0]),
        "towed_m": st.sampled_from([0.0, 0.0, 4.0]),
        "flow": st.sampled_from([1e-9, 15.0, 9_000.0]),
        "target": st.sampled_from([None, 1e-6, 100.0, 90_000.0]),
        "tank": st.sampled_from([None, TankSettings(tank_l=1.0), TankSettings(loads_l=(0.5, 3.0), refills_s=())]),
        "closed": st.booleans(),
    }
)


def odd_job(given_job):
    steps = np.array(given_job["steps"])
    points = np.concatenate([[[0.0, 0.0]], np.cumsum(steps, axis=0)])
    points = np.clip(points, -35, 55)
    times = np.arange(len(points), dtype=float)
    wide = given_job["sections"]
    own = boom(
        sum(wide),
        sections_m=wide,
        axle_behind_antenna_m=given_job["axle_m"],
        antenna_ahead_m=given_job["ahead_m"],
        towed_m=given_job["towed_m"],
        towed_axle_m=given_job["towed_m"],
    )
    some = (1,) if given_job["closed"] else ()
    on = [(0.7, len(steps) * 0.4, *([some] if some else [])), (len(steps) * 0.5, len(steps) - 0.6)]
    amount = Amount(2.0, "L", "ha", "L/ha", 1.0)
    rate = RateSettings(given_job["target"], given_job["flow"], label_max_l_ha=80.0, tank=given_job["tank"])
    products = (ProductSettings("a", rate=amount, max_per_application=amount),)
    return job(log(times, points), on, FIELD, boom=own, rate=rate, products=products)


def numbers(told, place=""):
    """Every number of a nest of dicts and lists, with its place."""
    if isinstance(told, dict):
        for key, value in told.items():
            yield from numbers(value, f"{place}.{key}")
    elif isinstance(told, list | tuple):
        for value in told:
            yield from numbers(value, place)
    elif isinstance(told, float | int | np.floating) and not isinstance(told, bool):
        yield place, float(told)


AMOUNTS = ("m2", "volume", "rate", "tank", "litres", "proven", "l_ha", "used", "per_ha")
DIFFERENCES = ("relative", "closure")


def assert_litres(audit):
    """Cells and stands hold what went out; shares of cells are shares."""
    found, cells = audit.rate, audit.rate.cells
    if audit.volume.applied_l:
        assert found.closure == pytest.approx(1.0, abs=1e-6)
    if cells is None:
        return
    litres = float(cells.rate_l_ha @ cells.area_m2(cells.swept)) / HECTARE_M2 + found.standing_l
    assert litres == pytest.approx(audit.volume.applied_l, rel=1e-5)
    for one in (cells.rate_l_ha, cells.sweeps, cells.swept, cells.in_target):
        assert np.isfinite(one).all()
        assert one.min() >= -1e-12
    assert (cells.in_target <= cells.swept + 1e-12).all()
    assert sum(one.area_m2 for one in found.classes) == pytest.approx(audit.area_m2.covered, rel=1e-6, abs=1e-9)


@pytest.mark.filterwarnings("ignore::numpy.exceptions.RankWarning")  # lines through too few points of a pass
@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking whole jobs takes minutes
)
@given(ODD_JOBS)
@example({"steps": [(0.0, 2.5)] * 12 + [(0.0, -2.5)] * 12, "sections": (9.0,), "axle_m": -0.5, "ahead_m": 0.0}
    | {"towed_m": 0.0, "flow": 15.0, "target": 100.0, "tank": None, "closed": False})  # fmt: skip
@example({"steps": [(0.0, 0.0)] * 20 + [(0.0, 2.5)] * 5, "sections": (0.01,), "axle_m": None, "ahead_m": 0.0}
    | {"towed_m": 0.0, "flow": 9000.0, "target": 1e-6, "tank": TankSettings(tank_l=1.0), "closed": False})  # fmt: skip
@example({"steps": [(0.0, 2.5)] * 3 + [(1.0, 0.0)] + [(0.0, 2.5)] * 2 + [(0.0, 0.0)] * 2, "sections": (9.0,)}
    | {"axle_m": None, "ahead_m": 0.0, "towed_m": 0.0, "flow": 15.0}
    | {"target": None, "tank": None, "closed": False})  # fmt: skip
def test_volume_adds_up_and_nothing_is_negative_or_no_number(given_job):
    try:
        audit = audit_job(odd_job(given_job))
    except InputError:
        return
    told = summary_dict(audit)
    for place, value in numbers(told):
        assert math.isfinite(value), place
        last = place.rpartition(".")[2]
        if any(word in last for word in AMOUNTS) and not any(word in place for word in DIFFERENCES):
            assert value >= -1e-9, place
    assert audit.area_m2.proven >= -1e-9
    assert_litres(audit)
    found = audit.rate
    if found.tank is not None:
        assert sum(load.used_l for load in found.tank.loads) == pytest.approx(audit.volume.applied_l, rel=1e-6)
        assert min(load.left_l for load in found.tank.loads) >= 0
    for text in (findings_geojson(audit), passes_geojson(audit), *rate_files(audit).values()):
        if text.startswith("{"):
            for feature in json.loads(text)["features"]:
                assert shapely.geometry.shape(feature["geometry"]).is_valid, feature["properties"]


@pytest.mark.parametrize("flow", [1e-9, 15.0, 9_000.0])
def test_ten_times_the_flow_is_ten_times_the_rate_everywhere(flow):
    """The same drive with more flow: every cell in proportion; closed form."""
    plain = {"steps": [(0.0, 2.5)] * 10 + [(1.5, 2.0)] * 6, "sections": (9.0,), "axle_m": None, "ahead_m": 0.0}
    plain |= {"towed_m": 0.0, "flow": flow, "target": 100.0, "tank": None, "closed": False}
    one = audit_job(odd_job(plain))
    ten = audit_job(dataclasses.replace(odd_job(plain), settings=odd_job(plain | {"flow": 10 * flow}).settings))
    assert ten.rate.cells.rate_l_ha == pytest.approx(10 * one.rate.cells.rate_l_ha, rel=1e-9)
