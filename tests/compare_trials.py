"""Pairs of jobs drawn alike, for checking how often chance alone is called a difference."""

import dataclasses
import json

from pass_jobs import audited
from simulator.jobs import HAND, GnssError, SwitchHabit, benchmark_scenario, simulate

from coverage_audit.comparison.measures import MEASURES
from coverage_audit.comparison.statistics import compare_series
from coverage_audit.jobs.settings import RateSettings
from coverage_audit.papers.summary import summary_dict
from coverage_audit.read.result_record import JobRecord

ALIKE = dataclasses.replace(
    benchmark_scenario(hectares=3.0, hz=1.0),
    steering=HAND,
    headland_laps=1.0,
    gnss=GnssError(white_m=0.03, drift_m=0.3, drift_time_s=600.0),
    habit=SwitchHabit(late_on_s=0.3, early_off_s=0.3, sd_s=0.3),
)
"""A hand-steered job of about 21 passes, logged with a drift of 0.3 m that forgets in 600 s."""


def record(scenario, seed, label):
    scenario = dataclasses.replace(scenario, seed=seed)
    summary = summary_dict(audited(scenario, simulate(scenario), rate=RateSettings(flow_l_min=20.0)))
    return JobRecord(label, json.loads(json.dumps(summary)), (), ())


def differences(one, other, seed):
    """Difference of every measure between two records."""
    return [
        compare_series(
            measure.key, measure.series(one), measure.series(other), (measure.total(one), measure.total(other)), seed
        )
        for measure in MEASURES
    ]


def alike_pair(number):
    """(measure, difference, half of its interval) of two jobs that differ by chance alone."""
    one, other = record(ALIKE, 10_000 + 2 * number, "a"), record(ALIKE, 10_001 + 2 * number, "b")
    return [
        (each.measure, each.difference, (each.high95 - each.low95) / 2)
        for each in differences(one, other, number)
        if each.low95 is not None
    ]
