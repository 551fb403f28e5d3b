"""A log without a boom state of a machine that stood all the time, and a boom far narrower than any cell."""

import numpy as np
import pytest
import shapely
from jobs import boom, job, log

from coverage_audit.errors import InputError
from coverage_audit.recipe.audit import audit_job

FIELD = shapely.box(-50, -50, 50, 50)


def test_a_machine_that_never_moved_is_refused_in_words():
    times = np.arange(60.0)
    points = np.zeros((60, 2)) + np.random.default_rng(1).normal(0, 0.002, (60, 2))
    with pytest.raises(InputError, match="no pass over the field could be recognised"):
        audit_job(job(log(times, points), (), FIELD, boom=boom(9.0, intervals="assume")))


@pytest.mark.filterwarnings("error")
def test_a_boom_of_two_millimetres_is_audited_or_refused():
    """Its cells are far wider than it is; a mean over no place across it would be no number."""
    times = np.arange(80.0)
    points = np.column_stack([np.zeros(80), -45.0 + times])
    try:
        audit = audit_job(job(log(times, points), (), FIELD, boom=boom(0.002, intervals="assume")))
    except InputError:
        return
    assert audit.area_m2.covered >= 0
