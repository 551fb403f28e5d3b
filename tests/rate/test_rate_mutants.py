"""Rates worked by hand: bands and classes of a few cells, flow from every source, steps as long as noise asks for."""

import dataclasses

import numpy as np
import pytest
from jobs import log

from coverage_audit.drive.model import Timeline
from coverage_audit.jobs.settings import BoomSettings, NozzleSettings, RateSettings
from coverage_audit.rate.flow import Flow, boom_flow
from coverage_audit.rate.model import RateCells
from coverage_audit.rate.steps import scale_of
from coverage_audit.rate.surface import bands, rate_classes
from coverage_audit.read.records import Series

BOOM = BoomSettings((4.0, 6.0), "csv", antenna_ahead_m=0.0)
TIMES = Timeline(np.array([10.0, 40.0]), np.array([30.0, 50.0]), np.array([[True, True], [False, True]]), np.arange(2))


def cells(rates, in_target=None, swept=None):
    """Cells of 0.5 m in a row."""
    count = len(rates)
    ones = np.ones(count)
    whole = ones if swept is None else np.array(swept)
    inside = whole if in_target is None else np.array(in_target)
    return RateCells(0.5, np.zeros(count, int), np.arange(count), np.array(rates), whole, inside)


def test_bands_of_ten_cells_add_up_to_the_covered_ground():
    """Of 140 L/ha: 126 to 154 is within a tenth, 133 to 147 within a twentieth, edges included; 10 cells are 100 m2."""
    rates = [125.9, 126.0, 132.9, 133.0, 140.0, 147.0, 147.1, 154.0, 154.1, 300.0]
    found = bands(cells(rates), 100.0, 200.0, 140.0, 154.0)
    assert (found.under_90pct_m2, found.over_110pct_m2) == pytest.approx((10.0, 20.0))
    assert (found.within_10pct_m2, found.within_5pct_m2) == pytest.approx((70.0, 30.0))
    assert found.above_label_max_m2 == pytest.approx(40.0)  # 2 of 10 cells, of all swept ground
    assert found.mean_l_ha == pytest.approx(sum(rates) / 10)


def test_mean_and_scatter_count_each_cell_by_its_part_in_the_target():
    """Three parts at 100 and one at 200 L/ha: mean 125, variance 3 x 25^2 / 4 + 75^2 / 4; the third lies outside."""
    found = bands(cells([100.0, 200.0, 900.0], in_target=[0.75, 0.25, 0.0]), 60.0, 90.0, None, 150.0)
    assert found.mean_l_ha == pytest.approx(125.0)
    assert found.cv == pytest.approx(1875**0.5 / 125)
    assert found.above_label_max_m2 == pytest.approx(60.0)  # two of three whole cells
    assert (found.target_l_ha, found.within_10pct_m2) == (None, None)


def test_without_target_ground_there_are_no_bands():
    found = bands(cells([100.0], in_target=[0.0]), 0.0, 10.0, 140.0, None)
    assert (found.target_l_ha, found.mean_l_ha, found.under_90pct_m2) == (140.0, None, None)


def test_classes_share_the_covered_ground_by_the_cells_in_them():
    """About 100 L/ha the edges are 0, 50, 75, 90, 110, 125, 150 and 200 L/ha."""
    rates = [10.0, 60.0, 80.0, 100.0, 109.0, 120.0, 140.0, 160.0, 1000.0, 5.0]
    found = rate_classes(cells(rates), 20.0, 100.0)
    assert [one.low_l_ha for one in found] == pytest.approx([0, 50, 75, 90, 110, 125, 150, 200])
    assert [one.area_m2 for one in found] == pytest.approx([4.0, 2.0, 2.0, 4.0, 2.0, 2.0, 2.0, 2.0])


# --- flow -----------------------------------------------------------------------------------------


def flow(source, settings, **series):
    one = dataclasses.replace(log(np.arange(3.0), np.zeros((3, 2))), **series)
    return boom_flow(source, settings, BOOM, TIMES, np.array([20.0, 10.0]), (one,), 2.0)


