"""What the spacing of the passes tells of the boom's width: one caution, with a figure."""

import numpy as np
import pytest
import shapely
from jobs import boom, job, log, parallel_passes

from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.passes.driven_spacing import driven_spacing_m
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


@pytest.mark.parametrize("assumed", [False, True])
@pytest.mark.parametrize(
    ("driven_m", "typed_m", "words"),
    [
        (10.0, 3.048, "3.3 times as far as the boom is wide by the job file (3.048 m). Was 10 ft written where 10 m"),
        (9.144, 30.0, "70 % closer than the boom is wide by the job file (30 m). Was 30 m written where 30 ft was"),
        (10.0, 4.5, "2.2 times as far as the boom is wide by the job file (4.5 m). If the boom is not"),
    ],
)
def test_a_width_in_the_wrong_unit_is_told_with_the_unit(driven_m, typed_m, words, assumed):
    """10 ft for 10 m, 30 m for 30 ft; and half a boom, which no unit explains. Told from the drive alone."""
    (caution,) = told(driven_m, typed_m, scatter_m=0.15, assumed=assumed)
    assert words in caution


@pytest.mark.parametrize(("driven_m", "typed_m"), [(10.0, 9.2), (9.2, 10.0)])
def test_a_width_that_is_off_by_little_is_told_through_uneven_driving(driven_m, typed_m):
    """0.15 m of steering leaves spacings that differ by 0.3 m; the middle of eleven is off by 8 % all the same."""
    (caution,) = told(driven_m, typed_m, scatter_m=0.15)
    assert caution.startswith(WORDS)


def test_passes_that_are_wider_apart_in_the_second_half_are_of_two_machines():
    x = np.cumsum([9.0] * 9 + [12.0] * 9)
    times, points, given = parallel_passes(x.tolist(), 0.0, 150.0)
    audit = audit_job(job(log(times, points), given, shapely.box(4.5, 0, x[-1] + 6, 150), boom=boom(9.0)))
    (caution,) = [one for one in caution_texts(audit) if "two machines" in one]
    assert caution.startswith("The first 8 passes lie 9.0 m apart, those after them 12.0 m.")


@pytest.mark.parametrize("spacing_m", [2.0, 9.0, 36.0])
def test_the_spacing_is_told_from_the_drive_alone(spacing_m):
    """Ten passes askew to the grid; a lap round them and a way driven twice do not count."""
    turn = np.array([[np.cos(0.7), np.sin(0.7)], [-np.sin(0.7), np.cos(0.7)]])
    _, points, _ = parallel_passes([spacing_m * k for k in range(10)], 0.0, 150.0)
    again = np.vstack([points, points[-1:] + np.array([0.1, 0.0]), points[:1]])
    assert driven_spacing_m([again @ turn]) == pytest.approx(spacing_m, rel=0.01)


def test_a_drive_without_passes_has_no_spacing():
    way = np.random.default_rng(5).normal(0, 4.0, (400, 2)).cumsum(axis=0)
    assert driven_spacing_m([way]) is None
    assert driven_spacing_m([]) is None
