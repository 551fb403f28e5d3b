"""The second count at its limit: 0.05 % of the field, for each of covered, missed and double."""

import dataclasses

import pytest
from jobs import worked_job

from coverage_audit.recipe import audit as recipe
from coverage_audit.recipe.audit import audit_job

LIMIT_M2 = 3.0
"""0.05 % of the field of 6 000 m2."""


@pytest.fixture(scope="module")
def exact():
    return audit_job(worked_job(hz=1.0)).area_m2


@pytest.mark.parametrize("figure", ["covered_m2", "missed_m2", "double_m2"])
@pytest.mark.parametrize(
    ("off_m2", "ok"), [(0.99 * LIMIT_M2, True), (1.01 * LIMIT_M2, False), (-1.01 * LIMIT_M2, False)]
)
def test_a_second_count_that_differs_by_more_than_its_limit_is_told(monkeypatch, exact, figure, off_m2, ok):
    def counted(*arguments):
        found = real(*arguments)
        same = {"covered_m2": exact.covered, "missed_m2": exact.missed, "double_m2": exact.double}
        return dataclasses.replace(found, **{**same, figure: same[figure] + off_m2})

    real = recipe.raster_count
    monkeypatch.setattr(recipe, "raster_count", counted)
    checks = audit_job(worked_job(hz=1.0)).checks
    assert checks.cross_check_rel == pytest.approx(abs(off_m2) / 6000, rel=1e-6)
    assert checks.ok == ok
