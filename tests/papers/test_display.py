"""Figures as a person reads them. The unit facts come from check-values' sources, named beside each."""

from __future__ import annotations

import dataclasses
import importlib.util
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.papers.words import display
from coverage_audit.papers.words.display import SPACE
from coverage_audit.papers.words.passes import told_causes


def load_builder():
    """Load the module of made-up audits that lies beside this file."""
    spec = importlib.util.spec_from_file_location("audit_builder", Path(__file__).parents[1] / "audit_builder.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


builder = load_builder()


def plain(text):
    return text.replace(SPACE, " ")


def verdict(audit):
    return display.verdict(audit, told_causes(audit))


@pytest.mark.parametrize(
    ("m2", "units", "expected"),
    [
        # A quarter section is 2640 ft square = 160 acres (US Public Land Survey; arithmetic).
        (647_497.027584, "us", "160.00 ac"),
        # Field-size geodesic polygon at 45 N 100 W, run with GeographicLib: 21.905029 ha = 54.128506 ac.
        (219_050.2930, "metric", "21.91 ha"),
        (219_050.2930, "us", "54.13 ac"),
        (999.0, "metric", "999 m²"),
        (1_000.0, "metric", "0.10 ha"),
        # 43 560 ft2 to the acre (NIST Handbook 44, Appendix C): a tenth is 4 356 ft2.
        (404.68564224, "us", "4,356 ft²"),
        (0.0, "metric", "0 m²"),
        (0.004, "metric", "less than 0.1 m²"),
        (4.26, "metric", "4.3 m²"),
        (9.96, "metric", "10 m²"),
    ],
)
def test_area_takes_the_unit_that_a_person_would_pace(m2, units, expected):
    assert plain(display.area(m2, units)) == expected


def test_small_area_stays_in_small_units():
    assert plain(display.small_area(12_345.6, "metric")) == "12 346 m²"


@pytest.mark.parametrize(
    ("m", "units", "expected"),
    [
        (0.3, "metric", "0.30 m"),
        (9.0, "metric", "9.0 m"),
        (29.96, "metric", "30 m"),
        (1_240.0, "metric", "1.24 km"),
        (9.144, "us", "30 ft"),  # 1 ft = 0.3048 m exactly (NIST Handbook 44)
        (1_609.344, "us", "1.00 mi"),  # 5 280 ft
        (-1.4, "metric", "-1.4 m"),
        (0.0, "us", "0 ft"),
    ],
)
def test_length(m, units, expected):
    assert plain(display.length(m, units)) == expected


@pytest.mark.parametrize(
    ("l_ha", "units", "expected"),
    [
        (140.0, "metric", "140 L/ha"),
        # 1 gal/ac = 9.354 L/ha (common extension table, from memory; 3.785411784 / 0.40468564224).
        (93.54, "us", "10.0 gal/ac"),
        (99.97, "metric", "100 L/ha"),
        (9.996, "metric", "10.0 L/ha"),
        (None, "us", "not known"),
        (math.nan, "us", "not known"),
    ],
)
def test_rate(l_ha, units, expected):
    assert plain(display.rate(l_ha, units)) == expected


def test_volume_and_speed_follow_the_units():
    assert plain(display.volume(3785.411784, "us")) == "1,000 gal"  # 231 in3 to the gallon
    assert plain(display.speed(2.682, "us")) == "6.0 mph"  # 1 mph = 0.44704 m/s exactly
    assert plain(display.speed(2.5, "metric")) == "9.0 km/h"


@pytest.mark.parametrize(
    ("part", "whole", "expected"),
    [
        (5_900, 6_000, "98.3 %"),
        (6_000, 6_000, "100 %"),
        (6_000 * (1 - 1e-12), 6_000, "100 %"),
        (5_999.9, 6_000, "more than 99.9 %"),
        (0, 6_000, "0 %"),
        (0.1, 6_000, "less than 0.1 %"),
        (1, 0, "not known"),
    ],
)
def test_share_never_hides_what_is_missing(part, whole, expected):
    assert plain(display.share(part, whole)) == expected


@given(st.floats(1e-6, 1 - 1e-6))
def test_only_the_whole_is_a_hundred_percent_and_only_nothing_is_none(part):
    assert display.share(part, 1.0) not in {f"100{SPACE}%", f"0{SPACE}%"}


@pytest.mark.parametrize(
    ("s", "expected"),
    [
        (8.4, "8 s"),
        (59.6, "1 min"),
        (750, "12 min 30 s"),
        (3_599.7, "1 h"),
        (5_040, "1 h 24 min"),
        (259_200, "3 days"),
        (3_456_360, "40 days"),
    ],
)
def test_duration(s, expected):
    assert plain(display.duration(s)) == expected


@pytest.mark.parametrize(
    ("zone", "expected"),
    [
        # 1 780 232 400 s is 2026-05-31 13:00 UTC. Summer time in Boise is UTC-6; Kiritimati is UTC+14 (IANA database).
        ("America/Denver", "31 May 2026, 07:00 MDT"),
        ("UTC", "31 May 2026, 13:00 UTC"),
        ("Pacific/Kiritimati", "1 Jun 2026, 03:00 UTC+14"),
    ],
)
def test_times_are_told_in_the_zone_of_the_job(zone, expected):
    assert plain(display.local_datetime(builder.START_S, zone)) == expected


def test_quantities_do_not_break_across_lines():
    assert " " not in display.area(12_345_678.0, "metric") + display.rate(1_234.0, "metric")


# --- verdict --------------------------------------------------------------------------------


def test_verdict_on_the_worked_figure():
    told = verdict(builder.worked_figure())
    assert plain(told.headline) == "98.3 % of the target area is proven covered; 1 missed strip in the log."
    assert [plain(sentence) for sentence in told.sentences] == [
        "Proven covered: 0.59 ha of the 0.60 ha target area.",
        "Missed: 100 m² (1.7 %) in 1 strip; it is M1, 100 m long and on average 1.0 m wide, between passes.",
        "Sprayed twice or more: 100 m² (1.7 %).",
        "Sprayed beyond the field boundary: nothing; in no-spray areas and setbacks: nothing.",
        "Rate over the covered ground: 142 L/ha, intended 140 L/ha (140 L/ha with ground sprayed twice counted twice).",
    ]
    assert told.caution == ""


def test_bridged_ground_is_taken_off_the_proven_share():
    audit = builder.worked_figure()
    audit = dataclasses.replace(audit, area_m2=dataclasses.replace(audit.area_m2, bridged=590.0))
    told = verdict(audit)
    assert told.headline.startswith(f"88.5{SPACE}%")  # (5 900 - 590) / 6 000
    assert plain(told.sentences[1]).startswith("A further 590 m² counts as covered only by bridging")


def test_failed_checks_leave_nothing_proven():
    audit = builder.worked_figure()
    audit = dataclasses.replace(audit, checks=dataclasses.replace(audit.checks, ok=False, cross_check_rel=0.002))
    told = verdict(audit)
    assert "0.20" in told.caution
    assert "no figure here as proof" in told.caution
    assert told.headline.startswith("Not proven")
    assert "Proven covered" not in told.sentences[0]


def test_a_field_without_target_area_says_so():
    audit = builder.worked_figure()
    audit = dataclasses.replace(audit, area_m2=dataclasses.replace(audit.area_m2, target=0.0))
    assert verdict(audit).headline.startswith("There is no target area")


def test_slivers_alone_are_nothing_to_walk_to():
    audit = builder.worked_figure()
    audit = dataclasses.replace(
        audit, missed_strips=(), area_m2=dataclasses.replace(audit.area_m2, missed=5.0, missed_slivers=5.0)
    )
    told = verdict(audit)
    assert "no missed strip wide enough to list" in told.headline
    assert plain(told.sentences[1]) == "Missed: 5.0 m² (0.1 %), all of it in slivers narrower than 0.30 m."


def test_an_unknown_rate_says_why():
    audit = builder.worked_figure()
    unknown = type(audit.volume)()
    told = verdict(dataclasses.replace(audit, volume=unknown))
    assert (
        told.sentences[-1]
        == "Rate: not known; no flow, nozzles or applied volume is given, so no rate could be computed."
    )
