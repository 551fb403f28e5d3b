"""A fixed axle that nobody stated: what the boom sprays in a turn is then a range, not a figure."""

import dataclasses

import numpy as np
import pytest
from jobs import boom, job, log
from shapely import box

from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.recipe import axles
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.axles import axle_places

BEHIND_M, AHEAD_M, RADIUS_M, SPEED_M_S = 0.9, 2.4, 6.0, 2.0


def sprayed_through_a_turn(**more):
    """Up 60 m, half round to the right at once, and back: the axle's own way, logged 0.9 m ahead of it at 10 Hz."""
    round_m = np.pi * RADIUS_M
    way = np.arange(0, 120 + round_m, SPEED_M_S / 10)
    turned = np.clip((way - 60) / RADIUS_M, 0, np.pi)
    up, back = np.minimum(way, 60), np.maximum(way - 60 - round_m, 0)
    ahead = np.column_stack([np.sin(turned), np.cos(turned)])
    axle = np.column_stack([RADIUS_M * (1 - np.cos(turned)), up + RADIUS_M * np.sin(turned) - back])
    times = np.arange(len(way)) / 10
    return job(
        log(times, axle + BEHIND_M * ahead),
        [(2.0, times[-1] - 2.0)],
        box(-5, 3, 17, 63),
        boom=boom(9.0, antenna_ahead_m=AHEAD_M, **more),
        accuracy=AccuracySettings(steering="hand", replicates=60, sigma_m=0.01, noise_m=0.0),
    )


def test_what_a_turn_sprays_is_a_range_that_holds_the_true_axles_figure():
    """The log alone is off by what the antenna's own direction swings the boom: more than an error of 1 cm explains."""
    known = audit_job(sprayed_through_a_turn(axle_behind_antenna_m=BEHIND_M)).area_m2
    told = audit_job(sprayed_through_a_turn())
    assert abs(told.area_m2.missed - known.missed) > 4.0
    missed = told.accuracy.missed_m2
    assert missed.low90 < known.missed < missed.high90
    assert abs(missed.estimate - known.missed) < abs(told.area_m2.missed - known.missed) / 2


@pytest.mark.parametrize(
    ("settings", "places"),
    [
        ({"antenna_ahead_m": 2.1}, (0.2, 0.6, 1.0, 1.4)),  # a boom 2.1 m behind the antenna, 0.5 m clear of the axle
        ({"antenna_ahead_m": 5.0}, (0.25, 0.75, 1.25, 1.75)),
        ({"antenna_ahead_m": -1.0}, (0.25, 0.75, 1.25, 1.75)),  # a boom ahead says nothing of the axle
        ({"antenna_ahead_m": 0.4}, ()),
        ({"antenna_ahead_m": 0.0}, ()),
        ({"antenna_ahead_m": None}, ()),
        ({"antenna_ahead_m": 2.1, "axle_behind_antenna_m": 0.0}, ()),
        ({"antenna_ahead_m": 2.1, "towed_m": 3.0}, ()),
    ],
)
def test_places_that_an_axle_may_have(settings, places):
    assert axle_places(dataclasses.replace(boom(9.0), **settings)) == pytest.approx(places, abs=1e-12)


def test_a_place_that_no_vehicle_could_have_driven_with_is_left_out(monkeypatch):
    """All four are asked, and those the turn rules out are no draws; without any the boom lies as logged."""
    monkeypatch.setattr(axles, "axle_places", lambda _: (-9.0, 12.0))
    told = audit_job(sprayed_through_a_turn())
    assert abs(told.accuracy.missed_m2.estimate - told.area_m2.missed) < 2.0