def test_flow_from_pressure_grows_with_its_root():
    """10 nozzles of 1.2 L/min at 4 bar: 6 L/min at 1 bar, 12 at 4, 18 at 9; clocks moved by 2 s."""
    settings = RateSettings(nozzles=NozzleSettings(1.2, 4.0, count=10))
    pressure = Series(np.array([8.0, 28.0, 48.0]), np.array([1.0, 4.0, 9.0]))
    found = flow("logged pressure", settings, pressure=pressure)
    assert found.time_s.tolist() == [10.0, 30.0, 50.0]
    assert found.flow_l_min == pytest.approx([6.0, 12.0, 18.0])
    assert found.whole_boom
    assert found.litres_until(np.array([10.0, 30.0, 50.0])) == pytest.approx([0.0, 3.0, 8.0])
    # the same log without its pressure being asked for: 12 L/min at the stated 4 bar
    steady = flow("nozzles", settings, pressure=pressure)
    assert (steady.time_s.tolist(), steady.flow_l_min.tolist()) == ([10.0, 50.0], [12.0, 12.0])


def test_flow_that_was_logged_is_that_of_the_open_sections():
    found = flow("logged flow", RateSettings(), flow=Series(np.array([8.0, 48.0]), np.array([9.0, 11.0])))
    assert (found.time_s.tolist(), found.flow_l_min.tolist(), found.whole_boom) == ([10.0, 50.0], [9.0, 11.0], False)


def test_flow_typed_in_and_flow_from_what_was_applied():
    assert flow("flow", RateSettings(flow_l_min=16.8)).flow_l_min.tolist() == [16.8, 16.8]
    # 20 s of the whole boom and 10 s of six tenths: 26 s, so 13 L are 30 L/min of the whole boom
    found = flow("applied", RateSettings(applied_l=13.0))
    assert found.flow_l_min == pytest.approx([30.0, 30.0])
    nozzles = RateSettings(nozzles=NozzleSettings(1.0, 4.0, 1.0, count=10))
    assert flow("nozzles", nozzles).flow_l_min == pytest.approx([5.0, 5.0])  # a quarter of the pressure, half the flow


def test_a_logged_flow_is_summed_straight_between_its_knots():
    """As fine trapezoids give it, on uneven knots and beyond both ends."""
    times, values = np.array([10.0, 12.0, 20.0, 21.0, 40.0]), np.array([6.0, 12.0, 0.0, 30.0, 3.0])
    summed = Flow(times, values, whole_boom=False)
    fine = np.linspace(10, 50, 40_001)  # a knot on every hundredth line
    there = np.interp(fine, times, values)
    running = np.concatenate([[0], np.cumsum(there[1:] + there[:-1])])
    asked = np.array([10.0, 11.0, 12.0, 19.5, 20.0, 20.5, 21.0, 33.3, 40.0, 47.0])
    assert summed.litres_until(asked) == pytest.approx(np.interp(asked, fine, running / 2 * 0.001 / 60), abs=1e-9)
    assert summed.litres_until(np.array([0.0])) == pytest.approx([-1.0])  # 6 L/min for the ten seconds before


def test_each_source_of_flow_is_used_for_itself_whatever_else_is_given():
    every = RateSettings(flow_l_min=16.8, applied_l=13.0, nozzles=NozzleSettings(1.0, 4.0, 1.0, count=10))
    assert [flow(one, every).flow_l_min[0] for one in ("nozzles", "flow", "applied")] == pytest.approx([5, 16.8, 30])


def test_a_volume_over_no_time_at_all_is_no_flow():
    none = boom_flow("applied", RateSettings(applied_l=13.0), BOOM, TIMES, np.zeros(2), (), 0.0)
    assert none.flow_l_min.tolist() == [0.0, 0.0]


# --- steps ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("noise_rad", "pace_m_s", "length_m", "window_s"),
    [
        (0.0, 2.0, 2.0, 0.5),  # not known: the shortest
        (0.01, 2.0, 2**0.5 * 0.01 * 4.5 / 0.012, 2**0.5 * 0.01 * 4.5 / 0.012 / 4),
        (0.01, 0.0, 2**0.5 * 0.01 * 4.5 / 0.012, 2**0.5 * 0.01 * 4.5 / 0.012 / 0.2),  # standing: 0.1 m/s at least
        (0.1, 10.0, 6.0, 0.5),  # never longer than 6 m; 0.3 s is less than the least window
    ],
)
def test_steps_grow_with_the_noise_of_the_heading_at_the_boom_s_tip(noise_rad, pace_m_s, length_m, window_s):
    found = scale_of(noise_rad, 4.5, pace_m_s)
    assert (found.length_m, found.window_s) == pytest.approx((length_m, window_s))
    assert found.noise == pytest.approx(2**0.5 * noise_rad)
