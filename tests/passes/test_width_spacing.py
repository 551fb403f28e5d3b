"""What the spacing of the passes tells of the boom's width: one caution, with a figure."""

import numpy as np
import pytest
import shapely
from jobs import boom, job, log, parallel_passes

from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.recipe.audit import audit_job

WORDS = "The passes lie"


def told(spacing_m, width_m, *, scatter_m=0.0, assumed=False):
    """Cautions about the width for twelve passes *spacing_m* apart with a boom said to be *width_m* wide."""
    x = spacing_m * np.arange(12) + np.random.default_rng(3).normal(0, scatter_m, 12)
    times, points, given = parallel_passes(x.tolist(), 0.0, 150.0)
    field = shapely.box(-spacing_m / 2, 0, 11.5 * spacing_m, 150)
    settings = boom(width_m, intervals="assume" if assumed else "csv")
    audit = audit_job(job(log(times, points), () if assumed else given, field, boom=settings))
    return [one for one in caution_texts(audit) if "wide" in one]


@pytest.mark.parametrize("assumed", [False, True])
def test_a_width_typed_a_tenth_too_great_is_told_once(assumed):
    """9 m driven, 10 m typed: 10 % closer. It stands for the caution about much double ground."""
    (caution,) = told(9.0, 10.0, assumed=assumed)
    assert caution.startswith("The passes lie 9.0 m apart all over the field, 10 % closer than the boom is wide")
    assert "(10 m)" in caution


def test_a_width_typed_a_tenth_too_small_is_told():
    (caution,) = told(10.0, 9.0)
    assert "10.0 m apart all over the field, 11 % farther apart" in caution


def test_the_right_width_and_a_usual_overlap_are_not_told():
    assert told(9.0, 9.0) == []
    assert told(8.6, 9.0) == []


def test_uneven_driving_is_no_wrong_width():
    """Spacings a tenth of the boom narrow in the middle, but from 6 to 10 m."""
    assert not any(one.startswith(WORDS) for one in told(8.1, 9.0, scatter_m=1.0))
